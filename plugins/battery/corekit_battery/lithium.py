"""A 12 V lithium battery: a type of its own, whose voltage tells next to nothing of its charge."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import (
    BatteryType,
)
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    charge,
    charger_voltage,
    open_circuit_voltage,
    temperature,
)

#: V at rest, between which nearly all of its charge lies. source: lithium
FLAT_LOW, FLAT_HIGH = 12.9, 13.6
GUARD = 9.0  # V: below it the guard inside has very likely switched it off; an estimate of ours
MOST = 14.6  # V on the charger. source: lithium
ICE = 273.15  # K: it is never charged below; source: lithium
OWN_CHARGER = (
    "Only a charger made for lithium, at most 14.6 V, no desulphating or recondition mode, never below 0 °C."
)


def may_be_lithium(rest: ck.Reading) -> bool:
    """True of a voltage that a lithium battery could rest at as well."""
    return rest.number + 2 * rest.value.u >= FLAT_LOW


def ask_for_the_type(case: ck.Case) -> ck.Gap:
    """The type comes before anything is read from a voltage that could be either's."""
    return case.gap(
        battery_type,
        "At this voltage a lithium battery a fifth full looks like a full lead-acid one: read the type off"
        " its label before anything is read from the voltage.",
    )


def by_lithium_voltage(case: ck.Case, rest: ck.Reading) -> Iterator[ck.Finding]:
    """What little an open-circuit voltage says of a lithium battery."""
    read = {"read": ck.show(rest.value, "V", uncertainty=False), "charger": OWN_CHARGER}
    spread = 2 * rest.value.u
    if rest.number - spread > FLAT_HIGH:
        yield case.inconclusive(
            ck.Claim("battery.surface_charge", of=open_circuit_voltage, next_test=open_circuit_voltage),
            "It stands at {read}: a lithium battery just off its charger. Let it rest, then read again.",
            rest,
            tells="The battery's voltage still shows its last charge.",
            values=read,
        )
    elif rest.number + spread < GUARD:
        yield case.inconclusive(
            ck.Claim("battery.lithium_guard", of=open_circuit_voltage, next_test=open_circuit_voltage),
            (
                "A lithium battery at {read} may be switched off by its own guard, which says nothing of its"
                " cells. Wake it with its own charger, then read again. {charger}"
            ),
            rest,
            tells=(
                "The battery has probably switched itself off to protect itself; its own charger can wake it."
            ),
            values=read,
        )
    elif rest.number + spread < FLAT_LOW:
        yield case.advise(
            ck.Claim(
                "battery.charge_state",
                of=open_circuit_voltage,
                urgency=ck.Urgency.THIS_VISIT,
                calls_for=None if barred(case) else charge,
            ),
            "A lithium battery at {read} is nearly empty; charge it and find what discharged it. {charger}",
            rest,
            tells="The battery is nearly empty and needs charging with a charger made for it.",
            values=read,
        )
    else:
        yield case.inconclusive(
            ck.Claim("battery.charge_state", of=open_circuit_voltage, next_test=open_circuit_voltage),
            (
                "The open-circuit voltage of a lithium battery is 12.9 to 13.6 V over nearly all of its"
                " charge: {read} does not tell how full it is. Its own display or app does, or charging it"
                " full. {charger}"
            ),
            rest,
            tells="The voltage of this type of battery does not tell how full it is.",
            values=read,
        )


@battery.check("Charging a lithium battery")
def lithium_charge(
    case: ck.Case,
    *,
    kind: Annotated[BatteryType | None, battery_type],
    held: Annotated[ck.Reading | None, charger_voltage],
    warmth: Annotated[ck.Reading | None, temperature],
) -> Iterator[ck.Finding | ck.Gap]:
    """Its highest voltage, and frost: charging below 0 °C harms it for good."""
    if kind is not BatteryType.LITHIUM or held is None:
        return
    read = {"read": ck.show(held.value, "V", uncertainty=False), "charger": OWN_CHARGER}
    own = case.is_specified(charger_voltage)
    limit = (
        case.limit(charger_voltage)
        if own
        else case.computed_limit("battery.charger_voltage", "lithium", high=ck.exact("voltage", MOST))
    )
    yield case.judge(
        held,
        limit,
        ck.Claim("battery.charger_profile", next_test=charger_voltage),
        ck.Says(
            passes="The charger holds {read}; {limit} is allowed for a lithium battery.",
            fails=(
                "The charger holds {read}; {limit} is allowed for a lithium battery. Charger off at the"
                " mains. {charger}"
            ),
            undecided="The charger holds {read}, too close to {limit} to call. {charger}",
        ),
        ck.Tells(
            passes="The charger's voltage suits this battery.",
            fails="The charger's voltage is too high for this type of battery.",
            undecided="The charger's voltage is close to the most that this type of battery may get.",
        ),
        values=read,
    )
    cold = held.condition(temperature) or warmth
    if cold is not None and cold.number - 2 * cold.value.u < ICE:
        yield case.advise(
            ck.Claim("battery.lithium_cold", evidence=[held], urgency=ck.Urgency.BEFORE_DRIVING),
            (
                "At {cold} a lithium battery is on a charger: charging it below {freezing} harms its cells"
                " for good. Charger off; warm the battery first."
            ),
            cold,
            tells="This type of battery must not be charged below freezing; it has to be warmed first.",
            values={
                "cold": ck.show(cold.value, "°C", uncertainty=False),
                "freezing": ck.show(ck.exact("temperature", ICE), "°C", uncertainty=False),
            },
        )
