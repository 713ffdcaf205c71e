"""What work would cost that is not on the paper: the next step is told with its price."""

from __future__ import annotations

import attrs

from ..billing.book import PriceBook
from ..billing.estimate import WorkItem, diagnosis_lines, repair_lines
from ..billing.line import Ground, GroundKind
from ..model.money import total

#: Key of another visit to look further.
DIAGNOSIS = "diagnosis"


def prices_in_words(book: PriceBook) -> dict[str, str]:
    """Key of each priced operation, and `DIAGNOSIS` → what it comes to, before tax or with it; a drive by
    the kilometre is left out, because nobody knows yet how far.
    """
    near = attrs.evolve(book, per_km=None, travel=None, diagnosis_cap=None)
    worth = {
        DIAGNOSIS: diagnosis_lines(near),
        **{key: repair_lines(book, [_work_item(key)]) for key in book.operations},
    }
    sums = {key: total((line.net for line in lines), book.currency) for key, lines in worth.items()}
    basis = "with tax" if book.with_tax else "before tax"
    return {key: f"{net} {book.currency} {basis}" for key, net in sums.items() if net.minor}


def _work_item(key: str) -> WorkItem:
    return WorkItem(
        operation=key, title=key, ground=Ground(kind=GroundKind.CUSTOMER, text="asked what it would cost")
    )
