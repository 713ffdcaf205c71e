"""More of the sensor's signal: at idle against key-on, with its hoses off, at its other port, with the valve
off its flange, in the live data, and at a plug that was pulled off.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .declarations import (
    BY_VACUUM,
    GAS,
    GENTLY,
    HOT,
    MOVING,
    WITH_HOSES,
    WITHOUT_HOSES,
    Layout,
    Sensor,
    clean,
    egr,
    egr_sensor,
    engine_speed,
    layout,
    repair_wiring,
    replace_sensor,
    sensor_ground,
    sensor_supply,
    sensor_type,
    signal_open,
    signal_zero,
    valve_type,
)
from .sensor import (
    RAIL_HIGH,
    RAIL_LOW,
    gap_without_supply,
    least_answer,
    rise_at_5_volts,
    signal_at_5_volts,
)

FAR = 0.2  # V above the band of the type with the highest zero, twice its width; source: sensor-zero-later
#: Ways of a trial that put another sensor in.
ANOTHER_SENSOR = ("renewed", "known_good", "swapped")


class ReadAgainst(Enum):
    SENSOR_GROUND = "sensor ground at the plug"
    BATTERY = "battery negative"
    ENGINE = "engine or body metal"


read_against = egr.observation(
    "read_against",
    "Where the black lead was for the signals",
    ReadAgainst,
    how="Against anything but the sensor's own ground a signal holds the loss on that ground as well.",
    tells_each={
        ReadAgainst.SENSOR_GROUND: "The sensor was measured the right way.",
        ReadAgainst.BATTERY: "The sensor was measured with part of its wiring.",
        ReadAgainst.ENGINE: "The sensor was measured with part of its wiring.",
    },
)
signal_idle = egr.measurand(
    "signal_idle",
    "V",
    "Sensor signal, valve closed, engine idling",
    possible=(-0.5, 16),
    usual=(-0.05, 5.5),
    accuracy="0.5 % + 0.02 V",
    conditions=(sensor_supply, engine_speed),
    where="At the sensor connector, signal against sensor ground.",
    how="Engine warm, at idle, valve closed, connector and hoses on.",
    hazard=f"{GAS} {MOVING} {HOT}",
)
signal_vented = egr.measurand(
    "signal_vented",
    "V",
    "Sensor signal, hoses off, engine off",
    possible=(-0.5, 16),
    usual=(-0.05, 5.5),
    accuracy="0.5 % + 0.02 V",
    conditions=(sensor_supply,),
    only={valve_type: BY_VACUUM, sensor_type: WITH_HOSES},
    where="At the sensor connector, signal against sensor ground.",
    how="Key on, engine off, both hoses off at the sensor, connector plugged in; then hoses back on.",
    hazard=HOT,
)
hand_pressure = egr.measurand(
    "hand_pressure",
    "kPa diff",
    "Pressure applied to the sensor's upstream port",
    possible=(0, 40),
    usual=(5, 25),
    accuracy="3 % + 0.5 kPa",
    only={valve_type: BY_VACUUM, sensor_type: WITH_HOSES},
    where="On the upstream port, the one nearer the exhaust.",
    how="Hand pump set to pressure, both sensing hoses off, 20 kPa or less.",
    hazard=GENTLY,
)
signal_upstream = egr.measurand(
    "signal_upstream",
    "V",
    "Sensor signal, pressure on its upstream port",
    possible=(-0.5, 16),
    usual=(-0.05, 5.5),
    accuracy="0.5 % + 0.02 V",
    conditions=(hand_pressure, sensor_supply),
    only={valve_type: BY_VACUUM, sensor_type: WITH_HOSES},
    where="At the sensor connector, signal against sensor ground.",
    how="Key on, engine off, about 15 kPa on the upstream port; it must fall back when released.",
    hazard=GENTLY,
)
signal_free = egr.measurand(
    "signal_free",
    "V",
    "Sensor signal, valve open and off the manifold",
    possible=(-0.5, 16),
    usual=(-0.05, 5.5),
    accuracy="0.5 % + 0.02 V",
    conditions=(sensor_supply, engine_speed),
    only={valve_type: BY_VACUUM, sensor_type: WITH_HOSES},
    where="At the sensor connector, signal against sensor ground.",
    how=(
        "Valve on its tube but not on the manifold, the manifold's port plugged, valve opened by hand pump;"
        " same speed as bolted on, for a moment."
    ),
    hazard=f"{GAS} {MOVING} {HOT} Hot exhaust leaves the open valve: stand clear of it.",
    tells="What the sensor shows with the valve off the engine",
)
signal_seen = egr.measurand(
    "signal_seen",
    "V",
    "Sensor signal in the live data",
    possible=(-0.5, 16),
    usual=(-0.05, 5.5),
    accuracy="0.05 V",
    where="On the scan tool.",
    how="Key on, engine off, valve closed: at the same moment as the signal at the plug.",
)
signal_unplugged = egr.measurand(
    "signal_unplugged",
    "V",
    "Signal wire with the sensor unplugged",
    possible=(-0.5, 16),
    usual=(-0.1, 5.5),
    accuracy="0.5 % + 0.02 V",
    where="In the open connector of the harness, against battery negative.",
    how="Key on, engine off.",
)
supply_unplugged = egr.measurand(
    "supply_unplugged",
    "V",
    "Supply wire with the sensor unplugged",
    possible=(-0.5, 16),
    usual=(-0.1, 5.5),
    accuracy="0.5 % + 0.02 V",
    where="In the open connector of the harness, against battery negative.",
    how="Key on, engine off.",
)


@egr.calculation(source="free-flow")
def share_of_free_flow(
    bolted: Annotated[float, ck.Input("V", "Rise of the signal, valve bolted on")],
    free: Annotated[float, ck.Input("V", "Rise of the signal, valve off the manifold", above=0)],
) -> Annotated[float, ck.Output("1", "Pressure with the manifold over pressure without")]:
    """Pressure at the orifice with the valve on the manifold, as a share of that with it off: the manifold
    draws, so the share should be more than one.

    >>> round(share_of_free_flow.si(0.2, 3.0), 3)
    0.067
    """
    return bolted / free


@egr.check("Sensor signal at idle against key-on")
def idle_against_rest(
    case: ck.Case,
    idling: Annotated[ck.Reading, signal_idle],
    rest: Annotated[ck.Reading, signal_zero],
    supply: Annotated[ck.Reading | None, sensor_supply],
    where: Annotated[Layout | None, layout],
    kind: Annotated[Sensor | None, sensor_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """At idle no exhaust is led back, so the two are alike; what differs is flow, or a hose."""
    if kind in WITHOUT_HOSES:
        yield case.does_not_apply("This sensor has no hoses; its signal at idle is judged as a position.")
        return
    unfed = gap_without_supply(case, supply)
    if unfed is not None:
        yield unfed
        return
    apart = rise_at_5_volts(idling, rest, case.ends(supply, sensor_supply, low=4.0, high=5.5))
    step = idling.value - rest.value
    limit = case.limit("egr.idle_signal")
    side = case.side(apart, limit)
    above = (
        "The upstream hose lets air in, or the valve does not close."
        if where is Layout.BEHIND
        else "The valve does not close, or the downstream hose is off or open."
    )
    below = (
        "The downstream hose lets air in."
        if where is Layout.BEHIND
        else "The upstream hose is off or open, or the two hoses are swapped."
    )
    yield case.judge(
        apart,
        limit,
        ck.Claim(
            "egr.idle_signal",
            of=signal_idle,
            unit="V",
            evidence=[idling, rest],
            next_test=signal_idle,
            grade={
                ck.Side.INSIDE: "as at rest",
                ck.Side.ABOVE: "above",
                ck.Side.BELOW: "below",
            }.get(side, ""),
        ),
        ck.Says(
            passes="At idle the sensor's signal is that with the engine off, within {limit}.",
            fails="At idle the sensor's signal lies {apart} {side} that with the engine off. {why}",
            undecided=(
                "At idle the sensor's signal differs by {value} from that with the engine off, where {limit}"
                " is usual: too close to call."
            ),
        ),
        ck.Tells(
            passes="With the engine idling the sensor reports no exhaust flow, as it should.",
            fails="With the engine idling the sensor reports something that should not be there.",
            undecided="Whether the sensor reports flow at idle could not be told yet.",
        ),
        values={
            "why": above if side is ck.Side.ABOVE else below if side is ck.Side.BELOW else "",
            "side": "below" if step.number < 0 else "above",
            "apart": ck.show(step if step.number >= 0 else rest.value - idling.value, "V"),
        },
    )


@egr.check("Sensor signal with its hoses off")
def vented(
    case: ck.Case,
    signal: Annotated[ck.Reading, signal_vented],
    supply: Annotated[ck.Reading | None, sensor_supply],
    ground: Annotated[ck.Reading | None, sensor_ground],
    rest: Annotated[ck.Reading | None, signal_zero],
    kind: Annotated[Sensor | None, sensor_type],
    against: Annotated[ReadAgainst | None, read_against],
) -> Iterator[ck.Finding | ck.Gap]:
    """Without hoses nothing can press on the sensor: what it shows then is its own zero, or its wiring."""
    own = case.is_specified(signal_zero)
    if kind in WITHOUT_HOSES and not own:
        yield case.does_not_apply("This sensor has no hoses that could be taken off.")
        return
    if against in (ReadAgainst.BATTERY, ReadAgainst.ENGINE):
        yield _against_another_ground(case, signal, against)
        return
    unfed = gap_without_supply(case, supply)
    if unfed is not None:
        yield unfed
        return
    at_5 = signal_at_5_volts(signal, case.ends(supply, sensor_supply, low=4.0, high=5.5))
    bands = {
        Sensor.LATER: case.limit("egr.zero_later"),
        Sensor.EARLIER: case.limit("egr.zero_earlier"),
    }
    limit: ck.Limit | ck.Possible[ck.Limit]
    if own:
        limit = case.limit(signal_zero)
    elif kind in bands:
        limit = bands[kind]
    else:
        limit = ck.possible(sensor_type, bands)
    side = case.side(at_5, limit)
    outside = (
        "outside its own figure"
        if own
        else "at the end of its range"
        if not RAIL_LOW <= signal.number <= RAIL_HIGH
        else "outside any type's"
        if _beyond_any_type(case, at_5)
        else "outside what is usual"
    )
    wired = supply is not None and ground is not None
    yield case.judge(
        at_5,
        limit,
        ck.Claim(
            "egr.vented",
            of=signal_vented,
            unit="V",
            evidence=[one for one in (supply, ground, rest) if one is not None],
            calls_for=replace_sensor if wired else None,
            next_test=signal_vented,
            grade={ck.Side.INSIDE: "within", ck.Side.UNDECIDED: ""}.get(side, outside),
        ),
        ck.Says(
            passes="With its hoses off the sensor shows {read}; {limit} is usual.{trapped}",
            fails=(
                "With its hoses off the sensor shows {read}; {limit} is usual. No hose can do that: {then}"
            ),
            undecided="With its hoses off the sensor shows {read}, too close to an end of {limit} to call.",
        ),
        ck.Tells(
            passes="With nothing acting on it the sensor reads what it usually should.",
            fails="With nothing acting on it the sensor does not read what it usually should.",
            undecided="Whether the sensor's resting value is right could not be told yet.",
        ),
        values={
            "read": ck.show(signal.value, "V", uncertainty=False),
            "then": (
                "with its supply and ground good it is the sensor's own zero."
                if wired
                else "measure its supply and its ground before its own zero is blamed."
            ),
            "trapped": _trapped_words(signal, rest),
        },
    )


def _beyond_any_type(case: ck.Case, at_5: ck.Value | ck.Possible[ck.Value]) -> bool:
    """Whether a zero lies plainly above all that any known type shows, its width counted in twice."""
    top = case.limit("egr.zero_later").high
    assert top is not None
    far = ck.exact("voltage", top.number + FAR)
    return case.side(at_5, case.computed_limit("egr.vented", "sensor-zero-later", high=far)) is ck.Side.ABOVE


def _trapped_words(signal: ck.Reading, rest: ck.Reading | None) -> str:
    if rest is None:
        return ""
    held = rest.value - signal.value
    if abs(held.number) <= max(0.05, 2 * held.u):  # V: repeats within this; source: sensor-rails
        return " With the hoses on it is the same."
    shown = ck.show(held, "V", uncertainty=False)
    return f" With the hoses on it differs by {shown}: pressure is trapped in one of them."


def _against_another_ground(case: ck.Case, signal: ck.Reading, against: ReadAgainst) -> ck.Finding:
    return case.inconclusive(
        ck.Claim("egr.read_against", evidence=case.noted(read_against), next_test=sensor_ground),
        (
            "{value} was read against {ground}, so it holds the loss on the sensor's ground as well. Read it"
            " against the sensor's ground, or measure that ground."
        ),
        signal,
        tells="The sensor's value was read in a way that cannot be judged yet.",
        values={"ground": against.value},
    )


@egr.check("Where the signals were read from")
def read_from(
    case: ck.Case,
    signal: Annotated[ck.Reading, signal_zero],
    against: Annotated[ReadAgainst, read_against],
    ground: Annotated[ck.Reading | None, sensor_ground],
) -> Iterator[ck.Finding | ck.Gap]:
    """A ground that is lost a little raises a signal that was read past it."""
    if against is ReadAgainst.SENSOR_GROUND:
        yield case.advise(
            ck.Claim("egr.read_against", evidence=case.noted(read_against), urgency=ck.Urgency.NOTHING),
            "The signals were read against the sensor's own ground, as they should be.",
            tells="The sensor was measured the right way.",
        )
    elif ground is None or against is ReadAgainst.ENGINE:
        yield _against_another_ground(case, signal, against)
    else:
        true = signal.value - ground.value
        yield case.advise(
            ck.Claim("egr.read_against", of=signal_zero, unit="V", evidence=[signal, ground]),
            (
                "Read against battery negative, the signal of {read} holds {lost} lost on the sensor's"
                " ground: at the sensor it is {value}."
            ),
            true,
            tells="Part of what the sensor seemed to show comes from its wiring.",
            values={
                "read": ck.show(signal.value, "V", uncertainty=False),
                "lost": ck.show(ground.value, "V", uncertainty=False),
            },
        )


@egr.check("One zero signal on two sensors")
def same_on_another(
    case: ck.Case, signals: Annotated[ck.Series, signal_zero], kind: Annotated[Sensor | None, sensor_type]
) -> Iterator[ck.Finding | ck.Gap]:
    """Where a new sensor shows the same oddity as the old one, it is not in the sensor."""
    now = signals.latest
    old = [one for one in signals.before if _is_another_sensor(case, one, now)]
    if not old:
        return
    then = old[-1]
    apart = now.value - then.value
    if abs(apart.number) > 2 * apart.u:
        return
    bands = [case.limit("egr.zero_later"), case.limit("egr.zero_earlier")]
    if case.is_specified(signal_zero):
        bands = [case.limit(signal_zero)]
    elif kind in (Sensor.LATER, Sensor.EARLIER):
        bands = [bands[kind is Sensor.EARLIER]]
    lows = [one.low.number for one in bands if one.low is not None]
    highs = [one.high.number for one in bands if one.high is not None]
    spread = 2 * max(now.value.u, then.value.u)
    least = min(now.number, then.number)
    if highs and least - spread > max(highs):
        side, end = "above", max(highs)
    elif lows and max(now.number, then.number) + spread < min(lows):
        side, end = "below", min(lows)
    else:
        return
    yield case.advise(
        ck.Claim("egr.zero_again", evidence=[then, now], urgency=ck.Urgency.THIS_VISIT),
        (
            "The old sensor showed {old} and the one put in its place shows {new}: both {side} {end}, the end"
            " of what is usual, and alike. That is something they share, not each sensor: ground, supply,"
            " pressure trapped in a hose, the meter, or a type with another zero."
        ),
        now,
        tells="The new sensor shows the same as the old one, so the cause is probably something else.",
        values={
            "old": ck.show(then.value, "V", uncertainty=False),
            "new": ck.show(now.value, "V", uncertainty=False),
            "side": side,
            "end": ck.show(ck.exact("voltage", end), "V", uncertainty=False),
        },
    )


def _is_another_sensor(case: ck.Case, before: ck.Reading, now: ck.Reading) -> bool:
    """Whether another sensor was put in between two readings."""
    tried = now.trials[len(before.trials) :]
    renewed = case.repairs.get(replace_sensor.key, -1)
    return before.stage < renewed <= now.stage or any(
        one.part == egr_sensor.key and one.how in ANOTHER_SENSOR for one in tried
    )


@egr.check("Sensor response at its upstream port")
def answer_upstream(
    case: ck.Case,
    pressed: Annotated[ck.Reading, signal_upstream],
    pressure: Annotated[ck.Reading, hand_pressure],
    rest: Annotated[ck.Reading, signal_zero],
    supply: Annotated[ck.Reading | None, sensor_supply],
    kind: Annotated[Sensor | None, sensor_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """The other end of the slope: pressure on the upstream port must raise the signal as well."""
    if kind in WITHOUT_HOSES:
        yield case.does_not_apply("This sensor has no port to connect a pump to.")
        return
    unfed = gap_without_supply(case, supply)
    if unfed is not None:
        yield unfed
        return
    gained = rise_at_5_volts(pressed, rest, case.ends(supply, sensor_supply, low=4.0, high=5.5))
    limit = case.computed_limit("egr.answer_upstream", "sensor-span-later", low=least_answer(pressure))
    yield case.judge(
        gained,
        limit,
        ck.Claim(
            "egr.answer_upstream",
            of=signal_upstream,
            unit="V",
            evidence=[pressed, rest, pressure],
            calls_for=replace_sensor,
            next_test=signal_upstream,
        ),
        ck.Says(
            passes="With {pumped} on its upstream port the sensor's signal rises by {value}: it responds.",
            fails=(
                "With {pumped} on its upstream port the sensor's signal moves by {value}; {limit} is"
                " expected. A pump on the wrong port lowers it."
            ),
            undecided=(
                "With {pumped} on its upstream port the sensor's signal rises by {value}, where {limit} is"
                " expected: too close to call."
            ),
        ),
        ck.Tells(
            passes="The sensor responds to pressure.",
            fails="The sensor does not respond to pressure as it should.",
            undecided="Whether the sensor responds as it should could not be told yet.",
        ),
        values={"pumped": ck.show(pressure.value, "kPa diff", uncertainty=False)},
    )


@egr.check("Sensor signal with the valve off the manifold")
def free_flow(
    case: ck.Case,
    free: Annotated[ck.Reading, signal_free],
    rest: Annotated[ck.Reading, signal_zero],
    bolted: Annotated[ck.Reading | None, signal_open],
    supply: Annotated[ck.Reading | None, sensor_supply],
    kind: Annotated[Sensor | None, sensor_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """Tube, valve and sensor show flow into the open air; if they show none into the manifold, its port is
    blocked.
    """
    if kind in WITHOUT_HOSES:
        yield case.does_not_apply("This sensor reads no flow, so it cannot show where the flow stops.")
        return
    unfed = gap_without_supply(case, supply)
    if unfed is not None:
        yield unfed
        return
    risen = rise_at_5_volts(free, rest, case.ends(supply, sensor_supply, low=4.0, high=5.5))
    limit = case.limit("egr.signal_rise")
    saturated = (
        " It stands at the end of its range, so the flow was at least that."
        if free.number > RAIL_HIGH
        else ""
    )
    yield case.judge(
        risen,
        limit,
        ck.Claim("egr.free_rise", of=signal_free, unit="V", evidence=[free, rest], next_test=signal_free),
        ck.Says(
            passes=(
                "With the valve open and off the manifold the signal rises by {value}: tube, valve and sensor"
                " work.{saturated}"
            ),
            fails=(
                "With the valve open and off the manifold the signal moves by {value} only; {limit} is"
                " expected. Tube, valve, hoses or sensor, not the manifold."
            ),
            undecided=(
                "With the valve open and off the manifold the signal rises by {value}, where {limit} is"
                " expected: too close to call."
            ),
        ),
        ck.Tells(
            passes="Taken off the engine, the valve lets exhaust gas through and the sensor reports it.",
            fails="Even taken off the engine, no exhaust flow is reported.",
            undecided="Whether exhaust flows with the valve taken off could not be told yet.",
        ),
        values={"saturated": saturated},
    )
    if bolted is None or case.side(risen, limit) is not ck.Side.INSIDE:
        return
    share = share_of_free_flow(bolted.value - rest.value, free.value - rest.value)
    floor = case.limit("egr.free_flow")
    side = case.side(share, floor)
    yield case.judge(
        share,
        floor,
        ck.Claim(
            "egr.free_flow",
            of=signal_open,
            unit="%",
            evidence=[bolted, free, rest],
            calls_for=clean,
            next_test=signal_open,
            grade={ck.Side.INSIDE: "as much", ck.Side.BELOW: "hardly"}.get(side, "less"),
        ),
        ck.Says(
            passes="Bolted on, the signal rises by {bolted}, off the manifold by {free}: its port is open.",
            fails=(
                "Bolted on, the signal rises by {bolted}, off the manifold by {free}: the port in the"
                " manifold"
                " is blocked. Tube, valve and sensor are not."
            ),
            undecided=(
                "Bolted on, the signal rises by {bolted}, off the manifold by {free}. The port in the"
                " manifold"
                " may be partly blocked; read both again at one speed."
            ),
        ),
        ck.Tells(
            passes="The passage into the engine is open.",
            fails="The passage into the engine is blocked; the parts before it work.",
            undecided="Whether the passage into the engine is partly blocked could not be told yet.",
        ),
        values={
            "bolted": ck.show(bolted.value - rest.value, "V", uncertainty=False),
            "free": ck.show(free.value - rest.value, "V", uncertainty=False),
        },
    )


@egr.check("Signal at the plug and in the live data")
def signal_wire(
    case: ck.Case,
    seen: Annotated[ck.Reading, signal_seen],
    plug: Annotated[ck.Reading, signal_zero],
) -> Iterator[ck.Finding | ck.Gap]:
    """What the ECU sees is what the plug shows, or the wire between them loses it."""
    yield case.judge(
        seen.value - plug.value,
        case.limit("egr.signal_wire"),
        ck.Claim(
            "egr.signal_wire",
            of=signal_seen,
            unit="V",
            evidence=[seen, plug],
            calls_for=repair_wiring,
            next_test=signal_seen,
        ),
        ck.Says(
            passes="The ECU sees {seen} and the plug shows {plug}: the signal wire is good.",
            fails=(
                "The ECU sees {seen} while the plug shows {plug}: the signal wire or its"
                " ground loses"
                " it. The sensor is not judged by that."
            ),
            undecided=("The ECU sees {seen} while the plug shows {plug}: too close to {limit} to call."),
        ),
        ck.Tells(
            passes="What the sensor says arrives unchanged.",
            fails="What the sensor says does not arrive unchanged: its wiring loses part of it.",
            undecided="Whether the wiring changes the sensor's value could not be told yet.",
        ),
        values={
            "seen": ck.show(seen.value, "V", uncertainty=False),
            "plug": ck.show(plug.value, "V", uncertainty=False),
        },
    )


@egr.check("Wires with the sensor unplugged")
def harness(
    case: ck.Case,
    signal: Annotated[ck.Reading | None, signal_unplugged],
    supply: Annotated[ck.Reading | None, supply_unplugged],
) -> Iterator[ck.Finding | ck.Gap]:
    """Read with the plug off, a wire shows the harness and never the sensor."""
    if signal is not None:
        high = signal.number > RAIL_HIGH
        meaning = (
            " Many ECUs feed an open signal wire up to its supply, so this need be no fault."
            if high
            else " With the plug off that is usual of a wire that is not fed."
            if abs(signal.number) < RAIL_LOW
            else ""
        )
        yield case.inconclusive(
            ck.Claim("egr.harness", evidence=[signal], next_test=signal_zero),
            (
                "With the sensor unplugged its signal wire shows {value}. That is the harness, not the"
                " sensor.{meaning} Plug it in and read the signal at the plug."
            ),
            signal,
            tells="With the sensor unplugged only its wiring was measured, not the sensor.",
            values={"meaning": meaning},
        )
    if supply is not None:
        yield case.inconclusive(
            ck.Claim("egr.harness", evidence=[supply], next_test=sensor_supply),
            (
                "With the sensor unplugged its supply wire shows {value}. A wire that is good without"
                " load may"
                " fail under it: read it again plugged in."
            ),
            supply,
            tells="With the sensor unplugged only its wiring was measured, not the sensor.",
        )
