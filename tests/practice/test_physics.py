"""How practice cars behave, held against reference libraries: one test for each system and each law that it
uses. scipy solves the equations anew; figures of fluids were executed outside this project.
"""

from __future__ import annotations

import importlib
import math
from typing import Any

import attrs
import pytest

from corekit.plugin.host import load
from corekit.practice import At, Car, invented, practices

integrate = pytest.importorskip("scipy.integrate")
optimize = pytest.importorskip("scipy.optimize")
linalg = pytest.importorskip("scipy.linalg")

PLUGINS = load()


def car_with(system: str, **sizes: Any) -> Car:
    """A sound car of one system, with these sizes."""
    car = invented(practices(PLUGINS, [system]), 3, faults=0)
    return attrs.evolve(car, states={system: attrs.evolve(car.states[system], **sizes)})


def behaviour(system: str) -> Any:
    """The module in which a system's practice car stands."""
    return importlib.import_module(f"corekit_{system}.practice")


@pytest.mark.parametrize("posts", [0.0002, 0.012, 0.04])
def test_what_stands_where_while_it_cranks_is_what_kirchhoff_gives(posts: float) -> None:
    """Four nodes in a row, solved by scipy: source behind its resistance, clamps, cables, starter."""
    battery = behaviour("battery")
    state = car_with("battery", kind="flooded", charge=0.9, posts=posts, cables=0.004).states["battery"]
    inside, joints, cables = battery.resistance(state), 2.0 * posts, 2.0 * 0.004
    volts = battery.at_rest(state) - state.surface
    # unknown: current, posts, clamps, starter
    matrix = [
        [inside, 1.0, 0.0, 0.0],
        [joints, -1.0, 1.0, 0.0],
        [cables, 0.0, -1.0, 1.0],
        [state.turning, 0.0, 0.0, -1.0],
    ]
    solved = linalg.solve(matrix, [volts, 0.0, 0.0, 0.0])
    shown = battery.cranking(state)
    assert [shown.current, shown.posts, shown.clamps, shown.starter] == pytest.approx(list(solved))


def test_an_alternator_that_cannot_give_all_settles_where_the_currents_balance() -> None:
    """scipy finds the voltage at which the battery takes what the loads leave."""
    battery = behaviour("battery")
    state = car_with(
        "battery",
        kind="flooded",
        charge=0.5,
        capacity=70.0,
        left=0.9,
        warmth=25.0,
        regulated=14.1,
        most=55.0,
        loads=45.0,
    ).states["battery"]
    volts = optimize.brentq(
        lambda one: battery.accepts(state, one) - 10.0, battery.at_rest(state), state.regulated
    )
    shown = battery.running(state)
    assert (shown.posts, shown.into) == pytest.approx((volts, 10.0))


#: Corner taps, 8 mm in a pipe of 16 mm, 103 kPa, 573.15 K: pressure across it in kPa, flow in g/s. Source:
#: fluids 1.3.1, executed outside this project.
ORIFICE = [(10.0, 3.53301), (5.0, 2.54887), (2.0, 1.64305), (1.0, 1.18920), (0.5, 0.86921)]


def test_pressure_across_the_orifice_is_near_what_iso_5167_gives_for_the_flow() -> None:
    """The car leaves out how gas expands, so it may lie a third to either side, as every estimate of it."""
    full, most = ORIFICE[0]
    pressure = PLUGINS.measurands["egr.pressure_open"]
    for expected, grams in ORIFICE:
        car = car_with("egr", valve="vacuum, with regulator", full=full, passage=grams / most)
        assert expected * 3 / 4 < (car.number(pressure) or 0.0) < expected * 4 / 3


def test_a_barometer_reads_what_the_standard_atmosphere_has_at_the_car() -> None:
    """By scipy: the hydrostatic equation with the lapse of the standard atmosphere of 1976, dry air."""
    car = car_with("egr")
    height = car.number(PLUGINS.measurands["egr.altitude"])
    solved = integrate.solve_ivp(
        lambda h, p: [-9.80665 * p[0] / (287.05 * (288.15 - 0.0065 * h))], (0.0, height), [101.325], rtol=1e-9
    )
    assert car.number(PLUGINS.measurands["egr.barometer"]) == pytest.approx(solved.y[0][-1], abs=1.0)


@pytest.mark.parametrize("hole", [0.1, 0.3, 0.8])
def test_a_leaking_system_falls_as_scipy_integrates_it(hole: float) -> None:
    """Torricelli at the hole, Boyle above the coolant, adaptive steps."""
    cooling = behaviour("cooling")
    state = car_with("cooling", hose=hole).states["cooling"]
    air, start = state.air * 1e-6, 1.0e5 + 1.013e5

    def flows(_: float, room: Any) -> list[float]:
        over = max(0.0, start * air / room[0] - 1.013e5)
        return [0.6 * math.pi / 4 * (hole / 1000) ** 2 * math.sqrt(2 * over / 1050.0)]

    solved = integrate.solve_ivp(flows, (0.0, 600.0), [air], rtol=1e-8, atol=1e-12)
    left = max(0.0, start * air / solved.y[0][-1] - 1.013e5)
    assert cooling.fallen(state, 1.0) == pytest.approx(1.0 - left / 1e5, abs=0.01)


def test_an_engine_warms_up_as_newton_says() -> None:
    """Heat lost in step with what it lacks of its end, 240 s: scipy's integration, within a degree."""
    car = car_with("cooling")
    state = car.states["cooling"]
    points = practices(PLUGINS, ["cooling"])["cooling"].recording["cooling.warm_up"](car, At())
    goal = behaviour("cooling").settles(state)
    solved = integrate.solve_ivp(
        lambda _, t: [(goal - t[0]) / 240.0],
        (0.0, 1500.0),
        [state.outside],
        t_eval=[s for s, _ in points],
        rtol=1e-8,
    )
    assert [t for _, t in points] == pytest.approx(list(solved.y[0]), abs=1.0)


@pytest.mark.parametrize("lost", [0.2, 1.0, 2.5])
def test_a_weak_feed_lowers_the_current_of_a_coil_as_its_equation_has_it(lost: float) -> None:
    """L di/dt = U − R i over one dwell, by scipy: 4 mH, 0.65 Ω, 3 ms (sizes of a coil, from memory)."""

    def charged(volts: float) -> float:
        solved = integrate.solve_ivp(
            lambda _, i: [(volts - 0.65 * i[0]) / 4e-3], (0.0, 3e-3), [0.0], rtol=1e-9, atol=1e-12
        )
        return float(solved.y[0][-1])

    peak = PLUGINS.measurands["ignition.peak_current"]
    weak, whole = (
        car_with("ignition", feed=drop, ground=0.0).number(peak, At("coil 1")) for drop in (lost, 0.0)
    )
    assert weak is not None and whole is not None
    assert weak / whole == pytest.approx(charged(12.0 - lost) / charged(12.0), rel=1e-6)
