"""Build a reminder: the paper that says what of an invoice is overdue. It charges nothing more: what a
reminder may cost, and when interest is owed, is for the law and for what was agreed.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..model.account_number import grouped
from ..model.document import (
    FORM,
    Answer,
    Block,
    Document,
    DocumentKind,
    Heading,
    Pairs,
    Paragraph,
    Totals,
)
from ..model.job import Job
from ..model.money import Money
from . import sections
from .cost import paid_row
from .dates import day_words
from .sheet import Sheet


@attrs.frozen(kw_only=True)
class Overdue:
    """An invoice that is overdue.

    Attributes:
        number, day, due_on: Of the invoice; `due_on` is empty where it was to be paid at once.
        total: What it comes to. credited: How much of it was credited since, above zero.
        payments: How and how much. written_off: What is not asked for any more, above zero.
        due: What is left.
    """

    number: str
    day: str
    due_on: str
    total: Money
    credited: Money
    payments: Sequence[tuple[str, Money]]
    written_off: Money
    due: Money


def reminder(
    job: Job, sheet: Sheet, invoice: Overdue, *, nth: int, until: str, vehicles: int, record_mark: str
) -> Document:
    """The reminder of an invoice.

    Args:
        nth: The how manyth it is, from 1. until: Until which day it is to be paid now.
    """
    was_due = f"was to be paid until {day_words(invoice.due_on)}" if invoice.due_on else "is not paid in full"
    currency = sheet.currency
    pay = f"Please pay {invoice.due} {currency} until {day_words(until)}."
    blocks: list[Block] = [
        Pairs(
            rows=(
                *sections.parties(job, sheet),
                ("Invoice", (f"{invoice.number}, {day_words(invoice.day)}",)),
                ("Vehicle", sections.vehicle_in_short(job) if vehicles == 1 else (f"{vehicles} vehicles",)),
            )
        ),
        Answer(
            said=(),
            symptoms="",
            text=f"Invoice {invoice.number} {was_due}. {pay}",
            proof="If you have paid meanwhile, thank you: then this reminder is settled.",
        ),
        Totals(rows=tuple(_rows(invoice)), currency=currency),
        *(Paragraph(words=(text,), tone="small") for text in _ways(sheet)),
        Heading(text="How to check this"),
        Pairs(rows=(("Record mark", (record_mark,)),)),
    ]
    return Document(
        id=sheet.document_id,
        kind=DocumentKind.REMINDER,
        title=f"{'Reminder' if nth == 1 else f'Reminder {nth}'}, invoice {invoice.number}",
        shop=sheet.issuer.name,
        issued=day_words(sheet.issued),
        currency=currency,
        total=str(invoice.due),
        blocks=tuple(blocks),
        demo=sheet.demo,
        form=FORM,
    )


def _rows(invoice: Overdue) -> list[tuple[str, str, bool]]:
    rows = [(f"Total of invoice {invoice.number}", str(invoice.total), False)]
    if invoice.credited.minor:
        rows.append(("Credited", str(-invoice.credited), False))
    rows += [paid_row(how, amount) for how, amount in invoice.payments]
    if invoice.written_off.minor:
        rows.append(("Not asked for any more", str(-invoice.written_off), False))
    return [*rows, ("Still to pay", str(invoice.due), True)]


def _ways(sheet: Sheet) -> list[str]:
    issuer = sheet.issuer
    said = [issuer.pays_by] if issuer.pays_by else []
    if issuer.iban:
        bank = f", {issuer.bic}" if issuer.bic else ""
        said.append(
            f"By transfer: {issuer.name}, {grouped(issuer.iban)}{bank}, with the number of the invoice."
        )
    return said
