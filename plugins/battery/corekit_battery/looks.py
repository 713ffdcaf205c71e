"""What was plainly seen: case, acid level, posts and clamps; and whether the acid may be frozen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import attrs

import corekit as ck

from .acid import freezing_point, gravity_of_voltage
from .charge_state import open_circuit_voltage_at_25
from .declarations import (
    BatteryType,
    Case,
    Level,
    Terminals,
    battery,
    battery_type,
    case_seen,
    clean_contacts,
    level,
    open_circuit_voltage,
    replace,
    temperature,
    terminals,
)

COLD = 275.15  # K: above it nothing that a battery holds can be frozen
# V, gravity about 1.10: below it the acid may be nearly water, so ice begins at 0 °C; an estimate of ours on
# freezing-tables
EMPTY = 11.7
ICE = 273.15
TABLES_APART = 2.2  # K; source: freezing-tables


_CASE = {
    Case.SOUND: "The battery case is sound.",
    Case.SWOLLEN: (
        "The battery case is swollen: it has been overheated, overcharged or frozen. Do not charge,"
        " load-test or jump-start it."
    ),
    Case.CRACKED: (
        "The battery case is cracked; acid can leak out. Do not charge, load-test or jump-start it."
    ),
    Case.LEAKING: (
        "The battery leaks acid, which burns skin and eats metal. Do not charge, load-test or jump-start it."
    ),
    Case.FROZEN: (
        "The battery is frozen. Do not charge, load-test or jump-start it: it can burst. Let it thaw"
        " in a warm place, then look for cracks."
    ),
}


@battery.check("The battery case")
def case_looked_at(case: ck.Case, seen: Annotated[Case, case_seen]) -> Iterator[ck.Finding | ck.Gap]:
    """Damage that was seen bars charging and loading, whatever a meter says."""
    frozen = seen is Case.FROZEN
    yield case.visual(
        case_seen,
        ck.Claim(
            "battery.frozen" if frozen else "battery.case",
            calls_for=None if frozen else replace,
            urgency=ck.Urgency.BEFORE_DRIVING,
        ),
        _CASE[seen],
        passes=seen is Case.SOUND,
    )


@battery.check("Electrolyte level")
def acid_level(
    case: ck.Case, seen: Annotated[Level, level], kind: Annotated[BatteryType | None, battery_type]
) -> Iterator[ck.Finding | ck.Gap]:
    """Bare plates must not be charged or loaded: the gas above them can explode.

    Nobody opens a closed battery to pour water in.
    """
    if kind in (BatteryType.AGM, BatteryType.GEL):
        yield case.does_not_apply(
            f"The electrolyte level of a sealed battery ({kind.value}) is not checked, and nothing is"
            " poured into it."
        )
        return
    says = {
        Level.RIGHT: "The electrolyte covers the plates.",
        Level.LOW: (
            "The electrolyte is low. Top up with distilled water after charging, never acid; not above"
            " the mark."
        ),
        Level.BARE: (
            "The plates are exposed. Cover them with distilled water before any charge or load: gas"
            " collects inside and a spark can burst it."
        ),
    }[seen]
    urgency = ck.Urgency.BEFORE_DRIVING if seen is Level.BARE else ck.Urgency.THIS_VISIT
    yield case.visual(level, ck.Claim("battery.level", urgency=urgency), says, passes=seen is Level.RIGHT)


@battery.check("Posts and clamps")
def contacts_looked_at(case: ck.Case, seen: Annotated[Terminals, terminals]) -> Iterator[ck.Finding | ck.Gap]:
    """Looks alone clear nothing: good-looking contacts still need a reading across them."""
    says = {
        Terminals.TIGHT: "Posts and clamps look clean and are tight.",
        Terminals.LOOSE: "A clamp is loose on its post. It can lose contact while driving and it can spark.",
        Terminals.CORRODED: "Posts and clamps are corroded.",
    }[seen]
    yield case.visual(
        terminals,
        ck.Claim("battery.terminals", calls_for=clean_contacts),
        says,
        passes=seen is Terminals.TIGHT,
    )


@battery.check("Whether the acid may be frozen")
def freezing(
    case: ck.Case,
    warmth: Annotated[ck.Reading, temperature],
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    seen: Annotated[Case | None, case_seen],
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
    weak = rest is None or rest.number < EMPTY
    if weak:
        low = ck.exact("temperature", ICE)
    else:
        assert rest is not None
        volts = open_circuit_voltage_at_25(rest, warmth)
        acid = gravity_of_voltage(
            attrs.evolve(volts, number=min(max(volts.number, 11.35), 12.98))
        )  # the ends of the acid table
        if acid.number > 1.28:
            yield case.does_not_apply("Its acid is too strong to freeze at ordinary temperatures.")
            return
        low = freezing_point(acid)
    if rest is None:
        why = "its state of charge is not known"
    elif weak:
        why = "it is deeply discharged, and weak acid freezes like water"
    else:
        why = (
            f"at an open-circuit voltage of {ck.show(rest.value, 'V', uncertainty=False)} its acid"
            " freezes at about"
            f" {ck.show(low, '°C', uncertainty=False)}"
        )
    judged = case.judge(
        warmth,
        case.computed_limit(
            "battery.freezing",
            "freezing-tables",
            low=low,
            width=0.0 if weak else TABLES_APART,
            why="ice begins at 0 °C" if weak else "four printed tables differ by up to 4 °F",
        ),
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
        ),
        values={"read": ck.show(warmth.value, "°C", uncertainty=False), "why": why},
    )
    if judged.verdict is ck.Verdict.PASS:
        yield case.does_not_apply("With the charge it has, the battery is too warm to be frozen.")
    else:
        yield judged
