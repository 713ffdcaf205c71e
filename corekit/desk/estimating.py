"""Estimates: what would be done and what it costs, made once and kept."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal
from pathlib import Path

import attrs

from .._version import __version__
from ..account.account import account_of
from ..assess.assessment import Assessment
from ..billing.approval import more_tax_on_earlier
from ..billing.discount import with_discounts
from ..billing.estimate import diagnosis_lines, repair_lines
from ..billing.line import Line
from ..billing.line import to_data as line_data
from ..billing.out_of_hours import book_out_of_hours, named_out_of_hours
from ..billing.own_prices import book_for
from ..billing.totals import taxed, totals
from ..billing.waiver import charged_lines, waive, waivers
from ..model.document import Document, document_hash, from_data, to_data
from ..model.entry import Draft, Entry, own_subject
from ..model.job import Job
from ..model.jurisdiction import Supplies
from ..model.money import Money
from ..model.records import Estimated, body_of
from ..report.papers import estimate_document
from ..store.requests import RequestOutcome
from . import cancelling, paper
from .approvals import must_be_open
from .assessing import assessment_of
from .context import ShopContext, request_of
from .earlier import invoiced_before
from .errors import DeskError
from .jobs import job_named
from .offerable import approved_before, cap_of, left_in, not_ended, requested_work
from .settings import PRICE_FILE
from .speaking import spoken


@attrs.frozen(kw_only=True)
class Estimate:
    """An estimate that was made: its printed name, the frozen Document and the PDF."""

    job: str
    name: str
    document: Document
    total: Money
    pdf: Path


@attrs.frozen(kw_only=True)
class Terms:
    """What somebody says of an estimate before it is made; see `estimate`."""

    km: Decimal | None = None
    call_out: bool | None = None
    without: frozenset[str] = frozenset()
    out_of_hours: bool = False


def estimate(
    shop: ShopContext,
    job: str,
    stage: str | None = None,
    *,
    km: Decimal | None = None,
    call_out: bool | None = None,
    without: Collection[str] = (),
    out_of_hours: bool = False,
    request_id: str = "",
) -> Estimate:
    """Make an estimate and keep its Document: `diagnosis` (call-out and diagnosis) or `repair` (what the
    findings call for).

    Without a stage: the diagnosis while there is nothing to go by, else the repair. Asked again with nothing
    changed, it gives the estimate that stands.

    Args:
        km: How far the drive was.
        call_out: whether a diagnosis is charged with the call-out; not said, it is unless the job came in the
            same drive as another one. Work without any diagnosis is charged with it where that is said.
        without: Keys of work that could be proposed and is not: it is approved already, or the customer does
            not want to hear of it.
        out_of_hours: At the prices of work when the shop would be closed.
        request_id: Of what asks for it, where a screen does; asked under it again, it is the estimate made
            then.

    Raises:
        RequestConflictError: the id is another request's.
        DeskError: nothing calls for work, the price book prices none of it, the job has ended, its invoice
            is issued already, what is to be left out could not be proposed, or the job that it shares its
            drive with is not one that pays for the call-out.
        PriceError: the price book does not price what is called for.
    """
    job = shop.store.find(job)
    terms = Terms(km=km, call_out=call_out, without=frozenset(without), out_of_hours=out_of_hours)
    content = {
        "estimate": stage,
        "job": job,
        "km": str(km),
        "call_out": call_out,
        "without": sorted(terms.without),
        **({"out_of_hours": True} if out_of_hours else {}),
    }
    request = request_of(request_id, content)
    with shop.lock:
        known = shop.store.outcome(request) if request is not None else None
        while known is None:
            record = shop.store.job(job)
            estimated = _draft(shop, record, stage, terms)  # assessing may take its time: nobody waits for it
            with shop.store.transaction(job, request=request) as transaction:
                known = transaction.known
                if known is None and transaction.has_grown(record):
                    transaction.cancel()
                elif known is None and isinstance(estimated, Entry):
                    transaction.note_standing(estimated)
                    known = RequestOutcome(job=job, entries=(estimated,))
                elif known is None and isinstance(estimated, Draft):
                    known = RequestOutcome(job=job, entries=tuple(transaction.append([estimated])))
        return _with_paper(shop, shop.store.job(job), Estimated(**known.entries[0].body))


def _with_paper(shop: ShopContext, job: Job, estimated: Estimated) -> Estimate:
    """An estimate with its paper, drawn from what is kept."""
    document = from_data(estimated.document)
    pdf = paper.pdf_of(shop, document, paper.estimate_name(job, estimated.name), [job])
    return _estimate_of(job, estimated, document, pdf)


def _estimate_of(job: Job, estimated: Estimated, document: Document, pdf: Path) -> Estimate:
    return Estimate(
        job=job.id,
        name=estimated.name,
        document=document,
        total=Money(estimated.total, estimated.currency),
        pdf=pdf,
    )


def _draft(shop: ShopContext, job: Job, stage: str | None, terms: Terms) -> Draft | Entry:
    """The entry of the estimate that stands, or the draft of a new one."""
    assessment = assessment_of(shop, job)
    stage = stage or ("repair" if any(assessment.readings) or job.requested else "diagnosis")
    lines = lines_of(shop, job, assessment, stage, terms)
    standing = _same_estimate(shop, job, stage, lines)
    if standing is not None:
        return standing
    must_be_open(shop, job)
    not_ended(job)
    cancelling.refuse_without_words(shop)
    count = sum(noted.record.stage == stage for noted in job.estimates)
    return _new_estimate(shop, job, assessment, stage, f"{stage} {count + 1}", lines)


def lines_of(
    shop: ShopContext, job: Job, assessment: Assessment, stage: str, terms: Terms
) -> tuple[Line, ...]:
    """What an estimate would hold now; nothing is written.

    Raises:
        DeskError, PriceError: as `estimate`.
    """
    discounts = [noted.record for noted in job.discounted]
    prices = book_out_of_hours(shop.prices) if terms.out_of_hours else shop.prices
    if stage == "diagnosis":
        pays = _pays_for_the_coming(shop, job) if terms.call_out is None else terms.call_out
        looking = diagnosis_lines(prices, terms.km, call_out=pays)
        if terms.out_of_hours:
            looking = named_out_of_hours(looking, prices)
        return waive(with_discounts(looking, discounts), waivers(job))
    if stage != "repair":
        raise DeskError(f"An estimate is for the stage diagnosis or repair; got {stage!r}.")
    work = requested_work(job, assessment, shop.plugins)
    if not work:
        raise DeskError(
            f"Nothing in {job.name} calls for work that may be proposed. See `corekit check {job.name}`: it"
            " names the next test. Work on the customer's wish or on your own judgement is written into the"
            " file as requested = { … }."
        )
    _supplies_allowed(shop)
    repairs = repair_lines(book_for(job, prices), left_in(work, terms.without))
    if terms.call_out and may_charge_call_out(job):
        repairs = (*diagnosis_lines(prices, terms.km, diagnosis=False), *repairs)
    if terms.out_of_hours:
        repairs = named_out_of_hours(repairs, prices)
    return waive(with_discounts(repairs, discounts), waivers(job))


def may_charge_call_out(job: Job) -> bool:
    """True where work is estimated that nobody had to look for: its estimate may hold the call-out, which
    stands on no other.
    """
    answered = {noted.record.document_hash for noted in job.approvals}
    charged = {
        str(line["kind"])
        for noted in job.estimates
        if noted.record.stage == "diagnosis" or noted.record.document_hash in answered
        for line in noted.record.lines
    }
    return not job.same_trip_as and not charged & {"diagnosis", "call-out", "travel"}


def _supplies_allowed(shop: ShopContext) -> None:
    rule = shop.jurisdiction.supplies
    if shop.prices.supplies is None or rule is None or rule.charge is Supplies.ALLOWED:
        return
    if rule.charge is Supplies.FORBIDDEN:
        raise DeskError(
            f"A general charge for supplies may not stand on an invoice ({rule.origin.source}); every part is"
            f" a line of its own. Take supplies out of {PRICE_FILE}. Nothing was made."
        )
    if "supplies" not in shop.settings.statements:
        raise DeskError(
            "A charge for supplies needs the words that the law prescribes"
            f' ({rule.origin.source}): write statements.supplies = "…" in shop.toml. Nothing was made.'
        )


def _pays_for_the_coming(shop: ShopContext, job: Job) -> bool:
    """False where another job does, which must be here and do so."""
    if not job.same_trip_as:
        return True
    other = job_named(shop, job.same_trip_as)
    if other.id == job.id or other.same_trip_as:
        raise DeskError(
            f"{job.name} is on the same trip as {other.name}, which does not pay for the call-out"
            " itself. Name the job that does, or withdraw the row that says so."
        )
    return False


def _same_estimate(shop: ShopContext, job: Job, stage: str, lines: Sequence[Line]) -> Entry | None:
    data, on_earlier = [line_data(line) for line in lines], more_tax(shop, job, lines).minor
    approved = {noted.record.document_hash for noted in job.approvals}
    last = job.issued[-1].entry if job.issued else None
    for noted in reversed(job.estimates):
        is_old = last is not None and job.knew(last, noted.entry)
        if (
            noted.record.stage == stage
            and not (is_old and noted.record.document_hash in approved)
            and noted.record.lines == data
            and noted.record.tax_on_earlier == on_earlier
            and cancelling.carries_words(shop, noted.record)
            and (noted.record.document_hash not in approved or stage == "diagnosis")
        ):
            return noted.entry
    return None


def more_tax(shop: ShopContext, job: Job, lines: Sequence[Line]) -> Money:
    """The tax that is due on top of what these lines come to, because they and what is approved already come
    on one invoice.
    """
    before = invoiced_before(shop, job) if shop.prices.with_parts else None
    return more_tax_on_earlier(job, shop.prices, lines, before)


def _new_estimate(
    shop: ShopContext, job: Job, assessment: Assessment, stage: str, name: str, lines: tuple[Line, ...]
) -> Draft:
    sums, on_earlier = totals(lines, shop.prices), more_tax(shop, job, lines)
    priced = charged_lines(lines)
    if priced and not totals(priced, shop.prices).gross.minor:
        raise DeskError(
            f"This estimate would come to {sums.gross} {sums.gross.currency}. Fill in {PRICE_FILE} in"
            f" {shop.folder.resolve()}, then ask again."
        )
    document = estimate_document(
        job,
        assessment,
        account_of(
            job, assessment, shop.plugins, lines=lines, is_proposal=True, book=book_for(job, shop.prices)
        ),
        paper.sheet_of(shop, job),
        name=name,
        stage=stage,
        lines=taxed(lines, shop.prices),
        totals=sums,
        cap=cap_of(shop.prices),
        approved=approved_before(job, shop.prices),
        on_earlier=on_earlier,
    )
    document = spoken(shop, [job], document, lines)
    record = Estimated(
        name=name,
        stage=stage,
        document_id=document.id,
        document=to_data(document),
        document_hash=document_hash(document),
        total=(sums.gross + on_earlier).minor,
        currency=shop.prices.currency,
        lines=[line_data(line) for line in lines],
        versions={"corekit": __version__, **assessment.versions},
        heads=shop.store.heads(),
        tax_on_earlier=on_earlier.minor,
    )
    return Draft(kind="estimated", subject=own_subject("estimated", name), body=body_of(record))


def estimate_named(shop: ShopContext, job: Job, name: str = "") -> Estimate:
    """The estimate of a printed name that was made, or the latest one.

    Raises:
        DeskError: there is none.
    """
    named = [noted.record for noted in job.estimates if not name or noted.record.name == name]
    if not named:
        made = ", ".join(repr(noted.record.name) for noted in job.estimates) or "none"
        raise DeskError(
            f"{job.name} has no estimate {name!r}; made were {made}. Make one with"
            f" `corekit estimate {job.name}`."
        )
    pdf = paper.path_of(shop, paper.estimate_name(job, named[-1].name))
    return _estimate_of(job, named[-1], from_data(named[-1].document), pdf)
