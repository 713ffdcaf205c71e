"""The EGR sensor: its supply and ground, its signal at rest by type, and whether it answers to
a hand pump.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .declarations import (
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
    """Pressure by the signal of a linear sensor that gains `step` volts for each `step_pressure`, both at 5 V
    of supply.

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


@egr.check("EGR sensor supply and ground")
def wiring(
    case: ck.Case,
    supply: Annotated[ck.Reading | None, sensor_supply],
    ground: Annotated[ck.Reading | None, sensor_ground],
) -> Iterator[ck.Finding | ck.Gap]:
    """Before any signal is believed. Advice: the figures are workshop custom."""
    if supply is None:
        yield case.gap(sensor_supply, "EGR sensor supply voltage: not measured.")
    else:
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
            ),
            values={"read": ck.show(supply.value, "V", uncertainty=False)},
        )
    if ground is not None:
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
                passes="The sensor's ground connection is as it usually should be.",
                fails="The sensor's ground connection is worse than usual.",
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
            limits=(),
            values={"read": read},
        )
        return
    if supply is None:
        yield case.gap(
            sensor_supply,
            "EGR sensor supply voltage: not measured, and its zero signal means nothing without it.",
        )
        return
    own = case.is_specified(signal_zero)
    if kind is Sensor.POSITION and not own:
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
            values={"read": read, "supply": ck.show(supply.value, "V", uncertainty=False)},
        )
        return
    at_5 = signal_at_5_volts(signal, supply)
    later, earlier = case.limit("egr.zero_later"), case.limit("egr.zero_earlier")
    # A valve-position sensor has only this vehicle's own figure, so while the type is unknown it stays out.
    limit = (
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
            evidence=_fitted(case),
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
                "With no flow the sensor does not read what it usually should; that alone does"
                " not show that it is faulty."
            ),
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
                " type, {earlier} for the earlier, so a signal in one of them may still be wrong. Find"
                " out the type."
            ),
            at_5,
            tells="What the sensor shows with no flow can be judged once its type is known.",
            values={"read": read, "later": _band(later), "earlier": _band(earlier)},
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
    if kind is Sensor.POSITION:
        yield case.does_not_apply("A valve-position sensor has no hoses to connect a pump to.")
        return
    if not _fair(supply):
        yield case.gap(
            sensor_supply,
            "Without the right supply the EGR sensor's response means nothing; repair the supply, then"
            " pump again.",
        )
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
    yield case.judge(
        gained,
        limit,
        ck.Claim(
            "egr.answer",
            of=signal_pumped,
            unit="V",
            evidence=_fitted(case),
            calls_for=replace_sensor,
            next_test=signal_pumped,
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
        ),
        values=places,
    )


def _fair(supply: ck.Reading) -> bool:
    """A supply that the signal can be reckoned up from."""
    return 4.0 <= supply.number <= 6.0


def _band(limit: ck.Limit) -> str:
    assert limit.low is not None and limit.high is not None
    return f"{ck.show(limit.low, 'V', uncertainty=False)} to {ck.show(limit.high, 'V', uncertainty=False)}"


def _fitted(case: ck.Case) -> list[str]:
    said = case.fitted_by.get(sensor_type.key)
    return [said] if said else []
