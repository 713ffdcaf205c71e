"""Issuing: a number taken once, the invoice kept whole under it, and the same invoice drawn again for whoever
asks.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

from .._version import __version__
from ..billing.approval import ApprovedWork
from ..billing.waiver import waivers
from ..model.document import Document, document_hash, from_data, to_data
from ..model.job import Job
from ..model.money import Money
from ..model.records import InvoiceIssued
from ..share import link
from ..store.mark import record_mark
from . import together
from .bill import Bill
from .problem import DeskError
from .publishing import link_of, token

if TYPE_CHECKING:
    from .shop import Shop


class _MovedOn(Exception):
    """The job's journal grew while something was made of it."""


class Page(StrEnum):
    """What the code of an issued invoice opens."""

    WAITS = "not published yet"
    OPEN = "published"
    DOWN = "taken down"


@attrs.frozen(kw_only=True)
class Invoice:
    """An invoice that was issued; `link` is empty for a shop without a page address, `page` says what the
    code opens by now.

    `jobs` are the ids of all the jobs it is over, `job` is the one that was asked for.
    """

    job: str
    number: str
    document: Document
    pdf: Path
    link: str
    due: Money
    page: Page | None = None
    jobs: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class Drafted:
    """An invoice as it would be, and what would still be due."""

    document: Document
    due: Money


def issue(shop: Shop, job: str, *, answer: str = "") -> Invoice:
    """Take a number and issue the invoice of a job; asked again, the same invoice.

    `answer` is the id of the answer that asks, where a screen does.

    Raises:
        ConsentError: it would exceed what was agreed, or nothing was agreed.
        OtherAnswer: the id is another answer's.
    """
    job = shop.find(job)
    asked = {"issue": job}
    with shop.one_deed:
        shop.store.answered(answer, asked)  # refuses an id that is another answer's
        record = shop.store.job(job)
        while not record.issued:
            with suppress(_MovedOn):  # an answer came in from elsewhere while the paper was laid out
                _issue(shop, Bill(record, shop.assessed(record), shop.book), answer, asked)
            record = shop.store.job(job)
        shop.store.keep_answer(job, answer, asked, [record.issued[-1].entry])
        return issued(shop, record)


def _issue(shop: Shop, bill: Bill | together.CommonBill, answer: str, asked: object) -> None:
    sheet, heads, ids = shop.sheet(bill.jobs[0]), shop.store.heads(), [job.id for job in bill.jobs]

    def build(place: int) -> InvoiceIssued:
        if any(len(shop.store.journal(job.id)) != len(job.entries) for job in bill.jobs):
            raise _MovedOn
        document = bill.document(sheet, _number(shop, place), record_mark(heads))
        return InvoiceIssued(
            place=place,
            number=document.number,
            document_id=document.id,
            document=to_data(document),
            document_hash=document_hash(document),
            total=bill.total.minor,
            currency=bill.total.currency,
            versions={"corekit": __version__, **bill.versions},
            heads=heads,
            job_name=", ".join(job.name for job in bill.jobs),
            jobs=ids if len(ids) > 1 else (),
        )

    if len(ids) > 1:
        shop.store.issue_together(ids, shop.books_chain, build, answer=answer, asked=asked)
    else:
        shop.store.issue(ids[0], shop.books_chain, build, answer=answer, asked=asked)


def drafted(shop: Shop, job: Job) -> Drafted:
    """The invoice as it would be issued now, as a draft without a number; nothing is kept.

    Raises:
        ConsentError: it could not be issued.
    """
    bill = Bill(job, shop.assessed(job), shop.book)
    sheet = attrs.evolve(shop.sheet(job), draft=True)
    return Drafted(document=bill.document(sheet, "", record_mark([job.entries[-1].id])), due=bill.payable.due)


def drafted_together(shop: Shop, jobs: Sequence[str]) -> Drafted:
    """As `drafted`, one invoice over several jobs.

    Raises:
        DeskError, ConsentError: as `issue_together`.
    """
    records = [shop.store.job(job) for job in together.several(shop, jobs)]
    if number := together.number_of(shop, records):
        raise DeskError(f"Invoice {number} is over these jobs already; there is nothing to draft.")
    if len(records) == 1:
        return drafted(shop, records[0])
    bill = together.CommonBill(shop, records)
    sheet = attrs.evolve(shop.sheet(records[0]), draft=True)
    return Drafted(
        document=bill.document(sheet, "", record_mark([job.entries[-1].id for job in records])),
        due=bill.payable.due,
    )


def _number(shop: Shop, place: int) -> str:
    return shop.settings.number.format(year=shop.now().year, device=shop.settings.device, place=place)


def issue_together(shop: Shop, jobs: Sequence[str], *, answer: str = "") -> Invoice:
    """Take one number and issue one invoice over several jobs of one customer; asked again, or for one of
    them, the same invoice.

    Each job keeps within what was agreed in it; tax is worked out once on the whole. All of them are issued,
    or none. `answer` is as of `issue`.

    Raises:
        DeskError: they are not one customer's, one is named twice, or one is on an invoice already.
        ConsentError: one of them would exceed what was agreed in it, or there is nothing of it to invoice.
        OtherAnswer: the id is another answer's.
    """
    ids = together.several(shop, jobs)
    if len(ids) == 1:
        return issue(shop, ids[0], answer=answer)
    asked = {"issue together": ids}
    with shop.one_deed:
        shop.store.answered(answer, asked)  # refuses an id that is another answer's
        records = [shop.store.job(job) for job in ids]
        while not together.number_of(shop, records):
            with suppress(_MovedOn):
                _issue(shop, together.CommonBill(shop, records), answer, asked)
            records = [shop.store.job(job) for job in ids]
        shop.store.keep_answer(ids[0], answer, asked, [records[0].issued[-1].entry])
        return issued(shop, records[0])


def issued(shop: Shop, job: Job) -> Invoice:
    """Draw the invoice again from what is kept; nothing is computed."""
    issued = job.issued[-1].record
    record = InvoiceIssued(**shop.store.invoice(issued.number).body)
    document = from_data(record.document)
    address, page = link_of(shop, document.id, 1), None
    if address:
        known = shop.store.note_link(link.token_hash(token(shop, document.id, 1)), document.id, 1)
        page = Page.DOWN if known.revoked else Page.OPEN if known.published_at else Page.WAITS
    jobs = tuple(record.jobs) or (job.id,)
    pdf = shop.written(document, f"invoice {record.number}", jobs, address)
    return Invoice(
        job=job.id,
        number=record.number,
        document=document,
        pdf=pdf,
        link=address,
        due=shop.due_of(job),
        page=page,
        jobs=jobs,
    )


def left_out(shop: Shop, job: str) -> list[str]:
    """What the invoice of a job leaves out although somebody may expect it there, in sentences."""
    record = shop.store.job(shop.find(job))
    work = ApprovedWork.of(record, shop.book)
    approval = work.approval
    lines = {line.what for line in work.done}
    return [
        *(
            f"{shop.plugins.title(key)} was agreed to, but nothing says that it was done."
            for key in approval.open
        ),
        *(f"{shop.plugins.title(key)} was done, but nobody agreed to it." for key in approval.unapproved),
        *(
            f"{shop.plugins.title(key)} is not charged, but stands on no line: it was not agreed to and done."
            for key in waivers(record)
            if key not in lines
        ),
        *(f"the offer {name!r} has no answer on record." for name in approval.pending),
        *(
            f"{shop.plugins.title(noted.record.of)}: a test with this reading was begun, and it was never read."
            for noted in record.waiting
        ),
    ]
