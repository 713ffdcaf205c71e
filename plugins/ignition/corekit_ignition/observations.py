"""What hand, eye, ear and scan tool find out beside the ignition's own readings, and what looks like ignition
and is not: injector, air, compression, fuel. That is tested, and referred rather than sold.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import attrs

import corekit as ck

from .answers import Kind
from .cautions import ALONE, CRANK, HIGH_VOLTAGE, HOT, IMPLANT, MOVING, NO_FUEL
from .declarations import (
    CYLINDERS,
    coil_boots,
    cylinders,
    engine_itself,
    fuel_supply,
    ignition,
    injectors,
    intake,
    kind,
    plug_wells,
)

PRESSURE = (
    "Direct injection and common rail stand at 50 to 2500 bar, long after the engine stops: no line of them"
    " is opened; read their sensor on the scan tool."
)
NO_FLAMMABLE = "Leaks are found with smoke or water, never with a spray that burns."
FUEL_OUT = "Fuel comes out: engine cold, nothing that burns or sparks near it, extinguisher at hand, goggles."
HANDS_OFF = "Hands off leads, coils and plugs while it runs, stand dry, keep the mist off the alternator."


class Where(Enum):
    NOWHERE = "none seen"
    ONE = "one cylinder"
    SOME = "some cylinders"
    ALL = "all cylinders"


class Well(Enum):
    DRY = "dry"
    OIL = "oil in it"
    WATER = "water in it"


class Mist(Enum):
    NOTHING = "nothing changes"
    MISSES = "misfires"
    TRACKS = "sparks are seen"


class Rpm(Enum):
    SHOWN = "shown"
    NONE = "none"


class Trims(Enum):
    USUAL = "usual"
    LEAN_IDLE = "lean at idle only"
    LEAN_LOAD = "lean under load"
    RICH = "rich"


class Smoke(Enum):
    TIGHT = "tight"
    LEAKS = "leaks"


class Rhythm(Enum):
    EVEN = "even"
    ONE_LOW = "one low"
    NOT_REACHED = "not reached"


class Injector(Enum):
    SAME = "stays, and all alike"
    MOVES = "moves with the injector"
    DIFFERS = "one differs"


class Pressure(Enum):
    RIGHT = "right"
    LOW = "low"
    NOT_REACHED = "not reached"


class Boot(Enum):
    STAYS = "stays"
    GOES = "goes with the boot alone"


where = ignition.observation(
    "where",
    "Cylinders that misfire",
    Where,
    how=(
        "By scan tool, or by cutting one injector after another for a few seconds: what changes nothing does"
        " not fire. Never by pulling a coil or a lead."
    ),
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {MOVING}",
    tells="which cylinders do not fire",
    tells_each={
        Where.NOWHERE: "All cylinders fire.",
        Where.ONE: "One cylinder does not fire properly.",
        Where.SOME: "Some cylinders do not fire properly.",
        Where.ALL: "No cylinder fires properly.",
    },
)
wells = ignition.observation(
    "wells",
    "Plug wells",
    Well,
    places=CYLINDERS,
    places_by=cylinders,
    part=plug_wells,
    how="Key off, coil or boot off: look in with a lamp, and at the boot for a light ring.",
    hazard=f"{HIGH_VOLTAGE} {HOT}",
    tells="whether it is dry around the spark plugs",
    tells_each={
        Well.DRY: "It is dry around the spark plugs.",
        Well.OIL: "Oil stands around a spark plug.",
        Well.WATER: "Water stands around a spark plug.",
    },
)
mist = ignition.observation(
    "mist",
    "Water mist on leads, cap, coils and boots",
    Mist,
    how="In the dark, engine idling: a fine mist from arm's length, one part at a time.",
    hazard=f"{HANDS_OFF} {HIGH_VOLTAGE} {IMPLANT} {MOVING}",
    tells="whether moisture disturbs the ignition",
    tells_each={
        Mist.NOTHING: "Moisture does not disturb the ignition.",
        Mist.MISSES: "Moisture makes the engine miss.",
        Mist.TRACKS: "Moisture lets the spark leak out.",
    },
)
rpm = ignition.observation(
    "rpm",
    "Engine speed on the scan tool while cranking",
    Rpm,
    how="Cranking turns an engine at 150 to 300 rpm; none shown is the sensor, its wiring, or its wheel.",
    hazard=f"{NO_FUEL} {MOVING} {CRANK} {ALONE}",
    tells="whether the car's electronics see the engine turn",
    tells_each={
        Rpm.SHOWN: "The car's electronics see the engine turn.",
        Rpm.NONE: "The car's electronics do not see the engine turn.",
    },
)
trims = ignition.observation(
    "trims",
    "Fuel trims",
    Trims,
    how=(
        "Scan tool, engine warm: short and long term together, at idle, at 2500 rpm and under load. Beyond"
        " about 10 % is lean (plus) or rich (minus)."
    ),
    hazard=f"{MOVING} On the road somebody else drives.",
    tells="the mixture of fuel and air",
    tells_each={
        Trims.USUAL: "The mixture of fuel and air is as usual.",
        Trims.LEAN_IDLE: "At idle the engine gets too much air.",
        Trims.LEAN_LOAD: "When it has to work, the engine gets too little fuel.",
        Trims.RICH: "The engine gets too much fuel.",
    },
)
smoke = ignition.observation(
    "intake_smoke",
    "Intake under smoke",
    Smoke,
    part=intake,
    how="Engine off, smoke at low pressure into the intake; look at hoses, gaskets and the brake servo.",
    hazard=f"{NO_FLAMMABLE} {HOT}",
    tells="whether the engine's intake is tight",
    tells_each={Smoke.TIGHT: "The intake is tight.", Smoke.LEAKS: "The intake leaks."},
)
rhythm = ignition.observation(
    "ripplecrank",
    "Starter current over the compression strokes",
    Rhythm,
    part=engine_itself,
    how="Current clamp on the starter cable, fuel cut: one hump a stroke, all alike or one low.",
    hazard=f"{NO_FUEL} {MOVING} {CRANK} {ALONE}",
    tells="whether all cylinders compress alike",
    tells_each={
        Rhythm.EVEN: "All cylinders compress alike.",
        Rhythm.ONE_LOW: "One cylinder compresses less.",
        Rhythm.NOT_REACHED: "How the cylinders compress was not reached.",
    },
)
injector = ignition.observation(
    "inject",
    "Injectors compared",
    Injector,
    part=injectors,
    how="Resistance, click and current of each; on port injection swap one with another cylinder.",
    hazard=f"{PRESSURE} {FUEL_OUT}",
    tells="the injectors beside each other",
    tells_each={
        Injector.SAME: "The injectors are alike.",
        Injector.MOVES: "The fault moved with the injector.",
        Injector.DIFFERS: "One injector differs from the others.",
    },
)
pressure = ignition.observation(
    "pressure",
    "Fuel pressure",
    Pressure,
    part=fuel_supply,
    how="Port injection: gauge at its port, idle, load, and after switching off. Else by the scan tool.",
    hazard=f"{PRESSURE} {FUEL_OUT}",
    tells="the fuel pressure",
    tells_each={
        Pressure.RIGHT: "The fuel pressure is right.",
        Pressure.LOW: "The fuel pressure is too low.",
        Pressure.NOT_REACHED: "The fuel pressure was not reached.",
    },
)
boot = ignition.observation(
    "boot",
    "Misfire after swapping one boot alone",
    Boot,
    only={kind: (Kind.OWN_COIL,)},
    part=coil_boots,
    how="Boot and spring only, coil and plug stay; then count again.",
    hazard=f"{HIGH_VOLTAGE} {HOT}",
    tells="whether the fault goes with a rubber boot",
    tells_each={
        Boot.STAYS: "The fault stayed when a rubber boot was moved.",
        Boot.GOES: "The fault went along with a rubber boot.",
    },
)


@attrs.frozen
class Seen:
    """What one answer says: whether all is well, in the trade's words and in the customer's."""

    passes: bool
    says: str
    tells: str


_SAYS: dict[Enum, Seen] = {
    Mist.NOTHING: Seen(True, "Under water mist nothing changes.", "Moisture does not disturb the ignition."),
    Mist.MISSES: Seen(
        False,
        "Under water mist it misfires: the part that was wetted leaks high voltage.",
        "Moisture makes the ignition fail.",
    ),
    Mist.TRACKS: Seen(
        False,
        "Under water mist sparks are seen on the outside: the part they run along leaks high voltage.",
        "Moisture makes the ignition fail.",
    ),
    Rpm.SHOWN: Seen(
        True, "While cranking, engine speed is shown.", "The engine's speed is read while it is cranked."
    ),
    Rpm.NONE: Seen(
        False,
        "While cranking, no engine speed is shown: the crankshaft sensor, its wiring or its wheel. Without it"
        " neither spark nor fuel is given.",
        "The engine's speed is not read, so it gets neither spark nor fuel.",
    ),
    Smoke.TIGHT: Seen(True, "Under smoke the intake is tight.", "The intake is tight."),
    Smoke.LEAKS: Seen(
        False,
        "Under smoke the intake leaks: unmetered air thins the mixture, at idle most of all.",
        "The intake leaks, so the engine gets too much air.",
    ),
    Rhythm.EVEN: Seen(
        True,
        "While cranking, all compression strokes take the same current.",
        "All cylinders compress alike.",
    ),
    Rhythm.ONE_LOW: Seen(
        False,
        "While cranking, one compression stroke takes less current: that cylinder compresses less.",
        "One cylinder compresses less than the others.",
    ),
    Injector.SAME: Seen(
        True, "The injectors are alike, and the misfire stays where it was.", "The injectors are alike."
    ),
    Injector.MOVES: Seen(
        False, "The misfire moved with the injector.", "The fault moved with the injector: it is at fault."
    ),
    Injector.DIFFERS: Seen(
        False, "One injector differs from the others.", "One injector differs from the others."
    ),
    Pressure.RIGHT: Seen(True, "Fuel pressure is right.", "The fuel pressure is right."),
    Pressure.LOW: Seen(
        False,
        "Fuel pressure is low: filter, pump, its supply, or regulator.",
        "The fuel pressure is too low.",
    ),
    Boot.STAYS: Seen(
        True, "With one boot swapped alone, the misfire stayed.", "The boot that was swapped is not at fault."
    ),
    Boot.GOES: Seen(
        False,
        "The misfire went with the boot alone: it leaks.",
        "A boot that leaks high voltage is at fault.",
    ),
}


def _sighting(case: ck.Case, of: ck.Observation, answer: Enum) -> Iterator[ck.Finding | ck.Gap]:
    if answer not in _SAYS:
        yield case.gap(of, f"{of.title}: not reached, so it says nothing.")
        return
    seen = _SAYS[answer]
    yield case.visual(of, ck.Claim(of.key), seen.says, passes=seen.passes, tells=seen.tells)


@ignition.check("Cylinders that misfire")
def where_seen(case: ck.Case, seen: Annotated[Where, where]) -> Iterator[ck.Finding | ck.Gap]:
    """It says where, never why, so it only advises."""
    nowhere = seen is Where.NOWHERE
    says = {
        Where.NOWHERE: "No misfires were seen.",
        Where.ONE: "One cylinder misfires: what belongs to it alone comes first.",
        Where.SOME: "Some cylinders misfire: look at what they share.",
        Where.ALL: "All cylinders misfire: first the coil supply, then fuel, air and timing.",
    }[seen]
    yield case.advise(
        ck.Claim(
            "ignition.where",
            evidence=case.noted(where),
            urgency=ck.Urgency.NOTHING if nowhere else ck.Urgency.THIS_VISIT,
        ),
        says,
        tells="No misfires were seen." if nowhere else f"It misfires: {seen.value}.",
    )


@ignition.check("Plug wells")
def wells_looked_at(case: ck.Case, seen: Annotated[dict[str, Well], wells]) -> Iterator[ck.Finding | ck.Gap]:
    """Oil or water in a well leads the spark past the plug, and kills boots."""
    wet = [place for place, one in seen.items() if one is not Well.DRY]
    if not wet:
        yield case.visual(
            wells,
            ck.Claim("ignition.wells"),
            "The plug wells are dry.",
            passes=True,
            tells="The spark plugs stand dry.",
        )
    for place in wet:
        what = "oil" if seen[place] is Well.OIL else "water"
        yield case.visual(
            wells,
            ck.Claim("ignition.wells", place=place),
            "{it}: {what} in its plug well. Dry it, find where it comes from, then look at the boot.",
            passes=False,
            tells="{it}: {what} stands around the spark plug.",
            values={"it": place.capitalize(), "what": what},
        )


@ignition.check("Water mist")
def mist_tried(case: ck.Case, seen: Annotated[Mist, mist]) -> Iterator[ck.Finding | ck.Gap]:
    """A leak of high voltage shows at once where it is wet."""
    yield from _sighting(case, mist, seen)


@ignition.check("Engine speed while cranking")
def rpm_read(case: ck.Case, seen: Annotated[Rpm, rpm]) -> Iterator[ck.Finding | ck.Gap]:
    """Before a spark is looked for that nobody asks for."""
    yield from _sighting(case, rpm, seen)


@ignition.check("Fuel trims")
def trims_read(case: ck.Case, seen: Annotated[Trims, trims]) -> Iterator[ck.Finding | ck.Gap]:
    """Which way the mixture is off, and when: it points, and decides nothing."""
    usual = seen is Trims.USUAL
    says = {
        Trims.USUAL: "Fuel trims are usual.",
        Trims.LEAN_IDLE: "Fuel trims are lean at idle only: air comes in behind the meter.",
        Trims.LEAN_LOAD: "Fuel trims are lean under load: too little fuel arrives.",
        Trims.RICH: "Fuel trims are rich: an injector, the pressure, or a sensor that reads wrong.",
    }[seen]
    tells = {
        Trims.USUAL: "The mixture of fuel and air is as usual.",
        Trims.LEAN_IDLE: "At idle the engine gets too much air.",
        Trims.LEAN_LOAD: "When it works hard, the engine gets too little fuel.",
        Trims.RICH: "The engine gets too much fuel.",
    }[seen]
    yield case.advise(
        ck.Claim(
            "ignition.trims",
            evidence=case.noted(trims),
            urgency=ck.Urgency.NOTHING if usual else ck.Urgency.THIS_VISIT,
        ),
        says,
        tells=tells,
    )


@ignition.check("Intake under smoke")
def intake_smoked(case: ck.Case, seen: Annotated[Smoke, smoke]) -> Iterator[ck.Finding | ck.Gap]:
    """Unmetered air, found without a flame."""
    yield from _sighting(case, smoke, seen)


@ignition.check("Compression by the starter's current")
def rhythm_read(case: ck.Case, seen: Annotated[Rhythm, rhythm]) -> Iterator[ck.Finding | ck.Gap]:
    """Compared between cylinders, without a gauge in any of them."""
    yield from _sighting(case, rhythm, seen)


@ignition.check("Injectors compared")
def injectors_compared(case: ck.Case, seen: Annotated[Injector, injector]) -> Iterator[ck.Finding | ck.Gap]:
    """A misfire that no spark explains."""
    yield from _sighting(case, injector, seen)


@ignition.check("Fuel pressure")
def pressure_read(case: ck.Case, seen: Annotated[Pressure, pressure]) -> Iterator[ck.Finding | ck.Gap]:
    """Against the vehicle's own figure; there is no general one."""
    yield from _sighting(case, pressure, seen)


@ignition.check("Misfire after swapping one boot")
def boot_swapped(case: ck.Case, seen: Annotated[Boot, boot]) -> Iterator[ck.Finding | ck.Gap]:
    """Parts the boot from the coil above it."""
    yield from _sighting(case, boot, seen)
