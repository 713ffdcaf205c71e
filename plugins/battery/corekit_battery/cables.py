"""Voltage drop of the starting circuit, side by side; and voltages beside each other that must
add up.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .converter import not_cranked
from .cranking_current import (
    CONNECTION_AT_MOST,
    SIDE_AT_MOST,
    allowed,
    ends_of_current,
    is_left_open,
)
from .dangers import barred
from .declarations import (
    battery,
    cable_drop,
    clean_contacts,
    cranking_voltage,
    open_circuit_voltage,
    repair_cable,
    small_load_current,
    small_load_voltage,
    starter_current,
    starter_voltage,
)

LEGS = {"positive side": "battery.positive_leg", "ground side": "battery.ground_leg"}
#: The joint that is in each side, for a side is read from the post.
IN_LEG = {"positive side": "positive post to clamp", "ground side": "negative post to clamp"}
#: The sides as the customer reads them.
CABLE = {
    "positive side": "The cable from the battery to the starter",
    "ground side": "The way back from the starter to the battery",
}

# Each voltage is a steady value of a start of its own.
battery.relation(
    "starting_circuit",
    "Voltages of the starting circuit",
    (cranking_voltage, "posts"),
    (cable_drop, "positive side"),
    (cable_drop, "ground side"),
    starter_voltage,
    within="0.2 V",
    why="readings of several starts, one after the other; an estimate of ours",
)


@battery.calculation(source="ohm")
def leg_resistance(
    drop: Annotated[float, ck.Input("V", "Voltage drop on this side of the circuit", 0)],
    current: Annotated[float, ck.Input("A", "Current through it", above=0)],
) -> Annotated[float, ck.Output("Ω", "Resistance of this side")]:
    """Resistance of one side with all its connections, from its voltage drop and the current.

    >>> round(leg_resistance.si(0.6, 200) * 1000, 2)
    3.0
    """
    return drop / current


@battery.calculation(source="ohm")
def leg_that_closes(
    posts: Annotated[float, ck.Input("V", "Voltage at the battery posts", 0, 16)],
    other_leg: Annotated[float, ck.Input("V", "Voltage drop on the other side", 0, 16)],
    starter: Annotated[float, ck.Input("V", "Voltage at the starter", 0, 16)],
) -> Annotated[float, ck.Output("V", "Voltage drop on this side")]:
    """Voltage drop of one side when posts, the other side and the starter are known: the four add up.

    >>> round(leg_that_closes.si(10.0, 0.3, 9.5), 2)
    0.2
    """
    return posts - other_leg - starter


@battery.check("Voltage drop of the starting circuit")
def drops(
    case: ck.Case,
    *,
    lost: Annotated[list[ck.Reading] | None, cable_drop],
    flows: Annotated[ck.Reading | None, starter_current],
) -> Iterator[ck.Finding | ck.Gap]:
    """Each side and each connection against its printed limit at the current it was read with; where nobody
    read the current, at both ends of its usual span.
    """
    if stop := not_cranked(case):
        yield case.does_not_apply(stop)
        return
    for drop in lost or []:
        current = drop.condition(starter_current) or flows
        if current is not None and current.number <= 0:
            yield case.gap(
                starter_current, f"The voltage drop on the {drop.place} means nothing without the current."
            )
            continue
        if current is None and drop.place in LEGS:
            yield case.gap(
                starter_current,
                f"What the voltage drop on the {drop.place} means depends on the current, which was not"
                " read.",
            )
        joint = next((one for one in lost or [] if one.place == IN_LEG.get(drop.place)), None)
        yield _leg(case, drop, current, joint) if drop.place in LEGS else _joint(case, drop, current)


def _leg(case: ck.Case, drop: ck.Reading, current: ck.Reading | None, joint: ck.Reading | None) -> ck.Finding:
    """One side, less what its joint at the battery was seen to lose: that is no fault of the cable."""
    printed = case.limit(LEGS[drop.place])
    amps = ends_of_current(case, current)
    alone: ck.Reading | ck.Value = drop
    if joint is not None:
        rest = drop.value - joint.value  # a little below nothing, where the joint is all there is
        alone = ck.Value(rest.kind, max(0.0, rest.number), rest.budget, rest.rests_on)
    if is_left_open(case, alone, printed, amps, SIDE_AT_MOST):
        return _depends_on_current(case, drop, current, "battery.voltage_drop")
    limit = allowed(printed, amps[1], SIDE_AT_MOST)
    assert limit.high is not None
    at = "whatever the current"
    if current is not None:
        has = ck.show(leg_resistance(alone, current), "mΩ", uncertainty=False)
        may = ck.show(leg_resistance(limit.high, current), "mΩ", uncertainty=False)
        at = f"at {ck.show(current.value, 'A', uncertainty=False)}"
    else:
        has = may = ""
    beside, allowance = (f" ({has})", f" ({may})") if current is not None else ("", "")
    return case.judge(
        alone,
        limit,
        ck.Claim(
            "battery.voltage_drop",
            of=cable_drop,
            unit="V",
            place=drop.place,
            evidence=[one for one in (drop, joint, current) if one is not None],
            calls_for=repair_cable,
            next_test=cable_drop,
        ),
        ck.Says(
            passes="Voltage drop on the {place}{behind}: {read} {at}{beside}; {limit} is allowed{allowance}.",
            fails=(
                "Voltage drop on the {place}{behind}: {read} {at}{beside}; {limit} is allowed{allowance}."
                " Measure it section by section at the same current to find the bad connection."
            ),
            undecided=(
                "Voltage drop on the {place}{behind}: {read} {at}{beside}: too close to the {limit} allowed"
                " to call."
            ),
        ),
        ck.Tells(
            passes="{cable} loses no more voltage than is allowed.",
            fails="{cable} loses more voltage than is allowed.",
            undecided="{cable} loses about as much voltage as is allowed.",
        ),
        values={
            "read": ck.show(alone.value if isinstance(alone, ck.Reading) else alone, "V", uncertainty=False),
            "behind": "" if joint is None else " behind its clamp",
            "at": at,
            "has": has,
            "may": may,
            "beside": beside,
            "allowance": allowance,
            "cable": CABLE[drop.place],
        },
    )


def _joint(case: ck.Case, drop: ck.Reading, current: ck.Reading | None) -> ck.Finding:
    printed = case.limit("battery.contact")
    amps = ends_of_current(case, current)
    if is_left_open(case, drop, printed, amps, CONNECTION_AT_MOST):
        return _depends_on_current(case, drop, current, "battery.joint")
    return case.judge(
        drop,
        allowed(printed, amps[1], CONNECTION_AT_MOST),
        ck.Claim(
            "battery.joint",
            evidence=[current] if current is not None else [],
            calls_for=clean_contacts,
            next_test=cable_drop,
        ),
        ck.Says(
            passes="Voltage drop from {place}: {read}; this connection is good.",
            fails=(
                "Voltage drop from {place}: {read}, where there should be next to none, however good"
                " it looks. Clean and tighten it, then read again."
            ),
            undecided="Voltage drop from {place}: {read}, too close to the {limit} allowed to call.",
        ),
        ck.Tells(
            passes="This battery connection carries its current well.",
            fails="A battery connection loses voltage where it should lose next to none.",
            undecided="A battery connection loses about as much voltage as is allowed.",
        ),
        values={"read": ck.show(drop.value, "V", uncertainty=False)},
    )


def _depends_on_current(case: ck.Case, drop: ck.Reading, current: ck.Reading | None, code: str) -> ck.Finding:
    """One reading, two meanings: much at a small current, usual at a large one."""
    return case.inconclusive(
        ck.Claim(
            code,
            evidence=[current] if current is not None else [],
            next_test=starter_current if current is None else cable_drop,
        ),
        (
            "Voltage drop on the {place}: {read} at a current that was not read. That is much while the"
            " starter turns easily and usual for one that stalls at 400 A: read it again with the current."
            if current is None
            else "Voltage drop on the {place}: {read} at only {current}: about what is printed for"
            " cranking, and much for that current. Read it again at a larger one."
        ),
        drop,
        tells="What the wiring loses means something only beside its current, so both are read together.",
        values={
            "read": ck.show(drop.value, "V", uncertainty=False),
            "current": ck.show(current.value, "A", uncertainty=False) if current is not None else "",
        },
    )


@battery.check("Voltage drop that was not read")
def closure(
    case: ck.Case,
    *,
    volts: Annotated[list[ck.Reading] | None, cranking_voltage],
    lost: Annotated[list[ck.Reading] | None, cable_drop],
    starter: Annotated[ck.Reading | None, starter_voltage],
) -> Iterator[ck.Finding | ck.Gap]:
    """Posts, less both sides, is what the starter has: three of the four give the fourth."""
    posts = next((reading for reading in volts or [] if reading.place == "posts"), None)
    if starter is None or posts is None or not_cranked(case):
        return
    legs = {reading.place: reading for reading in lost or [] if reading.place in LEGS}
    if len(legs) == 1:
        (other,) = legs.values()
        missing = next(place for place in LEGS if place not in legs)
        rest = leg_that_closes(posts, other, starter)
        if case.is_contradicted(posts, other, starter):
            return
        left = ck.Value(rest.kind, max(0.0, rest.number), rest.budget, rest.rests_on)
        yield case.advise(
            ck.Claim(
                "battery.closure",
                of=cable_drop,
                unit="V",
                place=missing,
                evidence=[posts, other, starter],
                urgency=ck.Urgency.NOTHING,
            ),
            (
                "By the three other readings the voltage drop on the {place} is about {read} while"
                " cranking. Measure it directly."
            ),
            left,
            tells="{cable} was not read; its loss was worked out from other readings.",
            values={"read": ck.show(left, "V", uncertainty=False), "cable": CABLE[missing]},
        )


@battery.check("Voltages with a small load on")
def small_load(
    case: ck.Case,
    *,
    loaded: Annotated[list[ck.Reading] | None, small_load_voltage],
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
) -> Iterator[ck.Finding | ck.Gap]:
    """Key on is not at rest: such a voltage gives no state of charge.

    Beside the posts it shows what is lost on the way.
    """
    places = {reading.place: reading for reading in loaded or []}
    if places and (stop := barred(case)):
        yield case.does_not_apply(stop)
        return
    for reading in places.values():
        if (
            reading.place != "fuse box"
            and reading.condition(small_load_current) is None
            and case.reading(small_load_current) is None
        ):
            yield case.gap(
                small_load_current, "A voltage with a load on means little without the current of that load."
            )
        if reading.place != "fuse box":
            yield case.inconclusive(
                ck.Claim("battery.not_at_rest", of=small_load_voltage, urgency=ck.Urgency.NOTHING),
                (
                    "At the {place} {read} was read with a load on: that is not an open-circuit"
                    " voltage, and gives no state of charge."
                ),
                reading,
                tells="This voltage was read with something switched on, so it does not tell the charge.",
                values={"read": ck.show(reading.value, "V", uncertainty=False)},
            )
    far = places.get("fuse box")
    near = places.get("posts") or rest
    if far is None:
        return
    if near is None:
        yield case.gap(
            small_load_voltage,
            "The voltage drop to the fuse box can be found only with the voltage at the posts beside it.",
        )
        return
    lost = near.value - far.value
    yield case.judge(
        lost,
        case.limit("battery.supply_path"),
        ck.Claim(
            "battery.supply_path",
            of=small_load_voltage,
            unit="V",
            place="fuse box",
            evidence=[near, far],
            next_test=cable_drop,
        ),
        ck.Says(
            passes=(
                "{near} at the posts, {far} at the fuse box: a voltage drop of {lost}; {limit} is usual."
            ),
            fails=(
                "{near} at the posts, {far} at the fuse box: a voltage drop of {lost}; {limit} is"
                " usual. A connection is bad; measure post to clamp on both posts with that load on,"
                " then along the cables."
            ),
            undecided=("{near} at the posts, {far} at the fuse box: a voltage drop of about {lost}."),
        ),
        ck.Tells(
            undecided="The wiring from the battery to the fuse box loses about as much as is usual at most.",
            passes=("The wiring from the battery to the fuse box loses no more voltage than is usual."),
            fails="The wiring from the battery to the fuse box loses more voltage than is usual.",
        ),
        values={
            "near": ck.show(near.value, "V", uncertainty=False),
            "far": ck.show(far.value, "V", uncertainty=False),
            "lost": ck.show(lost, "V", uncertainty=False),
        },
    )
