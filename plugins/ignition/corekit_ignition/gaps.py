"""The plug's gap: what voltage it asks for under compression, what the coil has to give, and cylinders beside
each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated

import attrs

import corekit as ck

from .declarations import (
    firing_voltage,
    ignition,
    plug_gap,
    replace_plugs,
    set_gaps,
)

PASCHEN_A, PASCHEN_B, GAMMA = 112.50 / 10, 2737.50 / 10, 0.01  # 1/(Pa m), V/(Pa m), 1: air; source: paschen
BAR, T_20, ATM = 1e5, 293.15, 101325.0
START, RATE, CROWD = (
    4.3e3,
    136.0,
    324.0,
)  # V; and V_kV = 4.3 + 136 p/T + 324 d p/T with bar, K, mm; source: engine-gap
POLYTROPIC = 1.3  # source: compression
WORN = 2e-4  # m above its widest: plainly wider than set or filed; an estimate of ours


@ignition.calculation(source="paschen")
def breakdown_by_paschen(
    pressure: Annotated[float, ck.Input("Pa abs", "Air pressure in the gap", above=0)],
    gap: Annotated[float, ck.Input("m", "Electrode gap", above=0, high=0.02)],
) -> Annotated[float, ck.Output("V", "Breakdown voltage")]:
    """Voltage at which air breaks down between flat plates, by Paschen's law; right of its lowest point only.

    >>> round(breakdown_by_paschen.si(101325.0, 0.001))
    5035

    Raises:
        ValueError: the gap times pressure lies left of where the formula holds.
    """
    log = math.log(PASCHEN_A * pressure * gap) - math.log(math.log(1 + 1 / GAMMA))
    if log <= 0:
        raise ValueError("So small a gap at so low a pressure lies outside Paschen's law.")
    return PASCHEN_B * pressure * gap / log


@ignition.calculation(source="uniform-field")
def breakdown_in_air(
    pressure: Annotated[float, ck.Input("Pa abs", "Air pressure in the gap", above=0)],
    temperature: Annotated[float, ck.Input("K", "Air temperature in the gap", 200, 3000)],
    gap: Annotated[float, ck.Input("m", "Electrode gap", above=0, high=0.02)],
) -> Annotated[float, ck.Output("V", "Breakdown voltage")]:
    """Voltage at which air breaks down in an even field; plugs at engine pressures need less than this says.

    >>> round(breakdown_in_air.si(101325.0, 293.15, 0.001))
    4607
    """
    reduced = pressure / BAR * T_20 / temperature * gap * 100  # bar cm at 20 °C
    return 1e3 * (24.36 * reduced + 6.72 * math.sqrt(reduced))


@ignition.calculation(source="uniform-field")
def breakdown_in_air_low(
    pressure: Annotated[float, ck.Input("Pa abs", "Air pressure in the gap", above=0)],
    temperature: Annotated[float, ck.Input("K", "Air temperature in the gap", 200, 3000)],
    gap: Annotated[float, ck.Input("m", "Electrode gap", above=0, high=0.02)],
) -> Annotated[float, ck.Output("V", "Breakdown voltage, low estimate")]:
    """Voltage at which air breaks down in an even field, by a second set of constants: some 5 % lower.

    >>> round(breakdown_in_air_low.si(101325.0, 293.15, 0.001))
    4345
    """
    dense = pressure / ATM * T_20 / temperature * gap * 100
    return 1e3 * (24.22 * dense + 6.08 * math.sqrt(dense))


@ignition.calculation(source="engine-gap")
def voltage_demanded(
    pressure: Annotated[float, ck.Input("Pa abs", "Cylinder pressure at the spark", above=0)],
    temperature: Annotated[float, ck.Input("K", "Charge temperature at the spark", 200, 3000)],
    gap: Annotated[float, ck.Input("m", "Plug gap", above=0, high=0.02)],
) -> Annotated[float, ck.Output("V", "Required voltage")]:
    """Voltage that a plug asks for in an engine.

    Not for open air and not for the exhaust gap of a wasted-spark pair.

    >>> round(voltage_demanded.si(20e5, 650.0, 0.0011))
    19451
    """
    dense = pressure / BAR / temperature
    return START + 1e3 * (RATE * dense + CROWD * gap * 1e3 * dense)


@ignition.calculation(source="engine-gap")
def widest_gap(
    available: Annotated[float, ck.Input("V", "Available voltage", above=0)],
    margin: Annotated[float, ck.Input("1", "Share of it kept in reserve", 0, high=1)],
    pressure: Annotated[float, ck.Input("Pa abs", "Cylinder pressure at the spark", above=0)],
    temperature: Annotated[float, ck.Input("K", "Charge temperature at the spark", 200, 3000)],
) -> Annotated[float, ck.Output("m", "Widest plug gap")]:
    """The widest gap that leaves a share of the available voltage in reserve.

    >>> round(widest_gap.si(28e3, 0.2, 20e5, 650.0) * 1000, 2)
    1.4

    Raises:
        ValueError: not even a closed gap leaves that much.
    """
    dense = pressure / BAR / temperature
    gap = ((1 - margin) * available - START - 1e3 * RATE * dense) / (1e6 * CROWD * dense)
    if gap <= 0:
        raise ValueError("No gap leaves this much in reserve.")
    return gap


@ignition.calculation(source="circuit")
def reserve(
    available: Annotated[float, ck.Input("V", "Available voltage", above=0)],
    demanded: Annotated[float, ck.Input("V", "Required voltage", 0)],
) -> Annotated[float, ck.Output("1", "Voltage reserve")]:
    """Share of the available voltage that is left over.

    >>> round(reserve.si(30e3, 19450.77), 3)
    0.352
    """
    return (available - demanded) / available


@ignition.calculation(source="compression")
def effective_compression(
    ratio: Annotated[float, ck.Input("1", "Compression ratio", 1, high=30)],
    before_top: Annotated[float, ck.Input("rad", "Crank angle before top dead centre", 0, 3.1416)],
    crank_to_rod: Annotated[float, ck.Input("1", "Crank radius over rod length", 0.1, 0.5)],
) -> Annotated[float, ck.Output("1", "Compression at the spark")]:
    """How far the charge is compressed some angle before top dead centre.

    >>> round(effective_compression.si(10.0, 0.2617994, 0.30), 3)
    8.343
    """
    rod = 1 / crank_to_rod
    moved = (1 + rod - math.cos(before_top) - math.sqrt(rod**2 - math.sin(before_top) ** 2)) / 2
    return ratio / (1 + (ratio - 1) * moved)


@ignition.calculation(source="compression")
def pressure_at_spark(
    start: Annotated[float, ck.Input("Pa abs", "Pressure at the start of compression", above=0)],
    compression: Annotated[float, ck.Input("1", "Compression at the spark", 1, high=30)],
) -> Annotated[float, ck.Output("Pa abs", "Cylinder pressure at the spark")]:
    """Pressure of the compressed charge.

    >>> round(pressure_at_spark.si(1e5, 10.0) / 1e5, 2)
    19.95
    """
    return float(start * compression**POLYTROPIC)


@ignition.calculation(source="compression")
def temperature_at_spark(
    start: Annotated[float, ck.Input("K", "Temperature at the start of compression", 200, 3000)],
    compression: Annotated[float, ck.Input("1", "Compression at the spark", 1, high=30)],
) -> Annotated[float, ck.Output("K", "Charge temperature at the spark")]:
    """Temperature of the compressed charge.

    >>> round(temperature_at_spark.si(330.0, 10.0), 1)
    658.4
    """
    return float(start * compression ** (POLYTROPIC - 1))


@ignition.calculation(source="circuit")
def voltage_from_energy(
    energy: Annotated[float, ck.Input("J", "Energy stored in the coil", 0)],
    transfer: Annotated[float, ck.Input("1", "Share of it that reaches the secondary", 0, high=1)],
    capacitance: Annotated[float, ck.Input("F", "Capacitance of winding, lead and plug", above=0)],
) -> Annotated[float, ck.Output("V", "Available voltage")]:
    """Voltage that a coil's energy can charge winding, lead and plug to.

    >>> round(voltage_from_energy.si(0.06, 0.7, 1e-10))
    28983
    """
    return math.sqrt(2 * energy * transfer / capacitance)


@ignition.calculation(source="circuit")
def voltage_from_clamp(
    turns: Annotated[float, ck.Input("1", "Turns ratio", above=0)],
    clamp: Annotated[float, ck.Input("V", "Clamp voltage of the switch", 0)],
) -> Annotated[float, ck.Output("V", "Available voltage")]:
    """Highest voltage that the switch's own clamp lets a coil reach: turns ratio times clamp voltage.

    >>> voltage_from_clamp.si(85.0, 400.0)
    34000.0
    """
    return turns * clamp


@ignition.calculation(source="circuit")
def voltage_with_capacitor(
    current: Annotated[float, ck.Input("A", "Primary current at switch-off", 0)],
    inductance: Annotated[float, ck.Input("H", "Primary inductance", above=0)],
    secondary_capacitance: Annotated[float, ck.Input("F", "Secondary capacitance", above=0)],
    primary_capacitance: Annotated[float, ck.Input("F", "Capacitor across the points", above=0)],
    turns: Annotated[float, ck.Input("1", "Turns ratio", above=0)],
    share: Annotated[float, ck.Input("1", "Share of the energy that reaches the secondary", 0, high=1)],
) -> Annotated[float, ck.Output("V", "Available voltage")]:
    """Voltage of a coil with breaker points and their capacitor.

    >>> round(voltage_with_capacitor.si(3.5, 0.009, 7e-11, 2.2e-7, 100.0, 0.75))
    25963
    """
    return share * current * math.sqrt(inductance / (secondary_capacitance + primary_capacitance / turns**2))


@ignition.calculation(source="circuit")
def voltage_with_shunt(
    inductance: Annotated[float, ck.Input("H", "Secondary inductance", above=0)],
    capacitance: Annotated[float, ck.Input("F", "Capacitance of winding, lead and plug", above=0)],
    current: Annotated[float, ck.Input("A", "Secondary current at switch-off", 0)],
    shunt: Annotated[float, ck.Input("Ω", "Resistance across the fouled plug", above=0)],
) -> Annotated[float, ck.Output("V", "Voltage across the plug")]:
    """Voltage that a coil reaches across a fouled plug, whose deposit drains it while it rises.

    >>> round(voltage_with_shunt.si(25.0, 1e-10, 0.07, 1e6))
    24904
    """
    slow, natural = 1 / (2 * shunt * capacitance), 1 / math.sqrt(inductance * capacitance)
    if abs(slow / natural - 1) < 1e-9:
        return current / capacitance / slow / math.e
    if slow < natural:
        swing = math.sqrt(natural**2 - slow**2)
        return current / natural / capacitance * math.exp(-slow / swing * math.atan2(swing, slow))
    swing = math.sqrt(slow**2 - natural**2)
    return current / natural / capacitance * math.exp(-slow / swing * math.log((slow + swing) / natural))


@ignition.calculation(source="gap-wear")
def gap_after(
    new: Annotated[float, ck.Input("m", "Gap when new", above=0, high=0.02)],
    wear: Annotated[float, ck.Input("1", "Wear for each metre driven", 0, high=1e-6)],
    distance: Annotated[float, ck.Input("m", "Distance driven", 0)],
) -> Annotated[float, ck.Output("m", "Gap now")]:
    """Plug gap after a distance; a wear of 0.125 mm in 10,000 km is 1.25e-11.

    >>> round(gap_after.si(0.0008, 1.25e-11, 4e7) * 1000, 2)
    1.3
    """
    return new + wear * distance


@ignition.check("Plug gaps")
def plug_gaps(case: ck.Case, gaps: Annotated[list[ck.Reading], plug_gap]) -> Iterator[ck.Finding | ck.Gap]:
    """Each gap against this engine's own figure; there is no general one."""
    if not case.is_specified(plug_gap):
        yield case.gap(
            plug_gap,
            "The gaps were read, but this engine's specification is not in the file; there is no"
            " general one.",
        )
        return
    limit = case.limit(plug_gap)
    for reading in gaps:
        wide = case.side(reading, limit) is ck.Side.ABOVE
        worn = limit.high is not None and reading.number > limit.high.number + WORN
        yield case.judge(
            reading,
            limit,
            ck.Claim(
                "ignition.plug_gap",
                calls_for=replace_plugs if wide else set_gaps,
                urgency=ck.Urgency.PLAN_IT,
                next_test=plug_gap,
                grade="wide" if worn else "right" if case.side(reading, limit) is ck.Side.INSIDE else "near",
            ),
            ck.Says(
                passes="{it}: plug gap {read}; this engine's specification is {limit}.",
                fails="{it}: plug gap {read}; this engine's specification is {limit}. {meaning}",
                undecided="{it}: plug gap {read}, too close to an end of {limit} to call with this gauge.",
            ),
            ck.Tells(
                passes="The spark plug gap is as specified for this engine.",
                fails="The spark plug gap is not as specified for this engine.",
                undecided="The gap of a spark plug is close to an end of what is specified.",
            ),
            values={
                "it": reading.place.capitalize(),
                "read": ck.show(reading.value, "mm", uncertainty=False),
                "meaning": (
                    "A wide gap needs more voltage from coil and leads and misfires first under load."
                    if wide
                    else "A narrow gap makes a small, weak spark."
                ),
            },
        )


@ignition.check("Firing voltages compared")
def firing(
    case: ck.Case, volts: Annotated[list[ck.Reading], firing_voltage]
) -> Iterator[ck.Finding | ck.Gap]:
    """The one furthest above the median of the others: one that stands out has more in its way.

    Where the others scatter as widely themselves, it does not.
    """
    compared = [one for one in ck.neighbours(volts) if one.median.number > 0]
    if not compared:
        yield case.gap(
            firing_voltage,
            "Firing voltages mean something only when compared; read them on all cylinders.",
        )
        return
    beside = max(compared, key=lambda one: one.ratio.number)
    top, apart, limit = beside.reading, beside.ratio, case.limit("ignition.firing_apart")
    too = [
        one.reading.place
        for one in compared
        if one is not beside and one.stands_out and case.side(one.ratio, limit) is ck.Side.ABOVE
    ]
    if not beside.stands_out:
        scatter = beside.uncertainty / beside.median.number
        apart = attrs.evolve(apart, budget={**apart.budget, "ignition.firing_voltage.spread": scatter})
    yield case.judge(
        apart,
        limit,
        ck.Claim(
            "ignition.firing_apart", of=firing_voltage, unit="1", evidence=volts, next_test=firing_voltage
        ),
        ck.Says(
            passes=(
                "The firing voltages are close together; the highest is {times} times the median of the"
                " others."
            ),
            fails=(
                "{it} needs {read} to fire, {times} times the median of the others.{too} Usual causes there:"
                " a wide gap, an open or loose lead, or a lean mixture."
            ),
            undecided=(
                "{it} needs {read} to fire, {times} times the median of the others, which scatter by"
                " {spread}: too close to {limit} to call."
            ),
        ),
        ck.Tells(
            passes="All cylinders need about the same voltage for their spark.",
            fails="One cylinder needs clearly more voltage for its spark than the others.",
            undecided="One cylinder may need more voltage for its spark; it is read again.",
        ),
        values={
            "it": top.place.capitalize(),
            "read": ck.show(top.value, "kV", uncertainty=False),
            "times": f"{apart.number:.2f}",
            "spread": f"{100 * beside.spread / beside.median.number:.0f} %",
            "too": f" So does {' and '.join(too)}." if too else "",
        },
    )
