"""The price book as it holds for one job: what was priced for it alone takes the place of the book's."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import attrs

from ..errors import InputError
from ..model.job import Job
from ..model.records import Priced
from .book import PriceBook, PricedOperation, PricedPart
from .line import PIECE, Condition


def book_for(job: Job, book: PriceBook) -> PriceBook:
    """The book with the job's own prices in it.

    Raises:
        InputError: a price of the job names a tax rate that the book does not have (any more).
    """
    if not job.priced:
        return book
    own = {key: _operation(priced, book) for key, priced in job.priced.items()}
    return attrs.evolve(book, operations={**book.operations, **own})


def _operation(priced: Priced, book: PriceBook) -> PricedOperation:
    kept = book.operations.get(priced.operation)
    for rate in filter(None, (priced.tax, *(part.get("tax", "") for part in priced.parts))):
        if rate not in book.rates:
            raise InputError(
                f"{priced.operation}: is priced in this job with the tax rate {rate!r}, which the price book"
                f" does not have; it has {', '.join(book.rates) or 'none'}. Price the work again."
            )
    return PricedOperation(
        hours=Decimal(priced.hours or "0"),
        tax=priced.tax,
        parts=tuple(map(_part, priced.parts)),
        hazard=kept.hazard if kept is not None else "",
    )


def _part(typed: Mapping[str, str]) -> PricedPart:
    unit = typed.get("unit", "")
    return PricedPart(
        name=typed["name"],
        price=Decimal(typed["price"]),
        quantity=Decimal(typed.get("quantity", "1")),
        condition=Condition(typed["condition"]),
        unit="" if unit == PIECE else unit,
        number=typed.get("number", ""),
        tax=typed.get("tax", ""),
    )
