"""What a battery takes and what it keeps: its charge acceptance, and its voltage after a night alone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import (
    BatteryType,
    Case,
)
from .capacity import capacity_known, reserve
from .charge_history import known_full_charge
from .declarations import (
    battery,
    battery_type,
    capacity,
    case_seen,
    charger,
    load_voltage,
    open_circuit_voltage,
    replace,
    temperature,
)
from .starting_declarations import (
    accepted_current,
    accepting_time,
    accepting_voltage,
    evening_voltage,
    night_time,
    night_voltage,
)

# shares of the 20-hour capacity; V; K; s. source: charge-acceptance
TAKES, REFUSES = 0.15, 0.05
AT, NEARLY_FULL, WARM = 14.4, 12.4, 283.15
MINUTES_5, MINUTES_20 = 240.0, 1200.0  # s: 5 min less a minute of grace; and how long a flat one may refuse
AT_ITS_LIMIT = 0.9  # of the charger's amperes; an estimate of ours

# V and s. source: night-alone
FULL, STAYS, FELL = 12.5, 12.4, 12.2
NIGHT, TWO_DAYS = 10 * 3600.0, 48 * 3600.0


@battery.calculation(source="charge-acceptance")
def acceptance(
    current: Annotated[float, ck.Input("A", "Current at 14.4 V", 0)],
    capacity: Annotated[float, ck.Input("C", "20-hour capacity", above=0)],
) -> Annotated[float, ck.Output("1", "Charge acceptance, share of the capacity in an hour")]:
    """Current that a battery takes, as a share of its 20-hour capacity in one hour.

    >>> round(acceptance.si(7, 70 * 3600), 2)
    0.1
    """
    return current * 3600.0 / capacity


@battery.check("Charge acceptance")
def charge_acceptance(
    case: ck.Case,
    *,
    takes: Annotated[ck.Reading | None, accepted_current],
    volts: Annotated[ck.Reading | None, accepting_voltage],
    lasted: Annotated[ck.Reading | None, accepting_time],
    warmth: Annotated[ck.Reading | None, temperature],
    before: Annotated[ck.Reading | None, open_circuit_voltage],
    holds: Annotated[ck.Value | None, capacity],
    minutes: Annotated[ck.Value | None, reserve],
    kind: Annotated[BatteryType | None, battery_type],
    gives: Annotated[ck.Value | None, charger],
    body: Annotated[Case | None, case_seen],
) -> Iterator[ck.Finding | ck.Gap]:
    """Little never condemns a battery: deeply discharged or sulphated, it takes nothing at first."""
    if takes is None:
        return
    if body not in (None, Case.SOUND):
        yield case.does_not_apply(f"The battery is {body.value}: it is not charged.")
        return
    holds = capacity_known(holds, minutes, kind)
    if holds is None:
        yield case.gap(capacity, "What it takes means something only beside the Ah on its label.")
        return
    if volts is None:
        yield case.gap(accepting_voltage, "What it takes means something only with the voltage at the posts.")
        return
    share = acceptance(takes, holds)
    places = {
        "read": ck.show(takes.value, "A", uncertainty=False),
        "volts": ck.show(volts.value, "V", uncertainty=False),
        "share": f"{100 * share.number:.0f} %",
    }
    evidence = [reading for reading in (takes, volts, lasted, warmth, before) if reading is not None]
    limited = case.side(volts, _low(case, "voltage", AT - 0.2)) is ck.Side.BELOW
    if limited:
        full_on = gives is not None and case.side(
            takes, _low(case, "current", AT_ITS_LIMIT * gives.number)
        ) in (ck.Side.INSIDE, ck.Side.UNDECIDED)
        grade = "takes charge" if full_on else ""
        why = "" if full_on else "set the charger to 14.4 V, or name its amperes, and read again"
    else:
        grade = _grade(case, share)
        why = "" if grade == "takes charge" else _unready(case, lasted, warmth, before)
        if not why and not grade:
            why = "it lies on the edge between two grades; read again after a while"
    if why:
        yield case.inconclusive(
            ck.Claim("battery.take", of=accepted_current, evidence=evidence, next_test=accepted_current),
            "At {volts} it takes {read}, {share} of its capacity in an hour: that decides nothing yet;"
            " {why}.",
            tells="How well the battery takes charge could not be told yet.",
            values={**places, "why": why},
        )
        return
    says, tells = _TAKES[grade]
    yield case.advise(
        ck.Claim(
            "battery.take",
            of=accepted_current,
            unit="%",
            evidence=evidence,
            urgency=ck.Urgency.NOTHING,
            grade=grade,
        ),
        says,
        share,
        tells=tells,
        values=places,
    )


def _low(case: ck.Case, kind: str, number: float) -> ck.Limit:
    return case.computed_limit("battery.take", "charge-acceptance", low=ck.exact(kind, number))


def _grade(case: ck.Case, share: ck.Value) -> str:
    """How much it takes; empty where that lies on the edge between two grades."""
    much, some = (case.side(share, _low(case, "ratio", edge)) for edge in (TAKES, REFUSES))
    if much is ck.Side.INSIDE:
        return "takes charge"
    if some is ck.Side.BELOW:
        return "takes next to nothing"
    return "takes little" if (much, some) == (ck.Side.BELOW, ck.Side.INSIDE) else ""


def _unready(
    case: ck.Case, lasted: ck.Reading | None, warmth: ck.Reading | None, before: ck.Reading | None
) -> str:
    """Why a small current means nothing yet; empty when it does."""
    if before is None or case.side(before, _low(case, "voltage", NEARLY_FULL)) is not ck.Side.BELOW:
        return "a battery that is not plainly below 12.4 V before takes little however good it is"
    if warmth is None or case.side(warmth, _low(case, "temperature", WARM)) is not ck.Side.INSIDE:
        return "below 10 °C any battery takes little; take its temperature, warm it, read again"
    if lasted is None or case.side(lasted, _low(case, "time", MINUTES_20)) is ck.Side.BELOW:
        return "a deeply discharged battery may take nothing at first; leave it on charge, read after 20 min"
    return ""


_TAKES = {
    "takes charge": (
        "At {volts} it takes {read}, {share} of its capacity in an hour: it takes charge. Charge it"
        " fully, let"
        " it rest, then test it under load.",
        "The battery takes charge; how good it is shows once it is full.",
    ),
    "takes little": (
        "At {volts} it takes {read}, {share} of its capacity in an hour: little. That condemns no battery;"
        " charge it slowly, then test it under load.",
        "The battery takes charge slowly; how good it is shows once it is full.",
    ),
    "takes next to nothing": (
        "At {volts} it takes {read} even after 20 min, {share} of its capacity in an hour: next to nothing."
        " Check the charger's clamps; leave it on charge overnight, then test it under load. That alone"
        " condemns no battery.",
        "The battery takes next to no charge so far; it is charged longer and tested again.",
    ),
}


@battery.check("A night alone")
def night(
    case: ck.Case,
    *,
    morning: Annotated[ck.Reading | None, night_voltage],
    evening: Annotated[ck.Reading | None, evening_voltage],
    stood: Annotated[ck.Reading | None, night_time],
) -> Iterator[ck.Finding | ck.Gap]:
    """With the negative off nothing draws on it: what falls then falls in the battery itself."""
    if morning is None:
        return
    places = {"read": ck.show(morning.value, "V", uncertainty=False)}
    why = _not_a_night(case, morning, evening, stood)
    if why:
        yield case.inconclusive(
            ck.Claim("battery.night", of=night_voltage, evidence=[morning], next_test=night_voltage),
            "{read} after it stood alone decides nothing: {why}.",
            tells="Whether the battery keeps its charge by itself could not be told yet.",
            values={**places, "why": why},
        )
        return
    assert evening is not None and stood is not None  # else there is a reason above
    if case.side(evening, _stays(case, FULL)) is not ck.Side.INSIDE:
        yield _never_full(case, morning, evening, stood, places)
        return
    fell = case.side(morning, _stays(case, FELL)) is ck.Side.BELOW
    yield case.judge(
        morning,
        _stays(case, STAYS),
        ck.Claim(
            "battery.night",
            evidence=[evening, stood],
            calls_for=replace if fell else None,
            next_test=load_voltage,
        ),
        ck.Says(
            passes=(
                "From {evening} it stands at {read} after {stood} alone: it keeps its charge. If it goes flat"
                " in the vehicle, something there draws on it."
            ),
            fails=(
                "From {evening} it fell to {read} in {stood}, with nothing connected: the battery loses its"
                " charge by itself. Test it under load or cell by cell."
                if fell
                else "From {evening} it fell to {read} in {stood}, with nothing connected: more than it"
                " should."
                " Charge it fully once more and repeat the night."
            ),
            undecided="From {evening} it stands at {read} after {stood} alone: too close to {limit} to call.",
        ),
        ck.Tells(
            passes="Left alone for a night the battery keeps its charge.",
            fails="Left alone for a night, with nothing connected, the battery loses charge.",
            undecided="Left alone for a night, the battery keeps too nearly what it should to say.",
        ),
        values={
            **places,
            "evening": ck.show(evening.value, "V", uncertainty=False),
            "stood": ck.show(stood.value, "h", uncertainty=False),
        },
    )


def _never_full(
    case: ck.Case, morning: ck.Reading, evening: ck.Reading, stood: ck.Reading, places: dict[str, str]
) -> ck.Finding:
    """Low in the evening although its charge was seen to end: no charger mends that."""
    charged = known_full_charge(case)
    assert charged is not None
    return case.judge(
        morning,
        _stays(case, STAYS),
        ck.Claim(
            "battery.night",
            evidence=[evening, stood, *charged.evidence],
            calls_for=replace if case.side(morning, _stays(case, FELL)) is ck.Side.BELOW else None,
            next_test=load_voltage,
        ),
        ck.Says(
            passes=(
                "After {charged} it stood at {evening}, and at {read} after {stood} alone: the first of the"
                " two is doubtful. Read it again."
            ),
            fails=(
                "After {charged} it stood at {evening} only, and at {read} after {stood} with nothing"
                " connected: it does not take or does not hold its charge. Charging it again changes nothing."
            ),
            undecided="After {charged} and {stood} alone it stands at {read}: too close to {limit} to call.",
        ),
        ck.Tells(
            passes="The battery's voltage before the night is doubtful; it is read again.",
            fails="Fully charged and left alone for a night, the battery has lost its charge.",
            undecided="Left alone for a night, the battery keeps too nearly what it should to say.",
        ),
        values={
            **places,
            "charged": charged.words,
            "evening": ck.show(evening.value, "V", uncertainty=False),
            "stood": ck.show(stood.value, "h", uncertainty=False),
        },
    )


def _stays(case: ck.Case, volts: float) -> ck.Limit:
    return case.computed_limit("battery.night", "night-alone", low=ck.exact("voltage", volts))


def _not_a_night(
    case: ck.Case, morning: ck.Reading, evening: ck.Reading | None, stood: ck.Reading | None
) -> str:
    """Why the reading says nothing about the battery; empty when it does."""
    if evening is None or stood is None:
        return "it takes the voltage in the evening and the hours in between"
    charged = known_full_charge(case)
    seen_full = charged is not None and charged.seen
    if case.side(evening, _stays(case, FULL)) is not ck.Side.INSIDE and not seen_full:
        return "it was not plainly full in the evening; charge it fully, wait an hour, begin again"
    short = case.computed_limit("battery.night", "night-alone", low=ck.exact("time", NIGHT))
    long = case.computed_limit("battery.night", "night-alone", high=ck.exact("time", TWO_DAYS))
    held = case.side(morning, _stays(case, STAYS))
    if held is not ck.Side.BELOW and case.side(stood, short) is ck.Side.BELOW:
        return "it stood for too short a time; leave it for 12 h"
    if held is not ck.Side.INSIDE and case.side(stood, long) is ck.Side.ABOVE:
        return "in days any battery falls by itself; charge it and repeat it over 12 h"
    return ""
