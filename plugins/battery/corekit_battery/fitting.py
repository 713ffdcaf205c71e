"""Before and after a new battery: vehicles that manage their charging go on charging the old one until they
are told.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .answers import (
    Case,
    Control,
)
from .cautions import (
    MEMORY,
)
from .cells import cell_spread
from .declarations import (
    battery,
    case_seen,
    control,
    replace,
)
from .loading import load
from .looks import case_looked_at


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
    tells="whether the car was told of its new battery",
    tells_each={
        Told.DONE: "The car was told of its new battery.",
        Told.NOT_DONE: "The car was not told of its new battery.",
        Told.NOT_NEEDED: "This car does not have to be told of a new battery.",
    },
)


class Needed(Enum):
    YES = "yes, and the tool for it is here"
    NO_TOOL = "yes, and no tool for it here"
    NO = "no"


needed = battery.observation(
    "registration_needed",
    "Whether a new battery has to be registered",
    Needed,
    how=(
        "In the vehicle's own instructions, before the old battery comes off: what it asks for, and"
        " with which tool."
    ),
    hazard=MEMORY,
    tells="whether the car has to be told of a new battery",
    tells_each={
        Needed.YES: "The car has to be told of a new battery, and we can do that.",
        Needed.NO_TOOL: "The car has to be told of a new battery, and we cannot do that here.",
        Needed.NO: "This car does not have to be told of a new battery.",
    },
)


def _battery_in_view(case: ck.Case) -> list[str]:
    """Entries on which a new battery may be called for at this stage; empty when nothing plainly speaks for
    one.
    """
    results = [*load(case, **load.arguments(case)), *cell_spread(case, **cell_spread.arguments(case))]
    body = case.seen(case_seen)
    if isinstance(body, Case):
        results += case_looked_at(case, body)
    return [
        entry
        for result in results
        if isinstance(result, ck.Finding)
        and result.calls_for == replace.key
        and result.verdict is ck.Verdict.FAIL
        for entry in result.evidence
    ]


@battery.check("Battery registration before the work")
def registration_before(
    case: ck.Case,
    ruled: Annotated[Control | None, control],
    answer: Annotated[Needed | None, needed],
) -> Iterator[ck.Finding | ck.Gap]:
    """Asked while a new battery is in view and not yet fitted: what cannot be registered here is better not
    fitted here. source: made-known
    """
    if ruled is Control.FIXED or replace.key in case.repairs or not (evidence := _battery_in_view(case)):
        return
    if answer is None:
        yield case.inconclusive(
            ck.Claim("battery.registration_needed", evidence=evidence, next_test=needed),
            (
                "Before a new battery is fitted: does this vehicle have to be told of it? Look in its"
                " instructions whether it is registered, with which tool, and which type and capacity it"
                " takes; read codes and note settings before the old one comes off."
            ),
            tells="Some vehicles have to be told of a new battery. Whether this one does is looked up first.",
        )
    elif answer is Needed.NO_TOOL:
        yield case.advise(
            ck.Claim(
                "battery.registration_needed",
                evidence=[*evidence, *case.noted(needed)],
                urgency=ck.Urgency.THIS_VISIT,
            ),
            (
                "A new battery has to be registered on this vehicle, and there is no tool for it here:"
                " arrange for it before the battery is fitted, since unregistered it is charged like the"
                " old one."
            ),
            tells=(
                "This vehicle has to be told of a new battery; who does that is settled before it is fitted."
            ),
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
            tells=(
                "The vehicle was told of its new battery."
                if told is Told.DONE
                else "This vehicle does not have to be told of its new battery."
            ),
        )
    elif told is Told.NOT_DONE:
        yield case.advise(
            ck.Claim("battery.registered", evidence=case.noted(made_known), urgency=ck.Urgency.PLAN_IT),
            (
                "The new battery was not registered. A vehicle with smart charging goes on as for the"
                " old one, which can overcharge or undercharge the new one."
            ),
            tells="The vehicle was not told of its new battery and may charge it wrongly.",
        )
    elif ruled is not Control.FIXED:
        yield case.advise(
            ck.Claim(
                "battery.registered",
                evidence=[entry for entry in (case.fitted_by.get(control.key),) if entry],
                urgency=ck.Urgency.THIS_VISIT,
            ),
            (
                "Whether the new battery was registered is not recorded. {why} look in its instructions"
                " before the invoice, and register type and capacity where they ask for it."
            ),
            tells="Whether the vehicle was told of its new battery is still to be recorded.",
            values={
                "why": "The vehicle has smart charging, so"
                if ruled is Control.MANAGED
                else "Whether the vehicle has smart charging is not known:"
            },
        )
