"""The voltage with the engine running, by battery type, temperature and control, at the edges."""

from __future__ import annotations

from typing import Any

import pytest
from corekit_battery import battery
from hypothesis import given, settings
from hypothesis import strategies as st

import corekit as ck
from corekit.testing import Bench

PASS, FAIL, OPEN, ADVICE = ck.Verdict.PASS, ck.Verdict.FAIL, ck.Verdict.UNDECIDED, ck.Verdict.ADVICE


def read(volts: str, celsius: str = "", use: str = "", rpm: str = "", **fitted: str) -> Bench:
    """A reading with an instrument so good that only the limit's width counts."""
    bench = Bench(battery).describe("fine", "0.001 V").describe("probe", "0.01 °C")
    for trait, answer in fitted.items():
        bench.fit(trait, answer)
    if use:
        bench.see("in_use", use)
    if celsius:
        bench.read("temperature", celsius, using="probe")
    if rpm:
        bench.read("engine_speed", rpm)
    return bench.read("charging_voltage", volts, using="fine")


@pytest.mark.parametrize(
    ("kind", "volts", "verdict"),
    [
        # high end ± width (k = 2): open within 1.645 halves of it, so ± 0.247 V of 14.8 V and ± 0.165 V of
        # 14.8 V and of 14.4 V
        ("flooded", "14.54 V", PASS),
        ("flooded", "14.56 V", OPEN),
        ("flooded", "15.04 V", OPEN),
        ("flooded", "15.06 V", FAIL),
        ("EFB", "15.06 V", FAIL),
        ("AGM", "14.63 V", PASS),
        ("AGM", "14.97 V", FAIL),
        ("gel", "14.23 V", PASS),
        ("gel", "14.57 V", FAIL),
        ("flooded", "13.76 V", PASS),
        ("flooded", "13.24 V", FAIL),
    ],
)
def test_a_fixed_set_point_is_judged_by_battery_type_at_25_degrees(
    kind: str, volts: str, verdict: ck.Verdict
) -> None:
    finding = read(volts, "25 °C", charging_control="fixed", type=kind).finding("battery.charging")
    assert finding.verdict is verdict


@pytest.mark.parametrize(("kind", "volts"), [("AGM", "15.4 V"), ("gel", "15.0 V")])
def test_what_a_cold_battery_gets_in_frost_is_not_called_overcharged(kind: str, volts: str) -> None:
    # by trade practice sound at -15 °C, to these voltages
    cold = read(volts, "-15 °C", charging_control="fixed", type=kind)
    assert cold.finding("battery.charging").verdict is not FAIL
    assert "burst" not in " ".join(str(finding.text) for finding in cold.findings())
    assert (
        read(volts, "25 °C", charging_control="fixed", type=kind).finding("battery.charging").verdict is FAIL
    )


@pytest.mark.parametrize(
    ("volts", "verdict"), [("14.1 V", PASS), ("14.5 V", OPEN), ("15.4 V", OPEN), ("15.5 V", FAIL)]
)
def test_of_an_unknown_type_a_warm_battery_fails_above_15_and_a_half_volts_and_is_asked_for_below(
    volts: str, verdict: ck.Verdict
) -> None:
    finding = read(volts, "25 °C", charging_control="fixed").finding("battery.charging")
    assert finding.verdict is verdict
    if verdict is OPEN:
        assert finding.next_test == "battery.type" and "battery type" in str(finding.for_customer)


def test_a_temperature_that_was_not_taken_is_named_where_frost_would_allow_the_voltage() -> None:
    finding = read("15.2 V", charging_control="fixed", type="AGM").finding("battery.charging")
    assert (finding.verdict, finding.next_test) == (OPEN, "battery.temperature")


@pytest.mark.parametrize("volts", ["12.3 V", "13.0 V", "14.6 V", "15.5 V", "15.9 V", "11.9 V"])
@pytest.mark.parametrize("control", ["smart charging", ""])
def test_a_system_that_may_be_managed_never_fails_by_its_limit_alone(control: str, volts: str) -> None:
    fitted = {"charging_control": control} if control else {}
    assert read(volts, "25 °C", type="flooded", **fitted).finding("battery.charging").verdict is not FAIL


def test_a_voltage_that_smart_charging_would_explain_asks_how_the_vehicle_rules_it() -> None:
    finding = read("12.9 V", "25 °C", type="flooded").finding("battery.charging")
    assert (finding.verdict, finding.next_test) == (OPEN, "battery.charging_control")


@pytest.mark.parametrize(("volts", "verdict"), [("12.62 V", FAIL), ("12.65 V", ADVICE)])
def test_a_managed_system_fails_where_the_battery_is_plainly_discharged_on_the_road(
    volts: str, verdict: ck.Verdict
) -> None:
    # 12.8 ± 0.2 V: 12.8 V - 1.645 · 0.1 V = 12.636 V
    bench = read(volts, "25 °C", use="goes flat while driving", charging_control="smart charging")
    assert bench.finding("battery.charging").verdict is verdict


@pytest.mark.parametrize(
    ("volts", "rpm", "verdict"),
    [("11.8 V", "2000 rpm", FAIL), ("11.8 V", "800 rpm", ADVICE), ("11.8 V", "", ADVICE)],
)
def test_eleven_point_eight_volts_at_speed_is_no_charging_under_any_practice(
    volts: str, rpm: str, verdict: ck.Verdict
) -> None:
    assert read(volts, rpm=rpm).finding("battery.not_charging").verdict is verdict


def test_thirteen_point_three_volts_is_not_no_charging() -> None:
    assert not read("13.3 V", rpm="2000 rpm").findings("battery.not_charging")


@pytest.mark.parametrize(
    ("volts", "verdict", "urgency"),
    [("15.83 V", None, None), ("16.0 V", OPEN, "this visit"), ("16.17 V", FAIL, "before driving")],
)
def test_what_cannot_wait_is_a_statement_of_its_own(
    volts: str, verdict: ck.Verdict | None, urgency: str | None
) -> None:
    # 16.0 ± 0.2 V: open within 0.1645 V
    found = read(volts).findings("battery.overcharge")
    assert [(one.verdict, one.urgency) for one in found] == ([(verdict, urgency)] if verdict else [])


RANK = ["nothing to do here", "plan it", "this visit", "before driving"]


@settings(max_examples=60, deadline=None)
@given(
    st.floats(14.1, 16.6), st.sampled_from(["flooded", "AGM", "gel"])
)  # above every low end with its width
def test_urgency_never_jumps_by_more_than_a_step_over_a_few_hundredths_of_a_volt(
    volts: float, kind: str
) -> None:
    def urgency(at: float) -> int:
        found = read(f"{at:.3f} V", "25 °C", charging_control="fixed", type=kind)
        return max(
            RANK.index(one.urgency)
            for one in found.findings()
            if one.code in ("battery.charging", "battery.overcharge")
        )

    assert 0 <= urgency(volts + 0.03) - urgency(volts) <= 1


@pytest.mark.parametrize(
    ("kind", "volts", "celsius", "verdict"),
    [
        # 14.4 to 14.8 ± 0.1 V and so on at 25 °C; in the cold AGM to 15.5 V, gel to 15.0 V
        ("AGM", "14.6 V", "25 °C", PASS),
        ("AGM", "14.89 V", "25 °C", FAIL),
        ("AGM", "15.4 V", "-15 °C", PASS),
        ("AGM", "15.6 V", "-15 °C", FAIL),
        ("gel", "14.9 V", "-15 °C", PASS),
        ("gel", "15.1 V", "-15 °C", FAIL),
        ("flooded", "14.8 V", "25 °C", PASS),
        ("flooded", "13.9 V", "25 °C", FAIL),
        ("", "13.2 V", "25 °C", FAIL),
        ("", "14.6 V", "25 °C", OPEN),
        ("", "15.3 V", "25 °C", FAIL),
    ],
)
def test_a_charger_is_held_against_type_and_temperature_and_the_union_of_all_while_the_type_is_unknown(
    kind: str, volts: str, celsius: str, verdict: ck.Verdict
) -> None:
    bench = Bench(battery).describe("fine", "0.001 V").describe("probe", "0.01 °C")
    bench.read("temperature", celsius, using="probe").read("charger_voltage", volts, using="fine")
    finding = (bench.fit("type", kind) if kind else bench).finding("battery.charger_profile")
    assert finding.verdict is verdict
    assert finding.next_test == ("battery.type" if verdict is OPEN else "")


# ---- several speeds are a series


def speeds(bench: Any, *read: tuple[str, str]) -> Any:
    (volts, speed), *more = read
    bench.fit("type", "flooded").fit("charging_control", "fixed")
    bench.read("temperature", "20 °C").read("charging_voltage", volts, setup={"engine_speed": speed})
    for volts, speed in more:
        bench.read_also("charging_voltage", volts, setup={"engine_speed": speed})
    return bench


@pytest.mark.parametrize(
    ("read", "verdict"),
    [
        # A sound alternator may give little at idle; what it gives at speed decides, whichever came last.
        ([("14.3 V", "2000 rpm"), ("12.4 V", "700 rpm")], ck.Verdict.PASS),
        ([("12.4 V", "700 rpm"), ("14.3 V", "2000 rpm")], ck.Verdict.PASS),
        # A belt that slips gives less the faster it should turn.
        ([("14.3 V", "700 rpm"), ("12.4 V", "2000 rpm")], ck.Verdict.FAIL),
        # A regulator that lets it rise with the speed is wrong at any speed.
        ([("17.5 V", "2500 rpm"), ("14.3 V", "700 rpm")], ck.Verdict.FAIL),
        ([("14.3 V", "2500 rpm"), ("17.5 V", "700 rpm")], ck.Verdict.FAIL),
        # Two speeds that the instrument cannot tell apart: 700 and 780 rpm, each ± 50 rpm, are one; k = 2 of
        # both is 82 rpm.
        ([("14.3 V", "780 rpm"), ("12.4 V", "700 rpm")], ck.Verdict.UNDECIDED),
        ([("14.3 V", "785 rpm"), ("12.4 V", "700 rpm")], ck.Verdict.PASS),
    ],
)
def test_charging_voltages_at_several_speeds_are_a_series_that_the_greatest_speed_decides(
    bench: Any, read: list[tuple[str, str]], verdict: ck.Verdict
) -> None:
    found = speeds(bench, *read).finding("battery.charging")
    assert found.verdict is verdict
    assert found.disagrees is (verdict is ck.Verdict.UNDECIDED)
    if verdict is not ck.Verdict.UNDECIDED:
        assert all(volts.removesuffix(" V") in str(found.text) for volts, _ in read)  # both are named
        assert len(found.evidence) >= 2


def test_an_idle_reading_after_one_at_speed_leaves_the_rise_decided(bench: Any) -> None:
    bench.read("open_circuit_voltage", "12.5 V")
    speeds(bench, ("14.3 V", "2000 rpm"), ("12.6 V", "700 rpm"))
    assert bench.finding("battery.rise").value.number == pytest.approx(1.8)


def test_no_charge_at_speed_is_seen_though_idle_was_read_last(bench: Any) -> None:
    speeds(bench, ("11.6 V", "2000 rpm"), ("11.4 V", "700 rpm"))
    assert bench.finding("battery.not_charging").verdict is ck.Verdict.FAIL
