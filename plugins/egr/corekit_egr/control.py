"""The control of a valve that vacuum opens, part by part: command against what arrives, vacuum at the
regulator's outlet against that at the valve, the hose between, the drive on which it stops, and the
back-pressure valve.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .declarations import (
    BY_VACUUM,
    ELECTRIC,
    GAS,
    HOT,
    MOVING,
    Regulator,
    Valve,
    duty,
    egr,
    hold_loss,
    hose_loss,
    regulator_type,
    repair_wiring,
    replace_regulator,
    replace_vacuum_hose,
    supply_vacuum,
    vacuum_on,
    vacuum_outlet,
    valve_type,
)
from .live import NOTHING_ASKED, commanded_opening
from .observations import Raised, Seen, raised, said
from .vacuum import COMMANDED, is_fed, vacuum_by_duty

NO_VACUUM = "This valve is electric; there is no vacuum to measure."


class Drive(Enum):
    FOLLOWS = "comes and goes with the throttle"
    STOPS = "stops after a while, supply stays"
    BOTH_STOP = "stops together with the supply"
    NEVER = "never any"


class Plugged(Enum):
    EVEN = "idles evenly then"
    ROUGH = "idles roughly all the same"


drive = egr.observation(
    "vacuum_drive",
    "Vacuum at the valve on a drive",
    Drive,
    only={valve_type: BY_VACUUM},
    how=(
        "Two gauges with long hoses, one on the supply and one at the valve, read by a second person; note"
        " after how many minutes it changes."
    ),
    hazard=f"{HOT} Who drives does not read gauges; no hose in the way of pedals.",
    tells_each={
        Drive.FOLLOWS: "On the road the valve's control works.",
        Drive.STOPS: "On the road the valve's control stops working after a while.",
        Drive.BOTH_STOP: "On the road the valve loses the vacuum that moves it.",
        Drive.NEVER: "On the road the valve never gets vacuum.",
    },
)
plugged = egr.observation(
    "idle_plugged",
    "Idle with the valve's vacuum hose off and plugged",
    Plugged,
    only={valve_type: BY_VACUUM},
    how="Engine warm, at idle: pull the hose off the valve and close it with a finger or a plug.",
    hazard=f"{GAS} {MOVING} {HOT}",
    tells_each={
        Plugged.EVEN: "Without its vacuum line the valve closes: its control opens it at the wrong time.",
        Plugged.ROUGH: "The valve's control is not what disturbs the idle.",
    },
)


@egr.check("Vacuum at the regulator outlet")
def outlet(
    case: ck.Case,
    leaving: Annotated[ck.Reading, vacuum_outlet],
    arriving: Annotated[ck.Reading | None, vacuum_on],
    command: Annotated[ck.Reading | None, duty],
    source: Annotated[ck.Reading | None, supply_vacuum],
    loss: Annotated[ck.Reading | None, hold_loss],
    valve: Annotated[Valve | None, valve_type],
    kind: Annotated[Regulator | None, regulator_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """What leaves the regulator, and how much of it arrives: a leak behind it is not the regulator."""
    if valve in ELECTRIC:
        yield case.does_not_apply(NO_VACUUM)
        return
    limit = vacuum_by_duty(case, vacuum_outlet, command, kind)
    if limit is None:
        yield case.inconclusive(
            ck.Claim("egr.vacuum_outlet", evidence=[leaving], next_test=vacuum_outlet),
            "The regulator is hardly commanded, so {value} at its outlet says nothing. Command it, read"
            " again.",
            leaving,
            tells="The valve's control was not switched on, so nothing can be said of it yet.",
        )
        return
    yield case.judge(
        leaving,
        limit,
        ck.Claim(
            "egr.vacuum_outlet",
            evidence=[one for one in (command, source) if one is not None],
            calls_for=replace_regulator if is_fed(case, source) else None,
            next_test=vacuum_outlet,
        ),
        ck.Says(
            passes="At its outlet the regulator gives {value}; {limit} is expected of this command.",
            fails=(
                "At its outlet the regulator gives only {value}; {limit} is expected of this command.{then}"
            ),
            undecided="At its outlet the regulator gives {value}, too close to {limit} to call.",
        ),
        ck.Tells(
            passes="The valve's control gives the vacuum it should.",
            fails="The valve's control gives too little vacuum.",
            undecided="Whether the valve's control gives enough vacuum could not be told yet.",
        ),
        values={"then": "" if source is not None else " Measure its supply before it is blamed."},
    )
    if arriving is None:
        return
    holds = loss is not None and case.side(loss, case.limit(hold_loss)) is ck.Side.INSIDE
    yield case.judge(
        leaving.value - arriving.value,
        case.limit("egr.hose_drop"),
        ck.Claim(
            "egr.hose_drop",
            of=vacuum_on,
            unit="inHg diff",
            evidence=[leaving, arriving],
            calls_for=replace_vacuum_hose if holds else None,
            next_test=vacuum_on,
        ),
        ck.Says(
            passes="What leaves the regulator arrives at the valve, within {limit}.",
            fails="Between regulator and valve {value} are lost: {where}",
            undecided=(
                "Between regulator and valve {value} are lost, where {limit} is usual: too close to call."
            ),
        ),
        ck.Tells(
            passes="The vacuum arrives at the valve.",
            fails="Vacuum is lost on its way to the valve.",
            undecided="Whether vacuum is lost on its way to the valve could not be told yet.",
        ),
        values={
            "where": (
                "the valve itself holds, so the hose leaks."
                if holds
                else "the hose leaks, or the valve's diaphragm. Try whether each holds vacuum by itself."
            )
        },
    )


@egr.check("Command at the regulator connector")
def command_arrives(
    case: ck.Case,
    arriving: Annotated[ck.Reading, duty],
    asked: Annotated[ck.Reading | None, commanded_opening],
) -> Iterator[ck.Finding | ck.Gap]:
    """Without a command no regulator gives vacuum; at idle there is none on purpose."""
    if arriving.number >= COMMANDED:
        yield case.advise(
            ck.Claim("egr.command", evidence=[arriving], urgency=ck.Urgency.NOTHING, grade="present"),
            "A command of {value} arrives at the regulator.",
            arriving,
            tells="The valve's control is told to open.",
        )
    elif asked is None:
        yield case.inconclusive(
            ck.Claim("egr.command", evidence=[arriving], next_test=commanded_opening),
            (
                "At the regulator {value} arrives. Whether more was required is not known: at idle"
                " nothing is"
                " asked. Command it with the scan tool, or read the commanded opening beside it."
            ),
            arriving,
            tells="Whether the valve was told to open at that moment is not known yet.",
        )
    elif asked.number < NOTHING_ASKED:
        yield case.inconclusive(
            ck.Claim("egr.command", evidence=[arriving, asked], next_test=duty),
            "The ECU asks for {asked} and {value} arrives: nothing was asked. Read it while it is.",
            arriving,
            tells="The valve was not told to open at that moment, so this says nothing yet.",
            values={"asked": ck.show(asked.value, "%", uncertainty=False)},
        )
    else:
        yield case.advise(
            ck.Claim(
                "egr.command",
                evidence=[arriving, asked],
                urgency=ck.Urgency.THIS_VISIT,
                calls_for=repair_wiring,
                grade="absent",
            ),
            (
                "The ECU asks for {asked} of opening, and at the regulator {value} arrives: wire,"
                " plug or driver, before the regulator."
            ),
            arriving,
            tells="The valve is told to open, but the command does not arrive.",
            values={"asked": ck.show(asked.value, "%", uncertainty=False)},
        )


@egr.check("Whether the hose holds vacuum")
def hose_holds(
    case: ck.Case,
    loss: Annotated[ck.Reading, hose_loss],
    valve: Annotated[Valve | None, valve_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """A hose has nothing that may let vacuum go on purpose."""
    if valve in ELECTRIC:
        yield case.does_not_apply(NO_VACUUM)
        return
    yield case.judge(
        loss,
        case.limit(hose_loss),
        ck.Claim("egr.hose_loss", calls_for=replace_vacuum_hose, next_test=hose_loss),
        ck.Says(
            passes="The hose holds its vacuum: it loses {value} in a minute.",
            fails="The hose loses {value} of vacuum in a minute; {limit} is usual: it leaks.",
            undecided=(
                "The hose loses {value} of vacuum in a minute, where {limit} is usual: too close to call."
            ),
        ),
        ck.Tells(
            passes="The vacuum hose is tight.",
            fails="The vacuum hose leaks.",
            undecided="Whether the vacuum hose leaks could not be told yet.",
        ),
    )


_DRIVE: dict[Enum, Seen] = {
    Drive.FOLLOWS: Seen(
        True,
        "On a drive the vacuum at the valve comes and goes with the throttle, as it should.",
    ),
    Drive.STOPS: Seen(
        False,
        "On a drive the vacuum at the valve stops while the supply stays: the regulator when warm, its"
        " wiring, or"
        " an ECU that switches it off because something else is not plausible. Log the command"
        " beside it,"
        " read the coil cold and hot, and see which comes first, the pending code or the end of the vacuum.",
    ),
    Drive.BOTH_STOP: Seen(
        False,
        "On a drive the vacuum at the valve stops together with its supply: hoses or check valve before the"
        " regulator.",
    ),
    Drive.NEVER: Seen(
        False,
        "On a drive no vacuum ever comes to the valve while the supply is there: command or regulator.",
    ),
}


@egr.check("Vacuum at the valve on a drive")
def driven(case: ck.Case, seen: Annotated[Drive, drive]) -> Iterator[ck.Finding | ck.Gap]:
    """What stops when warm is found nowhere in the yard. It calls for no part: too much looks alike."""
    yield said(case, drive, "egr.vacuum_drive", seen, _DRIVE)


_PLUGGED: dict[Enum, Seen] = {
    Plugged.EVEN: Seen(
        False,
        "With the valve's vacuum hose plugged the engine idles evenly: vacuum opens the valve when none"
        " should."
        " Regulator or its vent filter.",
    ),
    Plugged.ROUGH: Seen(
        True,
        "With the valve's vacuum hose plugged the idle stays as it is: vacuum does not open the valve.",
    ),
}


@egr.check("Idle with the valve's vacuum plugged")
def idle_plugged(case: ck.Case, seen: Annotated[Plugged, plugged]) -> Iterator[ck.Finding | ck.Gap]:
    """Parts a regulator that opens the valve from a valve that does not close."""
    yield said(case, plugged, "egr.idle_plugged", seen, _PLUGGED)


_RAISED: dict[Enum, Seen] = {
    Raised.OPENS: Seen(
        True,
        "At 2500 rpm the back-pressure valve holds its vacuum and the engine reacts: it opens.",
    ),
    Raised.NO_REACTION: Seen(
        False,
        "At 2500 rpm the back-pressure valve holds its vacuum, and the engine does not react: it sticks, or"
        " nothing flows through.",
    ),
    Raised.LETS_GO: Seen(
        False,
        "Even at 2500 rpm the back-pressure valve lets its vacuum go: diaphragm or bleed, or an exhaust that"
        " leaks or is opened up and builds no pressure.",
    ),
}


@egr.check("Back-pressure valve at speed")
def raised_up(case: ck.Case, seen: Annotated[Raised, raised]) -> Iterator[ck.Finding | ck.Gap]:
    """Only exhaust pressure closes its bleed, so only at speed it can be tried."""
    yield said(case, raised, "egr.raised", seen, _RAISED)
