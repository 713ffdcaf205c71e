"""What is known of the charge before a voltage was read: whether it was a full one, and how it ended."""

from __future__ import annotations

from enum import Enum

import attrs

import corekit as ck

from .declarations import (
    battery,
    charge,
    replace,
    starter_battery,
)


class ChargeEnd(Enum):
    FULL = "current fell and stayed low"
    SHOWN = "charger shows full"
    STOPPED = "charger stopped or reported a fault"
    REFUSED = "took next to no current"
    TAKEN_OFF = "taken off before its end"


charge_end = battery.observation(
    "charge_end",
    "End of the last charge before the open-circuit voltage",
    ChargeEnd,
    part=starter_battery,
    how=(
        "Of the charge that ended before the open-circuit voltage was read: the charger's display, or the"
        " clamp meter around its lead."
    ),
    tells="how the last charge ended",
    tells_each={
        ChargeEnd.FULL: "The battery was charged until it took no more.",
        ChargeEnd.SHOWN: "The charger showed that the battery was full.",
        ChargeEnd.STOPPED: "The charger stopped or reported a fault.",
        ChargeEnd.REFUSED: "The battery took hardly any charge.",
        ChargeEnd.TAKEN_OFF: "The battery came off the charger before it was full.",
    },
)


@attrs.frozen(kw_only=True)
class FullCharge:
    """A full charge that is known of.

    Attributes:
        words: How it is known, to follow "after".
        seen: Its end was seen; without that only that it was charged is recorded.
        evidence: Entries that say so.
    """

    words: str
    seen: bool
    evidence: tuple[str, ...] = ()


def known_full_charge(case: ck.Case) -> FullCharge | None:
    """The full charge that came before this stage's readings: by its end as it was seen, or by the charge
    done in this job; None when neither is recorded, or the charge is known to have ended early.
    """
    ended = case.seen(charge_end)
    noted = tuple(case.noted(charge_end))
    if ended is ChargeEnd.FULL:
        return FullCharge(words="a full charge (the current fell and stayed low)", seen=True, evidence=noted)
    if ended is ChargeEnd.SHOWN:
        return FullCharge(words="a charge that the charger showed as full", seen=True, evidence=noted)
    if ended is not None:
        return None
    done = case.repairs.get(charge.key)
    if done is None or done < case.repairs.get(replace.key, 0):
        return None
    return FullCharge(words="the charge in this visit", seen=False)
