"""Laws that must hold whatever the numbers are."""

from __future__ import annotations

import pytest
from corekit_ignition import current, gaps, leads, misfire, speed, windings
from hypothesis import given
from hypothesis import strategies as st

OHMS, VOLTS, HENRY = st.floats(0.2, 5.0), st.floats(6.0, 16.0), st.floats(1e-3, 1e-2)


@given(st.floats(0.1, 20e3), st.floats(293.15, 423.15))
def test_a_warm_winding_is_never_corrected_upwards(ohms: float, kelvin: float) -> None:
    assert windings.resistance_at_20.si(ohms, kelvin) <= ohms


@given(st.floats(0.1, 20e3), st.floats(233.15, 423.15))
def test_a_winding_cooled_and_warmed_again_is_the_same(ohms: float, kelvin: float) -> None:
    assert windings.resistance_when_warm.si(
        windings.resistance_at_20.si(ohms, kelvin), kelvin
    ) == pytest.approx(ohms)


@given(volts=VOLTS, ohms=OHMS, henry=HENRY, a=st.floats(0, 0.05), b=st.floats(0, 0.05))
def test_the_current_never_falls_while_a_coil_charges(
    volts: float, ohms: float, henry: float, a: float, b: float
) -> None:
    early, late = sorted((a, b))
    rise = current.current_after.si
    assert (
        rise(volts, ohms, henry, early)
        <= rise(volts, ohms, henry, late)
        <= current.final_current.si(volts, ohms)
    )


@given(volts=VOLTS, ohms=OHMS, henry=HENRY, share=st.floats(0.01, 0.99))
def test_time_and_current_are_each_others_way_back(
    volts: float, ohms: float, henry: float, share: float
) -> None:
    amps = share * volts / ohms
    assert current.current_after.si(
        volts, ohms, henry, current.time_to_current.si(volts, ohms, henry, amps)
    ) == pytest.approx(amps, rel=1e-9)


@given(
    a=st.floats(5, 120),
    b=st.floats(5, 120),
    firings=st.sampled_from([0.5, 1.0, 2.0, 3.0, 4.0]),
    volts=VOLTS,
    ohms=OHMS,
    henry=HENRY,
    top=st.floats(2, 15),
)
def test_energy_never_rises_with_engine_speed(
    a: float, b: float, firings: float, volts: float, ohms: float, henry: float, top: float
) -> None:
    slow, fast = sorted((a, b))
    energy = speed.energy_at_speed.si
    assert energy(fast, firings, 0.001, volts, ohms, henry, top) <= energy(
        slow, firings, 0.001, volts, ohms, henry, top
    ) * (1 + 1e-12)


@given(
    firings=st.sampled_from([0.5, 1.0, 2.0, 4.0]), volts=st.floats(11, 15), henry=HENRY, top=st.floats(2, 8)
)
def test_below_its_collapse_speed_a_coil_is_full_and_above_it_is_not(
    firings: float, volts: float, henry: float, top: float
) -> None:
    needed = current.time_to_current.si(volts, 0.6, henry, top)
    turn = speed.collapse_speed.si(firings, needed, 0.001)
    full = current.stored_energy.si(henry, top)
    energy = speed.energy_at_speed.si
    assert energy(turn * 0.99, firings, 0.001, volts, 0.6, henry, top) == pytest.approx(full)
    assert energy(turn * 1.01, firings, 0.001, volts, 0.6, henry, top) < full


@given(a=VOLTS, b=VOLTS, ohms=OHMS, henry=HENRY, time=st.floats(1e-4, 0.02))
def test_with_the_charge_time_fixed_energy_goes_with_the_square_of_the_supply(
    a: float, b: float, ohms: float, henry: float, time: float
) -> None:
    def energy(volts: float) -> float:
        return current.stored_energy.si(henry, current.current_after.si(volts, ohms, henry, time))

    assert energy(a) / energy(b) == pytest.approx(current.energy_left_by_supply.si(a, b))


@given(ohms=st.floats(0, 1e5), amps=st.floats(0.01, 0.2), volts=st.floats(300, 3000))
def test_no_resistance_in_the_way_ever_lengthens_a_spark_or_adds_energy(
    ohms: float, amps: float, volts: float
) -> None:
    assert current.burn_time.si(25.0, amps, ohms, volts) <= current.burn_time.si(25.0, amps, 0.0, volts) * (
        1 + 1e-9
    )
    assert (
        0
        <= current.gap_energy.si(25.0, amps, ohms, volts)
        <= current.stored_energy.si(25.0, amps) * (1 + 1e-6)
    )


@given(
    a=st.floats(0.0002, 0.003), b=st.floats(0.0002, 0.003), bar=st.floats(1, 40), kelvin=st.floats(300, 900)
)
def test_a_wider_gap_never_asks_for_less(a: float, b: float, bar: float, kelvin: float) -> None:
    narrow, wide = sorted((a, b))
    for law in (gaps.voltage_demanded.si, gaps.breakdown_in_air.si, gaps.breakdown_in_air_low.si):
        assert law(bar * 1e5, kelvin, narrow) <= law(bar * 1e5, kelvin, wide)


@given(ratio=st.floats(6, 16), a=st.floats(0, 3.14), b=st.floats(0, 3.14))
def test_the_nearer_to_the_top_the_more_is_compressed(ratio: float, a: float, b: float) -> None:
    near, far = sorted((a, b))
    squeeze = gaps.effective_compression.si
    assert (
        1 - 1e-6 <= squeeze(ratio, far, 0.3) <= squeeze(ratio, near, 0.3) * (1 + 1e-12) <= ratio * (1 + 1e-9)
    )


@given(a=st.floats(5e4, 1e8), b=st.floats(5e4, 1e8))
def test_a_cleaner_plug_never_leaves_less_voltage_and_none_adds_any(a: float, b: float) -> None:
    dirty, clean = sorted((a, b))
    across = gaps.voltage_with_shunt.si
    assert (
        across(25.0, 1e-10, 0.07, dirty)
        <= across(25.0, 1e-10, 0.07, clean) * (1 + 1e-9)
        <= 35000 * (1 + 1e-6)
    )


@given(shunt=st.floats(1e-3, 1e4))
def test_across_a_plug_that_is_next_to_shorted_the_current_finds_its_way_by_ohms_law(shunt: float) -> None:
    """25 H and 100 pF swing with 500 kΩ: far below that the capacitance has nothing to say, and V = I R."""
    assert gaps.voltage_with_shunt.si(25.0, 1e-10, 0.07, shunt) == pytest.approx(0.07 * shunt, rel=0.01)


@given(share=st.floats(0.05, 0.6), volts=st.floats(20e3, 45e3))
def test_the_widest_gap_leaves_just_the_reserve_it_was_asked_for(share: float, volts: float) -> None:
    try:
        gap = gaps.widest_gap.si(volts, share, 20e5, 650.0)
    except ValueError:
        return  # not even a closed gap leaves that much
    assert gaps.reserve.si(volts, gaps.voltage_demanded.si(20e5, 650.0, gap)) == pytest.approx(share)


@given(
    count=st.floats(0, 500), turns=st.floats(200, 5000), cylinders=st.sampled_from([2.0, 3.0, 4.0, 6.0, 8.0])
)
def test_twice_the_revolutions_halve_the_share_of_the_same_misfires(
    count: float, turns: float, cylinders: float
) -> None:
    share = misfire.misfire_share.si
    assert 2 * share(count, 2 * turns, cylinders) == pytest.approx(share(count, turns, cylinders))


@given(a=st.floats(0.05, 2), b=st.floats(0.05, 2))
def test_two_leads_end_to_end_may_read_what_both_may(a: float, b: float) -> None:
    assert leads.most_by_length.si(a + b) == pytest.approx(
        leads.most_by_length.si(a) + leads.most_by_length.si(b)
    )
