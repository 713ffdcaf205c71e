"""Capacity by discharge: what it delivered against what its label gives at that current and temperature."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Annotated, Any

import corekit as ck

from .answers import (
    BatteryType,
    InUse,
)
from .capacity import (
    CLOSED_EXPONENTS,
    HIGHEST,
    LITHIUM_EXPONENTS,
    TWENTY_HOURS,
    VENTED_EXPONENTS,
    cold_capacity_20_hour,
    cold_capacity_short,
    peukert_exponent,
    reserve,
    run_time,
)
from .charge_history import ChargeEnd, charge_end, known_full_charge
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    capacity,
    delivered,
    discharge_current,
    discharge_fall,
    in_use,
    replace,
    temperature,
)

#: A 12-V block of car size has some milliohms; less than this none has once the current has flowed for
#: seconds. An estimate of ours.
LEAST_RESISTANCE = 1.5e-3  # Ω
#: Share of its label's capacity below which a battery that was full is called worn out. The rule on file
#: renews stationary ones below 80 %, and a starter battery serves on below that; an estimate of ours.
WORN = 0.6
USUAL_KELVIN = (283.15, 303.15)  # where nobody took the temperature of a discharge; an estimate of ours


@battery.calculation(source="peukert")
def capacity_at_current(
    capacity: Annotated[float, ck.Input("C", "20-hour capacity", above=0)],
    current: Annotated[float, ck.Input("A", "Discharge current", above=0, high=HIGHEST)],
    exponent: Annotated[float, ck.Input("1", "Peukert exponent", 1, 1.5)],
) -> Annotated[float, ck.Output("C", "Capacity at this current")]:
    """What a battery delivers at a steady current: less than its label at more than its 20-hour current.

    >>> round(capacity_at_current.si(100 * 3600, 25, 1.2) / 3600, 1)
    72.5

    Raises:
        ValueError: the current is far below the 20-hour current or above 50 A, where the law does not hold.
    """
    return current * run_time.si(capacity, current, exponent)


@battery.check("Capacity test")
def capacity_test(
    case: ck.Case,
    *,
    does: Annotated[InUse | None, in_use],
    gave: Annotated[ck.Reading | None, delivered],
    current: Annotated[ck.Reading | None, discharge_current],
    fell: Annotated[ck.Reading | None, discharge_fall],
    rated: Annotated[ck.Value | None, capacity],
    minutes: Annotated[ck.Value | None, reserve],
    kind: Annotated[BatteryType | None, battery_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """Only a discharge with a known current shows capacity, held against what its label gives at that current
    and temperature; a current that moves no voltage was none.
    """
    if stop := barred(case):
        yield case.does_not_apply(stop)
        return
    if (
        current is not None
        and fell is not None
        and current.number > 0
        and fell.number + 2 * fell.value.u < LEAST_RESISTANCE * current.number
    ):
        yield case.inconclusive(
            ck.Claim(
                "battery.contradiction", of=discharge_current, evidence=[fell], next_test=discharge_current
            ),
            (
                "A current of {read} is recorded, and the voltage dropped by only {fell}: no battery"
                " has so little internal resistance, so one of the two is wrong. Count the charge from"
                " where the voltage steps down, and look at the raw current."
            ),
            current,
            tells=(
                "The current of the discharge test and its voltage cannot both be right; they are read again."
            ),
            values={
                "read": ck.show(current.value, "A", uncertainty=False),
                "fell": ck.show(fell.value, "mV", uncertainty=False),
            },
        )
        return
    if gave is None:
        if does is InUse.SOONER:
            noted = case.noted(in_use)
            yield case.inconclusive(
                ck.Claim("battery.capacity_unread", of=delivered, evidence=noted, next_test=delivered),
                (
                    "It runs down sooner than before, and no voltage shows how much it holds. Charge"
                    " it fully, then discharge it with a known current (about a twentieth of its Ah)"
                    " down to 10.5 V."
                ),
                tells=(
                    "How much the battery still holds shows only when it is discharged with a known current."
                ),
            )
        return
    if rated is None:
        yield case.gap(capacity, "The delivered capacity means something only beside the Ah on its label.")
        return
    if current is None:
        yield case.gap(
            discharge_current, "The delivered capacity means something only with the current it was taken at."
        )
        return
    if case.seen(charge_end) in (ChargeEnd.STOPPED, ChargeEnd.REFUSED, ChargeEnd.TAKEN_OFF):
        yield case.inconclusive(
            ck.Claim("battery.capacity_left", of=delivered, evidence=[gave, current], next_test=delivered),
            (
                "It delivered {gave}, but the charge before did not reach its end: what it holds shows only"
                " from full."
            ),
            gave,
            tells="The battery was not full when the capacity test began, so the test says nothing yet.",
            values={"gave": ck.show(gave.value, "Ah", uncertainty=False)},
        )
        return
    if current.number > HIGHEST:
        yield case.inconclusive(
            ck.Claim("battery.capacity_left", of=delivered, evidence=[gave, current], next_test=delivered),
            (
                "It delivered {gave} at {current}: above 50 A no rule tells what a sound battery delivers."
                " Discharge it with about a twentieth of its Ah."
            ),
            gave,
            tells="The capacity test was made with too high a current to say anything.",
            values={
                "gave": ck.show(gave.value, "Ah", uncertainty=False),
                "current": ck.show(current.value, "A", uncertainty=False),
            },
        )
        return
    yield _held_against_label(case, gave, current, rated, minutes, kind)


def _held_against_label(
    case: ck.Case,
    gave: ck.Reading,
    current: ck.Reading,
    rated: ck.Value,
    minutes: ck.Value | None,
    kind: BatteryType | None,
) -> ck.Finding:
    warmth = gave.condition(temperature) or case.reading(temperature)
    evidence = [reading for reading in (gave, current, warmth) if reading is not None]
    expected = sorted(_sound_times(current, rated, minutes, kind, warmth), key=lambda value: value.number)
    shares = [
        ck.propagate(lambda got, whole: got / whole, (gave.value, whole), "ratio") for whole in expected
    ]
    limit = case.limit("battery.capacity_left")
    at_most, at_least = shares[0], shares[-1]
    sides = {case.side(share, limit) for share in (at_most, at_least)}
    charged = known_full_charge(case)
    places: dict[str, Any] = {
        "gave": ck.show(gave.value, "Ah", uncertainty=False),
        "current": ck.show(current.value, "A", uncertainty=False),
        "share": (
            f"{100 * at_least.number:.0f} %"
            if round(100 * at_least.number) == round(100 * at_most.number)
            else f"{100 * at_least.number:.0f} to {100 * at_most.number:.0f} %"
        ),
        "held": f" It was tested after {charged.words}: it has lost capacity, or does not take its charge."
        if charged is not None
        else "",
    }
    if len(sides) > 1:
        return case.inconclusive(
            ck.Claim("battery.capacity_left", of=delivered, unit="%", evidence=evidence, next_test=delivered),
            (
                "It delivered {gave} at {current}, {share} of what its label gives at that current: whether"
                " that is enough depends on {open}."
            ),
            at_least,
            tells="How much the battery still holds could not be told exactly enough.",
            limits=[limit],
            values={
                **places,
                "open": " and ".join(
                    words
                    for words, missing in (
                        ("its temperature, which was not taken", warmth is None),
                        (
                            "how much it loses at a high current; its reserve capacity, or a current of a"
                            " twentieth of its Ah, tells",
                            minutes is None,
                        ),
                    )
                    if missing
                )
                or "the meter",
            },
        )
    return case.judge(
        at_most if sides == {ck.Side.BELOW} else at_least,
        limit,
        ck.Claim(
            "battery.capacity_left",
            of=delivered,
            unit="%",
            evidence=evidence,
            calls_for=replace if charged is not None and _is_worn(case, at_most) else None,
        ),
        ck.Says(
            passes=(
                "It delivered {gave} at {current}, {share} of what its label gives at that current; {limit}"
                " is usual for a serviceable battery."
            ),
            fails=(
                "It delivered {gave} at {current}, {share} of what its label gives at that current; {limit}"
                " is usual for a serviceable battery.{held}"
            ),
            undecided=(
                "It delivered {gave} at {current}, {share} of what its label gives at that current: close"
                " to the usual {limit}."
            ),
        ),
        ck.Tells(
            passes=(
                "The battery delivered {share} of what its label says, as is usual for a serviceable battery."
            ),
            fails=(
                "The battery delivered {share} of what its label says, less than is usual for a"
                " serviceable battery."
            ),
            undecided="The battery delivered {share} of what its label says, close to what is usual.",
        ),
        values=places,
    )


def _is_worn(case: ck.Case, at_most: ck.Value) -> bool:
    """Whether it plainly holds so little that it is worn out."""
    least = case.computed_limit("battery.capacity_left", "capacity-left", low=ck.exact("ratio", WORN))
    return case.side(at_most, least) is ck.Side.BELOW


def _sound_times(
    current: ck.Reading,
    rated: ck.Value,
    minutes: ck.Value | None,
    kind: BatteryType | None,
    warmth: ck.Reading | None,
) -> list[ck.Value]:
    """What a sound battery of that label delivers, at both ends of whatever is not known."""
    kelvins = (warmth.number,) if warmth is not None else USUAL_KELVIN
    slow = current.number < 2 * rated.number / TWENTY_HOURS
    found = []
    for exponent, kelvin in itertools.product(_exponents(rated, minutes, kind), kelvins):
        at_current = ck.propagate(
            lambda whole, amps, k=exponent: (
                capacity_at_current.si(whole, amps, k) if amps >= whole / TWENTY_HOURS else whole
            ),
            (rated, current.value),
            "charge",
        )
        if kind is BatteryType.LITHIUM:
            found.append(at_current)
            continue
        table = cold_capacity_20_hour if slow else cold_capacity_short
        low, high = (264.0, 308.0) if slow else (269.5, 324.5)
        share = table.si(1.0, min(max(kelvin, low), high))
        found.append(ck.propagate(lambda whole, part=share: part * whole, (at_current,), "charge"))
    return found


def _exponents(rated: ck.Value, minutes: ck.Value | None, kind: BatteryType | None) -> tuple[float, ...]:
    """Peukert's exponent by its own two ratings, else both ends of what its type may have."""
    if minutes is not None:
        try:
            return (peukert_exponent.si(rated.number, minutes.number),)
        except ValueError:
            pass  # ratings that cannot be of one battery tell nothing; the span of its type stands
    if kind is BatteryType.LITHIUM:
        return LITHIUM_EXPONENTS
    if kind in (BatteryType.AGM, BatteryType.GEL):
        return CLOSED_EXPONENTS
    if kind is None:
        return (CLOSED_EXPONENTS[0], VENTED_EXPONENTS[1])
    return VENTED_EXPONENTS
