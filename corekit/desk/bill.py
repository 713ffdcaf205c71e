"""The bill of a job: what was approved and done, what it comes to, and the document it makes, with a number
or as a draft.
"""

from __future__ import annotations

import attrs

from ..account.account import account_of
from ..assess.assessment import Assessment
from ..billing.approval import ApprovedWork
from ..billing.book import PriceBook
from ..billing.errors import ConsentError
from ..billing.invoice_lines import Invoiced
from ..billing.invoiced import without_spent
from ..billing.payment import payable_after
from ..billing.together import JobShare
from ..billing.totals import payable, taxed
from ..model.document import Document
from ..model.job import Job
from ..model.jurisdiction import NOTHING_ABOVE, ExceedRule
from ..model.money import Money
from ..plugin.host import Plugins
from ..report.papers import invoice_document
from ..report.sheet import Sheet
from . import paper
from .offerable import to_invoice


@attrs.frozen(kw_only=True)
class Before:
    """What comes before another invoice of a job: what is invoiced, the number of the last one, and how much
    was paid that those before do not need.
    """

    invoiced: Invoiced
    last: str
    paid_beyond: Money


class Bill:
    """A job's invoice, worked out and ready for a number.

    Args:
        rule: How far it may go beyond what was approved.
        before: What is on an invoice already, and what of the payments those do not need.

    Raises:
        ConsentError: nothing was both approved and done, or it would exceed what may be charged.
    """

    def __init__(
        self,
        job: Job,
        assessment: Assessment,
        plugins: Plugins,
        book: PriceBook,
        rule: ExceedRule = NOTHING_ABOVE,
        before: Before | None = None,
    ) -> None:
        invoiced = before.invoiced if before is not None else None
        job = without_spent(job, invoiced)
        self.job, self.jobs, self.assessment, self.versions = job, [job], assessment, assessment.versions
        self.plugins = plugins
        self.work = ApprovedWork.of(job, book, rule=rule, before=invoiced)
        self.lines = taxed(to_invoice(job, self.work, assessment), book)
        if not self.lines:
            since = f" since invoice {before.last}" if before is not None else ""
            raise ConsentError(
                f"Nothing in {job.name} was both approved and done{since}, so there is nothing to invoice."
            )
        self.share = JobShare(lines=self.lines, work=self.work)
        self.totals = self.share.totals
        self.payments = paper.payments_of(job)
        self.payable = payable_after(
            self.share.totals, [noted.record for noted in job.payments], self.share.rounding
        )
        if before is not None:
            self.payments = (
                [(f"beyond invoice {before.last}", before.paid_beyond)] if before.paid_beyond.minor else []
            )
            self.payable = payable(self.share.totals, before.paid_beyond, self.share.rounding)
        self.total = self.payable.gross + self.payable.rounding
        self.account = account_of(job, assessment, plugins, lines=self.lines, book=book)

    def document(self, sheet: Sheet, number: str, record_mark: str) -> Document:
        """The invoice as a Document; without a number it is a draft's."""
        return invoice_document(
            self.job,
            self.assessment,
            self.account,
            sheet,
            number=number,
            lines=self.lines,
            totals=self.share.totals,
            payable=self.payable,
            approvals=paper.approvals_of(self.job, self.work, self.plugins, sheet.day_of),
            payments=self.payments,
            link=1,
            record_mark=record_mark,
        )
