"""Smoke, let into what has to be tight: the intake with the exhaust led back into it, and the vacuum circuit.
Where it comes out is the answer; how thick it is says nothing of the size of a hole.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .declarations import (
    BY_VACUUM,
    HOT,
    egr,
    replace_regulator,
    replace_sensing_hoses,
    replace_vacuum_hose,
    replace_valve,
    valve_type,
)
from .observations import Seen, said

NO_FLAMMABLE = "Leaks are found with smoke or water, never with a spray that burns; no fuel line is opened."
PRESSED = (  # source: smoke-pressure
    "Set the pressure before connecting: 1 to 7 kPa, never above 10 kPa; inert gas where fuel vapour may be."
    " A charged intake only by its maker's figure. Outdoors, no flame."
)
UNPOWERED = "Engine off, regulator unplugged, smoke into the supply hose."


class VacuumSmoke(Enum):
    TIGHT = "nowhere"
    SUPPLY_HOSE = "from a vacuum hose"
    CAP = "where a cap or plug is missing"
    PASSES = "from the regulator's valve port, unpowered"
    DIAPHRAGM = "from the valve's diaphragm or stem"


class IntakeSmoke(Enum):
    TIGHT = "tight"
    UPSTREAM = "from the upstream sensor hose"
    DOWNSTREAM = "from the downstream sensor hose"
    PIPE = "from the EGR pipe or a gasket of it"
    LEAKS = "leaks"


smoke_pressure = egr.measurand(
    "smoke_pressure",
    "kPa diff",
    "Pressure of the smoke",
    possible=(0, 100),
    usual=(0.5, 7),
    accuracy="3 % + 0.2 kPa",
    where="On the smoke machine.",
    how="Set and read before it is connected.",
)
vacuum_smoke = egr.observation(
    "vacuum_smoke",
    "Where smoke leaves the vacuum circuit",
    VacuumSmoke,
    only={valve_type: BY_VACUUM},
    how=f"{UNPOWERED} Hose off at the valve for the regulator, on for the rest.",
    hazard=f"{PRESSED} {HOT}",
    tells_each={
        VacuumSmoke.TIGHT: "The vacuum lines are tight.",
        VacuumSmoke.SUPPLY_HOSE: "A vacuum hose leaks.",
        VacuumSmoke.CAP: "A vacuum connection is not closed as it should be.",
        VacuumSmoke.PASSES: "The valve's control lets through when it should be shut.",
        VacuumSmoke.DIAPHRAGM: "The valve leaks where it should hold its vacuum.",
    },
)
intake_smoke = egr.observation(
    "intake_smoke",
    "Where smoke leaves intake and EGR pipe",
    IntakeSmoke,
    how="Engine off, smoke at low pressure into the intake; look at hoses, cooler and joints.",
    hazard=f"{PRESSED} {NO_FLAMMABLE} {HOT}",
    tells="Leaks of the intake, looked for with smoke",
    tells_each={
        IntakeSmoke.TIGHT: "The intake is tight.",
        IntakeSmoke.UPSTREAM: "A hose of the exhaust flow sensor leaks.",
        IntakeSmoke.DOWNSTREAM: "A hose of the exhaust flow sensor leaks.",
        IntakeSmoke.PIPE: "The pipe that leads exhaust back leaks.",
        IntakeSmoke.LEAKS: "The intake leaks.",
    },
)

_WORDS: dict[Enum, Seen] = {
    VacuumSmoke.TIGHT: Seen(
        True,
        "The vacuum circuit is tight under smoke, and the unpowered regulator lets none through.",
    ),
    VacuumSmoke.SUPPLY_HOSE: Seen(
        False,
        "Smoke comes out of a vacuum hose: it leaks.",
        replace_vacuum_hose,
    ),
    VacuumSmoke.CAP: Seen(
        False,
        "Smoke comes out where a cap or plug is missing: vacuum is lost there.",
        replace_vacuum_hose,
    ),
    VacuumSmoke.PASSES: Seen(
        False,
        "Smoke comes out of the regulator's valve port while it is unpowered: it lets vacuum through when it"
        " should be shut.",
        replace_regulator,
    ),
    VacuumSmoke.DIAPHRAGM: Seen(
        False,
        "Smoke comes out of the valve's diaphragm or stem: the diaphragm leaks.",
        replace_valve,
    ),
    IntakeSmoke.TIGHT: Seen(True, "Under smoke the intake is tight."),
    IntakeSmoke.LEAKS: Seen(False, "Under smoke the intake leaks."),
    IntakeSmoke.UPSTREAM: Seen(
        False,
        "Smoke comes out of the sensor's upstream hose: it leaks, and the sensor reads the wrong pressure.",
        replace_sensing_hoses,
    ),
    IntakeSmoke.DOWNSTREAM: Seen(
        False,
        "Smoke comes out of the sensor's downstream hose: it leaks, and the sensor reads the wrong pressure.",
        replace_sensing_hoses,
    ),
    IntakeSmoke.PIPE: Seen(
        False,
        "Smoke comes out of the EGR pipe or a gasket of it: exhaust escapes there, and air gets in.",
    ),
}


@egr.check("Smoke pressure")
def pressure_held(
    case: ck.Case, pressure: Annotated[ck.Reading, smoke_pressure]
) -> Iterator[ck.Finding | ck.Gap]:
    """Beyond its limit smoke makes the leaks that it shows."""
    yield case.judge(
        pressure,
        case.limit(smoke_pressure),
        ck.Claim("egr.smoke_pressure", next_test=smoke_pressure),
        ck.Says(
            passes="Smoke at {value}; {limit} is allowed.",
            fails=(
                "Smoke at {value}, where {limit} is allowed: lower it. So much opens seals and overloads the"
                " sensor, and what leaked then proves nothing."
            ),
            undecided="Smoke at {value}, close to the {limit} that is allowed: lower it.",
        ),
        ck.Tells(
            passes="The leak test was made at a harmless pressure.",
            fails="The leak test was made at too high a pressure and has to be repeated.",
            undecided="The leak test was made near the highest pressure allowed.",
        ),
    )


@egr.check("Vacuum circuit under smoke")
def vacuum_smoked(
    case: ck.Case,
    seen: Annotated[VacuumSmoke, vacuum_smoke],
    pressure: Annotated[ck.Reading | None, smoke_pressure],
) -> Iterator[ck.Finding | ck.Gap]:
    """A regulator that lets through while nobody powers it goes unnoticed otherwise."""
    yield _smoke_finding(case, vacuum_smoke, "egr.vacuum_smoke", seen, pressure)


@egr.check("Intake under smoke")
def intake_smoked(
    case: ck.Case,
    seen: Annotated[IntakeSmoke, intake_smoke],
    pressure: Annotated[ck.Reading | None, smoke_pressure],
) -> Iterator[ck.Finding | ck.Gap]:
    """Unmetered or lost air, found without a flame."""
    yield _smoke_finding(case, intake_smoke, "egr.intake_smoke", seen, pressure)


def _smoke_finding(
    case: ck.Case, of: ck.Observation, code: str, seen: Enum, pressure: ck.Reading | None
) -> ck.Finding | ck.Gap:
    over = pressure is not None and case.side(pressure, case.limit(smoke_pressure)) is ck.Side.ABOVE
    if over and not _WORDS[seen].passes:
        return case.inconclusive(
            ck.Claim(code, evidence=case.noted(of), next_test=of),
            "{seen} At so high a pressure that proves nothing: try again at {most} or less.",
            tells="Something leaked at too high a test pressure; the test has to be repeated.",
            values={
                "seen": _WORDS[seen].says,
                "most": ck.show(ck.exact("pressure difference", 7000.0), "kPa diff", uncertainty=False),
            },
        )
    return said(case, of, code, seen, _WORDS)
