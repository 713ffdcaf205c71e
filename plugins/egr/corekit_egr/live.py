"""What the vehicle's own data show, live or stored with a code: commanded opening, error, position, air mass;
and how high the vehicle stood.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .declarations import (
    BY_VACUUM,
    ELECTRIC,
    GAS,
    MOVING,
    SHORTLY,
    Engine,
    Valve,
    egr,
    egr_valve,
    engine,
    engine_speed,
    manifold_shut,
    replace_valve,
    valve_type,
)
from .motor import Fed, fed

MOVES_AT_ALL = 0.2  # of the way asked for: a valve that goes less does not follow; source: position-control
NOTHING_ASKED = 0.05  # of full opening: below it an error means nothing; source: data-scaling
R_AIR = 287.05  # J/(kg K), dry air; source: speed-density
#: The standard atmosphere up to 11 km: sea level, lapse, exponent, radius; source: standard-atmosphere
P0, T0, LAPSE, EXPONENT, RADIUS = 101325.0, 288.15, 0.0065, 5.255879, 6356766.0
#: Between these pressures of the air many flow monitors stop; source: monitor-altitude
MONITORS_STOP = (72000.0, 82000.0)

displacement = egr.trait(
    "displacement", "Engine displacement", units=("L", "cm³"), possible=(0.3, 12), how="On the type plate."
)
commanded_opening = egr.measurand(
    "commanded",
    "%",
    "EGR opening the ECU asks for",
    possible=(0, 100),
    usual=(0, 100),
    accuracy="0.4 points",
    where="Live data or freeze frame, commanded EGR.",
    how="Note it at the same moment as what it is held against.",
    tells="How far the car tells the valve to open",
)
error_shown = egr.measurand(
    "error",
    "%",
    "EGR error the ECU reports",
    possible=(-100, 100),
    usual=(-100, 100),
    accuracy="0.8 points",
    conditions=(commanded_opening,),
    where="Live data or freeze frame, EGR error.",
    how="With the commanded opening of the same moment: while nothing is asked it means nothing.",
    tells="Whether the car gets the exhaust flow it asks for",
)
position_shown = egr.measurand(
    "position",
    "%",
    "Position of the EGR valve as reported",
    possible=(-20, 120),
    usual=(-5, 105),
    accuracy="0.5 points",
    conditions=(commanded_opening,),
    only={valve_type: ELECTRIC},
    part=egr_valve,
    where="Live data.",
    how="Key on, engine off; a scan tool that holds the valve at one opening, at least 20 %.",
    tells="Where the valve says it stands",
)
position_closed = egr.measurand(
    "position_closed",
    "%",
    "Closed position of the EGR valve now",
    possible=(-20, 60),
    usual=(-5, 20),
    accuracy="0.5 points",
    only={valve_type: ELECTRIC},
    part=egr_valve,
    where="Live data.",
    how="Key on, engine off, valve not commanded.",
    tells="Where the closed valve stands now",
)
position_learned = egr.measurand(
    "position_learned",
    "%",
    "Closed position the ECU learned",
    possible=(-20, 60),
    usual=(-5, 20),
    accuracy="0.5 points",
    only={valve_type: ELECTRIC},
    where="Live data.",
    how="Where it is shown; the value learned when it was new or last taught.",
    tells="Where the closed valve should stand",
)
drive_current = egr.measurand(
    "drive_current",
    "A",
    "Current of the EGR valve while commanded",
    possible=(-20, 20),
    usual=(0, 5),
    accuracy="3 % + 0.1 A",
    only={valve_type: ELECTRIC},
    part=egr_valve,
    where="Current clamp around one wire of its winding, set to zero first.",
    how="Key on, engine off, commanded by a scan tool.",
    hazard="Unplug the valve before fingers or tools go in: its motor closes with force and without warning.",
    tells="Current of the valve's drive",
)
intake_air = egr.measurand(
    "intake_air",
    "°C",
    "Intake air temperature",
    possible=(-40, 150),
    usual=(-20, 80),
    accuracy="3 °C",
    where="Live data.",
    how="At the same moment as the air mass.",
)
air_shut = egr.measurand(
    "air_shut",
    "g/s",
    "Air mass, valve closed",
    possible=(0, 600),
    usual=(1, 300),
    accuracy="3 % + 0.1 g/s",
    conditions=(engine_speed, intake_air),
    where="Live data.",
    how="Engine warm, speed steady.",
    hazard=f"{GAS} {MOVING}",
)
air_open = egr.measurand(
    "air_open",
    "g/s",
    "Air mass, valve open",
    possible=(0, 600),
    usual=(1, 300),
    accuracy="3 % + 0.1 g/s",
    conditions=(engine_speed,),
    where="Live data.",
    how="Valve commanded open, same speed, right after.",
    hazard=f"{GAS} {MOVING} {SHORTLY}",
)
altitude = egr.measurand(
    "altitude",
    "m",
    "Altitude at which it shows",
    possible=(-430, 6000),
    usual=(-100, 3500),
    accuracy="100 m",
    where="Map, or what the customer tells.",
    how="Where the lamp came on, above the sea.",
)


@egr.calculation(source="standard-atmosphere")
def barometer_at(
    height: Annotated[float, ck.Input("m", "Altitude above the sea", -500, 11000)],
) -> Annotated[float, ck.Output("Pa abs", "Barometric pressure of the standard atmosphere")]:
    """Pressure of the standard atmosphere of 1976 at a geometric altitude; weather moves it by some per cent.

    >>> round(barometer_at.si(2000.0), 0)
    79501.0
    """
    above = RADIUS * height / (RADIUS + height)
    return float(P0 * (1 - LAPSE * above / T0) ** EXPONENT)


@egr.calculation(source="speed-density")
def expected_air(
    size: Annotated[float, ck.Input("m³", "Engine displacement", above=0)],
    speed: Annotated[float, ck.Input("rev/s", "Engine speed", 0)],
    manifold: Annotated[float, ck.Input("Pa abs", "Manifold pressure", above=0)],
    temperature: Annotated[float, ck.Input("K", "Intake air temperature", 233.15, 423.15)],
    filling: Annotated[float, ck.Input("1", "Volumetric efficiency", 0.3, 1.2)],
) -> Annotated[float, ck.Output("kg/s", "Air mass flow expected")]:
    """Air that a four-stroke engine draws with its EGR valve shut: half its displacement each revolution.

    >>> round(expected_air.si(2.0e-3, 2500 / 60, 100e3, 293.15, 0.85) * 1000, 2)
    42.09
    """
    return filling * size / 2 * speed * manifold / (R_AIR * temperature)


@egr.calculation(source="air-drop")
def fall_of_air(
    shut: Annotated[float, ck.Input("kg/s", "Air mass flow, valve closed", above=0)],
    opened: Annotated[float, ck.Input("kg/s", "Air mass flow, valve open", 0)],
) -> Annotated[float, ck.Output("1", "Share by which it fell")]:
    """By how much exhaust took the place of fresh air, at one speed. Weak: the charge warms up as well.

    >>> fall_of_air.si(12.0, 9.0)
    0.25
    """
    return 1 - opened / shut


@egr.check("EGR error in the data")
def error_read(
    case: ck.Case,
    shown: Annotated[ck.Reading, error_shown],
    asked: Annotated[ck.Reading | None, commanded_opening],
) -> Iterator[ck.Finding | ck.Gap]:
    """Actual less commanded as a share of the commanded: what the ECU itself made of it."""
    if asked is None:
        yield case.gap(
            commanded_opening,
            "An EGR error means nothing without the commanded opening of the same moment.",
        )
        return
    if asked.number < NOTHING_ASKED:
        flows = shown.number > 0.5
        yield case.inconclusive(
            ck.Claim(
                "egr.error", evidence=[shown, asked], next_test=error_shown, grade="more" if flows else ""
            ),
            (
                "Nothing is asked of the valve, and the error stands at full scale: the ECU"
                " sees flow"
                " without a command. Of how much it says nothing."
                if flows
                else "Nothing is asked of the valve at that moment, so an error of {value} means nothing."
            ),
            shown,
            tells=(
                "The vehicle reports exhaust flow although none was asked for."
                if flows
                else "At that moment no exhaust flow was asked for, so nothing follows."
            ),
        )
        return
    limit = case.limit(error_shown)
    side = case.side(shown, limit)
    nothing = shown.number <= -0.95
    yield case.judge(
        shown,
        limit,
        ck.Claim(
            "egr.error",
            evidence=[asked],
            next_test=error_shown,
            grade={ck.Side.INSIDE: "as commanded", ck.Side.BELOW: "less", ck.Side.ABOVE: "more"}.get(
                side, ""
            ),
        ),
        ck.Says(
            passes=("Asked for {asked}, the ECU reports an error of {value}: it gets what it asks for."),
            fails=(
                "Asked for {asked}, the ECU reports an error of {value}: it sees {what}. Why, this"
                " does not say."
            ),
            undecided="Asked for {asked}, the ECU reports an error of {value}: too close to call.",
        ),
        ck.Tells(
            passes="The vehicle reports the exhaust flow it asked for.",
            fails="The vehicle does not report the exhaust flow it asked for.",
            undecided="Whether the exhaust flow follows what was asked could not be told yet.",
        ),
        values={
            "asked": ck.show(asked.value, "%", uncertainty=False),
            "what": (
                "no flow at all"
                if nothing
                else "too little flow"
                if side is ck.Side.BELOW
                else "too much flow"
            ),
        },
    )


@egr.check("Position against command")
def tracks(
    case: ck.Case,
    actual: Annotated[ck.Reading, position_shown],
    asked: Annotated[ck.Reading, commanded_opening],
    valve: Annotated[Valve | None, valve_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """Commanded and actual side by side, at an opening that is plainly asked for."""
    if valve in BY_VACUUM:
        yield case.does_not_apply("This valve is opened by vacuum and reports no position.")
        return
    if asked.number < 0.2:  # of full opening, so that a valve that stays shut is plain
        yield case.inconclusive(
            ck.Claim("egr.tracks", evidence=[actual, asked], next_test=position_shown),
            "Only {asked} are asked for: command at least 20 % and read the position again.",
            actual,
            tells="The valve was hardly asked to move, so nothing follows yet.",
            values={"asked": ck.show(asked.value, "%", uncertainty=False)},
        )
        return
    apart = actual.value - asked.value
    limit = case.limit("egr.tracks")
    side = case.side(apart, limit)
    share = actual.number / asked.number
    yield case.judge(
        apart,
        limit,
        ck.Claim(
            "egr.tracks",
            of=position_shown,
            unit="%",
            evidence=[actual, asked],
            next_test=position_shown,
            grade=(
                "follows"
                if side is ck.Side.INSIDE
                else ""
                if side is ck.Side.UNDECIDED
                else "does not follow"
                if share < MOVES_AT_ALL
                else "slow or short"
            ),
        ),
        ck.Says(
            passes="Asked for {asked}, the valve stands at {actual}: it follows.",
            fails=(
                "Asked for {asked}, the valve stands at {actual}: soot, motor, wiring or its position sensor."
            ),
            undecided="Asked for {asked}, the valve stands at {actual}: too close to call.",
        ),
        ck.Tells(
            passes="The valve follows its command.",
            fails="The valve does not follow its command.",
            undecided="Whether the valve follows its command could not be told yet.",
        ),
        values={
            "asked": ck.show(asked.value, "%", uncertainty=False),
            "actual": ck.show(actual.value, "%", uncertainty=False),
        },
    )


@egr.check("Closed position as read against the learned one")
def closed_where_learned(
    case: ck.Case,
    now: Annotated[ck.Reading, position_closed],
    then: Annotated[ck.Reading, position_learned],
) -> Iterator[ck.Finding | ck.Gap]:
    """Soot under the flap, wear or a valve that was never taught."""
    yield case.judge(
        now.value - then.value,
        case.limit("egr.position_closed"),
        ck.Claim(
            "egr.position_closed",
            of=position_closed,
            unit="%",
            evidence=[now, then],
            next_test=position_closed,
        ),
        ck.Says(
            passes="Closed, the valve stands at {now}; {then} was learned.",
            fails=(
                "Closed, the valve stands at {now}; {then} was learned: soot under it, wear, or never taught."
            ),
            undecided="Closed, the valve stands at {now}; {then} was learned: too close to call.",
        ),
        ck.Tells(
            passes="The valve closes where it should.",
            fails="The valve does not close where it should.",
            undecided="Whether the valve closes where it should could not be told yet.",
        ),
        values={
            "now": ck.show(now.value, "%", uncertainty=False),
            "then": ck.show(then.value, "%", uncertainty=False),
        },
    )


@egr.check("Current of the valve while commanded")
def current_measured(
    case: ck.Case, amperes: Annotated[ck.Reading, drive_current], feed: Annotated[Fed | None, fed]
) -> Iterator[ck.Finding | ck.Gap]:
    """Against this vehicle's own figure; none at all is plain of any design, and the motor's where its feed
    is good under load.
    """
    own = case.is_specified(drive_current)
    limit = case.limit(drive_current)
    size = (
        amperes.value if amperes.number >= 0 else ck.exact(amperes.value.kind, 0.0) - amperes.value
    )  # the clamp turned round
    side = case.side(size, limit)
    yield case.judge(
        size,
        limit,
        ck.Claim(
            "egr.drive_current",
            of=drive_current,
            unit="A",
            calls_for=replace_valve if side is ck.Side.BELOW and feed is Fed.GOOD else None,
            next_test=drive_current,
            grade={
                ck.Side.INSIDE: "usual" if own else "",
                ck.Side.ABOVE: "high",
                ck.Side.BELOW: "none" if size.number < 0.1 else "low",
            }.get(side, ""),
        ),
        ck.Says(
            passes=(
                "Commanded, the valve takes {value}; {limit} is required."
                if own
                else "Commanded, the valve takes {value}: its winding is not open. How much is usual differs."
            ),
            fails="Commanded, the valve takes {value}; {limit} is required.",
            undecided="Commanded, the valve takes {value}, where {limit} is required: too close to call.",
        ),
        ck.Tells(
            passes="The valve's drive takes current.",
            fails="The valve's drive does not take the current it should.",
            undecided="Whether the valve's drive takes the right current could not be told yet.",
        ),
    )


@egr.check("Fall of the air mass, as read")
def air_fall(
    case: ck.Case,
    shut: Annotated[ck.Reading, air_shut],
    opened: Annotated[ck.Reading, air_open],
    kind: Annotated[Engine | None, engine],
) -> Iterator[ck.Finding | ck.Gap]:
    """Exhaust that flows takes the place of fresh air, where no throttle holds the air back."""
    if kind is Engine.PETROL:
        yield case.does_not_apply(
            "At idle a petrol engine's throttle is choked, so its air mass hardly depends on the flow."
        )
        return
    if shut.value.number <= 0:
        yield case.gap(
            air_shut,
            "The air mass reads nothing with the valve shut, so no fall can be formed.",
            tells="The engine's air was not read, so nothing is said about the flow.",
        )
        return
    yield case.judge(
        fall_of_air(shut, opened),
        case.limit("egr.air_fall"),
        ck.Claim("egr.air_fall", of=air_open, unit="%", evidence=[shut, opened], next_test=air_open),
        ck.Says(
            passes="When the valve opens the air mass falls by {value}: exhaust flows.",
            fails="When the valve opens the air mass falls by {value} only; {limit} is expected.",
            undecided="When the valve opens the air mass falls by {value}, where {limit} is expected.",
        ),
        ck.Tells(
            passes="Exhaust gas flows back when the valve opens.",
            fails="Too little exhaust gas flows back when the valve opens.",
            undecided="Whether enough exhaust gas flows back could not be told yet.",
        ),
    )


@egr.check("Air mass against what the engine can draw")
def air_plausible(
    case: ck.Case,
    drawn: Annotated[ck.Reading, air_shut],
    manifold: Annotated[ck.Reading, manifold_shut],
    speed: Annotated[ck.Reading, engine_speed],
    warmth: Annotated[ck.Reading | None, intake_air],
    size: Annotated[ck.Value, displacement],
) -> Iterator[ck.Finding | ck.Gap]:
    """By displacement, speed, pressure and temperature, the valve shut; it parts a meter from a flow."""
    ends = case.ends(warmth, intake_air)
    low = expected_air(size, speed, manifold, ends, ck.exact("ratio", 0.70))
    high = expected_air(size, speed, manifold, ends, ck.exact("ratio", 1.0))
    yield case.judge(
        drawn,
        case.computed_limit(
            "egr.air_plausible",
            "speed-density",
            low=low,
            high=high,
        ),
        ck.Claim("egr.air_plausible", evidence=[manifold, speed], next_test=air_shut),
        ck.Says(
            passes="Valve shut, the air mass reads {value}; {limit} is what such an engine draws.",
            fails=(
                "Valve shut, the air mass reads {value}; {limit} is what such an engine draws: the meter, or"
                " air that passes it by."
            ),
            undecided="Valve shut, the air mass reads {value}, close to an end of {limit}.",
        ),
        ck.Tells(
            passes="The air that the engine draws is measured as it should be.",
            fails="The air that the engine draws is probably measured wrongly.",
            undecided="Whether the air is measured rightly could not be told yet.",
        ),
    )


@egr.check("Altitude")
def high_up(case: ck.Case, height: Annotated[ck.Reading, altitude]) -> Iterator[ck.Finding | ck.Gap]:
    """Thin air is no fault, and where it is thin a flow monitor may not run at all."""
    air = barometer_at(height)
    thin = air.number < MONITORS_STOP[1]
    yield case.advise(
        ck.Claim("egr.altitude", of=altitude, unit="kPa abs", evidence=[height], urgency=ck.Urgency.NOTHING),
        (
            "At {height} the air has about {value} by the standard atmosphere. "
            + (
                "Where it has less than about {stop} many vehicles do not run their EGR flow monitor,"
                " so a lamp"
                " there may be something else. Read codes and the values stored with them, the"
                " barometer among"
                " them, before anything is said."
                if thin
                else "Every vacuum has to be held against it."
            )
        ),
        air,
        tells=(
            "So high up the air is thin, and what is shown there may mean something else."
            if thin
            else "How high the vehicle was is taken into account."
        ),
        values={
            "height": ck.show(height.value, "m", uncertainty=False),
            "stop": "72 to 82 kPa",
        },
    )
