"""One invoice over several jobs of one customer: who may be put together, and what goes on the invoice."""

from __future__ import annotations

from collections.abc import Sequence

from ..billing.errors import ConsentError
from ..billing.payment import payable_after
from ..billing.together import together
from ..model.document import Document
from ..model.job import Job
from ..model.personal import Personal
from ..report.collective import InvoicedJob, collective
from ..report.sheet import Sheet
from . import paper
from .assessing import assessment_of
from .bill import Bill
from .context import ShopContext
from .errors import DeskError
from .jobs import billed_with, order_numbers


def ids_of(shop: ShopContext, names: Sequence[str]) -> list[str]:
    """The jobs that are meant, by id.

    Raises:
        DeskError: one is named twice. StoreError: one is not there.
    """
    ids = [shop.store.find(name) for name in names]
    for place, job in enumerate(ids):
        if job in ids[:place]:
            raise DeskError(
                f"{shop.store.job(job).name} is named twice. Nothing was issued; name each job once."
            )
    if not ids:
        raise DeskError("An invoice is over at least one job; none was named.")
    return ids


def number_of(shop: ShopContext, jobs: Sequence[Job]) -> str:
    """The number of the invoice that is over exactly these jobs; empty while none of them is on one.

    Raises:
        DeskError: one of them is on an invoice of its own, or with others.
    """
    on = {job.name: job.issued[-1].record.number for job in jobs if job.issued}
    numbers = set(on.values())
    if len(numbers) == 1 and len(on) == len(jobs) == len(billed_with(shop, jobs[0])):
        return numbers.pop()
    if on:
        there = ", ".join(f"{name} is on invoice {number} already" for name, number in on.items())
        raise DeskError(
            f"{there}. Nothing was issued; an invoice over several jobs is made of jobs that are on none yet."
        )
    return ""


def one_customer(shop: ShopContext, jobs: Sequence[Job]) -> None:
    """Refuse jobs whose customers are not the same by name and address.

    Raises:
        DeskError: with the difference, or that somebody has no name (any more).
    """
    first, *others = jobs
    for what in ("name", "address"):
        texts = {job.name: _text(shop, job, what) for job in jobs}
        if what == "name" and (nobody := [name for name, text in texts.items() if not text]):
            raise DeskError(
                f"{nobody[0]} names no customer, and one invoice over several jobs is for one named customer."
                " Nothing was issued."
            )
        for other in others:
            if texts[other.name] != texts[first.name]:
                one, two = (
                    f"{texts[job.name]!r} in {job.name}" if texts[job.name] else f"none in {job.name}"
                    for job in (first, other)
                )
                raise DeskError(
                    f"The customer's {what} differs: {one}, {two}. Nothing was issued; one invoice is for one"
                    " customer. Correct the one that is wrong, or issue them apart."
                )


def _text(shop: ShopContext, job: Job, what: str) -> str:
    reference = getattr(job.customer, what)
    return (shop.store.text(reference.hash) or "") if isinstance(reference, Personal) else ""


class CommonBill:
    """An invoice over these jobs, worked out and ready for a number.

    Raises:
        ConsentError: in one of them nothing was both approved and done, or it would exceed what was
            approved.
        DeskError: they are not one customer's.
    """

    def __init__(self, shop: ShopContext, jobs: Sequence[Job]) -> None:
        one_customer(shop, jobs)
        self.jobs = list(jobs)
        self._is_one_order = len(order_numbers(shop, jobs)) == 1
        self._bills = [_bill(shop, job) for job in jobs]
        self.lines = tuple(line for bill in self._bills for line in bill.lines)
        self.totals, rounding = together([bill.share for bill in self._bills], shop.prices)
        self.payable = payable_after(
            self.totals, [noted.record for job in jobs for noted in job.payments], rounding
        )
        self.total = self.payable.gross + self.payable.rounding
        self.versions = {
            name: version for bill in self._bills for name, version in bill.assessment.versions.items()
        }

    def document(self, sheet: Sheet, number: str, record_mark: str) -> Document:
        """The invoice as a Document; without a number it is a draft's."""
        parts = [
            InvoicedJob(
                job=bill.job,
                assessment=bill.assessment,
                account=bill.account,
                lines=bill.lines,
                approvals=paper.approvals_of(bill.job, bill.work, bill.plugins, sheet.day_of),
                payments=paper.payments_of(bill.job),
            )
            for bill in self._bills
        ]
        return collective(
            parts,
            sheet,
            number=number,
            totals=self.totals,
            payable=self.payable,
            link=1,
            record_mark=record_mark,
            is_one_order=self._is_one_order,
        )


def _bill(shop: ShopContext, job: Job) -> Bill:
    try:
        return Bill(job, assessment_of(shop, job), shop.plugins, shop.prices, shop.jurisdiction.limit)
    except ConsentError as error:
        name = "" if job.name in str(error) else f"{job.name}: "
        raise ConsentError(f"{name}{error} Nothing was issued.") from error
