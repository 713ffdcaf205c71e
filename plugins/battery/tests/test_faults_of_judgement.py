"""What a reading means depends on what came before it, on its conditions and on what was seen: each kind of
wrong conclusion that a mechanic would not draw.

Figures: the load test needs 9.6 V at 21 °C and above, and a sound battery sags no deeper than a volt for
each 25 points of charge below 75 % (estimate of ours); a cell is about 2.1 V; a rise of 0.5 V over the
open-circuit voltage shows charge arriving, below 0.2 V none does (common practice); 0.20 V per 100 A of
starter current, at most 0.5 V for a side (TM 10-3930-671-24 and an estimate of ours).
"""

from __future__ import annotations

import re
from typing import Any

import attrs
import pytest
from corekit_battery import battery
from corekit_battery.capacity_test import capacity_at_current
from corekit_battery.loading import least_sound_voltage
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck

RESTED = {"rest_time": "12 h", "temperature": "21 °C"}
LOADED = {"load_current": "320 A", "load_time": "15 s", "temperature": "21 °C"}
FULL = "current fell and stayed low"


def codes(bench: Any) -> set[str]:
    return {finding.code for finding in bench.findings()}


def words(bench: Any) -> str:
    return " ".join(
        [f"{finding.text} {finding.for_customer}" for finding in bench.findings()]
        + [gap.text for gap in bench.gaps()]
    )


@pytest.fixture
def flooded(bench: Any) -> Any:
    """Flooded, acid of 1.280, 640 A SAE, 70 Ah; half its rating is 320 A."""
    bench.meter().fit("type", "flooded").fit("acid", "1.280").fit("rating", "640 A SAE").fit(
        "capacity", "70 Ah"
    )
    return bench


def rests_at(bench: Any, volts: str, **setup: str) -> Any:
    return bench.read("open_circuit_voltage", volts, using="meter", setup={**RESTED, **setup})


def loaded_at(bench: Any, volts: str) -> Any:
    return bench.read("load_voltage", volts, using="meter", setup=LOADED)


# ---- 1: far below the limit after a known charge


def test_before_any_charge_a_discharged_battery_that_sags_is_charged_and_tested_again(flooded: Any) -> None:
    finding = loaded_at(rests_at(flooded, "12.3 V"), "7.5 V").finding("battery.load")
    assert finding.verdict is ck.Verdict.UNDECIDED and "Charge it, then test it under load" in str(finding)


@pytest.mark.parametrize("known", ["done in this job", "seen at its end"])
def test_after_a_known_charge_a_battery_that_sags_deeper_than_any_sound_one_is_not_sent_to_be_charged(
    flooded: Any, known: str
) -> None:
    if known == "done in this job":
        flooded.repaired("charge")
    else:
        flooded.see("charge_end", FULL)
    loaded_at(rests_at(flooded, "12.3 V"), "7.5 V")
    finding = flooded.finding("battery.load")
    assert finding.verdict is ck.Verdict.UNDECIDED and finding.probability is None
    assert "does not take or hold its charge" in str(finding)
    assert "Charge it, then test" not in words(flooded)
    assert not [found for found in flooded.findings() if found.calls_for]


@pytest.mark.parametrize(("under", "explained"), [("9.5 V", True), ("7.5 V", False)])
def test_whether_the_charge_it_has_explains_the_sag_is_weighed(
    flooded: Any, under: str, explained: bool
) -> None:
    # 12.4 V is about 58 %, at least 48 %: a sound one then still shows 9.6 - 4 · 0.27 = 8.5 V
    flooded.repaired("charge")
    finding = loaded_at(rests_at(flooded, "12.4 V"), under).finding("battery.load")
    assert ("being discharged does not explain it" in str(finding)) is not explained


def test_a_charged_battery_whose_voltage_leaves_the_charge_open_is_condemned_by_a_plain_sag(
    bench: Any,
) -> None:
    # AGM at 12.68 V is about 83 %, anywhere from 67 %: a sound one at 67 % still shows 9.6 - 4 · 0.08 = 9.3 V
    bench.meter().fit("type", "AGM").fit("rating", "640 A SAE").repaired("charge")
    loaded_at(rests_at(bench, "12.68 V"), "8.0 V")
    assert bench.finding("battery.load").verdict is ck.Verdict.FAIL
    bench.repairs.clear()
    assert bench.finding("battery.load").verdict is ck.Verdict.UNDECIDED


@pytest.mark.parametrize(("ended", "verdict"), [(FULL, ck.Verdict.FAIL), ("", ck.Verdict.UNDECIDED)])
def test_soon_after_a_charge_whose_end_was_seen_a_sag_counts_and_else_it_is_too_soon(
    flooded: Any, ended: str, verdict: ck.Verdict
) -> None:
    flooded.repaired("charge")
    if ended:
        flooded.see("charge_end", ended)
    loaded_at(rests_at(flooded, "12.9 V", rest_time="0.5 h"), "8.0 V")
    assert flooded.finding("battery.load").verdict is verdict


@pytest.mark.parametrize(
    "ended", ["charger stopped or reported a fault", "took next to no current", "taken off before its end"]
)
def test_a_charge_that_ended_early_is_no_known_charge(flooded: Any, ended: str) -> None:
    flooded.repaired("charge").see("charge_end", ended)
    loaded_at(rests_at(flooded, "12.3 V"), "7.5 V")
    assert "battery.low_after_charge" not in codes(flooded)
    assert flooded.finding("battery.charge_ended_early").next_test == "battery.charge_current"


def test_a_low_voltage_soon_after_a_charge_is_lower_still_and_not_charged_again(flooded: Any) -> None:
    flooded.repaired("charge")
    loaded_at(rests_at(flooded, "12.1 V", rest_time="0.5 h"), "7.5 V")
    assert "does not take or hold its charge" in str(flooded.finding("battery.load"))
    assert "harge it, then test" not in words(flooded)


def test_a_load_test_after_a_charge_without_a_voltage_asks_whether_the_charge_is_held(flooded: Any) -> None:
    finding = loaded_at(flooded.repaired("charge"), "7.5 V").finding("battery.load")
    assert finding.next_test == "battery.open_circuit_voltage" and "holds the charge" in str(finding)


def test_a_charge_before_the_battery_was_replaced_says_nothing_of_the_new_one(flooded: Any) -> None:
    rests_at(flooded.repaired("charge").repaired("replace"), "12.2 V")
    assert "battery.low_after_charge" not in codes(flooded)
    assert flooded.finding("battery.charge_state").calls_for == "battery.charge"


@given(st.floats(8.5, 9.6), st.floats(0, 1), st.floats(0, 1))
def test_a_sound_battery_with_less_charge_never_has_to_hold_more(
    required: float, first: float, second: float
) -> None:
    low, high = sorted((first, second))
    floor = least_sound_voltage.si
    assert floor(required, low) <= floor(required, high) <= required


# ---- 2 and 12: low after a full charge, and charges that end early


@pytest.mark.parametrize(
    ("volts", "first"),
    [("10.6 V", "a dead cell comes first"), ("11.9 V", "does not take or hold its charge, one whose acid")],
)
def test_a_low_voltage_after_a_full_charge_is_named_and_not_charged_again(
    flooded: Any, volts: str, first: str
) -> None:
    rests_at(flooded.see("charge_end", FULL), volts)
    finding = flooded.finding("battery.low_after_charge")
    assert first in str(finding) and finding.next_test == "battery.charge_current"
    assert flooded.finding("battery.charge_state").calls_for == ""
    assert "needs charging" not in words(flooded) and "replace" not in words(flooded).lower()


def test_a_good_voltage_after_a_full_charge_is_no_finding(flooded: Any) -> None:
    assert "battery.low_after_charge" not in codes(rests_at(flooded.see("charge_end", FULL), "12.75 V"))


def test_of_a_sealed_battery_no_gravity_is_asked_after_a_charge(bench: Any) -> None:
    rests_at(bench.meter().fit("type", "AGM").see("charge_end", FULL), "11.9 V")
    bench.read("charge_current", "0.5 A", place="later")
    finding = bench.finding("battery.low_after_charge")
    assert finding.next_test == "battery.open_circuit_voltage" and "gravity" not in str(finding)


def test_weak_cells_after_a_full_charge_are_not_charged_again(flooded: Any) -> None:
    # 1.190 lowest, 1.232 on average: part charged, as the teaching material has it
    for place, value in enumerate(("1.260", "1.230", "1.240", "1.220", "1.190", "1.250"), 1):
        flooded.read("specific_gravity", value, place=f"cell {place}")
    assert flooded.finding("battery.cell_spread").calls_for == "battery.charge"
    flooded.see("charge_end", FULL)
    finding = flooded.finding("battery.cell_spread")
    assert finding.calls_for == "" and "shows nothing new" in str(finding)
    assert "battery.charge" not in {found.calls_for for found in flooded.findings()}


def test_a_battery_that_is_empty_with_the_engine_running_after_a_full_charge_is_not_charged_again(
    bench: Any,
) -> None:
    bench.read("charging_voltage", "9.0 V")
    assert bench.finding("battery.empty").calls_for == "battery.charge"
    finding = bench.see("charge_end", FULL).finding("battery.empty")
    assert finding.calls_for == "" and "dead cell" in str(finding)


def test_a_load_test_too_close_to_call_after_a_full_charge_is_not_sent_to_be_charged(flooded: Any) -> None:
    loaded_at(rests_at(flooded, "12.85 V"), "9.6 V")
    assert "Charge it fully" in str(flooded.finding("battery.load"))
    assert "Charge it fully" not in str(flooded.see("charge_end", FULL).finding("battery.load"))


@pytest.mark.parametrize(("minutes", "refused"), [("10 min", True), ("900 min", False)])
def test_a_small_current_before_the_charge_can_have_gone_in_is_no_full_battery(
    flooded: Any, minutes: str, refused: bool
) -> None:
    # 12.0 V is 26 %: some 50 of 70 Ah are missing; 10 A give 1.7 Ah in 10 min and 150 Ah in 15 h
    rests_at(flooded.fit("charger", "10 A"), "12.0 V").read("charger_voltage", "14.6 V")
    flooded.read("charge_current", "0.3 A", place="later", setup={"charge_elapsed": minutes})
    assert ("battery.charge_not_taken" in codes(flooded)) is refused
    assert ("charge is complete" in words(flooded)) is not refused
    if refused:
        assert "no further charging changes that" in str(flooded.finding("battery.charge_not_taken"))


# ---- 3: days parked


def fixed(bench: Any) -> Any:
    """A flooded battery and a fixed set point: 13.5 to 14.8 V, each ± 0.3 V, at 25 °C."""
    return bench.meter().fit("type", "flooded").fit("charging_control", "fixed")


def parked(bench: Any, **how: str) -> Any:
    bench.describe("clamp", "1 %").fit("capacity", "70 Ah").fit("type", "AGM")
    return bench.read(
        "parasitic_draw", "180 mA", using="clamp", setup={"sleep_time": how.get("slept", "40 min")}
    )


def test_days_parked_are_a_span_from_an_old_battery_to_a_new_one(bench: Any) -> None:
    # 8.0 d by the label, 60 % of that in an old battery: 4.8 d
    assert "5 to 8 days" in str(parked(bench).finding("battery.days"))


@pytest.mark.parametrize("turns", ["slow", "no crank", "intermittent no crank"])
def test_of_a_car_that_does_not_crank_no_days_are_told(bench: Any, turns: str) -> None:
    assert "battery.days" in codes(parked(bench).see("cranks", "normal"))
    assert "battery.days" not in codes(bench.see("cranks", turns))


def test_no_days_are_told_of_a_current_read_too_soon_or_a_charge_not_known_well_enough(bench: Any) -> None:
    assert "battery.days" not in codes(parked(bench, slept="3 min"))
    assert "battery.days" not in codes(rests_at(parked(bench), "12.4 V", rest_time="1 h"))


# ---- 4: the parasitic draw and the step's own words


@pytest.mark.parametrize(
    ("stood", "says"),
    [("a latch open", "latch"), ("key within 5 m", "key"), ("diagnostic plug in", "plug")],
)
def test_a_draw_read_with_something_kept_awake_is_undecided_however_long_it_waited(
    bench: Any, stood: str, says: str
) -> None:
    finding = parked(bench, slept="90 min").see("parked_state", stood).finding("battery.parasitic_draw")
    assert finding.verdict is ck.Verdict.UNDECIDED and says in str(finding) and not finding.calls_for
    assert finding.next_test == "battery.parasitic_draw"


def test_a_draw_that_still_falls_is_undecided_and_a_small_one_passes_awake_or_asleep(bench: Any) -> None:
    parked(bench, slept="40 min").see("draw_settles", "still falling")
    assert bench.finding("battery.parasitic_draw").verdict is ck.Verdict.UNDECIDED
    bench.read("parasitic_draw", "12 mA", using="clamp", setup={"sleep_time": "5 min"})
    assert bench.finding("battery.parasitic_draw").probability > 0.95


def test_a_draw_read_as_parked_stands_without_an_if(bench: Any) -> None:
    assert "if latches were shut" in str(parked(bench).finding("battery.parasitic_draw"))
    bench.see("parked_state", "locked, latches shut, key over 5 m away, diagnostic plug out")
    assert "if latches were shut" not in str(bench.finding("battery.parasitic_draw"))


# ---- 5, 7 and 9: the running voltage beside the open-circuit voltage


@pytest.mark.parametrize(
    ("running", "code"), [("12.8 V", "battery.charging"), ("11.9 V", "battery.pulled_down")]
)
def test_a_battery_that_pulls_a_sound_alternator_down_is_told_from_a_weak_one(
    bench: Any, running: str, code: str
) -> None:
    # five cells rest at about 10.5 V; running it rises by more than 0.5 V: charge arrives
    fixed(bench)
    rests_at(bench, "10.5 V").read("charging_voltage", running, using="meter")
    finding = bench.finding(code)
    assert "dead cell" in str(finding) and "alternator is weak" in str(finding)
    assert "battery.charging_repair" not in {found.calls_for for found in bench.findings()}
    assert "battery.not_charging" not in codes(bench)


def test_a_running_voltage_at_the_open_circuit_voltage_is_no_charging(bench: Any) -> None:
    rests_at(bench.meter(), "11.9 V").read("charging_voltage", "11.9 V", using="meter")
    finding = bench.finding("battery.not_charging")
    assert finding.calls_for == "battery.charging_repair" and "dead cell" not in str(finding)
    rests_at(fixed(bench), "12.6 V")
    assert "0.70 V below" in str(bench.finding("battery.charging"))


def test_a_low_running_voltage_alone_says_both_explanations(bench: Any) -> None:
    bench.read("charging_voltage", "11.9 V")
    for code in ("battery.charging", "battery.not_charging"):
        assert "dead cell" in str(bench.finding(code))


def test_a_charging_voltage_alone_passes_the_voltage_and_asks_for_the_ripple(bench: Any) -> None:
    fixed(bench).read("charging_voltage", "14.3 V", using="meter", setup={"temperature": "25 °C"})
    assert "passes the voltage only" in str(bench.finding("battery.charging"))
    assert "battery.ripple" in {gap.wants for gap in bench.gaps("charging")}
    bench.read("ripple", "0.05 V", place="posts")
    assert "voltage only" not in str(bench.finding("battery.charging"))
    assert not bench.gaps("charging")


def test_a_voltage_within_its_limit_that_lies_on_the_open_circuit_voltage_shows_no_charge_arriving(
    bench: Any,
) -> None:
    fixed(bench).read("charging_voltage", "13.95 V", using="meter", setup={"temperature": "25 °C"})
    rests_at(bench, "12.8 V")
    assert "charge arrives" not in words(bench)
    rests_at(bench, "13.93 V")
    assert "does not show that charge arrives" in str(bench.finding("battery.charging"))


# ---- 6: drops with their current


@pytest.mark.parametrize(
    ("place", "drop", "amps", "verdict"),
    [
        # 0.8 V by the rule, 0.5 V at most, known to ± 0.31 V (k = 2)
        ("positive side", "0.22 V", "400 A", ck.Verdict.PASS),
        ("positive side", "0.65 V", "400 A", ck.Verdict.UNDECIDED),
        ("positive side", "0.80 V", "400 A", ck.Verdict.FAIL),
        ("positive side", "0.80 V", "600 A", ck.Verdict.FAIL),  # no side loses more, however large the engine
        ("positive side", "0.22 V", "150 A", ck.Verdict.UNDECIDED),  # 0.4 ± 0.25 V
        ("positive side", "0.65 V", "150 A", ck.Verdict.FAIL),
        ("ground side", "0.20 V", "400 A", ck.Verdict.PASS),  # 0.4 ± 0.2 V
        ("ground side", "0.35 V", "400 A", ck.Verdict.UNDECIDED),
        ("ground side", "0.35 V", "150 A", ck.Verdict.FAIL),  # 0.2 ± 0.1 V
        (
            "positive side",
            "0.30 V",
            "20 A",
            ck.Verdict.UNDECIDED,
        ),  # 15 mΩ; the printed 0.4 V are for cranking
    ],
)
def test_a_side_is_judged_at_its_current(
    bench: Any, place: str, drop: str, amps: str, verdict: ck.Verdict
) -> None:
    bench.describe("meter", "0.01 V").read(
        "voltage_drop", drop, place=place, using="meter", setup={"starter_current": amps}
    )
    assert bench.finding("battery.voltage_drop").verdict is verdict


@pytest.mark.parametrize(
    ("drop", "amps", "leans"),
    [("0.15 V", "400 A", "pass"), ("0.15 V", "100 A", "fail"), ("0.3 V", "1000 A", "fail")],
)
def test_a_connection_is_judged_at_its_current(bench: Any, drop: str, amps: str, leans: str) -> None:
    bench.describe("meter", "0.005 V").read(
        "voltage_drop",
        drop,
        place="positive post to clamp",
        using="meter",
        setup={"starter_current": amps},
    )
    assert (bench.finding("battery.joint").probability > 0.5) is (leans == "pass")


def test_a_connection_read_without_its_current_asks_for_it_unless_no_current_allows_the_drop(
    bench: Any,
) -> None:
    bench.describe("meter", "0.005 V").read(
        "voltage_drop", "0.08 V", place="negative post to clamp", using="meter"
    )
    finding = bench.finding("battery.joint")
    assert (finding.verdict, finding.next_test) == (ck.Verdict.UNDECIDED, "battery.starter_current")
    bench.read("voltage_drop", "0.5 V", place="negative post to clamp", using="meter")
    assert bench.finding("battery.joint").probability < 0.05


# ---- 8: the capacity test at its current


@pytest.mark.parametrize(
    ("gave", "amps", "verdict"),
    [
        ("68 Ah", "5 A", "fails"),
        ("68 Ah", "25 A", "open"),
        ("78 Ah", "25 A", "passes"),
        ("78 Ah", "5 A", "open"),
        ("78 Ah", "80 A", "open"),
    ],
)
def test_what_a_battery_delivers_is_held_against_its_label_at_that_current(
    bench: Any, gave: str, amps: str, verdict: str
) -> None:
    # 100 Ah by the 20-hour rate, flooded: at 25 A between 5^-0.1 = 85 % and 5^-0.3 = 62 % of it; 80 ± 10 % of
    # what is due are usual, so it passes from 88 % on and fails below 72 %
    bench.describe("exact", "0.1 %").fit("capacity", "100 Ah").fit("type", "flooded")
    bench.read("delivered", gave, using="exact", setup={"temperature": "25 °C"})
    bench.read("discharge_current", amps, using="exact")
    finding = bench.finding("battery.capacity_left")
    found = (
        "open"
        if finding.verdict is ck.Verdict.UNDECIDED
        else "passes"
        if finding.verdict is ck.Verdict.PASS
        else "fails"
    )
    assert found == verdict


def test_its_own_two_ratings_give_the_exponent(bench: Any) -> None:
    # ln(20 h / 2 h) / ln(25 A / 3.5 A) = 1.171 for 70 Ah and 120 min: at 25 A it gives 25 A · 2 h = 50 Ah
    bench.describe("exact", "0.1 %").fit("capacity", "70 Ah").fit("reserve", "120 min").fit("type", "flooded")
    bench.read("delivered", "45 Ah", using="exact", setup={"temperature": "25 °C"})
    finding = bench.read("discharge_current", "25 A", using="exact").finding("battery.capacity_left")
    assert finding.value.number == pytest.approx(0.90, abs=0.005)


def test_a_cold_discharge_is_held_against_the_capacity_in_the_cold(bench: Any) -> None:
    # the 20-hour table prints 0.765 at -6.7 °C
    bench.describe("exact", "0.1 %").fit("capacity", "100 Ah").read(
        "delivered", "75 Ah", using="exact", setup={"temperature": "-6.7 °C"}
    )
    finding = bench.read("discharge_current", "5 A", using="exact").finding("battery.capacity_left")
    assert finding.value.number == pytest.approx(0.98, abs=0.01)


def test_a_capacity_test_from_a_charge_that_ended_early_says_nothing(bench: Any) -> None:
    bench.fit("capacity", "100 Ah").read("delivered", "40 Ah").read("discharge_current", "5 A")
    bench.see("charge_end", "taken off before its end")
    assert bench.finding("battery.capacity_left").verdict is ck.Verdict.UNDECIDED


@given(st.floats(5.0, 50.0), st.floats(5.0, 50.0), st.floats(1.0, 1.5))
def test_a_higher_current_never_delivers_more(first: float, second: float, exponent: float) -> None:
    low, high = sorted((first, second))
    at = capacity_at_current.si
    assert at(360000.0, high, exponent) <= at(360000.0, low, exponent) * (1 + 1e-9)


# ---- 10: lithium


@pytest.mark.parametrize("volts", ["12.95 V", "13.05 V", "13.4 V"])
def test_the_type_comes_before_a_voltage_that_could_be_either(bench: Any, volts: str) -> None:
    rests_at(bench.meter(), volts)
    assert "battery.type" in {gap.wants for gap in bench.gaps("charge_state")}
    assert "enough for a load test" not in words(bench)
    assert not [found for found in bench.findings() if found.probability is not None]
    bench.fit("type", "AGM")
    assert "battery.type" not in {gap.wants for gap in bench.gaps("charge_state")}


def test_an_open_type_neither_clears_nor_condemns_under_load(bench: Any) -> None:
    rests_at(bench.meter().fit("rating", "640 A SAE"), "12.95 V")
    finding = loaded_at(bench, "8.0 V").finding("battery.load")
    assert finding.verdict is ck.Verdict.UNDECIDED and "type" in str(finding)


@pytest.mark.parametrize(
    ("volts", "code", "charges"),
    [
        ("13.2 V", "battery.charge_state", False),
        ("12.3 V", "battery.charge_state", True),
        ("0 V", "battery.lithium_guard", False),
        ("14.2 V", "battery.surface_charge", False),
    ],
)
def test_a_lithium_battery_is_read_by_its_own_scale(bench: Any, volts: str, code: str, charges: bool) -> None:
    rests_at(bench.meter().fit("type", "lithium"), volts)
    finding = bench.finding(code)
    assert (finding.calls_for == "battery.charge") is charges
    assert not {"battery.deep_discharge", "battery.discharge_cause"} & codes(bench)


@pytest.mark.parametrize("volts", ["14.4 V", "15.4 V"])
def test_a_lithium_battery_gets_no_more_than_14_6_volts_and_no_charge_in_frost(
    bench: Any, volts: str
) -> None:
    bench.fit("type", "lithium").read("charger_voltage", volts, setup={"temperature": "-10 °C"})
    finding = bench.finding("battery.charger_profile")
    assert (finding.urgency is ck.Urgency.NOTHING) is (volts == "14.4 V")
    assert bench.finding("battery.lithium_cold").urgency is ck.Urgency.BEFORE_DRIVING


def test_no_lead_acid_test_is_asked_of_a_lithium_battery(bench: Any) -> None:
    rests_at(bench.fit("type", "lithium").fit("capacity", "60 Ah").fit("charger", "10 A"), "13.2 V")
    bench.read("tester_figure", "400 A").read("temperature", "-8 °C")
    for check in ("load", "tester", "cell_spread", "charge_plan", "freezing"):
        (gap,) = bench.run(check)
        assert isinstance(gap, ck.Gap) and gap.reason is ck.Reason.DOES_NOT_APPLY


# ---- 11: discharged is a state


def test_a_discharged_battery_asks_for_what_discharged_it(flooded: Any) -> None:
    finding = rests_at(flooded, "12.0 V").finding("battery.discharge_cause")
    assert finding.next_test == "battery.told" and "parasitic draw" in str(finding)
    assert "battery.discharge_cause" not in codes(rests_at(flooded, "12.75 V"))


@pytest.mark.parametrize(
    "cause",
    [
        "something left on",
        "standing or short trips",
        "not charged while driving",
        "drawn down while parked",
        "does not take or hold charge",
    ],
)
def test_each_cause_of_a_discharge_has_its_own_end_beyond_the_charge(flooded: Any, cause: str) -> None:
    finding = rests_at(flooded, "12.0 V").see("discharged_by", cause).finding("battery.discharge_cause")
    assert finding.verdict is ck.Verdict.ADVICE and finding.evidence == ("seen-discharged_by",)


# ---- 13: a new battery that the vehicle is told of


def test_registration_is_asked_before_a_new_battery_and_again_after_it(worn: Any) -> None:
    finding = worn.finding("battery.registration_needed")
    assert finding.next_test == "battery.registration_needed"
    worn.see("registration_needed", "yes, and no tool for it here")
    assert "before the battery is fitted" in str(worn.finding("battery.registration_needed"))
    worn.repaired("replace")
    assert "battery.registration_needed" not in codes(worn)
    assert "before the invoice" in str(worn.finding("battery.registered"))


def test_registration_is_not_asked_while_no_new_battery_is_in_view(bench: Any) -> None:
    assert bench.run("registration_before") == []
    bench.see("case", "sound").fit("charging_control", "smart charging")
    assert bench.run("registration_before") == []


def test_a_fixed_charging_voltage_needs_no_registration_before_either(worn: Any) -> None:
    assert worn.fit("charging_control", "fixed").run("registration_before") == []


# ---- 14: what comes first

DANGERS = [
    ("case", "swollen"),
    ("case", "cracked"),
    ("case", "leaking"),
    ("case", "frozen"),
    ("heat", "hot"),
    ("heat", "hissing or smells of rotten eggs"),
    ("heat", "burnt or melted"),
    ("level", "plates exposed"),
]
STEPS = {
    "battery.load_voltage",
    "battery.charging_voltage",
    "battery.ripple",
    "battery.alternator_output",
    "battery.charge_current",
    "battery.charger_voltage",
    "battery.cranking_voltage",
    "battery.voltage_drop",
    "battery.starter_current",
    "battery.delivered",
}


@pytest.mark.parametrize(("what", "answer"), DANGERS)
def test_a_dangerous_battery_is_neither_charged_nor_loaded_nor_run_to_measure(
    bench: Any, what: str, answer: str
) -> None:
    bench.meter().fit("type", "flooded").fit("capacity", "70 Ah").fit("charger", "10 A")
    bench.fit("rating", "640 A SAE").see("cranks", "no crank").see("charge_warning_light", "stays on")
    bench.see("in_use", "runs down sooner than before")
    rests_at(bench, "11.9 V").read("charging_voltage", "12.6 V").read("tester_figure", "200 A")
    bench.read("charge_current", "5 A", place="later").read("charge_elapsed", "2 h")
    bench.read("logged_minimum", "7 V", setup={"sample_interval": "1 s"})
    bench.see(what, answer)
    assert not {found.next_test for found in bench.findings()} & STEPS
    open_gaps = [gap for gap in bench.gaps() if gap.reason is ck.Reason.NOT_MEASURED]
    assert not {gap.wants for gap in open_gaps} & STEPS
    assert "battery.charge" not in {found.calls_for for found in bench.findings()}
    assert not re.search(r"Charge it|charge it (first|until|at|soon)|run the engine", words(bench))
    first = [found for found in bench.findings() if found.urgency is ck.Urgency.BEFORE_DRIVING]
    assert first and all(str(found.text) != str(found.for_customer) for found in first)


@pytest.mark.parametrize(("what", "answer"), DANGERS[:-1])
def test_a_dangerous_battery_is_not_put_under_load_although_it_is_charged(
    bench: Any, what: str, answer: str
) -> None:
    rests_at(bench.meter().fit("type", "flooded").see(what, answer), "12.8 V")
    (gap,) = bench.run("load")
    assert isinstance(gap, ck.Gap) and gap.reason is ck.Reason.DOES_NOT_APPLY


def test_a_battery_that_is_overcharged_to_swelling_is_still_told_so(bench: Any) -> None:
    bench.see("case", "swollen").read("charging_voltage", "16.5 V")
    assert bench.finding("battery.overcharge").urgency is ck.Urgency.BEFORE_DRIVING


def test_a_battery_that_may_be_frozen_is_not_charged_before_somebody_looked(bench: Any) -> None:
    # acid of 12.03 V freezes at about -15 °C
    bench.meter().fit("type", "flooded").read(
        "open_circuit_voltage", "12.03 V", using="meter", setup={"rest_time": "9 h", "temperature": "-25 °C"}
    )
    assert bench.finding("battery.charge_state").calls_for == ""
    assert bench.see("case", "sound").finding("battery.charge_state").calls_for == "battery.charge"


def test_a_cool_quiet_battery_bars_nothing(bench: Any) -> None:
    finding = bench.see("heat", "none").finding("battery.danger")
    assert finding.verdict is ck.Verdict.PASS
    assert rests_at(bench, "12.0 V").finding("battery.charge_state").calls_for == "battery.charge"


@pytest.mark.parametrize(
    ("what", "answer", "says"),
    [
        ("heat", "hot", "charger off at the mains"),
        ("heat", "hot", "an hour"),
        ("heat", "hot", "clamps untouched"),
        ("case", "swollen", "never charge it again"),
        ("case", "frozen", "thawed and whole"),
        ("case", "leaking", "15 minutes"),
        ("case", "leaking", "doctor"),
        ("case", "leaking", "Goggles"),
    ],
)
def test_the_caution_stands_in_the_finding(bench: Any, what: str, answer: str, says: str) -> None:
    assert says in " ".join(str(found.text) for found in bench.see(what, answer).findings())


def test_charging_is_preceded_by_its_cautions() -> None:
    hazard = battery.operations["battery.charge"].hazard
    for words_ in (
        "AGM and gel",
        "50 °C",
        "rises at a steady voltage",
        "off at the mains",
        "never below 0 °C",
    ):
        assert words_ in hazard
    assert "15 minutes" in battery.observations["battery.case"].hazard


# ---- 15: what must not be asked


@pytest.mark.parametrize("how", [{"type": "AGM"}, {"type": "gel"}, {"type": "flooded", "caps": "sealed"}])
def test_no_gravity_is_asked_of_a_battery_that_cannot_be_opened(bench: Any, how: dict[str, str]) -> None:
    for key, answer in how.items():
        bench.fit(key, answer)
    (gap,) = bench.run("cell_spread")
    assert isinstance(gap, ck.Gap) and gap.reason is ck.Reason.DOES_NOT_APPLY and gap.wants == ""


def test_of_a_battery_of_unknown_type_the_type_is_asked_and_not_its_gravity(bench: Any) -> None:
    (gap,) = bench.run("cell_spread")
    assert isinstance(gap, ck.Gap) and gap.wants == "battery.type"
    assert [gap.wants for gap in bench.fit("type", "flooded").gaps("cell_spread")] == [
        "battery.specific_gravity"
    ]


@pytest.mark.parametrize("driven", ["hybrid", "electric"])
def test_nothing_is_cranked_on_a_vehicle_without_a_starter(bench: Any, driven: str) -> None:
    bench.fit("drive", driven).see("cranks", "no crank").read("logged_minimum", "9 V")
    bench.read("cranking_voltage", "10 V", place="posts").read("starter_voltage", "9 V")
    for check in ("cranks_badly", "cranking", "logged_start"):
        (gap,) = bench.run(check)
        assert isinstance(gap, ck.Gap) and gap.reason is ck.Reason.DOES_NOT_APPLY


@pytest.mark.parametrize(("volts", "usual"), [("14.2 V", True), ("13.3 V", True), ("12.5 V", False)])
def test_a_converter_is_judged_instead_of_an_alternator(bench: Any, volts: str, usual: bool) -> None:
    bench.fit("drive", "electric").read("charging_voltage", volts)
    assert (bench.finding("battery.converter").urgency is ck.Urgency.NOTHING) is usual
    assert not {"battery.charging", "battery.not_charging"} & codes(bench)
    assert not bench.findings("battery.lost_phase")


def test_a_car_with_an_engine_has_no_converter(bench: Any) -> None:
    assert "battery.converter" not in codes(
        bench.fit("drive", "combustion engine").read("charging_voltage", "14 V")
    )


# ---- 16: the hydrometer


@pytest.mark.parametrize(("celsius", "judged"), [("-29 °C", True), ("-29.1 °C", False)])
def test_the_hydrometer_s_correction_holds_at_the_very_end_that_its_words_name(
    bench: Any, celsius: str, judged: bool
) -> None:
    bench.fit("type", "flooded").fit("acid", "1.265")
    for number in range(1, 7):
        bench.read("specific_gravity", "1.20", place=f"cell {number}", setup={"temperature": celsius})
    assert ("battery.charge_by_gravity" in codes(bench)) is judged


# ---- both voices


def test_what_bars_a_test_is_told_in_both_voices(flooded: Any) -> None:
    loaded_at(rests_at(flooded.repaired("charge"), "12.3 V"), "7.5 V").read("charging_voltage", "11.9 V")
    for finding in flooded.findings():
        assert finding.customer_text is not None, finding.code
        assert str(finding.customer_text) != str(finding.text), finding.code


def test_readings_that_disagree_never_show_a_low_voltage_after_a_charge(flooded: Any) -> None:
    first, second = (
        flooded.reading("open_circuit_voltage", volts, using="meter", setup=RESTED)
        for volts in ("12.7 V", "12.0 V")
    )
    flooded.readings["battery.open_circuit_voltage", ""] = attrs.evolve(second, others=(first.value,))
    assert "battery.low_after_charge" not in codes(flooded.see("charge_end", FULL))
