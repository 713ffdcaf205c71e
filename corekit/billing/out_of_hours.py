"""The prices of work when the shop would be closed."""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from ..fault import DataFault
from .book import PriceBook
from .estimate import PriceError
from .line import Line, LineKind

_SAID = ", out of hours"


def book_out_of_hours(book: PriceBook) -> PriceBook:
    """The book with the prices of such an hour in place of the usual ones.

    Raises:
        PriceError: it has none.
    """
    prices = book.out_of_hours
    if prices is None:
        write = 'out_of_hours = { per_hour = "95.00", call_out = "60.00" }'
        raise PriceError([DataFault("out_of_hours", "", "has no prices", write)], book.where)
    call_out = prices.call_out if prices.call_out is not None else book.call_out
    return attrs.evolve(book, labour=prices.labour, call_out=call_out)


def named_out_of_hours(lines: Iterable[Line], book: PriceBook) -> tuple[Line, ...]:
    """The lines of such a book, labour and call-out named for what they are."""
    call_out = book.out_of_hours.call_out if book.out_of_hours is not None else None
    kinds = {LineKind.LABOUR} | ({LineKind.CALL_OUT} if call_out is not None else set())
    return tuple(
        attrs.evolve(line, text=f"{line.text}{_SAID}") if line.kind in kinds else line for line in lines
    )
