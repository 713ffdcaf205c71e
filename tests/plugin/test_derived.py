"""Readings that follow from others, and checks that mean nothing while another's finding stands: a stranger's
greenhouse heater.

Judge: means and differences by hand.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Annotated

import attrs
import pytest

import corekit as ck
from corekit.assess.assessment import assess
from corekit.model.finding import Reason
from corekit.plugin.host import Plugins
from corekit.testing import Bench

from ..assess.story import Story

SIDES = ("left", "right")


class Flame(Enum):
    BURNS = "burns"
    FLICKERS = "flickers"
    OUT = "is out"


made = ck.System("heater", "Greenhouse heater", folder=Path(__file__).parent / "none")
burner = made.part("burner", "Burner")
warmth = made.measurand(
    "warmth", "°C", "Air above the pipe", possible=(-30, 90), usual=(0, 60), accuracy="0.5 °C", places=SIDES
)
outside = made.measurand(
    "outside", "°C", "Air outside", possible=(-40, 50), usual=(-10, 30), accuracy="0.5 °C"
)
flame = made.observation("flame", "Flame", Flame)
renew = made.operation("replace_burner", "Replace the burner", replaces=burner)
sweep = made.operation("sweep", "Sweep the flue")


@made.derived_reading(
    "mean", "°C", "Mean of both sides", possible=(-30, 60), usual=(0, 50), accuracy="1 °C", tells="the warmth"
)
def mean(both: Annotated[list[ck.Reading], warmth]) -> ck.Value | None:
    """Where both sides were read."""
    if len(both) < len(SIDES):
        return None
    return ck.propagate(lambda one, other: (one + other) / 2, [side.value for side in both], "temperature")


@made.derived_reading(
    "rise", "K diff", "Rise", possible=(-90, 90), usual=(0, 60), accuracy="1 K diff", places=SIDES
)
def rise(
    sides: Annotated[list[ck.Reading], warmth], cold: Annotated[ck.Reading, outside]
) -> dict[str, ck.Value]:
    return {side.place: side.value - cold.value for side in sides}


pump = ck.System("pump", "Pump", folder=Path(__file__).parent / "none")
runs = pump.observation("runs", "Pump", Flame)
supply = pump.measurand("supply", "V", "Supply", possible=(0, 9), usual=(0, 9), accuracy="0.1 V")


@pump.check("Pump")
def stands(case: ck.Case, seen: Annotated[Flame, runs]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.visual(runs, ck.Claim("pump.stands"), "It stands.", passes=seen is Flame.BURNS)


def limit(low: float) -> ck.Limit:
    from corekit.plugin.case import own_limit

    return own_limit("heater.mean", ck.exact("temperature", low), None, "label", "specified-mean")


SAYS = ck.Says(passes="{value} is warm.", fails="{value} is cold.", undecided="{value} is neither.")


@made.check("Warm enough", not_while=["heater.flame", "pump.stands"])
def warm(case: ck.Case, read: Annotated[ck.Reading, mean]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.judge(read, limit(283.15), ck.Claim("heater.warm"), SAYS)


@made.check("Rise of each side", not_while=["heater.side"])
def rises(case: ck.Case, sides: Annotated[list[ck.Reading], rise]) -> Iterator[ck.Finding | ck.Gap]:
    for side in sides:
        yield case.advise(ck.Claim("heater.rise", unit="K diff"), "{value} at the {place}.", side)


@made.check("Flame")
def burns(case: ck.Case, seen: Annotated[Flame, flame]) -> Iterator[ck.Finding | ck.Gap]:
    claim = ck.Claim("heater.flame", calls_for=renew, evidence=case.noted(flame), next_test=flame)
    if seen is Flame.FLICKERS:
        yield case.inconclusive(claim, "It flickers.")
    else:
        yield case.visual(flame, claim, f"It {seen.value}.", passes=seen is Flame.BURNS)


@made.check("One side cold")
def side_cold(case: ck.Case, sides: Annotated[list[ck.Reading], warmth]) -> Iterator[ck.Finding | ck.Gap]:
    for side in sides:
        if side.value.number < 273.15:
            yield case.judge(side, limit(273.15), ck.Claim("heater.side", of=warmth), SAYS)


def bench(left: str = "20 °C", right: str = "30 °C") -> Bench:
    return Bench(made).read("warmth", left, place="left").read("warmth", right, place="right")


PLUGINS = Plugins(systems={"heater": made}, versions={"heater": "1"})


def story() -> Story:
    return Story(plugins=PLUGINS)


# ---- derived readings


def test_what_follows_from_others_is_judged_with_their_uncertainty_and_their_entries() -> None:
    found = bench().finding("heater.warm")
    assert found.value is not None and found.value.number == pytest.approx(298.15)
    # Two of ± 0.5 °C (k = √3, rectangular): each u is 0.5/√3, half the root of the sum of squares.
    assert found.value.u == pytest.approx(0.5 / 3**0.5 / 2**0.5, rel=1e-6)
    assert set(found.evidence) >= {"warmth-left", "warmth-right"}
    assert found.verdict is ck.Verdict.PASS


def test_a_reading_that_was_taken_itself_counts_before_the_derived_one() -> None:
    assert bench().read("mean", "5 °C").finding("heater.warm").verdict is ck.Verdict.FAIL


def test_what_has_places_is_derived_at_each() -> None:
    found = bench().read("outside", "10 °C").findings("heater.rise")
    assert [(one.place, str(one.text)[:4]) for one in found] == [("left", "10.0"), ("right", "20.0")]


def test_where_nothing_follows_the_gap_names_what_to_read() -> None:
    half = Bench(made).read("warmth", "20 °C", place="left")
    (gap,) = half.gaps("warm")
    assert (gap.wants, gap.reason) == ("heater.warmth", Reason.NOT_MEASURED)
    assert "Mean of both sides" in gap.text
    (gap,) = bench().gaps("rises")
    assert gap.wants == "heater.outside" and "Rise: follows from other readings. Air outside" in gap.text


def test_from_readings_that_disagree_nothing_follows() -> None:
    apart = bench().read_also("warmth", "50 °C", place="right")
    assert [gap.wants for gap in apart.gaps("warm")] == ["heater.warmth"]
    assert any("the readings of Air above the pipe disagree" in gap.text for gap in apart.gaps())


def test_what_cannot_be_is_named_and_not_judged() -> None:
    hot = bench("70 °C", "80 °C")
    assert not hot.findings("heater.warm")
    assert any("comes to 75.0" in gap.text and "which cannot be" in gap.text for gap in hot.gaps())


def test_a_whole_job_has_the_derived_reading_too() -> None:
    told = story().read("heater.warmth", "2 °C", "left").read("heater.warmth", "4 °C", "right")
    found = [one for one in told.assessment.findings if one.code == "heater.warm"]
    assert [one.verdict for one in found] == [ck.Verdict.FAIL]


def test_a_derivation_that_raises_costs_itself_and_says_where(monkeypatch: pytest.MonkeyPatch) -> None:
    import attrs

    def broken(**given: object) -> None:
        raise ZeroDivisionError("division by zero")

    one = attrs.evolve(made.derived["heater.mean"], function=broken)
    monkeypatch.setitem(made.derived, "heater.mean", one)
    told = story().read("heater.warmth", "2 °C", "left").read("heater.warmth", "4 °C", "right")
    told = told.read("heater.outside", "1 °C")
    failed = [gap for gap in told.assessment.gaps if gap.reason is Reason.PLUGIN_FAILED]
    assert len(failed) == 1 and "ZeroDivisionError" in failed[0].text and "test_derived.py" in failed[0].text
    assert {one.code for one in told.assessment.findings} == {"heater.rise"}


@pytest.mark.parametrize(
    ("function", "said"),
    [
        ("def f(a: Annotated[ck.Reading, outside]):\n    return None", "say what it returns"),
        ("def f() -> ck.Value | None:\n    return None", "take them as parameters"),
        ("def f(a: Annotated[ck.Reading, outside]) -> Iterator[ck.Value]:\n    yield a.value", "not yielded"),
        ("def f(a: ck.Reading) -> ck.Value | None:\n    return a.value", "must be Annotated"),
    ],
)
def test_a_signature_that_cannot_be_meant_is_refused_at_import(function: str, said: str) -> None:
    space = {"ck": ck, "Annotated": Annotated, "outside": outside, "Iterator": Iterator}
    exec(function, space)
    fresh = ck.System("fresh", "Fresh")
    decorate = fresh.derived_reading("x", "°C", "X", possible=(0, 9), usual=(0, 9), accuracy="1 °C")
    with pytest.raises(TypeError, match=said):
        decorate(space["f"])  # type: ignore[arg-type]


def test_a_value_of_another_kind_or_at_another_place_is_refused_with_both() -> None:
    fresh = ck.System("pump", "Fresh")
    fresh.measurands[supply.key] = supply

    @fresh.derived_reading("x", "°C", "X", possible=(0, 9), usual=(0, 9), accuracy="1 °C")
    def x(one: Annotated[ck.Reading, supply]) -> ck.Value | None:
        return one.value

    with pytest.raises(TypeError, match=r"pump\.x is a temperature, and what was derived is voltage"):
        Bench(fresh).read("supply", "5 V").case()


# ---- barred checks


def test_a_check_says_nothing_while_what_bars_it_fails_and_names_it() -> None:
    results = bench().see("flame", "is out").run("warm")
    assert len(results) == 1 and isinstance(results[0], ck.Gap)
    assert results[0].text == "Warm enough: says nothing while this stands: It is out."
    assert results[0].reason is Reason.DOES_NOT_APPLY and results[0].tells


def test_while_what_bars_it_is_undecided_it_decides_nothing() -> None:
    found = bench().see("flame", "flickers").finding("heater.warm")
    assert (found.verdict, found.calls_for) == (ck.Verdict.UNDECIDED, "")
    assert str(found.text).endswith("What this means is open as long as this is: It flickers.")


def test_what_bars_it_and_passes_bars_nothing() -> None:
    assert bench().see("flame", "burns").finding("heater.warm").verdict is ck.Verdict.PASS


def test_a_bar_at_one_of_several_like_places_leaves_the_others_alone() -> None:
    results = bench("-5 °C", "30 °C").read("outside", "-10 °C").run("rises")
    places = [one.place for one in results if isinstance(one, ck.Finding)]
    assert places == ["right"]
    assert sum(isinstance(one, ck.Gap) for one in results) == 1


def told(answer: str) -> Story:
    made_of = story().read("heater.warmth", "20 °C", "left").read("heater.warmth", "30 °C", "right")
    return made_of.see("heater.flame", answer)


def test_in_a_job_a_bar_stands_until_work_has_dealt_with_it() -> None:
    barred = told("is out").assessment
    assert not [one for one in barred.findings if one.code == "heater.warm"]
    assert any("Warm enough: says nothing" in gap.text for gap in barred.gaps)
    again = told("is out").repair("heater.replace_burner")
    again = again.read("heater.warmth", "20 °C", "left").read("heater.warmth", "30 °C", "right")
    assert [one.stage for one in again.assessment.findings if one.code == "heater.warm"] == [1]


def test_a_bar_that_was_found_earlier_and_not_dealt_with_still_bars() -> None:
    again = told("is out").repair(sweep.key)
    again = again.read("heater.warmth", "20 °C", "left").read("heater.warmth", "30 °C", "right")
    assert not [one for one in again.assessment.findings if one.code == "heater.warm"]


def test_a_code_that_cannot_be_one_is_a_loose_end() -> None:
    fresh = ck.System("fresh", "Fresh")

    @fresh.check("A", not_while=["flame"])
    def a(case: ck.Case) -> Iterator[ck.Finding | ck.Gap]:
        yield from ()

    assert fresh.loose_ends() == [
        "check a: not_while names 'flame', which is no code; write fresh.name",
    ]


def test_another_systems_finding_bars_as_well() -> None:
    both = Story(plugins=Plugins(systems={"heater": made, "pump": pump}))
    both = both.read("heater.warmth", "20 °C", "left").read("heater.warmth", "30 °C", "right")
    both = both.see("pump.runs", "is out")
    made_of = assess(both.job, both.plugins)
    assert [one.code for one in made_of.findings if one.verdict is ck.Verdict.FAIL] == ["pump.stands"]
    assert any("says nothing while this stands: It stands." in gap.text for gap in made_of.gaps)


def test_where_a_derivation_is_written_is_told_by_file_and_line() -> None:
    rise = next(iter(made.derived.values()))
    line = rise.function.__code__.co_firstlineno
    assert rise.where.endswith(f"test_derived.py line {line}")
    assert attrs.evolve(rise, function=max).where == ""  # not written in Python
