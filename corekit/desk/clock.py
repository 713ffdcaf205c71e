"""Whether the device's clock can be believed before a number is taken.

Order comes from the journal, never from a clock; but papers are dated by it and numbers count within its
year. So a date that does not go on from what the record says is asked about.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

import attrs

from .context import ShopContext
from .errors import DeskError

#: A clock may run behind what was recorded by so much: two devices, a summer time not yet known.
_BEHIND = timedelta(hours=1)
#: A shop may rest so long without being asked; over the turn of a year, where the number changes with it,
#: only so long. Estimates of ours.
_RESTED, _RESTED_OVER_NEW_YEAR = timedelta(days=60), timedelta(days=14)


@attrs.frozen(kw_only=True)
class ClockJump:
    """Two moments that follow each other in the record although the clock went back or far ahead between."""

    before: datetime
    after: datetime

    def __str__(self) -> str:
        way = "back" if self.after < self.before else "ahead"
        return f"the clock went {way} from {_day(self.before)} to {_day(self.after)}"


class ClockError(DeskError):
    """A number would be taken under a date that may be wrong; whoever asks says that it is right."""

    def __init__(self, jump: ClockJump, text: str) -> None:
        self.jump = jump
        super().__init__(text)

    @classmethod
    def of(cls, jump: ClockJump, shop: ShopContext) -> ClockError:
        """With what stands against it, and what to do."""
        return cls(
            jump,
            f"This device says that it is {now_in_words(shop)}, but in the record {jump} since the last"
            " invoice. An invoice keeps its date and its number for good, and none was taken. Set the clock"
            " right; or say that the date is.",
        )


def clock_jump(shop: ShopContext) -> ClockJump | None:
    """The first jump since the last invoice, this moment included; None where the clock can be believed."""
    moments = [*map(datetime.fromisoformat, (*shop.store.times_since_last_number(), shop.store.now()))]
    for before, after in pairwise(moments):
        if _is_jump(before, after):
            return ClockJump(before=before, after=after)
    return None


def now_in_words(shop: ShopContext) -> str:
    """This moment, to the minute, for whoever is to say that it is right."""
    return f"{shop.settings.local(datetime.fromisoformat(shop.store.now())):%Y-%m-%d %H:%M}"


def _is_jump(before: datetime, after: datetime) -> bool:
    rested = after - before
    over_new_year = after.year != before.year
    return rested < -_BEHIND or rested > (_RESTED_OVER_NEW_YEAR if over_new_year else _RESTED)


def _day(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M} UTC"
