"""Parts swapped with another cylinder: the answer is about the part that was swapped, and about no other."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import Kind, Swap
from .cautions import HIGH_VOLTAGE, HOT, THREAD
from .declarations import (
    ignition,
    ignition_coil,
    kind,
    plug_leads,
    replace_coil,
    replace_leads,
    replace_plugs,
    spark_plugs,
)

_THEN = (
    " Then count again. Gone since the swap may be a pin that was seated anew: it counts once the misfire"
    " moves back."
)
_HAZARD = f"{HIGH_VOLTAGE} {HOT}"

coil_swap = ignition.observation(
    "coil_swap",
    "Misfire after swapping the coil alone",
    Swap,
    part=ignition_coil,
    how="A single coil: put in one known to be good. Else swap it with another cylinder's and nothing else;"
    " plug and, where it comes off, boot stay." + _THEN,
    hazard=_HAZARD,
    tells="whether the fault goes with the coil",
    tells_each={
        Swap.FOLLOWED: "The fault went along with the ignition coil.",
        Swap.STAYED: "The fault stayed where it was when the coil was moved.",
        Swap.GONE: "The fault is gone since the coil was moved.",
    },
)
plug_swap = ignition.observation(
    "plug_swap",
    "Misfire after swapping the plug alone",
    Swap,
    part=spark_plugs,
    how="The coil's swap comes first, for the coil comes off anyway. Then swap the plug with another"
    " cylinder's and nothing else." + _THEN,
    hazard=f"{_HAZARD} {THREAD}",
    tells="whether the fault goes with the spark plug",
    tells_each={
        Swap.FOLLOWED: "The fault went along with the spark plug.",
        Swap.STAYED: "The fault stayed where it was when the spark plug was moved.",
        Swap.GONE: "The fault is gone since the spark plug was moved.",
    },
)
lead_swap = ignition.observation(
    "lead_swap",
    "Misfire after swapping the lead alone",
    Swap,
    part=plug_leads,
    only={kind: (Kind.DISTRIBUTOR, Kind.WASTED)},
    how="Only where the other one is long enough. Swap the lead with another cylinder's and nothing else."
    + _THEN,
    hazard=_HAZARD,
    tells="whether the fault goes with the lead",
    tells_each={
        Swap.FOLLOWED: "The fault went along with the lead.",
        Swap.STAYED: "The fault stayed where it was when the lead was moved.",
        Swap.GONE: "The fault is gone since the lead was moved.",
    },
)

_NEXT = {
    "coil": "its plug, then injector and compression",
    "plug": "its coil, then injector and compression",
    "lead": "its plug and its coil, then injector and compression",
}


def _swap_outcome(
    case: ck.Case, of: ck.Observation, code: str, part: str, went: Swap, operation: ck.Operation
) -> Iterator[ck.Finding | ck.Gap]:
    words = {"part": part, "next": _NEXT[part]}
    if went is Swap.FOLLOWED:
        yield case.visual(
            of,
            ck.Claim(code, calls_for=operation),
            "The misfire followed the {part} to the other cylinder: the {part} is at fault.",
            passes=False,
            tells="The fault moved with the part that was swapped: that part is at fault.",
            values=words,
        )
        return
    says, tells = {
        Swap.STAYED: (
            "With the {part} swapped the misfire stayed with its cylinder: the {part} is not the cause, and"
            " nothing else is cleared by that. Next: {next}.",
            "The part that was swapped is not the cause.",
        ),
        Swap.GONE: (
            "Since the {part} was swapped the misfire is gone. A connector or a plug that was seated anew"
            " does"
            " that: swap back, and count again before anything is renewed.",
            "Since two parts were swapped the fault is gone; why is not known yet.",
        ),
    }[went]
    yield case.advise(
        ck.Claim(code, evidence=case.noted(of), urgency=ck.Urgency.THIS_VISIT),
        says,
        tells=tells,
        values=words,
    )


@ignition.check("Misfire after swapping the coil")
def coil_swapped(case: ck.Case, went: Annotated[Swap, coil_swap]) -> Iterator[ck.Finding | ck.Gap]:
    """Of all tests this speaks most directly of the coil: the fault follows it, or it stays."""
    yield from _swap_outcome(case, coil_swap, "ignition.coil_swap", "coil", went, replace_coil)


@ignition.check("Misfire after swapping the plug")
def plug_swapped(case: ck.Case, went: Annotated[Swap, plug_swap]) -> Iterator[ck.Finding | ck.Gap]:
    """As of the coil; plugs that are worn alike stay where they are."""
    yield from _swap_outcome(case, plug_swap, "ignition.plug_swap", "plug", went, replace_plugs)


@ignition.check("Misfire after swapping the lead")
def lead_swapped(case: ck.Case, went: Annotated[Swap, lead_swap]) -> Iterator[ck.Finding | ck.Gap]:
    """As of the coil, where there are leads."""
    yield from _swap_outcome(case, lead_swap, "ignition.lead_swap", "lead", went, replace_leads)
