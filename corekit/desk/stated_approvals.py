"""What a visit file says was approved, against the estimate that the same file leads to."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal

import attrs

from ..assess.assessment import assess
from ..billing.book import PriceBook
from ..billing.estimate import PriceError, diagnosis_lines, repair_lines
from ..billing.line import Line
from ..billing.own_prices import book_for
from ..billing.totals import totals
from ..billing.waiver import waive, waivers
from ..intake.visit import ApprovedRow, VisitFile
from ..model.job import Job
from ..model.money import Money
from ..plugin.host import Plugins
from . import paper
from .in_memory import scratch_job
from .offerable import requested_work
from .settings import Settings


def differing_totals(
    visit: VisitFile, plugins: Plugins, settings: Settings, book: PriceBook, km: Decimal | None
) -> Iterator[str]:
    """A sentence for each approved total that no estimate here comes to, as the file stood when it was
    approved; nothing where that cannot be worked out.
    """
    for n, row in enumerate(visit.steps):
        if not isinstance(row, ApprovedRow):
            continue
        if book.with_parts and any(isinstance(one, ApprovedRow) for one in visit.steps[:n]):
            continue  # its total has tax on what was approved before it, of which a file holds no lines
        before = attrs.evolve(visit, steps=visit.steps[:n])
        instruments = paper.instruments_for(before, settings)
        job, _ = scratch_job(before, instruments, now=settings.local(datetime.now(UTC)))
        sums = {
            totals(waive(lines, waivers(job)), book).gross
            for lines in _estimates(row.estimate.partition(" ")[0], job, plugins, book, km)
        }
        if sums and Money.of(row.total, book.currency) not in sums:
            listed = " or ".join(f"{one} {one.currency}" for one in sorted(sums, key=lambda one: one.minor))
            yield (
                f"The file says that {row.estimate!r} was approved over {row.total} {book.currency}; from"
                f" what stands before it this estimate comes to {listed}. `corekit add` compares the total"
                " with the estimate that was made, and refuses another one."
            )


def _estimates(
    stage: str, job: Job, plugins: Plugins, book: PriceBook, km: Decimal | None
) -> Iterator[tuple[Line, ...]]:
    """The lines that an estimate of this stage may hold: with the call-out and without."""
    try:
        if stage == "diagnosis":
            for call_out in (True, False):
                yield diagnosis_lines(book, km, call_out=call_out)
        elif stage == "repair" and (work := requested_work(job, assess(job, plugins), plugins)):
            repairs = tuple(repair_lines(book_for(job, book), work))
            yield repairs
            yield (*diagnosis_lines(book, km, diagnosis=False), *repairs)
    except PriceError:
        return
