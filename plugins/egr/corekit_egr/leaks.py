"""Small holes: what flows through one, and how large one is that lets a vacuum go."""

from __future__ import annotations

import math
from typing import Annotated

import corekit as ck

from .declarations import egr

R, GAMMA = 287.05, 1.4  # J/(kg K) and ratio of the heats, dry air near 20 °C; source: leak-flow
CRITICAL = float(
    (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1))
)  # 0.528: below this ratio of pressures the flow grows no further


def _psi(ratio: float) -> float:
    r = max(ratio, CRITICAL)
    return math.sqrt(2 * GAMMA / (GAMMA - 1)) * float(r ** (1 / GAMMA)) * _root(r)


@egr.calculation(source="leak-flow")
def leak_flow(
    diameter: Annotated[float, ck.Input("m", "Diameter of the hole", above=0)],
    coefficient: Annotated[float, ck.Input("1", "Discharge coefficient", 0.5, 1.0)],
    upstream: Annotated[float, ck.Input("Pa abs", "Pressure before the hole", above=0)],
    temperature: Annotated[float, ck.Input("K", "Air temperature", 233.15, 1273.15)],
    downstream: Annotated[float, ck.Input("Pa abs", "Pressure behind the hole", 0)],
) -> Annotated[float, ck.Output("kg/s", "Air flow through the hole")]:
    """Air flow through a hole, out of still air; it grows no further once the pressure behind the hole is
    below 0.528 of that before it.

    The coefficient is 0.62 for a sharp hole and up to 0.85 for a rounded one.

    >>> round(leak_flow.si(0.001, 0.62, 101325.0, 293.15, 51325.0) * 1e6, 3)
    116.465

    Raises:
        ValueError: the pressure behind the hole is the higher one.
    """
    if downstream > upstream:
        raise ValueError("Air flows from the higher pressure to the lower; exchange the two.")
    area = math.pi / 4 * diameter**2
    return coefficient * area * upstream / math.sqrt(R * temperature) * _psi(downstream / upstream)


@egr.calculation(source="leak-flow")
def leak_volume(
    flow: Annotated[float, ck.Input("kg/s", "Air mass flow", 0)],
) -> Annotated[float, ck.Output("m³/s", "Volume flow at 20 °C")]:
    """A mass flow of air as its volume flow at 20 °C and 101.325 kPa.

    >>> round(leak_volume.si(116.4648e-6) * 60000, 3)
    5.803
    """
    return flow * R * 293.15 / 101325.0


@egr.calculation(source="vacuum-decay")
def hole_by_decay(
    volume: Annotated[float, ck.Input("m³", "Closed volume", above=0)],
    start: Annotated[float, ck.Input("Pa abs", "Pressure at the start", above=0)],
    end: Annotated[float, ck.Input("Pa abs", "Pressure at the end", above=0)],
    outside: Annotated[float, ck.Input("Pa abs", "Pressure outside", above=0)],
    duration: Annotated[float, ck.Input("s", "Time taken", above=0)],
    temperature: Annotated[float, ck.Input("K", "Air temperature", 233.15, 1273.15)],
    coefficient: Annotated[float, ck.Input("1", "Discharge coefficient", 0.5, 1.0)],
) -> Annotated[float, ck.Output("m", "Diameter of the hole")]:
    """Diameter of the one hole that lets the pressure in a closed volume rise so far in the time taken.

    Exact for a rigid volume that keeps its temperature. A volume wrong by 20 % makes the diameter wrong by 10
    %.

    >>> round(hole_by_decay.si(60e-6, 67461.1, 84393.1, 101325.0, 30.0, 293.15, 0.62) * 1e6, 1)
    62.9

    Raises:
        ValueError: the vacuum did not fall, or lies beyond what the outside pressure allows.
    """
    if not start < end <= outside:
        raise ValueError("The pressure inside must have risen, and not above the pressure outside.")
    area = (
        _way(start / outside, end / outside) * volume / (coefficient * duration * math.sqrt(R * temperature))
    )
    return math.sqrt(4 * area / math.pi)


@egr.calculation(source="vacuum-decay")
def time_of_decay(
    volume: Annotated[float, ck.Input("m³", "Closed volume", above=0)],
    diameter: Annotated[float, ck.Input("m", "Diameter of the hole", above=0)],
    start: Annotated[float, ck.Input("Pa abs", "Pressure at the start", above=0)],
    end: Annotated[float, ck.Input("Pa abs", "Pressure at the end", above=0)],
    outside: Annotated[float, ck.Input("Pa abs", "Pressure outside", above=0)],
    temperature: Annotated[float, ck.Input("K", "Air temperature", 233.15, 1273.15)],
    coefficient: Annotated[float, ck.Input("1", "Discharge coefficient", 0.5, 1.0)],
) -> Annotated[float, ck.Output("s", "Time taken")]:
    """How long a hole takes to let the pressure in a closed volume rise so far.

    >>> round(time_of_decay.si(60e-6, 1e-4, 33597.2, 67461.1, 101325.0, 293.15, 0.62), 2)
    20.86

    Raises:
        ValueError: as for the hole's diameter.
    """
    if not start < end <= outside:
        raise ValueError("The pressure inside must have risen, and not above the pressure outside.")
    return (
        _way(start / outside, end / outside)
        * volume
        / (coefficient * math.pi / 4 * diameter**2 * math.sqrt(R * temperature))
    )


def _way(first: float, last: float) -> float:
    """The integral of 1/psi between two ratios of pressure, closed form: linear while choked, then a falling
    root.
    """
    choked = max(0.0, min(last, CRITICAL) - first) / _psi(CRITICAL)
    low = max(first, CRITICAL)
    return choked + (math.sqrt(2 * GAMMA / (GAMMA - 1)) * (_root(low) - _root(last)) if last > low else 0.0)


def _root(ratio: float) -> float:
    return math.sqrt(max(0.0, 1 - ratio ** ((GAMMA - 1) / GAMMA)))
