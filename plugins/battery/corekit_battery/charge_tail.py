"""The end of a charge by its current: done, still going on, not taken, or too hot."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import (
    BatteryType,
)
from .capacity import capacity_known, reserve
from .charge import (
    LAID_DOWN,
    TAIL,
    TAU_LAW,
    charge_current,
    charge_elapsed,
    current_allowed,
    fitted_time,
    hours_in_words,
    two_readings,
)
from .charge_state import charge_of
from .charging import HOUR, time_left
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    capacity,
    charger,
    charger_voltage,
    open_circuit_voltage,
    temperature,
)
from .regulator import FILLED

MOST_BY_ANY = (
    0.25  # A for each Ah: what a charger of unknown size gives at most; source: charge-current-by-type
)
HALF = 0.5  # of what is missing: less than that cannot have filled it; an estimate of ours


@battery.check("End of charge by current")
def charge_tail(
    case: ck.Case,
    currents: Annotated[list[ck.Reading] | None, charge_current],
    *,
    holds: Annotated[ck.Value | None, capacity],
    minutes: Annotated[ck.Value | None, reserve],
    kind: Annotated[BatteryType | None, battery_type],
    gives: Annotated[ck.Value | None, charger],
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
) -> Iterator[ck.Finding | ck.Gap]:
    """Whether the current tells that the charge is done, how long it still takes, and whether the battery
    grows too hot.
    """
    if not currents:
        return
    latest = next((reading for reading in currents if reading.place == "later"), currents[-1])
    hot = latest.condition(temperature)
    if hot is not None:
        warm = case.judge(
            hot,
            case.limit("battery.charge_temperature"),
            ck.Claim("battery.charge_hot", evidence=[latest], urgency=ck.Urgency.BEFORE_DRIVING),
            ck.Says(
                passes="",
                fails=(
                    "On the charger the battery has reached {read}; {limit} is the most. Charger off at the"
                    " mains, not at its clamps; let it cool, and look for a shorted cell."
                ),
                undecided=(
                    "On the charger the battery is at about {read}, close to {limit}, the most allowed."
                    " Charge with less or pause."
                ),
            ),
            ck.Tells(
                passes="",
                undecided="The battery gets nearly too hot on the charger.",
                fails="The battery got too hot on the charger; charging has to stop until it has cooled.",
            ),
            values={"read": ck.show(hot.value, "°C", uncertainty=False)},
        )
        if warm.verdict is not ck.Verdict.PASS:
            yield warm
    holds = capacity_known(holds, minutes, kind)
    if holds is None:
        yield case.gap(
            capacity, "When a charge is complete depends on the battery's Ah, which are not known."
        )
        return
    yield from _too_much(case, currents, holds, kind)
    tail = ck.propagate(lambda ah: TAIL * ah / HOUR, (holds,), "current")
    read, end = ck.show(latest.value, "A", uncertainty=False), f"{tail.number:.1f} A"
    held = latest.condition(charger_voltage) or case.reading(charger_voltage)
    if barred(case):
        return
    if latest.number <= tail.number and kind is not BatteryType.LITHIUM:
        refused = _not_taken(case, currents, latest, rest, holds, gives)
        if refused is not None:
            yield refused
            return
    if latest.number <= tail.number and held is not None and held.number < _least(case, kind):
        # at too low a voltage the current falls before the battery is full; the check of the charger says so
        return
    if latest.number <= tail.number:
        yield case.advise(
            ck.Claim("battery.charge_tail", evidence=currents, calls_for=None, urgency=ck.Urgency.NOTHING),
            (
                "The current has fallen to {read}, below {tail}: by its current the charge is"
                " complete. A cold or sulphated battery looks the same, so read its open-circuit"
                " voltage after a rest and put it under load."
            ),
            latest,
            tells="By its current the charge is complete; what the battery is worth is tested next.",
            values={"read": read, "tail": end},
        )
        return
    pair = two_readings(currents)
    if pair is None:
        yield case.gap(
            charge_current,
            "How long the charge still takes needs two readings of its current, each with its time on the"
            " charger.",
        )
        return
    first, later, apart = pair
    tau = fitted_time(currents)
    if tau is None:
        yield case.inconclusive(
            ck.Claim("battery.charge_tail", evidence=currents, next_test=charge_current),
            (
                "In {apart} the current went from {was} to {read}: it does not fall yet, so the"
                " charger still limits the current. If it rises at a steady voltage, feel whether the"
                " battery gets hot, and stop if it does: charger off at the mains."
            ),
            later,
            tells="The battery is still charging at full current.",
            values={
                "was": ck.show(first.value, "A", uncertainty=False),
                "read": read,
                "apart": hours_in_words(apart.number),
            },
        )
        return
    left = time_left(later, tail, tau)
    missing = ck.propagate(lambda amps, constant: amps * constant, (later.value, tau), "charge")
    quick = (
        " That is faster than a battery usually accepts charge; part of it may only make gas."
        if tau.number < TAU_LAW
        else ""
    )
    yield case.advise(
        ck.Claim(
            "battery.charge_tail",
            of=charge_current,
            unit="h",
            evidence=currents,
            urgency=ck.Urgency.THIS_VISIT,
        ),
        (
            "The current falls with a time constant of {tau}. At {read} about {missing} are still missing,"
            " and down to {tail} it takes another {left} ({spread})."
        )
        + quick,
        left,
        tells="The battery is still charging; until it is full takes about another {left}.",
        values={
            "read": read,
            "tail": end,
            "tau": hours_in_words(tau.number),
            "left": hours_in_words(left.number),
            "spread": " to ".join(
                hours_in_words(max(0.0, left.number + factor * left.u)) for factor in (-1.645, 1.645)
            ),
            "missing": f"{missing.number / HOUR:.0f} Ah",
        },
    )


def _not_taken(
    case: ck.Case,
    currents: list[ck.Reading],
    latest: ck.Reading,
    rest: ck.Reading | None,
    holds: ck.Value,
    gives: ck.Value | None,
) -> ck.Finding | None:
    """A current that is small before the missing charge can have gone in: the battery does not take it, or
    the charger stopped. None where there was time enough, or where charge and time are not known.
    """
    lasted = latest.condition(charge_elapsed) or case.reading(charge_elapsed)
    if rest is None or rest.disagrees or lasted is None:
        return None
    share = charge_of(case, rest).share
    missing = max(0.0, 1 - share.number - 1.645 * share.u) * holds.number
    most = max(
        gives.number if gives is not None else current_allowed.si(holds.number, MOST_BY_ANY),
        *(reading.number for reading in currents),
    )
    given = most * (lasted.number + 2 * lasted.value.u)
    if given >= HALF * missing:
        return None
    return case.inconclusive(
        ck.Claim(
            "battery.charge_not_taken",
            of=charge_current,
            evidence=[*currents, rest, lasted],
            next_test=charge_current,
        ),
        (
            "After {lasted} the current is down to {read}, too soon for a full charge: no more than {given}"
            " can have gone in, and {missing} or more are missing. It does not take its charge, or the"
            " charger stopped. A very flat or sulphated battery refuses for the first 20 minutes and a cold"
            " one takes little: leave it at the right voltage, above 10 °C, and read again after some"
            " hours. If it is still so then, it does not take its charge, and no further charging changes"
            " that."
        ),
        latest,
        tells=(
            "The battery hardly takes any charge so far. Whether it still recovers shows after some hours"
            " on the charger."
        ),
        values={
            "read": ck.show(latest.value, "A", uncertainty=False),
            "lasted": hours_in_words(lasted.number),
            "given": f"{given / HOUR:.0f} Ah" if given >= HOUR else "1 Ah",
            "missing": f"{missing / HOUR:.0f} Ah",
        },
    )


def _least(case: ck.Case, kind: BatteryType | None) -> float:
    """V: below it no charge is ever finished; 0 when neither type nor label is known."""
    own = case.specified.get(charger_voltage.key)
    if own is not None and own.low is not None:
        return own.low.number
    low = case.limit(FILLED[kind]).low if kind in FILLED else None
    return low.number if low is not None else 0.0


def _too_much(
    case: ck.Case, currents: list[ck.Reading], holds: ck.Value, kind: BatteryType | None
) -> Iterator[ck.Finding]:
    if kind not in (BatteryType.AGM, BatteryType.GEL):
        return
    most = current_allowed(holds, ck.exact("ratio", LAID_DOWN))
    strongest = max(currents, key=lambda reading: reading.number)
    judged = case.judge(
        strongest,
        case.computed_limit("battery.charge_current", "charge-current-by-type", high=most),
        ck.Claim("battery.charge_current"),
        ck.Says(
            passes="",
            fails=(
                "Charging current {read}; {limit} is usual for a sealed battery of this size unless"
                " its label allows more."
            ),
            undecided=(
                "Charging current {read}, close to the {limit} that is usual for a sealed battery of"
                " this size."
            ),
        ),
        ck.Tells(
            passes="",
            fails=("The battery is being charged with more current than is usual for one of its size."),
            undecided="The battery is being charged with about the most current that is usual for its size.",
        ),
        values={"read": ck.show(strongest.value, "A", uncertainty=False)},
    )
    if judged.urgency is not ck.Urgency.NOTHING:
        yield judged
