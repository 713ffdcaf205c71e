"""Issuing: a number taken once, the invoice kept whole under it, and the same invoice drawn again for whoever
asks.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path

import attrs

from .._version import __version__
from ..billing.approval import ApprovedWork
from ..billing.line import to_data as line_data
from ..billing.waiver import waivers
from ..model.account_number import transfer_code
from ..model.document import Document, document_hash, from_data, to_data
from ..model.job import Job
from ..model.mark import UNMARKED, document_with_mark
from ..model.money import Money
from ..model.records import InvoiceIssued, Issued
from ..store.requests import Request
from . import paper, together
from .assessing import assessment_of
from .bill import Before, Bill
from .carrying import with_carried
from .clock import ClockError, ClockJump, clock_jump
from .context import ShopContext, request_of
from .earlier import has_more, invoiced_before
from .errors import DeskError
from .jobs import billed_with
from .payments import dues
from .publishing import link_of, noted_link, with_page_note
from .required import refuse_incomplete
from .speaking import spoken


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
class DraftInvoice:
    """An invoice as it would be, and what would still be due."""

    document: Document
    due: Money


def issue(shop: ShopContext, *jobs: str, request_id: str = "", date_is_right: bool = False) -> Invoice:
    """Take a number and issue the invoice of a job, or one over several jobs of one customer; asked again, or
    for one of them, the same invoice.

    Each job keeps within what was approved in it; tax is worked out once on the whole. All of them are
    issued, or none.

    Args:
        request_id: That of what asks, where a screen does.
        date_is_right: Somebody has looked at the date and says so, where the clock has jumped.

    Raises:
        ClockError: a number would be taken under a date that may be wrong.
        ConsentError: one of them would exceed what may be charged in it, or nothing of it is to be invoiced.
        IncompleteError: it lacks what an invoice must carry, with all that is missing.
        DeskError: they are not one customer's, one is named twice, or one is on another invoice already.
        RequestConflictError: the id is another request's.
    """
    if shop.practice:
        raise DeskError("A practice car's invoice stays a draft: no number is taken. Nothing was changed.")
    ids = together.ids_of(shop, jobs)
    content = {"issue": ids[0]} if len(ids) == 1 else {"issue together": ids}
    request = request_of(request_id, content)
    with shop.lock:
        known = shop.store.outcome(request) if request is not None else None
        records = [shop.store.job(job) for job in ids]
        while not _number_over(shop, records):
            jump = clock_jump(shop)
            if jump is not None and not date_is_right:
                raise ClockError.of(jump, shop)
            bill = _bill_over(shop, records)
            refuse_incomplete(shop, bill.jobs, bill.lines, bill.totals)
            is_written = _issue_once(shop, bill, request, jump)
            records = [shop.store.job(job) for job in ids]
            if is_written:
                break  # one number, whatever came in meanwhile; another invoice is another call
        if request is not None and known is None and not shop.store.is_read_only:
            with shop.store.transaction(*ids, request=request) as transaction:
                if transaction.known is None:
                    transaction.note_standing(records[0].issued[-1].entry)
        return invoice_of(shop, records[0])


def _number_over(shop: ShopContext, jobs: Sequence[Job]) -> str:
    """Number of the (last) invoice that these jobs are on; empty while they are on none, or something is done
    that it is not over.
    """
    if len(jobs) > 1:
        return together.number_of(shop, jobs)
    (job,) = jobs
    if not job.issued or (job.goes_on and has_more(shop, job)):
        return ""
    return job.issued[-1].record.number


def _bill_over(shop: ShopContext, jobs: Sequence[Job]) -> Bill | together.CommonBill:
    if len(jobs) > 1:
        return together.CommonBill(shop, jobs)
    return Bill(
        jobs[0],
        assessment_of(shop, jobs[0]),
        shop.plugins,
        shop.prices,
        shop.jurisdiction.limit,
        _before(shop, jobs[0]),
    )


def _before(shop: ShopContext, job: Job) -> Before | None:
    """What comes before another invoice of a job; None for its first."""
    invoiced = invoiced_before(shop, job)
    if invoiced is None:
        return None
    held = dues(shop, [job])
    beyond = max(-held.balance, Money(0, held.held.currency))
    return Before(invoiced=invoiced, last=job.issued[-1].record.number, paid_beyond=beyond)


def _issue_once(
    shop: ShopContext, bill: Bill | together.CommonBill, request: Request | None, jump: ClockJump | None
) -> bool:
    """Write the invoice, unless its jobs have grown since the bill was made: then it is made again; `jump` is
    of a clock whose date was said to be right. True where it was written.
    """
    sheet, heads, ids = paper.sheet_of(shop, bill.jobs[0]), shop.store.heads(), [job.id for job in bill.jobs]
    sheet = attrs.evolve(sheet, corrects=_corrected_number(bill.jobs))
    with shop.store.transaction(*ids, request=request) as transaction:
        if transaction.known is not None:
            return False
        if any(transaction.has_grown(job) for job in bill.jobs):
            transaction.cancel()
            return False
        place = transaction.next_number(shop.books_chain)
        number = shop.settings.number.format(year=shop.now.year, device=shop.device, place=place)
        unmarked = with_carried(
            shop,
            with_transfer(shop, bill.document(sheet, number, UNMARKED), bill.payable.due),
            bill.assessment if isinstance(bill, Bill) else None,
            bill.lines if isinstance(bill, Bill) else (),
        )
        said = spoken(shop, bill.jobs, with_page_note(shop, unmarked), bill.lines)
        document = document_with_mark(said, heads)
        record = InvoiceIssued(
            place=place,
            number=document.number,
            document_id=document.id,
            document=to_data(document),
            document_hash=document_hash(document),
            total=bill.total.minor,
            currency=bill.total.currency,
            versions={"corekit": __version__, **bill.versions},
            heads=heads,
            jobs=ids if len(ids) > 1 else (),
            date_said=str(jump or ""),
            corrects=sheet.corrects,
            day=sheet.issued,
            due_on=sheet.due_on,
            net=bill.totals.net.minor,
            tax=bill.totals.tax.minor,
            lines=[line_data(line) for line in bill.lines],
            rates={row.rate: str(row.percent) for row in bill.totals.per_rate},
            paid=bill.payable.paid.minor,
        )
        transaction.issue(shop.books_chain, record)
    return True


def with_transfer(shop: ShopContext, document: Document, due: Money) -> Document:
    """The invoice with the code of its transfer, where the shop names an account and something is due."""
    return attrs.evolve(document, transfer=transfer_of(shop, document.number, due))


def transfer_of(shop: ShopContext, number: str, due: Money) -> str:
    """What the code of a transfer holds; empty where none is made."""
    issuer = shop.settings.issuer
    if not issuer.iban:
        return ""
    return transfer_code(name=issuer.name, iban=issuer.iban, bic=issuer.bic, amount=due, words=number)


def _corrected_number(jobs: Sequence[Job]) -> str:
    """Number of the invoice that was credited whole and that this one takes the place of."""
    whole = ""
    for noted in jobs[0].all(Issued):  # in their order: a later invoice took the place of what was credited
        whole = noted.record.credits if noted.record.whole else whole if noted.record.credits else ""
    return whole


def invoice_draft(shop: ShopContext, *jobs: Job) -> DraftInvoice:
    """The invoice over these jobs as it would be issued now, as a draft without a number; nothing is kept.

    Raises:
        DeskError, ConsentError: it could not be issued.
    """
    if len(jobs) > 1 and (number := together.number_of(shop, jobs)):
        raise DeskError(f"Invoice {number} is over these jobs already; there is nothing to draft.")
    bill = _bill_over(shop, jobs)
    sheet = paper.sheet_of(shop, jobs[0], draft=True)
    return DraftInvoice(document=bill.document(sheet, "", UNMARKED), due=bill.payable.due)


def invoice_of(shop: ShopContext, job: Job, billed: Sequence[Job] | None = None, number: str = "") -> Invoice:
    """Draw the (last) invoice of a job again from what is kept; nothing is computed.

    Args:
        billed: All the jobs that it is over, where somebody read them already; see `jobs.billed_with`.
        number: Which, of several.
    """
    record = InvoiceIssued(**shop.store.invoice(number or job.issued[-1].record.number).body)
    billed = billed if billed is not None else billed_with(shop, job)
    document = from_data(record.document)
    address, page = link_of(shop, document.id, 1), None
    if address:
        known = noted_link(shop, document.id)
        page = Page.DOWN if known.revoked else Page.OPEN if known.published_at else Page.WAITS
    pdf = paper.pdf_of(shop, document, paper.invoice_name(record.number), billed, address)
    return Invoice(
        job=job.id,
        number=record.number,
        document=document,
        pdf=pdf,
        link=address,
        due=dues(shop, billed).by_number[record.number],
        page=page,
        jobs=tuple(one.id for one in billed),
    )


def left_out(shop: ShopContext, record: Job) -> list[str]:
    """What the invoice of a job leaves out although somebody may expect it there, in sentences."""
    work = ApprovedWork.of(record, shop.prices)
    approval = work.approval
    lines = {line.what for line in work.done}
    return [
        *(
            f"{shop.plugins.title(key)} was approved, but nothing says that it was done."
            for key in approval.open
        ),
        *(f"{shop.plugins.title(key)} was done, but nobody approved it." for key in approval.unapproved),
        *(
            f"{shop.plugins.title(key)} is not charged, but stands on no line: it was not approved and done."
            for key in waivers(record)
            if key not in lines
        ),
        *(f"the estimate {name!r} has no answer yet." for name in approval.pending),
        *(
            f"{shop.plugins.title(noted.record.of)}: a test with this reading was begun, and it was never"
            " read."
            for noted in record.waiting
        ),
    ]
