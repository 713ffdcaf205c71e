"""Brake hoses: what another plugin adds to the brakes."""

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

from corekit_brakes import PRESS, brakes, pressure

import corekit as ck

hoses = ck.Addition(brakes, "hoses", "Brake hoses", api="1.0")


class Hose(Enum):
    SOUND = "sound"
    SWOLLEN = "swollen or cracked"


hose = hoses.part("hose", "Brake hose", places=pressure.places)
look = hoses.observation(
    "look",
    "Brake hoses",
    Hose,
    places=pressure.places,
    part=hose,
    how="Bent by hand and looked at all around, from the chassis to the caliper.",
    tells="how the brake hoses look",
    tells_each={
        Hose.SOUND: "The brake hose is sound.",
        Hose.SWOLLEN: "The brake hose is swollen or cracked.",
    },
)
renew_hose = hoses.operation(
    "replace_hose",
    "Replace the brake hose",
    shown_by=pressure,
    replaces=hose,
    hazard=PRESS,
    tells="The brake hose is renewed, and the air is let out of the brakes.",
)


@hoses.check("Brake hoses")
def hoses_looked_at(case: ck.Case, seen: Annotated[dict[str, Hose], look]) -> Iterator[ck.Finding | ck.Gap]:
    for place, answer in seen.items():
        yield case.visual(
            look,
            ck.Claim("brakes.hoses_look", place=place, calls_for=renew_hose, grade=answer.value),
            "The hose at the {place} is sound."
            if answer is Hose.SOUND
            else "The hose at the {place} is swollen.",
            passes=answer is Hose.SOUND,
            tells="The {place} brake hose is sound."
            if answer is Hose.SOUND
            else "One brake hose is worn out.",
        )


@ck.hookimpl
def corekit_system() -> ck.System:
    return hoses
