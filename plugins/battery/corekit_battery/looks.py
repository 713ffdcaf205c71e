"""What was plainly seen: case, acid level, posts and clamps; and whether the acid may be frozen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import (
    BatteryType,
    Caps,
    Case,
    Level,
    Terminals,
)
from .declarations import (
    battery,
    battery_type,
    caps,
    case_seen,
    clean_contacts,
    level,
    replace,
    terminals,
)


def is_sealed(kind: BatteryType | None, lid: Caps | None) -> bool:
    """True when nobody can or may reach its acid."""
    return lid is Caps.SEALED or kind in (BatteryType.AGM, BatteryType.GEL, BatteryType.LITHIUM)


#: source: battery-hazard
_CASE = {
    Case.SOUND: "The battery case is sound.",
    Case.SWOLLEN: (
        "The battery case is swollen: it has been overheated, overcharged or frozen. Do not charge,"
        " load-test or jump-start it, and never charge it again. Engine off, charger off at the mains, clamps"
        " untouched; keep away for an hour where it is warm or smells."
    ),
    Case.CRACKED: (
        "The battery case is cracked; acid can leak out. Do not charge, load-test or jump-start it. Goggles"
        " and gloves; acid in an eye: rinse it with water for 15 minutes and see a doctor."
    ),
    Case.LEAKING: (
        "The battery leaks acid, which burns skin and eats metal. Do not charge, load-test or jump-start it."
        " Goggles and gloves; acid in an eye: rinse it with water for 15 minutes and see a doctor."
    ),
    Case.FROZEN: (
        "The battery is frozen. Do not charge, load-test or jump-start it: it can burst. Let it thaw"
        " in a warm place, then look for cracks; it is charged only once it is thawed and whole."
    ),
}
_CASE_PLAIN = {
    Case.SOUND: "The battery case looks sound.",
    Case.SWOLLEN: "The battery is swollen. It can burst and must never be charged or jump-started again.",
    Case.CRACKED: "The battery case is cracked and acid can leak out. Do not charge or jump-start it.",
    Case.LEAKING: "The battery leaks acid, which burns skin. It must not be charged or jump-started.",
    Case.FROZEN: "The battery is frozen. It must not be charged or jump-started before it has thawed whole.",
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
        tells=_CASE_PLAIN[seen],
    )


@battery.check("Electrolyte level")
def acid_level(
    case: ck.Case,
    seen: Annotated[Level, level],
    kind: Annotated[BatteryType | None, battery_type],
    lid: Annotated[Caps | None, caps],
) -> Iterator[ck.Finding | ck.Gap]:
    """Bare plates must not be charged or loaded: the gas above them can explode.

    Nobody opens a closed battery to pour water in.
    """
    if is_sealed(kind, lid):
        yield case.does_not_apply(
            "The electrolyte level of a sealed battery is not checked, and nothing is poured into it."
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
    tells = {
        Level.RIGHT: "There is enough acid in the battery.",
        Level.LOW: "The battery is low on water; it is topped up with distilled water after charging.",
        Level.BARE: "The battery has lost so much water that it must not be charged before it is topped up.",
    }[seen]
    urgency = ck.Urgency.BEFORE_DRIVING if seen is Level.BARE else ck.Urgency.THIS_VISIT
    yield case.visual(
        level, ck.Claim("battery.level", urgency=urgency), says, passes=seen is Level.RIGHT, tells=tells
    )


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
        tells={
            Terminals.TIGHT: "The battery's connections look clean and are tight.",
            Terminals.LOOSE: "A battery connection is loose and can fail while driving.",
            Terminals.CORRODED: "The battery's connections are corroded.",
        }[seen],
    )
