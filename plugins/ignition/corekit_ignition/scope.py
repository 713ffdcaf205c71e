"""The spark line: how long and at what voltage a spark burns, cylinder by cylinder; and coils beside each
other."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .cautions import HIGH_VOLTAGE, IMPLANT, MOVING
from .declarations import (
    CYLINDERS,
    available_voltage,
    cylinders,
    engine_speed,
    feed_drop,
    firing_voltage,
    ground_drop,
    ignition,
    peak_current,
)

_HOW = "Rated high-voltage clip on each lead or coil in turn, at the same steady speed."

burn_time = ignition.measurand(
    "burn_time",
    "ms",
    "Burn time of the spark",
    possible=(0, 20),
    usual=(0.3, 4),
    accuracy="0.1 ms",
    places=CYLINDERS,
    places_by=cylinders,
    conditions=(engine_speed,),
    where="Scope, from the end of the firing line to where the spark goes out.",
    how=_HOW,
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {MOVING}",
    tells="how long each spark burns",
)
burn_voltage = ignition.measurand(
    "burn_voltage",
    "kV",
    "Burn voltage of the spark",
    possible=(0, 20),
    usual=(0.3, 5),
    accuracy="10 % + 0.1 kV",
    places=CYLINDERS,
    places_by=cylinders,
    conditions=(engine_speed,),
    where="Scope, the middle of the spark line.",
    how=_HOW,
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {MOVING}",
    tells="how easily each spark burns",
)


@ignition.check("Burn time and burn voltage compared")
def burning(
    case: ck.Case,
    *,
    times: Annotated[list[ck.Reading] | None, burn_time],
    volts: Annotated[list[ck.Reading] | None, burn_voltage],
    firing: Annotated[list[ck.Reading] | None, firing_voltage],
) -> Iterator[ck.Finding | ck.Gap]:
    """Each cylinder beside the median of the others. A long way uses up the spark's energy early, a leak
    late."""
    if not times and not volts:
        yield case.does_not_apply("No spark line was read.")
        return
    limit = case.limit("ignition.burn_apart")
    needs = {
        one.reading.place: one.ratio.number for one in ck.neighbours(firing or []) if one.median.number > 0
    }
    rows = [
        (one, of)
        for of, read in ((burn_time, times), (burn_voltage, volts))
        for one in ck.neighbours(read or [])
        if one.median.number > 0
    ]
    if not rows:
        yield case.gap(burn_time, "A spark line is compared between cylinders: read it on three at least.")
        return
    for one, of in rows:
        side, place = case.side(one.ratio, limit), one.reading.place
        if side is ck.Side.INSIDE or not one.stands_out:
            continue
        short = (of is burn_time) is (side is ck.Side.BELOW)
        yield case.judge(
            one.ratio,
            limit,
            ck.Claim(
                "ignition.burn_apart",
                of=of,
                unit="1",
                place=place,
                evidence=[one.reading, *one.others],
                next_test=of,
                grade={ck.Side.UNDECIDED: ""}.get(side, "apart"),
            ),
            ck.Says(
                passes="{it}: {title} {read}, as the others.",
                fails="{it}: {title} {read}, {times} times the median of the others. {means}",
                undecided="{it}: {title} {read}, {times} times the median of the others: read it again.",
            ),
            ck.Tells(
                passes="The spark of one cylinder burns as those of the others.",
                fails=(
                    "The spark of one cylinder burns otherwise than those of the others; why is looked for"
                    " next."
                ),
                undecided="The spark of one cylinder may burn otherwise; it is read again.",
            ),
            values={
                "it": place.capitalize(),
                "title": of.title[0].lower() + of.title[1:],
                "read": ck.show(one.reading.value, of.unit, uncertainty=False),
                "times": f"{one.ratio.number:.2f}",
                "means": _means(short, needs.get(place)),
            },
        )
        return
    yield case.advise(
        ck.Claim(
            "ignition.burn_apart",
            evidence=[one.reading for one, _ in rows],
            urgency=ck.Urgency.NOTHING,
            grade="alike",
        ),
        "The sparks of all cylinders burn alike.",
        tells="The sparks of all cylinders burn alike.",
    )


def _means(short: bool, needs: float | None) -> str:
    """High firing with a short spark is a long way for it; low firing with a long one is a leak or no gap."""
    if short:
        more = " It also needs more to fire." if needs is not None and needs > 1.1 else ""
        return f"{more} Its way is long: wide gap, open lead or resistor, lean mixture.".strip()
    less = " It also needs less to fire." if needs is not None and needs < 0.9 else ""
    easily = "It gets away too easily: a fouled or closed gap, a track, low compression, a rich mixture."
    return f"{less} {easily}".strip()


@ignition.check("Coil currents compared")
def currents(
    case: ck.Case,
    peaks: Annotated[list[ck.Reading], peak_current],
    *,
    fed: Annotated[ck.Reading | None, feed_drop],
    grounded: Annotated[ck.Reading | None, ground_drop],
) -> Iterator[ck.Finding | ck.Gap]:
    """One coil that takes another current than its neighbours, at the same speed: what belongs to it
    alone.
    """
    compared = [one for one in ck.neighbours(peaks) if one.median.number > 0]
    if not compared:
        yield case.gap(peak_current, "Coil currents are compared where three coils at least were read alike.")
        return
    limit = case.limit("ignition.current_apart")
    far = max(compared, key=lambda one: abs(one.ratio.number - 1))
    side = case.side(far.ratio, limit)
    named = [
        f"{reading.measurand.title.lower()} {ck.show(reading.value, 'V', uncertainty=False)}"
        for reading in (fed, grounded)
        if reading is not None
    ]
    yield case.judge(
        far.ratio,
        limit,
        ck.Claim(
            "ignition.current_apart",
            of=peak_current,
            unit="1",
            place=far.reading.place,
            evidence=peaks,
            next_test=peak_current,
            grade={ck.Side.INSIDE: "alike", ck.Side.UNDECIDED: ""}.get(side, "apart"),
        ),
        ck.Says(
            passes="All coils take about the same current.",
            fails=(
                "{it} takes {read}, {times} times the median of the others. {why}{read_too} Swap it with"
                " another"
                " coil: what goes along is the coil, what stays is its wiring or its driver."
            ),
            undecided=(
                "{it} takes {read}, {times} times the median of the others, close to {limit}: read it again."
            ),
        ),
        ck.Tells(
            passes="All ignition coils take about the same current.",
            fails=(
                "One ignition coil takes another current than the rest; coil or wiring, that is looked for"
                " next."
            ),
            undecided="One ignition coil may take another current than the rest; it is read again.",
        ),
        values={
            "it": far.reading.place.capitalize(),
            "read": ck.show(far.reading.value, "A", uncertainty=False),
            "times": f"{far.ratio.number:.2f}",
            "why": (
                "Its own supply, ground, connector or dwell takes it away first."
                if side is ck.Side.BELOW
                else "Turns that are shorted, or a dwell that is too long."
            ),
            "read_too": f" Read so far: {', '.join(named)}." if named else "",
        },
    )


@ignition.check("Voltage that a coil reaches")
def available(
    case: ck.Case, reached: Annotated[list[ck.Reading], available_voltage]
) -> Iterator[ck.Finding | ck.Gap]:
    """Into a wide gap a coil shows what it has: with a good supply that speaks of the coil itself."""
    limit = case.limit("ignition.available")
    weakest = min(reached, key=lambda one: one.number)
    side = case.side(weakest, limit)
    others = [one for one in reached if one is not weakest]
    # What several coils share is good where the others reach theirs with it.
    alone = len(others) > 1 and all(case.side(one, limit) is ck.Side.INSIDE for one in others)
    yield case.judge(
        weakest,
        limit,
        ck.Claim(
            "ignition.available",
            evidence=reached,
            next_test=available_voltage,
            grade={ck.Side.INSIDE: "enough", ck.Side.BELOW: "low"}.get(side, ""),
        ),
        ck.Says(
            passes="{it} reaches {read}; {limit} is asked for.",
            fails=(
                "{it} reaches no more than {read}; {limit} is asked for. The others reach theirs by the same"
                " supply: it is that coil, its boot or lead, or its own wires."
                if alone
                else "{it} reaches no more than {read}; {limit} is asked for. Supply, ground and dwell decide"
                " that as much"
                " as the coil does: with those read and good it is the coil, its boot or its lead."
            ),
            undecided="{it} reaches {read}, close to {limit}; read it beside another coil.",
        ),
        ck.Tells(
            passes="The ignition coil can make as high a voltage as is asked for.",
            fails=(
                "One ignition coil makes too little voltage, and the others enough."
                if alone
                else "The ignition coil makes too little voltage; whether its supply is why is read first."
            ),
            undecided="The ignition coil may make too little voltage; it is read beside another one.",
        ),
        values={
            "it": weakest.place.capitalize(),
            "read": ck.show(weakest.value, "kV", uncertainty=False),
        },
    )
