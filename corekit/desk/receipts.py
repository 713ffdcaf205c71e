"""Receipts: what was paid for a job, and a paper of its own for each payment that its invoice
does not show.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs

from .._version import __version__
from ..billing.payment import Receipt as Taken
from ..model.document import Document, document_hash, from_data, to_data
from ..model.job import Job, Noted
from ..model.money import Money, total
from ..model.records import Receipted, body_of
from ..report.receipt import PaidFor, receipt
from ..store.mark import record_mark
from ..store.statement import Statement, own_subject
from .problem import DeskError

if TYPE_CHECKING:
    from .shop import Shop


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


@attrs.frozen(kw_only=True)
class Receipt:
    """A receipt that was handed over: the frozen Document and the PDF."""

    job: str
    payment: str
    document: Document
    pdf: Path


def payments(jobs: list[Job]) -> list[Payment]:
    """What was paid for these jobs, which share a sum, in the order in which it was written down."""
    found = []
    for job in jobs:
        given = {noted.record.payment for noted in job.receipts}
        for noted in job.payments:
            shows = [issued.record.number for issued in job.issued if _place(noted) < _place(issued)]
            found.append(
                (
                    _place(noted),
                    Payment(
                        id=noted.id,
                        job=job.id,
                        amount=Money(noted.record.amount, noted.record.currency),
                        how=noted.record.how,
                        day=(noted.entry.taken or noted.entry.recorded)[:10],
                        on_invoice=shows[0] if shows else "",
                        has_receipt=noted.id in given,
                    ),
                )
            )
    return [payment for _, payment in sorted(found, key=lambda one: one[0])]


def _place(noted: Noted[Any]) -> tuple[str, int]:
    """Later in the journal is later: chains of one store are named so that they sort in the order in which
    they were begun.
    """
    return noted.entry.chain, noted.entry.n


def paper_name(record: Receipted) -> str:
    return f"receipt {record.name}"


def draw(shop: Shop, job: str, payment: str = "") -> Receipt:
    """The receipt of a payment (the last one if none is named): as it was handed over, or made and kept now.

    Raises:
        DeskError: there is no such payment; or the invoice shows it, and so is its receipt.
    """
    record = shop.store.job(shop.find(job))
    chosen = _chosen(record, payments(shop.jobs_billed_with(record)), payment)
    holder = shop.store.job(chosen.job)
    if not chosen.has_receipt:
        if chosen.on_invoice:
            raise DeskError(
                f"Invoice {chosen.on_invoice} shows the payment of {chosen.amount} {chosen.amount.currency},"
                " so it is the receipt for it."
            )
        _make(shop, holder, chosen)
        holder = shop.store.job(chosen.job)
    kept = next(noted.record for noted in holder.receipts if noted.record.payment == chosen.id)
    document = from_data(kept.document)
    return Receipt(
        job=holder.id,
        payment=chosen.id,
        document=document,
        pdf=shop.written(document, paper_name(kept), [holder.id]),
    )


def _chosen(job: Job, there: list[Payment], wanted: str) -> Payment:
    fitting = (
        [payment for payment in there if wanted and payment.id.startswith(wanted)]
        if wanted
        else [*there[-1:]]
    )
    if len(fitting) == 1:
        return fitting[0]
    if not there:
        raise DeskError(f"Nothing was paid for {job.name} yet, so there is no receipt.")
    listed = "; ".join(
        f"{payment.id[:12]} ({payment.amount} {payment.amount.currency}, {payment.how}, {payment.day})"
        for payment in there
    )
    raise DeskError(
        f"{'No' if not fitting else 'More than one'} payment of {job.name} fits {wanted!r}. There are:"
        f" {listed}."
    )


def _make(shop: Shop, job: Job, payment: Payment) -> None:
    """Build the receipt of a payment and keep it; if somebody else was faster, theirs stands."""
    jobs, heads = shop.jobs_billed_with(job), shop.store.heads()
    every = payments(jobs)
    before = every[: [one.id for one in every].index(payment.id)]
    whole = shop.to_pay(job)
    earlier = total((one.amount for one in before), whole.currency)
    number = job.issued[-1].record.number if job.issued else ""
    taken = Taken(
        amount=payment.amount, how=payment.how, paid_before=earlier, due=whole - earlier - payment.amount
    )
    sheet = shop.sheet(job)
    document = receipt(
        job,
        sheet,
        taken,
        day=payment.day,
        paid_for=PaidFor(total=whole, number=number, vehicles=len(jobs)),
        before=[(one.how, one.amount) for one in before],
        record_mark=record_mark(heads),
    )
    record = Receipted(
        payment=payment.id,
        name=f"{job.name} {len(job.receipts) + 1}",
        document_id=document.id,
        document=to_data(document),
        document_hash=document_hash(document),
        versions={"corekit": __version__},
        heads=heads,
    )
    shop.store.append_once(
        job.id,
        Statement(kind="receipted", subject=own_subject("receipted", payment.id), body=body_of(record)),
    )
