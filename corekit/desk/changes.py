"""Approved work that took more or less than estimated, and what the customer said to it: what may be
written.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..billing.approval import ApprovedWork
from ..model.entry import Draft
from ..model.job import Job
from ..model.money import Money
from ..model.records import ApprovedMore
from ..report.sheet import WHO_APPROVES
from .approvals import must_be_open
from .context import ShopContext
from .earlier import invoiced_before
from .errors import ApprovalError, DeskError


def check(shop: ShopContext, job: Job | None, drafts: Sequence[Draft]) -> None:
    """Return when the changes among these drafts may be written.

    Raises:
        DeskError: such work is on an invoice already, or was never approved.
        ApprovalError: it is not said who approved more or how, or it is nothing.
    """
    new = [draft for draft in drafts if draft.kind in ("charged", "approved_more")]
    if not new:
        return
    on_invoice: set[str] = set()
    if job is not None:
        must_be_open(shop, job)
        on_invoice = _only_on_invoices(shop, job)
    approved = set(job.approval.approved) if job is not None else set()
    approved |= {  # with an approval among the drafts, its estimate says what it is for
        str(line["operation"])
        for draft in drafts
        if draft.kind == "approved" and job is not None
        for noted in job.estimates
        if noted.record.name == draft.body["estimate"]
        for line in noted.record.lines
    }
    for draft in new:
        operation = str(draft.body["operation"])
        if job is not None and operation in on_invoice:
            raise DeskError(
                f"{operation} is on invoice {job.issued[-1].record.number} already, which never changes."
                " Credit it there. Nothing was recorded."
            )
        if operation not in approved:
            raise DeskError(
                f"{operation} is not approved, so nothing of it can be charged otherwise. Approved are:"
                f" {', '.join(sorted(approved - {''})) or 'none'}. Nothing was recorded."
            )
        if draft.kind == "approved_more":
            _refuse_vague(ApprovedMore(**draft.body), shop)


def _only_on_invoices(shop: ShopContext, job: Job) -> set[str]:
    """Work that is on an invoice, and of which nothing else is approved."""
    before = invoiced_before(shop, job)
    if before is None:
        return set()
    left = {line.operation for line in ApprovedWork.of(job, shop.prices, before=before).lines}
    return {what for _, what, _, _ in before.lines} - left


def _refuse_vague(more: ApprovedMore, shop: ShopContext) -> None:
    if more.by not in WHO_APPROVES or not more.how.strip():
        raise ApprovalError(
            f"What more was approved says who approved it, one of {', '.join(WHO_APPROVES)}, and how, e.g. by"
            " phone, 14:10. Nothing was recorded.",
            "by",
        )
    if more.amount <= 0 or more.currency != shop.prices.currency:
        raise ApprovalError(
            f"What more was approved is an amount above zero in {shop.prices.currency}; got"
            f" {Money(more.amount, more.currency)} {more.currency}. Nothing was recorded.",
            "amount",
        )
