"""The iron of a coil: what its core's gap and its saturation do to inductance, current and stored energy.

Nobody opens a core at the kerb. These figures explain why a coil of other make does not do what its
inductance promises, and what a proposed one would do; they judge no part.
"""

from __future__ import annotations

import math
from typing import Annotated

import corekit as ck

from .current import current_after
from .declarations import ignition

MU_0 = 4e-7 * math.pi  # H/m
STEPS = 400  # of a Runge-Kutta integration; more change no digit that a coil's data have
HALVINGS = 80  # of an interval; far below the last digit of a float


Area = Annotated[float, ck.Input("m²", "Cross-section of the core", above=0)]
Gap = Annotated[float, ck.Input("m", "Air gap of the core", 0, high=0.02)]
Path = Annotated[float, ck.Input("m", "Length of the iron path", above=0)]
Permeability = Annotated[float, ck.Input("1", "Relative permeability of the iron", 1)]
Turns = Annotated[float, ck.Input("1", "Turns of the primary", 1)]
Saturation = Annotated[float, ck.Input("T", "Flux density at which the iron saturates", above=0)]
Current = Annotated[float, ck.Input("A", "Primary current", 0)]


# ---- a coil whose core saturates: L(i) = iron / cosh²(i / I) + air


@ignition.calculation(source="saturating-core")
def current_after_saturating(
    voltage: Annotated[float, ck.Input("V", "Supply voltage", above=0)],
    resistance: Annotated[float, ck.Input("Ω", "Primary circuit resistance", above=0)],
    iron: Annotated[float, ck.Input("H", "Inductance through the iron, unsaturated", above=0)],
    air: Annotated[float, ck.Input("H", "Inductance that stays when it is saturated", above=0)],
    knee: Annotated[float, ck.Input("A", "Current of the knee", above=0)],
    time: Annotated[float, ck.Input("s", "Time since switching on", 0)],
) -> Annotated[float, ck.Output("A", "Primary current")]:
    """Current some time after switching on where the core saturates: it bends upwards.

    >>> round(current_after_saturating.si(13.5, 0.6, 3.6e-3, 0.6e-3, 8.0, 3e-3), 3)
    10.756
    """

    most = voltage / resistance  # no step, however long, leads beyond what ohms allow

    def rate(reached: float) -> float:
        flows = min(max(reached, 0.0), most)
        return (voltage - resistance * flows) / (iron / math.cosh(min(flows / knee, 300)) ** 2 + air)

    amperes, step = 0.0, time / STEPS
    for _ in range(STEPS):
        first = rate(amperes)
        second = rate(amperes + step * first / 2)
        third = rate(amperes + step * second / 2)
        fourth = rate(amperes + step * third)
        amperes = min(amperes + step * (first + 2 * second + 2 * third + fourth) / 6, most)
    return amperes


@ignition.calculation(source="saturating-core")
def stored_energy_saturating(
    iron: Annotated[float, ck.Input("H", "Inductance through the iron, unsaturated", above=0)],
    air: Annotated[float, ck.Input("H", "Inductance that stays when it is saturated", above=0)],
    knee: Annotated[float, ck.Input("A", "Current of the knee", above=0)],
    current: Annotated[float, ck.Input("A", "Primary current at switch-off", 0)],
) -> Annotated[float, ck.Output("J", "Stored energy")]:
    """Energy in a coil whose core saturates: current times what the flux linkage gains, added up.

    Half the unsaturated inductance times the current squared says too much.

    >>> round(stored_energy_saturating.si(3.6e-3, 0.6e-3, 8.0, 10.75603) * 1000, 1)
    139.8
    """
    return iron * knee**2 * _area(current / knee) + air * current**2 / 2


def _area(x: float) -> float:
    """∫ x / cosh² x dx from 0: x tanh x − ln cosh x, without the overflow of cosh."""
    return x * math.tanh(x) - (x + math.log1p(math.exp(-2 * x)) - math.log(2))


# ---- a core by its dimensions, its iron with a sharp knee


@ignition.calculation(source="gapped-core")
def iron_reluctance(
    path: Path, permeability: Permeability, area: Area
) -> Annotated[float, ck.Output("A/Wb", "Reluctance of the iron")]:
    """What the iron sets against the flux.

    >>> round(iron_reluctance.si(0.3, 70000.0, 9e-4))
    3789
    """
    return path / (permeability * MU_0 * area)


@ignition.calculation(source="gapped-core")
def gap_reluctance(gap: Gap, area: Area) -> Annotated[float, ck.Output("A/Wb", "Reluctance of the gap")]:
    """What the air gap sets against the flux; no fringing.

    >>> round(gap_reluctance.si(5e-4, 9e-4))
    442097
    """
    return gap / (MU_0 * area)


@ignition.calculation(source="gapped-core")
def flux(
    density: Annotated[float, ck.Input("T", "Flux density", 0)], area: Area
) -> Annotated[float, ck.Output("Wb", "Magnetic flux")]:
    """Flux through a core.

    >>> flux.si(1.0, 9e-4)
    0.0009
    """
    return density * area


@ignition.calculation(source="gapped-core")
def core_inductance(
    turns: Turns, gap: Gap, path: Path, permeability: Permeability, area: Area
) -> Annotated[float, ck.Output("H", "Primary inductance")]:
    """Inductance of a gapped core that is not saturated: the wider the gap, the less.

    >>> round(core_inductance.si(500.0, 5e-4, 0.3, 70000.0, 9e-4), 4)
    0.5607
    """
    return turns**2 / (iron_reluctance.si(path, permeability, area) + gap_reluctance.si(gap, area))


@ignition.calculation(source="gapped-core")
def saturation_current(
    saturation: Saturation, turns: Turns, gap: Gap, path: Path, permeability: Permeability, area: Area
) -> Annotated[float, ck.Output("A", "Current at saturation")]:
    """Current at which a core reaches a flux density: the wider the gap, the more.

    >>> round(saturation_current.si(1.0, 500.0, 5e-4, 0.3, 70000.0, 9e-4), 4)
    0.8026
    """
    against = iron_reluctance.si(path, permeability, area) + gap_reluctance.si(gap, area)
    return saturation * area * against / turns


@ignition.calculation(source="gapped-core")
def core_energy(
    current: Current,
    saturation: Saturation,
    turns: Turns,
    gap: Gap,
    path: Path,
    permeability: Permeability,
    area: Area,
) -> Annotated[float, ck.Output("J", "Stored energy")]:
    """Energy in a gapped core at a current; beyond saturation nothing is added. A tenth too much near the
    knee.

    >>> round(core_energy.si(8.0, 1.6, 150.0, 1e-3, 0.15, 2000.0, 1.2e-4) * 1000, 1)
    101.0
    """
    most = saturation_current.si(saturation, turns, gap, path, permeability, area)
    return core_inductance.si(turns, gap, path, permeability, area) * min(current, most) ** 2 / 2


@ignition.calculation(source="gapped-core")
def best_gap(
    current: Current, saturation: Saturation, turns: Turns, path: Path, permeability: Permeability
) -> Annotated[float, ck.Output("m", "Gap that stores most")]:
    """Gap at which a core just saturates at the current limit, and so stores most.

    >>> round(best_gap.si(8.0, 1.6, 150.0, 0.15, 2000.0) * 1000, 4)
    0.8675

    Raises:
        ValueError: the iron alone carries this current without saturating.
    """
    gap = MU_0 * turns * current / saturation - path / permeability
    if gap <= 0:
        raise ValueError("The iron alone carries this current without saturating; no gap stores more.")
    return gap


@ignition.calculation(source="gapped-core")
def energy_in_time(
    time: Annotated[float, ck.Input("s", "Time to charge", 0)],
    voltage: Annotated[float, ck.Input("V", "Supply voltage", above=0)],
    resistance: Annotated[float, ck.Input("Ω", "Primary circuit resistance", above=0)],
    limit: Annotated[float, ck.Input("A", "Current limit", 0)],
    saturation: Saturation,
    turns: Turns,
    gap: Gap,
    path: Path,
    permeability: Permeability,
    area: Area,
) -> Annotated[float, ck.Output("J", "Stored energy")]:
    """Energy that a gapped core takes in the time there is: a narrow gap saturates at low speed, a wide one
    charges faster at high speed, and a cold winding charges a little faster still.

    >>> round(energy_in_time.si(0.01, 13.5, 0.6, 8.0, 1.6, 150.0, 1e-3, 0.15, 2000.0, 1.2e-4) * 1000, 1)
    101.0
    """
    henries = core_inductance.si(turns, gap, path, permeability, area)
    amperes = min(limit, current_after.si(voltage, resistance, henries, time))
    return core_energy.si(amperes, saturation, turns, gap, path, permeability, area)


# ---- the same with a smooth curve: B = B_sat tanh(mu_r mu_0 H / B_sat) + mu_0 H


@ignition.calculation(source="gapped-core")
def core_energy_smooth(
    current: Current,
    saturation: Saturation,
    turns: Turns,
    gap: Gap,
    path: Path,
    permeability: Permeability,
    area: Area,
) -> Annotated[float, ck.Output("J", "Stored energy")]:
    """Energy in a gapped core whose iron saturates smoothly.

    >>> round(core_energy_smooth.si(8.0, 1.6, 150.0, 1e-3, 0.15, 2000.0, 1.2e-4) * 1000, 2)
    95.84
    """
    steep = permeability * MU_0 / saturation

    def density(field: float) -> float:
        return saturation * math.tanh(steep * field) + MU_0 * field

    low, high = 0.0, turns * current / path
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if middle * path + density(middle) * gap / MU_0 < turns * current:
            low = middle
        else:
            high = middle
    field = (low + high) / 2
    in_iron = saturation / steep * _area(steep * field) + MU_0 * field**2 / 2
    return area * (path * in_iron + gap * density(field) ** 2 / (2 * MU_0))


@ignition.calculation(source="gapped-core")
def best_gap_smooth(
    current: Current,
    saturation: Saturation,
    turns: Turns,
    path: Path,
    permeability: Permeability,
    area: Area,
) -> Annotated[float, ck.Output("m", "Gap that stores most")]:
    """Gap that stores most at a current where the iron saturates smoothly: a little less than with a sharp
    knee.

    Raises:
        ValueError: the iron alone carries this current without saturating, so no gap stores more.

    >>> round(best_gap_smooth.si(8.0, 1.6, 150.0, 0.15, 2000.0, 1.2e-4) * 1000, 3)
    0.816
    """

    def energy(gap: float) -> float:
        return core_energy_smooth.si(current, saturation, turns, gap, path, permeability, area)

    low, high, golden = 0.0, 2 * best_gap.si(current, saturation, turns, path, permeability), (5**0.5 - 1) / 2
    for _ in range(HALVINGS):
        left, right = high - golden * (high - low), low + golden * (high - low)
        if energy(left) < energy(right):
            low = left
        else:
            high = right
    return (low + high) / 2
