"""A draft of a visit file says which approved totals its estimates do not come to."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from corekit.cli import main
from corekit.desk.draft import draft_invoice
from corekit.reference import data_path

JOBS = sorted((data_path("demo") / "jobs").glob("*.toml"))
BATTERY = JOBS[0].read_text("utf-8")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(shutil.copytree(data_path("demo") / "shop", tmp_path_factory.mktemp("stated") / "shop"))


def remarks(text: str, shop: Path, folder: Path) -> tuple[str, ...]:
    path = folder / "visit.toml"
    path.write_text(text, "utf-8")
    return draft_invoice(str(path), is_file=True, folder=shop, km=None, as_text=True).remarks


def test_the_totals_that_were_printed_are_no_remark(shop: Path, tmp_path: Path) -> None:
    """The demo's files state what its estimates came to."""
    assert [remarks(path.read_text("utf-8"), shop, tmp_path) for path in (JOBS[0], JOBS[5])] == [(), ()]


@pytest.mark.parametrize("stated", ["306.61", "306.59", "400.00"])
def test_a_total_that_the_estimate_does_not_come_to_is_said(stated: str, shop: Path, tmp_path: Path) -> None:
    (said,) = remarks(BATTERY.replace('"306.60"', f'"{stated}"'), shop, tmp_path)
    assert f"'repair 1' was approved over {stated} " in said
    assert "comes to 306.60 " in said


def test_each_estimate_is_compared_as_the_file_stood_then(shop: Path, tmp_path: Path) -> None:
    said = remarks(BATTERY.replace('"60.00"', '"61.00"').replace('"306.60"', '"60.00"'), shop, tmp_path)
    assert [
        "'diagnosis 1' was approved over 61.00" in said[0],
        "'repair 1' was approved over 60.00" in said[1],
    ] == [
        True,
        True,
    ]


def test_the_verb_says_it_beside_the_draft(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "visit.toml"
    path.write_text(BATTERY.replace('"306.60"', '"350.00"'), "utf-8")
    assert main(["invoice", "--draft", "--text", str(path), "--shop", str(shop)]) == 0
    printed = capsys.readouterr()
    assert "approved over 350.00" in printed.err
    assert "approved over 350.00" not in printed.out
