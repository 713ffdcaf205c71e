"""Laws that must hold whatever the numbers are."""

from __future__ import annotations

import pytest
from corekit_battery import acid, battery, charging, cranking, drain, loading
from hypothesis import given
from hypothesis import strategies as st

SCALES = [name for name in battery.calculations if name.startswith("battery.charge_by_voltage")]


@pytest.mark.parametrize("scale", SCALES)
@given(low=st.floats(0, 16), high=st.floats(0, 16))
def test_more_voltage_never_means_less_charge(scale: str, low: float, high: float) -> None:
    low, high = sorted((low, high))
    share = battery.calculations[scale].si
    assert 0.0 <= share(low) <= share(high) <= 1.0


@given(
    a=st.floats(0.0005, 30),
    b=st.floats(0.0005, 30),
    charge=st.floats(0.5, 1),
    capacity=st.floats(36e3, 1e6),
    loss=st.floats(0, 0.1),
)
def test_a_larger_drain_never_leaves_more_days(
    a: float, b: float, charge: float, capacity: float, loss: float
) -> None:
    small, large = sorted((a, b))
    lasts = drain.time_to_no_start.si
    assert lasts(charge, 0.5, capacity, small, loss) >= lasts(charge, 0.5, capacity, large, loss) >= 0


@given(a=st.floats(loading.COLDEST, 353), b=st.floats(loading.COLDEST, 353))
def test_the_least_load_voltage_never_falls_as_the_battery_warms(a: float, b: float) -> None:
    cold, warm = sorted((a, b))
    assert 8.5 <= loading.least_load_voltage.si(cold) <= loading.least_load_voltage.si(warm) <= 9.6


@given(st.floats(1.11, 1.31))
def test_gravity_survives_the_way_to_voltage_and_back(gravity: float) -> None:
    volts = acid.block_voltage.si(acid.molality_of_gravity.si(gravity))
    assert acid.gravity_of_voltage.si(volts) == pytest.approx(gravity, abs=1e-6)


@given(a=st.floats(1.0, 1.28), b=st.floats(1.0, 1.28))
def test_stronger_acid_never_freezes_warmer_within_the_tables(a: float, b: float) -> None:
    # Two tables begin above 1.0 and so enter with a step of their own; the warmest of all still falls but for
    # 1 K.
    weak, strong = sorted((a, b))
    assert acid.freezing_point.si(strong) <= acid.freezing_point.si(weak) + 1.0


@given(
    missing=st.floats(3600, 7e5),
    current=st.floats(1, 50),
    tau=st.floats(1800, 20000),
    left=st.floats(0.01, 0.99),
)
def test_the_way_to_a_smaller_rest_is_never_shorter(
    missing: float, current: float, tau: float, left: float
) -> None:
    to = charging.charging_time_to.si
    assert to(missing, current, tau, missing * left) <= to(missing, current, tau, missing * left / 2)


@given(missing=st.floats(3600, 7e5), current=st.floats(1, 50), tau=st.floats(1800, 20000))
def test_down_to_the_tail_and_down_to_what_is_left_are_the_same_time(
    missing: float, current: float, tau: float
) -> None:
    tail = min(current, missing / tau) / 10
    whole = charging.charging_time.si(missing, current, tau, tail)
    assert charging.charging_time_to.si(
        missing, current, tau, charging.charge_left.si(tail, tau)
    ) == pytest.approx(whole)


@given(length=st.floats(0.1, 20), area=st.floats(1e-6, 1e-4), celsius=st.floats(20, 120))
def test_a_warm_cable_never_has_less_resistance_than_a_cold_one(
    length: float, area: float, celsius: float
) -> None:
    assert cranking.cable_resistance.si(length, area, celsius + 273.15) >= cranking.cable_resistance.si(
        length, area, 293.15
    )


@given(volts=st.floats(11.5, 13), celsius=st.floats(-40, 24.9))
def test_a_cold_battery_is_never_corrected_downwards(volts: float, celsius: float) -> None:
    assert acid.open_circuit_voltage_at_25.si(volts, celsius + 273.15) >= volts


@given(
    length=st.floats(0.2, 20), amps=st.floats(1, 1000), celsius=st.floats(-40, 120), volts=st.floats(0.05, 1)
)
def test_a_cable_of_the_size_needed_loses_what_was_allowed(
    length: float, amps: float, celsius: float, volts: float
) -> None:
    area = cranking.cable_area_needed.si(amps, length, celsius + 273.15, volts)
    assert cranking.loop_drop.si(amps, length, area, celsius + 273.15) == pytest.approx(volts)


@given(st.floats(-3, 40))
def test_a_gauge_number_survives_the_way_to_its_area_and_back(gauge: float) -> None:
    assert cranking.gauge_of_area.si(cranking.wire_area.si(gauge)) == pytest.approx(gauge, abs=1e-9)
