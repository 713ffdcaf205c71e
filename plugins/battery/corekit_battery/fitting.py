"""After a new battery: vehicles that manage their charging go on charging the old one until they are told."""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .declarations import MEMORY, Control, battery, control, replace


class Told(Enum):
    DONE = "done"
    NOT_DONE = "not done"
    NOT_NEEDED = "not needed on this vehicle"


made_known = battery.observation(
    "registered",
    "New battery registered with the vehicle",
    Told,
    how=(
        "With the manufacturer's procedure: type, capacity and the day it was fitted. The vehicle's"
        " own instructions say whether it is needed."
    ),
    hazard=MEMORY,
)


@battery.check("Battery registration")
def known_to_the_vehicle(
    case: ck.Case, told: Annotated[Told | None, made_known], ruled: Annotated[Control | None, control]
) -> Iterator[ck.Finding | ck.Gap]:
    """Asked right after a replacement; the answer counts whenever it comes later. source: made-known"""
    replaced = case.repairs.get(replace.key)
    if replaced is None or (told is None and replaced != case.stage):
        return
    if told in (Told.DONE, Told.NOT_NEEDED):
        yield case.visual(
            made_known,
            ck.Claim("battery.registered"),
            (
                "The new battery was registered with the vehicle."
                if told is Told.DONE
                else "This vehicle needs no battery registration."
            ),
            passes=True,
        )
    elif told is Told.NOT_DONE:
        yield case.advise(
            ck.Claim("battery.registered", evidence=case.noted(made_known), urgency=ck.Urgency.PLAN_IT),
            (
                "The new battery was not registered. A vehicle with smart charging goes on as for the"
                " old one, which can overcharge or undercharge the new one."
            ),
        )
    elif ruled is Control.MANAGED:
        yield case.advise(
            ck.Claim(
                "battery.registered",
                evidence=[entry for entry in (case.fitted_by.get(control.key),) if entry],
                urgency=ck.Urgency.THIS_VISIT,
            ),
            (
                "Whether the new battery was registered is not recorded. The vehicle has smart"
                " charging, so look in its instructions and register type and capacity."
            ),
        )
