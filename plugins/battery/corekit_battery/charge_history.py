"""What is known of the charge before a voltage was read: whether it was a full one, and how it ended."""

from __future__ import annotations

import math
from enum import Enum

import attrs

import corekit as ck

from .answers import BatteryType, FullAcid
from .charge_scales import UNRESTED, scale_for
from .declarations import (
    battery,
    battery_type,
    capacity,
    charge,
    charged_for,
    charged_from,
    charger,
    full_acid,
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
    if done is None or done < case.repairs.get(replace.key, 0) or too_short(case) is not None:
        return None
    return FullCharge(words="the charge in this visit", seen=False)


#: What a battery in use still holds of the Ah on its label, at least. source: capacity-of-an-old-battery
HOLDS = 0.6


@attrs.frozen(kw_only=True)
class TooShort:
    """A charge of which more was missing than the charger can have given.

    Attributes:
        given: At most, missing: at least, both in C; the charger's current is known.
    """

    given: ck.Value
    missing: float
    amps: ck.Value

    @property
    def lacks(self) -> float:
        """How much longer it takes at that current, at least, s."""
        return (self.missing - self.given.number) / self.amps.number


def too_short(case: ck.Case) -> TooShort | None:
    """The charge of this job, where current times time is plainly less than was missing: from the highest
    state of charge that the voltage at its beginning may have meant, of the least that an old battery holds.
    """
    read = [case.fitted.get(trait.key) for trait in (charged_from, charged_for, charger, capacity)]
    volts, lasted, amps, holds = (one if isinstance(one, ck.Value) else None for one in read)
    kind, acid = case.fitted.get(battery_type.key), case.fitted.get(full_acid.key)
    if volts is None or lasted is None or amps is None or holds is None or kind is BatteryType.LITHIUM:
        return None
    scale = scale_for(
        kind if isinstance(kind, BatteryType) else None, acid if isinstance(acid, FullAcid) else None
    )
    share = scale.of(volts)
    unsure = 1.645 * math.hypot(share.u, scale.half_width / math.sqrt(3), UNRESTED / math.sqrt(3))
    given = ck.propagate(lambda current, time: current * time, (amps, lasted), "charge")
    missing = HOLDS * holds.number * (1.0 - min(1.0, share.number + unsure))
    if given.number + 2 * given.u >= missing:
        return None
    return TooShort(given=given, missing=missing, amps=amps)
