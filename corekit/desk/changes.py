"""Approved work that took more or less than estimated, and what the customer said to it: what may be
written.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..model.entry import Draft
from ..model.job import Job
from ..model.money import Money
from ..model.records import ApprovedMore
from ..report.sheet import WHO_APPROVES
from .approvals import must_be_open
from .context import ShopContext
from .errors import ApprovalError, DeskError


def check(shop: ShopContext, job: Job | None, drafts: Sequence[Draft]) -> None:
    """Return when the changes among these drafts may be written.

    Raises:
        DeskError: the job's invoice is issued already, or such work was never approved.
        ApprovalError: it is not said who approved more or how, or it is nothing.
    """
    new = [draft for draft in drafts if draft.kind in ("charged", "approved_more")]
    if not new:
        return
    if job is not None:
        must_be_open(job)
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
        if operation not in approved:
            raise DeskError(
                f"{operation} is not approved, so nothing of it can be charged otherwise. Approved are:"
                f" {', '.join(sorted(approved - {''})) or 'none'}. Nothing was recorded."
            )
        if draft.kind == "approved_more":
            _refuse_vague(ApprovedMore(**draft.body), shop)


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
