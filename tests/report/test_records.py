"""A record on paper: one line, one picture in which no peak is lost, nowhere the name of a file."""

from __future__ import annotations

from pathlib import Path

import pypdf
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import corekit as ck
from corekit.cli import main
from corekit.model.figure import Polyline
from corekit.plugin.chart import HEIGHT, WIDTH
from corekit.report.records import COLUMNS, record_figure, thinned, ticks

van = ck.System("van", "Van")
current = van.measurand("current", "A", "Current", possible=(None, None), usual=(0, 20), accuracy="0.3 A")
log = van.record("log", "Log", of=current, over_possible=(None, None), settled=("0.1 A", "10 s"))

VISIT = """
job = "logged"
demo = true
reason = "Flat after three days."
vehicle = { plate = "DEMO-1" }
[[step]]
records = [ { of = "battery.drain_log", file = "drain of Mrs Sample.csv" } ]
"""
CSV = "t [min];I [mA]\n0;3000\n10;900\n20;180\n30;181\n40;179\n"
finite = st.floats(-1e9, 1e9, allow_nan=False)


@given(st.lists(finite, min_size=2, max_size=2000))
def test_a_picture_holds_the_lowest_the_highest_and_both_ends(samples: list[float]) -> None:
    over = [float(n) for n in range(len(samples))]
    kept = thinned(over, samples, columns=20)
    values = [value for _, value in kept]
    assert (min(values), max(values)) == (min(samples), max(samples))
    assert (kept[0], kept[-1]) == ((0.0, samples[0]), (over[-1], samples[-1]))
    assert len(kept) <= 80 and kept == sorted(kept, key=lambda point: point[0])


def test_a_record_of_as_many_samples_as_are_kept_is_drawn_small() -> None:
    over = tuple(float(n) for n in range(20_000))
    made = ck.Record(sampling=log, over=over, samples=tuple(n % 7 for n in over), entry="e")
    line = max(
        (mark for mark in record_figure(made, "Log").marks if isinstance(mark, Polyline)),
        key=lambda mark: len(mark.points),
    )
    assert len(line.points) <= 4 * COLUMNS


@example(0.0, -1.5839180391746692e-13)
@given(finite, finite)
def test_a_scale_reaches_from_below_the_lowest_to_above_the_highest_in_few_steps(
    one: float, other: float
) -> None:
    low, high = sorted((one, other))
    scale = ticks(low, high)
    assert 2 <= len(scale) <= 9 and scale == sorted(scale)
    unseen = 1e-6 * (scale[1] - scale[0])
    assert scale[0] <= low + unseen and scale[-1] >= high - unseen


@given(st.lists(st.tuples(finite, finite), min_size=2, max_size=40, unique_by=lambda point: point[0]))
def test_every_record_can_be_drawn_and_nothing_lies_off_the_paper(points: list[tuple[float, float]]) -> None:
    over, samples = zip(*sorted(points), strict=True)
    figure = record_figure(ck.Record(sampling=log, over=over, samples=samples, entry="e"), "Log")
    drawn = [point for mark in figure.marks if isinstance(mark, Polyline) for point in mark.points]
    assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in drawn)
    assert figure.description.startswith(f"{len(points)} samples over")


@pytest.fixture
def paper(tmp_path: Path, demo_out: Path) -> str:
    (tmp_path / "drain of Mrs Sample.csv").write_text(CSV, "utf-8")
    (tmp_path / "logged.toml").write_text(VISIT, "utf-8")
    out = tmp_path / "draft.pdf"
    visit = str(tmp_path / "logged.toml")
    assert main(["invoice", visit, "--draft", "--shop", str(demo_out), "--out", str(out)]) == 0
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(out).pages).split())


LINE = "5 samples over 40 min; lowest 179 mA ± 18 mA (k = 2); highest 3000 mA ± 120 mA (k = 2)"


def test_paper_shows_the_line_and_the_picture_among_the_evidence(paper: str) -> None:
    # ± (3 % + 10 mA), evenly likely: 2 / sqrt(3) · 15.37 mA, and · 100 mA
    assert LINE in paper
    assert "settled at 180 mA" in paper and "from 15 min on" in paper
    assert "time since it was locked, min" in paper and "parasitic draw, mA" in paper
    assert paper.index("Records") < paper.index(LINE)


def test_the_name_of_a_file_is_a_persons_and_on_no_paper(paper: str) -> None:
    assert "Mrs Sample" not in paper


def test_check_says_the_line_and_gives_it_to_programs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "drain of Mrs Sample.csv").write_text(CSV, "utf-8")
    (tmp_path / "logged.toml").write_text(VISIT, "utf-8")
    for how in ([], ["--json"]):
        assert main(["check", str(tmp_path / "logged.toml"), *how]) == 0
        assert LINE in " ".join(capsys.readouterr().out.split())
