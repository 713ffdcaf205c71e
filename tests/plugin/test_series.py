"""Repeats and series: what may disagree, and what is read under other conditions or after something was done.

Judge: by hand. The brakes' pedal force has the worst ordinary accuracy 2 % + 5 N, so at 100 N u = 7 N / √3 =
4.04 N, and two readings near it are the same within 2 · √(4.04² + 4.18²) = 11.6 N.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck
from corekit.assess.stage import case_at
from corekit.model.records import Left
from corekit.plugin.check import Check, declare, run
from corekit.plugin.reading import Reading, readings_at
from corekit.report.readings import reading_rows
from corekit.testing.bench import Bench

from ..assess.brakes import PLUGINS, brakes, force, pressure, travel
from ..assess.story import Story


def latest(story: Story) -> Reading:
    return readings_at(story.job, story.stage, PLUGINS.measurands)["brakes.travel", ""]


def two(first: dict[str, str], second: dict[str, str]) -> Reading:
    story = Story().under(**first).read("brakes.travel", "90 mm")
    return latest(story.under(**second).read("brakes.travel", "20 mm"))


@pytest.mark.parametrize(
    ("newtons", "is_series"),
    [("100 N", False), ("111 N", False), ("112 N", True), ("88.8 N", False), ("88 N", True)],
)
def test_readings_whose_condition_differs_beyond_both_uncertainties_are_a_series_and_not_repeats(
    newtons: str, is_series: bool
) -> None:
    reading = two({"force": newtons}, {"force": "100 N"})
    assert (reading.disagrees, len(reading.others), len(reading.apart)) == (
        (False, 0, 1) if is_series else (True, 1, 0)
    )


@pytest.mark.parametrize(("first", "second"), [({}, {"force": "100 N"}), ({"force": "100 N"}, {}), ({}, {})])
def test_a_condition_that_was_not_read_explains_no_disagreement(
    first: dict[str, str], second: dict[str, str]
) -> None:
    assert two(first, second).disagrees


def test_what_a_measurand_does_not_name_is_no_condition_of_it() -> None:
    assert two({"air": "0 °C"}, {"air": "40 °C"}).disagrees


def test_a_series_decides_by_its_latest_reading_where_the_check_asks_for_one() -> None:
    story = Story().under(force="300 N").read("brakes.travel", "90 mm")
    found = story.under(force="100 N").read("brakes.travel", "20 mm").finding("brakes.travel")
    assert (found.verdict, found.disagrees) == (ck.Verdict.PASS, False)


def test_repeats_are_found_again_across_other_conditions_in_between() -> None:
    story = Story().under(force="100 N").read("brakes.travel", "20 mm")
    story.under(force="300 N").read("brakes.travel", "90 mm")
    reading = latest(story.under(force="100 N").read("brakes.travel", "21 mm"))
    assert [other.number for other in reading.others] == [0.02]
    assert [one.typed for one in reading.apart] == ["90 mm"]


# ---- what happened in between


def done(story: Story, what: str) -> Story:
    if what == "trial":
        return story.try_out("brakes.hose", "renewed", "stayed")
    if what == "trial before the visit":
        return story.try_out("brakes.hose", "renewed", "stayed", before=True)
    if what == "trial of another system":
        return story.try_out("lamps.bulb", "renewed", "stayed")
    if what == "visit ended":
        story.say(Left(because="charging"), "left")
    return story


@pytest.mark.parametrize(
    ("what", "explains"),
    [
        ("nothing", False),
        ("trial", True),
        ("visit ended", True),
        ("trial before the visit", False),
        ("trial of another system", False),
    ],
)
def test_what_was_done_in_between_makes_a_reading_of_another_time_and_no_repeat(
    what: str, explains: bool
) -> None:
    reading = latest(done(Story().read("brakes.travel", "90 mm"), what).read("brakes.travel", "20 mm"))
    assert reading.typed == "20 mm" and not reading.apart
    assert reading.disagrees is not explains
    assert [one.typed for one in reading.before] == (["90 mm"] if explains else [])


def test_what_was_read_before_a_repair_stands_before_the_series_and_not_in_it() -> None:
    story = Story().read("brakes.travel", "90 mm").repair("brakes.bleed").under(force="300 N")
    story.read("brakes.travel", "40 mm").under(force="100 N").read("brakes.travel", "20 mm")
    series = case_at(story.job, 1, brakes, PLUGINS).series(travel)
    assert series is not None
    assert [one.typed for one in series.readings] == ["40 mm", "20 mm"]
    assert [(one.typed, one.stage) for one in series.before] == [("90 mm", 0)]


# ---- what a check gets


def one_series(case: ck.Case, found: Annotated[ck.Series, travel]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.does_not_apply(", ".join(one.typed for one in found.readings))


def every_series(
    case: ck.Case, found: Annotated[list[ck.Series] | None, pressure], beside: Annotated[ck.Reading, force]
) -> Iterator[ck.Finding | ck.Gap]:
    assert found is not None
    words = [f"{one.latest.place} {', '.join(each.typed for each in one.readings)}" for one in found]
    yield case.does_not_apply(f"{'; '.join(words)}; {beside.typed}")


def said(check: Check, bench: Bench) -> list[str]:
    return [str(result.text) for result in run(check, bench.case())]


def test_a_check_may_ask_for_every_condition_and_every_place() -> None:
    bench = Bench(brakes).read("travel", "40 mm", setup={"force": "300 N"})
    bench.read_also("travel", "20 mm", setup={"force": "100 N"})
    bench.read("pressure", "60 bar", place="right")
    bench.read("pressure", "90 bar", place="left", setup={"force": "400 N"})
    bench.read_also("pressure", "30 bar", place="left", setup={"force": "50 N"})
    assert said(declare(one_series, "one"), bench) == ["40 mm, 20 mm"]
    # A condition wanted beside it is that of the latest reading.
    assert said(declare(every_series, "every"), bench) == ["left 90 bar, 30 bar; right 60 bar; 50 N"]


def test_without_any_reading_a_series_is_missing_as_a_reading_is() -> None:
    (gap,) = run(declare(one_series, "one"), Bench(brakes).case())
    assert isinstance(gap, ck.Gap) and gap.wants == "brakes.travel"


def test_a_series_of_a_measurand_with_places_is_asked_for_as_a_list() -> None:
    def wrong(case: ck.Case, found: Annotated[ck.Series, pressure]) -> Iterator[ck.Finding | ck.Gap]:
        yield case.does_not_apply("")

    with pytest.raises(TypeError, match=r"left, right; found must be list\[Series\]"):
        declare(wrong, "wrong")


def test_a_series_is_ordered_over_a_condition_and_knows_its_ends() -> None:
    bench = Bench(brakes).read("travel", "60 mm", setup={"force": "500 N"})
    bench.read_also("travel", "20 mm", setup={"force": "100 N"})
    bench.read_also("travel", "61 mm", setup={"force": "502 N"})
    series = bench.case().series(travel)
    assert series is not None
    assert [one.typed for one in series.over(force)] == ["20 mm", "61 mm"]
    assert series.at_greatest(force).typed == "61 mm"
    assert (series.lowest.number, series.highest.number) == (0.02, 0.061)
    assert len(series.values) == 3 and not series.disagrees


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(1, 280)), min_size=1, max_size=8))
def test_nothing_that_was_read_is_lost_and_the_latest_counts(taken: list[tuple[int, int]]) -> None:
    story = Story()
    for newtons, millimetres in taken:
        story.under(force=f"{100 + 100 * newtons} N").read("brakes.travel", f"{millimetres} mm")
    reading = latest(story)
    series = ck.Series.of(reading)
    assert reading.typed == f"{taken[-1][1]} mm"
    assert sorted(round(1000 * value.number) for value in series.values) == sorted(mm for _, mm in taken)
    assert len(series.readings) == len({newtons for newtons, _ in taken})


@given(st.permutations([100, 300, 500]))
def test_over_a_condition_the_order_of_reading_does_not_matter(order: list[int]) -> None:
    story = Story()
    for newtons in order:
        story.under(force=f"{newtons} N").read("brakes.travel", f"{newtons / 10} mm")
    over = ck.Series.of(latest(story)).over(force)
    assert [one.typed for one in over] == ["10.0 mm", "30.0 mm", "50.0 mm"]


# ---- what is shown of it


def test_every_member_of_a_series_stands_on_paper_with_its_conditions() -> None:
    story = Story().under(force="300 N").read("brakes.travel", "40 mm")
    (row,) = reading_rows(story.under(force="100 N").read("brakes.travel", "20 mm").assessment)
    assert row.before.startswith("20.0 mm")
    assert "also read: 40.0 mm" in row.note and "at force on the pedal 300 N" in row.note


def test_what_was_read_before_a_trial_stands_on_paper_too() -> None:
    story = Story().read("brakes.travel", "40 mm").try_out("brakes.hose", "renewed", "stayed")
    (row,) = reading_rows(story.read("brakes.travel", "20 mm").assessment)
    assert "also read, before something was done: 40.0 mm" in row.note
