"""An invented system for the tests of the assessment: pedal travel, line pressure per wheel, fluid, a fault
table.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Annotated

import corekit as ck
from corekit.plugin.host import Plugins

DATA = Path(__file__).parent / "brakes_data"

brakes = ck.System("brakes", "Brakes", folder=DATA)


class Pedal(Enum):
    FIRM = "firm"
    SPONGY = "spongy"
    SINKS = "sinks"


class Hose(Enum):
    RUBBER = "rubber"
    BRAIDED = "braided"


air = brakes.measurand(
    "air", "°C", "Air temperature", possible=(-40, 60), usual=(-20, 40), accuracy="1 °C", lasting=True
)
force = brakes.measurand(
    "force", "N", "Force on the pedal", possible=(0, 3000), usual=(20, 1500), accuracy="2 % + 5 N"
)
travel = brakes.measurand(
    "travel", "mm", "Pedal travel", possible=(0, 300), usual=(0, 150), accuracy="2 mm", conditions=(force,)
)
pressure = brakes.measurand(
    "pressure",
    "bar gauge",
    "Line pressure",
    possible=(0, 300),
    usual=(0, 200),
    accuracy="2 bar",
    places=("left", "right"),
    conditions=(force,),
)
boiling = brakes.measurand(
    "boiling", "°C", "Boiling point of the fluid", possible=(50, 400), usual=(100, 300), accuracy="3 °C"
)

pedal = brakes.observation("pedal", "Pedal feel", Pedal)
hoses_part = brakes.part("hose", "Brake hose")
master = brakes.part("master", "Master cylinder")
hose = brakes.trait("hose", "Hoses", Hose, part=hoses_part)
bore = brakes.trait("bore", "Master cylinder bore", units=("mm",), part=master)

bleed = brakes.operation("bleed", "Bleed the brakes", shown_by=travel)
replace_master = brakes.operation(
    "replace_master", "Replace the master cylinder", shown_by=pressure, replaces=master
)
replace_hose = brakes.operation("replace_hose", "Replace the hoses", replaces=hoses_part)

SAYS = ck.Says(
    passes="{value} at {place}, allowed {limit}.",
    fails="{value} at {place}, but allowed {limit}.",
    undecided="{value} is too near {limit}.",
)


@brakes.check("Pedal travel")
def pedal_travel(case: ck.Case, read: Annotated[ck.Reading, travel]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.judge(
        read, case.limit(travel), ck.Claim("brakes.travel", calls_for=bleed, next_test=pedal), SAYS
    )


@brakes.check("Line pressure")
def line_pressure(
    case: ck.Case, lines: Annotated[list[ck.Reading], pressure]
) -> Iterator[ck.Finding | ck.Gap]:
    for line in lines:
        yield case.judge(
            line,
            case.limit(pressure),
            ck.Claim("brakes.pressure", calls_for=replace_master, urgency=ck.Urgency.BEFORE_DRIVING),
            SAYS,
        )


@brakes.check("Fluid")
def fluid(
    case: ck.Case, read: Annotated[ck.Reading, boiling], warmth: Annotated[ck.Reading, air]
) -> Iterator[ck.Finding | ck.Gap]:
    yield case.judge(read, case.limit(boiling), ck.Claim("brakes.fluid", evidence=[warmth]), SAYS)


@brakes.check("Hoses")
def hoses(
    case: ck.Case, kind: Annotated[Hose, hose], feel: Annotated[Pedal | None, pedal]
) -> Iterator[ck.Finding | ck.Gap]:
    if kind is Hose.BRAIDED:
        yield case.does_not_apply("Braided hoses do not swell.")
    else:
        yield case.advise(
            ck.Claim("brakes.hose", calls_for=replace_hose),
            "Rubber hoses; the pedal is {feel}.",
            values={"feel": feel.value if feel else "not tried"},
        )


@brakes.check("Foot against line")
def foot(
    case: ck.Case, foot: Annotated[ck.Reading, force], size: Annotated[ck.Value | None, bore]
) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(
        ck.Claim("brakes.foot"),
        "{value} on the pedal, bore {bore}.",
        foot,
        values={"bore": ck.show(size, "mm") if size else "not known"},
    )


PLUGINS = Plugins(systems={"brakes": brakes}, versions={"brakes": "1"})
