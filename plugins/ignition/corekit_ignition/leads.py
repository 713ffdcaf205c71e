"""Plug leads: resistance by length, neighbours beside each other, and what was seen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from statistics import median
from typing import Annotated

import attrs

import corekit as ck

from .answers import Kind, LeadLook
from .declarations import (
    LEADS,
    boot_look,
    ignition,
    kind,
    lead_length,
    lead_look,
    lead_resistance,
    replace_boots,
    replace_leads,
)

MOST_BY_LENGTH = 12000 / 0.3048  # Ω/m, 12 kΩ per foot; source: lead-by-length
MOST = 30e3  # Ω; source: lead-total
SLIP = 100.0  # a lead this many times below its neighbours by length was typed in the wrong unit
COMPARED = 3
_GRADE = {
    ck.Side.INSIDE: "within",
    ck.Side.UNDECIDED: "",
    ck.Side.BELOW: "off its figure",
    ck.Side.ABOVE: "off its figure",
}
APART = 3.0  # times the others from which a lead stands out; source: lead-apart
OPEN = 100e3  # Ω: the longest lead of any design reads less, so this one is open; an estimate of ours


@ignition.calculation(source="lead-by-length")
def most_by_length(
    length: Annotated[float, ck.Input("m", "Length of the lead", above=0)],
) -> Annotated[float, ck.Output("Ω", "Highest resistance")]:
    """Most that a suppressed lead of this length should read.

    >>> round(most_by_length.si(0.6))
    23622
    """
    return MOST_BY_LENGTH * length


@ignition.check("Plug lead resistance")
def lead_resistances(
    case: ck.Case,
    ohms: Annotated[list[ck.Reading] | None, lead_resistance],
    lengths: Annotated[list[ck.Reading] | None, lead_length],
    how: Annotated[Kind | None, kind],
) -> Iterator[ck.Finding | ck.Gap]:
    """Each lead against the vehicle's own figure, else by its length; the figures at hand are weak, so
    without an own one it stays advice.
    """
    if not ohms:
        without = how is Kind.OWN_COIL
        yield (
            case.does_not_apply("Each plug has its own coil and no lead.")
            if without
            else case.gap(lead_resistance, "Plug lead resistance: not measured.")
        )
        return
    own = case.is_specified(lead_resistance)
    known = {reading.place: reading for reading in lengths or []}
    long = {reading.place: reading.condition(lead_length) or known.get(reading.place) for reading in ohms}
    by_length = {
        reading.place: reading.number / metres.number
        for reading in ohms
        if (metres := long[reading.place]) is not None
    }
    for reading in ohms:
        place, metres = reading.place, long[reading.place]
        if (
            place in by_length
            and len(by_length) >= COMPARED
            and by_length[place] * SLIP < _median_beside(by_length, place)
        ):
            yield _slip(case, reading)
            continue
        if own:
            limit = case.limit(lead_resistance)
        elif metres is not None and MOST_BY_LENGTH * metres.number < MOST:
            limit = case.computed_limit(
                "ignition.lead_by_length", "lead-by-length", high=most_by_length(metres)
            )
        else:
            limit = case.limit("ignition.lead_total")
        yield case.judge(
            reading,
            limit,
            ck.Claim(
                "ignition.lead" if own else "ignition.lead_usual",
                evidence=[metres] if metres is not None else [],
                calls_for=replace_leads,
                next_test=lead_resistance,
                grade="open" if reading.number > OPEN else _GRADE[case.side(reading, limit)],
            ),
            ck.Says(
                passes="{it} reads {read}{over}; {limit} {usual}.",
                fails=(
                    "{it} reads {read}{over}; {limit} {usual}. Too high a resistance weakens the"
                    " spark; read it again while bending it, boot by boot."
                ),
                undecided="{it} reads {read}{over}, too close to the {limit} that {usual} to call.",
            ),
            ck.Tells(
                passes="{it} measures as is expected.",
                fails="{it} does not measure as is expected.",
                undecided="{it} measured close to the end of what is usual; it is read again.",
            ),
            values={
                "it": place.capitalize(),
                "read": ck.show(reading.value, "kΩ", uncertainty=False),
                "over": f" over {ck.show(metres.value, 'm', uncertainty=False)}"
                if metres is not None
                else "",
                "usual": "is its specification" if own else "is usual",
            },
        )
    if not own and any(metres is None for metres in long.values()):
        yield case.gap(
            lead_length, "A lead is judged by its length; where that was not recorded, only the total counts."
        )


@ignition.check("Plug leads beside each other")
def leads_compared(
    case: ck.Case,
    ohms: Annotated[list[ck.Reading], lead_resistance],
    lengths: Annotated[list[ck.Reading] | None, lead_length],
) -> Iterator[ck.Finding | ck.Gap]:
    """One lead that reads several times what the others do, by its length where that is known of all."""
    metres = {one.place: one.number for one in lengths or []}
    whole = all(one.place in metres for one in ohms)
    rated = {one.place: one.number / (metres[one.place] if whole else 1.0) for one in ohms}
    if len(rated) < COMPARED:
        yield case.gap(lead_resistance, "Leads are compared where three of them at least were read.")
        return
    beside = {
        place: number / middle
        for place, number in rated.items()
        if (middle := _median_beside(rated, place)) > 0
    }
    far = [place for place, times in beside.items() if times > APART]
    yield case.advise(
        ck.Claim(
            "ignition.lead_apart",
            evidence=ohms,
            urgency=ck.Urgency.THIS_VISIT if far else ck.Urgency.NOTHING,
            grade="apart" if far else "alike",
        ),
        (
            "{which} read{s} {times} times what the others do{by}. Read it again boot and lead apart, then"
            " swap it: resistance alone condemns no lead."
        )
        if far
        else "The leads read alike{by}; one that leaks does too.",
        tells=(
            "One spark plug lead measures otherwise than the others; it is tried elsewhere."
            if far
            else "The spark plug leads measure alike."
        ),
        values={
            "which": " and ".join(far).capitalize(),
            "s": "" if len(far) > 1 else "s",
            "times": f"{max(beside.values(), default=1.0):.1f}",
            "by": " for their length" if whole else "",
        },
    )


def _median_beside(numbers: Mapping[str, float], place: str) -> float:
    """The median of what the other places gave."""
    return median([number for at, number in numbers.items() if at != place])


def _slip(case: ck.Case, reading: ck.Reading) -> ck.Finding:
    return case.inconclusive(
        ck.Claim("ignition.lead_usual", place=reading.place, next_test=lead_resistance),
        (
            "{it} was recorded as {read}, hundreds of times less for its length than the other leads:"
            " most likely the display showed kΩ. Read it again."
        ),
        reading,
        tells="{it}: one reading was noted in another unit than it was read in; it is taken again.",
        values={"it": reading.place.capitalize(), "read": ck.show(reading.value, "Ω", uncertainty=False)},
    )


_LOOKS = {
    LeadLook.SOUND: (
        "{it}: looks sound and is seated properly. One that leaks can look so.",
        "{it} looks sound.",
    ),
    LeadLook.LOOSE: (
        "{it}: loose or not seated. Push it home until it clicks, then count the misfires again.",
        "{it} was not seated properly.",
    ),
    LeadLook.CRACKED: (
        "{it}: cracked, chafed or hard. The spark leaks out, most of all when wet.",
        "{it} is cracked or worn; the spark leaks out when it is wet.",
    ),
    LeadLook.TRACKED: (
        "{it}: burnt or carbon-tracked. The spark takes that path again.",
        "{it} is burnt, and the spark leaks out there.",
    ),
}


@ignition.check("Plug leads and boots")
def leads_looked_at(
    case: ck.Case, seen: Annotated[dict[str, LeadLook], lead_look]
) -> Iterator[ck.Finding | ck.Gap]:
    """A track or a crack is seen, and leaks whatever the ohmmeter says."""
    for place in (place for place in LEADS if place in seen):
        yield _looked_at(
            case,
            lead_look,
            ck.Claim("ignition.lead_look", place=place),
            place.capitalize(),
            seen[place],
            replace_leads,
        )


@ignition.check("Coil boots")
def boots_looked_at(
    case: ck.Case, seen: Annotated[dict[str, LeadLook], boot_look]
) -> Iterator[ck.Finding | ck.Gap]:
    """As leads, where each plug has its own coil."""
    for place, look in seen.items():
        yield _looked_at(
            case,
            boot_look,
            ck.Claim("ignition.boot_look", place=place),
            f"{place.capitalize()}, coil boot",
            look,
            replace_boots,
        )


def _looked_at(
    case: ck.Case, of: ck.Observation, claim: ck.Claim, it: str, look: LeadLook, operation: ck.Operation
) -> ck.Finding:
    says, tells = _LOOKS[look]
    calls = operation if look in (LeadLook.CRACKED, LeadLook.TRACKED) else None
    return case.visual(
        of,
        attrs.evolve(claim, calls_for=calls),
        says,
        passes=look is LeadLook.SOUND,
        tells=tells,
        values={"it": it},
    )
