"""What hand, eye and ear find out about a valve that vacuum opens: pulses, ports, seat, filter, and a vacuum
led past its control. Each says in one sentence what was seen.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from enum import Enum
from typing import Annotated

import attrs

import corekit as ck

from .declarations import (
    BELOW,
    BY_VACUUM,
    CARBON,
    GAS,
    HOT,
    MOVING,
    SHORTLY,
    WITH_HOSES,
    Valve,
    clean,
    clean_filter,
    egr,
    egr_ports,
    egr_regulator,
    egr_sensor,
    egr_valve,
    egr_vent_filter,
    replace_regulator,
    replace_sensor,
    replace_valve,
    sensor_type,
    valve_type,
)


class WarmIdle(Enum):
    EVEN = "idles evenly"
    ROUGH = "idles roughly"
    ROUGH_ONLY = "rough at idle, runs well at speed"


class Pulses(Enum):
    BOTH = "felt at both"
    ONE = "missing at one"
    NEITHER = "missing at both"


class Seat(Enum):
    TIGHT = "tight"
    LEAKS = "leaks"


class Bypass(Enum):
    REACTS = "engine reacts"
    NOTHING = "no change"


class Ports(Enum):
    FREE = "free"
    BLOCKED = "blocked"


class Exhaust(Enum):
    TIGHT = "as built and tight"
    LEAKS = "leaks, or opened up"
    BLOCKED = "blocked"


class CoilPath(Enum):
    VALUE = "reads a value"
    OPEN = "reads open"
    SHORTED = "reads shorted"


class VentFilter(Enum):
    CLEAN = "clean"
    BLOCKED = "blocked"


class StemByHand(Enum):
    SPRINGS = "moves and springs back"
    GRITTY = "moves partly, or grates"
    STICKS = "does not move"
    NOT_REACHED = "not reached"


class Beside(Enum):
    SAME = "the same"
    ANOTHER = "another by 0.2 V or more"
    NOT_REACHED = "not reached"


class Raised(Enum):
    OPENS = "holds, and the engine reacts"
    NO_REACTION = "holds, no reaction"
    LETS_GO = "does not hold"


warm_idle = egr.observation(
    "rough",
    "Idle when warm",
    WarmIdle,
    how="Engine warm, nothing unplugged, air conditioning off; ask how long it has been so.",
    hazard=f"{GAS} {MOVING}",
    tells_each={
        WarmIdle.EVEN: "The warm engine runs evenly.",
        WarmIdle.ROUGH: "The warm engine does not run evenly.",
        WarmIdle.ROUGH_ONLY: "The warm engine runs unevenly at idle and well on the road.",
    },
)
pulses = egr.observation(
    "pulses",
    "Exhaust pulses at the sensing ports",
    Pulses,
    part=egr_ports,
    only={valve_type: BY_VACUUM, sensor_type: WITH_HOSES},
    how=(
        "Both sensing hoses off at the sensor, engine idling, valve opened by hand for a moment: feel the"
        " pulses at each hose end."
    ),
    hazard=f"{GAS} {MOVING} {HOT} {SHORTLY}",
    tells_each={
        Pulses.BOTH: "Both lines of the sensor are open.",
        Pulses.ONE: "One of the two lines of the sensor is blocked or open.",
        Pulses.NEITHER: "No exhaust gas arrives at the sensor.",
    },
)
ports = egr.observation(
    "ports",
    "Sensing ports of the metering tube",
    Ports,
    part=egr_ports,
    only={valve_type: BY_VACUUM, sensor_type: WITH_HOSES},
    how="Engine off and cold, hoses off the tube: push a thin wire through each port, without enlarging it.",
    hazard=f"{HOT} {CARBON} {BELOW}",
    tells="Openings through which the sensor reads",
    tells_each={
        Ports.FREE: "The sensing ports are free.",
        Ports.BLOCKED: "A port through which the sensor reads the flow is blocked.",
    },
)
seat = egr.observation(
    "seat",
    "Seat of the closed valve",
    Seat,
    part=egr_valve,
    only={valve_type: BY_VACUUM},
    how=(
        "Valve removed and closed: light or a hand pump's vacuum across the seat. Not a back-pressure valve."
    ),
    hazard=f"{HOT} {CARBON}",
    tells_each={
        Seat.TIGHT: "The valve closes tightly.",
        Seat.LEAKS: "The valve does not close tightly.",
    },
)
bypass = egr.observation(
    "bypass",
    "Engine reaction with vacuum led straight to the valve",
    Bypass,
    only={valve_type: BY_VACUUM},
    how=(
        "Warm, at idle: a hose from a manifold port straight to the valve, past its regulator, for a moment."
        " Put the hoses back afterwards."
    ),
    hazard=f"{GAS} {MOVING} {HOT} {SHORTLY}",
    tells_each={
        Bypass.REACTS: "Opened past its control, the valve lets exhaust gas through as it should.",
        Bypass.NOTHING: "Opened past its control, the valve lets no exhaust gas through.",
    },
)
exhaust = egr.observation(
    "exhaust",
    "Exhaust from the manifold to the tail",
    Exhaust,
    how=(
        "Look and listen for leaks, and for parts that are not as built. It is blocked where the vacuum falls"
        " while 2500 rpm are held."
    ),
    hazard=f"{GAS} {MOVING} {HOT} {BELOW}",
    tells="The exhaust from the engine to the tail",
    tells_each={
        Exhaust.TIGHT: "The exhaust is tight.",
        Exhaust.LEAKS: "The exhaust leaks or was altered, so too little gas is led back.",
        Exhaust.BLOCKED: "The exhaust is blocked, so gas cannot leave the engine as it should.",
    },
)
coil_path = egr.observation(
    "coil_path",
    "Coil of the vacuum regulator with an ohmmeter",
    CoilPath,
    part=egr_regulator,
    only={valve_type: BY_VACUUM},
    how=(
        "Regulator unplugged, key off, across its pins. OL on every range: it reads open. Hardly more than"
        " the leads held together: shorted. Cold and hot, for some open only when hot."
    ),
    tells="Electrical part of the valve's control, whole or broken",
    tells_each={
        CoilPath.VALUE: "The electrical part of the valve's control is whole.",
        CoilPath.OPEN: "The electrical part of the valve's control is broken.",
        CoilPath.SHORTED: "The electrical part of the valve's control is broken.",
    },
)
vent_filter = egr.observation(
    "vent_filter",
    "Vent filter of the vacuum regulator",
    VentFilter,
    part=egr_vent_filter,
    only={valve_type: BY_VACUUM},
    how="On or under the regulator's cap; oily dust or foam fallen apart blocks it.",
    hazard=HOT,
    tells="Air filter of the valve's control",
    tells_each={
        VentFilter.CLEAN: "The filter of the valve's control is clean.",
        VentFilter.BLOCKED: "The filter of the valve's control is blocked.",
    },
)

stem_by_hand = egr.observation(
    "stem_by_hand",
    "Valve stem pressed by hand",
    StemByHand,
    part=egr_valve,
    only={valve_type: (Valve.VACUUM,)},
    how=(
        "Engine off and cold: press the stem or the diaphragm's plate up through the opening of the housing,"
        " with a blunt tool, never with force."
    ),
    hazard=f"{HOT} {CARBON}",
    tells="Whether the valve moves when it is pressed",
    tells_each={
        StemByHand.SPRINGS: "Pressed by hand, the valve moves freely.",
        StemByHand.GRITTY: "Pressed by hand, the valve moves with difficulty.",
        StemByHand.STICKS: "Even pressed by hand, the valve does not move.",
        StemByHand.NOT_REACHED: "This could not be looked at here.",
    },
)
sensor_beside = egr.observation(
    "sensor_beside",
    "Signal of a sensor known to be good beside this one",
    Beside,
    part=egr_sensor,
    only={valve_type: BY_VACUUM, sensor_type: WITH_HOSES},
    how=(
        "Key on, engine off, hoses off: both sensors of the same type one after the other on the same plug,"
        " signal against sensor ground. Without such a sensor at hand: not reached."
    ),
    hazard=HOT,
    tells="What a good sensor shows in its place",
    tells_each={
        Beside.SAME: "A good sensor shows the same, so this one reads right at rest.",
        Beside.ANOTHER: "A good sensor shows something else in its place: this one reads wrong.",
        Beside.NOT_REACHED: "This could not be looked at here.",
    },
)
raised = egr.observation(
    "raised",
    "Back-pressure valve with vacuum at 2500 rpm",
    Raised,
    only={valve_type: (Valve.BACK_PRESSURE,)},
    part=egr_valve,
    how="Hand pump on the valve, 10 inHg, engine warm; raise it to about 2500 rpm for a moment.",
    hazard=f"{GAS} {MOVING} {HOT}",
    tells="Whether the valve opens at higher engine speed",
    tells_each={
        Raised.OPENS: "The valve opens as it should.",
        Raised.NO_REACTION: "The valve lets no exhaust gas through.",
        Raised.LETS_GO: "The valve does not hold what should open it.",
    },
)


@attrs.frozen
class Seen:
    """What one answer says in the trade's words, and whether all is well; the customer's stand with it."""

    passes: bool
    says: str
    calls_for: ck.Operation | None = None


def said(
    case: ck.Case, of: ck.Observation, code: str, answer: Enum, words: Mapping[Enum, Seen]
) -> ck.Finding:
    """The finding of one answer."""
    seen = words[answer]
    return case.visual(
        of,
        ck.Claim(code, calls_for=seen.calls_for),
        seen.says,
        passes=seen.passes,
        tells=of.told(answer.value),
    )


@egr.check("Idle when warm")
def idle_looked_at(case: ck.Case, seen: Annotated[WarmIdle, warm_idle]) -> Iterator[ck.Finding | ck.Gap]:
    """Many things make an engine idle roughly, so this only advises."""
    even = seen is WarmIdle.EVEN
    yield case.advise(
        ck.Claim(
            "egr.rough",
            evidence=case.noted(warm_idle),
            urgency=ck.Urgency.NOTHING if even else ck.Urgency.THIS_VISIT,
        ),
        "The warm engine idles evenly."
        if even
        else (
            "The warm engine idles roughly and runs well at speed. Exhaust that flows at idle does that: idle"
            " feels it far more than cruise."
        )
        if seen is WarmIdle.ROUGH_ONLY
        else (
            "The warm engine idles roughly. A valve that does not close does that, and so do an air leak and"
            " a misfire."
        ),
        tells=warm_idle.told(seen.value),
    )


_PULSES: dict[Enum, Seen] = {
    Pulses.BOTH: Seen(True, "Exhaust pulses are felt at both sensing ports."),
    Pulses.ONE: Seen(
        False,
        "At one sensing port no pulses are felt: port or hose is blocked there, or the hose is off.",
    ),
    Pulses.NEITHER: Seen(
        False,
        "At neither sensing port pulses are felt: no exhaust arrives there, or both are blocked.",
    ),
}


@egr.check("Exhaust pulses at the sensing ports")
def pulses_felt(case: ck.Case, felt: Annotated[Pulses, pulses]) -> Iterator[ck.Finding | ck.Gap]:
    """Before a sensor is blamed that was never told anything."""
    yield said(case, pulses, "egr.pulses", felt, _PULSES)


_PORTS: dict[Enum, Seen] = {
    Ports.FREE: Seen(True, "The sensing ports of the metering tube are free."),
    Ports.BLOCKED: Seen(
        False,
        "A sensing port of the metering tube is blocked: the sensor cannot see the flow.",
        clean,
    ),
}


@egr.check("Sensing ports of the metering tube")
def ports_probed(case: ck.Case, found: Annotated[Ports, ports]) -> Iterator[ck.Finding | ck.Gap]:
    """A sound sensor behind a blocked port looks like a bad one."""
    yield said(case, ports, "egr.ports", found, _PORTS)


_SEAT: dict[Enum, Seen] = {
    Seat.TIGHT: Seen(True, "The closed valve is tight at its seat."),
    Seat.LEAKS: Seen(
        False,
        "The closed valve leaks at its seat: exhaust flows when none should. Clean it, then try again.",
        clean,
    ),
}
_SEAT_CLEANED: dict[Enum, Seen] = {
    **_SEAT,
    Seat.LEAKS: Seen(
        False,
        "The cleaned valve still leaks at its seat: exhaust flows when none should.",
        replace_valve,
    ),
}


@egr.check("Seat of the closed valve")
def seat_looked_at(case: ck.Case, found: Annotated[Seat, seat]) -> Iterator[ck.Finding | ck.Gap]:
    """The direct look at a valve that lets exhaust through when closed."""
    words = _SEAT_CLEANED if clean.key in case.repairs else _SEAT
    yield said(case, seat, "egr.seat", found, words)


_BYPASS: dict[Enum, Seen] = {
    Bypass.REACTS: Seen(
        True,
        "With vacuum led straight to the valve the engine reacts: valve and passage work.",
    ),
    Bypass.NOTHING: Seen(
        False,
        "With vacuum led straight to the valve nothing changes: valve, passage, or the vacuum itself.",
    ),
}


@egr.check("Vacuum led straight to the valve")
def bypass_tried(case: ck.Case, felt: Annotated[Bypass, bypass]) -> Iterator[ck.Finding | ck.Gap]:
    """Parts the control from the valve behind it."""
    yield said(case, bypass, "egr.bypass", felt, _BYPASS)


_BESIDE: dict[Enum, Seen] = {
    Beside.SAME: Seen(
        True,
        "A sensor known to be good shows the same on the same plug, hoses off: this one's zero is right.",
    ),
    Beside.ANOTHER: Seen(
        False,
        "A sensor known to be good shows another signal on the same plug, hoses off: this one's zero is off.",
        replace_sensor,
    ),
}


@egr.check("Sensor beside one known to be good")
def sensors_compared(case: ck.Case, found: Annotated[Beside, sensor_beside]) -> Iterator[ck.Finding | ck.Gap]:
    """A drifted zero without any figure of its type: wiring and meter are the same for both."""
    if found in _BESIDE:
        yield said(case, sensor_beside, "egr.sensor_beside", found, _BESIDE)
    else:
        yield case.gap(sensor_beside, f"{sensor_beside.title}: not reached, so it says nothing.")


_PRESSED: dict[Enum, Seen] = {
    StemByHand.SPRINGS: Seen(
        True,
        "Pressed by hand, the valve's stem moves and springs back: nothing holds it.",
    ),
    StemByHand.GRITTY: Seen(
        False,
        "Pressed by hand, the valve's stem moves partly or grates: clean it, then try again.",
        clean,
    ),
    StemByHand.STICKS: Seen(
        False,
        "Pressed by hand, the valve's stem does not move: clean it, then try again.",
        clean,
    ),
}
_PRESSED_CLEANED: dict[Enum, Seen] = {
    StemByHand.SPRINGS: _PRESSED[StemByHand.SPRINGS],
    StemByHand.GRITTY: Seen(
        False, "Pressed by hand, the cleaned valve's stem still moves partly or grates.", replace_valve
    ),
    StemByHand.STICKS: Seen(
        False, "Pressed by hand, the cleaned valve's stem still does not move.", replace_valve
    ),
}


@egr.check("Valve stem pressed by hand")
def stem_pressed(case: ck.Case, found: Annotated[StemByHand, stem_by_hand]) -> Iterator[ck.Finding | ck.Gap]:
    """Parts a valve that is held from a diaphragm that does not pull."""
    words = _PRESSED_CLEANED if clean.key in case.repairs else _PRESSED
    if found in words:
        yield said(case, stem_by_hand, "egr.stem_by_hand", found, words)
    else:
        yield case.gap(stem_by_hand, f"{stem_by_hand.title}: not reached, so it says nothing.")


_FILTER: dict[Enum, Seen] = {
    VentFilter.CLEAN: Seen(True, "The regulator's vent filter is clean."),
    VentFilter.BLOCKED: Seen(
        False,
        "The regulator's vent filter is blocked: it vents late or not at all, and its vacuum is wrong.",
        clean_filter,
    ),
}


@egr.check("Vent filter of the vacuum regulator")
def vent_filter_looked_at(
    case: ck.Case, found: Annotated[VentFilter, vent_filter]
) -> Iterator[ck.Finding | ck.Gap]:
    """A minute's look before a regulator is renewed."""
    yield said(case, vent_filter, "egr.vent_filter", found, _FILTER)


_COIL: dict[Enum, Seen] = {
    CoilPath.VALUE: Seen(
        True,
        "The regulator's coil is neither open nor shorted; what it reads is held against this vehicle's own"
        " figure.",
    ),
    CoilPath.OPEN: Seen(
        False,
        "The regulator's coil is open: it cannot work. Its plug's pins before it is renewed.",
        replace_regulator,
    ),
    CoilPath.SHORTED: Seen(
        False,
        "The regulator's coil is shorted: it cannot work, and it may have harmed what drives it.",
        replace_regulator,
    ),
}


@egr.check("Coil of the vacuum regulator, open or shorted")
def coil_looked_at(case: ck.Case, found: Annotated[CoilPath, coil_path]) -> Iterator[ck.Finding | ck.Gap]:
    """Open and shorted are plain whatever the design, and a display shows no number of them."""
    yield said(case, coil_path, "egr.coil_path", found, _COIL)


_EXHAUST: dict[Enum, Seen] = {
    Exhaust.TIGHT: Seen(True, "The exhaust is as built and tight."),
    Exhaust.LEAKS: Seen(
        False,
        "The exhaust leaks or is opened up: less pressure drives exhaust back, and a back-pressure valve may"
        " never open. Put that right before the EGR is judged.",
    ),
    Exhaust.BLOCKED: Seen(
        False,
        "The exhaust is blocked: more pressure drives exhaust back than the engine can take, and a pressure"
        " sensor reads more. Put that right before the EGR is judged.",
    ),
}


@egr.check("Exhaust from the manifold to the tail")
def exhaust_looked_at(case: ck.Case, found: Annotated[Exhaust, exhaust]) -> Iterator[ck.Finding | ck.Gap]:
    """What drives exhaust back lies outside this system, and misleads every test of it."""
    yield said(case, exhaust, "egr.exhaust", found, _EXHAUST)
