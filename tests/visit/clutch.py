"""An invented system for the tests of the testing screens: places, what is read with what, a caution, a test
that waits, trouble codes.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Annotated

import corekit as ck
from corekit.plugin.host import Plugins

clutch = ck.System("clutch", "Clutch", folder=Path(__file__).parent / "none")


class Fluid(Enum):
    CLEAR = "clear"
    DARK = "dark"


class Drive(Enum):
    CABLE = "cable"
    LINE = "fluid line"


FINGERS = "Fingers out of the linkage."

drive_part = clutch.part("drive", "Drive")
cylinder = clutch.part("cylinder", "Cylinder")
drive = clutch.trait("drive", "How it is worked", Drive, part=drive_part)
bore = clutch.trait("bore", "Bore of the cylinder", units=("mm",), part=cylinder, how="Cast into it.")
sticker = clutch.trait("sticker", "Number on the sticker", units=("mm",))

warmth = clutch.measurand(
    "warmth",
    "°C",
    "Temperature of the fluid",
    possible=(-40, 120),
    usual=(-20, 60),
    accuracy="2 °C",
    how="Infra-red.",
)
rest = clutch.measurand(
    "rest", "min", "Time since it was last worked", possible=(0, 1440), usual=(1, 120), accuracy="1 min"
)
play = clutch.measurand(
    "play",
    "mm",
    "Play of the pedal",
    possible=(0, 200),
    usual=(2, 60),
    accuracy="1 mm",
    places=("cold", "warm"),
    conditions=(warmth,),
    where="At the rubber.",
    how="By hand.",
    hazard=FINGERS,
)
sink = clutch.measurand(
    "sink",
    "mm",
    "How far it sinks",
    possible=(0, 200),
    usual=(0, 60),
    accuracy="1 mm",
    conditions=(rest, warmth),
    hazard="Wheels chocked.",
)
force = clutch.measurand(
    "force", "N", "Force on the pedal", possible=(0, 3000), usual=(20, 500), accuracy="5 N"
)
fluid = clutch.observation("fluid", "Fluid in the pot", Fluid, hazard=FINGERS)

replace = clutch.operation("replace", "Replace the cylinder", shown_by=sink, replaces=cylinder)


@clutch.check("Play")
def plays(
    case: ck.Case, read: Annotated[list[ck.Reading], play], size: Annotated[ck.Value, bore]
) -> Iterator[ck.Finding | ck.Gap]:
    for one in read:
        yield case.advise(ck.Claim("clutch.play", place=one.place), "{value} of play.", one)


@clutch.check("Sinking")
def sinks(case: ck.Case, read: Annotated[ck.Reading, sink]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(ck.Claim("clutch.sink", calls_for=replace), "It sinks {value}.", read)


FAULTS = {
    "faults": {
        "worn": {
            "per_1000": 10,
            "why": "invented",
            "name": "Worn cylinder",
            "calls_for": "clutch.replace",
        },
    },
    "test": {
        "fluid": {
            "seen": {"of": "clutch.fluid", "answers": ["clear", "dark"]},
            "question": "Is the fluid clear?",
            "minutes": 1,
            "outcomes": ["clear", "dark"],
            "sound": "clear",
            "none": [0.9, 0.1],
            "outside": [0.8, 0.2],
            "otherwise": [0.9, 0.1],
            "given": {"worn": {"p": [0.05, 0.95], "direct": "dark"}},
        },
        "sink": {
            "bins": {"measurand": "clutch.sink", "at": ["5 mm"]},
            "question": "Does it sink?",
            "minutes": 2,
            "waits": 30,
            "outcomes": ["stays", "sinks"],
            "sound": "stays",
            "none": [0.9, 0.1],
            "otherwise": [0.9, 0.1],
            "given": {"worn": {"p": [0.2, 0.8], "direct": "sinks"}},
        },
        "code": {
            "codes": ["P0704"],
            "question": "Is the pedal switch's code set?",
            "minutes": 3,
            "outcomes": ["set", "not set"],
            "sound": "not set",
            "none": [0.2, 0.8],
            "otherwise": [0.2, 0.8],
            "given": {"worn": {"p": [0.7, 0.3]}},
        },
    },
}

clutch.faults = clutch.fault_table(FAULTS, "faults of the invented clutch")

PLUGINS = Plugins(systems={"clutch": clutch}, versions={"clutch": "1"})
