"""What a charger did: whether its voltage suits the battery, and whether the charge was ended too early to
say anything of the battery.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import attrs

import corekit as ck

from .answers import (
    BatteryType,
)
from .charge import charge_current, charge_elapsed
from .charge_history import known_full_charge
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    charger_voltage,
    temperature,
)
from .regulator import filled

HOUR = 3600.0


@battery.check("Charger voltage and time")
def charged(
    case: ck.Case,
    *,
    held: Annotated[ck.Reading | None, charger_voltage],
    currents: Annotated[list[ck.Reading] | None, charge_current],
    lasted: Annotated[ck.Reading | None, charge_elapsed],
    kind: Annotated[BatteryType | None, battery_type],
    warmth: Annotated[ck.Reading | None, temperature],
) -> Iterator[ck.Finding | ck.Gap]:
    """A small current at too low a voltage is not full, and neither is a charge of which nobody
    saw the end.
    """
    if kind is BatteryType.LITHIUM:
        return  # its own check speaks of it
    tail = next((reading for reading in reversed(currents or [])), None)  # the later place stands last
    low = False
    if held is not None:
        limit = filled(case, kind, held.condition(temperature) or warmth)
        if limit is None:
            yield case.gap(charger_voltage, "No charger voltage is on file for this type; its label says it.")
        else:
            profile = _profile(case, held, limit)
            least = ck.for_each(lambda one: attrs.evolve(one, high=None), limit)
            low = (profile.probability or 0.0) <= 0.5 and case.side(held, least) is not ck.Side.INSIDE
            yield profile
    if barred(case):
        return  # whether it needs more charge is no question then
    if low and held is not None:
        yield case.inconclusive(
            ck.Claim(
                "battery.charge_first",
                evidence=[reading for reading in (tail, lasted) if reading is not None],
                next_test=charge_current,
            ),
            (
                "At {read} the current falls{tail} before the battery is full, so the battery cannot"
                " be faulted yet. Charge it at the right voltage until the current stays low, let it"
                " rest, then test it again."
            ),
            held,
            tells=(
                "The charger's voltage is too low to fill the battery, so the battery cannot be judged yet."
            ),
            values={
                "read": ck.show(held.value, "V", uncertainty=False),
                "tail": f", even at {ck.show(tail.value, 'A', uncertainty=False)},"
                if tail is not None
                else "",
            },
        )
    elif lasted is not None and tail is None and known_full_charge(case) is None:
        yield case.inconclusive(
            ck.Claim("battery.charge_first", of=charge_elapsed, next_test=charge_current),
            (
                "It was on the charger for {read}, and no falling current was recorded: that shows"
                " neither that it is full nor that it is bad. Charge it until the current stays low,"
                " which takes a discharged battery a night and more, let it rest, then test it again."
            ),
            lasted,
            tells="The battery was on a charger, and whether that filled it is not known.",
            values={"read": f"{lasted.number / HOUR:.3g} h"},
        )


def _profile(case: ck.Case, held: ck.Reading, limit: ck.Limit | ck.Possible[ck.Limit]) -> ck.Finding:
    meaning = (
        "It never fully charges the battery like this."
        if case.side(held, limit) is ck.Side.BELOW
        else "It makes the battery gas, dry out and heat up."
    )
    return case.judge(
        held,
        limit,
        ck.Claim("battery.charger_profile", next_test=charger_voltage),
        ck.Says(
            passes="The charger holds {read}, within {limit}.",
            fails="The charger holds {read}, outside {limit}. {meaning}",
            undecided="The charger holds {read}, too close to an end of {limit} to call.",
        ),
        ck.Tells(
            passes="The charger's voltage suits this battery.",
            fails="The charger's voltage does not suit this battery.",
            undecided="The charger's voltage is close to an end of what suits this battery.",
        ),
        values={"read": ck.show(held.value, "V", uncertainty=False), "meaning": meaning},
    )
