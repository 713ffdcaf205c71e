"""Money that comes in: what is due, what may be taken, and the same in the job's journal and in the books."""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from typing import Any

import attrs

from ..billing.approval import ApprovedWork
from ..billing.payment import PaymentError, give_back, receive
from ..billing.totals import Payable
from ..model.entry import Draft
from ..model.job import Job, Noted
from ..model.money import Money, total
from ..model.records import Approved, Paid, PaymentTaken
from .context import ShopContext
from .jobs import billed_with


@attrs.frozen(kw_only=True)
class Payment:
    """One payment that stands.

    Attributes:
        id: Of the entry that says so. job: Id of the job whose journal holds it.
        day: When it was received, as far as known; else when it was written down.
        on_invoice: Number of the invoice that shows it and is its receipt; empty when it came later, or
            nothing is issued yet.
        has_receipt: A receipt was handed over for it.
    """

    id: str
    job: str
    amount: Money
    how: str
    day: str
    on_invoice: str = ""
    has_receipt: bool = False


def payments_of(shop: ShopContext, jobs: Sequence[Job]) -> list[Payment]:
    """What was paid for these jobs, which share a sum, in the order in which it was written down."""
    payments = []
    for job in jobs:
        with_receipt = {noted.record.payment for noted in job.receipts}
        for noted in job.payments:
            shows = [issued.record.number for issued in job.issued if _place(noted) < _place(issued)]
            payment = Payment(
                id=noted.id,
                job=job.id,
                amount=Money(noted.record.amount, noted.record.currency),
                how=noted.record.how,
                day=shop.settings.day_of(noted.entry.taken or noted.entry.recorded),
                on_invoice=shows[0] if shows else "",
                has_receipt=noted.id in with_receipt,
            )
            payments.append((_place(noted), payment))
    return [payment for _, payment in sorted(payments, key=lambda placed: placed[0])]


def _place(noted: Noted[Any]) -> tuple[str, int]:
    """Later in the journal is later: chains of one store are named so that they sort in the order in which
    they were begun.
    """
    return noted.entry.chain, noted.entry.n


def to_pay(shop: ShopContext, job: Job | None, drafts: Sequence[Draft] = ()) -> Money:
    """What a job's invoice comes to, less what was credited of it; before there is one, what was approved so
    far and by these drafts.

    Raises:
        ConsentError: an approval among the drafts does not fit its estimate.
    """
    if job is not None and job.issued:
        number = job.issued[-1].record.number
        numbers = [number, *(noted.record.number for noted in job.credited if noted.record.credits == number)]
        bodies = [shop.store.invoice(one).body for one in numbers]
        return total((Money(body["total"], body["currency"]) for body in bodies), bodies[0]["currency"])
    more = [Approved(**draft.body) for draft in drafts if draft.kind == "approved"]
    added = total(
        (
            Money(draft.body["amount"], draft.body["currency"])
            for draft in drafts
            if draft.kind == "approved_more"
        ),
        shop.prices.currency,
    )
    if job is None:
        return ApprovedWork((), more, shop.prices).total + added
    replaced = {entry for draft in drafts for entry in draft.replaces}
    return ApprovedWork.of(job, shop.prices, more, instead_of=replaced).total + added


def due_of(shop: ShopContext, jobs: Sequence[Job]) -> Money:
    """What is still to be paid for these jobs, which are on one invoice, or for a single one: of the invoice
    without what was credited and written off, or before there is one, of what was approved so far.
    """
    whole = to_pay(shop, jobs[0])
    return (
        whole
        - total((payment.amount for payment in payments_of(shop, jobs)), whole.currency)
        - written_off(jobs, whole.currency)
    )


def written_off(jobs: Sequence[Job], currency: str, without: Container[str] = ()) -> Money:
    """What is not asked for any more of the invoice that these jobs are on, without these entries."""
    records = [noted.record for job in jobs for noted in job.written_off_now if noted.id not in without]
    return total((Money(record.amount, record.currency) for record in records), currency)


def due(shop: ShopContext, job: Job) -> Money:
    """As `due_of`, for a job and those that it shares its invoice with."""
    return due_of(shop, billed_with(shop, job))


def check(shop: ShopContext, job: Job | None, drafts: Sequence[Draft]) -> None:
    """Return when the payments among these drafts may be taken, be they new or corrections of one.

    Raises:
        PaymentError: one is no money, or more than is due; more is given back than was paid and is not owed;
            or more is written off than is due.
    """
    new, off = _payments(drafts), [draft for draft in drafts if draft.kind == "written_off"]
    if not new and not off:
        return
    replaced = {id_ for draft in drafts for id_ in draft.replaces}
    before = [
        payment
        for payment in payments_of(shop, billed_with(shop, job) if job is not None else ())
        if payment.id not in replaced
    ]
    whole = to_pay(shop, job, drafts)
    if job is not None:
        whole -= written_off(billed_with(shop, job), whole.currency, without=replaced)
    paid = total((payment.amount for payment in before), whole.currency)
    none = Money(0, whole.currency)
    for draft in new:
        amount = Money(draft.body["amount"], draft.body["currency"])
        if amount.minor < 0:
            most = paid - whole if job is not None and job.issued else paid
            give_back(-amount, Paid(**draft.body).how, most)
            paid = paid + amount
            continue
        due = Payable(gross=whole, paid=paid, rounding=none, due=whole - paid)
        try:
            receive(amount, Paid(**draft.body).how, due)
        except PaymentError as error:
            if (job is not None and job.issued) or amount <= due.due:
                raise
            raise PaymentError(f"{error} For more there must be an approved estimate first.") from error
        paid = paid + amount
    for draft in off:
        amount = Money(draft.body["amount"], draft.body["currency"])
        left = whole - paid if job is not None and job.issued else none
        if not none < amount <= left:
            raise PaymentError(
                f"{amount} {amount.currency} cannot be written off: of an issued invoice {left}"
                f" {whole.currency} is due. Nothing was recorded."
            )
        whole = whole - amount


def payments_for_books(shop: ShopContext, job: Job | None, drafts: Sequence[Draft]) -> Iterator[PaymentTaken]:
    """What the books are told: each new payment, and for each one corrected or withdrawn the difference, so
    that both journals agree.
    """
    before = {noted.entry.subject: noted.record for noted in job.payments} if job is not None else {}
    after = dict(before)
    for draft in drafts:
        if draft.kind == "paid":
            after[draft.subject] = Paid(**draft.body)
        elif draft.kind == "withdrawn":
            after.pop(draft.subject, None)
    for subject in dict.fromkeys((*before, *after)):
        old, new = before.get(subject), after.get(subject)
        change = (new.amount if new else 0) - (old.amount if old else 0)
        if change:
            how = (
                new.how
                if new and not old
                else f"{'correction' if new else 'withdrawal'} of {old.how if old else ''}"
            )
            yield PaymentTaken(amount=change, currency=shop.prices.currency, how=str(how))


def _payments(drafts: Sequence[Draft]) -> list[Draft]:
    """The payments among these drafts, without those that come in withdrawn already."""
    withdrawn = {draft.subject for draft in drafts if draft.kind == "withdrawn"}
    return [draft for draft in drafts if draft.kind == "paid" and draft.subject not in withdrawn]
