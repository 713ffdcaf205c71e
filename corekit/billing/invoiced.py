"""What of a job is on an invoice already, where another one is to follow: a diagnosis first, the repair
later.

An invoice takes all that is both approved and done at its moment, so what it is over follows from the journal
as it stood then.
"""

from __future__ import annotations

from collections.abc import Iterator

import attrs

from ..model.job import Job
from ..model.money import Money
from ..model.records import ApprovedMore, Charged, Issued
from .approval import ApprovedWork
from .book import PriceBook
from .invoice_lines import Invoiced, LineKey, line_key
from .line import Line, LineKind


def invoiced(job: Job, book: PriceBook, total: Money) -> Invoiced | None:
    """What the invoices of a job that stand are over; None where there is none.

    Args:
        total: What they come to together.

    Raises:
        ConsentError: as `ApprovedWork.lines`.
    """
    if not job.issued:
        return None
    on: dict[str, frozenset[LineKey]] = {}
    spent: dict[str, frozenset[str]] = {}
    for issued in job.all(Issued):
        if issued.record.credits:
            if issued.record.whole:
                on.pop(issued.record.credits, None)
                spent.pop(issued.record.credits, None)
            continue
        then, number = job.before(issued.entry), issued.record.number
        on[number] = frozenset(_line_keys(then, book)).difference(*on.values())
        operations = {what for _, what, _, _ in on[number]}
        said = [(noted.id, noted.record.operation) for noted in then.charged]
        said += [(noted.id, noted.record.operation) for noted in then.approved_more]
        spent[number] = frozenset(id_ for id_, work in said if work in operations).difference(*spent.values())
    nothing: frozenset[str] = frozenset()
    return Invoiced(
        lines=frozenset(key for keys in on.values() for key in keys),
        spent=nothing.union(*spent.values()),
        total=total,
    )


def without_spent(job: Job, before: Invoiced | None) -> Job:
    """The job without what was said of the quantities of work that is on an invoice already."""
    if before is None or not before.spent:
        return job
    return attrs.evolve(
        job,
        standing=tuple(
            noted
            for noted in job.standing
            if not (isinstance(noted.record, (Charged, ApprovedMore)) and noted.id in before.spent)
        ),
    )


def is_charged(line: Line, job: Job) -> bool:
    """False for the diagnosis of a job in which no fault was found."""
    return not (
        line.kind is LineKind.DIAGNOSIS and job.ended is not None and job.ended.record.how == "no fault found"
    )


def _line_keys(job: Job, book: PriceBook) -> Iterator[LineKey]:
    """Everything that an invoice over the job would take."""
    for estimate, line in ApprovedWork.of(job, book).done_by_estimate:
        if line.operation or is_charged(line, job):
            yield line_key(estimate, line)
