"""How far the plugs have run: what wear that makes likely, and whether it explains the gaps read."""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .declarations import ignition, plug_gap, spark_plugs
from .gaps import gap_after


class Electrodes(Enum):
    NICKEL = "nickel"
    NOBLE = "platinum or iridium"


electrodes = ignition.trait(
    "electrodes",
    "Electrodes of the spark plugs",
    Electrodes,
    part=spark_plugs,
    how="By the plug's number, or by its tip: a fine wire or a small disc is platinum or iridium.",
    tells="the kind of spark plugs",
)
plug_distance = ignition.measurand(
    "plug_distance",
    "km",
    "Distance run by the plugs",
    possible=(0, 1000000),
    usual=(0, 250000),
    accuracy="5 % + 500 km",  # from a service book or a memory; an estimate of ours
    part=spark_plugs,
    where="Service book or invoice: odometer now less odometer when they were fitted.",
    how="Ask, and look it up; plugs never renewed have run as far as the engine.",
    tells="how far the spark plugs have run",
)

#: m of gap for each m driven, least and most: nickel 0.10 to 0.16 mm in 10,000 km, noble metal a tenth to a
#: fifth of that; source: gap-wear
WEAR = {Electrodes.NICKEL: (1.0e-11, 1.6e-11), Electrodes.NOBLE: (1.0e-12, 3.2e-12)}
MORE = 2e-4  # m beyond what the distance explains: twice how plugs of one set differ; an estimate of ours


@ignition.check("Distance of the spark plugs")
def distance_run(
    case: ck.Case,
    run: Annotated[ck.Reading, plug_distance],
    made: Annotated[Electrodes | None, electrodes],
) -> Iterator[ck.Finding | ck.Gap]:
    """Against this engine's own interval, else against what plugs of their metal last: it makes wear likely,
    and decides nothing.

    source: plug-distance
    """
    own = case.is_specified(plug_distance)
    limit = (
        case.limit(plug_distance)
        if own
        else case.limit_by(
            electrodes,
            made,
            {
                Electrodes.NICKEL: "ignition.plug_distance_nickel",
                Electrodes.NOBLE: "ignition.plug_distance_noble",
            },
        )
    )
    grade = {ck.Side.INSIDE: "within", ck.Side.ABOVE: "past"}.get(case.side(run, limit), "near")
    says, tells = {
        "within": (
            "The plugs have run {read}: within what {kind} last, so wear is not expected yet.",
            "The spark plugs have not run as far as they usually last.",
        ),
        "near": (
            "The plugs have run {read}: about what {kind} last. Look at them and read their gaps.",
            "The spark plugs have run about as far as they usually last.",
        ),
        "past": (
            "The plugs have run {read}: past what {kind} last. Look at them and read their gaps.",
            "The spark plugs have run further than they usually last.",
        ),
    }[grade]
    yield case.advise(
        ck.Claim(
            "ignition.plug_distance",
            evidence=[run],
            urgency=ck.Urgency.NOTHING if grade == "within" else ck.Urgency.PLAN_IT,
            grade=grade,
        ),
        says,
        run,
        tells=tells,
        values={
            "read": ck.show(run.value, "km", uncertainty=False),
            "kind": "this engine's interval lets them"
            if own
            else f"{made.value} plugs"
            if made is not None
            else "plugs of any metal"
            if grade != "near"
            else "plugs of this or that metal",
        },
    )


@ignition.check("Gap wear by distance")
def worn_by_distance(
    case: ck.Case,
    gaps: Annotated[list[ck.Reading], plug_gap],
    run: Annotated[ck.Reading, plug_distance],
    *,
    made: Annotated[Electrodes | None, electrodes],
) -> Iterator[ck.Finding | ck.Gap]:
    """Whether the distance explains the widest gap, from the widest that a new one may have.

    source: gap-wear
    """
    high = case.limit(plug_gap).high if case.is_specified(plug_gap) else None
    if high is None:
        yield case.gap(
            plug_gap, "How far a gap has worn shows against the gap of a new plug, which is not in the file."
        )
        return
    widest = max(gaps, key=lambda gap: gap.number)
    low, most = WEAR[made] if made is not None else (WEAR[Electrodes.NOBLE][0], WEAR[Electrodes.NICKEL][1])
    ends = [gap_after.si(high.number, wear, run.number) for wear in (low, most)]
    beyond = widest.number > ends[1] + MORE
    yield case.advise(
        ck.Claim(
            "ignition.gap_wear",
            evidence=[*gaps, run],
            urgency=ck.Urgency.THIS_VISIT if beyond else ck.Urgency.NOTHING,
        ),
        (
            "{it} has {read} after {distance}, where {low} to {most} mm are to be expected: more than"
            " distance wears. Too hot a plug, a loose one, another than the engine's, or older than told."
            if beyond
            else "{it}, the widest, has {read} after {distance}, where {low} to {most} mm are to be expected."
        ),
        widest,
        tells=(
            "A spark plug has worn faster than its distance explains; the reason is looked for."
            if beyond
            else "The spark plugs have worn no more than their distance explains."
        ),
        values={
            "it": widest.place.capitalize(),
            "read": ck.show(widest.value, "mm", uncertainty=False),
            "distance": ck.show(run.value, "km", uncertainty=False),
            "low": f"{ends[0] * 1e3:.2f}",
            "most": f"{ends[1] * 1e3:.2f}",
        },
    )
