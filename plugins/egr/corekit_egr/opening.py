"""The valve is opened: does gas come through? By manifold pressure, by the sensor's signal, by the
temperature of the tube.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any

import corekit as ck

from .declarations import (
    WITHOUT_HOSES,
    Engine,
    Reaction,
    Sensor,
    Valve,
    barometer,
    egr,
    engine,
    engine_speed,
    manifold_open,
    manifold_shut,
    reaction,
    replace_sensing_hoses,
    sensor_supply,
    sensor_type,
    signal_open,
    signal_zero,
    stem,
    tube_open,
    tube_shut,
    valve_type,
)
from .leaks import CRITICAL
from .sensor import EARLIER_SLOPE, EARLIER_ZERO, gap_without_supply, pressure_of_signal, rise_at_5_volts

FRESH, EXHAUST = (
    313.15,
    523.15,
)  # K, what the share is reckoned with: air at 40 °C, exhaust at the valve at 250 °C; source: map-rise-model
AIR = 101325.0  # Pa abs, when nobody read the barometer
SHARES = 0.25  # of exhaust, up to which the curve is drawn; what engines take at most: practice, no source
PUSHED = 1500 / 60  # rev/s: below it a back-pressure valve stays shut; source: valve-by-hand


@egr.calculation(source="map-rise-model")
def manifold_open_by_rate(
    shut: Annotated[float, ck.Input("Pa abs", "Manifold pressure, valve closed", above=0)],
    rate: Annotated[float, ck.Input("1", "Share of exhaust in the charge", 0, below=1)],
    fresh: Annotated[float, ck.Input("K", "Temperature of the fresh air", 233.15, 1273.15)],
    exhaust: Annotated[float, ck.Input("K", "Temperature of the exhaust led back", 233.15, 1273.15)],
) -> Annotated[float, ck.Output("Pa abs", "Manifold pressure, valve open")]:
    """Manifold pressure once this share of exhaust comes in, at the same speed and with the throttle choked.

    >>> round(manifold_open_by_rate.si(33000.0, 0.10, 313.15, 523.15))
    39126
    """
    return shut * (1 + rate / (1 - rate) * exhaust / fresh)


@egr.calculation(source="map-rise-model")
def rate_by_manifold(
    shut: Annotated[float, ck.Input("Pa abs", "Manifold pressure, valve closed", above=0)],
    opened: Annotated[float, ck.Input("Pa abs", "Manifold pressure, valve open", above=0)],
    fresh: Annotated[float, ck.Input("K", "Temperature of the fresh air", 233.15, 1273.15)],
    exhaust: Annotated[float, ck.Input("K", "Temperature of the exhaust led back", 233.15, 1273.15)],
) -> Annotated[float, ck.Output("1", "Share of exhaust in the charge")]:
    """Share of exhaust by the rise of manifold pressure, the same the other way round; a fall counts as none.

    >>> round(rate_by_manifold.si(33000.0, 35000.0, 313.0, 523.0), 3)
    0.035
    """
    part = max(0.0, (opened / shut - 1) * fresh / exhaust)
    return part / (1 + part)


@egr.calculation(source="leak-flow")
def choking_pressure(
    barometric: Annotated[float, ck.Input("Pa abs", "Barometric pressure", 50000, 110000)],
) -> Annotated[float, ck.Output("Pa abs", "Manifold pressure at which the throttle chokes")]:
    """Manifold pressure below which the throttle is choked: fresh air then does not depend on it.

    >>> round(choking_pressure.si(101325.0))
    53528
    """
    return CRITICAL * barometric


@egr.calculation(source="mixing")
def mixed_temperature(
    rate: Annotated[float, ck.Input("1", "Share of exhaust in the charge", 0, 1)],
    fresh: Annotated[float, ck.Input("K", "Temperature of the fresh air", 233.15, 1273.15)],
    exhaust: Annotated[float, ck.Input("K", "Temperature of the exhaust led back", 233.15, 1273.15)],
) -> Annotated[float, ck.Output("K", "Temperature of the mixture")]:
    """Temperature of fresh air and exhaust once mixed, both taking the same heat.

    >>> round(mixed_temperature.si(0.10, 313.15, 523.15) - 273.15, 1)
    61.0
    """
    return (1 - rate) * fresh + rate * exhaust


@egr.check("Manifold pressure rise, valve open")
def manifold_rise(
    case: ck.Case,
    shut: Annotated[ck.Reading, manifold_shut],
    opened: Annotated[ck.Reading, manifold_open],
    air: Annotated[ck.Reading | None, barometer],
    speed: Annotated[ck.Reading | None, engine_speed],
    valve: Annotated[Valve | None, valve_type],
    kind: Annotated[Engine | None, engine],
) -> Iterator[ck.Finding | ck.Gap]:
    """Advice by an estimate of ours; only where the throttle is choked, because else the fresh air gives way
    and hides the rise.
    """
    if kind is Engine.DIESEL:
        yield case.does_not_apply(
            "A diesel engine has no choked throttle, so its manifold pressure says nothing about the flow."
        )
        return
    rise = opened.value - shut.value
    choked = choking_pressure.si(air.number if air is not None else AIR)
    read: dict[str, Any] = {
        "shut": ck.show(shut.value, "kPa abs", uncertainty=False),
        "opened": ck.show(opened.value, "kPa abs", uncertainty=False),
    }
    more = [reading for reading in (air, speed) if reading is not None]
    if shut.number > choked:
        yield case.inconclusive(
            ck.Claim(
                "egr.manifold_rise",
                of=manifold_open,
                unit="kPa diff",
                evidence=[shut, opened, *more],
                next_test=manifold_shut,
            ),
            (
                "Manifold pressure went from {shut} to {opened}. Above {choked} the throttle is not"
                " choked and fresh air gives way, so the rise says nothing; a diesel engine has no"
                " such throttle. Use the tube temperature or the sensor instead."
            ),
            rise,
            tells="At this pressure nothing could be told of the exhaust flow.",
            values={
                "choked": ck.show(
                    ck.exact("pressure absolute", round(choked, -2)), "kPa abs", uncertainty=False
                ),
                **read,
            },
        )
        return
    slow = speed is None or speed.number < PUSHED
    limit = case.limit("egr.manifold_rise")
    if valve is Valve.BACK_PRESSURE and slow and case.side(rise, limit) is not ck.Side.INSIDE:
        yield case.inconclusive(
            ck.Claim(
                "egr.manifold_rise",
                of=manifold_open,
                unit="kPa diff",
                evidence=[shut, opened, *more],
                next_test=manifold_open,
            ),
            (
                "Manifold pressure went from {shut} to {opened}. This valve opens only with exhaust"
                " back pressure: read again at about 2500 rpm."
            ),
            rise,
            tells="This valve opens at higher engine speed only; it has to be tried there.",
            values=read,
        )
        return
    share = rate_by_manifold.si(shut.number, opened.number, FRESH, EXHAUST)
    read |= {"share": ck.show(ck.exact("ratio", round(share, 2)), "%", uncertainty=False)}
    is_plain = case.side(rise, limit) is ck.Side.INSIDE and not case.repairs
    yield case.judge(
        rise,
        limit,
        ck.Claim(
            "egr.manifold_rise",
            of=manifold_open,
            unit="kPa diff",
            evidence=[shut, opened, *more],
            next_test=manifold_open,
            figure=None if is_plain else _picture(shut.value, opened.value, share, limit.low, read),
        ),
        ck.Says(
            passes=(
                "Opening the valve raises manifold pressure from {shut} to {opened}: exhaust flows,"
                " about {share} of what the engine draws in."
            ),
            fails=(
                "Opening the valve moves manifold pressure from {shut} to {opened} only; a rise of"
                " {limit} is expected. Too little exhaust flows. Where it is restricted this reading"
                " does not show."
            ),
            undecided=(
                "Opening the valve moves manifold pressure from {shut} to {opened}; a rise of {limit}"
                " is expected, and the readings are too coarse to tell. Read again at 1500 rpm."
            ),
        ),
        ck.Tells(
            passes="Exhaust gas flows back into the engine when the valve opens.",
            fails="Too little exhaust gas flows back into the engine when the valve opens.",
            undecided="Whether enough exhaust gas flows back could not be told yet.",
        ),
        values=read,
    )


def _picture(
    shut: ck.Value, opened: ck.Value, share: float, least: ck.Value | None, read: dict[str, Any]
) -> ck.Figure:
    """Manifold pressure over the share of exhaust by the model, and where this engine stands on it."""
    shares = [SHARES * step / 40 for step in range(41)]
    scale = ck.shown_scale("kPa abs")
    unit = scale.unit
    modelled = [manifold_open_by_rate.si(shut.number, one, FRESH, EXHAUST) for one in shares]
    line = [(100 * one, scale.at(pascals)) for one, pascals in zip(shares, modelled, strict=True)]
    foot = 5.0 * math.floor(scale.at(min(shut.number, opened.number)) / 5)
    head = 5.0 * math.ceil(max(line[-1][1], scale.at(opened.number)) / 5)
    step = 5.0 if head - foot <= 30 else 10.0
    chart = ck.Chart(x=(0.0, 100 * SHARES), y=(foot, head))
    marks: list[ck.Polyline | ck.Dot | ck.Label] = [
        *chart.scales(
            [0, 5, 10, 15, 20, 25],
            [foot + step * nth for nth in range(int((head - foot) / step) + 1)],
            "exhaust in what the engine draws in, %",
            f"manifold pressure, {unit} abs",
        ),
        chart.line(line),
    ]
    if least is not None:
        level = scale.at(shut.number + least.number)
        marks += [
            chart.line([(0.0, level), (100 * SHARES, level)], 0.4, dashed=True),
            chart.words(100 * SHARES, level, "least that is expected", "end", 1.0),
        ]
    width = scale.at(opened.number + 2 * opened.u) - scale.at(opened.number)
    marks += chart.dot(100 * share, scale.at(opened.number), width)
    return chart.figure(
        marks,
        "Manifold pressure over the share of exhaust led back",
        "With the valve open {opened} was read, with it closed {shut}: about {share} exhaust.".format(**read),
    )


@egr.check("EGR tube temperature rise")
def tube_warms(
    case: ck.Case, shut: Annotated[ck.Reading, tube_shut], opened: Annotated[ck.Reading, tube_open]
) -> Iterator[ck.Finding | ck.Gap]:
    """Hot gas warms the tube behind the valve; no manifold and no sensor has a say in it."""
    rise = opened.value - shut.value
    yield case.judge(
        rise,
        case.limit("egr.tube_warms"),
        ck.Claim(
            "egr.tube_warms", of=tube_open, unit="°C diff", evidence=[shut, opened], next_test=tube_open
        ),
        ck.Says(
            passes="With the valve open the tube warms up by {rise}: exhaust flows.",
            fails=(
                "With the valve open the tube warms up by {rise} only; {limit} within a minute is"
                " expected. Little or no exhaust flows."
            ),
            undecided=(
                "With the valve open the tube warms up by {rise}, where {limit} is expected: too close"
                " to call. Wait another minute and read again."
            ),
        ),
        ck.Tells(
            passes="Exhaust gas flows through the tube behind the valve.",
            fails="Little or no exhaust gas flows through the tube behind the valve.",
            undecided="Whether exhaust gas flows behind the valve could not be told yet.",
        ),
        values={"rise": ck.show(rise, "°C diff", uncertainty=False)},
    )


@egr.check("Sensor signal rise, valve open")
def signal_rise(
    case: ck.Case,
    opened: Annotated[ck.Reading, signal_open],
    rest: Annotated[ck.Reading, signal_zero],
    supply: Annotated[ck.Reading | None, sensor_supply],
    felt: Annotated[Reaction | None, reaction],
    kind: Annotated[Sensor | None, sensor_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """Speaks of the sensor's side only where the engine has shown that gas really flows: else a flat signal
    may be the truth.
    """
    if felt is Reaction.NONE:
        yield case.does_not_apply(
            "The engine did not react to the opened valve, so there may have been no flow to report: a"
            " flat signal is then correct."
        )
        return
    if felt is None:
        yield case.gap(
            reaction,
            "Whether exhaust really flowed while the sensor was read is not known: open the valve by hand and"
            " watch the engine.",
        )
        return
    if kind in WITHOUT_HOSES:
        yield case.does_not_apply("This sensor reads no flow; its signal is a position.")
        return
    unfed = gap_without_supply(case, supply)
    if unfed is not None:
        yield unfed
        return
    gained = rise_at_5_volts(opened, rest, case.ends(supply, sensor_supply, low=4.0, high=5.5))
    step = opened.value - rest.value
    falls = step.number < -2 * step.u
    pressure = ""
    if kind is Sensor.EARLIER and supply is not None:
        across = pressure_of_signal.si(
            opened.number, supply.number, EARLIER_ZERO, EARLIER_SLOPE * 1000, 1000.0
        )
        pressure = (
            ", about"
            f" {ck.show(ck.exact('pressure difference', round(across, -2)), 'kPa diff', uncertainty=False)}"
            " on a sensor of that type"
        )
    yield case.judge(
        gained,
        case.limit("egr.signal_rise"),
        ck.Claim(
            "egr.signal_rise",
            of=signal_open,
            unit="V",
            evidence=[opened, rest, *case.noted(reaction), *case.noted(stem)],
            calls_for=replace_sensing_hoses if falls else None,
            next_test=signal_open,
        ),
        ck.Says(
            passes=(
                "With the valve open and the engine reacting, the sensor's signal rises by"
                " {gained}{pressure}."
            ),
            fails=(
                "With the valve open the engine reacts, so exhaust flows; yet the sensor's signal moves by"
                " {gained} where {limit} is expected. {why}"
            ),
            undecided=(
                "With the valve open the sensor's signal rises by {gained}, where {limit} is expected: too"
                " close to call. Read again at 1500 rpm."
            ),
        ),
        ck.Tells(
            passes="The sensor reports the exhaust flow when the valve opens.",
            fails="Exhaust gas flows, but its sensor hardly reports it.",
            undecided="Whether the sensor reports the exhaust flow could not be told yet.",
        ),
        values={
            "gained": ck.show(step, "V", uncertainty=False),
            "pressure": pressure,
            "why": (
                "A falling signal points to swapped hoses."
                if falls
                else (
                    "The engine changed only slightly, so little may flow: a partly choked passage, or"
                    " a valve"
                    " that opens a little, before hoses and sensor."
                )
                if felt is Reaction.SLIGHT
                else (
                    "Hoses, ports and sensor; and a partly choked passage, which still stalls an idle, is not"
                    " ruled out."
                )
            ),
        },
    )
