"""After a charge: a voltage that is low all the same, and a charge that stopped early or was not taken. Each
is named with the test that tells its causes apart; charging the same way once more is none.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import (
    BatteryType,
    Caps,
)
from .charge import charge_current
from .charge_history import ChargeEnd, charge_end, known_full_charge, too_short
from .charge_state import charge_of, judged_charge
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    capacity,
    caps,
    charge,
    charged_for,
    charged_from,
    charger,
    charger_voltage,
    gravity,
    open_circuit_voltage,
)
from .looks import is_sealed

#: V: a charged block of six cells less one cell of 2.1 V, give or take; source: low-after-charge
ONE_CELL_SHORT = (10.2, 11.1)
ENOUGH = 0.75  # source: charge-for-load


@battery.check("Open-circuit voltage after a full charge")
def low_after_charge(
    case: ck.Case,
    *,
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    kind: Annotated[BatteryType | None, battery_type],
    lid: Annotated[Caps | None, caps],
    cells: Annotated[list[ck.Reading] | None, gravity],
    currents: Annotated[list[ck.Reading] | None, charge_current],
) -> Iterator[ck.Finding | ck.Gap]:
    """A low voltage after a full charge is not offered the same charge again: it means one of four things."""
    charged = known_full_charge(case)
    if charged is None or rest is None or rest.disagrees or kind is BatteryType.LITHIUM or barred(case):
        return
    found = charge_of(case, rest)
    if found.share.number >= ENOUGH:
        return
    short = ONE_CELL_SHORT[0] <= rest.number <= ONE_CELL_SHORT[1]
    plainly = (judged_charge(case, rest, found).probability or 0.0) <= 0.05
    sealed = is_sealed(kind, lid)
    yield case.inconclusive(
        ck.Claim(
            "battery.low_after_charge",
            of=open_circuit_voltage,
            evidence=[rest, *charged.evidence, *(currents or [])],
            next_test=charge_current
            if not currents
            else gravity
            if not cells and not sealed
            else open_circuit_voltage,
        ),
        (
            "After {charged} its open-circuit voltage is {rest}: about {share} ({band}){so}. {means} What"
            " tells them apart: voltage and current at the end of a charge (too low a voltage: it stopped"
            " early; the right voltage and next to no current: sulphated; much current, a low voltage and a"
            " warm cell: a dead one),{cells} and the voltage again after a night with the negative clamp"
            " off (it falls: it does not hold its charge).{remarks}"
        ),
        rest,
        tells=(
            "Although charged, the battery reads {plainly}too low; a test shows whether it or the charge is"
            " at fault."
        ),
        values={
            **found.words,
            "charged": charged.words,
            "rest": ck.show(rest.value, "V", uncertainty=False),
            "so": " only" if plainly else ", less than a full charge gives",
            "plainly": "" if plainly else "perhaps ",
            "means": _ONE_CELL if short else _SEVERAL,
            "cells": "" if sealed else " the specific gravity of each cell,",
        },
    )


_ONE_CELL = (
    "That is what five charged cells show: a dead cell comes first; it may also be a battery that does not"
    " hold its charge, or a charger that stopped early."
)
_SEVERAL = (
    "A battery that does not take or hold its charge, one whose acid is stratified or whose plates are"
    " sulphated, a dead cell, or a charger that stopped early."
)

_ENDS = {
    ChargeEnd.STOPPED: (
        "The charger stopped or reported a fault before the battery was full. It does so at a dead cell (the"
        " voltage never rises), a sulphated battery (it rises at once with next to no current), a poor"
        " clamp, a hot battery or the wrong program.{read} Charge it at a steady voltage of its type, read"
        " voltage and current after 5 and after 20 minutes: if it takes no current then either, it does not"
        " take its charge, and no further charging changes that."
    ),
    ChargeEnd.REFUSED: (
        "It took next to no current. A full, a cold or a sulphated battery does so, and a very flat one for"
        " the first 20 minutes.{read} Leave it at the right voltage for some hours, above 10 °C: if the"
        " current then is still below a twentieth of its Ah and its open-circuit voltage is low, it does not"
        " take its charge, and no further charging changes that."
    ),
    ChargeEnd.TAKEN_OFF: (
        "It was taken off the charger before its end, so a low voltage or a failed load test says nothing"
        " yet.{read} Charge it until the current stays low, let it rest, then test it again."
    ),
}
_ENDS_PLAIN = {
    ChargeEnd.STOPPED: "The charger stopped before the battery was full; why is found by a measurement.",
    ChargeEnd.REFUSED: (
        "The battery hardly took any charge. Whether it still recovers shows after some hours on the charger."
    ),
    ChargeEnd.TAKEN_OFF: "The battery was not charged to the end, so it cannot be judged yet.",
}


@battery.check("A charge that ended early")
def ended_early(
    case: ck.Case,
    *,
    ended: Annotated[ChargeEnd | None, charge_end],
    held: Annotated[ck.Reading | None, charger_voltage],
    currents: Annotated[list[ck.Reading] | None, charge_current],
) -> Iterator[ck.Finding | ck.Gap]:
    """What a battery does not take and a charger that stops early are findings of their own, with an end."""
    if ended is None or ended not in _ENDS:
        return
    if stop := barred(case):
        yield case.does_not_apply(stop)
        return
    beside = [reading for reading in (held, *(currents or [])) if reading is not None]
    read = (
        f" {' and '.join(ck.show(one.value, one.measurand.unit, uncertainty=False) for one in beside)} were"
        " read at the charger."
        if beside
        else ""
    )
    yield case.inconclusive(
        ck.Claim(
            "battery.charge_ended_early",
            evidence=[*case.noted(charge_end), *beside],
            next_test=charge_current,
        ),
        _ENDS[ended],
        tells=_ENDS_PLAIN[ended],
        values={"read": read},
    )


@battery.check("A charge that was too short")
def charged_too_short(
    case: ck.Case,
    *,
    volts: Annotated[ck.Value | None, charged_from],
    lasted: Annotated[ck.Value | None, charged_for],
    amps: Annotated[ck.Value | None, charger],
    holds: Annotated[ck.Value | None, capacity],
    ended: Annotated[ChargeEnd | None, charge_end],
) -> Iterator[ck.Finding | ck.Gap]:
    """Current times time is all that a charger can have given; how the charge ended, where it was seen, says
    more.
    """
    if charge.key not in case.repairs or ended is not None or None in (volts, lasted, amps, holds):
        return
    short = too_short(case)
    if short is None or barred(case):
        return
    assert volts is not None and lasted is not None and amps is not None
    yield case.advise(
        ck.Claim("battery.charged_too_short", unit="Ah", calls_for=charge),
        (
            "{amps} for {lasted} give {given} at most, and from {volts} it lacked {missing} Ah or more: it is"
            " not full, so a low voltage or a failed load test says nothing yet. At {amps} it takes {more}"
            " longer, or more."
        ),
        short.given,
        tells="The battery was charged for too short a time to be full; it is charged on.",
        values={
            "amps": ck.show(amps, "A", uncertainty=False),
            "lasted": ck.show(lasted, "h", uncertainty=False),
            "given": ck.show(short.given, "Ah", uncertainty=False),
            "volts": ck.show(volts, "V", uncertainty=False),
            "missing": f"{short.missing / 3600:.0f}",
            "more": f"{short.lacks / 3600:.0f} h",
        },
    )
