"""How far the spark gets on its way from the coil to the plug, where a distributor or leads lie between."""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .answers import Kind, Spark
from .cautions import ALONE, CRANK, HIGH_VOLTAGE, IMPLANT, MOVING, NO_FUEL, OFF, TESTER
from .declarations import LEADS, distributor_cap, ignition, kind, lead_resistance, plug_leads, spark

SEVERAL = 3  # leads that read open together before the range is likelier than the leads; an estimate of ours


class LeadPath(Enum):
    VALUE = "shows a value"
    OPEN_LOW = "reads open on a low range"
    OPEN_HIGH = "reads open on the highest range"


class TowerGap(Enum):
    SAME = "no change"
    RUNS = "fires with the gap alone"


lead_path = ignition.observation(
    "lead_path",
    "Plug lead on the ohmmeter",
    LeadPath,
    places=LEADS,
    only={kind: (Kind.DISTRIBUTOR, Kind.WASTED)},
    part=plug_leads,
    how=(
        "From end to end with its boots, on 20 kΩ or more: on 200 Ω every suppressor lead and boot reads"
        " open."
    ),
    hazard=OFF,
    tells="whether the leads are whole inside",
    tells_each={
        LeadPath.VALUE: "The lead is whole inside.",
        LeadPath.OPEN_LOW: "The lead could not be measured like this.",
        LeadPath.OPEN_HIGH: "The lead shows no connection inside.",
    },
)
spark_at_coil = ignition.observation(
    "spark_at_coil",
    "Spark at the coil's own lead",
    Spark,
    only={kind: (Kind.DISTRIBUTOR,)},
    part=distributor_cap,
    how=(
        "Coil lead out of the cap and onto an earthed spark tester with a set gap; then the same at one plug"
        " lead. What is there before the cap and missing behind it is lost in rotor, cap or lead."
    ),
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {TESTER} {NO_FUEL} {MOVING} {CRANK} {ALONE}",
    tells="whether there is a spark at the coil's own lead",
    tells_each={
        Spark.STEADY: "The ignition coil gives its spark every time.",
        Spark.WEAK: "The ignition coil gives a weak spark.",
        Spark.NONE: "The ignition coil gives no spark.",
    },
)
tower_gap = ignition.observation(
    "tower_gap",
    "Coil lead not quite home",
    TowerGap,
    only={kind: (Kind.DISTRIBUTOR,)},
    part=distributor_cap,
    how="Noted where somebody found it so. It is no test to make: push the lead home.",
    hazard=(
        f"{HIGH_VOLTAGE} An open gap destroys the coil and lights vapour: the engine is not run like that."
    ),
    tells="how the coil's lead was found",
    tells_each={
        TowerGap.SAME: "How the lead sits changes nothing.",
        TowerGap.RUNS: "It fires only with the lead pulled out a little.",
    },
)


@ignition.check("Plug leads on the ohmmeter")
def lead_paths(
    case: ck.Case,
    seen: Annotated[dict[str, LeadPath], lead_path],
    read: Annotated[list[ck.Reading] | None, lead_resistance],
) -> Iterator[ck.Finding | ck.Gap]:
    """Open on a low range is the range; open on the highest one is open, unless all of them are."""
    low = [place for place, one in seen.items() if one is LeadPath.OPEN_LOW]
    high = [place for place, one in seen.items() if one is LeadPath.OPEN_HIGH]
    if not low and not high:
        yield case.advise(
            ck.Claim("ignition.lead_path", evidence=case.noted(lead_path, *seen), urgency=ck.Urgency.NOTHING),
            "The leads show a value on the ohmmeter; a lead that leaks does too.",
            tells="The spark plug leads are connected from end to end.",
        )
    for place in low:
        yield case.inconclusive(
            ck.Claim(
                "ignition.lead_over_range",
                place=place,
                evidence=case.noted(lead_path, place),
                next_test=lead_resistance,
            ),
            (
                "{it} is beyond the range it was read on, and so is every sound suppressor lead or boot"
                " there:"
                " there is no result yet. Read it on 20 kΩ or more.{all}"
            ),
            tells="{it}: this reading does not show whether it is sound; it is taken again.",
            values={
                "it": place.capitalize(),
                "all": " Leads do not break all at once." if len(low) >= SEVERAL else "",
            },
        )
    if len(high) >= SEVERAL and not read:
        yield case.inconclusive(
            ck.Claim(
                "ignition.lead_over_range", evidence=case.noted(lead_path, *high), next_test=lead_resistance
            ),
            (
                "{count} leads read open, and none shows a value. Leads do not break all at once: hold the"
                " probes together, then read a resistor or another lead to see whether the meter reads at"
                " all."
            ),
            tells="Several leads gave no reading at once; the meter is checked first.",
            values={"count": str(len(high))},
        )
        return
    for place in high:
        yield case.advise(
            ck.Claim(
                "ignition.lead_open_seen",
                place=place,
                evidence=case.noted(lead_path, place),
                urgency=ck.Urgency.THIS_VISIT,
            ),
            "{it} reads open on the highest range. Read it again while bending it, and boot and lead apart.",
            tells="{it} shows no connection from end to end.",
            values={"it": place.capitalize()},
        )


@ignition.check("Where the spark is lost")
def spark_lost(
    case: ck.Case,
    before: Annotated[Spark, spark_at_coil],
    behind: Annotated[dict[str, Spark] | None, spark],
) -> Iterator[ck.Finding | ck.Gap]:
    """A spark at the coil and none behind the cap is lost in between, not in the coil."""
    missing = [place for place, one in (behind or {}).items() if one is not Spark.STEADY]
    if before is not Spark.STEADY:
        says = "At the coil's own lead the spark is weak or missing: supply, ground, switching, then coil."
        tells = "The ignition coil itself gives too little; why is not known yet."
    elif missing:
        says = (
            "At the coil's own lead there is a spark every time, and behind the cap it is weak or missing:"
            " it is"
            " lost in rotor, cap or leads. The coil and what feeds it make it."
        )
        tells = "The spark is made, and lost on its way to the spark plugs."
    else:
        says = "At the coil's own lead there is a spark every time; look at one plug lead next."
        tells = "The ignition coil gives its spark."
    yield case.advise(
        ck.Claim(
            "ignition.spark_lost",
            evidence=[*case.noted(spark_at_coil), *(case.noted(spark, *missing) if missing else [])],
            urgency=ck.Urgency.THIS_VISIT if missing or before is not Spark.STEADY else ck.Urgency.NOTHING,
        ),
        says,
        tells=tells,
    )


@ignition.check("Engine that fires with an extra gap")
def extra_gap(case: ck.Case, seen: Annotated[TowerGap, tower_gap]) -> Iterator[ck.Finding | ck.Gap]:
    """The gap holds the voltage back until it is high: then a leak behind it has no time to drain it.
    source: extra-gap
    """
    runs = seen is TowerGap.RUNS
    yield case.advise(
        ck.Claim(
            "ignition.tower_gap",
            evidence=case.noted(tower_gap),
            urgency=ck.Urgency.THIS_VISIT if runs else ck.Urgency.NOTHING,
        ),
        (
            "It fires with an extra gap in the coil lead alone. That gap holds the voltage back until it is"
            " high,"
            " so voltage leaks away behind it: fouled plugs, tracked rotor, cap or tower, a leaking lead."
            " The coil"
            " makes enough. Do not run it like that: the coil breaks down."
            if runs
            else "An extra gap in the coil lead changes nothing."
        ),
        tells=(
            "The spark leaks away before it reaches the plugs; which part leaks is not known yet."
            if runs
            else "Nothing leaks away from the spark that this would show."
        ),
    )
