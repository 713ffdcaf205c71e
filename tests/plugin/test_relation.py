"""Relations between readings: when one is broken, what is named, and that nothing is built on it.

Judge: sums by hand. Every instrument is one of ± 0.001 V, so a sum of four is known to 2 · √4 · 0.001 V / √3
= 0.0023 V (k = 2).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any

import pytest
from corekit_battery import battery
from hypothesis import assume, given
from hypothesis import strategies as st

import corekit as ck
from corekit.model.source import Basis, Source, Status
from corekit.plugin.host import Plugins
from corekit.testing import Bench

from ..assess.story import Story

OWN = Source(key="s", title="t", basis=Basis.LAW, status=Status.READ)
wiring = ck.System("wiring", "Wiring")
amps = wiring.measurand("amps", "A", "Current", possible=(0, 500), usual=(1, 300), accuracy="0.001 A")
source = wiring.measurand(
    "source",
    "V",
    "Voltage at the source",
    possible=(0, 15),
    usual=(6, 13),
    accuracy="0.001 V",
    conditions=(amps,),
)
drop = wiring.measurand(
    "drop",
    "V",
    "Voltage drop",
    possible=(-2, 15),
    usual=(0, 2),
    accuracy="0.001 V",
    places=("out", "back"),
    conditions=(amps,),
)
load = wiring.measurand(
    "load",
    "V",
    "Voltage at the load",
    possible=(0, 15),
    usual=(5, 13),
    accuracy="0.001 V",
    conditions=(amps,),
)
resting = wiring.measurand(
    "resting", "V", "Voltage at rest", possible=(0, 15), usual=(11, 13), accuracy="0.001 V"
)
fed = wiring.measurand("fed", "V", "Voltage under load", possible=(0, 15), usual=(9, 13), accuracy="0.001 V")
flow = wiring.measurand("flow", "A", "Flow", possible=(-50, 50), usual=(-20, 20), accuracy="0.001 A")
shunt = wiring.measurand(
    "shunt", "A", "Flow by the shunt", possible=(-50, 50), usual=(-20, 20), accuracy="0.001 A"
)

strong = wiring.measurand("strong", "A", "Strong flow", possible=(0, 500), usual=(0, 20), accuracy="0.001 A")
wiring.relation("strong_flow", "Strong and weak", flow, strong, code="strong")
wiring.relation(
    "sums",
    "The circuit",
    source,
    (drop, "out"),
    (drop, "back"),
    load,
    within="0.2 V",
    why="an estimate of ours",
)
wiring.relation("sags", "Loaded against unloaded", resting, fed, at_least=True, code="sag")
wiring.relation("one_flow", "One current, two instruments", flow, shunt, code="flow")
wiring.relation("drawn", "The current", amps, amps, times=5.0, why="a load cut in", code="twice")


@wiring.check("Voltage at the load")
def at_load(case: ck.Case, read: Annotated[ck.Reading, load]) -> Iterator[ck.Finding | ck.Gap]:
    says = ck.Says(passes="{value} is enough.", fails="{value} is too little.", undecided="{value} is near.")
    limit = ck.Limit(key="wiring.load", low=ck.exact("voltage", 9.0), high=None, source=OWN, why="by hand")
    yield case.judge(read, limit, ck.Claim("wiring.load", grade="fine"), says)


@wiring.check("Voltage under load")
def under_load(case: ck.Case, read: Annotated[ck.Reading, fed]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(ck.Claim("wiring.fed"), "{value}.", read)


PLUGINS = Plugins(systems={"wiring": wiring}, versions={"wiring": "1"})


def circuit(first: str, out: str, back: str, last: str) -> Bench:
    bench = Bench(wiring)
    for of, typed, place in (
        ("source", first, ""),
        ("drop", out, "out"),
        ("drop", back, "back"),
        ("load", last, ""),
    ):
        if typed:
            bench.read(of, f"{typed} V", place=place)
    return bench


def broken(bench: Bench, code: str = "contradiction") -> ck.Finding | None:
    found = bench.findings(f"wiring.{code}")
    return found[0] if found else None


# ---- when it is broken


@pytest.mark.parametrize(
    ("last", "holds"),
    # 12.00 - 0.50 - 0.30 = 11.20 V, and 0.2 V may stay open
    [("11.200", True), ("11.001", True), ("10.999", False), ("11.399", True), ("11.401", False)],
)
def test_a_sum_may_stay_open_by_what_is_allowed_and_no_more(last: str, holds: bool) -> None:
    assert (broken(circuit("12.000", "0.500", "0.300", last)) is None) is holds


@pytest.mark.parametrize(
    # two readings of 0.001 A / √3: u of the difference 0.00082 A, so 0.00163 A is the most
    ("second", "holds"),
    [("10.0015", True), ("10.0017", False), ("9.9985", True), ("9.9983", False)],
)
def test_without_an_allowance_the_readings_own_uncertainty_decides(second: str, holds: bool) -> None:
    bench = Bench(wiring).read("flow", "10.0000 A").read("shunt", f"{second} A")
    assert (broken(bench, "flow") is None) is holds


@pytest.mark.parametrize(
    ("loaded", "holds"), [("10 V", True), ("12.500 V", True), ("12.501 V", True), ("12.502 V", False)]
)
def test_what_can_only_be_less_is_wrong_as_soon_as_it_is_plainly_more(loaded: str, holds: bool) -> None:
    bench = Bench(wiring).read("resting", "12.500 V").read("fed", loaded)
    assert (broken(bench, "sag") is None) is holds


def test_a_part_that_was_not_read_and_may_be_negative_leaves_a_sum_open() -> None:
    assert broken(circuit("12.000", "0.500", "", "13.000")) is None


def test_a_part_that_was_not_read_and_cannot_be_negative_only_takes_away() -> None:
    bench = Bench(battery).meter().read("cranking_voltage", "9.00 V", place="posts", using="meter")
    assert "battery.contradiction" not in codes(bench.read("starter_voltage", "8.00 V", using="meter"))
    assert "battery.contradiction" in codes(bench.read("starter_voltage", "9.50 V", using="meter"))


def said(found: ck.Finding | None) -> str:
    """What it says, its numbers without zeros at the end."""
    assert found is not None
    return re.sub(r"(\d\.\d+?)0+(?= [VA]\b)", r"\1", str(found).replace("−", "-"))


def codes(bench: Bench) -> set[str]:
    return {finding.code for finding in bench.findings()}


@pytest.mark.parametrize(
    ("second", "holds"), [("49 A", True), ("51 A", False), ("2.1 A", True), ("1.9 A", False)]
)
def test_one_current_recorded_twice_may_differ_so_many_times(second: str, holds: bool) -> None:
    bench = Bench(wiring).read("amps", "10 A").read_also("amps", second)
    found = broken(bench, "twice")
    assert (found is None) is holds
    if found is not None:
        assert "current 10.0 A" in said(found) and "Or else: a load cut in." in said(found)


def test_readings_under_different_conditions_are_not_held_against_each_other() -> None:
    bench = Bench(wiring).read("source", "12.000 V", setup={"amps": "100 A"})
    bench.read("drop", "0.1 V", place="out").read("drop", "0.1 V", place="back")
    assert broken(bench.read("load", "9.000 V", setup={"amps": "100 A"})) is not None
    assert broken(bench.read("load", "9.000 V", setup={"amps": "300 A"})) is None


def test_of_a_series_those_under_the_same_conditions_are_held_against_each_other() -> None:
    bench = Bench(wiring).read("source", "12.000 V", setup={"amps": "100 A"})
    bench.read("drop", "0.1 V", place="out").read("drop", "0.1 V", place="back")
    bench.read("load", "9.000 V", setup={"amps": "100 A"})
    bench.read_also("load", "8.000 V", setup={"amps": "300 A"})
    words = said(broken(bench))
    assert "load 9.0 V" in words and "load 8.0 V" not in words


def test_readings_that_disagree_among_themselves_are_held_against_nothing() -> None:
    bench = circuit("12.000", "0.500", "0.300", "9.000").read_also("load", "11.200 V")
    assert broken(bench) is None


# ---- the likelier slip


@pytest.mark.parametrize(
    ("read", "named"),
    [
        (("12.000", "5.000", "0.300", "11.200"), "voltage drop (out) 5.0 V is 10 times too large"),
        (("12.000", "0.0008", "0.300", "10.900"), "voltage drop (out) 0.0008 V is 1000 times too small"),
        (("12.000", "-0.500", "0.300", "11.200"), "voltage drop (out) -0.5 V has the wrong sign"),
        (
            ("10.900", "0.500", "0.600", "12.000"),
            "voltage at the source 10.9 V and voltage at the load 12.0 V were swapped",
        ),
    ],
)
def test_the_slip_that_alone_explains_a_broken_sum_is_named_with_its_reading(
    read: tuple[str, str, str, str], named: str
) -> None:
    assert f"Likelier slip: {named}" in said(broken(circuit(*read)))


def test_a_broken_sum_that_no_single_slip_explains_names_the_readings_alone() -> None:
    found = broken(circuit("12.000", "0.500", "0.300", "9.000"))
    assert "That leaves 2.2 V unaccounted for, so one of them is wrong. Read them again" in said(found)
    assert all(shown in said(found) for shown in ("12.0 V", "0.5 V", "0.3 V", "9.0 V"))
    assert found is not None and len(found.evidence) == 4


def test_a_slip_that_would_lead_outside_what_is_possible_is_not_named() -> None:
    # a tenth of 60 A is possible; ten times 6 A is more than the 50 A there can be
    found = broken(Bench(wiring).read("flow", "6.000 A").read("strong", "60.000 A"), "strong")
    words = said(found)
    assert "strong flow 60.0 A is 10 times too large" in words and "times too small" not in words


def test_two_instruments_that_differ_tenfold_are_both_named() -> None:
    found = broken(Bench(wiring).read("flow", "12.00 A").read("shunt", "1.20 A"), "flow")
    assert "Likelier slips: " in said(found)
    assert "12.0 A is 10 times too large" in said(found) and "1.2 A is 10 times too small" in said(found)


def summed(total: str, *parts: str, accuracy: str = "0.001 V", within: str = "") -> str:
    """What is said of a total and its parts, each read with this accuracy; empty where they add up."""
    system = ck.System("house", "House")
    whole, *rest = (
        system.measurand(name, "V", f"Reading {name}", possible=(0, 100), usual=(0, 100), accuracy=accuracy)
        for name in "tabcd"[: 1 + len(parts)]
    )
    system.relation("sum", "The sum", whole, *rest, within=within, why=within and "ours", code="sum")
    bench = Bench(system).read("t", f"{total} V")
    for name, typed in zip("abcd", parts, strict=False):
        bench.read(name, f"{typed} V")
    found = bench.findings("house.sum")
    return said(found[0]) if found else ""


SLIP = "Likelier slip: reading a"


@pytest.mark.parametrize(("accuracy", "is_named"), [("0.14 V", True), ("0.16 V", False)])
def test_a_slip_is_named_only_where_what_was_left_over_is_far_more_than_is_known(
    accuracy: str, is_named: bool
) -> None:
    # 0.6 V are left over, and nothing where a is meant ten times as large. Three readings, each within the
    # accuracy, are together as uncertain as that accuracy, and four times that is to be less than 0.6 V.
    words = summed("12.000", "0.067", "11.333", accuracy=accuracy)
    assert "unaccounted for" in words
    assert (SLIP in words) is is_named


@pytest.mark.parametrize(("a", "b", "is_named"), [("0.034", "11.366", True), ("0.033", "11.367", False)])
def test_a_slip_is_named_only_where_it_halves_what_was_left_over(a: str, b: str, is_named: bool) -> None:
    # 0.6 V are left over, and 0.294 or 0.303 V where a is meant ten times as large; 0.5 V may stay open.
    words = summed("12.000", a, b, within="0.5 V")
    assert "unaccounted for" in words
    assert (SLIP in words) is is_named


def test_three_slips_that_explain_it_alike_are_named_and_of_four_none() -> None:
    three = summed("11.400", "0.300", "0.300", "0.300", "7.800")
    assert "Likelier slips: " in three
    assert [f"reading {name} 0.3 V is 10 times too small" in three for name in "abc"] == [True] * 3
    four = summed("3.900", "0.300", "0.300", "0.300", "0.300")
    assert "unaccounted for" in four and "Likelier" not in four


# ---- nothing is built on it


def test_what_rests_on_a_broken_relation_decides_nothing_and_calls_for_nothing() -> None:
    held = circuit("12.000", "0.500", "0.300", "8.000").finding("wiring.load")
    assert (held.verdict, held.probability, held.grade, held.calls_for) == (
        ck.Verdict.UNDECIDED,
        None,
        "",
        "",
    )
    assert "rests on readings that do not fit together (The circuit)" in str(held)
    assert "taken again" in str(held.for_customer)
    whole = circuit("12.000", "0.500", "0.300", "11.200").finding("wiring.load")
    assert (whole.verdict, whole.grade) == (ck.Verdict.PASS, "fine")


def test_what_rests_on_other_readings_is_as_it_was() -> None:
    bench = circuit("12.000", "0.500", "0.300", "8.000").read("fed", "12 V")
    assert "fit together" not in str(bench.finding("wiring.fed"))


def test_in_a_job_the_contradiction_stands_and_what_it_spoils_is_held_open() -> None:
    story = Story(plugins=PLUGINS).read("wiring.source", "12 V").read("wiring.load", "8 V")
    story.read("wiring.drop", "0.5 V", "out").read("wiring.drop", "0.3 V", "back")
    assert story.finding("wiring.contradiction").verdict is ck.Verdict.UNDECIDED
    assert story.finding("wiring.load").verdict is ck.Verdict.UNDECIDED
    assert len(story.assessment.latest) == 2


def test_two_relations_that_are_broken_at_once_both_stand() -> None:
    story = Story(plugins=PLUGINS).read("wiring.resting", "11 V").read("wiring.fed", "12 V")
    story.read("wiring.flow", "3 A").read("wiring.shunt", "7 A")
    assert {finding.code for finding in story.assessment.latest} >= {"wiring.sag", "wiring.flow"}


def test_what_breaks_a_relation_is_no_evidence_for_a_fault() -> None:
    def tests(rested: str) -> set[str]:
        bench = Bench(battery).meter().fit("rating", "640 A SAE").fit("type", "flooded")
        bench.read("open_circuit_voltage", rested, using="meter", setup={"rest_time": "8 h"})
        bench.read(
            "load_voltage", "11.00 V", using="meter", setup={"load_current": "320 A", "temperature": "20 °C"}
        )
        return {outcome.test.key for outcome in bench.shown().outcomes}

    assert "load" in tests("12.70 V")
    assert not tests("10.80 V") & {"load", "rest"}


# ---- laws


@given(st.lists(st.integers(0, 900), min_size=2, max_size=2), st.integers(6000, 11000))
def test_a_circuit_that_adds_up_is_never_contradicted(lost: list[int], last: int) -> None:
    shown = [f"{number / 1000:.3f}" for number in (last + sum(lost), *lost, last)]
    assert broken(circuit(*shown)) is None


@given(
    st.integers(250, 1900), st.integers(0, 900), st.integers(6000, 11000), st.sampled_from(["out", "back"])
)
def test_one_drop_taken_for_ten_times_as_much_is_always_found(
    tenth: int, other: int, last: int, where: str
) -> None:
    assume(tenth * 9 // 10 > 225)
    wrong, right = f"{tenth / 1000:.3f}", f"{tenth / 10000:.4f}"
    first = f"{(last + other) / 1000 + float(right):.4f}"
    drops = (wrong, f"{other / 1000:.3f}") if where == "out" else (f"{other / 1000:.3f}", wrong)
    found = broken(circuit(first, *drops, f"{last / 1000:.3f}"))
    assert f"({where}) {float(wrong)} V is 10 times too large" in said(found)


# ---- what cannot be declared


@pytest.mark.parametrize(
    ("terms", "more", "words"),
    [
        ([source], {}, "at least one part"),
        ([source, amps], {}, "one kind.*wiring.amps in A beside wiring.source in V"),
        ([source, drop], {}, r"wiring.drop is read at out, back; name one"),
        ([source, (drop, "top")], {}, "name one.*got 'top'"),
        ([source, load], {"within": "0.2 V"}, "its reason go together"),
        ([source, load], {"why": "so"}, "its reason go together"),
        ([source, load], {"times": 5.0, "why": "so"}, "one quantity recorded twice"),
        ([source, source], {"times": 0.5, "why": "so"}, "more than 1"),
    ],
)
def test_a_relation_that_cannot_hold_is_refused_where_it_is_declared(
    terms: list[Any], more: dict[str, Any], words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        wiring.relation("new", "New", *terms, **more)


def test_readings_of_a_scale_that_does_not_begin_at_zero_add_up_to_nothing() -> None:
    fresh = ck.System("fresh", "Fresh")
    warm = fresh.measurand("warm", "°C", "Warm", possible=(0, 90), usual=(0, 90), accuracy="1 °C")
    with pytest.raises(ValueError, match=r"begins at zero; got fresh\.warm in °C"):
        fresh.relation("r", "R", warm, warm)


def test_a_relation_on_a_measurand_of_another_declaration_is_a_loose_end() -> None:
    fresh = ck.System("fresh", "Fresh")
    one = fresh.measurand("one", "V", "One", possible=(0, 9), usual=(0, 9), accuracy="1 V")
    fresh.relation("r", "R", one, ck.foreign("fresh.two", "V", "Two"))
    assert fresh.loose_ends() == ["relation fresh.r: fresh.two is not what the system declares"]
