"""Laws that must hold whatever the numbers are."""

from __future__ import annotations

import pytest
from corekit_egr import leaks, live, opening, orifice, rate, sensor, vacuum
from hypothesis import given
from hypothesis import strategies as st

SETTING = (573.15, 287.0, 2.98e-5, 1.34, 0.0, 0.0)
kelvin = st.floats(250, 900)


@given(bore=st.floats(0.003, 0.011), a=st.floats(10, 20000), b=st.floats(10, 20000))
def test_more_pressure_never_passes_less_gas(bore: float, a: float, b: float) -> None:
    small, large = sorted((a, b))
    flows = [orifice.orifice_flow.si(0.016, bore, 103000.0, across, *SETTING) for across in (small, large)]
    assert 0 < flows[0] <= flows[1] * (1 + 1e-12)


@given(bore=st.floats(0.004, 0.011), across=st.floats(200, 20000))
def test_pressure_and_bore_are_found_back_from_the_flow(bore: float, across: float) -> None:
    flow = orifice.orifice_flow.si(0.016, bore, 103000.0, across, *SETTING)
    assert orifice.pressure_for_flow.si(0.016, bore, 103000.0, flow, *SETTING) == pytest.approx(
        across, rel=1e-6
    )
    assert orifice.bore_for_flow.si(0.016, 103000.0, across, flow, *SETTING) == pytest.approx(bore, rel=1e-6)


@given(ratio=st.floats(1.0, 50.0), a=st.floats(0.01, 1), b=st.floats(0.01, 1))
def test_more_carbon_never_leaves_more_flow(ratio: float, a: float, b: float) -> None:
    narrow, wide = sorted((a, b))
    left = orifice.flow_left_in_series.si
    assert 0 < left(ratio, narrow) <= left(ratio, wide) <= 1
    for exponent in (2.0, 2.5, 4.0):
        assert orifice.flow_left.si(narrow, exponent) <= orifice.flow_left.si(wide, exponent)


@given(size=st.floats(1e-5, 5e-3), a=st.floats(0, 101325), b=st.floats(0, 101325))
def test_a_lower_pressure_behind_a_hole_never_lets_less_through_and_below_choking_nothing_more(
    size: float, a: float, b: float
) -> None:
    low, high = sorted((a, b))
    through = [leaks.leak_flow.si(size, 0.62, 101325.0, 293.15, behind) for behind in (low, high)]
    assert through[0] >= through[1] >= 0
    if high <= leaks.CRITICAL * 101325:
        assert through[0] == pytest.approx(through[1])


@given(small=st.floats(1e-4, 5e-3), times=st.floats(1.0, 10.0), behind=st.floats(1e4, 1e5))
def test_leaks_go_exactly_with_the_square_of_their_diameters(
    small: float, times: float, behind: float
) -> None:
    one, other = (leaks.leak_flow.si(d, 0.62, 101325.0, 293.15, behind) for d in (small, small * times))
    assert other / one == pytest.approx(times**2, rel=1e-12)


@given(low=st.floats(-500, 8000), more=st.floats(1.0, 3000.0))
def test_the_higher_the_thinner_the_air(low: float, more: float) -> None:
    assert live.barometer_at.si(low + more) < live.barometer_at.si(low)


@given(across=st.floats(100, 2e4), zero=st.floats(-1e4, 1e4))
def test_a_zero_that_is_off_makes_the_flow_that_the_wrong_pressure_would_make(
    across: float, zero: float
) -> None:
    told = orifice.flow_error.si(across, zero)
    assert told >= -1 and told * zero >= 0
    if across + zero > 0:  # the root law back: (1 + error)² is the pressure told over the pressure there
        assert (1 + told) ** 2 * across == pytest.approx(across + zero, rel=1e-9, abs=1e-6)


@given(size=st.floats(5e-6, 1e-3), first=st.floats(0.05, 0.98), more=st.floats(0.005, 0.5))
def test_a_hole_and_the_time_it_takes_are_found_from_each_other(
    size: float, first: float, more: float
) -> None:
    last = min(0.999, first + more)
    air = 101325.0
    duration = leaks.time_of_decay.si(60e-6, size, first * air, last * air, air, 293.15, 0.62)
    assert leaks.hole_by_decay.si(
        60e-6, first * air, last * air, air, duration, 293.15, 0.62
    ) == pytest.approx(size, rel=1e-9)


@given(start=st.floats(0.05, 0.9), way=st.floats(0.02, 0.98), size=st.floats(1e-5, 1e-3))
def test_the_way_of_a_decay_may_be_cut_anywhere(start: float, way: float, size: float) -> None:
    air, end = 101325.0, 0.97
    middle = start + (end - start) * way
    take = [
        leaks.time_of_decay.si(60e-6, size, low * air, high * air, air, 293.15, 0.62)
        for low, high in ((start, middle), (middle, end), (start, end))
    ]
    assert take[0] + take[1] == pytest.approx(take[2], rel=1e-9)


@given(shut=st.floats(15000, 60000), share=st.floats(0, 0.5), fresh=kelvin, exhaust=kelvin)
def test_a_rate_survives_the_way_to_manifold_pressure_and_back(
    shut: float, share: float, fresh: float, exhaust: float
) -> None:
    opened = opening.manifold_open_by_rate.si(shut, share, fresh, exhaust)
    assert opened >= shut
    assert opening.rate_by_manifold.si(shut, opened, fresh, exhaust) == pytest.approx(share, abs=1e-9)


@given(share=st.floats(0, 1), fresh=kelvin, exhaust=kelvin)
def test_a_mixture_is_never_hotter_or_colder_than_both_its_parts(
    share: float, fresh: float, exhaust: float
) -> None:
    mixed = opening.mixed_temperature.si(share, fresh, exhaust)
    assert min(fresh, exhaust) - 1e-9 <= mixed <= max(fresh, exhaust) + 1e-9


@given(
    pressure=st.floats(-30000, 30000),
    supply=st.floats(4.75, 5.25),
    zero=st.floats(0.4, 1.2),
    step=st.floats(0.05, 0.2),
)
def test_a_pressure_survives_the_way_through_the_sensor_whatever_its_supply(
    pressure: float, supply: float, zero: float, step: float
) -> None:
    signal = sensor.signal_of_pressure.si(pressure, supply, zero, step, 1000.0)
    assert sensor.pressure_of_signal.si(signal, supply, zero, step, 1000.0) == pytest.approx(
        pressure, abs=1e-6
    )


@given(read=st.floats(0, 60000), air=st.floats(60000, 106000))
def test_a_vacuum_corrected_to_sea_level_is_of_the_same_absolute_pressure(read: float, air: float) -> None:
    assert vacuum.SEA_LEVEL - vacuum.vacuum_at_sea_level.si(read, air) == pytest.approx(
        vacuum.manifold_pressure.si(read, air), abs=1e-6
    )


@given(ohms=st.floats(1, 1000), warmth=st.floats(293.15, 430))
def test_a_warm_coil_is_never_corrected_upwards_and_comes_back(ohms: float, warmth: float) -> None:
    cold = vacuum.coil_at_20.si(ohms, warmth)
    assert cold <= ohms and vacuum.coil_warm.si(cold, warmth) == pytest.approx(ohms)


@given(air=st.floats(0.001, 1), fuel=st.floats(0, 0.1), exhaust=st.floats(0, 1))
def test_a_rate_with_the_fuel_counted_is_never_the_larger_one(
    air: float, fuel: float, exhaust: float
) -> None:
    assert 0 <= rate.rate_of_total.si(air, fuel, exhaust) <= rate.rate_without_fuel.si(air, exhaust) < 1


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: leaks.leak_flow.si(1e-3, 0.62, 1e5, 293.15, 1.1e5),
        lambda: leaks.hole_by_decay.si(6e-5, 8e4, 7e4, 1e5, 30, 293.15, 0.62),
        lambda: orifice.expansibility.si(0.1, 0.05, 1e5, 7e4, 1.4),
        lambda: orifice.pressure_for_flow.si(0.016, 0.008, 103000.0, 1.0, *SETTING),
        lambda: vacuum.manifold_pressure.si(9e4, 8e4),
        lambda: rate.rate_by_co2.si(0.01, 0.0004, 0.0004),
    ],
    ids=[
        "flow uphill",
        "vacuum that grows",
        "too steep a fall",
        "more than can flow",
        "more vacuum than air",
        "no exhaust",
    ],
)
def test_what_cannot_be_is_refused_in_words(wrong: object) -> None:
    with pytest.raises(ValueError, match=r"^[A-Z].*\.$"):
        wrong()  # type: ignore[operator]
