"""Vehicles without an engine to crank: a converter charges their 12 V battery once they show ready."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .dangers import barred
from .declarations import (
    battery,
    charging_voltage,
)
from .starting_declarations import Drive, drive

CONVERTER_LOW, CONVERTER_HIGH = 13.0, 15.0  # V. source: converter


def has_converter(case: ck.Case) -> bool:
    return case.fitted.get(drive.key) in (Drive.MILD, Drive.HYBRID, Drive.ELECTRIC)


def not_cranked(case: ck.Case) -> str:
    """Why nothing is cranked here, in a sentence; empty where something may be."""
    if case.fitted.get(drive.key) in (Drive.HYBRID, Drive.ELECTRIC):
        return (
            "This vehicle has no 12 V starter: nothing is cranked, and no cranking test is made. Read the"
            " converter's voltage when it shows ready."
        )
    return barred(case)


@battery.check("Converter voltage")
def converter(
    case: ck.Case,
    *,
    volts: Annotated[ck.Reading | None, charging_voltage],
) -> Iterator[ck.Finding | ck.Gap]:
    """What takes the alternator's place, read with the vehicle ready; work on it is left to people trained
    for high voltage.
    """
    if not has_converter(case):
        return
    if stop := barred(case):
        yield case.does_not_apply(stop)
        return
    if volts is None:
        yield case.gap(
            charging_voltage,
            "The converter's voltage, vehicle showing ready, was not read at the 12 V battery.",
        )
        return
    low, high = ck.exact("voltage", CONVERTER_LOW), ck.exact("voltage", CONVERTER_HIGH)
    yield case.judge(
        volts,
        case.limit(charging_voltage)
        if case.is_specified(charging_voltage)
        else case.computed_limit("battery.converter", "converter", low=low, high=high),
        ck.Claim("battery.converter", urgency=ck.Urgency.THIS_VISIT, next_test=charging_voltage),
        ck.Says(
            passes="Ready, the converter holds {read} at the 12 V battery, within {limit}.",
            fails=(
                "The 12 V battery is at {read}, outside the {limit} of a converter. Was the vehicle ready?"
                " The converter and its cables belong to people trained for high voltage."
            ),
            undecided="Ready, the converter holds {read}, too close to an end of {limit} to call.",
        ),
        ck.Tells(
            passes="The vehicle charges its 12 V battery as is usual.",
            fails="The vehicle does not charge its 12 V battery as is usual, or was not switched to ready.",
            undecided=(
                "The voltage at which the vehicle charges its 12 V battery is close to an end of the usual."
            ),
        ),
        values={"read": ck.show(volts.value, "V", uncertainty=False)},
    )
