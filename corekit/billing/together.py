"""Several jobs on one invoice: each within its own agreement, tax once on the whole."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..model.money import Money, total
from .book import PriceBook
from .consent import Standing, may_invoice, rounding_to_agreed
from .line import Line
from .totals import Totals, totals


@attrs.frozen(kw_only=True)
class Share:
    """What one job brings to the invoice: its lines, and what was agreed to in it."""

    lines: tuple[Line, ...]
    standing: Standing

    @property
    def alone(self) -> Money:
        """What an invoice over this job alone would come to, tax and rounding amount included.

        Raises:
            ConsentError: it would exceed what was agreed.
        """
        rounding = rounding_to_agreed(self.lines, self.standing)
        may_invoice(self.lines, self.standing, rounding)
        return totals(self.lines, self.standing.book).gross + rounding


def together(shares: Sequence[Share], book: PriceBook) -> tuple[Totals, Money]:
    """What these jobs come to on one invoice, and its rounding amount (BT-114, zero or negative).

    Lines are rounded each, tax once per rate over all of them (EN 16931 BR-CO-10, BR-CO-17), so the whole can
    come out a few cents above the invoices apart. Those cents were never agreed to; the rounding amount takes
    them off, so that together is never dearer than apart, and apart is never above what was agreed. Where
    together is cheaper, it stays so.

    Raises:
        ConsentError: some job would exceed what was agreed in it.
    """
    apart = total((share.alone for share in shares), book.currency)
    whole = totals([line for share in shares for line in share.lines], book)
    return whole, min(apart - whole.gross, Money(0, book.currency))
