"""The cash drawer: what lies in it follows from what customers paid in cash, from what was put in or taken
out beside that, and from what was counted.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import attrs

from ..errors import InputError
from ..fault import any_of, quotation
from ..model.entry import Entry
from ..model.money import Money
from ..model.records import DrawerNoted, PaymentTaken
from .context import ShopContext
from .jobs import names_in_books
from .payments import is_cash

#: Why money goes into the drawer or out of it beside customers' payments. The books keep it for good, so it
#: names nobody.
BECAUSE = (
    "change to begin with",
    "from the bank",
    "to the bank",
    "from the owner",
    "to the owner",
    "parts",
    "fuel",
    "postage",
    "tools",
    "another expense",
)


#: Before how it was paid, where the books tell of a payment that was corrected or withdrawn.
_WHAT_WAS_CHANGED = re.compile(r"^(correction|withdrawal) of ")


@attrs.frozen(kw_only=True)
class DrawerRow:
    """What happened to the drawer.

    Attributes:
        day: By the shop's zone.
        amount: Put in, or below zero taken out; of a count by how much it differs from what should have been
            there.
        left: What lies in it after that. counted: It was counted, and that is what was found.
    """

    day: str
    what: str
    amount: Money
    left: Money
    counted: bool = False


def drawer_rows(shop: ShopContext, entries: Iterable[Entry]) -> list[DrawerRow]:
    """The drawer from its beginning on, from the entries of the books, oldest first."""
    currency = shop.prices.currency
    left, rows = Money(0, currency), list[DrawerRow]()
    for entry in entries:
        day, counted = shop.settings.day_of(entry.recorded), False
        if entry.kind == "payment":
            taken = PaymentTaken(**entry.body)
            if not is_cash(_WHAT_WAS_CHANGED.sub("", taken.how)) or taken.currency != currency:
                continue
            amount, what = Money(taken.amount, currency), f"{taken.how}, {names_in_books(shop, entry)}"
        elif entry.kind == "drawer":
            noted = DrawerNoted(**entry.body)
            if noted.currency != currency:
                continue
            amount, what, counted = Money(noted.amount, currency), noted.because, noted.counted
            if counted:
                amount, what = amount - left, "counted"
        else:
            continue
        left += amount
        rows.append(DrawerRow(day=day, what=what, amount=amount, left=left, counted=counted))
    return rows


def drawer(shop: ShopContext) -> list[DrawerRow]:
    """The drawer of this shop from its beginning on."""
    with shop.store.snapshot():
        return drawer_rows(shop, sorted(shop.store.books(), key=lambda entry: entry.recorded))


def in_drawer(shop: ShopContext) -> Money:
    """What should lie in the drawer now."""
    rows = drawer(shop)
    return rows[-1].left if rows else Money(0, shop.prices.currency)


def move(shop: ShopContext, amount: Money, because: str) -> DrawerRow:
    """Put money into the drawer beside what customers pay, or, below zero, take it out.

    Raises:
        InputError: it is nothing, another currency, more than lies in it, or why is none of `BECAUSE`.
    """
    _must_fit(shop, amount)
    because = " ".join(because.casefold().split())
    if because not in BECAUSE:
        raise InputError(
            f"Why money goes into the drawer or out of it is {any_of(map(quotation, BECAUSE))}; got"
            f" {quotation(because)}. Nothing was recorded."
        )
    if not amount.minor:
        raise InputError("Say how much went into the drawer or out of it. Nothing was recorded.")
    with shop.lock:
        there = in_drawer(shop)
        if (there + amount).minor < 0:
            raise InputError(
                f"Only {there} {there.currency} should lie in the drawer, so {-amount} cannot be taken out."
                " Count it first, if it is more. Nothing was recorded."
            )
        return _written(shop, DrawerNoted(amount=amount.minor, currency=amount.currency, because=because))


def count(shop: ShopContext, amount: Money) -> DrawerRow:
    """Say how much was counted in the drawer; the row says by how much that differs.

    Raises:
        InputError: it is below zero, or another currency.
    """
    _must_fit(shop, amount)
    if amount.minor < 0:
        raise InputError(f"What is counted is not below zero; got {amount}. Nothing was recorded.")
    with shop.lock:
        return _written(shop, DrawerNoted(amount=amount.minor, currency=amount.currency, counted=True))


def _must_fit(shop: ShopContext, amount: Money) -> None:
    if amount.currency != shop.prices.currency:
        raise InputError(
            f"The drawer is kept in {shop.prices.currency}; got {amount.currency}. Nothing was recorded."
        )


def _written(shop: ShopContext, noted: DrawerNoted) -> DrawerRow:
    with shop.store.transaction() as transaction:
        transaction.append_drawer(shop.books_chain, noted)
    return drawer(shop)[-1]
