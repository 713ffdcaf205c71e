"""Reminding a customer of an invoice that is overdue, with a paper that is kept as it was handed over."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path

import attrs

from .._version import __version__
from ..model.document import Document, document_hash, from_data, to_data
from ..model.entry import Draft, own_subject
from ..model.job import Job
from ..model.mark import UNMARKED, document_with_mark
from ..model.money import Money, total
from ..model.records import InvoiceIssued, Reminded, body_of
from ..report.reminder import Overdue, reminder
from . import paper
from .context import ShopContext, request_of
from .errors import DeskError
from .jobs import billed_with
from .payments import dues, payments_of
from .speaking import spoken

#: So many days a reminder gives where the shop sets no due date for its invoices; estimate of ours.
USUAL_DAYS = 7


@attrs.frozen(kw_only=True)
class Reminder:
    """A reminder that was handed over."""

    job: str
    number: str
    nth: int
    due: Money
    until: str
    document: Document
    pdf: Path


def remind(shop: ShopContext, job: str, *, request_id: str = "") -> Reminder:
    """Remind of the invoice that a job is on; asked for again on the same day with the same due, it is the
    same reminder.

    Raises:
        DeskError: there is no invoice, nothing is due, or it is not overdue yet.
        RequestConflictError: the id is another request's.
    """
    job = shop.store.find(job)
    request = request_of(request_id, {"remind": job})
    with shop.lock:
        record = shop.store.job(job)
        if not record.issued:
            raise DeskError(f"{record.name} is on no invoice, so there is nothing to remind of.")
        billed = billed_with(shop, record)
        first = billed[0]
        invoice = _overdue(shop, billed)
        day = shop.now.date()
        _must_be_overdue(invoice, day)
        before = [one.record for one in first.reminders if one.record.number == invoice.number]
        if before and (before[-1].day, before[-1].due) == (day.isoformat(), invoice.due.minor):
            return _of(shop, billed, before[-1])
        until = (day + timedelta(days=shop.settings.due_days or USUAL_DAYS)).isoformat()
        draft = _draft(shop, billed, invoice, len(before) + 1, until)
        with shop.store.transaction(first.id, request=request) as transaction:
            if transaction.known is None:
                if transaction.has_grown(first):
                    transaction.cancel()
                    raise DeskError("Something was written in this job meanwhile. Look at it again.")
                transaction.append([draft])
    billed = [shop.store.job(one.id) for one in billed]
    return _of(shop, billed, billed[0].reminders[-1].record)


def reminders_of(shop: ShopContext, job: Job) -> list[Reminded]:
    """Every reminder of the invoices that a job is on, oldest first."""
    if not job.issued:
        return []
    numbers = [noted.record.number for noted in job.issued]
    kept = billed_with(shop, job)[0].reminders
    return [noted.record for noted in kept if noted.record.number in numbers]


def reminder_drawn(shop: ShopContext, job: Job, place: int) -> Reminder:
    """A reminder drawn again from what is kept; `place` is that among `reminders_of`, from 1.

    Raises:
        DeskError: there is none.
    """
    found = next((one for n, one in enumerate(reminders_of(shop, job), 1) if n == place), None)
    if found is None:
        raise DeskError(f"{job.name} has no reminder {place}.")
    return _of(shop, billed_with(shop, job), found)


def is_overdue(shop: ShopContext, billed: Sequence[Job]) -> bool:
    """True where something of the invoice that these jobs are on is due since the day before or longer."""
    invoice = _overdue(shop, billed)
    return invoice.due.minor > 0 and _is_late(invoice, shop.now.date())


def _is_late(invoice: Overdue, today: date) -> bool:
    """From the day after the due date on, or after the invoice's own where it was to be paid at once."""
    return (invoice.due_on or invoice.day) < today.isoformat()


def _must_be_overdue(invoice: Overdue, today: date) -> None:
    if invoice.due.minor <= 0:
        raise DeskError(f"Nothing of invoice {invoice.number} is due, so there is nothing to remind of.")
    if not _is_late(invoice, today):
        raise DeskError(
            f"Invoice {invoice.number} is to be paid until {invoice.due_on or invoice.day}; a reminder can be"
            " made from the day after. Nothing was recorded."
        )


def _overdue(shop: ShopContext, billed: Sequence[Job]) -> Overdue:
    """The oldest invoice of these jobs that is not paid, else the last one, with what came of it."""
    first, by_number = billed[0], dues(shop, billed).by_number
    number = next((number for number, due in by_number.items() if due.minor > 0), next(reversed(by_number)))
    record = InvoiceIssued(**shop.store.invoice(number).body)
    credited = sum(one.record.credited for one in first.credited if one.record.credits == number)
    off = sum(
        noted.record.amount
        for job in billed
        for noted in job.written_off_now
        if job.settles[noted.id] == number
    )
    whole, due = Money(record.total, record.currency), by_number[number]
    payments = payments_of(shop, billed)
    settled = whole - Money(credited + off, record.currency) - due
    paid = [(one.how, one.amount) for one in payments]
    rounded = total((one.rounded for one in payments), record.currency)
    if settled != total((amount for _, amount in paid), record.currency) + rounded:
        paid, rounded = ([("so far", settled)] if settled.minor else []), Money(0, record.currency)
    return Overdue(
        number=record.number,
        day=record.day,
        due_on=record.due_on,
        total=whole,
        credited=Money(credited, record.currency),
        payments=paid,
        written_off=Money(off, record.currency) + rounded,
        due=due,
    )


def _draft(shop: ShopContext, billed: Sequence[Job], invoice: Overdue, nth: int, until: str) -> Draft:
    first, heads = billed[0], shop.store.heads()
    sheet = paper.sheet_of(shop, first)
    unmarked = reminder(
        first, sheet, invoice, nth=nth, until=until, vehicles=len(billed), record_mark=UNMARKED
    )
    document = document_with_mark(spoken(shop, billed, unmarked), heads)
    record = Reminded(
        number=invoice.number,
        nth=nth,
        day=sheet.issued,
        due=invoice.due.minor,
        currency=invoice.due.currency,
        until=until,
        document_id=document.id,
        document=to_data(document),
        document_hash=document_hash(document),
        versions={"corekit": __version__},
        heads=heads,
    )
    return Draft(
        kind="reminded", subject=own_subject("reminded", f"{invoice.number}/{nth}"), body=body_of(record)
    )


def _of(shop: ShopContext, billed: Sequence[Job], record: Reminded) -> Reminder:
    document = from_data(record.document)
    return Reminder(
        job=billed[0].id,
        number=record.number,
        nth=record.nth,
        due=Money(record.due, record.currency),
        until=record.until,
        document=document,
        pdf=paper.pdf_of(shop, document, paper.reminder_name(billed[0], record), billed),
    )
