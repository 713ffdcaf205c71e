"""Which lines of a job are on an invoice already."""

from __future__ import annotations

import attrs

from ..model.money import Money
from .line import Line

#: An estimate's printed name, and of its line what it is, its kind and its text.
LineKey = tuple[str, str, str, str]


@attrs.frozen(kw_only=True)
class Invoiced:
    """What the invoices that stand are over.

    Attributes:
        lines: Each with the estimate that it was approved on.
        spent: Ids of the entries that said of the work on them what it took, or what more was approved.
        total: What they come to, tax included.
    """

    lines: frozenset[LineKey]
    spent: frozenset[str]
    total: Money


def line_key(estimate: str, line: Line) -> LineKey:
    return (estimate, line.what, str(line.kind), line.text)
