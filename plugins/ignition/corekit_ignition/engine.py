"""The engine beside its ignition: how much each cylinder works, how it compresses, and whether its valves
open in time. What is found here is referred, not sold.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .cautions import ALONE, CRANK, HOT, IMPLANT, MOVING, NO_FUEL
from .declarations import CYLINDERS, cylinders, engine_itself, engine_speed, ignition
from .misfire import contribution

#: Cylinders whose contribution is so low count as not firing; source: power-balance
WEAK = 0.5

valve_timing = ignition.part("valve_timing", "Valve timing: belt, chain or adjuster")


class Marks(Enum):
    RIGHT = "right"
    OFF = "mistimed"
    NOT_REACHED = "not reached"


speed_drop = ignition.measurand(
    "speed_drop",
    "rpm",
    "Speed lost with this cylinder cut",
    possible=(0, 2000),
    usual=(0, 300),
    accuracy="8 rpm",
    places=CYLINDERS,
    places_by=cylinders,
    conditions=(engine_speed,),
    how=(
        "Scan tool: idle control held, its injector cut for a few seconds, the speed before less the speed"
        " then."
        " Never by pulling a coil or a lead."
    ),
    hazard=f"{IMPLANT} {MOVING} A few seconds each: the catalyst heats.",
    tells="how much each cylinder works",
)
compression = ignition.measurand(
    "compression",
    "bar gauge",
    "Compression pressure",
    possible=(0, 40),
    usual=(0, 20),
    accuracy="3 % + 0.2 bar",
    places=CYLINDERS,
    places_by=cylinders,
    part=engine_itself,
    how="Engine warm, all plugs out, throttle open, battery strong: the same number of strokes on each.",
    hazard=f"{NO_FUEL} {HOT} {MOVING} {CRANK} {ALONE}",
    tells="how well each cylinder compresses",
)
timing_marks = ignition.observation(
    "timing_marks",
    "Valve timing against the crankshaft",
    Marks,
    part=valve_timing,
    how="By the manufacturer's marks, or crank and cam signal on the scope against a known good picture.",
    hazard=f"{MOVING} {HOT} Turned by hand with the key out; a belt drive is opened by its manual.",
    tells="whether the engine's valves open in time",
    tells_each={
        Marks.RIGHT: "The valves open at the right moment.",
        Marks.OFF: "The valves open at the wrong moment.",
        Marks.NOT_REACHED: "The valves were not reached.",
    },
    formerly={"off": Marks.OFF},
)


@ignition.calculation(source="missed-firing")
def speed_lost(
    work: Annotated[float, ck.Input("J", "Work of the firing that is missing", 0)],
    inertia: Annotated[float, ck.Input("kg·m²", "Inertia of crankshaft and flywheel", above=0)],
    speed: Annotated[float, ck.Input("rev/s", "Engine speed", above=0)],
) -> Annotated[float, ck.Output("rev/s", "Speed lost")]:
    """Speed that a crankshaft loses by one firing that is missing.

    >>> round(speed_lost.si(100.0, 0.2, 800 / 60) * 60, 2)
    59.18

    Raises:
        ValueError: so much work is not in it: it would stand.
    """
    omega = math.tau * speed
    left = omega**2 - 2 * work / inertia
    if left < 0:
        raise ValueError("So much work is not in the crankshaft at this speed: it would stand.")
    return (omega - math.sqrt(left)) / math.tau


@ignition.calculation(source="missed-firing")
def share_of_speed_lost(
    work: Annotated[float, ck.Input("J", "Work of the firing that is missing", 0)],
    inertia: Annotated[float, ck.Input("kg·m²", "Inertia of crankshaft and flywheel", above=0)],
    speed: Annotated[float, ck.Input("rev/s", "Engine speed", above=0)],
) -> Annotated[float, ck.Output("1", "Share of the speed lost")]:
    """Share of its speed that a crankshaft loses by one firing that is missing: plain at idle; at high speed
    a rough road hides it.

    >>> round(share_of_speed_lost.si(100.0, 0.2, 100.0), 6)
    0.001267

    Raises:
        ValueError: so much work is not in it: it would stand.
    """
    return speed_lost.si(work, inertia, speed) / speed


@ignition.check("Power balance")
def balance(
    case: ck.Case,
    drops: Annotated[list[ck.Reading], speed_drop],
    number: Annotated[ck.Value | None, cylinders],
) -> Iterator[ck.Finding | ck.Gap]:
    """What each cylinder does, by the speed lost without it: where, never why."""
    compared = [one for one in ck.neighbours(drops) if one.median.number > 0]
    if not compared:
        yield case.gap(
            speed_drop,
            "The speed lost by one cylinder means something only beside three others at the same speed.",
        )
        return
    limit = case.limit("ignition.contribution")
    worst = min(compared, key=lambda one: one.ratio.number)
    part = contribution(worst.reading, worst.median)
    weak = [one.reading.place for one in compared if case.side(one.ratio, limit) is ck.Side.BELOW]
    whole = number is not None and len(drops) == int(number.number)
    sound = all(case.side(one.ratio, limit) is ck.Side.INSIDE for one in compared)
    grade = "several" if len(weak) > 1 else "one" if weak else "none seen" if sound else ""
    grade = grade if whole else ""
    yield case.judge(
        part,
        limit,
        ck.Claim(
            "ignition.balance",
            of=speed_drop,
            unit="1",
            place=worst.reading.place,
            evidence=drops,
            next_test=speed_drop,
            grade=grade,
        ),
        ck.Says(
            passes=(
                "With each cylinder cut in turn the engine loses about the same speed; the least is"
                " {read}, on {it}."
            ),
            fails=(
                "Cut in turn, {weak} take{s} nothing or little with {them}: {read} on {it}, {share} of the"
                " others'"
                " median. It does not work; whether for want of spark, fuel or compression is not said by"
                " that."
            ),
            undecided=(
                "With {it} cut the engine loses {read}, {share} of the others' median: too little to call"
                " even; hold"
                " the idle control and cut it again."
            ),
        ),
        ck.Tells(
            passes="All cylinders work alike.",
            fails="One or more cylinders hardly work; why is looked for next.",
            undecided="One cylinder may work less than the others; it is tried again.",
        ),
        values={
            "it": worst.reading.place,
            "read": ck.show(worst.reading.value, "rpm", uncertainty=False),
            "share": f"{100 * part.number:.0f} %",
            "weak": " and ".join(weak) or worst.reading.place,
            "s": "" if len(weak) > 1 else "s",
            "them": "them" if len(weak) > 1 else "it",
        },
    )


@ignition.check("Compression of the cylinders compared")
def compressions(
    case: ck.Case, read: Annotated[list[ck.Reading], compression]
) -> Iterator[ck.Finding | ck.Gap]:
    """Each beside the median of the others; a figure of the vehicle's own counts besides."""
    compared = [one for one in ck.neighbours(read) if one.median.number > 0]
    if not compared:
        yield case.gap(compression, "Compression is compared between cylinders: read it on three at least.")
        return
    limit = case.limit("ignition.compression_apart")
    low = [one for one in compared if case.side(one.ratio, limit) is ck.Side.BELOW]
    worst = min(compared, key=lambda one: one.ratio.number)
    yield case.judge(
        worst.ratio,
        limit,
        ck.Claim(
            "ignition.compression",
            of=compression,
            unit="1",
            place=worst.reading.place,
            evidence=read,
            next_test=compression,
            grade={ck.Side.BELOW: "one low", ck.Side.INSIDE: "even"}.get(case.side(worst.ratio, limit), ""),
        ),
        ck.Says(
            passes="Compression is even: {it} has the least, {read}, {share} of the others' median.",
            fails=(
                "{names}: {read} of compression, {share} of the others' median. A little oil on the piston"
                " that"
                " lifts it points to rings, none to valves or gasket; then a leak-down test. No spark"
                " cures that."
            ),
            undecided=(
                "{it} compresses to {read}, {share} of the others' median, close to {limit}; read it again"
                " warm."
            ),
        ),
        ck.Tells(
            passes="All cylinders compress alike.",
            fails="One or more cylinders compress too little: that is in the engine, not in its ignition.",
            undecided="One cylinder may compress less than the others; it is read again.",
        ),
        values={
            "it": worst.reading.place.capitalize(),
            "names": " and ".join(one.reading.place for one in low).capitalize()
            or worst.reading.place.capitalize(),
            "read": ck.show(worst.reading.value, "bar gauge", uncertainty=False),
            "share": f"{100 * worst.ratio.number:.0f} %",
        },
    )


@ignition.check("Valve timing")
def timed(case: ck.Case, seen: Annotated[Marks, timing_marks]) -> Iterator[ck.Finding | ck.Gap]:
    """A belt that jumped a tooth makes all cylinders weak, and looks like a lack of spark."""
    if seen is Marks.NOT_REACHED:
        yield case.gap(timing_marks, "Valve timing: not reached, so it says nothing.")
        return
    yield case.visual(
        timing_marks,
        ck.Claim("ignition.timing_marks"),
        "The valves are in time with the crankshaft."
        if seen is Marks.RIGHT
        else (
            "The valves are out of time: the engine is not cranked further until belt or chain was looked"
            " at, for"
            " pistons may meet valves. Engine repair."
        ),
        passes=seen is Marks.RIGHT,
        tells=(
            "The engine's valves open at the right moment."
            if seen is Marks.RIGHT
            else "The engine's valves open at the wrong moment; it is not started before that is repaired."
        ),
    )
