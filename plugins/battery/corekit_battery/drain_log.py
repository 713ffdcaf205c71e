"""How the parasitic draw falls once the vehicle is locked: when it is asleep, and what it draws then."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import (
    BatteryType,
    Cranks,
)
from .capacity import capacity_known, reserve
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    capacity,
    cranks,
    drain,
    drain_log,
    open_circuit_voltage,
    temperature,
)
from .drain import ASLEEP, KEPT_AWAKE, Parked, days_parked, parked, settled_draw, times_usual, traced

RECENT = 75 * 60.0  # s; the longest that recent vehicles take to fall asleep, a manufacturer's page, read


@battery.check("Parasitic draw over time")
def drain_over_time(
    case: ck.Case,
    log: Annotated[ck.Record | None, drain_log],
    *,
    drawn: Annotated[ck.Reading | None, drain],
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    warmth: Annotated[ck.Reading | None, temperature],
    kind: Annotated[BatteryType | None, battery_type],
    holds: Annotated[ck.Value | None, capacity],
    minutes: Annotated[ck.Value | None, reserve],
    stood: Annotated[Parked | None, parked],
    turns: Annotated[Cranks | None, cranks],
) -> Iterator[ck.Finding | ck.Gap]:
    """The draw is judged once it has settled; until then the log only says how far it had come."""
    if log is None:
        return
    if stop := barred(case):
        yield case.does_not_apply(stop)
        return
    settled = settled_draw(case, log, stood)
    if settled is None:
        yield _not_settled(case, log, stood)
        return
    judged = _draw_finding(case, log, settled, stood)
    yield judged
    if drawn is not None and abs((drawn.value - settled.value).number) > 2 * (drawn.value - settled.value).u:
        yield case.advise(
            ck.Claim("battery.draw_by_log", evidence=[drawn], urgency=ck.Urgency.NOTHING),
            (
                "Read by itself the parasitic draw was {once}; the log, which shows it settle at {settled},"
                " counts."
            ),
            tells="The parked car's current was read once and logged over time; the log counts.",
            values={
                "once": ck.show(drawn.value, "mA", uncertainty=False),
                "settled": ck.show(settled.value, "mA", uncertainty=False),
            },
        )
    yield days_parked(
        case,
        settled.value,
        rest=rest,
        warmth=warmth,
        kind=kind,
        holds=capacity_known(holds, minutes, kind),
        turns=turns,
        usual=judged.urgency is ck.Urgency.NOTHING,
    )


def _not_settled(case: ck.Case, log: ck.Record, stood: Parked | None) -> ck.Finding:
    """Why nothing is concluded from the log yet."""
    if log.settled is None:
        why = "it had not stayed the same for 10 minutes by then"
    elif log.end < ASLEEP:
        why = "modules may stay awake for half an hour, and it may still fall"
    else:
        why = KEPT_AWAKE[stood] if stood is not None else ""
    return case.inconclusive(
        ck.Claim(
            "battery.draw_settling",
            of=drain,
            unit="mA",
            urgency=ck.Urgency.PLAN_IT,
            next_test=drain,
        ),
        (
            "The drain log ends after {long} at {last}, but {why}. Log on until it stays the same: locked,"
            " latches shut, key more than 5 m away, diagnostic plug out."
        ),
        log.last,
        tells="The parked car's current was logged, but not until everything in it was asleep.",
        values={
            "long": ck.show(ck.exact("time", log.end), "min", uncertainty=False),
            "last": ck.show(log.last, "mA", uncertainty=False),
            "why": why,
        },
    )


def _draw_finding(case: ck.Case, log: ck.Record, settled: ck.Settled, stood: Parked | None) -> ck.Finding:
    """The settled draw, and when it had settled where the log shows that."""
    minutes = f"{max(1, round(settled.since.number / 60))} min" if settled.since.number > log.start else ""
    return case.judge(
        settled.value,
        case.limit(drain),
        ck.Claim(
            "battery.parasitic_draw",
            of=drain,
            unit="mA",
            evidence=case.noted(parked),
            calls_for=traced(case),
            urgency=ck.Urgency.PLAN_IT,
            next_test=drain,
        ),
        ck.Says(
            passes="The parasitic draw settled at {settled}{after}; {limit} is usual.",
            fails=(
                "The parasitic draw settled at {settled}{after}; {limit} is usual. Something stays on when"
                " the car is parked{if_parked}.{recent}"
            ),
            undecided=(
                "The parasitic draw settled at {settled}{after}, too close to the usual {limit} to call with"
                " this meter."
            ),
        ),
        ck.Tells(
            passes="Parked, the car uses no more current than usual.{since}",
            fails="Parked, the car uses {much}.{since}",
            undecided="Parked, the car uses about as much current as is usual at most.{since}",
        ),
        values={
            "settled": ck.show(settled.value, "mA", uncertainty=False),
            "after": f" {minutes} after it was locked" if minutes else "",
            "much": times_usual(settled.value, case.limit(drain)),
            "since": f" It settled {minutes} after it was locked." if minutes else "",
            "if_parked": (
                ""
                if stood is Parked.AS_PARKED
                else ", if latches were shut, the key more than 5 m away and the diagnostic plug out"
            ),
            "recent": (
                " The log ends before 75 minutes; recent vehicles may take as long to fall asleep."
                if log.end < RECENT
                else ""
            ),
        },
    )
