"""Starter, command, cables and battery told apart while it cranks: every edge, every grade, both voices.

0.12 and 0.5 of the SAE rating, 8 A, 9.6 / 8.5 / 7.5 V at 0 / −10 / −20 °C known to ± 0.6 V, 10 V, 10.5 V and
1 V at the starter: estimates of ours (sources starter-current, cranking-voltage-cold, control-terminal).
"""

from __future__ import annotations

from typing import Any

import pytest
from corekit_battery import battery
from corekit_battery.starting import least_cranking_voltage
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck

FINE = {"20 V": "0.001 V", "1000 A": "0.1 A"}


def cranked(
    bench: Any, amps: str, posts: str, *, rated: str = "600 A SAE", warm: str = "20 °C"
) -> ck.Finding:
    bench.describe("fine", "1 digits", **FINE)
    if rated:
        bench.fit("rating", rated)
    if warm:
        bench.read("temperature", warm)
    bench.read("starter_current", amps, using="fine")
    if posts:
        bench.read("cranking_voltage", posts, place="posts", using="fine")
    return bench.finding("battery.crank_pair")  # type: ignore[no-any-return]


GRADES = [
    ("150 A", "11.0 V", "usual current, voltage held", "do their work", "keeps its voltage"),
    ("40 A", "12.1 V", "little current", "lets too little through", "too little current"),
    ("450 A", "8.0 V", "much current", "hard to turn", "hard to turn"),
    ("450 A", "10.9 V", "much current", "hard to turn", "hard to turn"),
    ("120 A", "7.9 V", "voltage low", "The battery gives way", "charged and tested"),
    ("40 A", "7.9 V", "voltage low", "The battery gives way", "charged and tested"),
    ("0 A", "12.5 V", "no current", "no command reaches it, or the path is open", "No current"),
]


@pytest.mark.parametrize(("amps", "posts", "grade", "says", "tells"), GRADES)
def test_current_and_voltage_together_name_where_to_look(
    bench: Any, amps: str, posts: str, grade: str, says: str, tells: str
) -> None:
    finding = cranked(bench, amps, posts)
    assert finding.grade == grade and says in str(finding.text) and tells in str(finding.for_customer)
    assert finding.verdict is ck.Verdict.ADVICE and not finding.calls_for


# ± at k = 2 is two standard uncertainties, and a side is plain at 1.645 of them: 9.6 ± 0.6 V is plain beyond
# 0.4935 V, 72 ± 18 A beyond 14.8 A, 300 ± 60 A beyond 49.3 A
@pytest.mark.parametrize(
    ("amps", "posts", "grade"),
    [
        ("150 A", "10.10 V", "usual current, voltage held"),
        ("150 A", "10.08 V", ""),
        ("150 A", "9.10 V", "voltage low"),
        ("150 A", "9.12 V", ""),
        ("56.9 A", "11.5 V", "little current"),
        ("57.5 A", "11.5 V", ""),
        ("86.5 A", "11.5 V", ""),
        ("87.1 A", "11.5 V", "usual current, voltage held"),
        ("250.0 A", "11.5 V", "usual current, voltage held"),
        ("251.5 A", "11.5 V", ""),
        ("349.7 A", "11.5 V", "much current"),
        ("348.5 A", "11.5 V", ""),
        ("300 A", "8.0 V", ""),
        ("7.7 A", "12.5 V", "no current"),
        ("8.3 A", "12.5 V", "little current"),
    ],
)
def test_the_pair_is_graded_just_inside_and_just_outside_its_edges(
    bench: Any, amps: str, posts: str, grade: str
) -> None:
    finding = cranked(bench, amps, posts)
    assert finding.grade == grade
    assert (finding.verdict is ck.Verdict.UNDECIDED) is (grade == "")
    assert grade or "could not be told" in str(finding.for_customer)


@pytest.mark.parametrize(
    ("posts", "warm", "grade"),
    [
        ("8.7 V", "20 °C", "voltage low"),
        ("8.7 V", "-20 °C", "usual current, voltage held"),
        ("8.7 V", "-10 °C", ""),
        ("8.7 V", "", ""),
        ("10.4 V", "", "usual current, voltage held"),
        ("6.9 V", "", "voltage low"),
    ],
)
def test_a_cold_battery_may_fall_further_and_an_unknown_one_is_taken_as_both(
    bench: Any, posts: str, warm: str, grade: str
) -> None:
    finding = cranked(bench, "150 A", posts, warm=warm)
    assert finding.grade == grade
    assert warm or grade or "take its temperature" in str(finding)


@given(st.floats(233.15, 333.15), st.floats(0, 30))
def test_a_warmer_battery_is_never_allowed_to_fall_further(kelvin: float, more: float) -> None:
    assert least_cranking_voltage.si(min(kelvin + more, 353.15)) >= least_cranking_voltage.si(kelvin)


def test_this_vehicle_s_own_figures_come_before_the_rating(bench: Any) -> None:
    bench.specify("starter_current", low="300 A", high="450 A").specify("cranking_voltage", low="9 V")
    assert cranked(bench, "400 A", "9.3 V").grade == "usual current, voltage held"
    assert cranked(bench, "200 A", "9.3 V").grade == "little current"


def test_a_voltage_that_falls_under_a_current_within_an_own_figure_of_one_end_is_the_battery(
    bench: Any,
) -> None:
    bench.specify("starter_current", high="300 A")
    assert cranked(bench, "200 A", "7.5 V", rated="").grade == "voltage low"


def test_a_rating_by_another_test_is_brought_to_the_same_scale(bench: Any) -> None:
    # 360 A DIN is about 600 A SAE (1.67): 150 A is usual for it
    assert cranked(bench, "150 A", "11 V", rated="360 A DIN").grade == "usual current, voltage held"


def test_what_is_missing_is_named(bench: Any) -> None:
    bench.read("starter_current", "150 A")
    assert [gap.wants for gap in bench.gaps("crank_pair")] == ["battery.cranking_voltage"]
    bench.read("cranking_voltage", "11 V", place="posts")
    assert [gap.wants for gap in bench.gaps("crank_pair")] == ["battery.rating"]


@pytest.mark.parametrize("drive", ["hybrid", "electric"])
def test_a_vehicle_that_is_not_cranked_by_its_battery_has_no_such_pair(bench: Any, drive: str) -> None:
    bench.fit("drive", drive).read("starter_current", "0 A")
    assert bench.run("crank_pair") == []


# ---- at the starter


def at_starter(
    bench: Any, command: str, stud: str = "", turns: str = "one click", posts: str = ""
) -> ck.Finding:
    bench.describe("fine", "1 digits", **FINE).read("control_voltage", command, using="fine")
    if stud:
        bench.read("starter_voltage", stud, using="fine").see("cranks", turns)
    if posts:
        bench.read("cranking_voltage", posts, place="posts", using="fine")
    (finding,) = bench.findings("battery.stud") + bench.findings("battery.solenoid")
    return finding  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    ("command", "stud", "turns", "grade", "says", "tells"),
    [
        ("11.5 V", "11.2 V", "normal", "turns well", "cranks well", "cranks well"),
        ("11.5 V", "11.2 V", "one click", "full voltage, still or dragging", "specialist", "full voltage"),
        ("11.5 V", "11.2 V", "slow", "full voltage, still or dragging", "by hand", "full voltage"),
        ("11.5 V", "6.0 V", "one click", "stud low", "Only 6.00", "Too little voltage"),
        ("0.1 V", "12.4 V", "silent, lights stay bright", "no command", "second key", "does not reach"),
    ],
)
def test_what_arrives_at_the_starter_names_where_to_look(
    bench: Any, command: str, stud: str, turns: str, grade: str, says: str, tells: str
) -> None:
    finding = at_starter(bench, command, stud, turns)
    assert (finding.code, finding.grade) == ("battery.stud", grade)
    assert says in str(finding.text) and tells in str(finding.for_customer)


@pytest.mark.parametrize(
    ("command", "stud", "grade"),
    [
        ("10.503 V", "10.503 V", "full voltage, still or dragging"),
        ("10.503 V", "10.497 V", "stud low"),
        ("10.497 V", "10.503 V", ""),
        ("10.503 V", "10.500 V", ""),
        ("0.997 V", "12.0 V", "no command"),
        ("1.003 V", "12.0 V", ""),
    ],
)
def test_the_starter_is_graded_just_inside_and_just_outside_its_edges(
    bench: Any, command: str, stud: str, grade: str
) -> None:
    finding = at_starter(bench, command, stud)
    assert finding.grade == grade and (finding.verdict is ck.Verdict.UNDECIDED) is (grade == "")


def test_a_low_stud_speaks_for_the_cables_only_where_the_posts_were_full(bench: Any) -> None:
    assert at_starter(bench, "11 V", "8 V").calls_for == ""
    assert at_starter(bench, "11 V", "8 V", posts="9.0 V").calls_for == ""
    assert at_starter(bench, "11 V", "8 V", posts="11.6 V").calls_for == "battery.repair_cable"


def test_both_voltages_are_one_statement_and_never_two(bench: Any) -> None:
    at_starter(bench, "0.1 V", "12.4 V")
    assert not bench.findings("battery.solenoid")


def test_voltages_at_the_starter_need_to_know_how_it_cranked(bench: Any) -> None:
    bench.read("control_voltage", "11 V").read("starter_voltage", "11 V")
    assert [gap.wants for gap in bench.gaps("at_the_starter")] == ["battery.cranks"]


@pytest.mark.parametrize(
    ("command", "says", "tells"),
    [
        ("10.003 V", "the command reaches the starter", "reaches the starter"),
        ("9.997 V", "10 V or more should arrive", "only weakly"),
        ("1.003 V", "10 V or more should arrive", "only weakly"),
        ("0.997 V", "no command reaches the starter", "does not reach"),
    ],
)
def test_the_command_alone_is_told_just_inside_and_just_outside_its_edges(
    bench: Any, command: str, says: str, tells: str
) -> None:
    finding = at_starter(bench, command)
    assert finding.code == "battery.solenoid" and finding.value is not None
    assert says in str(finding.text) and tells in str(finding.for_customer)


def test_a_weak_command_says_nothing_while_the_posts_themselves_are_low(bench: Any) -> None:
    finding = at_starter(bench, "8 V", posts="8.6 V")
    assert finding.verdict is ck.Verdict.UNDECIDED and finding.value is None and "8.60" in str(finding)
    assert (
        at_starter(bench, "0.2 V", posts="8.6 V").value is not None
    )  # none at all is none, however low the posts are


@pytest.mark.parametrize(
    ("turns", "says"),
    [
        ("rattles", "The solenoid rattles"),
        ("one click", "It clicks once"),
        ("silent, lights stay bright", "the lights stay bright"),
        ("silent, lights go dim", "the lights go dim"),
    ],
)
def test_every_way_of_not_cranking_asks_for_the_voltage_while_cranking(
    bench: Any, turns: str, says: str
) -> None:
    finding = bench.see("cranks", turns).finding("battery.cranking_unread")
    assert says in str(finding) and finding.next_test == "battery.cranking_voltage"


def test_every_live_reading_names_its_hazard_and_defers_to_trained_people() -> None:
    hazard = battery.measurands["battery.control_voltage"].hazard
    for words in ("10 s", "60 s", "insulated", "pacemaker", "EN ISO 20471", "trained people"):
        assert words in hazard
    for key in ("accepted_current", "accepting_voltage", "night_voltage", "battery_current"):
        assert battery.measurands[f"battery.{key}"].hazard
