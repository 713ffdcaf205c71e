"""Pickup (trigger) windings, breaker points and their condenser."""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .answers import CoilType
from .cautions import HIGH_VOLTAGE, OFF
from .declarations import (
    coil_switching,
    coil_type,
    crank_sensor,
    ignition,
    repair_switching,
    winding_temperature,
)
from .windings import resistance_at_20

PICKUPS = ("pickup 1", "pickup 2", "pickup 3", "pickup 4")
NO_WINDING = 20e3  # Ω: no pickup is wound to so much; an estimate of ours, well above common practice

pickup_resistance = ignition.measurand(
    "pickup_resistance",
    "Ω",
    "Pickup (trigger) resistance",
    possible=(0, 1e8),
    usual=(50, 5000),
    accuracy="1 % + 2 Ω",
    places=PICKUPS,
    conditions=(winding_temperature,),
    part=crank_sensor,
    where="Between the two wires of one winding, connector off; a single pickup is pickup 1.",
    how="Fingers off the probes: skin reads like a winding. Note which two wires.",
    hazard=OFF,
    tells="the sensor that triggers the spark",
)
condenser = ignition.measurand(
    "condenser",
    "µF",
    "Condenser of the points",
    possible=(0.001, 20),
    usual=(0.1, 0.5),
    accuracy="5 % + 0.01 µF",
    only={coil_type: (CoilType.POINTS,)},
    part=coil_switching,
    where="From its wire to its case, disconnected.",
    how="Discharge it first: hold its wire to its case.",
    hazard=f"{OFF} {HIGH_VOLTAGE} A charged condenser gives a shock.",
    tells="a small part beside the contacts",
)


class Points(Enum):
    SOUND = "even and grey, gap as set"
    BURNT = "burnt or pitted"
    CLOSED = "closed up, or dwell off"
    OILY = "oily or dirty"


points_look = ignition.observation(
    "points_look",
    "Breaker points",
    Points,
    only={coil_type: (CoilType.POINTS,)},
    part=coil_switching,
    how="Key off, cap off: turn the engine to the widest gap, look at both faces, read gap or dwell angle.",
    hazard=f"{OFF} {HIGH_VOLTAGE}",
    tells="the contacts that switch the ignition coil",
    tells_each={
        Points.SOUND: "The contacts that switch the ignition coil look as they should.",
        Points.BURNT: "The contacts that switch the ignition coil are burnt.",
        Points.CLOSED: "The contacts that switch the ignition coil open too little.",
        Points.OILY: "The contacts that switch the ignition coil are dirty.",
    },
)


@ignition.check("Breaker points")
def points_looked_at(case: ck.Case, seen: Annotated[Points, points_look]) -> Iterator[ck.Finding | ck.Gap]:
    """What eyes see of them is plain; that they look well does not clear the condenser."""
    says = {
        Points.SOUND: (
            "The breaker points look even and open as set. A condenser that leaks warm does not show."
        ),
        Points.BURNT: (
            "The breaker points are burnt or pitted. Renew them with their condenser, for a bad one burns the"
            " next set; then set gap or dwell, and the timing after it."
        ),
        Points.CLOSED: (
            "The breaker points open too little: their heel has worn. Set gap or dwell, grease the cam, and"
            " set the timing after it; then look again."
        ),
        Points.OILY: (
            "The breaker points are oily or dirty: clean them, set gap or dwell, and find where it comes"
            " from."
        ),
    }[seen]
    yield case.visual(
        points_look,
        ck.Claim("ignition.points_look", calls_for=repair_switching),
        says,
        passes=seen is Points.SOUND,
        tells={
            Points.SOUND: "The contacts that switch the ignition coil look as they should.",
            Points.BURNT: "The contacts that switch the ignition coil are burnt; they are renewed and set.",
            Points.CLOSED: "The contacts that switch the ignition coil open too little; they are set.",
            Points.OILY: "The contacts that switch the ignition coil are dirty; they are cleaned and set.",
        }[seen],
    )


@ignition.check("Pickup windings")
def pickups(
    case: ck.Case, ohms: Annotated[list[ck.Reading], pickup_resistance]
) -> Iterator[ck.Finding | ck.Gap]:
    """Each against this vehicle's own figure. There is no general one; megohms are no winding at all."""
    own = case.is_specified(pickup_resistance)
    for reading in ohms:
        words = {
            "it": reading.place.capitalize(),
            "read": ck.show(reading.value, "kΩ" if reading.number > 1e4 else "Ω", uncertainty=False),
        }
        if reading.number - 2 * reading.value.u > NO_WINDING:
            yield case.inconclusive(
                ck.Claim("ignition.pickup_implausible", place=reading.place, next_test=pickup_resistance),
                (
                    "{it} reads {read}: no winding does. It was read between two different windings, through"
                    " skin, or over a break. Others that read as much are no sign that it is right. Read it"
                    " again to its own return wire, fingers off the probes."
                ),
                reading,
                tells="{it}: this reading cannot be right; it is taken again.",
                values=words,
            )
        elif not own:
            yield case.gap(
                pickup_resistance,
                f"{words['it']} reads {words['read']}; what it should read is not known here. Its signal"
                f" while"
                " cranking says more than its resistance.",
            )
        else:
            cold = resistance_at_20(
                reading, case.ends(reading.condition(winding_temperature), winding_temperature)
            )
            yield case.judge(
                cold,
                case.limit(pickup_resistance),
                ck.Claim(
                    "ignition.pickup",
                    of=pickup_resistance,
                    unit="Ω",
                    place=reading.place,
                    evidence=[reading],
                    next_test=pickup_resistance,
                ),
                ck.Says(
                    passes=(
                        "{it} reads {read}; {limit} is its specification. Its signal is not shown by that."
                    ),
                    fails="{it} reads {read}; {limit} is its specification.",
                    undecided="{it} reads {read}, too close to an end of {limit} to call.",
                ),
                ck.Tells(
                    passes="{it} measures as specified; that alone does not show that it works.",
                    fails="{it} does not measure as specified.",
                    undecided="{it}: it measures close to an end of its specification; it is read again.",
                ),
                values=words,
            )


@ignition.check("Condenser of the points")
def condenser_read(case: ck.Case, read: Annotated[ck.Reading, condenser]) -> Iterator[ck.Finding | ck.Gap]:
    """Advice only: one that fails warm or under voltage reads right on a meter. source: condenser-usual"""
    yield case.judge(
        read,
        case.limit(condenser),
        ck.Claim("ignition.condenser", next_test=condenser),
        ck.Says(
            passes="The condenser has {read}; {limit} is usual. One that leaks when warm reads right too.",
            fails="The condenser has {read}; {limit} is usual. It burns the points and weakens the spark.",
            undecided="The condenser has {read}, close to an end of the usual {limit}.",
        ),
        ck.Tells(
            passes="A small part beside the contacts measures as is usual.",
            fails="A small part beside the contacts does not measure as is usual.",
            undecided="A small part beside the contacts measures close to an end of what is usual.",
        ),
        values={"read": ck.show(read.value, "µF", uncertainty=False)},
    )
