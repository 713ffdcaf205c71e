"""What comes first: a battery that is hot, gassing, burnt, swollen, cracked, leaking, frozen or dry. Its
finding bars charging, loading, cranking and running the engine, and every check that would ask for one of
them.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .answers import (
    Case,
    Level,
)
from .cautions import (
    ACID,
)
from .declarations import (
    battery,
    case_seen,
    level,
    starter_battery,
)
from .frost import is_taken_for_frozen


class Heat(Enum):
    NONE = "none"
    HOT = "hot"
    GAS = "hissing or smells of rotten eggs"
    BURNT = "burnt or melted"


heat = battery.observation(
    "heat",
    "Heat, gas or burning at the battery",
    Heat,
    part=starter_battery,
    how="From a step away, before anything is touched: the back of the hand near it, ears, nose.",
    hazard=(
        f"Hot, hissing, burnt or smelling of rotten eggs: do not touch the clamps; engine off, charger off at"
        f" the mains; everybody stays away for an hour. {ACID}"
    ),
    tells="whether the battery is hot, gassing or burnt",
    tells_each={
        Heat.NONE: "The battery is neither hot nor gassing nor burnt.",
        Heat.HOT: "The battery is hot.",
        Heat.GAS: "The battery gives off gas that can explode.",
        Heat.BURNT: "Something at the battery is burnt.",
    },
)

#: source: battery-hazard
AWAY = (
    "Engine off, charger off at the mains; leave the clamps untouched and keep everybody away for an hour."
    " Goggles and gloves before anybody goes near again."
)
_SAYS = {
    Heat.NONE: "The battery is neither hot nor gassing nor burnt.",
    Heat.HOT: f"The battery is hot: a shorted cell or thermal runaway can burst it. {AWAY}",
    Heat.GAS: (
        f"The battery gasses: its hydrogen explodes at a spark, such as from a clamp that is moved. {AWAY}"
    ),
    Heat.BURNT: f"The battery or its clamps are burnt or melted. {AWAY}",
}
_TELLS = {
    Heat.NONE: "The battery is neither hot nor gassing.",
    Heat.HOT: (
        "The battery is hot and can burst. Keep everybody away for an hour; leave engine and charger off."
    ),
    Heat.GAS: (
        "The battery gives off explosive gas. Keep people and sparks away for an hour; leave engine and"
        " charger off."
    ),
    Heat.BURNT: (
        "Something at the battery is burnt. Keep everybody away for an hour; leave engine and charger off."
    ),
}
_NOT = "it is not charged, put under load or cranked with, and the engine is not run to measure it."


def barred(case: ck.Case) -> str:
    """Why nothing is charged, loaded, cranked or run at this stage, in a sentence; empty where nothing bars
    it.
    """
    warm, body = case.seen(heat), case.seen(case_seen)
    if warm not in (None, Heat.NONE):
        state = {Heat.HOT: "hot", Heat.GAS: "gassing", Heat.BURNT: "burnt"}[Heat(warm)]
        return f"The battery is {state}: {_NOT}"
    if body not in (None, Case.SOUND):
        return f"The battery is {Case(body).value}: {_NOT}"
    if case.seen(level) is Level.BARE:
        return f"The battery's plates are exposed: {_NOT}"
    if body is None and is_taken_for_frozen(case):
        return f"The battery may be frozen, and its case was not looked at: {_NOT}"
    return ""


@battery.check("Heat, gas or burning at the battery")
def hot_or_gassing(case: ck.Case, seen: Annotated[Heat, heat]) -> Iterator[ck.Finding | ck.Gap]:
    """What is felt, heard and smelt from a step away comes before every reading."""
    yield case.visual(
        heat,
        ck.Claim("battery.danger", urgency=ck.Urgency.BEFORE_DRIVING),
        _SAYS[seen],
        passes=seen is Heat.NONE,
        tells=_TELLS[seen],
    )
