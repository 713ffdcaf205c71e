"""The current that a coil takes, the energy that it stores, and what becomes of it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .declarations import (
    current_limit,
    dwell,
    engine_speed,
    feed_drop,
    ground_drop,
    ignition,
    inductance,
    peak_current,
    primary_resistance,
    supply_running,
)

CRANKING = 400 / 60  # rev/s: below it the starter turns the engine; an estimate of ours

NEAR = 0.8  # share of the expected current below which something is wrong; source: current-short
DATA_UNCERTAINTY = (
    0.05  # standard uncertainty of an inductance out of data, as a share; source: inductance-uncertainty
)


@ignition.calculation(source="circuit")
def final_current(
    voltage: Annotated[float, ck.Input("V", "Supply voltage", above=0)],
    resistance: Annotated[float, ck.Input("Ω", "Primary circuit resistance", above=0)],
) -> Annotated[float, ck.Output("A", "Final current")]:
    """Current that a coil settles at when it stays switched on.

    >>> final_current.si(12.0, 4.0)
    3.0
    """
    return voltage / resistance


@ignition.calculation(source="circuit")
def current_after(
    voltage: Annotated[float, ck.Input("V", "Supply voltage", above=0)],
    resistance: Annotated[float, ck.Input("Ω", "Primary circuit resistance", above=0)],
    inductance: Annotated[float, ck.Input("H", "Primary inductance", above=0)],
    time: Annotated[float, ck.Input("s", "Time since switching on", 0)],
) -> Annotated[float, ck.Output("A", "Primary current")]:
    """Current some time after a coil was switched on.

    >>> round(current_after.si(13.5, 0.6, 0.004, 0.003), 3)
    8.153
    """
    return voltage / resistance * -math.expm1(-resistance * time / inductance)


@ignition.calculation(source="circuit")
def time_to_current(
    voltage: Annotated[float, ck.Input("V", "Supply voltage", above=0)],
    resistance: Annotated[float, ck.Input("Ω", "Primary circuit resistance", above=0)],
    inductance: Annotated[float, ck.Input("H", "Primary inductance", above=0)],
    current: Annotated[float, ck.Input("A", "Primary current to reach", 0)],
) -> Annotated[float, ck.Output("s", "Charge time")]:
    """Time until a coil carries a current.

    >>> round(time_to_current.si(13.5, 0.6, 0.004, 7.5) * 1000, 3)
    2.703

    Raises:
        ValueError: the coil never reaches it at this voltage.
    """
    if current * resistance >= voltage:
        raise ValueError(f"The coil never reaches {current:g} A: it settles at {voltage / resistance:.3g} A.")
    return -inductance / resistance * math.log1p(-current * resistance / voltage)


@ignition.calculation(source="circuit")
def time_to_share(
    resistance: Annotated[float, ck.Input("Ω", "Primary circuit resistance", above=0)],
    inductance: Annotated[float, ck.Input("H", "Primary inductance", above=0)],
    share: Annotated[float, ck.Input("1", "Share of the final current", 0, below=1)],
) -> Annotated[float, ck.Output("s", "Charge time")]:
    """Time until a coil carries a share of its final current.

    >>> round(time_to_share.si(2.0, 0.01, 0.95) * 1000, 2)
    14.98
    """
    return -inductance / resistance * math.log1p(-share)


@ignition.calculation(source="circuit")
def stored_energy(
    inductance: Annotated[float, ck.Input("H", "Primary inductance", above=0)],
    current: Annotated[float, ck.Input("A", "Primary current at switch-off", 0)],
) -> Annotated[float, ck.Output("J", "Stored energy")]:
    """Energy in a coil whose core is not saturated; a saturated one holds less.

    >>> round(stored_energy.si(0.006, 3.0), 3)
    0.027
    """
    return inductance * current**2 / 2


@ignition.calculation(source="circuit")
def energy_left_by_supply(
    voltage: Annotated[float, ck.Input("V", "Supply voltage now", above=0)],
    full_voltage: Annotated[float, ck.Input("V", "Full supply voltage", above=0)],
) -> Annotated[float, ck.Output("1", "Share of the energy left")]:
    """Share of its energy that a coil keeps at a lower supply, the charge time unchanged.

    >>> round(energy_left_by_supply.si(9.0, 13.5), 3)
    0.444
    """
    return (voltage / full_voltage) ** 2


@ignition.calculation(source="circuit")
def energy_ratio(
    proposed: Annotated[float, ck.Input("J", "Energy of the proposed coil", 0)],
    fitted: Annotated[float, ck.Input("J", "Energy of the fitted coil", above=0)],
) -> Annotated[float, ck.Output("1", "Energy against the fitted coil")]:
    """How many times the energy of the fitted coil another one stores.

    >>> energy_ratio.si(0.75, 0.5)
    1.5
    """
    return proposed / fitted


@ignition.calculation(source="circuit")
def energy_uncertainty(
    inductance_uncertainty: Annotated[
        float, ck.Input("1", "Relative uncertainty of the inductance", 0, high=1)
    ],
    current_uncertainty: Annotated[float, ck.Input("1", "Relative uncertainty of the current", 0, high=1)],
) -> Annotated[float, ck.Output("1", "Relative uncertainty of the energy")]:
    """Relative uncertainty of the stored energy from those of inductance and current; the current's counts
    twice.

    >>> round(energy_uncertainty.si(0.05, 0.03), 4)
    0.0781
    """
    return math.hypot(inductance_uncertainty, 2 * current_uncertainty)


# ---- a current trace: two points at one and two intervals after the start


@ignition.calculation(source="circuit")
def time_constant(
    interval: Annotated[float, ck.Input("s", "Length of one interval", above=0)],
    first: Annotated[float, ck.Input("A", "Current after one interval", 0)],
    second: Annotated[float, ck.Input("A", "Current after two intervals", 0)],
) -> Annotated[float, ck.Output("s", "Time constant")]:
    """Time constant of a coil from its current after one and after two intervals.

    >>> round(time_constant.si(0.001, 3.134071, 5.83159) * 1000, 2)
    6.67

    Raises:
        ValueError: the current does not bend down as a sound coil's does; a bend upwards is a saturated core.
    """
    bend = second / first - 1 if first > 0 else 1.0
    if not 0 < bend < 1:
        raise ValueError(
            "The second current must lie between once and twice the first; a trace that bends upwards is a"
            " saturated core."
        )
    return -interval / math.log(bend)


@ignition.calculation(source="circuit")
def resistance_of_trace(
    voltage: Annotated[float, ck.Input("V", "Supply voltage", above=0)],
    first: Annotated[float, ck.Input("A", "Current after one interval", above=0)],
    second: Annotated[float, ck.Input("A", "Current after two intervals", 0)],
) -> Annotated[float, ck.Output("Ω", "Primary circuit resistance")]:
    """Resistance of the whole primary loop from its current after one and after two equal intervals.

    >>> round(resistance_of_trace.si(13.5, 3.134071, 5.83159), 3)
    0.6
    """
    return voltage * (2 - second / first) / first


@ignition.calculation(source="circuit")
def inductance_of_trace(
    voltage: Annotated[float, ck.Input("V", "Supply voltage", above=0)],
    interval: Annotated[float, ck.Input("s", "Length of one interval", above=0)],
    first: Annotated[float, ck.Input("A", "Current after one interval", above=0)],
    second: Annotated[float, ck.Input("A", "Current after two intervals", 0)],
) -> Annotated[float, ck.Output("H", "Primary inductance")]:
    """Primary inductance from the current after one and after two intervals.

    >>> round(inductance_of_trace.si(13.5, 0.001, 3.134071, 5.83159) * 1000, 2)
    4.0

    Raises:
        ValueError: the current does not bend down as a sound coil's does.
    """
    return resistance_of_trace.si(voltage, first, second) * time_constant.si(interval, first, second)


@ignition.calculation(source="circuit")
def inductance_of_slope(
    voltage: Annotated[float, ck.Input("V", "Supply voltage", above=0)],
    current: Annotated[float, ck.Input("A", "Current early in the rise", above=0)],
    time: Annotated[float, ck.Input("s", "Time since switching on", 0)],
) -> Annotated[float, ck.Output("H", "Primary inductance")]:
    """Primary inductance from how fast the current begins to rise.

    >>> inductance_of_slope.si(13.5, 2.0, 0.001)
    0.00675
    """
    return voltage * time / current


# ---- what becomes of the energy


@ignition.calculation(source="circuit")
def burn_time(
    inductance: Annotated[float, ck.Input("H", "Secondary inductance", above=0)],
    current: Annotated[float, ck.Input("A", "Secondary current at the start of the spark", 0)],
    resistance: Annotated[float, ck.Input("Ω", "Resistance of winding, lead and plug", 0)],
    voltage: Annotated[float, ck.Input("V", "Burn voltage", above=0)],
) -> Annotated[float, ck.Output("s", "Burn time")]:
    """How long a spark burns: secondary inductance and starting current, all resistance in its way, burn
    voltage.

    >>> round(burn_time.si(25.0, 0.07, 18000.0, 1000.0) * 1000, 2)
    1.13
    """
    x = current * resistance / voltage
    return inductance * current / voltage * (math.log1p(x) / x if x > 1e-12 else 1.0)


@ignition.calculation(source="circuit")
def gap_energy(
    inductance: Annotated[float, ck.Input("H", "Secondary inductance", above=0)],
    current: Annotated[float, ck.Input("A", "Secondary current at the start of the spark", 0)],
    resistance: Annotated[float, ck.Input("Ω", "Resistance of winding, lead and plug", 0)],
    voltage: Annotated[float, ck.Input("V", "Burn voltage", above=0)],
) -> Annotated[float, ck.Output("J", "Energy reaching the gap")]:
    """Energy that reaches the gap while a spark burns; the rest warms winding, lead and plug.

    >>> round(gap_energy.si(25.0, 0.07, 18000.0, 1000.0) * 1000, 1)
    34.3
    """
    x = current * resistance / voltage
    # The difference of two nearly equal numbers; for little resistance its first terms are written out.
    share = (x - math.log1p(x)) / x**2 if x > 1e-3 else 1 / 2 - x / 3 + x**2 / 4
    return inductance * current**2 * share


@ignition.calculation(source="circuit")
def capacitive_energy(
    capacitance: Annotated[float, ck.Input("F", "Capacitance of winding, lead and plug", above=0)],
    voltage: Annotated[float, ck.Input("V", "Secondary voltage", 0)],
) -> Annotated[float, ck.Output("J", "Energy in the capacitance")]:
    """Energy in the capacitance of winding, lead and plug at a voltage.

    >>> round(capacitive_energy.si(1e-10, 30000.0), 3)
    0.045
    """
    return capacitance * voltage**2 / 2


@ignition.check("Primary current and stored energy")
def current(
    case: ck.Case,
    peaks: Annotated[list[ck.Reading], peak_current],
    *,
    charge: Annotated[ck.Reading | None, dwell],
    volts: Annotated[ck.Reading | None, supply_running],
    ohms: Annotated[list[ck.Reading] | None, primary_resistance],
    data: Annotated[ck.Value | None, inductance],
    top: Annotated[ck.Value | None, current_limit],
    fed: Annotated[ck.Reading | None, feed_drop],
    grounded: Annotated[ck.Reading | None, ground_drop],
) -> Iterator[ck.Finding | ck.Gap]:
    """The peak against the coil's own figure, or against what supply, resistance, inductance and charge time
    allow; then the energy.
    """
    own = case.is_specified(peak_current)
    if own:
        for peak in peaks:
            yield case.judge(
                peak,
                case.limit(peak_current),
                ck.Claim("ignition.current", next_test=peak_current),
                ck.Says(
                    passes="{it} peaks at {read}; its specification is {limit}.",
                    fails="{it} peaks at {read}; its specification is {limit}. {eaten}",
                    undecided="{it} peaks at {read}, too close to an end of {limit} to call.",
                ),
                ck.Tells(
                    passes="{it} takes the current specified for it.",
                    fails=(
                        "{it} does not take the current specified for it; that alone does not show"
                        " that the coil is faulty."
                    ),
                    undecided="{it} may take another current than specified; it is read again.",
                ),
                values={
                    "it": peak.place.capitalize(),
                    "read": ck.show(peak.value, "A", uncertainty=False),
                    "eaten": _loss_words(case, peak, fed, grounded, charge),
                },
            )
    elif volts is not None and _apart(peaks, volts):
        yield case.gap(
            supply_running,
            "The current was read while cranking and the supply while running, or the other way round:"
            " only two of"
            " one moment fit together.",
        )
    elif charge is None or volts is None or not ohms or data is None:
        missing = next(
            of
            for of, there in (
                (dwell, charge),
                (supply_running, volts),
                (primary_resistance, ohms),
                (inductance, data),
            )
            if not there
        )
        yield case.gap(
            missing,
            "The right current depends on supply, resistance, inductance and dwell; missing:"
            f" {missing.title.lower()}.",
        )
    elif volts.number <= 0:
        yield case.gap(
            supply_running,
            "At 0 V no coil charges; find the missing supply before anything is said of the current.",
        )
    else:
        yield from _expected_current(case, peaks, charge=charge, volts=volts, ohms=ohms, data=data, top=top)
    if data is None:
        if own:
            yield case.gap(
                inductance, "The energy stored depends on the coil's inductance, which is not known."
            )
        return
    for peak in peaks:
        energy = stored_energy(with_uncertainty(data), peak)
        yield case.judge(
            energy,
            case.limit("ignition.energy"),
            ck.Claim("ignition.energy", of=peak_current, unit="mJ", place=peak.place, evidence=[peak]),
            ck.Says(
                passes="{it} stores about {energy} for each spark; {limit} is usual.",
                fails=(
                    "{it} stores about {energy} for each spark; {limit} is usual. Check supply and"
                    " dwell before the coil."
                ),
                undecided="{it} stores about {energy} for each spark, close to the usual {limit}.",
            ),
            ck.Tells(
                passes="{it} stores as much energy for each spark as is usual.",
                fails=(
                    "{it} stores less energy for each spark than is usual; that alone shows no faulty coil."
                ),
                undecided="{it} stores about as much for each spark as is just enough.",
            ),
            values={"it": peak.place.capitalize(), "energy": ck.show(energy, "mJ", uncertainty=False)},
        )


def _expected_current(
    case: ck.Case,
    peaks: list[ck.Reading],
    *,
    charge: ck.Reading,
    volts: ck.Reading,
    ohms: list[ck.Reading],
    data: ck.Value,
    top: ck.Value | None,
) -> Iterator[ck.Finding | ck.Gap]:
    of = {reading.place: reading for reading in ohms}
    for peak in peaks:
        winding = of.get(peak.place, ohms[0])
        if winding.number <= 0:
            yield case.gap(
                primary_resistance, "No winding has 0 Ω; zero the meter's leads and read it again."
            )
            continue
        reached = current_after(volts, winding, with_uncertainty(data), charge)
        limited = top is not None and top.number < reached.number
        right = top if limited and top is not None else reached
        low = ck.propagate(lambda amps: NEAR * amps, (right,), "current")
        limit = case.computed_limit("ignition.peak_current", "current-short", low=low)
        yield case.judge(
            peak,
            limit,
            ck.Claim("ignition.current_short", evidence=[charge, volts, winding], next_test=supply_running),
            ck.Says(
                passes=("{it} peaks at {read}; with {volts} for {time} about {right} can be expected."),
                fails=(
                    "{it} peaks at only {read}; with {volts} for {time} about {right} can be expected."
                    " A resistance in the circuit reduces the current."
                ),
                undecided=(
                    "{it} peaks at {read}; about {right} can be expected, and the two are too close to call."
                ),
            ),
            ck.Tells(
                passes="{it} takes as much current as can be expected.",
                fails="{it} takes less current than can be expected.",
                undecided="{it} may take less current than can be expected; it is read again.",
            ),
            values={
                "it": peak.place.capitalize(),
                "read": ck.show(peak.value, "A", uncertainty=False),
                "right": ck.show(right, "A", uncertainty=False),
                "volts": ck.show(volts.value, "V", uncertainty=False),
                "time": ck.show(charge.value, "ms", uncertainty=False),
            },
        )


def _apart(peaks: list[ck.Reading], volts: ck.Reading) -> bool:
    """Whether current and supply are known to be of two moments: one while cranking, one while running."""
    speeds = [one.condition(engine_speed) for one in (*peaks, volts)]
    return len({speed.number < CRANKING for speed in speeds if speed is not None}) > 1


def _loss_words(
    case: ck.Case,
    peak: ck.Reading,
    fed: ck.Reading | None,
    grounded: ck.Reading | None,
    charge: ck.Reading | None,
) -> str:
    """What takes the current, as far as it was read: supply, ground and dwell before anything that
    switches.
    """
    if case.side(peak, case.limit(peak_current)) is ck.Side.ABOVE:
        return "Shorted turns, or a dwell that is too long; record the rise of the current."
    found = [
        f"{name} {ck.show(reading.value, 'V', uncertainty=False)}"
        for name, reading, limit in (("feed", fed, feed_drop), ("ground", grounded, ground_drop))
        if reading is not None and case.side(reading, case.limit(limit)) is ck.Side.ABOVE
    ]
    if found:
        return f"Lost on the way: {', '.join(found)}. That is repaired before anything else is judged."
    unread = [
        name
        for name, reading in (("supply", fed), ("ground", grounded), ("dwell", charge))
        if reading is None
    ]
    if unread:
        return (
            "Supply, ground, resistance of the circuit and dwell each lower it, and come in this order"
            " before what"
            f" switches it. Not read yet: {', '.join(unread)}."
        )
    return "Supply and ground were read: resistance of the circuit next, then what sets the dwell."


def with_uncertainty(data: ck.Value) -> ck.Value:
    """A figure out of a coil's data with the uncertainty that such a figure has."""
    return ck.Value(
        data.kind, data.number, {"ignition.inductance.data": DATA_UNCERTAINTY * data.number}, data.rests_on
    )
