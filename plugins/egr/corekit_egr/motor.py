"""What hand, eye and scan tool find out about a valve that a motor opens, and about what goes with it:
cooler, throttle, air mass, intake. Some of it wants a tool that commands; *not reached* is no evidence.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .declarations import (
    CARBON,
    ELECTRIC,
    GAS,
    HOT,
    MOVING,
    NO_SPRAY,
    Cooler,
    Engine,
    Valve,
    clean,
    cooler_fitted,
    egr,
    egr_valve,
    egr_wiring,
    engine,
    repair_wiring,
    replace_valve,
    valve_type,
)
from .observations import Seen, said

FINGERS = "Unplug the valve before fingers or tools go in: its motor closes with force and without warning."
BURNS = (
    "A particle filter that regenerates is hotter than 500 °C: not over dry grass, not beside anything that"
    " burns."
)
COOLER = (
    "Open cooler and coolant only when cold. With coolant inside the engine never crank it: water does not"
    " give way."
)


class Sweep(Enum):
    FOLLOWS = "follows"
    SLOW = "slow or short of the ends"
    NOT = "does not follow"
    NOT_REACHED = "not reached"


class Learned(Enum):
    AS_LEARNED = "as learned"
    OFF = "off the learned value"
    NOT_REACHED = "not reached"


class Fed(Enum):
    GOOD = "good under load"
    BAD = "bad"


class MotorCurrent(Enum):
    USUAL = "usual"
    HIGH = "high"
    NONE = "no current"


class Flap(Enum):
    THIN = "thin soot, moves"
    JAMS = "jams with soot"
    FREE = "clean and free"


class PositionByHand(Enum):
    FOLLOWS = "follows"
    JUMPS = "jumps"
    STAYS = "stays"


class Sound(Enum):
    EVEN = "runs evenly"
    STRAINS = "strains against something"
    SLIPS = "runs on, clicks or rattles"
    SILENT = "silent"


class DrivenOff(Enum):
    ALL = "moves all the way with force"
    WEAK = "slips, or stops short"
    NOT = "does not move"
    NOT_REACHED = "not reached"


class Stops(Enum):
    LEARNED = "as learned at both"
    BOTH = "off at both by as much"
    ONE = "off at one of them"
    NOT_REACHED = "not reached"


class AirDrop(Enum):
    MUCH = "by more than 25 %"
    SOME = "by 10 to 25 %"
    LITTLE = "by less than 10 %"
    NOT_REACHED = "not reached"


class AirMass(Enum):
    RIGHT = "within 10 % of what is expected"
    OFF = "off by more"


class Throttle(Enum):
    FOLLOWS = "follows"
    NOT = "does not follow"
    NOT_REACHED = "not reached"


class Coolant(Enum):
    KEPT = "kept"
    LOST = "lost, and no leak seen outside"


class CoolerDrop(Enum):
    USUAL = "usual"
    HIGH = "high"
    NOT_REACHED = "not reached"


sweep = egr.observation(
    "sweep",
    "Valve position while it is commanded from end to end",
    Sweep,
    only={valve_type: ELECTRIC},
    part=egr_valve,
    how="Key on, engine off; a scan tool that commands it, commanded and actual position side by side.",
    hazard=FINGERS,
    tells="Whether the valve moves as it is told",
    tells_each={
        Sweep.FOLLOWS: "The valve follows its command.",
        Sweep.SLOW: "The valve follows its command slowly or not all the way.",
        Sweep.NOT: "The valve does not follow its command.",
        Sweep.NOT_REACHED: "This could not be looked at here.",
    },
)
learned = egr.observation(
    "learned",
    "Closed position against the learned value",
    Learned,
    only={valve_type: ELECTRIC},
    part=egr_valve,
    how="Scan tool, key on, valve not commanded.",
    tells_each={
        Learned.AS_LEARNED: "The valve closes where it should.",
        Learned.OFF: "The valve does not close where it should.",
        Learned.NOT_REACHED: "This could not be looked at here.",
    },
)
fed = egr.observation(
    "fed",
    "Supply, ground and command at the valve, loaded",
    Fed,
    only={valve_type: ELECTRIC},
    part=egr_wiring,
    how="A lamp as load on supply and ground, never on a sensor or command wire; the command on a scope.",
    hazard=FINGERS,
    tells="Wiring of the valve",
    tells_each={
        Fed.GOOD: "The valve's wiring is as it should be.",
        Fed.BAD: "The valve's wiring is at fault.",
    },
)
motor_current = egr.observation(
    "motor_current",
    "Current of the valve's motor while commanded",
    MotorCurrent,
    only={valve_type: ELECTRIC},
    part=egr_valve,
    how="Current clamp around one motor wire, set to zero first.",
    hazard=FINGERS,
    tells="How hard the valve's motor works",
    tells_each={
        MotorCurrent.USUAL: "The valve's motor takes its usual current.",
        MotorCurrent.HIGH: "The valve's motor works too hard.",
        MotorCurrent.NONE: "The valve's motor takes no current.",
    },
    formerly={"none": MotorCurrent.NONE},
)
flap = egr.observation(
    "flap",
    "Valve removed: soot, and how it moves",
    Flap,
    only={valve_type: ELECTRIC},
    part=egr_valve,
    how="Engine cold, valve unplugged and removed; move it with a wooden or plastic rod, never force it.",
    hazard=f"{FINGERS} {HOT} {CARBON} {NO_SPRAY}",
    tells_each={
        Flap.THIN: "The valve has a little soot, as usual.",
        Flap.JAMS: "The valve is stuck with soot.",
        Flap.FREE: "The valve is clean.",
    },
)
position_by_hand = egr.observation(
    "position_by_hand",
    "Position signal while the flap is moved with a rod",
    PositionByHand,
    only={valve_type: ELECTRIC},
    part=egr_valve,
    how="Valve removed and plugged in for the signal only, not commanded; a rod, never a finger.",
    hazard=f"{FINGERS} {CARBON}",
    tells_each={
        PositionByHand.FOLLOWS: "The valve's position sensor works.",
        PositionByHand.JUMPS: "The valve's position sensor does not work as it should.",
        PositionByHand.STAYS: "The valve's position sensor does not work as it should.",
    },
)
sound = egr.observation(
    "sound",
    "Sound of the valve's motor while commanded",
    Sound,
    only={valve_type: (Valve.ELECTRIC,)},
    part=egr_valve,
    how="Key on, engine off; a scan tool that commands it; ear or stethoscope at its housing.",
    hazard=FINGERS,
    tells="How the valve's motor sounds",
    tells_each={
        Sound.EVEN: "The valve's motor runs evenly.",
        Sound.STRAINS: "The valve's motor works against something.",
        Sound.SLIPS: "The valve's motor turns without moving the valve as it should.",
        Sound.SILENT: "The valve's motor does not run.",
    },
)
driven_off = egr.observation(
    "driven_off",
    "Removed valve while it is commanded",
    DrivenOff,
    only={valve_type: ELECTRIC},
    part=egr_valve,
    how=(
        "Only where it moves freely by hand: plugged in and held down away from the engine, a scan tool"
        " commands it from end to end; a wooden rod feels its force."
    ),
    hazard=f"{FINGERS} {CARBON}",
    tells="Whether the removed valve moves as it is told",
    tells_each={
        DrivenOff.ALL: "Taken out, the valve moves as it is told.",
        DrivenOff.WEAK: "Taken out and free, the valve still does not move as it is told.",
        DrivenOff.NOT: "Taken out and free, the valve still does not move.",
        DrivenOff.NOT_REACHED: "This could not be looked at here.",
    },
)
stops = egr.observation(
    "stops",
    "Position signal of the removed valve at both its stops",
    Stops,
    only={valve_type: ELECTRIC},
    part=egr_valve,
    how=(
        "Only where it moves freely by hand: plugged in for the signal, not commanded; pressed to each stop"
        " with a rod, against what was learned or the vehicle's own figures."
    ),
    hazard=f"{FINGERS} {CARBON}",
    tells="What the valve says of its two ends",
    tells_each={
        Stops.LEARNED: "The valve says rightly where its two ends are.",
        Stops.BOTH: "The valve's position sensor is off by a fixed amount.",
        Stops.ONE: "The valve does not reach one of its ends as it should.",
        Stops.NOT_REACHED: "This could not be looked at here.",
    },
)
air_drop = egr.observation(
    "air_drop",
    "Fall of the air mass when the valve opens",
    AirDrop,
    how="Engine warm, at idle: air mass with the valve closed, then commanded open.",
    hazard=f"{GAS} {MOVING} {BURNS}",
    tells_each={
        AirDrop.MUCH: "Exhaust gas flows back when the valve opens.",
        AirDrop.SOME: "Too little exhaust gas flows back.",
        AirDrop.LITTLE: "Little or no exhaust gas flows back.",
        AirDrop.NOT_REACHED: "This could not be looked at here.",
    },
)
air_mass = egr.observation(
    "air_mass",
    "Air mass against what the engine should draw",
    AirMass,
    how="Valve closed, warm idle and 2500 rpm: displacement, speed, pressure, temperature say how much.",
    hazard=f"{GAS} {MOVING}",
    tells_each={
        AirMass.RIGHT: "The air is measured as it should be.",
        AirMass.OFF: "The air that the engine draws is measured wrongly.",
    },
)
throttle = egr.observation(
    "throttle",
    "Intake throttle while it is commanded",
    Throttle,
    only={engine: (Engine.DIESEL,)},
    how="Key on, engine off; a scan tool that commands it.",
    hazard=FINGERS,
    tells="Whether the intake flap moves as it is told",
    tells_each={
        Throttle.FOLLOWS: "The intake throttle works.",
        Throttle.NOT: "The intake throttle does not work.",
        Throttle.NOT_REACHED: "This could not be looked at here.",
    },
)
coolant = egr.observation(
    "coolant",
    "Coolant level over some days",
    Coolant,
    only={cooler_fitted: (Cooler.FITTED,)},
    how="Ask how often it was filled up; engine cold, look for a leak outside.",
    hazard=COOLER,
    tells_each={
        Coolant.KEPT: "No coolant is lost.",
        Coolant.LOST: "Coolant is lost inside the engine or its cooler.",
    },
)
cooler_drop = egr.observation(
    "cooler_drop",
    "Pressure drop across the EGR cooler",
    CoolerDrop,
    only={cooler_fitted: (Cooler.FITTED,)},
    how="Where there are taps: valve open, warm, both sides against the vehicle's own figure.",
    hazard=f"{GAS} {MOVING} {HOT}",
    tells="How freely gas flows through the cooler",
    tells_each={
        CoolerDrop.USUAL: "The cooler lets exhaust gas through.",
        CoolerDrop.HIGH: "The cooler is clogged.",
        CoolerDrop.NOT_REACHED: "This could not be looked at here.",
    },
)

_SAYS: dict[Enum, Seen] = {
    Sweep.FOLLOWS: Seen(True, "Commanded from end to end, the valve follows."),
    Sweep.SLOW: Seen(
        False,
        "Commanded from end to end, the valve is slow or stops short: soot mostly, then the motor.",
    ),
    Sweep.NOT: Seen(
        False,
        "Commanded from end to end, the valve does not follow: motor, wiring, soot or its position sensor.",
    ),
    Learned.AS_LEARNED: Seen(True, "Closed, the valve stands where it was learned."),
    Learned.OFF: Seen(
        False,
        "Closed, the valve stands off its learned value: soot under it, wear, or it was never taught.",
    ),
    Fed.GOOD: Seen(
        True,
        "Supply, ground and command at the valve are good under load.",
    ),
    Fed.BAD: Seen(
        False,
        "Supply, ground or command at the valve is bad under load: repair it before the valve is judged.",
        repair_wiring,
    ),
    MotorCurrent.USUAL: Seen(True, "The valve's motor takes its usual current."),
    MotorCurrent.HIGH: Seen(
        False,
        "The valve's motor takes too much current: it is held, by soot mostly, or shorted.",
    ),
    MotorCurrent.NONE: Seen(
        False,
        "The valve's motor takes no current: it is open, or nothing is sent to it.",
    ),
    Flap.THIN: Seen(
        True,
        "The removed valve has thin soot, as usual, and moves.",
    ),
    Flap.FREE: Seen(True, "The removed valve is clean and moves freely."),
    Flap.JAMS: Seen(
        False,
        "The removed valve jams with soot: clean it, teach it, sweep it again.",
        clean,
    ),
    PositionByHand.FOLLOWS: Seen(
        True,
        "Moved with a rod, the valve's position signal follows evenly.",
    ),
    PositionByHand.JUMPS: Seen(
        False,
        "Moved with a rod, the valve's position signal jumps.",
        replace_valve,
    ),
    PositionByHand.STAYS: Seen(
        False,
        "Moved with a rod, the valve's position signal stays: with supply and wiring good, it is the sensor.",
        replace_valve,
    ),
    Sound.EVEN: Seen(True, "Commanded, the valve's motor runs evenly."),
    Sound.STRAINS: Seen(
        False,
        "Commanded, the valve's motor strains against something: soot mostly.",
    ),
    Sound.SLIPS: Seen(
        False,
        "Commanded, the valve's motor runs on, clicks or rattles: its gear slips, mostly. The removed valve"
        " shows it.",
    ),
    Sound.SILENT: Seen(
        False,
        "Commanded, the valve's motor is silent: it is open, or nothing arrives. Feed and command first.",
    ),
    DrivenOff.ALL: Seen(True, "Removed and commanded, the valve moves all the way with force."),
    DrivenOff.WEAK: Seen(
        False,
        "Removed, free by hand and commanded, the valve slips or stops short: motor or gear.",
        replace_valve,
    ),
    DrivenOff.NOT: Seen(
        False,
        "Removed, free by hand and commanded, the valve does not move: with feed and command good it is its"
        " motor.",
        replace_valve,
    ),
    Stops.LEARNED: Seen(True, "Pressed to both its stops, the removed valve shows what was learned."),
    Stops.BOTH: Seen(
        False,
        "Pressed to both its stops, the removed valve's position signal is off by as much at each: its sensor"
        " has drifted.",
        replace_valve,
    ),
    Stops.ONE: Seen(
        False,
        "Pressed to both its stops, the removed valve's position signal is off at one: soot or a bent flap"
        " there, or its sensor.",
    ),
    AirDrop.MUCH: Seen(
        True,
        "When the valve opens, the air mass falls by more than 25 %: exhaust flows.",
    ),
    AirDrop.SOME: Seen(
        False,
        "When the valve opens, the air mass falls by 10 to 25 % only: too little exhaust flows.",
    ),
    AirDrop.LITTLE: Seen(
        False,
        "When the valve opens, the air mass hardly falls: little or no exhaust flows.",
    ),
    AirMass.RIGHT: Seen(True, "The air mass is within 10 % of what is expected."),
    AirMass.OFF: Seen(
        False,
        "The air mass is off by more than 10 %: the meter, or air that passes it by.",
    ),
    Throttle.FOLLOWS: Seen(True, "The intake throttle follows its command."),
    Throttle.NOT: Seen(False, "The intake throttle does not follow its command."),
    Coolant.KEPT: Seen(True, "No coolant is lost."),
    Coolant.LOST: Seen(
        False,
        "Coolant is lost and no leak is seen outside: EGR cooler or head gasket. Do not crank it if it may"
        " stand in a cylinder.",
    ),
    CoolerDrop.USUAL: Seen(True, "The pressure drop across the EGR cooler is usual."),
    CoolerDrop.HIGH: Seen(False, "The pressure drop across the EGR cooler is high: it is clogged."),
}


def _sighting(case: ck.Case, of: ck.Observation, answer: Enum) -> Iterator[ck.Finding | ck.Gap]:
    if answer in _SAYS:
        yield said(case, of, of.key, answer, _SAYS)
    else:
        yield case.gap(of, f"{of.title}: not reached, so it says nothing.")


@egr.check("Valve position over its range")
def swept(case: ck.Case, seen: Annotated[Sweep, sweep]) -> Iterator[ck.Finding | ck.Gap]:
    """Motor, soot and position sensor together; which of them, other tests say."""
    yield from _sighting(case, sweep, seen)


@egr.check("Closed position against the learned value")
def learned_read(case: ck.Case, seen: Annotated[Learned, learned]) -> Iterator[ck.Finding | ck.Gap]:
    """Soot under the flap shows here first."""
    yield from _sighting(case, learned, seen)


@egr.check("Supply, ground and command of the valve")
def fed_tested(case: ck.Case, seen: Annotated[Fed, fed]) -> Iterator[ck.Finding | ck.Gap]:
    """Before a motor is blamed that nothing drives."""
    yield from _sighting(case, fed, seen)


@egr.check("Current of the valve's motor")
def current_read(
    case: ck.Case, seen: Annotated[MotorCurrent, motor_current], feed: Annotated[Fed | None, fed]
) -> Iterator[ck.Finding | ck.Gap]:
    """Held, open, or as usual. With a feed that is good under load, none at all is an open motor."""
    if seen is MotorCurrent.NONE and feed is Fed.GOOD:
        yield case.visual(
            motor_current,
            ck.Claim("egr.motor_current", calls_for=replace_valve),
            "The valve's motor takes no current, though its feed is good under load: it is open.",
            passes=False,
            tells=motor_current.told(seen.value),
        )
        return
    yield from _sighting(case, motor_current, seen)


@egr.check("Soot and movement of the removed valve")
def flap_looked_at(case: ck.Case, seen: Annotated[Flap, flap]) -> Iterator[ck.Finding | ck.Gap]:
    """The direct look."""
    yield from _sighting(case, flap, seen)


@egr.check("Position signal while moved by hand")
def position_tried(
    case: ck.Case, seen: Annotated[PositionByHand, position_by_hand]
) -> Iterator[ck.Finding | ck.Gap]:
    """Parts the position sensor from the motor."""
    yield from _sighting(case, position_by_hand, seen)


@egr.check("Sound of the valve's motor")
def motor_heard(case: ck.Case, heard: Annotated[Sound, sound]) -> Iterator[ck.Finding | ck.Gap]:
    """Held from outside or slipping inside: an ear tells in a minute what else takes the valve off."""
    yield from _sighting(case, sound, heard)


@egr.check("Removed valve, commanded")
def driven_while_off(
    case: ck.Case, seen: Annotated[DrivenOff, driven_off], feed: Annotated[Fed | None, fed]
) -> Iterator[ck.Finding | ck.Gap]:
    """The direct look at motor and gear: nothing holds it now. One that stands still speaks of them only
    where its feed is good.
    """
    if seen is DrivenOff.NOT and feed is not Fed.GOOD:
        yield case.inconclusive(
            ck.Claim(
                driven_off.key, evidence=case.noted(driven_off), next_test=fed if feed is None else None
            ),
            "Removed, free by hand and commanded, the valve does not move. Supply, ground and command under"
            " load before its motor is blamed.",
            tells=driven_off.told(seen.value),
        )
        return
    yield from _sighting(case, driven_off, seen)


@egr.check("Position signal at both stops")
def stops_read(case: ck.Case, seen: Annotated[Stops, stops]) -> Iterator[ck.Finding | ck.Gap]:
    """Off at both by as much is the sensor, for the flap rests on metal at each."""
    yield from _sighting(case, stops, seen)


@egr.check("Fall of the air mass")
def air_drop_read(case: ck.Case, seen: Annotated[AirDrop, air_drop]) -> Iterator[ck.Finding | ck.Gap]:
    """Exhaust that flows takes the place of fresh air."""
    yield from _sighting(case, air_drop, seen)


@egr.check("Air mass against what is expected")
def air_mass_read(case: ck.Case, seen: Annotated[AirMass, air_mass]) -> Iterator[ck.Finding | ck.Gap]:
    """A wrong air mass makes right exhaust look wrong."""
    yield from _sighting(case, air_mass, seen)


@egr.check("Intake throttle")
def throttle_commanded(case: ck.Case, seen: Annotated[Throttle, throttle]) -> Iterator[ck.Finding | ck.Gap]:
    """It draws the exhaust in."""
    yield from _sighting(case, throttle, seen)


@egr.check("Coolant level")
def coolant_asked(case: ck.Case, seen: Annotated[Coolant, coolant]) -> Iterator[ck.Finding | ck.Gap]:
    """A cooler that leaks inside loses coolant that nobody sees."""
    yield from _sighting(case, coolant, seen)


@egr.check("Pressure drop across the cooler")
def cooler_drop_read(
    case: ck.Case, seen: Annotated[CoolerDrop, cooler_drop]
) -> Iterator[ck.Finding | ck.Gap]:
    """Rarely within reach; where it is, it is plain."""
    yield from _sighting(case, cooler_drop, seen)
