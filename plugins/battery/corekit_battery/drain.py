"""What is drawn with the key off, and how long the battery stands it."""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .answers import (
    BatteryType,
    Cranks,
    Cut,
    Settles,
)
from .capacity import capacity_known, reserve
from .charge_state import charge_of
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    capacity,
    circuit_cut,
    cranks,
    drain,
    drain_log,
    find_drain,
    open_circuit_voltage,
    settles,
    sleep_time,
    temperature,
    unwoken_drain,
)
from .starting_declarations import AlternatorLead, alternator_lead

DAY, MONTH = 86400.0, 30 * 86400.0  # s
NEEDED, NEEDED_COLD, COLD = (
    0.5,
    0.7,
    263.15,
)  # share of charge that a start needs, and below which temperature more; source: days-to-no-start
LOSS = {
    BatteryType.FLOODED: 0.03,
    BatteryType.EFB: 0.03,
    BatteryType.AGM: 0.02,
    BatteryType.GEL: 0.02,
    BatteryType.LITHIUM: 0.03,
}  # in a month; source: self-discharge
ASLEEP = 1800.0  # s; source: drain-limit
TWICE = 1.75  # from here on a draw is told in times the usual, which then rounds to two or more
# two readings of one current that lie further apart were not taken in one state, or one is a slip; five times
# is an estimate of ours
battery.relation(
    "draw_recorded_twice",
    "Parasitic draw",
    drain,
    drain,
    times=5.0,
    why="modules were awake once",
)
# what a battery in use still holds of the Ah on its label, at least; source: capacity-of-an-old-battery
OLD_HOLDS = 0.6
KNOWN_ENOUGH = (
    4.0  # times: a span that ends this many times later than it begins tells nothing; an estimate of ours
)
LONG, SOON = 60 * DAY, 3.0  # s and days: beyond the first nobody is warned, below the second it does not wait

#: (K, gravity lost per day) by a full battery. source: gravity-per-day
PER_DAY = ((283.15, 0.0003), (299.85, 0.001), (310.95, 0.0025))


@battery.calculation(source="days-to-no-start")
def time_to_no_start(
    charge: Annotated[float, ck.Input("1", "State of charge now", 0, 1)],
    needed: Annotated[float, ck.Input("1", "State of charge needed to start", 0, 1)],
    capacity: Annotated[float, ck.Input("C", "20-hour capacity", above=0)],
    drain: Annotated[float, ck.Input("A", "Parasitic draw", 0)],
    monthly_loss: Annotated[float, ck.Input("1", "Self-discharge in 30 days", 0, 0.5)],
) -> Annotated[float, ck.Output("s", "Time until it no longer starts")]:
    """How long a parked battery lasts until it no longer has the charge that a start needs.

    A month is 30 days.

    >>> round(time_to_no_start.si(0.9, 0.5, 70 * 3600, 0.05, 0.03) / 86400, 1)
    22.0

    Raises:
        ValueError: nothing is drawn and nothing lost, so there is no such time.
    """
    drawn = drain + monthly_loss / MONTH * capacity
    if drawn <= 0:
        raise ValueError("Without parasitic draw and self-discharge a battery lasts for ever.")
    return max(0.0, charge - needed) * capacity / drawn


@battery.calculation(source="gravity-per-day")
def gravity_after(
    gravity: Annotated[float, ck.Input("1", "Specific gravity when full", 1.0, 1.35)],
    stood: Annotated[float, ck.Input("s", "Time it stood unused", 0)],
    temperature: Annotated[float, ck.Input("K", "Battery temperature", 283.15, 310.95)],
) -> Annotated[float, ck.Output("1", "Specific gravity now")]:
    """Gravity of a full battery of the older kind after it stood unused.

    >>> round(gravity_after.si(1.28, 30 * 86400, 299.85), 2)
    1.25
    """
    return gravity - stood / DAY * ck.interpolate_clamped(temperature, PER_DAY)


@battery.check("Whether the vehicle was woken before its parasitic draw was read")
def woken(
    case: ck.Case,
    before: Annotated[ck.Reading | None, unwoken_drain],
    drawn: Annotated[ck.Reading | None, drain],
) -> Iterator[ck.Finding | ck.Gap]:
    """A meter put into the lead resets the modules; until they were woken once they may draw less than they
    ever do when parked.
    """
    if before is None or barred(case):
        return
    low = ck.show(before.value, "mA", uncertainty=False)
    if drawn is None:
        yield case.inconclusive(
            ck.Claim("battery.parasitic_draw", next_test=drain),
            (
                "{low} was read before the vehicle was woken once. A parked vehicle is never in that"
                " state: ignition on and off, lock it, wait, read again."
            ),
            before,
            tells="The current was read before the parked car had been woken once; it is read again.",
            values={"low": low},
        )
    elif abs((drawn.value - before.value).number) > 2 * (drawn.value - before.value).u:
        yield case.advise(
            ck.Claim("battery.wake_state", evidence=[drawn], urgency=ck.Urgency.NOTHING),
            (
                "Before the vehicle was woken {low} was drawn, after it {high}. The second is the"
                " parked state, so that one counts."
            ),
            before,
            tells="The current of the parked car was read before and after waking it; the second counts.",
            values={"low": low, "high": ck.show(drawn.value, "mA", uncertainty=False)},
        )


@battery.check("Circuit of the parasitic draw")
def circuits(
    case: ck.Case, cut: Annotated[dict[str, Cut] | None, circuit_cut]
) -> Iterator[ck.Finding | ck.Gap]:
    """The circuit whose cutting takes the current away is named; it is no part yet."""
    for place, does in (cut or {}).items():
        noted = case.noted(circuit_cut, place)
        if does is Cut.STAYS:
            continue
        what = "is gone" if does is Cut.GONE else "drops"
        yield case.advise(
            ck.Claim("battery.drain_circuit", of=drain, place=place, evidence=noted, calls_for=traced(case)),
            (
                "With the fuse of the circuit {place} pulled the parasitic draw {what}: it runs"
                " through there. Unplug what is connected to it one by one."
            ),
            tells="With one fuse pulled the current of the parked car {what}; it runs through that circuit.",
            values={"what": what},
        )


class Parked(Enum):
    """How the vehicle stood while the parasitic draw was read."""

    AS_PARKED = "locked, latches shut, key over 5 m away, diagnostic plug out"
    OPEN = "a latch open"
    KEY_NEAR = "key within 5 m"
    PLUG_IN = "diagnostic plug in"


parked = battery.observation(
    "parked_state",
    "Vehicle while the parasitic draw was read",
    Parked,
    how="A key near it, an open latch or a plugged-in tester keeps modules awake for as long as it lasts.",
    tells="how the car stood while its current was read",
    tells_each={
        Parked.AS_PARKED: "The car was locked and left as it is when parked.",
        Parked.OPEN: "A door or lid was open, which keeps the car awake.",
        Parked.KEY_NEAR: "The key was near, which keeps the car awake.",
        Parked.PLUG_IN: "A tester was plugged in, which keeps the car awake.",
    },
)
KEPT_AWAKE = {
    Parked.OPEN: "a latch was open",
    Parked.KEY_NEAR: "the key lay within 5 m",
    Parked.PLUG_IN: "the diagnostic plug was in",
}


@battery.check("Parasitic draw")
def key_off(
    case: ck.Case,
    drawn: Annotated[ck.Reading | None, drain],
    *,
    log: Annotated[ck.Record | None, drain_log],
    waited: Annotated[ck.Reading | None, sleep_time],
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    warmth: Annotated[ck.Reading | None, temperature],
    kind: Annotated[BatteryType | None, battery_type],
    holds: Annotated[ck.Value | None, capacity],
    minutes: Annotated[ck.Value | None, reserve],
    still: Annotated[Settles | None, settles],
    stood: Annotated[Parked | None, parked],
    turns: Annotated[Cranks | None, cranks],
) -> Iterator[ck.Finding | ck.Gap]:
    """The current itself, then the days it leaves.

    A log that shows it settle says more than one reading, and then counts in its place.
    """
    if log is not None and (drawn is None or settled_draw(case, log, stood) is not None):
        return
    drawn = drawn or case[drain]
    if stop := barred(case):
        yield case.does_not_apply(stop)
        return
    if case.is_contradicted(drawn):
        return
    limit = case.limit(drain)
    read = ck.show(drawn.value, "mA", uncertainty=False)
    kept_awake = why_awake(waited, still, stood)
    awake = bool(kept_awake) and case.side(drawn, limit) is not ck.Side.INSIDE
    evidence: list[ck.Reading | str] = [*([waited] if waited is not None else []), *case.noted(parked)]
    if awake:
        yield case.inconclusive(
            ck.Claim(
                "battery.parasitic_draw", evidence=evidence, urgency=ck.Urgency.PLAN_IT, next_test=drain
            ),
            (
                "The parasitic draw is {read}, but {why}, and some modules stay awake for half an"
                " hour or more. Read it again after that: locked, latches shut, key more than 5 m away,"
                " diagnostic plug out."
            ),
            drawn,
            tells=(
                "The current of the parked car was read before everything in it was asleep; it is read again."
            ),
            limits=[limit],
            values={"read": read, "why": kept_awake},
        )
        yield case.gap(
            parked if stood in KEPT_AWAKE else sleep_time,
            "Days parked are told only of a current that was read with everything asleep.",
        )
        return
    judged = case.judge(
        drawn,
        limit,
        ck.Claim(
            "battery.parasitic_draw",
            evidence=evidence,
            calls_for=traced(case),
            urgency=ck.Urgency.PLAN_IT,
            next_test=drain,
        ),
        ck.Says(
            passes="The parasitic draw is {read}; {limit} is usual.",
            fails=(
                "The parasitic draw is {read}; {limit} is usual. Something stays on when the car"
                " is parked{if_parked}."
            ),
            undecided=(
                "The parasitic draw is {read}, too close to the usual {limit} to call with this meter."
            ),
        ),
        ck.Tells(
            passes="Parked, the car uses no more current than usual.",
            fails="Parked, the car uses {much}: something stays on.",
            undecided="Parked, the car uses about as much current as is usual at most.",
        ),
        values={
            "read": read,
            "much": times_usual(drawn.value, limit),
            "if_parked": (
                ""
                if stood is Parked.AS_PARKED
                else ", if latches were shut, the key more than 5 m away and the diagnostic plug out"
            ),
        },
    )
    yield judged
    usual = judged.urgency is ck.Urgency.NOTHING
    if drawn.disagrees:
        return
    yield days_parked(
        case,
        drawn.value,
        rest=rest,
        warmth=warmth,
        kind=kind,
        holds=capacity_known(holds, minutes, kind),
        turns=turns,
        usual=usual,
    )


def traced(case: ck.Case) -> ck.Operation | None:
    """The work that a draw calls for: none of its own where it was seen to flow through the alternator."""
    return None if case.seen(alternator_lead) is AlternatorLead.FLOWS else find_drain


def settled_draw(case: ck.Case, log: ck.Record, stood: Parked | None) -> ck.Settled | None:
    """What a log settled to, where that is what a parked car draws; None while modules may be awake still.

    What lies inside the limit is not kept awake by anything. What does not may go on falling within half an
    hour, or be kept awake by how the car stood.
    """
    settled = log.settled
    if settled is None or case.side(settled.value, case.limit(drain)) is ck.Side.INSIDE:
        return settled
    return None if log.end < ASLEEP or stood in KEPT_AWAKE else settled


def times_usual(drawn: ck.Value, limit: ck.Limit) -> str:
    """How much a parked car uses that uses too much, for the customer."""
    times = drawn.number / limit.high.number if limit.high is not None else 0.0
    return (
        f"about {times:.0f} times as much current as usual" if times >= TWICE else "more current than usual"
    )


def days_parked(
    case: ck.Case,
    drawn: ck.Value,
    *,
    rest: ck.Reading | None,
    warmth: ck.Reading | None,
    kind: BatteryType | None,
    holds: ck.Value | None,
    turns: Cranks | None,
    usual: bool,
) -> ck.Finding | ck.Gap:
    """How long the battery stands this draw, or what is missing to tell."""
    if turns is not None and turns is not Cranks.WELL:
        return case.gap(
            cranks,
            "Days parked are not told of a car that does not crank well as it stands: why comes first.",
        )
    if holds is None:
        return case.gap(
            capacity,
            (
                "How many days the battery lasts with this parasitic draw depends on its Ah, which are"
                " not known."
            ),
        )
    needed = NEEDED_COLD if warmth is not None and warmth.number < COLD else NEEDED
    loss = LOSS[kind] if kind is not None else max(LOSS.values())
    by_voltage = rest if kind is not BatteryType.LITHIUM else None
    return _days(case, drawn, by_voltage, holds=holds, needed=needed, loss=loss, usual=usual)


def why_awake(waited: ck.Reading | None, still: Settles | None, stood: Parked | None) -> str:
    """Why modules may have been awake at the reading, a clause; empty where the step's own words were"
    " kept."""
    if stood in KEPT_AWAKE:
        return KEPT_AWAKE[stood]
    if still is Settles.FALLING:
        return "it was still falling"
    if still is Settles.SETTLED:
        return ""
    if waited is None:
        return "how long the car had been left alone is not recorded"
    if waited.number < ASLEEP:
        return f"the car had been left alone for {ck.show(waited.value, 'min', uncertainty=False)} only"
    return ""


def _days(
    case: ck.Case,
    drawn: ck.Value,
    rest: ck.Reading | None,
    *,
    holds: ck.Value,
    needed: float,
    loss: float,
    usual: bool,
) -> ck.Finding | ck.Gap:
    """As a span: the label's Ah are those of a new battery, and how much of them is left is not known."""
    start = charge_of(case, rest).share if rest is not None else ck.exact("ratio", 1.0)
    start = ck.Value(start.kind, min(1.0, max(0.0, start.number)), start.budget, start.rests_on)
    if start.number <= needed:
        return case.advise(
            ck.Claim(
                "battery.days",
                evidence=[*sorted(drawn.rests_on), *([rest] if rest else [])],
                urgency=ck.Urgency.THIS_VISIT,
            ),
            (
                "At about {share} charge it has less than the {needed} assumed for a start, whatever"
                " the parasitic draw."
            ),
            tells="The battery has less charge than a start is taken to need, however little is drawn.",
            values={"share": f"{100 * start.number:.0f} %", "needed": f"{100 * needed:.0f} %"},
        )
    lasts = time_to_no_start(start, ck.exact("ratio", needed), holds, drawn, ck.exact("ratio", loss))
    days, spread = lasts.number / DAY, 1.645 * lasts.u / DAY
    fewest, most = OLD_HOLDS * days - spread, days + spread
    if fewest <= 0 or most > KNOWN_ENOUGH * fewest:
        return case.gap(
            open_circuit_voltage if rest is not None else drain,
            "How many days the battery lasts parked cannot be told: current, charge and capacity are not"
            " known well enough.",
        )
    if fewest > LONG / DAY:
        says = "Parked like this, the battery should still start the car after two months."
        tells = says
    elif most < 1:
        says = "Parked like this, the battery may no longer start the car within a day{since}."
        tells = "Parked like this, {even}may no longer start the car within a day."
    else:
        says = (
            "Parked like this, the charge lasts for {span}{since} until the battery may no longer start the"
            " car. The longer span is that of a new battery with the Ah on the label."
        )
        tells = (
            "Parked like this, {even}should still start the car after {least}."
            if usual and fewest >= 1
            else "Parked like this, {even}may no longer start the car after {span}."
        )
    return case.advise(
        ck.Claim(
            "battery.days",
            of=drain,
            unit="d",
            evidence=[*sorted(drawn.rests_on), *([rest] if rest is not None else [])],
            urgency=(
                ck.Urgency.NOTHING
                if usual or lasts.number > LONG
                else ck.Urgency.THIS_VISIT
                if days < SOON
                else ck.Urgency.PLAN_IT
            ),
            figure=(
                None
                if usual or lasts.number > LONG
                else _picture(start.number, needed, days, ck.show(drawn, "mA", uncertainty=False))
            ),
        ),
        says,
        lasts,
        tells=tells,
        values={
            "span": _span(fewest, most),
            "least": "a day" if fewest < 1.5 else f"{round(fewest)} days",
            "since": " from the charge it has now" if rest is not None else " from a full charge",
            "even": "the battery " if rest is not None else "even a full battery ",
        },
    )


def _span(fewest: float, most: float) -> str:
    """A span of days in words.

    >>> _span(4.8, 8.2), _span(0.6, 1.2)
    ('5 to 8 days', 'about one day')
    """
    low, high = max(1, round(fewest)), max(1, round(most))
    if low == high:
        return "about one day" if low == 1 else f"about {low} days"
    return f"{low} to {high} days"


def _picture(start: float, needed: float, days: float, read: str) -> ck.Figure:
    """How the charge falls, day by day, down to what a start needs."""
    end = max(2.0, days * 1.35)
    step = next(step for step in (1, 2, 5, 10, 20) if end / step <= 8)
    chart = ck.Chart(x=(0.0, end), y=(0.0, 100.0))
    slope = (start - needed) / days
    last = min(end, start / slope)
    return chart.figure(
        [
            *chart.scales(
                [step * n for n in range(int(end / step) + 1)],
                [0, 25, 50, 75, 100],
                "days parked",
                "charge, %",
            ),
            chart.line([(0.0, 100 * needed), (end, 100 * needed)], 0.7, dashed=True),
            chart.words(end * 0.02, 100 * needed, "a start needs about this much", "start", -4.5),
            chart.line([(0.0, 100 * start), (last, 100 * (start - slope * last))], 1.2),
            *chart.dot(days, 100 * needed, 0.0),
            chart.words(days, 100 * needed, f" {days:.0f} d", "start", 2.0),
        ],
        f"Charge over days parked at {read}",
        f"From about {100 * start:.0f} % the charge falls to the {100 * needed:.0f} % that a start is taken"
        f" to need after about {days:.0f} days at {read}.",
    )
