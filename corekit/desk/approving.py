"""Taking down the customer's word on an estimate."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..model.document import document_hash
from ..model.entry import Entry, own_subject
from ..model.money import Money
from . import approvals, recording
from .context import ShopContext, request_of
from .estimating import Estimate


def approve(
    shop: ShopContext,
    estimate: Estimate,
    *,
    by: str,
    how: str,
    declined: Sequence[str] = (),
    total: Money | None = None,
    signature: str = "",
    words: str = "",
    cancellation: str = "",
    request_id: str = "",
) -> Entry:
    """Record who approved an estimate, how, and what was declined with it.

    Args:
        total, signature, words, cancellation: As `approvals.Approval` has them.
        request_id: Of what says so, where a screen does; said under it again, it adds nothing.

    Raises:
        RequestConflictError: the id is another request's.
        DeskError: it is not said who or how, the total is another one, or the job's invoice is issued
            already.
        ConsentError: what was declined is not on the estimate.
    """
    approval = approvals.ApprovalGiven(
        estimate=estimate.name,
        paper=document_hash(estimate.document),
        by=by,
        how=how,
        declined=declined,
        total=total.amount if total is not None else None,
        signature=signature,
        words=words,
        cancellation=cancellation,
    )
    job = shop.store.find(estimate.job)
    content = {key: value for key, value in attrs.asdict(approval).items() if key != "cancellation" or value}
    request = request_of(request_id, {"approve": content, "job": job})
    with shop.lock, shop.store.transaction(job, request=request) as transaction:
        if transaction.known is not None:
            return transaction.known.entries[0]
        assert transaction.job is not None
        draft = approvals.draft_of(transaction.job, approval)
        draft = attrs.evolve(draft, subject=own_subject("approved", estimate.name))
        return recording.append(shop, transaction, [draft])[0]
