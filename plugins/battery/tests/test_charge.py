"""Charging at the kerb: laws, misprinted pairs, and what the checks say."""

from __future__ import annotations

import math

import pytest
from corekit_battery import charge, charging, tables
from hypothesis import assume, given
from hypothesis import strategies as st

import corekit as ck
from corekit.testing import Bench

HOUR = 3600.0
MISSING, CURRENT, TAU = st.floats(3600, 7e5), st.floats(1, 60), st.floats(3600, 40000)


@given(missing=MISSING, a=CURRENT, b=CURRENT, tau=TAU, left=st.floats(0.01, 0.99))
def test_a_larger_charger_never_takes_longer(
    missing: float, a: float, b: float, tau: float, left: float
) -> None:
    small, large = sorted((a, b))
    to = charging.charging_time_to.si
    assert to(missing, large, tau, missing * left) <= to(missing, small, tau, missing * left) * (1 + 1e-12)


@given(missing=MISSING, current=CURRENT, tau=TAU, left=st.floats(0.01, 0.99))
def test_no_charge_beats_the_ampere_hour_law(missing: float, current: float, tau: float, left: float) -> None:
    # Woodbridge 1935: not more amperes than ampere-hours are missing, so going from Q to q takes at least
    # one hour times ln(Q / q).
    assert charging.charging_time_to.si(missing, current, tau, missing * left) >= HOUR * -math.log(left) * (
        1 - 1e-9
    )


@given(missing=MISSING, current=CURRENT, tau=TAU, hours=st.floats(0, 72))
def test_what_is_missing_after_a_time_takes_that_time(
    missing: float, current: float, tau: float, hours: float
) -> None:
    left = charge.missing_after.si(missing, current, tau, hours * HOUR)
    assert 0 <= left <= missing
    assume(left > 1e-6 * missing)
    assert charging.charging_time_to.si(missing, current, tau, left) == pytest.approx(
        hours * HOUR, rel=1e-6, abs=1e-3
    )


@given(missing=MISSING, tau=TAU, left=st.floats(0.01, 0.95), hours=st.floats(0.1, 72))
def test_the_charger_needed_does_it_and_a_smaller_one_does_not(
    missing: float, tau: float, left: float, hours: float
) -> None:
    try:
        amps = charge.charger_needed.si(missing, tau, missing * left, hours * HOUR)
    except ValueError:
        assert hours * HOUR <= charging.time_to_return.si(1 - left, tau)
        return
    to = charging.charging_time_to.si
    assert to(missing, amps, tau, missing * left) <= hours * HOUR * (1 + 1e-9)
    assert to(missing, amps * 0.98, tau, missing * left) > hours * HOUR * (1 - 1e-9)


@given(celsius=st.floats(-30, 60), volts=st.floats(13, 15))
def test_the_voltage_to_set_never_leaves_what_the_type_allows(celsius: float, volts: float) -> None:
    assert 13.8 <= charge.voltage_to_set.si(volts, celsius + 273.15, 13.8, 14.8) <= 14.8


@given(a=st.floats(-30, 60), b=st.floats(-30, 60))
def test_a_colder_battery_never_takes_its_charge_sooner(a: float, b: float) -> None:
    cold, warm = sorted((a, b))
    assert (
        charge.usual_acceptance_time.si(cold + 273.15)
        >= charge.usual_acceptance_time.si(warm + 273.15)
        >= HOUR
    )


# PyBaMM 26.10.1.1, set Sulzer2019, a hold at 2.4 V per cell from 50 %: the current falls exponentially over
# two to three decades, with time constants of 0.167 h (LOQS) and 0.345 h (Full). Shape only: new thin plates,
# no gassing, no sulphation.
@pytest.mark.parametrize("hours", [0.167, 0.345])
def test_the_falling_part_has_the_shape_of_a_simulated_hold_and_a_real_battery_is_far_slower(
    hours: float,
) -> None:
    over_two_decades = [
        charge.missing_after.si(100.0, 1e6, hours * HOUR, hours * HOUR * math.log(10) * n) for n in range(3)
    ]
    assert over_two_decades == pytest.approx([100.0, 10.0, 1.0], rel=1e-3)
    assert charge.usual_acceptance_time.si(298.15) > 5 * hours * HOUR


# Table 2 of TM 5-4210-230-14&P-1 as printed (°F, °C), read: every pair is one temperature. Its sister
# manual's row is not.
@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [(-75, -59.5), (-35, -37.2), (-15, -26.1), (5, -15.0), (15, -9.4), (20, -6.7), (10, -12.2)],
)
def test_a_printed_pair_of_degrees_is_taken_when_both_are_one_temperature(
    fahrenheit: float, celsius: float
) -> None:
    assert tables.pair(fahrenheit, celsius) == pytest.approx(celsius + 273.15, abs=0.1)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [(15, -15.0), (20, 6.7)],
    ids=["battery-ex32-misprint", "battery-ex04-lost-sign"],
)
def test_a_misprinted_pair_of_degrees_is_refused_with_what_it_should_be(
    fahrenheit: float, celsius: float
) -> None:
    # Both are printed so in TM 5-3820-256-24-4, p. 366 (read).
    with pytest.raises(ValueError, match=r"not one temperature; (15 °F is -9\.4|20 °F is -6\.7) °C"):
        tables.pair(fahrenheit, celsius)


# ---- the checks


@pytest.fixture
def empty(bench: Bench) -> Bench:
    """Half empty, 70 Ah, at 25 °C; half of 1.265 acid rests at about 12.27 V (TM 5-4210 Table 2 with PyBaMM
    potentials).
    """
    bench.fit("type", "flooded").fit("acid", "1.265").fit("capacity", "70 Ah").see("case", "sound")
    return bench.read("open_circuit_voltage", "12.267 V", setup={"rest_time": "12 h", "temperature": "25 °C"})


def test_nobody_is_told_of_a_charge_that_nobody_asked_about(empty: Bench) -> None:
    assert empty.run("charge_plan") == empty.run("charge_tail") == empty.run("charging_air") == []


def test_a_visit_is_told_what_its_hours_reach_and_why_the_last_fifth_takes_longest(empty: Bench) -> None:
    empty.fit("charger", "10 A").fit("charge_hours", "2 h")
    found = empty.finding("battery.charge_plan")
    # By hand with 35 Ah missing, 10 A and 2.25 h: 10 A for 1.25 h, then 2.25 h · ln(10 / 0.7) = 5.98 h.
    # 80 % is there after 1.25 h + 2.25 h · ln(22.5 / 14) = 2.32 h.
    assert found.value.number / HOUR == pytest.approx(7.23, abs=0.1)
    text = str(found.text)
    assert (
        "80 % is reached after 2.3 h; the rest takes 68 % of the time" in text and "not fully charged" in text
    )
    assert found.verdict is ck.Verdict.ADVICE and not found.calls_for
    assert found.figure is not None and "80 % in 2.3 h" in found.figure.description


def test_hours_that_no_charger_can_meet_are_called_that(empty: Bench) -> None:
    empty.fit("charger", "10 A").fit("charge_hours", "1 h")
    # 2.25 h · ln(35 / 14) = 2.06 h whatever the charger
    assert "No charger, however large, brings it to 80 % in 1.0 h" in str(
        empty.finding("battery.charger").text
    )


def test_a_charger_larger_than_the_battery_stands_is_turned_down(bench: Bench) -> None:
    bench.fit("type", "AGM").fit("capacity", "70 Ah").fit("charger", "40 A")
    bench.read("open_circuit_voltage", "12.2 V", setup={"rest_time": "12 h", "temperature": "0 °C"})
    text = str(bench.finding("battery.charge_plan").text)
    assert "at 14 A" in text and "Set the charger to 14 A at most" in text
    assert "14.8 V at 0 °C" in text  # 14.6 V and 25 K of -18 mV would be 15.05 V; AGM is kept at 14.8 V


def test_a_frosty_flooded_battery_that_asks_for_more_than_15_volts_is_charged_off_the_vehicle(
    bench: Bench,
) -> None:
    # -3 mV for each kelvin and cell (common practice): 14.6 V at 25 °C is 15.2 V at -10 °C
    bench.fit("type", "flooded").fit("capacity", "70 Ah").fit("charger", "10 A")
    bench.read("open_circuit_voltage", "12.2 V", setup={"rest_time": "12 h", "temperature": "-10 °C"})
    text = str(bench.finding("battery.charge_plan").text)
    assert "15.2 V at −10 °C" in text and "only with the battery off the vehicle" in text


def test_the_label_beats_the_table_of_voltages(bench: Bench) -> None:
    bench.fit("type", "AGM").fit("capacity", "70 Ah").fit("charger", "10 A").fit("label_voltage", "14.4 V")
    bench.read("open_circuit_voltage", "12.2 V", setup={"rest_time": "12 h", "temperature": "0 °C"})
    assert "Set about 14.4 V at 0 °C, from its label" in str(bench.finding("battery.charge_plan").text)


def test_a_closed_battery_charged_harder_than_is_printed_is_mentioned_and_nothing_more(bench: Bench) -> None:
    # 0.3 A for each Ah is the upper end of a private page (read): 21 A for 70 Ah
    bench.fit("type", "gel").fit("capacity", "70 Ah").read(
        "charge_current", "30 A", place="first", setup={"charge_elapsed": "5 min"}
    )
    assert bench.finding("battery.charge_current").verdict is ck.Verdict.ADVICE
    assert (
        bench.read("charge_current", "12 A", place="first", setup={"charge_elapsed": "5 min"}).findings(
            "battery.charge_current"
        )
        == []
    )


def test_a_battery_of_unknown_type_gets_the_lowest_voltage_of_all(bench: Bench) -> None:
    bench.fit("capacity", "70 Ah").fit("charger", "10 A").read(
        "open_circuit_voltage", "12.0 V", setup={"rest_time": "12 h"}
    )
    assert "no more than 14.4 V" in str(bench.finding("battery.charge_plan").text)


def test_a_cracked_battery_gets_no_plan(empty: Bench) -> None:
    empty.fit("charger", "10 A").see("case", "cracked")
    (gap,) = empty.gaps("charge_plan")
    assert gap.reason is ck.Reason.DOES_NOT_APPLY


def _currents(bench: Bench, first: str, later: str) -> Bench:
    bench.read(
        "charge_current", first, place="first", setup={"charge_elapsed": "60 min", "temperature": "25 °C"}
    )
    return bench.read(
        "charge_current", later, place="later", setup={"charge_elapsed": "120 min", "temperature": "25 °C"}
    )


def test_two_currents_give_the_time_constant_and_the_time_left(empty: Bench) -> None:
    # battery-ex18: 8 A, 4 A an hour later: 1.4427 h, and 2.5146 h more down to 0.7 A
    found = _currents(empty, "8.0 A", "4.0 A").finding("battery.charge_tail")
    assert found.value.number / HOUR == pytest.approx(2.5146, abs=0.01)
    assert "time constant of 1.4 h" in str(found.text)


def test_two_currents_replace_the_default_in_the_plan(empty: Bench) -> None:
    empty.fit("charger", "10 A")
    default = empty.finding("battery.charge_plan").value.number
    fitted = _currents(empty, "8.0 A", "4.0 A").finding("battery.charge_plan").value
    assert fitted.number < default
    assert not any("default" in source for source in fitted.budget)


def test_a_current_that_does_not_fall_tells_nothing_yet(empty: Bench) -> None:
    found = _currents(empty, "8.0 A", "8.0 A").finding("battery.charge_tail")
    assert found.verdict is ck.Verdict.UNDECIDED and found.next_test == "battery.charge_current"


def test_a_current_at_the_tail_ends_the_charge_but_proves_nothing_about_the_battery(empty: Bench) -> None:
    found = _currents(empty, "4.0 A", "0.5 A").finding("battery.charge_tail")
    assert "the charge is complete" in str(found.text) and "under load" in str(found.text)


def test_a_battery_too_hot_on_the_charger_is_taken_off_it(empty: Bench) -> None:
    empty.read(
        "charge_current", "6 A", place="later", setup={"charge_elapsed": "60 min", "temperature": "58 °C"}
    )
    found = empty.finding("battery.charge_hot")  # TM 5-3820-256-24-4: stop above 51.6 °C
    assert found.verdict is ck.Verdict.FAIL and found.urgency is ck.Urgency.BEFORE_DRIVING


def test_a_closed_load_space_is_no_place_to_charge(empty: Bench) -> None:
    empty.fit("charger", "10 A").see("charge_place", "closed load area")
    found = empty.finding("battery.charging_air")
    # battery-ex20 and -ex21: 1 % in 6 m³ after 2.228 h at 10 A; 0.42 m³/h for a vented 70 Ah battery
    assert (
        found.verdict is ck.Verdict.FAIL and "about 2.2 h" in str(found.text) and "0.42 m³" in str(found.text)
    )


def test_charging_in_the_open_is_no_trouble(empty: Bench) -> None:
    assert empty.see("charge_place", "outdoors").finding("battery.charging_air").verdict is ck.Verdict.PASS


@pytest.mark.parametrize("volts", ["0 V", "16 V"])
@pytest.mark.parametrize("celsius", ["-50 °C", "80 °C"])
def test_the_ends_of_what_may_be_read_are_an_empty_or_a_full_battery_and_no_failure(
    bench: Bench, volts: str, celsius: str
) -> None:
    bench.see("case", "sound").fit("capacity", "70 Ah").fit("charger", "10 A").read(
        "open_circuit_voltage", volts, setup={"temperature": celsius}
    )
    found = bench.finding("battery.charge_plan")
    assert ("about full" in str(found.text)) is (volts == "16 V")
