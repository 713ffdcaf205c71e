"""Numbers of the worked examples that no one calculation gives: laws, conversions, fits by scipy."""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import median

import pytest
from corekit_ignition import ignition
from corekit_ignition.current import (
    capacitive_energy,
    current_after,
    energy_ratio,
    stored_energy,
)
from corekit_ignition.gaps import breakdown_by_paschen, voltage_demanded
from corekit_ignition.misfire import contribution
from corekit_ignition.reserve import share_past_deposit
from corekit_ignition.speed import energy_at_speed
from corekit_ignition.windings import resistance_when_warm

from corekit.testing import quantity


def coherent(text: str, unit: str) -> float:
    return quantity(text, unit).number


@pytest.mark.parametrize(
    ("shunt", "share"),
    [
        (10e6, 0.9620807),
        (5e6, 0.926692),
        (2e6, 0.8335081),
        (1e6, 0.7115311),
        (5e5, 0.546293),
        (2.5e5, 0.3678794),
        (1e5, 0.180953),
    ],
)
def test_a_deposit_leaves_what_a_drained_oscillation_leaves_and_no_divider(
    shunt: float, share: float
) -> None:
    # ignition-X19: 25 H, 100 pF
    assert share_past_deposit.si(25.0, 1e-10, shunt) == pytest.approx(share, rel=1e-6)
    # a divider with 25 kΩ in series would say 97.6 % at 1 MΩ, where 71.2 % are left
    divider = shunt / (shunt + 25e3)
    assert share < divider
    if shunt == 1e6:
        assert divider == pytest.approx(0.975609756, rel=1e-8)


def test_at_a_quarter_of_a_megohm_the_swing_is_just_damped_out() -> None:
    # ignition-X19: R = sqrt(L/C)/2 is 250 kΩ, where 1/e is left
    assert math.sqrt(25.0 / 1e-10) / 2 == pytest.approx(2.5e5)
    assert share_past_deposit.si(25.0, 1e-10, 2.5e5) == pytest.approx(math.exp(-1), rel=1e-9)


def test_the_lowest_point_of_paschens_law_lies_where_its_derivative_says() -> None:
    # ignition-X13: e ln(1 + 1/0.01) / 112.50 = 0.1115 kPa cm; there it asks for 305 V
    optimize = pytest.importorskip("scipy.optimize")
    found = optimize.minimize_scalar(
        lambda metres: breakdown_by_paschen.si(1000.0, metres), bounds=(6e-4, 5e-3), method="bounded"
    )
    assert 1.0 * found.x * 100 == pytest.approx(0.1115129, rel=1e-3)
    assert found.fun == pytest.approx(305, abs=0.5)


def test_the_correlation_rises_with_the_gap_as_printed_and_its_other_printing_differs_little() -> None:
    # ignition-X15: 324 p/T is 9.969 kV/mm at 20 bar and 650 K; with 146 for 136, 1 mm asks for 13.7 kV
    low, high = (voltage_demanded.si(20e5, 650.0, gap) for gap in (0.8e-3, 1.1e-3))
    assert (high - low) / 0.3e-3 / 1e6 == pytest.approx(9.969230769, rel=1e-9)
    ours = voltage_demanded.si(12e5, 600.0, 1e-3)
    assert ours + 1e3 * 10 * 12 / 600 == pytest.approx(13.7e3, rel=1e-9)
    assert 13.7e3 / ours - 1 < 0.025


def test_copper_would_have_no_resistance_at_234_degrees_below_zero() -> None:
    # ignition-X17: 20 - 1/0.00393; the straight line through two temperatures inside the range
    at = [(kelvin, resistance_when_warm.si(1.0, kelvin)) for kelvin in (273.15, 373.15)]
    (x0, y0), (x1, y1) = at
    assert x0 - y0 * (x1 - x0) / (y1 - y0) - 273.15 == pytest.approx(-234.4529, abs=1e-3)


def test_the_clean_circuit_beside_the_lossy_one() -> None:
    # ignition-X05, X17, X29: 4 mH, 0.6 Ω, 13.5 V, 3 ms hold 132.9548 mJ
    energy = stored_energy.si(4e-3, current_after.si(13.5, 0.6, 4e-3, 3e-3))
    assert energy == pytest.approx(0.1329548, rel=1e-6)
    # X29: 0.2 Ω more cost 12.8 %
    assert 1 - 0.11594 / energy == pytest.approx(0.128, abs=1e-3)


def test_half_the_energy_is_left_at_the_speed_that_root_search_finds() -> None:
    # ignition-X08
    optimize = pytest.importorskip("scipy.optimize")
    half = optimize.brentq(
        lambda rpm: energy_at_speed.si(rpm / 60, 4.0, 1e-3, 13.5, 0.6, 4e-3, 7.5) - 0.1125 / 2, 4100, 8000
    )
    assert half == pytest.approx(5372.52, abs=0.05)


def test_56_percent_more_energy_are_25_percent_more_current_or_56_percent_more_inductance() -> None:
    # ignition-X09: other ways to the same claim
    one = stored_energy.si(4e-3, 6.0)
    assert energy_ratio.si(stored_energy.si(4e-3, 6.0 * 1.24899959968), one) == pytest.approx(1.56, rel=1e-9)
    assert energy_ratio.si(stored_energy.si(4e-3 * 1.56, 6.0), one) == pytest.approx(1.56, rel=1e-9)


def test_the_median_of_the_drops_is_what_each_is_held_against() -> None:
    # ignition-X23: 62, 58, 21 and 60 rpm have their median at 59
    assert median([62, 58, 21, 60]) == 59
    assert contribution.si(21 / 60, 59 / 60) == pytest.approx(0.355932203, rel=1e-8)


def test_conversions_of_the_workshop_come_out() -> None:
    # ignition-X25
    assert 16e3 * coherent("0.8 m", "m") == pytest.approx(12800)
    assert coherent("2000 °F", "K") - 273.15 == pytest.approx(1093.3333, abs=1e-3)
    assert coherent("20 lbf·ft", "N·m") == pytest.approx(27.116358966628, rel=1e-9)
    assert pytest.approx(17.5) == 25 * (1 - 0.30)
    assert coherent("0.040 in", "m") * 1000 == pytest.approx(1.016, rel=1e-12)


def test_what_the_secondary_holds_is_a_small_part_of_what_a_rule_proposes() -> None:
    # ignition-X30: 100 pF at 30 kV are 3 µC and 45 mJ, 22.5 % of 0.2 J
    assert pytest.approx(3e-6) == 100e-12 * 30e3
    assert energy_ratio.si(capacitive_energy.si(1e-10, 30e3), 0.2) == pytest.approx(0.225, rel=1e-12)


def test_a_current_that_stops_in_a_microsecond_is_a_classroom_figure() -> None:
    # ignition-X01: 6 mH times 3 A in 1 µs are 18 kV, which the switch's clamp never lets happen
    assert pytest.approx(18000.0) == 6e-3 * 3.0 / 1e-6
    assert "clamp" in (ignition.calculations["ignition.voltage_from_clamp"].__doc__ or "")


def test_a_hobby_table_of_dwell_obeys_the_circuit_law() -> None:
    # ignition-X31: printed times at 8 to 16 V; time constant and I R fitted by scipy
    optimize = pytest.importorskip("scipy.optimize")
    volts, printed = [8, 10, 12, 13.2, 14, 16], [7.4e-3, 4.8e-3, 3.4e-3, 3.0e-3, 2.7e-3, 2.3e-3]
    law: Callable[[float, float, float], float] = lambda v, tau, ir: -tau * math.log1p(-ir / v)  # noqa: E731
    found = optimize.least_squares(
        lambda p: [law(v, p[0] * 1e-3, p[1]) * 1e3 - t * 1e3 for v, t in zip(volts, printed, strict=True)],
        [4.0, 6.0],
    )
    assert found.x[0] == pytest.approx(4.441458, rel=1e-4) and found.x[1] == pytest.approx(6.49673, rel=1e-4)
    assert max(abs(one) for one in found.fun) == pytest.approx(0.1414068, rel=1e-3)
