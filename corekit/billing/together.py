"""Several jobs on one invoice: each within its own approval, tax once on the whole."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import attrs

from ..model.money import Money, total
from .approval import ApprovedWork, may_invoice, rounding_to_approved
from .book import PriceBook
from .line import Line
from .totals import BillTotals, taxed, totals


@attrs.frozen(kw_only=True)
class JobShare:
    """What one job brings to an invoice: its lines, and what was approved in it. What its work is taxed at
    hangs on the parts of this job alone.
    """

    lines: tuple[Line, ...]
    work: ApprovedWork

    @cached_property
    def totals(self) -> BillTotals:
        """What the lines come to."""
        return totals(self.lines, self.work.book)

    @cached_property
    def rounding(self) -> Money:
        """The rounding amount (BT-114) of an invoice over this job alone.

        Raises:
            ConsentError: it would exceed what was approved.
        """
        rounding = rounding_to_approved(self.lines, self.work, self.totals)
        may_invoice(self.lines, self.work, rounding, self.totals)
        return rounding

    @property
    def alone(self) -> Money:
        """What an invoice over this job alone would come to, tax and rounding amount included.

        Raises:
            ConsentError: as `rounding`.
        """
        return self.totals.gross + self.rounding


def together(shares: Sequence[JobShare], book: PriceBook) -> tuple[BillTotals, Money]:
    """What these jobs come to on one invoice, and its rounding amount (BT-114, zero or negative).

    Lines are rounded each, tax once per rate over all of them (EN 16931 BR-CO-10, BR-CO-17), so the whole can
    come out a few cents above the invoices apart. Those cents were never approved; the rounding amount takes
    them off, so that together is never dearer than apart, and apart is never above what was approved. Where
    together is cheaper, it stays so.

    Raises:
        ConsentError: some job would exceed what was approved in it.
    """
    apart = total((share.alone for share in shares), book.currency)
    lines = [line for share in shares for line in taxed(share.lines, book)]
    whole = totals(lines, book.as_issued(book.rates, book.currency))
    return whole, min(apart - whole.gross, Money(0, book.currency))
