"""The alternator by what it adds: every edge, every condition, both voices.

0.5 V and 0.2 V over the open-circuit voltage, 2000 rpm, loads on, 2 min, smart charging 5 min and below
12.8 V, 2 A as the least that a clamp meter tells from none: estimates of ours (sources charging-rise,
battery-current).
"""

from __future__ import annotations

from typing import Any

import pytest
from corekit_battery.charging_rise import rise
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck

RESTED = {"rest_time": "9 h", "temperature": "20 °C"}
FINE = {"20 V": "0.001 V"}


def running(bench: Any, before: str, volts: str, **beside: str) -> ck.Finding:
    """An instrument so fine that the edges themselves are tested, not its uncertainty."""
    bench.describe("fine", "1 digits", **FINE)
    bench.read("open_circuit_voltage", before, using="fine", setup=RESTED)
    bench.read("charging_voltage", volts, using="fine", setup=beside)
    return bench.finding("battery.rise")  # type: ignore[no-any-return]


def test_the_rise_is_a_difference_and_keeps_the_uncertainty_of_both(bench: Any) -> None:
    finding = running(bench, "12.500 V", "14.200 V")
    # 1.7 V by hand; 1 mV on each reading, evenly likely: 0.001 · √2 / √3
    assert finding.value.number == pytest.approx(1.7) and finding.value.u == pytest.approx(0.000816, rel=0.01)
    assert set(finding.evidence) >= {"open_circuit_voltage-here", "charging_voltage-here"}


@pytest.mark.parametrize(
    ("volts", "says", "tells"),
    [
        ("12.703 V", "little charge arrives", "gets little charge"),
        ("12.697 V", "no charge arrives", "gets no charge"),
        ("12.997 V", "little charge arrives", "gets little charge"),
        ("13.003 V", "the alternator charges", "gets charged"),
        ("13.000 V", "too close", "too close"),
    ],
)
def test_the_rise_is_graded_just_inside_and_just_outside_its_edges(
    bench: Any, volts: str, says: str, tells: str
) -> None:
    finding = running(bench.fit("charging_control", "fixed"), "12.500 V", volts)
    assert says in str(finding.text) and tells in str(finding.for_customer)
    assert finding.verdict is ck.Verdict.ADVICE and finding.value is not None
    assert (finding.calls_for == "battery.charging_repair") is ("no charge" in says)


def test_a_worn_meter_leaves_a_rise_at_the_edge_open(bench: Any) -> None:
    bench.fit("charging_control", "fixed").read("open_circuit_voltage", "12.5 V", setup=RESTED)
    assert "too" in str(bench.read("charging_voltage", "13.05 V").finding("battery.rise"))


def test_a_running_voltage_alone_asks_for_the_one_before(bench: Any) -> None:
    bench.read("charging_voltage", "12.4 V")
    assert [gap.wants for gap in bench.gaps("charging_rise")] == ["battery.open_circuit_voltage"]
    assert not bench.findings("battery.rise")


def barred(finding: ck.Finding) -> bool:
    """Held open without a value, so that it grades nothing either."""
    return finding.verdict is ck.Verdict.UNDECIDED and finding.value is None


@pytest.mark.parametrize(("rpm", "open_"), [("1400 rpm", True), ("1600 rpm", False)])
def test_a_small_rise_at_idle_means_nothing(bench: Any, rpm: str, open_: bool) -> None:
    finding = running(bench, "12.500 V", "12.450 V", engine_speed=rpm)
    assert barred(finding) is open_
    assert ("2000 rpm" in str(finding)) is open_


def test_a_plain_rise_stands_at_idle_too(bench: Any) -> None:
    assert "charges" in str(running(bench, "12.500 V", "14.100 V", engine_speed="800 rpm"))


@pytest.mark.parametrize(
    ("control", "minutes", "open_"),
    [
        ("fixed", "1 min", True),
        ("fixed", "3 min", False),
        ("smart charging", "4 min", True),
        ("smart charging", "6 min", False),
    ],
)
def test_smart_charging_is_given_more_time_before_a_small_rise_counts(
    bench: Any, control: str, minutes: str, open_: bool
) -> None:
    bench.fit("charging_control", control).read("running_time", minutes).read("battery_current", "-12 A")
    assert barred(running(bench, "12.500 V", "12.450 V")) is open_


@pytest.mark.parametrize("control", ["", "smart charging"])
@pytest.mark.parametrize(("volts", "open_"), [("12.797 V", False), ("12.803 V", True)])
def test_where_smart_charging_is_possible_only_less_than_it_ever_asks_for_counts(
    bench: Any, control: str, volts: str, open_: bool
) -> None:
    if control:
        bench.fit("charging_control", control)
    bench.read("battery_current", "-12 A")
    assert barred(running(bench, "12.700 V", volts)) is open_


@pytest.mark.parametrize(("amps", "open_"), [("", True), ("0 A", True), ("-20 A", False)])
def test_smart_charging_fails_only_while_the_battery_is_discharged(
    bench: Any, amps: str, open_: bool
) -> None:
    bench.fit("charging_control", "smart charging")
    if amps:
        bench.read("battery_current", amps)
    assert barred(running(bench, "12.500 V", "12.450 V")) is open_


def test_a_charge_just_taken_bars_a_small_rise(bench: Any) -> None:
    bench.fit("charging_control", "fixed").describe("fine", "1 digits", **FINE)
    short = {"rest_time": "0.2 h", "temperature": "20 °C"}
    bench.read("open_circuit_voltage", "12.900 V", using="fine", setup=short)
    finding = bench.read("charging_voltage", "13.200 V", using="fine").finding("battery.rise")
    assert barred(finding) and "flatters" in str(finding)


def test_a_rise_without_loads_does_not_clear_the_alternator(bench: Any) -> None:
    finding = running(bench.see("charging_loads", "off"), "12.500 V", "14.200 V")
    assert barred(finding) and "weak alternator" in str(finding)
    assert not barred(running(bench.see("charging_loads", "on"), "12.500 V", "14.200 V"))


@pytest.mark.parametrize("drive", ["mild hybrid", "hybrid", "electric"])
def test_without_an_alternator_of_its_own_the_vehicle_has_no_rise(bench: Any, drive: str) -> None:
    bench.fit("drive", drive).read("open_circuit_voltage", "12.5 V", setup=RESTED)
    bench.read("charging_voltage", "12.5 V").read("battery_current", "-20 A")
    assert not bench.findings("battery.rise") and not bench.findings("battery.amps")
    assert any("converter" in str(gap.text) for gap in bench.gaps("charging_rise", "charging_current"))


@given(st.floats(11, 13), st.floats(11, 15), st.floats(0, 1))
def test_more_running_voltage_never_makes_less_of_a_rise(before: float, volts: float, more: float) -> None:
    assert rise.si(volts + more, before) >= rise.si(volts, before)


@pytest.mark.parametrize(
    ("amps", "says", "tells", "calls"),
    [
        ("2.1 A", "it is being charged", "flows into the battery", ""),
        ("1.9 A", "About no current", "about no current", ""),
        ("-1.9 A", "About no current", "about no current", ""),
        ("-2.1 A", "feeds the vehicle", "being discharged", "battery.charging_repair"),
    ],
)
def test_the_current_after_a_start_is_graded_at_two_amperes_either_way(
    bench: Any, amps: str, says: str, tells: str, calls: str
) -> None:
    bench.describe("clamp", "1 digits", **{"60 A": "0.01 A"})
    finding = bench.read("battery_current", amps, using="clamp").finding("battery.amps")
    assert says in str(finding.text) and tells in str(finding.for_customer) and finding.calls_for == calls


def test_an_ordinary_clamp_meter_tells_no_direction_of_a_small_current(bench: Any) -> None:
    finding = bench.read("battery_current", "2 A").finding("battery.amps")
    assert "cannot tell from none" in str(finding) and finding.verdict is ck.Verdict.ADVICE


@pytest.mark.parametrize(("volts", "open_"), [("", True), ("13.2 V", True), ("12.4 V", False)])
def test_smart_charging_may_let_current_out_on_purpose(bench: Any, volts: str, open_: bool) -> None:
    bench.fit("charging_control", "smart charging").read("battery_current", "-15 A")
    if volts:
        bench.read("charging_voltage", volts)
    assert barred(bench.finding("battery.amps")) is open_


@pytest.mark.parametrize(
    ("seen", "says", "tells", "verdict"),
    [
        ("tight and whole", "tight and whole", "looks whole", ck.Verdict.PASS),
        ("slack or glazed", "can slip", "can slip", ck.Verdict.FAIL),
        ("torn or missing", "nothing drives the alternator", "is gone", ck.Verdict.FAIL),
    ],
)
def test_the_belt_is_judged_by_eye(bench: Any, seen: str, says: str, tells: str, verdict: ck.Verdict) -> None:
    finding = bench.see("belt", seen).finding("battery.belt")
    assert says in str(finding.text) and tells in str(finding.for_customer) and finding.verdict is verdict
    assert (finding.urgency is ck.Urgency.BEFORE_DRIVING) is (seen == "torn or missing")


@pytest.mark.parametrize(
    ("key", "answer", "code", "says", "tells"),
    [
        ("charge_light_key_on", "lights up", "light_key_on", "lights up", "works"),
        ("charge_light_key_on", "stays dark", "light_key_on", "exciter circuit", "does not light up"),
        ("alternator_lead", "no current", "alternator_leak", "is elsewhere", "draws no current"),
        ("alternator_lead", "current flows", "alternator_leak", "leaking diode", "through the alternator"),
    ],
)
def test_light_and_lead_are_told_in_both_voices_and_only_advise(
    bench: Any, key: str, answer: str, code: str, says: str, tells: str
) -> None:
    finding = bench.see(key, answer).finding(f"battery.{code}")
    assert says in str(finding.text) and tells in str(finding.for_customer)
    assert finding.verdict is ck.Verdict.ADVICE and finding.evidence == (f"seen-{key}",)


@pytest.mark.parametrize(("current", "is_open"), [("2.1 A", False), ("1.9 A", True)])
def test_a_small_rise_decides_nothing_unless_current_plainly_flows_into_the_battery(
    bench: Any, current: str, is_open: bool
) -> None:
    bench.describe("fine", "1 digits", **FINE)
    bench.describe("fine clamp", "1 digits", **{"20 A": "0.001 A"})
    bench.fit("charging_control", "smart charging")
    bench.read("open_circuit_voltage", "12.720 V", using="fine", setup=RESTED)
    bench.read("charging_voltage", "12.810 V", using="fine")
    bench.read("battery_current", current, using="fine clamp")
    verdicts = [one.verdict for one in bench.findings("battery.rise")]
    assert verdicts == ([ck.Verdict.UNDECIDED] if is_open else [])
