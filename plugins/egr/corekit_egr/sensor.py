"""The EGR sensor: its supply and ground, its signal at rest by type, and whether it answers to
a hand pump.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .declarations import (
    WITHOUT_HOSES,
    Sensor,
    egr,
    hand_vacuum,
    repair_wiring,
    replace_sensor,
    sensor_ground,
    sensor_supply,
    sensor_type,
    signal_pumped,
    signal_zero,
)

NOMINAL = 5.0  # V; source: sensor-transfer
RAIL_LOW, RAIL_HIGH = 0.10, 4.90  # V: beyond these it is electrical, not a pressure; source: sensor-rails
LEAST_SLOPE = 1e-4  # V/Pa, 0.10 V for each kPa; source: sensor-span-later
DEAD = 0.3  # of the least rise: a signal that moves by less does not respond; source: sensor-rise
EARLIER_ZERO, EARLIER_SLOPE = 0.45, 0.1412e-3  # V and V/Pa; source: sensor-span-earlier


@egr.calculation(source="sensor-transfer")
def signal_at_5_volts(
    signal: Annotated[float, ck.Input("V", "Signal voltage")],
    supply: Annotated[float, ck.Input("V", "Supply voltage", 3, 6)],
) -> Annotated[float, ck.Output("V", "Signal with 5 V supply")]:
    """What the sensor would say with exactly 5 V of supply: its signal follows the supply.

    >>> round(signal_at_5_volts.si(0.795, 4.90), 4)
    0.8112
    """
    return signal * NOMINAL / supply


@egr.calculation(source="sensor-transfer")
def pressure_of_signal(
    signal: Annotated[float, ck.Input("V", "Signal voltage")],
    supply: Annotated[float, ck.Input("V", "Supply voltage", 3, 6)],
    zero: Annotated[float, ck.Input("V", "Signal at zero pressure, 5 V supply")],
    step: Annotated[float, ck.Input("V", "Signal gained for each pressure step, 5 V supply", above=0)],
    step_pressure: Annotated[float, ck.Input("Pa diff", "Pressure step", above=0)],
) -> Annotated[float, ck.Output("Pa diff", "Pressure")]:
    """Pressure by the signal of a linear sensor, by what its signal gains for a pressure step at 5 V of
    supply.

    >>> round(pressure_of_signal.si(2.45, 4.90, 1.00, 0.120, 1000.0), 1)
    12500.0
    """
    return (signal * NOMINAL / supply - zero) / step * step_pressure


@egr.calculation(source="sensor-transfer")
def signal_of_pressure(
    pressure: Annotated[float, ck.Input("Pa diff", "Pressure")],
    supply: Annotated[float, ck.Input("V", "Supply voltage", 3, 6)],
    zero: Annotated[float, ck.Input("V", "Signal at zero pressure, 5 V supply")],
    step: Annotated[float, ck.Input("V", "Signal gained for each pressure step, 5 V supply", above=0)],
    step_pressure: Annotated[float, ck.Input("Pa diff", "Pressure step", above=0)],
) -> Annotated[float, ck.Output("V", "Signal voltage")]:
    """The signal of such a sensor; below 0 V or above its supply a real one stops at the rail.

    >>> round(signal_of_pressure.si(16931.945, 5.0, 1.00, 0.120, 1000.0), 4)
    3.0318
    """
    return supply / NOMINAL * (zero + step * pressure / step_pressure)


@egr.calculation(source="sensor-span-later")
def least_answer(
    pressure: Annotated[float, ck.Input("Pa diff", "Pressure applied", 0)],
) -> Annotated[float, ck.Output("V", "Least rise of the signal")]:
    """The least that any sensor's signal should gain under a pressure: 0.10 V for each kPa.

    >>> round(least_answer.si(16931.945), 3)
    1.693
    """
    return LEAST_SLOPE * pressure


def rise_at_5_volts(
    later: ck.Reading, earlier: ck.Reading, supply: ck.Value | ck.Possible[ck.Value]
) -> ck.Value | ck.Possible[ck.Value]:
    """How much the signal rose, with 5 V of supply, whatever the supply may have been."""
    return ck.for_each(
        lambda volts: signal_at_5_volts(later, volts) - signal_at_5_volts(earlier, volts), supply
    )


def gap_without_supply(case: ck.Case, supply: ck.Reading | None) -> ck.Gap | None:
    """What is said instead of judging a signal while the supply it was read with is not right; None where it
    is, or was not read.
    """
    if supply is None or _fair(supply):
        return None
    return case.gap(
        sensor_supply,
        "Without the right supply the EGR sensor's signal means nothing; repair the supply, then read the"
        " signal again.",
        tells="The sensor cannot be judged before its supply is right.",
    )


@egr.check("EGR sensor supply")
def supply_read(case: ck.Case, supply: Annotated[ck.Reading, sensor_supply]) -> Iterator[ck.Finding | ck.Gap]:
    """Before any signal is believed. Advice: the figures are workshop custom."""
    yield case.judge(
        supply,
        case.limit(sensor_supply),
        ck.Claim("egr.sensor_supply", calls_for=repair_wiring, next_test=sensor_supply),
        ck.Says(
            passes="EGR sensor supply {read}; {limit} is usual.",
            fails=(
                "EGR sensor supply {read}, outside the usual {limit}. Its signal cannot be trusted"
                " until the supply is right."
            ),
            undecided="EGR sensor supply {read}, close to an end of the usual {limit}.",
        ),
        ck.Tells(
            passes="The sensor gets the supply voltage it usually should.",
            fails=("The sensor does not get its usual supply voltage, so its signal cannot be trusted."),
            undecided="Whether the sensor's supply voltage is right could not be told yet.",
        ),
        values={"read": ck.show(supply.value, "V", uncertainty=False)},
    )


@egr.check("EGR sensor ground")
def ground_read(case: ck.Case, ground: Annotated[ck.Reading, sensor_ground]) -> Iterator[ck.Finding | ck.Gap]:
    """A ground that is lost a little raises every signal."""
    yield case.judge(
        ground,
        case.limit(sensor_ground),
        ck.Claim("egr.sensor_ground", calls_for=repair_wiring, next_test=sensor_ground),
        ck.Says(
            passes="EGR sensor ground {read} above battery negative; {limit} is usual.",
            fails=(
                "EGR sensor ground {read} above battery negative; {limit} is usual: a bad ground"
                " raises every signal and looks like a bad sensor."
            ),
            undecided=(
                "EGR sensor ground {read} above battery negative; {limit} is usual: too close to call."
            ),
        ),
        ck.Tells(
            passes="The sensor's way back to the battery is as it usually should be.",
            fails="The sensor's way back to the battery is worse than usual.",
            undecided="Whether the sensor's way back to the battery is good could not be told yet.",
        ),
        values={"read": ck.show(ground.value, "V", uncertainty=False)},
    )


@egr.check("Sensor zero signal")
def zero(
    case: ck.Case,
    signal: Annotated[ck.Reading, signal_zero],
    supply: Annotated[ck.Reading | None, sensor_supply],
    kind: Annotated[Sensor | None, sensor_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """By type of sensor; outside its band it is a hint that asks for a second test, never a new sensor by
    itself.
    """
    read = ck.show(signal.value, "V", uncertainty=False)
    if not RAIL_LOW <= signal.number <= RAIL_HIGH:
        yield case.advise(
            ck.Claim("egr.signal_rail", urgency=ck.Urgency.THIS_VISIT),
            (
                "The EGR sensor's zero signal is {read}, at the very end of its range. That is"
                " electrical, an open or shorted wire for example, and no pressure. Measure supply,"
                " ground and signal wire with the connector plugged in."
            ),
            signal,
            tells="The sensor's value is at the end of its range: something electrical.",
            limits=(),
            values={"read": read},
        )
        return
    own = case.is_specified(signal_zero)
    impossible = _impossible(case, signal, supply) if own else None
    if impossible is not None:
        yield impossible
        own = False
    if supply is None:
        yield case.gap(
            sensor_supply,
            "EGR sensor supply voltage: not measured, and its zero signal means nothing without it.",
        )
        return
    if kind in WITHOUT_HOSES and not own:
        yield case.does_not_apply(
            "The zero signal of a valve-position sensor can be judged only with this vehicle's"
            " specification; none was entered."
        )
        return
    if not _fair(supply):
        yield case.inconclusive(
            ck.Claim("egr.zero", evidence=[supply], next_test=sensor_supply),
            (
                "The EGR sensor's zero signal is {read}, but with a supply of {supply} no signal can"
                " be judged. Repair the supply first."
            ),
            signal,
            tells="The sensor cannot be judged before its supply is right.",
            values={"read": read, "supply": ck.show(supply.value, "V", uncertainty=False)},
        )
        return
    at_5 = signal_at_5_volts(signal, supply)
    later, earlier = case.limit("egr.zero_later"), case.limit("egr.zero_earlier")
    # A valve-position sensor has only this vehicle's own figure, so while the type is unknown it stays out.
    limit: ck.Limit | ck.Possible[ck.Limit] = (
        case.limit(signal_zero)
        if own
        else ck.possible(sensor_type, {Sensor.LATER: later, Sensor.EARLIER: earlier})
        if kind is None
        else later
        if kind is Sensor.LATER
        else earlier
    )
    judged = case.judge(
        at_5,
        limit,
        ck.Claim(
            "egr.zero",
            of=signal_zero,
            unit="V",
            evidence=_fitted_kinds(case),
            calls_for=replace_sensor,
            next_test=signal_zero,
        ),
        ck.Says(
            passes="EGR sensor zero signal {read} ({at_5} at 5 V supply); {limit} is usual{type}.",
            fails=(
                "EGR sensor zero signal {read} ({at_5} at 5 V supply), outside {limit}{type}. That"
                " alone does not condemn the sensor: check ground and hoses and make a second test"
                " first."
            ),
            undecided=(
                "EGR sensor zero signal {read} ({at_5} at 5 V supply), too close to an end of"
                " {limit}{type} to call."
            ),
        ),
        ck.Tells(
            passes="With no flow the sensor reads what it usually should.",
            fails=(
                "With no flow the sensor does not read what it usually should; that alone proves nothing."
            ),
            undecided="Whether the sensor's resting value is right could not be told yet.",
        ),
        values={
            "read": read,
            "at_5": ck.show(at_5, "V", uncertainty=False),
            "type": "" if kind is None or own else f" for the {kind.value.split(', ')[-1]}",
        },
    )
    if kind is None and not own and judged.probability is not None and judged.probability > 0.05:
        yield case.inconclusive(
            ck.Claim("egr.zero", of=signal_zero, unit="V", evidence=[signal, supply], next_test=sensor_type),
            (
                "EGR sensor zero signal {read}. Its type is not known: {later} is usual for the later"
                " type, {earlier} for the earlier{where}. Find out the type."
            ),
            at_5,
            tells="What the sensor shows with no flow can be judged once its type is known.",
            values={
                "read": read,
                "later": _band(later),
                "earlier": _band(earlier),
                "where": _beside_the_bands(at_5, later, earlier),
            },
        )
        return
    yield judged


@egr.check("EGR sensor response to a hand pump")
def answer(
    case: ck.Case,
    pumped: Annotated[ck.Reading, signal_pumped],
    vacuum: Annotated[ck.Reading, hand_vacuum],
    rest: Annotated[ck.Reading, signal_zero],
    supply: Annotated[ck.Reading, sensor_supply],
    kind: Annotated[Sensor | None, sensor_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """The direct test of the sensor: vacuum on its downstream port must raise the signal."""
    if kind in WITHOUT_HOSES:
        yield case.does_not_apply("A valve-position sensor has no hoses to connect a pump to.")
        return
    unfed = gap_without_supply(case, supply)
    if unfed is not None:
        yield unfed
        return
    if case.is_specified(signal_pumped):
        yield _own_answer(case, pumped, vacuum, supply)
        return
    gained = signal_at_5_volts(pumped, supply) - signal_at_5_volts(rest, supply)
    least = least_answer(vacuum)
    limit = case.computed_limit(
        "egr.answer",
        "sensor-span-later",
        low=least,
    )
    places = {
        "gained": ck.show(gained, "V", uncertainty=False),
        "pumped": ck.show(vacuum.value, "inHg diff", uncertainty=False),
    }
    side = case.side(gained, limit)
    dead = case.side(
        gained,
        case.computed_limit("egr.answer", "sensor-span-later", low=ck.exact("voltage", DEAD * least.number)),
    )
    yield case.judge(
        gained,
        limit,
        ck.Claim(
            "egr.answer",
            of=signal_pumped,
            unit="V",
            evidence=_fitted_kinds(case),
            calls_for=replace_sensor,
            next_test=signal_pumped,
            grade=(
                "does not"
                if dead is ck.Side.BELOW
                else {ck.Side.INSIDE: "responds", ck.Side.BELOW: "partly"}.get(side, "")
            ),
        ),
        ck.Says(
            passes="With {pumped} from a hand pump the sensor's signal rises by {gained}: it responds.",
            fails=(
                "With {pumped} from a hand pump the sensor's signal moves by {gained}; {limit} is"
                " expected. With the supply right, the sensor does not respond as it should."
            ),
            undecided=(
                "With {pumped} from a hand pump the sensor's signal rises by {gained}, where {limit} is"
                " expected: too close to call. Pump again."
            ),
        ),
        ck.Tells(
            passes="The sensor responds to pressure.",
            fails="The sensor does not respond to pressure as it should.",
            undecided="Whether the sensor responds as it should could not be told yet.",
        ),
        values=places,
    )


def _impossible(case: ck.Case, signal: ck.Reading, supply: ck.Reading | None) -> ck.Finding | None:
    """A printed limit that no sensor of this supply can reach; none where it may be right.

    Not beaten by a reading: a signal stops at its supply whatever is wrong.
    """
    printed = case.limit(signal_zero)
    most = supply.number + 2 * supply.value.u if supply is not None else sensor_supply.usual.high
    ends = [end.number for end in (printed.low, printed.high) if end is not None]
    if most is None or not ends or max(ends) <= most:
        return None
    return case.inconclusive(
        ck.Claim("egr.impossible_limit", next_test=signal_pumped),
        (
            "The printed limit goes up to {end}, and a sensor fed with {most} cannot give that: the"
            " limit is for"
            " something else, and {value} is not judged by it. Vacuum on its port must raise the signal."
        ),
        signal,
        tells="The printed limit cannot be right for this sensor, so it was not used.",
        limits=(printed,),
        values={
            "end": ck.show(ck.exact("voltage", max(ends)), "V", uncertainty=False),
            "most": (
                ck.show(supply.value, "V", uncertainty=False) if supply is not None else "its usual 5 V"
            ),
        },
    )


def _beside_the_bands(at_5: ck.Value, later: ck.Limit, earlier: ck.Limit) -> str:
    """Where a signal lies against the bands as printed, without what they may be off by."""
    assert later.low and later.high and earlier.low and earlier.high
    number = at_5.number
    if number > later.high.number:
        return "; it lies above both, by less than their ends are known to"
    if number < earlier.low.number:
        return "; it lies below both, by less than their ends are known to"
    return ", so a signal in one of them may still be wrong"


def _own_answer(case: ck.Case, pumped: ck.Reading, vacuum: ck.Reading, supply: ck.Reading) -> ck.Finding:
    """Against this vehicle's own figure for the signal under that vacuum, which is worth more than ours."""
    at_5 = signal_at_5_volts(pumped, supply)
    limit = case.limit(signal_pumped)
    return case.judge(
        at_5,
        limit,
        ck.Claim(
            "egr.answer",
            of=signal_pumped,
            unit="V",
            evidence=[vacuum],
            calls_for=replace_sensor,
            next_test=signal_pumped,
            grade={ck.Side.INSIDE: "responds", ck.Side.UNDECIDED: ""}.get(
                case.side(at_5, limit), "not as specified"
            ),
        ),
        ck.Says(
            passes="With {pumped} from a hand pump the sensor shows {value}; {limit} is required.",
            fails=(
                "With {pumped} from a hand pump the sensor shows {value}; {limit} is required: its"
                " slope is off."
            ),
            undecided=(
                "With {pumped} from a hand pump the sensor shows {value}, too close to {limit} to call."
            ),
        ),
        ck.Tells(
            passes="The sensor responds to pressure as its maker requires.",
            fails="The sensor does not respond to pressure as its maker requires.",
            undecided="Whether the sensor responds as it should could not be told yet.",
        ),
        values={"pumped": ck.show(vacuum.value, "inHg diff", uncertainty=False)},
    )


def _fair(supply: ck.Reading) -> bool:
    """A supply that the signal can be reckoned up from."""
    return 4.0 <= supply.number <= 6.0


def _band(limit: ck.Limit) -> str:
    assert limit.low is not None and limit.high is not None
    return f"{ck.show(limit.low, 'V', uncertainty=False)} to {ck.show(limit.high, 'V', uncertainty=False)}"


def _fitted_kinds(case: ck.Case) -> list[str]:
    said = case.fitted_by.get(sensor_type.key)
    return [said] if said else []
