"""Time to charge: how much of it there is at a speed, how much a coil needs, and the energy that follows."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any

import attrs

import corekit as ck

from .answers import Kind
from .current import (
    current_after,
    stored_energy,
    time_to_current,
    with_uncertainty,
)
from .declarations import (
    coil_resistance,
    current_limit,
    cylinders,
    dwell,
    engine_speed,
    ignition,
    inductance,
    kind,
    off_time,
    proposed_inductance,
    proposed_limit,
    proposed_resistance,
    supply_running,
)
from .supply import battery_running

OFF_TIME = 1.5e-3  # s, burn and recovery when nobody knows better; source: off-time
AMPLE = 6e-3  # s: no coil of common design needs longer at a running engine's voltage; an estimate of ours
LOW_SPEED = 20.0  # rev/s, the speed beside which a gain is shown
FASTEST = 10000 / 60  # rev/s: no road engine turns faster
TOP_SPEED = 7000.0  # rpm, the end of the chart's scale


@ignition.calculation(source="four-stroke")
def spark_period(
    speed: Annotated[float, ck.Input("rev/s", "Engine speed", above=0)],
    firings: Annotated[float, ck.Input("1", "Sparks of the coil for each revolution", above=0, high=8)],
) -> Annotated[float, ck.Output("s", "Time between sparks")]:
    """Time from spark to spark of one coil.

    Firings in one revolution: half the cylinders for one coil and a distributor, 1 for wasted spark, 1/2 for
    a coil on a plug.

    >>> round(spark_period.si(60.0, 4.0) * 1000, 3)
    4.167
    """
    return 1 / (speed * firings)


@ignition.calculation(source="four-stroke")
def spark_rate(
    speed: Annotated[float, ck.Input("rev/s", "Engine speed", above=0)],
    firings: Annotated[float, ck.Input("1", "Sparks of the coil for each revolution", above=0, high=8)],
) -> Annotated[float, ck.Output("Hz", "Sparks in a second")]:
    """Sparks of one coil in a second.

    >>> spark_rate.si(60.0, 4.0)
    240.0
    """
    return speed * firings


@ignition.calculation(source="four-stroke")
def time_of_angle(
    angle: Annotated[float, ck.Input("rad", "Crank angle", 0)],
    speed: Annotated[float, ck.Input("rev/s", "Engine speed", above=0)],
) -> Annotated[float, ck.Output("s", "Time")]:
    """Time in which the crank turns through an angle.

    >>> round(time_of_angle.si(0.1745329, 16.66667) * 1000, 3)
    1.667
    """
    return angle / (math.tau * speed)


@ignition.calculation(source="four-stroke")
def angle_of_time(
    time: Annotated[float, ck.Input("s", "Time", 0)],
    speed: Annotated[float, ck.Input("rev/s", "Engine speed", above=0)],
) -> Annotated[float, ck.Output("rad", "Crank angle")]:
    """Angle through which the crank turns in a time.

    >>> round(angle_of_time.si(0.0025, 60.0), 4)
    0.9425
    """
    return math.tau * speed * time


@ignition.calculation(source="four-stroke")
def time_of_dwell_angle(
    angle: Annotated[float, ck.Input("rad", "Dwell angle at the distributor", 0)],
    speed: Annotated[float, ck.Input("rev/s", "Engine speed", above=0)],
) -> Annotated[float, ck.Output("s", "Charge time")]:
    """Charge time of a dwell angle in degrees of the distributor, which turns at half the engine's speed.

    >>> round(time_of_dwell_angle.si(0.5235988, 13.33333) * 1000, 1)
    12.5
    """
    return 2 * time_of_angle.si(angle, speed)


@ignition.calculation(source="four-stroke")
def duty(
    charge_time: Annotated[float, ck.Input("s", "Charge time", 0)],
    period: Annotated[float, ck.Input("s", "Time between sparks", above=0)],
) -> Annotated[float, ck.Output("1", "Duty cycle")]:
    """Share of the time in which a coil is switched on.

    >>> duty.si(0.0125, 0.01875)
    0.6666666666666667
    """
    return charge_time / period


@ignition.calculation(source="four-stroke")
def dwell_available(
    speed: Annotated[float, ck.Input("rev/s", "Engine speed", above=0)],
    firings: Annotated[float, ck.Input("1", "Sparks of the coil for each revolution", above=0, high=8)],
    off_time: Annotated[float, ck.Input("s", "Time for burning and recovery", 0)],
) -> Annotated[float, ck.Output("s", "Charge time available")]:
    """Time to charge between two sparks: the period less what burning and recovery take.

    >>> round(dwell_available.si(60.0, 4.0, 0.0012) * 1000, 3)
    2.967
    """
    return max(0.0, spark_period.si(speed, firings) - off_time)


@ignition.calculation(source="four-stroke")
def collapse_speed(
    firings: Annotated[float, ck.Input("1", "Sparks of the coil for each revolution", above=0, high=8)],
    charge_time: Annotated[float, ck.Input("s", "Charge time needed", above=0)],
    off_time: Annotated[float, ck.Input("s", "Time for burning and recovery", 0)],
) -> Annotated[float, ck.Output("rev/s", "Highest engine speed with full charge")]:
    """Engine speed above which a coil no longer has the time it needs to charge.

    >>> round(collapse_speed.si(4.0, 0.002703101, 0.001) * 60)
    4051
    """
    return 1 / (firings * (charge_time + off_time))


@ignition.calculation(source="circuit")
def energy_at_speed(
    speed: Annotated[float, ck.Input("rev/s", "Engine speed", above=0)],
    firings: Annotated[float, ck.Input("1", "Sparks of the coil for each revolution", above=0, high=8)],
    off_time: Annotated[float, ck.Input("s", "Time for burning and recovery", 0)],
    voltage: Annotated[float, ck.Input("V", "Supply voltage", above=0)],
    resistance: Annotated[float, ck.Input("Ω", "Primary circuit resistance", above=0)],
    inductance: Annotated[float, ck.Input("H", "Primary inductance", above=0)],
    current_limit: Annotated[float, ck.Input("A", "Current limit", 0)],
) -> Annotated[float, ck.Output("J", "Energy for one spark")]:
    """Energy for one spark at an engine speed: the coil charges for the time there is, up to its current
    limit.

    A core that saturates stores less.

    >>> round(energy_at_speed.si(100.0, 4.0, 0.001, 13.5, 0.6, 0.004, 7.5) * 1000, 1)
    41.1
    """
    charged = current_after.si(voltage, resistance, inductance, dwell_available.si(speed, firings, off_time))
    return stored_energy.si(inductance, min(charged, current_limit))


@attrs.frozen(kw_only=True)
class Coil:
    """What decides how a coil charges."""

    resistance: ck.Value
    inductance: ck.Value
    limit: ck.Value

    def energy(self, speed: ck.Value, beside: Beside) -> ck.Value:
        return energy_at_speed(
            speed,
            beside.firings,
            beside.off,
            beside.volts,
            self.resistance,
            with_uncertainty(self.inductance),
            self.limit,
        )

    def needs(self, beside: Beside) -> ck.Value | None:
        """Time to its current limit; None when this supply never gets it there."""
        if self.limit.number * self.resistance.number >= beside.volts.number:
            return None
        return time_to_current(beside.volts, self.resistance, with_uncertainty(self.inductance), self.limit)


@attrs.frozen(kw_only=True)
class Beside:
    """What is the same for every coil on this engine."""

    firings: ck.Value
    off: ck.Value
    volts: ck.Value


@ignition.check("Energy against engine speed")
def energy_by_speed(
    case: ck.Case,
    volts: Annotated[ck.Reading, supply_running],
    rpm: Annotated[ck.Reading, engine_speed],
    *,
    how: Annotated[Kind, kind],
    count: Annotated[ck.Value | None, cylinders],
    fitted_l: Annotated[ck.Value, inductance],
    fitted_r: Annotated[ck.Value, coil_resistance],
    fitted_i: Annotated[ck.Value, current_limit],
    off: Annotated[ck.Value | None, off_time],
    other_l: Annotated[ck.Value | None, proposed_inductance],
    other_r: Annotated[ck.Value | None, proposed_resistance],
    other_i: Annotated[ck.Value | None, proposed_limit],
) -> Iterator[ck.Finding | ck.Gap]:
    """Has the coil time enough at this speed; how much does it store there; and what would another one
    change?
    """
    if rpm.number <= 0 or volts.number <= 0:
        yield case.gap(*_nothing_there(rpm, volts))
        return
    firings = firings_of(how, count)
    if firings is None:
        yield case.gap(
            cylinders,
            "How often the one coil fires depends on the number of cylinders, which is not known.",
        )
        return
    beside = Beside(
        firings=ck.exact("ratio", firings),
        off=off if off is not None else ck.exact("time", OFF_TIME),
        volts=volts.value,
    )
    fitted = Coil(resistance=fitted_r, inductance=fitted_l, limit=fitted_i)
    other = None
    if other_l is not None and other_r is not None and other_i is not None:
        other = Coil(resistance=other_r, inductance=other_l, limit=other_i)
    yield _time(case, fitted, beside, volts, rpm)
    yield _energy(case, fitted, other, beside, volts, rpm)


def _nothing_there(rpm: ck.Reading, volts: ck.Reading | None = None) -> tuple[ck.Measurand, str]:
    """What is read again, and why, where the engine stands or no supply is there."""
    if rpm.number <= 0:
        return engine_speed, "At 0 rpm nothing is fired; read the speed with the engine running."
    return (
        supply_running,
        "At 0 V no coil charges; find the missing supply before anything is said of the coil.",
    )


@ignition.check("Time from spark to spark")
def charge_time(
    case: ck.Case,
    rpm: Annotated[ck.Reading, engine_speed],
    how: Annotated[Kind, kind],
    *,
    count: Annotated[ck.Value | None, cylinders],
    off: Annotated[ck.Value | None, off_time],
    charge: Annotated[ck.Reading | None, dwell],
    fitted_l: Annotated[ck.Value | None, inductance],
    fitted_r: Annotated[ck.Value | None, coil_resistance],
    fitted_i: Annotated[ck.Value | None, current_limit],
) -> Iterator[ck.Finding | ck.Gap]:
    """How long a coil can charge at this speed, without its data: time that is short makes the supply count.

    A coil needs the longer to charge the lower the supply is, so a weak battery shows as a limit of speed.
    """
    if fitted_l is not None and fitted_r is not None and fitted_i is not None:
        yield case.does_not_apply("How long this coil needs is worked out from its data.")
        return
    if rpm.number <= 0:
        yield case.gap(*_nothing_there(rpm))
        return
    firings = firings_of(how, count)
    if firings is None:
        yield case.gap(cylinders, "How often the one coil fires depends on the number of cylinders.")
        return
    pause = off if off is not None else ck.exact("time", OFF_TIME)
    there = dwell_available(rpm, ck.exact("ratio", firings), pause)
    words = {"speed": _rpm(rpm.value), "time": _ms(there)}
    if charge is not None and rpm.condition(dwell) is None:
        beside = charge.condition(engine_speed)
        if beside is None or abs(beside.number - rpm.number) <= 2 * math.hypot(beside.value.u, rpm.value.u):
            yield case.judge(
                there,
                case.computed_limit("ignition.charge_time", "four-stroke", low=charge.value),
                ck.Claim(
                    "ignition.charge_time",
                    of=dwell,
                    unit="ms",
                    evidence=[rpm, charge],
                    urgency=ck.Urgency.THIS_VISIT,
                    next_test=battery_running,
                ),
                ck.Says(
                    passes="At {speed} there are {time} to charge the coil, and it is charged for {read}.",
                    fails=(
                        "At {speed} there are {time} to charge the coil, and {read} are asked for: it is cut"
                        " short. A low supply lengthens what is asked for, so read the supply at that speed."
                    ),
                    undecided="At {speed} there are {time} to charge the coil, about the {read} asked for.",
                ),
                ck.Tells(
                    passes="At this speed the ignition coil has time to charge.",
                    fails="At this speed the ignition coil has too little time to charge.",
                    undecided="At this speed the ignition coil has just about the time it needs to charge.",
                ),
                values={**words, "read": _ms(charge.value)},
            )
            return
    if there.number >= AMPLE:
        yield case.advise(
            ck.Claim("ignition.charge_time", of=dwell, unit="ms", evidence=[rpm], urgency=ck.Urgency.NOTHING),
            "At {speed} there are {time} to charge the coil: time is not what it lacks.",
            there,
            tells="At this speed the ignition coil has time to charge.",
            values=words,
        )
        return
    yield case.inconclusive(
        ck.Claim("ignition.charge_time", of=dwell, unit="ms", evidence=[rpm], next_test=battery_running),
        (
            "At {speed} one coil has at most {time} to charge for each spark. A coil needs the longer the"
            " lower the"
            " supply is, so a battery that is not charged, or a charging system that is weak at that speed,"
            " shows"
            " as a limit of speed. Read the charging voltage and the dwell there before any part is called"
            " for."
        ),
        there,
        tells="At high speed the spark depends on how well the battery is charged; that is read first.",
        values=words,
    )


def firings_of(how: Kind, count: ck.Value | None) -> float | None:
    """How often one coil fires in each revolution; None where the number of cylinders has to be known."""
    if how is Kind.DISTRIBUTOR:
        return count.number / 2 if count is not None else None
    return {Kind.WASTED: 1.0, Kind.OWN_COIL: 0.5}.get(how)


def _time(case: ck.Case, coil: Coil, beside: Beside, volts: ck.Reading, rpm: ck.Reading) -> ck.Finding:
    there, needed = dwell_available(rpm, beside.firings, beside.off), coil.needs(beside)
    words: dict[str, Any] = {
        "speed": _rpm(rpm.value),
        "volts": ck.show(volts.value, "V", uncertainty=False),
        "time": _ms(there),
    }
    if needed is None:
        return case.advise(
            ck.Claim(
                "ignition.dwell", of=dwell, unit="ms", evidence=[volts, rpm], urgency=ck.Urgency.THIS_VISIT
            ),
            (
                "At {volts} the coil never reaches its current limit, however long the dwell: check"
                " the supply first."
            ),
            there,
            tells="The ignition coil gets too little voltage to charge fully; its supply is read first.",
            values=words,
        )
    limit = case.computed_limit("ignition.dwell", "circuit", low=needed)
    return case.judge(
        there,
        limit,
        ck.Claim("ignition.dwell", of=dwell, unit="ms", evidence=[volts, rpm], urgency=ck.Urgency.PLAN_IT),
        ck.Says(
            passes="At {speed} the coil has {time} to charge and needs {needed} at {volts}.",
            fails=(
                "At {speed} the coil has {time} to charge and would need {needed} at {volts}: each spark gets"
                " less than the coil could give."
            ),
            undecided=(
                "At {speed} the coil has {time} to charge and needs about as much, {needed} at {volts}."
            ),
        ),
        ck.Tells(
            passes="At this speed the coil has time to charge.",
            fails="At this speed the coil has too little time to charge fully.",
            undecided="At this speed the coil has just about the time it needs to charge.",
        ),
        values={**words, "needed": _ms(needed)},
    )


def _energy(
    case: ck.Case, fitted: Coil, other: Coil | None, beside: Beside, volts: ck.Reading, rpm: ck.Reading
) -> ck.Finding:
    energy, needed = fitted.energy(rpm.value, beside), fitted.needs(beside)
    short = needed is None or dwell_available(rpm, beside.firings, beside.off).number < needed.number
    says = "At {speed} and {volts} the present coil can store about {energy} for each spark."
    words: dict[str, Any] = {
        "speed": _rpm(rpm.value),
        "volts": ck.show(volts.value, "V", uncertainty=False),
        "energy": _mj(energy),
    }
    if needed is not None:
        turn = collapse_speed(beside.firings, needed, beside.off)
        words["collapse"] = _rpm(turn)
        always = turn.number > FASTEST
        says += (
            " It has time to charge fully at any speed this engine runs at."
            if always
            else " Up to about {collapse} it has time to charge fully."
        )
    if other is not None:
        low = ck.exact("engine speed", LOW_SPEED)
        words |= {
            "other": _mj(other.energy(rpm.value, beside)),
            "low": _rpm(low),
            "ratio": (
                f"{other.energy(rpm.value, beside).number / energy.number:.2f}"
                if energy.number > 0
                else "many"
            ),
            "ratio_low": f"{other.energy(low, beside).number / fitted.energy(low, beside).number:.2f}",
        }
        says += (
            " The proposed one would store about {other} there, {ratio} times as much, and {ratio_low}"
            " times at {low}: a gain means nothing without its speed. It fixes only a lack of energy;"
            " check supply, plugs and leads first."
        )
    return case.advise(
        ck.Claim(
            "ignition.energy_by_speed",
            unit="mJ",
            evidence=[volts, rpm],
            urgency=ck.Urgency.NOTHING,
            figure=_picture(fitted, other, beside, rpm.value, words) if other is not None or short else None,
        ),
        says,
        energy,
        tells=(
            "What the ignition coil can store at this speed was worked out"
            + ("; a stronger one cures only a lack of it." if other is not None else ".")
        ),
        values=words,
    )


def _picture(
    fitted: Coil, other: Coil | None, beside: Beside, rpm: ck.Value, words: dict[str, str]
) -> ck.Figure:
    """Energy over engine speed: fitted drawn through, proposed dashed."""
    top = max(TOP_SPEED, rpm.number * 60 * 1.1)

    def curve(coil: Coil) -> list[tuple[float, float]]:
        speeds = [600 + (top - 600) * step / 60 for step in range(61)]
        return [
            (speed, 1000 * coil.energy(ck.exact("engine speed", speed / 60), beside).number)
            for speed in speeds
        ]

    lines = [curve(coil) for coil in (fitted, other) if coil is not None]
    highest = max(point[1] for line in lines for point in line)
    step = next(step for step in (5, 10, 20, 50, 100, 200, 500) if highest / step <= 6)
    ends = step * (int(highest / step) + 1)
    chart = ck.Chart(x=(0.0, top), y=(0.0, float(ends)))
    at = 60 * rpm.number
    xs, ys = [1000 * n for n in range(int(top / 1000) + 1)], [step * n for n in range(int(ends / step) + 1)]
    marks = [
        *chart.scales(xs, ys, "engine speed, rpm", "energy per spark, mJ"),
        *(chart.line(line, 1.2, dashed=index > 0) for index, line in enumerate(lines)),
        chart.line([(at, 0.0), (at, float(ends))], 0.4, dashed=True),
        chart.words(at, float(ends), f" {words['speed']}", "start", -3.0),
        *(
            chart.words(600, line[0][1], "proposed" if index else "fitted", "start", 1.5)
            for index, line in enumerate(lines)
        ),
    ]
    described = f"At {words['speed']} the present coil stores {words['energy']}"
    described += f", the proposed one {words['other']}." if other is not None else "."
    return chart.figure(
        marks,
        "Energy for each spark over engine speed",
        f"{described} Where a line falls, the coil no longer has time to charge fully.",
    )


def _rpm(speed: ck.Value) -> str:
    return f"{round(60 * speed.number, -1 if speed.number > 20 else 0):.0f} rpm"


def _ms(time: ck.Value) -> str:
    return f"{1000 * time.number:.2g} ms" if time.number < 0.01 else f"{1000 * time.number:.0f} ms"


def _mj(energy: ck.Value) -> str:
    return f"{1000 * energy.number:.0f} mJ"
