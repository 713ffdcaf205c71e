"""Drafts of papers: from a file or a job, marked DRAFT, without a number, kept nowhere."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import attrs

from ..account.account import Account, account_of
from ..assess.assessment import Assessment, assess
from ..billing.approval import more_tax_on_earlier
from ..billing.book import PriceBook
from ..billing.estimate import diagnosis_lines, repair_lines
from ..billing.invoiced import is_charged
from ..billing.line import Line
from ..billing.own_prices import book_for
from ..billing.payment import payable_after
from ..billing.totals import taxed, totals
from ..billing.waiver import waive, waivers
from ..files import write_over
from ..intake.visit import VisitFile, read_visit
from ..model.document import Document
from ..model.job import Job
from ..model.mark import UNMARKED
from ..plugin.host import Plugins, load
from ..report.papers import estimate_document, invoice_document
from ..report.sheet import Sheet
from ..store.mark import random_id
from . import paper
from .bill import Bill
from .errors import DeskError
from .in_memory import scratch_job
from .learned import with_learned
from .offerable import approved_before, cap_of, done_without_estimate, requested_work
from .settings import Settings, declared, jurisdiction_of, read_prices, read_settings, with_settings
from .stated_approvals import differing_totals

#: Columns of a paper in the terminal.
PAPER_WIDTH = 96


@attrs.frozen(kw_only=True)
class DraftPaper:
    """A draft: its file, or its text where that was asked for instead; `remarks` is what a person should know
    of it, one sentence each.
    """

    document: Document
    path: Path | None = None
    text: str = ""
    remarks: tuple[str, ...] = ()


def draft_estimate(
    visit: str,
    *,
    is_file: bool,
    folder: Path,
    stage: str,
    km: Decimal | None,
    out: Path | None = None,
    as_text: bool = False,
    call_out: bool | None = None,
) -> DraftPaper:
    """Draft an estimate and write it to `out`; without one among the shop's papers, or as text."""
    bench = _Bench(visit, is_file=is_file, folder=folder)
    work = requested_work(bench.job, bench.assessment, bench.plugins) if stage == "repair" else []
    if stage == "repair" and not work:
        raise DeskError(
            f"Nothing in {bench.job.name} calls for work that may be proposed; `corekit check` names the next"
            " test."
        )
    lines = waive(
        repair_lines(book_for(bench.job, bench.book), work)
        if stage == "repair"
        else bench.looking(km, call_out),
        waivers(bench.job),
    )
    sums = totals(lines, bench.book)
    document = estimate_document(
        bench.job,
        bench.assessment,
        bench.account(lines, is_proposal=True),
        bench.sheet(),
        name=f"{stage}, draft",
        stage=stage,
        lines=taxed(lines, bench.book),
        totals=sums,
        cap=cap_of(bench.book),
        approved=approved_before(bench.job, bench.book),
        on_earlier=more_tax_on_earlier(bench.job, bench.book, lines),
    )
    return bench.write(document, out, as_text)


def draft_invoice(
    visit: str,
    *,
    is_file: bool,
    folder: Path,
    km: Decimal | None,
    out: Path | None = None,
    as_text: bool = False,
) -> DraftPaper:
    """Draft the invoice and write it to `out` (without one among the shop's papers, or as text): what was
    approved and done, or, without approvals, what was done.
    """
    bench = _Bench(visit, is_file=is_file, folder=folder)
    job = bench.job
    if job.approvals:
        return bench.write(
            Bill(job, bench.assessment, bench.plugins, bench.book, bench.rule).document(
                bench.sheet(), "", UNMARKED
            ),
            out,
            as_text,
        )
    work = done_without_estimate(job, bench.assessment, bench.plugins)
    looking = [line for line in bench.looking(km) if is_charged(line, job)]
    lines = waive([*looking, *repair_lines(book_for(job, bench.book), work)], waivers(job))
    sums = totals(lines, bench.book)
    document = invoice_document(
        job,
        bench.assessment,
        bench.account(lines),
        bench.sheet(),
        number="",
        lines=taxed(lines, bench.book),
        totals=sums,
        payable=payable_after(sums, [noted.record for noted in job.payments]),
        approvals=[],
        payments=paper.payments_of(job),
        link=1,
        record_mark=UNMARKED,
    )
    return attrs.evolve(bench.write(document, out, as_text), remarks=bench.remarks(km))


class _Bench:
    """What a draft is made from: a file or a job, the plugins, the shop's settings and prices."""

    def __init__(self, visit: str, *, is_file: bool, folder: Path) -> None:
        self.folder = folder
        self.settings: Settings = read_settings(folder, demo=True)
        self.plugins: Plugins = with_learned(with_settings(load(), self.settings), folder)
        self.book: PriceBook = read_prices(folder)
        self.rule = jurisdiction_of(self.settings, self.plugins).limit
        self.visit: VisitFile | None = None
        self.job, self.texts = self._from_file(visit) if is_file else self._from_store(visit, folder)
        self.assessment: Assessment = assess(self.job, self.plugins)

    def _from_file(self, visit: str) -> tuple[Job, dict[str, str]]:
        read = read_visit(Path(visit), declared(self.plugins, self.settings, self.book.currency, self.book))
        self.visit = read
        instruments = paper.instruments_for(read, self.settings)
        return scratch_job(read, instruments, now=self.settings.local(datetime.now(UTC)))

    def remarks(self, km: Decimal | None) -> tuple[str, ...]:
        """What does not fit what the file says was approved; a job's approvals are bound to its estimates."""
        if self.visit is None:
            return ()
        return tuple(differing_totals(self.visit, self.plugins, self.settings, self.book, km))

    def _from_store(self, visit: str, folder: Path) -> tuple[Job, dict[str, str]]:
        from .context import open_context
        from .jobs import job_named, pictures_of, texts_of

        shop = open_context(folder, plugins=self.plugins)
        with shop.store:
            job = job_named(shop, visit)
            return job, texts_of(shop, job) | pictures_of(shop, job, "photo")

    def looking(self, km: Decimal | None, call_out: bool | None = None) -> tuple[Line, ...]:
        """The lines of call-out and diagnosis; without the call-out where another job is charged for it."""
        return diagnosis_lines(
            self.book, km, call_out=not self.job.same_trip_as if call_out is None else call_out
        )

    def account(self, lines: Sequence[Line], *, is_proposal: bool = False) -> Account:
        return account_of(
            self.job, self.assessment, self.plugins, lines=lines, is_proposal=is_proposal, book=self.book
        )

    def sheet(self) -> Sheet:
        return paper.sheet(
            random_id(16),
            self.settings,
            datetime.now(UTC),
            self.book.currency,
            self.plugins,
            demo=self.job.demo,
            draft=True,
        )

    def write(self, document: Document, out: Path | None, as_text: bool) -> DraftPaper:
        from ..report.personal_text import resolver

        resolve = resolver(self.texts)
        if as_text:
            from ..report.terminal import render_text

            return DraftPaper(document=document, text=render_text(document, resolve, None, width=PAPER_WIDTH))
        from ..report.pdf import render_pdf

        if out is None:
            out = paper.draft_path(self.folder, str(document.kind), self.job.name)
            out.parent.mkdir(parents=True, exist_ok=True)
        if not out.parent.is_dir():
            raise DeskError(f"The draft cannot be written to {out}: there is no folder {out.parent}.")
        write_over(out, render_pdf(document, resolve, None))
        return DraftPaper(document=document, path=out)
