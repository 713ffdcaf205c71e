"""What would be proposed, and what an approval would come to: asked before anything is written."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..assess.assessment import Assessment
from ..billing.approval import ApprovedWork
from ..billing.book import PriceBook
from ..billing.line import Line, from_data
from ..billing.own_prices import book_for
from ..billing.totals import totals
from ..model.document import document_hash
from ..model.job import Job
from ..model.money import Money
from ..model.records import Approved, Estimated
from ..report.cost import ground_words
from .context import ShopContext
from .estimating import Estimate, Terms, lines_of, more_tax
from .offerable import requested_work


def prices_in(shop: ShopContext, job: Job) -> PriceBook:
    """The prices that hold in a job: the book's, and its own in their place."""
    return book_for(job, shop.prices)


@attrs.frozen(kw_only=True)
class QuotePart:
    """Lines that are proposed and declined together: one piece of work, or call-out and diagnosis.

    Attributes:
        operation: Key of the piece of work; empty for call-out and diagnosis.
        title: What it is called: that of its first line.
        ground: Why, as it is printed.
        net: What its lines come to before tax.
        waived: Why it is not charged; empty where it is.
    """

    operation: str
    title: str
    ground: str
    lines: tuple[Line, ...]
    net: Money
    waived: str = ""


@attrs.frozen(kw_only=True)
class Prospect:
    """What an estimate would hold, piece by piece, and its total with tax."""

    parts: tuple[QuotePart, ...]
    total: Money


def prospect(
    shop: ShopContext, job: Job, assessment: Assessment, stage: str, terms: Terms
) -> Prospect | None:
    """What `estimating.estimate` would hold now; None when no repair may be proposed at all.

    Raises:
        DeskError, PriceError: as `estimating.estimate`.
    """
    if stage == "repair" and not requested_work(job, assessment, shop.plugins):
        return None
    lines = lines_of(shop, job, assessment, stage, terms)
    return Prospect(
        parts=parts_of(lines), total=totals(lines, shop.prices).gross + more_tax(shop, job, lines)
    )


def parts_of(lines: Sequence[Line]) -> tuple[QuotePart, ...]:
    """The lines by piece of work, in their order; call-out and diagnosis as one."""
    grouped: dict[str, list[Line]] = {}
    for line in lines:
        grouped.setdefault(line.operation, []).append(line)
    return tuple(_part(operation, tuple(group)) for operation, group in grouped.items())


def estimated_parts(estimated: Estimated) -> tuple[QuotePart, ...]:
    """What an estimate that was made holds."""
    return parts_of([from_data(line) for line in estimated.lines])


def _part(operation: str, lines: tuple[Line, ...]) -> QuotePart:
    net = lines[0].net
    for line in lines[1:]:
        net += line.net
    return QuotePart(
        operation=operation,
        title=lines[0].text,
        ground=ground_words(lines[0].ground),
        lines=lines,
        net=net,
        waived=lines[0].waived,
    )


def approved_if(shop: ShopContext, estimate: Estimate, declined: Sequence[str]) -> Money:
    """What an approved estimate would come to with these pieces of work declined.

    Raises:
        ConsentError: what is declined is not on the estimate, or today's tax rates give the estimate another
            total.
    """
    approval = Approved(
        estimate=estimate.name,
        document_hash=document_hash(estimate.document),
        total=estimate.total.minor,
        currency=estimate.total.currency,
        by="customer",
        how="asked before it is said",
        declined=list(declined),
    )
    job = shop.store.job(estimate.job)
    earlier = {noted.id for noted in job.approvals if noted.record.estimate == estimate.name}
    return ApprovedWork.of(job, shop.prices, [approval], instead_of=earlier).sums[estimate.name]
