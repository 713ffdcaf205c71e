"""Whether the acid may be frozen: the battery's temperature against the freezing point of its acid."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import attrs

import corekit as ck

from .acid import freezing_point, gravity_of_voltage, open_circuit_voltage_at_25
from .answers import (
    BatteryType,
    Case,
)
from .declarations import (
    battery,
    battery_type,
    case_seen,
    open_circuit_voltage,
    temperature,
)

COLD = 275.15  # K: above it nothing that a battery holds can be frozen
# V, gravity about 1.10: below it the acid may be nearly water, so ice begins at 0 °C; an estimate of ours on
# freezing-tables
EMPTY = 11.7
ICE = 273.15
TABLES_APART = 2.2  # K; source: freezing-tables


def _freezing_point(rest: ck.Reading | None, warmth: ck.Reading) -> ck.Value | None:
    """Of the acid by its open-circuit voltage, of nearly water where that is low or unknown; None of acid too
    strong to freeze.
    """
    if rest is None or rest.number < EMPTY:
        return ck.exact("temperature", ICE)
    volts = open_circuit_voltage_at_25(rest, warmth)
    acid = gravity_of_voltage(
        attrs.evolve(volts, number=min(max(volts.number, 11.35), 12.98))
    )  # the ends of the acid table
    return freezing_point(acid) if acid.number <= 1.28 else None


def _limit(case: ck.Case, low: ck.Value, *, weak: bool) -> ck.Limit:
    return case.computed_limit(
        "battery.freezing",
        "freezing-tables",
        low=low,
        width=0.0 if weak else TABLES_APART,
        why="ice begins at 0 °C" if weak else "four printed tables differ by up to 4 °F",
    )


def is_taken_for_frozen(case: ck.Case) -> bool:
    """True when its voltage and its temperature plainly say that the acid is ice; cold alone bars nothing."""
    rest = case.reading(open_circuit_voltage)
    warmth = (rest.condition(temperature) if rest is not None else None) or case.reading(temperature)
    if rest is None or warmth is None or case.fitted.get(battery_type.key) is BatteryType.LITHIUM:
        return False
    if warmth.number - 2 * warmth.value.u > COLD:
        return False
    low = _freezing_point(rest, warmth)
    return low is not None and (
        case.side(warmth, _limit(case, low, weak=rest.number < EMPTY)) is ck.Side.BELOW
    )


@battery.check("Whether the acid may be frozen")
def freezing(
    case: ck.Case,
    warmth: Annotated[ck.Reading, temperature],
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    seen: Annotated[Case | None, case_seen],
    kind: Annotated[BatteryType | None, battery_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """A discharged battery freezes where a full one does not: its temperature against the freezing point of
    the acid it has now.
    """
    if seen is Case.FROZEN:
        yield case.does_not_apply("It was seen to be frozen.")
        return
    if warmth.number - 2 * warmth.value.u > COLD:
        yield case.does_not_apply("The battery is too warm to be frozen.")
        return
    if kind is BatteryType.LITHIUM:
        yield case.does_not_apply("A lithium battery has no acid that could freeze.")
        return
    weak = rest is None or rest.number < EMPTY
    low = _freezing_point(rest, warmth)
    if low is None:
        yield case.does_not_apply("Its acid is too strong to freeze at ordinary temperatures.")
        return
    if rest is None:
        why = "its state of charge is not known"
    elif weak:
        why = "it is deeply discharged, and weak acid freezes like water"
    else:
        why = (
            f"at an open-circuit voltage of {ck.show(rest.value, 'V', uncertainty=False)} its acid freezes"
            f" at about {ck.show(low, '°C', uncertainty=False)}"
        )
    judged = case.judge(
        warmth,
        _limit(case, low, weak=weak),
        ck.Claim(
            "battery.freezing",
            evidence=[rest] if rest is not None else [],
            urgency=ck.Urgency.BEFORE_DRIVING,
            next_test=case_seen,
        ),
        ck.Says(
            passes="",
            fails=(
                "At {read} the battery may be frozen: {why}. Look for ice and a bulging case. Do not"
                " charge, load-test or jump-start it before it has thawed."
            ),
            undecided=(
                "At {read} the battery may be freezing: {why}. Look for ice and a bulging case before"
                " it is charged, load-tested or jump-started."
            ),
        ),
        ck.Tells(
            passes="",
            fails=("The battery may be frozen; it must not be charged or jump-started before it has thawed."),
            undecided="The battery may be freezing; it has to be looked at before it is charged.",
        ),
        values={"read": ck.show(warmth.value, "°C", uncertainty=False), "why": why},
    )
    if judged.verdict is ck.Verdict.PASS:
        yield case.does_not_apply("With the charge it has, the battery is too warm to be frozen.")
    else:
        yield judged
