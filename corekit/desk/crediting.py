"""Answering an issued invoice: a credit note, on all of it or on some. After one on all of it the work of its
jobs can be invoiced again, which is how an invoice is corrected.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

import attrs

from .._version import __version__
from ..billing.credit import CreditAsked, CreditError, credited_lines, left_of
from ..billing.line import Line, from_data, to_data
from ..billing.totals import totals
from ..model.document import Document, document_hash
from ..model.document import to_data as document_data
from ..model.job import Job
from ..model.mark import UNMARKED, document_with_mark
from ..model.money import Money, total
from ..model.personal import KeptWords, PersonalText
from ..model.public_words import WHY_CREDITED
from ..model.records import InvoiceIssued
from ..report.credit import credit_note
from ..store.transaction import Transaction
from . import paper
from .clock import ClockError, clock_jump
from .context import ShopContext, request_of
from .errors import DeskError
from .jobs import billed_with
from .payments import dues, payments_of
from .publishing import link_of, with_page_note
from .speaking import spoken


@attrs.frozen(kw_only=True)
class CreditNote:
    """A credit note that was issued; `due` is what is left to pay of its invoice, below zero what
    is to be given back."""

    number: str
    of: str
    total: Money
    document: Document
    pdf: Path
    due: Money


def credit(
    shop: ShopContext,
    job: str,
    because: str,
    asked: CreditAsked | None = None,
    *,
    invoice: str = "",
    request_id: str = "",
    date_is_right: bool = False,
) -> CreditNote:
    """Take the next number for a credit note on the invoice that a job is on.

    Args:
        because: Why; it is printed on the customer's copy, and own words stand on no other.
        asked: What of it; all that is left where nothing is said.
        invoice: Number of the invoice, where the job is on several; the last one where nothing is said.

    Raises:
        DeskError: the job is on no invoice, or no reason is given.
        CreditError: what is asked for is not on the invoice any more.
        ClockError: a number would be taken under a date that may be wrong.
        RequestConflictError: the id is another request's.
    """
    job = shop.store.find(job)
    asked = asked or CreditAsked()
    said = {key: str(value) for key, value in attrs.asdict(asked).items()}
    content = {"credit": said, "because": because, "job": job, **({"invoice": invoice} if invoice else {})}
    request = request_of(request_id, content)
    if not because.strip():
        raise DeskError("A credit note says why. Nothing was issued.")
    with shop.lock:
        if request is not None and (known := shop.store.outcome(request)) is not None:
            number = next(str(entry.body["number"]) for entry in known.entries if entry.kind == "issued")
            return _note_of(shop, InvoiceIssued(**shop.store.invoice(number).body))
        record = shop.store.job(job)
        if not record.issued:
            raise DeskError(f"{record.name} is on no invoice that stands, so there is nothing to credit.")
        of = invoice or record.issued[-1].record.number
        if of not in (numbers := [noted.record.number for noted in record.issued]):
            raise DeskError(f"{record.name} is not on invoice {of}; it is on {', '.join(numbers)}.")
        billed = billed_with(shop, record)
        jump = clock_jump(shop)
        if jump is not None and not date_is_right:
            raise ClockError.of(jump, shop)
        ids = [one.id for one in billed]
        heads = shop.store.heads()
        with shop.store.transaction(*ids, request=request) as transaction:
            if any(transaction.has_grown(one) for one in billed):
                transaction.cancel()
                raise DeskError("Something was written in this job meanwhile. Look at it again.")
            place = transaction.next_number(shop.books_chain)
            number = shop.settings.number.format(year=shop.now.year, device=shop.device, place=place)
            why = _public_reason(transaction, because.strip())
            note = _draft(shop, billed, of, why, asked, place, number, heads, str(jump or ""))
            transaction.issue(shop.books_chain, note)
        return _note_of(shop, note)


def _public_reason(transaction: Transaction, because: str) -> str:
    """The reason as a Document may say it: own words are kept with the persons of the (first) job."""
    why = WHY_CREDITED.read(because)
    if isinstance(why, KeptWords) and isinstance(why.said, PersonalText):
        return KeptWords(WHY_CREDITED.instead, transaction.keep_words(why.said))
    return str(why)


def _draft(
    shop: ShopContext,
    jobs: Sequence[Job],
    number_of: str,
    because: str,
    asked: CreditAsked,
    place: int,
    number: str,
    heads: list[str],
    date_said: str,
) -> InvoiceIssued:
    of = InvoiceIssued(**shop.store.invoice(number_of).body)
    if not of.lines:
        raise CreditError(
            f"Invoice {of.number} was issued by an older program, which kept no lines to credit it by."
            " Nothing was issued."
        )
    notes = [
        InvoiceIssued(**shop.store.invoice(noted.record.number).body)
        for noted in jobs[0].credited
        if noted.record.credits == of.number
    ]
    left = left_of(_lines(of), [line for note in notes for line in _lines(note)])
    lines = credited_lines(left, asked)
    is_whole = not left_of(left, lines)
    rates = {name: Decimal(percent) for name, percent in (of.rates or {}).items()}
    sums = totals(lines, shop.prices.as_issued(rates, of.currency))
    remaining = Money(of.total + sum(note.total for note in notes), of.currency)
    # Tax is rounded on each document: the last credit takes what is left, and none takes more.
    credited = -remaining if is_whole else max(sums.gross, -remaining)
    sheet = paper.sheet_of(shop, jobs[0])
    unmarked = credit_note(
        jobs[0],
        sheet,
        number=number,
        of=of.number,
        of_day=of.day,
        because=because,
        lines=lines,
        totals=sums,
        total=credited,
        due=dues(shop, jobs).by_number[of.number] + credited,
        record_mark=UNMARKED,
    )
    document = document_with_mark(spoken(shop, jobs, with_page_note(shop, unmarked), lines), heads)
    return InvoiceIssued(
        place=place,
        number=number,
        document_id=document.id,
        document=document_data(document),
        document_hash=document_hash(document),
        total=credited.minor,
        currency=credited.currency,
        versions={"corekit": __version__},
        heads=heads,
        jobs=of.jobs,
        date_said=date_said,
        credits=of.number,
        whole=is_whole,
        because=because,
        day=sheet.issued,
        net=sums.net.minor,
        tax=sums.tax.minor,
        lines=[to_data(line) for line in lines],
        rates=of.rates,
    )


def _lines(record: InvoiceIssued) -> tuple[Line, ...]:
    return tuple(from_data(data) for data in record.lines)


def _note_of(shop: ShopContext, note: InvoiceIssued) -> CreditNote:
    """A credit note with its paper, drawn from what is kept."""
    from ..model.document import from_data as document_of
    from ..model.entry import jobs_of

    jobs = [shop.store.job(one) for one in jobs_of(shop.store.invoice(note.number))]
    document = document_of(note.document)
    address = link_of(shop, document.id, 1)
    pdf = paper.pdf_of(shop, document, paper.invoice_name(note.number), jobs, address)
    return CreditNote(
        number=note.number,
        of=note.credits,
        total=Money(note.total, note.currency),
        document=document,
        pdf=pdf,
        due=_left_after(shop, note, jobs),
    )


def _left_after(shop: ShopContext, note: InvoiceIssued, jobs: Sequence[Job]) -> Money:
    """What is left to pay of the invoice; where it was credited whole, of the others that stand, and without
    any all that was paid goes back.
    """
    if not note.whole:
        return dues(shop, jobs).by_number[note.credits]
    if jobs[0].issued:
        return dues(shop, jobs).balance
    return -total((payment.amount for payment in payments_of(shop, jobs)), note.currency)
