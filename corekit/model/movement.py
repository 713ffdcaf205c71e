"""What moves a shop's money, as its books tell it."""

from __future__ import annotations

import re
from enum import StrEnum


class LedgerKind(StrEnum):
    """What a row of the ledger says of the money."""

    INVOICED = "invoiced"
    CREDITED = "credited"
    RECEIVED = "received"
    GIVEN_BACK = "given back"
    WRITTEN_OFF = "written off"
    ROUNDED = "rounded"
    ANNOUNCED = "announced"


#: The way of paying that is rounded to the smallest coin, and that the cash drawer is about.
CASH = "cash"
#: Before how it was paid, where the books tell of a payment that was corrected or withdrawn.
_WHAT_WAS_CHANGED = re.compile(r"^(correction|withdrawal) of ")


def is_cash(how: str) -> bool:
    """True when this way of paying is cash."""
    return " ".join(how.split()).casefold() == CASH


def moves_cash(how: str) -> bool:
    """True when what the books say of a payment changes what lies in the cash drawer.

    >>> moves_cash("Cash"), moves_cash("correction of cash"), moves_cash("card")
    (True, True, False)
    """
    return is_cash(_WHAT_WAS_CHANGED.sub("", how))
