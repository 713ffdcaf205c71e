"""Receipts: a paper of its own for each payment that a job's invoice does not show."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import attrs

from .._version import __version__
from ..billing.payment import AmountReceived as Taken
from ..model.document import Document, document_hash, from_data, to_data
from ..model.entry import Draft, own_subject
from ..model.job import Job
from ..model.mark import UNMARKED, document_with_mark
from ..model.money import total
from ..model.records import Receipted, body_of
from ..report.receipt import PaidFor, receipt
from . import paper
from .context import ShopContext
from .errors import DeskError
from .jobs import billed_with, job_named
from .payments import Payment, payments_of, to_pay
from .speaking import spoken


@attrs.frozen(kw_only=True)
class Receipt:
    """A receipt that was handed over: the frozen Document and the PDF."""

    job: str
    payment: str
    document: Document
    pdf: Path


def receipt_for(shop: ShopContext, job: str, payment: str = "") -> Receipt:
    """The receipt of a payment (the last one if none is named): as it was handed over, or made and kept now.

    Raises:
        DeskError: there is no such payment; or the invoice shows it, and so is its receipt.
    """
    record = job_named(shop, job)
    billed = billed_with(shop, record)
    chosen = _payment_of(record, payments_of(shop, billed), payment)
    holder = next(one for one in billed if one.id == chosen.job)
    if not chosen.has_receipt:
        if chosen.on_invoice:
            raise DeskError(
                f"Invoice {chosen.on_invoice} shows the payment of {chosen.amount} {chosen.amount.currency},"
                " so it is the receipt for it."
            )
        _make(shop, holder, billed, chosen)
        holder = shop.store.job(holder.id)
    kept = next(noted.record for noted in holder.receipts if noted.record.payment == chosen.id)
    document = from_data(kept.document)
    pdf = paper.pdf_of(shop, document, paper.receipt_name(holder, kept), [holder])
    return Receipt(job=holder.id, payment=chosen.id, document=document, pdf=pdf)


def _payment_of(job: Job, there: list[Payment], wanted: str) -> Payment:
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


def _make(shop: ShopContext, job: Job, billed: Sequence[Job], payment: Payment) -> None:
    """Build the receipt of a payment and keep it; if somebody else was faster, theirs stands."""
    heads, every = shop.store.heads(), payments_of(shop, billed)
    before = every[: [one.id for one in every].index(payment.id)]
    whole = to_pay(shop, job)
    earlier = total((one.settled for one in before), whole.currency)
    number = " and ".join(noted.record.number for noted in job.issued)
    taken = Taken(
        amount=payment.amount,
        how=payment.how,
        paid_before=earlier,
        due=whole - earlier - payment.settled,
        rounded=payment.rounded,
    )
    sheet = paper.sheet_of(shop, job)
    unmarked = receipt(
        job,
        sheet,
        taken,
        day=payment.day,
        paid_for=PaidFor(total=whole, number=number, vehicles=len(billed)),
        before=[(one.how, one.amount) for one in before],
        record_mark=UNMARKED,
    )
    document = document_with_mark(spoken(shop, [job], unmarked), heads)
    record = Receipted(
        payment=payment.id,
        name=str(len(job.receipts) + 1),
        document_id=document.id,
        document=to_data(document),
        document_hash=document_hash(document),
        versions={"corekit": __version__},
        heads=heads,
    )
    draft = Draft(kind="receipted", subject=own_subject("receipted", payment.id), body=body_of(record))
    with shop.store.transaction(job.id) as transaction:
        assert transaction.job is not None
        if not any(noted.record.payment == payment.id for noted in transaction.job.receipts):
            transaction.append([draft])
