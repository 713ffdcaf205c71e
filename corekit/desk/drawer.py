"""The cash drawer: what lies in it follows from what customers paid in cash, from what was put in or taken
out beside that, and from what was counted.
"""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from ..errors import InputError
from ..fault import any_of, quotation
from ..model.money import Money
from ..model.records import DrawerNoted, PaymentTaken
from ..store.movements import DrawerMove
from .context import ShopContext
from .jobs import names_in_books

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


def drawer_rows(shop: ShopContext, moves: Iterable[DrawerMove]) -> list[DrawerRow]:
    """Rows of the drawer as people read them."""
    return [_row(shop, move) for move in moves]


def _row(shop: ShopContext, move: DrawerMove) -> DrawerRow:
    entry = shop.store.books_entry(move.entry)
    if entry.kind == "payment":
        what = f"{PaymentTaken(**entry.body).how}, {names_in_books(shop, entry)}"
    else:
        what = "counted" if move.counted else DrawerNoted(**entry.body).because
    return DrawerRow(
        day=shop.settings.day_of(move.recorded),
        what=what,
        amount=Money(move.amount, move.currency),
        left=Money(move.in_it, move.currency),
        counted=bool(move.counted),
    )


def last_rows(shop: ShopContext, most: int) -> list[DrawerRow]:
    """The last rows of the drawer, so many at most, the oldest first."""
    with shop.store.snapshot():
        return drawer_rows(shop, shop.store.drawer_last(shop.prices.currency, most))


def in_drawer(shop: ShopContext) -> Money:
    """What should lie in the drawer now."""
    last = shop.store.drawer_last(shop.prices.currency, 1)
    return Money(last[-1].in_it if last else 0, shop.prices.currency)


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
    return last_rows(shop, 1)[-1]
