"""The customer's word on an estimate: bound to the very document, once, whoever writes it down."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import attrs

from ..billing.approval import ApprovedWork
from ..intake.visit import ApprovedRow
from ..model.entry import Draft
from ..model.job import Job
from ..model.money import Money
from ..model.personal import Personal, PersonalText
from ..model.records import Approved, Estimated, body_of
from ..report.sheet import WHO_APPROVES
from . import cancelling
from .context import ShopContext
from .earlier import invoiced_before
from .errors import ApprovalError, DeskError
from .jobs import billed_with


@attrs.frozen(kw_only=True)
class ApprovalGiven:
    """What was said of an estimate, before it is compared with the document.

    Attributes:
        estimate: The estimate's printed name. paper: Hash of the Document that was shown, where that is
            known.
        by, how: Who said it (never a name), and how.
        declined: Keys of work that was declined with it.
        total: What is printed on the estimate, where somebody typed it: it must be the estimate's.
        signature: A drawn one, as text; kept with the persons and on no paper.
        words: What was said or written word for word; kept like a signature.
        cancellation: What was said of it, where the law of the place gives a right to cancel.
        taken: When, RFC 3339, if known.
        at: Where it stands in its file or form, for messages.
    """

    estimate: str
    by: str
    how: str
    paper: str = ""
    declined: Sequence[str] = ()
    total: Decimal | None = None
    signature: str = ""
    words: str = ""
    cancellation: str = ""
    taken: str = ""
    at: str = ""

    @classmethod
    def of(cls, row: ApprovedRow) -> ApprovalGiven:
        """What a row of a visit file or a screen says."""
        return cls(
            estimate=row.estimate,
            by=row.by,
            how=row.how,
            declined=row.declined,
            total=row.total,
            cancellation=row.cancellation,
            taken=row.taken,
            at=row.at,
        )


def estimated_under(job: Job | None, name: str) -> Estimated | None:
    """The estimate of this printed name, if it was made; the latest of them."""
    estimates = (
        [noted.record for noted in job.estimates if noted.record.name == name] if job is not None else []
    )
    return estimates[-1] if estimates else None


def draft_of(job: Job | None, approval: ApprovalGiven) -> Draft:
    """The row that an approval becomes, bound to the hash of its estimate. It takes the place of whatever was
    said of this estimate before, in a file, on a screen or by command.

    Raises:
        ApprovalError: there is no such estimate, it is not said who or how, or the total is another one.
    """
    estimated = estimated_under(job, approval.estimate)
    if job is None or estimated is None:
        made = ", ".join(repr(noted.record.name) for noted in job.estimates) if job is not None else ""
        raise ApprovalError(
            f"There is no estimate {approval.estimate!r}; made were: {made or 'none'}. Make the"
            " estimate first.",
            "estimate",
        )
    if not approval.by.strip() or not approval.how.strip():
        raise ApprovalError(
            "An approval says who approved and how, e.g. the customer, in person. Nothing was recorded."
        )
    if approval.by not in WHO_APPROVES:
        raise ApprovalError(
            f"{approval.by!r} would stand in the record for good, so who approved is never a name. Write"
            f" one of {', '.join(WHO_APPROVES)}; names belong to customer = {{ … }}. Nothing was recorded.",
            "by",
        )
    total = Money(estimated.total, estimated.currency)
    if approval.total not in (None, total.amount):
        raise ApprovalError(
            f"The estimate {approval.estimate!r} comes to {total} {total.currency}, not {approval.total}."
            " Nothing was recorded. Write the total that is printed on the estimate, or make a new estimate."
        )
    record = Approved(
        estimate=estimated.name,
        document_hash=approval.paper or estimated.document_hash,
        total=estimated.total,
        currency=estimated.currency,
        by=approval.by,
        how=approval.how,
        declined=list(approval.declined),
        signature=PersonalText("signature", approval.signature) if approval.signature else None,
        said=PersonalText("words", approval.words) if approval.words else None,
        cancellation=approval.cancellation,
    )
    return Draft(
        kind="approved",
        row=f"approved/{approval.estimate}",
        body=body_of(_with_signature(job, record)),
        taken=approval.taken,
        replaces=tuple(noted.id for noted in job.approvals if noted.record.estimate == estimated.name),
        at=approval.at,
    )


def _with_signature(job: Job, record: Approved) -> Approved:
    """What says the same as was said before keeps what was signed or said word for word then."""
    if record.signature is not None or record.said is not None:
        return record
    for entry in reversed(job.entries):
        if entry.kind != "approved":
            continue
        before = Approved(**entry.body)
        same = attrs.evolve(before, signature=None, said=None) == record
        if same and (isinstance(before.signature, Personal) or isinstance(before.said, Personal)):
            return before
    return record


def check(shop: ShopContext, job: Job | None, drafts: Sequence[Draft]) -> None:
    """Return when the approvals among these drafts may be written.

    Raises:
        DeskError: the job's invoice is issued already.
        ConsentError: one is about another document than the estimate that was made, or what was declined is
            not on it.
    """
    new = [Approved(**draft.body) for draft in drafts if draft.kind == "approved"]
    if new and job is not None:
        must_be_open(shop, job)
        for approval in new:
            cancelling.refuse_unsaid(shop, job, approval)
        replaced = {entry for draft in drafts for entry in draft.replaces}
        _ = ApprovedWork.of(
            job, shop.prices, new, instead_of=replaced, before=invoiced_before(shop, job)
        ).total


def must_be_open(shop: ShopContext, job: Job) -> None:
    """Refuse to price or approve anything in a job that shares its invoice with others: a further one would
    be of this job alone.

    Raises:
        DeskError: it does.
    """
    if job.issued and len(billed_with(shop, job)) > 1:
        number = job.issued[-1].record.number
        raise DeskError(
            f"Invoice {number} is over {job.name} and other jobs, so nothing more can be priced in this one."
            " Take further work into a job of its own."
        )
