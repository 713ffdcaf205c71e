"""What a battery takes and what it keeps: every edge, every condition, both voices.

15 % and 5 % of the 20-hour capacity at 14.4 V, 12.4 V and 10 °C, 5 and 20 min; 12.5 V in the evening,
12.4 V and 12.2 V after 12 h alone: estimates of ours (sources charge-acceptance, night-alone).
"""

from __future__ import annotations

from typing import Any

import pytest
from corekit_battery.acceptance import acceptance

import corekit as ck

FLAT = {"rest_time": "9 h", "temperature": "20 °C"}
ON_CHARGE = {"accepting_voltage": "14.4 V", "accepting_time": "25 min", "temperature": "20 °C"}
ALONE = {"evening_voltage": "12.75 V", "night_time": "12 h"}


def taking(bench: Any, amps: str, *, before: str = "11.9 V", **beside: str) -> ck.Finding:
    """A discharged battery of 100 Ah, so that amperes are percent, at room temperature after 25 min."""
    bench.describe("fine", "1 digits", **{"20 V": "0.001 V", "60 A": "0.001 A"})
    bench.fit("capacity", "100 Ah").fit("type", "flooded")
    if before:
        bench.read("open_circuit_voltage", before, using="fine", setup=FLAT)
    setup = {**ON_CHARGE, **beside}
    bench.read("accepted_current", amps, using="fine", setup={k: v for k, v in setup.items() if v})
    return bench.finding("battery.take")  # type: ignore[no-any-return]


def test_a_tenth_of_the_capacity_is_ten_percent() -> None:
    assert acceptance.si(7.0, 70 * 3600) == pytest.approx(0.10)  # 7 A into 70 Ah, by hand


@pytest.mark.parametrize(
    ("amps", "grade", "says", "tells"),
    [
        ("15.01 A", "takes charge", "it takes charge", "takes charge"),
        ("14.99 A", "takes little", "little", "takes charge slowly"),
        ("5.01 A", "takes little", "little", "takes charge slowly"),
        ("4.99 A", "takes next to nothing", "next to nothing", "takes next to no charge"),
    ],
)
def test_acceptance_is_graded_just_inside_and_just_outside_its_edges(
    bench: Any, amps: str, grade: str, says: str, tells: str
) -> None:
    finding = taking(bench, amps)
    assert finding.grade == grade and says in str(finding.text) and tells in str(finding.for_customer)
    assert not finding.calls_for and finding.verdict is ck.Verdict.ADVICE


@pytest.mark.parametrize("amps", ["15.000 A", "5.000 A"])
def test_on_the_edge_between_two_grades_it_gets_none(bench: Any, amps: str) -> None:
    finding = taking(bench, amps)
    assert finding.grade == "" and "edge" in str(finding) and finding.verdict is ck.Verdict.UNDECIDED


@pytest.mark.parametrize(
    ("beside", "before"),
    [
        ({"accepting_time": "18 min"}, "11.9 V"),
        ({"accepting_time": ""}, "11.9 V"),
        ({"temperature": "3 °C"}, "11.9 V"),
        ({}, "12.45 V"),
        ({}, ""),
    ],
    ids=["too soon", "time unknown", "cold", "nearly full", "charge unknown"],
)
def test_little_means_nothing_where_any_battery_takes_little(
    bench: Any, beside: dict[str, str], before: str
) -> None:
    finding = taking(bench, "3 A", before=before, **beside)
    assert finding.grade == "" and "decides nothing yet" in str(finding)
    assert "could not be told" in str(finding.for_customer)


def test_plenty_counts_at_once_and_in_the_cold(bench: Any) -> None:
    finding = taking(bench, "25 A", before="", accepting_time="5 min", temperature="0 °C")
    assert finding.grade == "takes charge"


def test_next_to_nothing_never_calls_for_a_battery(bench: Any) -> None:
    finding = taking(bench, "0.5 A")
    assert finding.grade == "takes next to nothing" and finding.calls_for == ""
    assert "condemns no battery" in str(finding) and not bench.shown().calls_for("replace")


@pytest.mark.parametrize(("charger", "grade"), [("10 A", "takes charge"), ("30 A", ""), ("", "")])
def test_a_charger_at_its_limit_below_the_voltage_gives_all_that_is_taken(
    bench: Any, charger: str, grade: str
) -> None:
    if charger:
        bench.fit("charger", charger)
    finding = taking(bench, "9.8 A", accepting_voltage="13.2 V")
    assert finding.grade == grade and (grade != "" or "14.4 V" in str(finding))


def test_without_its_capacity_or_the_voltage_there_is_a_gap(bench: Any) -> None:
    bench.read("accepted_current", "10 A")
    assert [gap.wants for gap in bench.gaps("charge_acceptance")] == ["battery.capacity"]
    bench.fit("capacity", "70 Ah")
    assert [gap.wants for gap in bench.gaps("charge_acceptance")] == ["battery.accepting_voltage"]


@pytest.mark.parametrize("seen", ["cracked", "swollen", "leaking", "frozen"])
def test_a_battery_that_must_not_be_charged_is_not_graded(bench: Any, seen: str) -> None:
    bench.see("case", seen).fit("capacity", "70 Ah").read("accepted_current", "10 A", setup=ON_CHARGE)
    assert not bench.findings("battery.take")
    assert any("not charged" in str(gap.text) for gap in bench.gaps("charge_acceptance"))


# ---- a night alone


def after_a_night(bench: Any, volts: str, **beside: str) -> ck.Finding:
    bench.describe("fine", "1 digits", **{"20 V": "0.001 V"})
    setup = {key: text for key, text in {**ALONE, **beside}.items() if text}
    return bench.read("night_voltage", volts, using="fine", setup=setup).finding("battery.night")  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    ("volts", "says", "tells", "calls"),
    [
        ("12.402 V", "keeps its charge", "keeps its charge", ""),
        ("12.398 V", "more than it should", "loses charge", ""),
        ("12.202 V", "more than it should", "loses charge", ""),
        ("12.198 V", "by itself", "loses charge", "battery.replace"),
    ],
)
def test_a_night_alone_is_graded_just_inside_and_just_outside_its_edges(
    bench: Any, volts: str, says: str, tells: str, calls: str
) -> None:
    finding = after_a_night(bench, volts)
    assert says in str(finding.text) and tells in str(finding.for_customer) and finding.calls_for == calls


@pytest.mark.parametrize(
    ("volts", "beside", "open_"),
    [
        ("12.1 V", {"evening_voltage": "12.4 V"}, True),
        ("12.1 V", {"evening_voltage": "12.7 V"}, False),
        ("12.1 V", {"evening_voltage": ""}, True),
        ("12.1 V", {"night_time": ""}, True),
        ("12.7 V", {"night_time": "8 h"}, True),
        ("12.7 V", {"night_time": "11 h"}, False),
        ("12.1 V", {"night_time": "3 h"}, False),
        ("12.1 V", {"night_time": "50 h"}, True),
        ("12.1 V", {"night_time": "46 h"}, False),
        ("12.7 V", {"night_time": "200 h"}, False),
    ],
)
def test_a_night_counts_only_from_full_and_for_hours_that_can_show_it(
    bench: Any, volts: str, beside: dict[str, str], open_: bool
) -> None:
    finding = after_a_night(bench, volts, **beside)
    assert (finding.verdict is ck.Verdict.UNDECIDED and finding.value is None) is open_


def test_an_ordinary_meter_leaves_the_edge_of_a_night_open(bench: Any) -> None:
    finding = bench.read("night_voltage", "12.42 V", setup=ALONE).finding("battery.night")
    assert "too close" in str(finding) and finding.next_test == ""
