"""Build a credit note: the paper that answers an invoice, which itself never changes."""

from __future__ import annotations

from collections.abc import Sequence

from ..billing.line import Line
from ..billing.totals import BillTotals
from ..model.document import FORM, Answer, Block, Code, Document, DocumentKind, Pairs, Totals
from ..model.job import Job
from ..model.money import Money
from ..model.personal import run_of
from . import cost, sections
from .dates import day_words
from .sheet import Sheet
from .text import amount_text


def credit_note(
    job: Job,
    sheet: Sheet,
    *,
    number: str,
    of: str,
    of_day: str,
    because: str,
    lines: Sequence[Line],
    totals: BillTotals,
    total: Money,
    due: Money,
    record_mark: str,
) -> Document:
    """The credit note on an invoice.

    Args:
        of, of_day: The invoice's number and day.
        because: Why; own words are a reference, which the customer's copy alone resolves.
        total: With tax, below zero; what it differs from the totals by is rounding.
        due: What is still to be paid of the invoice after it, below zero what is to be given back.
    """
    rows = [("Net", str(totals.net), False)]
    rows += [
        (f"Tax {row.percent.normalize():f} % on {amount_text(str(row.base))}", str(row.tax), False)
        for row in totals.per_rate
    ]
    if total != totals.gross:
        rows.append(("Rounding, to the invoice", str(total - totals.gross), False))
    rows.append(("Credited", str(total), True))
    rows.append(
        ("Still to pay of the invoice", str(due), True)
        if due.minor >= 0
        else ("Refund due to you", str(-due), True)
    )
    blocks: list[Block] = [
        Pairs(
            rows=(
                *sections.parties(job, sheet),
                ("Vehicle", sections.vehicle_in_short(job)),
                ("Why", (run_of(because),)),
            )
        ),
        Answer(
            said=(),
            symptoms="",
            text=f"Credited to you: {-total} {sheet.currency}, on invoice {of} of {day_words(of_day)}.",
        ),
        cost.priced_lines(lines, totals, sheet),
        Totals(rows=tuple(rows), currency=sheet.currency),
        Code(document_id=sheet.document_id, link=1, record_mark=record_mark),
    ]
    return Document(
        id=sheet.document_id,
        kind=DocumentKind.INVOICE,
        title=f"Credit note {number}",
        shop=sheet.issuer.name,
        issued=day_words(sheet.issued),
        currency=sheet.currency,
        total=str(total),
        prices=cost.price_basis(lines),
        blocks=tuple(blocks),
        number=number,
        draft=sheet.draft,
        demo=sheet.demo,
        form=FORM,
    )
