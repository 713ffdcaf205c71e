"""Recorded currents: scipy charges the coils, and the fit has to find them again."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
from corekit_ignition import iron, ramp_fit
from corekit_ignition.current import burn_time, current_after, gap_energy
from corekit_ignition.ramp_fit import fit_of, shape_of
from hypothesis import given, settings
from hypothesis import strategies as st

import corekit as ck

V, R, L = 13.5, 0.6, 4e-3
SLOPE, BEND = V / L, R / L


def rise(length: float, count: int, noise: float = 0.0, seed: int = 1) -> tuple[list[float], list[float]]:
    """A coil of 4 mH and 0.6 Ω at 13.5 V, as the circuit law says, with normal noise."""
    chance = random.Random(seed)
    times = [length * n / (count - 1) for n in range(count)]
    return times, [V / R * -math.expm1(-BEND * time) + chance.gauss(0, noise) for time in times]


def test_a_clean_ramp_gives_back_its_coil() -> None:
    shape = shape_of(*rise(3e-3, 40))
    assert shape is not None and (shape.jump, shape.bends_at, shape.limit) == (0, None, None)
    fit = fit_of(shape)
    assert fit is not None
    assert fit.slope == pytest.approx(SLOPE, rel=1e-5) and fit.bend == pytest.approx(BEND, rel=1e-3)
    # by hand: -L/R ln(1 - 7.5 R/V) = 2.703 ms (worked example X04)
    assert fit.time_to(7.5) == pytest.approx(2.703e-3, rel=1e-3)
    assert fit.time_to(22.6) is None  # V/R is 22.5 A


@pytest.mark.parametrize(
    ("length", "count", "noise"), [(3e-3, 40, 0.05), (2e-3, 20, 0.05), (4e-3, 200, 0.1), (3e-3, 8, 0.03)]
)
def test_its_95_percent_intervals_cover_95_percent(length: float, count: int, noise: float) -> None:
    # 200 ramps: 95 % ± 1.5 % by binomial chance; three of those to both sides
    tries, slopes, bends = 200, 0, 0
    for seed in range(tries):
        shape = shape_of(*rise(length, count, noise, seed))
        assert shape is not None
        fit = fit_of(shape)
        assert fit is not None
        slopes += abs(fit.slope - SLOPE) <= fit.factor * fit.slope_u
        bends += abs(fit.bend - BEND) <= fit.factor * fit.bend_u
    assert 0.91 <= slopes / tries <= 0.99 and 0.91 <= bends / tries <= 0.99


def test_scipys_fit_of_the_same_ramp_agrees() -> None:
    optimize = pytest.importorskip("scipy.optimize")
    times, currents = rise(3e-3, 60, 0.05, seed=7)
    shape = shape_of(times, currents)
    assert shape is not None
    ours = fit_of(shape)
    assert ours is not None
    since = [(t, i) for t, i in zip(shape.times, shape.currents, strict=True) if t >= 0]

    def law(time: Any, slope: float, bend: float, start: float) -> Any:
        import numpy

        return -slope / bend * numpy.expm1(-bend * (time - start))

    import numpy

    found, spread = optimize.curve_fit(
        law, numpy.array([t for t, _ in since]), numpy.array([i for _, i in since]), [3000.0, 100.0, 0.0]
    )
    assert found[0] == pytest.approx(ours.slope, abs=1.5 * ours.slope_u)
    assert math.sqrt(spread[0][0]) == pytest.approx(ours.slope_u, rel=0.25)


def test_samples_before_switching_on_and_after_the_spark_do_not_matter() -> None:
    times, currents = rise(3e-3, 40)
    before = [(-1e-3 + n * 5e-5, 0.0) for n in range(20)]
    after = [(3.1e-3 + n * 5e-5, 0.0) for n in range(10)]
    points = [*before, *zip(times, currents, strict=True), *after]
    shape = shape_of([t for t, _ in points], [i for _, i in points])
    assert shape is not None and shape.length == pytest.approx(3e-3, rel=0.05)
    fit = fit_of(shape)
    assert fit is not None and fit.slope == pytest.approx(SLOPE, rel=1e-3)


def test_a_ramp_that_is_held_shows_its_limit_and_when() -> None:
    times, currents = rise(5e-3, 100)
    shape = shape_of(times, [min(one, 7.5) for one in currents])
    assert shape is not None and shape.limit == pytest.approx(7.5, rel=0.01)
    assert shape.held_from == pytest.approx(2.7e-3, abs=2e-4)
    fit = fit_of(shape)
    assert fit is not None and fit.slope == pytest.approx(SLOPE, rel=0.02)


def test_a_saturating_core_bends_upwards_and_is_fitted_below_its_knee() -> None:
    # worked example X06: 10.756 A after 3 ms instead of what a straight core would give
    times = [4e-3 * n / 80 for n in range(81)]
    shape = shape_of(
        times, [iron.current_after_saturating.si(13.5, 0.6, 3.6e-3, 0.6e-3, 8.0, time) for time in times]
    )
    assert shape is not None and shape.bends_at is not None and 1 < shape.bends_at < 9
    assert shape_of(times, [current_after.si(13.5, 0.6, 4.2e-3, time) for time in times]).bends_at is None  # type: ignore[union-attr]


def test_shorted_turns_start_with_a_jump() -> None:
    times, currents = rise(3e-3, 60)
    shape = shape_of(times, [0.0, *(4.0 + one for one in currents[1:])])
    assert shape is not None and shape.jump > 4
    assert shape_of(times, currents).jump == 0  # type: ignore[union-attr]


@pytest.mark.parametrize("samples", [[0.0, 1.0, 2.0], [0.0] * 20, [-1.0] * 5])
def test_what_is_no_rise_is_none(samples: list[float]) -> None:
    assert shape_of([n * 1e-3 for n in range(len(samples))], samples) is None


# ---- as the check says it


def charge(bench: Any, place: str, resistance: float = R, inductance: float = L, **more: Any) -> Any:
    times = [3e-3 * n / 20 for n in range(21)]
    points = [
        (f"{1000 * time:.3f} ms", f"{V / resistance * -math.expm1(-resistance * time / inductance):.3f} A")
        for time in times
    ]
    return bench.record("ramp", *points, place=place, **more)


def test_a_sound_coil_shows_its_inductance_with_its_interval(four: Any) -> None:
    four.read("supply_running", "13.5 V", using="meter")
    found = charge(four, "coil 1").finding("ignition.ramp", "coil 1")
    assert found.grade == "right" and "inductance 4.0" in str(found) and "mH" in str(found)
    assert found.urgency is ck.Urgency.NOTHING


def test_what_eats_current_is_named_before_coil_and_driver(four: Any) -> None:
    # 2 Ω in the loop, 0.6 Ω of it the coil's own by its data
    four.read("supply_running", "13.5 V", using="meter").fit("coil_resistance", "0.6 Ω")
    found = charge(four, "coil 1", resistance=2.0).finding("ignition.ramp", "coil 1")
    assert found.grade == "resistance"
    assert "before driver or coil" in str(found) and not found.calls_for


def test_a_dwell_that_is_too_short_names_what_is_missing(four: Any) -> None:
    # 8.15 A after 3 ms; 12 A need -L/R ln(1 - 12 · 0.6/13.5) = 5.08 ms
    four.read("supply_running", "13.5 V", using="meter").fit("current_limit", "12 A")
    found = charge(four, "coil 1").finding("ignition.ramp", "coil 1")
    assert found.grade == "short" and "5.1 ms" in str(found) and "supply and ground first" in str(found)


def test_a_coil_that_rises_otherwise_than_the_rest_is_named(four: Any) -> None:
    for place, henries in (("coil 1", 2.5e-3), ("coil 2", L), ("coil 3", L), ("coil 4", L)):
        charge(four, place, inductance=henries)
    assert four.finding("ignition.ramp", "coil 1").grade == "apart"
    assert four.finding("ignition.ramp", "coil 2").grade == "right"


# ---- scipy as judge of charging and decay


def test_charging_with_a_smooth_saturation_curve_agrees_with_scipys_ode() -> None:
    integrate = pytest.importorskip("scipy.integrate")
    for volts, ohms in ((13.5, 0.6), (9.0, 0.9)):
        solved = integrate.solve_ivp(
            lambda _, y, v=volts, r=ohms: [(v - r * y[0]) / (3.6e-3 / math.cosh(y[0] / 8) ** 2 + 6e-4)],
            (0, 4e-3),
            [0.0],
            rtol=1e-10,
            atol=1e-12,
        )
        ours = iron.current_after_saturating.si(volts, ohms, 3.6e-3, 6e-4, 8.0, 4e-3)
        assert ours == pytest.approx(solved.y[0][-1], rel=1e-6)


def test_the_decay_of_the_spark_agrees_with_scipys_ode() -> None:
    integrate = pytest.importorskip("scipy.integrate")
    henries, start, ohms, volts = 25.0, 0.07, 18000.0, 1000.0

    def ends(_: float, y: Any) -> float:
        return float(y[0])

    ends.terminal = True  # type: ignore[attr-defined]
    solved = integrate.solve_ivp(
        lambda _, y: [-(volts + ohms * y[0]) / henries, volts * y[0]],
        (0, 5e-3),
        [start, 0.0],
        events=ends,
        rtol=1e-10,
        atol=1e-14,
    )
    assert burn_time.si(henries, start, ohms, volts) == pytest.approx(solved.t[-1], rel=1e-6)
    assert gap_energy.si(henries, start, ohms, volts) == pytest.approx(solved.y[1][-1], rel=1e-6)


def test_energy_of_a_saturating_core_is_what_scipy_adds_up() -> None:
    integrate = pytest.importorskip("scipy.integrate")
    for amperes in (0.5, 8.0, 20.0):
        total, _ = integrate.quad(lambda i: (3.6e-3 / math.cosh(i / 8) ** 2 + 6e-4) * i, 0, amperes)
        assert iron.stored_energy_saturating.si(3.6e-3, 6e-4, 8.0, amperes) == pytest.approx(total, rel=1e-9)


# ---- laws


@given(st.floats(1e-5, 3e-3), st.floats(1e-5, 3e-3))
def test_a_wider_core_gap_lowers_inductance_and_raises_the_current_it_bears(a: float, b: float) -> None:
    low, high = sorted((a, b))

    def inductance(gap: float) -> float:
        return iron.core_inductance.si(150.0, gap, 0.15, 2000.0, 1.2e-4)

    def bears(gap: float) -> float:
        return iron.saturation_current.si(1.6, 150.0, gap, 0.15, 2000.0, 1.2e-4)

    assert inductance(high) <= inductance(low) and bears(high) >= bears(low)


@settings(max_examples=40)
@given(st.floats(1e-5, 3e-3), st.floats(0.5, 15.0))
def test_a_smooth_core_never_stores_more_than_a_sharp_one_by_much(gap: float, amperes: float) -> None:
    sharp = iron.core_energy.si(amperes, 1.6, 150.0, gap, 0.15, 2000.0, 1.2e-4)
    smooth = iron.core_energy_smooth.si(amperes, 1.6, 150.0, gap, 0.15, 2000.0, 1.2e-4)
    if amperes < 0.5 * iron.saturation_current.si(1.6, 150.0, gap, 0.15, 2000.0, 1.2e-4):
        assert smooth == pytest.approx(sharp, rel=0.12)


def test_a_narrow_core_gap_costs_at_low_speed_and_a_wide_one_helps_at_high_speed_and_cold() -> None:
    def energy(gap: float, time: float, ohms: float = 0.6) -> float:
        return iron.energy_in_time.si(time, 13.5, ohms, 8.0, 1.6, 150.0, gap, 0.15, 2000.0, 1.2e-4)

    assert energy(0.25e-3, 10e-3) < 0.5 * energy(0.87e-3, 10e-3)  # it saturates long before its limit
    assert energy(1.5e-3, 1e-3) > energy(0.87e-3, 1e-3)  # less inductance charges faster
    assert energy(0.87e-3, 2e-3, 0.5) > energy(0.87e-3, 2e-3, 0.6)  # a cold winding a little faster still


@given(st.floats(0.1, 20), st.floats(0.1, 20))
def test_more_current_never_holds_less_energy_in_a_saturating_coil(a: float, b: float) -> None:
    low, high = sorted((a, b))
    energy = iron.stored_energy_saturating.si
    assert energy(3.6e-3, 6e-4, 8.0, low) <= energy(3.6e-3, 6e-4, 8.0, high)
    assert energy(3.6e-3, 6e-4, 8.0, high) <= 4.2e-3 * high**2 / 2 * (1 + 1e-12)


def test_the_student_factors_are_those_of_the_guide() -> None:
    assert ramp_fit.STUDENT[1] == 12.71 and ramp_fit.STUDENT[10] == 2.23
