"""What speaks of parts that are no longer fitted, of many like parts at once, or of heat: it explains, and
decides nothing about what is fitted now.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .cautions import HIGH_VOLTAGE, HOT, OFF
from .declarations import (
    CYLINDERS,
    cylinders,
    ignition,
    ignition_coil,
    plug_gap,
    primary_resistance,
    secondary_resistance,
)
from .pickup import pickup_resistance


class Heat(Enum):
    WITH_HEAT = "fails hot, back when cold"
    COLD = "fails cold, gone when warm"
    NEITHER = "does not depend on it"


class Alike(Enum):
    ALIKE = "all alike"
    DIFFERS = "one differs"


heat = ignition.observation(
    "heat",
    "Fault and engine heat",
    Heat,
    how=(
        "From what was told, then tried: idle it until it fails, then cool coil, module and sensor one"
        " after the"
        " other, or warm them with a hair dryer."
    ),
    hazard=f"{HOT} {HIGH_VOLTAGE} Nothing that burns is sprayed; no open flame.",
    tells="whether the fault depends on heat",
    tells_each={
        Heat.WITH_HEAT: "It comes when the engine is hot and goes when it cools.",
        Heat.COLD: "It is there only while the engine is cold.",
        Heat.NEITHER: "It does not depend on how warm the engine is.",
    },
)
ohms_compared = ignition.observation(
    "ohms_compared",
    "Coils compared on the ohmmeter",
    Alike,
    part=ignition_coil,
    how="All of them, the same two terminals and the same range, side by side.",
    hazard=f"{OFF} {HOT}",
    tells="the ignition coils beside each other",
    tells_each={
        Alike.ALIKE: "All ignition coils measured alike.",
        Alike.DIFFERS: "One ignition coil measured differently.",
    },
)
removed_gap = ignition.measurand(
    "removed_gap",
    "mm",
    "Gap of a plug that was taken out",
    possible=(0, 5),
    usual=(0.4, 2.5),
    accuracy="0.05 mm",
    places=CYLINDERS,
    places_by=cylinders,
    where="Between the electrodes of the old plug.",
    how="Wire gauge; lay the old plugs out in the order of their cylinders.",
    hazard=HOT,
    tells="the gap of the old spark plugs",
)


@ignition.check("Fault and engine heat")
def heat_told(case: ck.Case, seen: Annotated[Heat, heat]) -> Iterator[ck.Finding | ck.Gap]:
    """What reads right on a cold engine has not been read while it failed."""
    says, tells = {
        Heat.WITH_HEAT: (
            "The fault comes with heat and goes when it cools. What reads right cold is not shown to be"
            " sound:"
            " test while it fails, spark at the coil first, then behind cap and rotor.",
            "It comes when the engine is hot, so it has to be tested hot.",
        ),
        Heat.COLD: (
            "The fault is there on a cold engine only: moisture, mixture and plugs before parts that heat"
            " harms.",
            "It comes only while the engine is cold, so it has to be tested cold.",
        ),
        Heat.NEITHER: (
            "The fault does not depend on heat.",
            "The fault does not depend on how warm the engine is.",
        ),
    }[seen]
    yield case.advise(
        ck.Claim(
            "ignition.heat",
            evidence=case.noted(heat),
            urgency=ck.Urgency.NOTHING if seen is Heat.NEITHER else ck.Urgency.THIS_VISIT,
        ),
        says,
        tells=tells,
    )


@ignition.check("Gap of plugs that were taken out")
def old_gaps(case: ck.Case, gaps: Annotated[list[ck.Reading], removed_gap]) -> Iterator[ck.Finding | ck.Gap]:
    """They may have overloaded coil and leads for long, and say nothing of the plugs that are in now."""
    widest = max(gaps, key=lambda gap: gap.number)
    own = case.is_specified(plug_gap)
    wide = own and case.side(widest, case.limit(plug_gap)) is ck.Side.ABOVE
    yield case.advise(
        ck.Claim("ignition.removed_gap", evidence=gaps, urgency=ck.Urgency.NOTHING),
        "The gap of {it}, {read}, is that of a plug no longer fitted: the plugs that are in now are read"
        " anew.{wide}",
        widest,
        tells="The old spark plugs were measured; that says nothing about the ones fitted now.",
        values={
            "it": widest.place,
            "read": ck.show(widest.value, "mm", uncertainty=False),
            "wide": (
                " So wide a gap asks more of coil and leads than they bear for long; a coil weakened by it"
                " shows"
                " under load."
                if wide
                else ""
            ),
        },
    )


@ignition.check("Coils alike on the ohmmeter")
def coils_alike(case: ck.Case, seen: Annotated[Alike, ohms_compared]) -> Iterator[ck.Finding | ck.Gap]:
    """Several coils do not fail by one and the same figure."""
    alike = seen is Alike.ALIKE
    yield case.advise(
        ck.Claim("ignition.ohms_compared", evidence=case.noted(ohms_compared), urgency=ck.Urgency.NOTHING),
        (
            "All coils read alike. Coils do not fail together by one figure: one that looks odd on all of"
            " them is"
            " the range, the terminals or the probes, and shows no coil to be bad, nor any to be good."
            if alike
            else "One coil reads another figure than the rest. Swap it with another cylinder's and see"
            " whether the"
            " misfire goes along; ohms alone condemn none."
        ),
        tells=(
            "All ignition coils measured alike; that alone shows none of them to be faulty."
            if alike
            else "One ignition coil measured differently; that alone does not show that it is faulty."
        ),
    )


@ignition.check("What resistance shows")
def ohms_prove_nothing(
    case: ck.Case,
    *,
    first: Annotated[list[ck.Reading] | None, primary_resistance],
    second: Annotated[list[ck.Reading] | None, secondary_resistance],
    pickup: Annotated[list[ck.Reading] | None, pickup_resistance],
) -> Iterator[ck.Finding | ck.Gap]:
    """A winding at rest carries no high voltage and no heat: it neither clears nor condemns it.

    source: ohms-at-rest
    """
    wound = [one for one in [*(first or []), *(second or [])] if one.measurand.usual.holds(one.number)]
    read = [*wound, *(pickup or [])]
    if not read:
        yield case.does_not_apply("No winding that reads like one was measured.")
        return
    yield case.advise(
        ck.Claim("ignition.ohms", evidence=read, urgency=ck.Urgency.NOTHING),
        (
            "Resistance was read with nothing running. Inside its figure it shows no winding to be good, and"
            " outside it condemns none by itself: most fail warm and under load. Spark at the tester, current"
            " while charging, or a swap decide."
        ),
        tells="What a meter reads at rest does not show whether a part works when the engine runs.",
    )
