"""Offers: what would be done and what it costs, made once and kept, and the customer's yes to
exactly that.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

from .._version import __version__
from ..assess.assessment import Assessment
from ..billing.line import Line
from ..billing.line import to_data as line_data
from ..billing.offer import diagnosis_lines, repair_lines
from ..billing.totals import totals
from ..billing.waiver import charged_lines, waive, waivers
from ..model.document import Document, document_hash, from_data, to_data
from ..model.entry import Entry
from ..model.job import Job
from ..model.money import Money
from ..model.personal import PersonalText
from ..model.records import Agreed, Offered, body_of
from ..report.papers import estimate
from ..report.sheet import WHO_AGREES
from ..store.statement import Statement, own_subject
from .offerable import asked_for, cap_of, left_in, not_ended
from .problem import DeskError
from .settings import PRICE_FILE

if TYPE_CHECKING:
    from .shop import Shop


@attrs.frozen(kw_only=True)
class Offer:
    """An offer that was made: its printed name, the frozen Document and the PDF."""

    job: str
    name: str
    document: Document
    total: Money
    pdf: Path


@attrs.frozen(kw_only=True)
class Terms:
    """What somebody says of an offer before it is made; see `Shop.offer`."""

    km: Decimal | None = None
    call_out: bool | None = None
    without: frozenset[str] = frozenset()


def offer(
    shop: Shop,
    job: str,
    stage: str | None = None,
    *,
    km: Decimal | None = None,
    call_out: bool | None = None,
    without: Collection[str] = (),
    answer: str = "",
) -> Offer:
    """Make an offer and keep its Document: `diagnosis` (coming and looking) or `repair` (what the findings
    call for).

    Without a stage: the diagnosis while there is nothing to go by, else the repair. Asked again with nothing
    changed, it gives the offer that stands.

    Args:
        km: How far the drive was.
        call_out: Whether a diagnosis is charged with the coming; not said, it is unless the job came in the
            same drive as another one.
        without: Keys of work that could be offered and is not: it is agreed to already, or the customer does
            not want to hear of it.
        answer: Id of the answer that asks for it, where a screen does; asked under it again, it is the offer
            made then.

    Raises:
        OtherAnswer: the id is another answer's.
        DeskError: nothing calls for work, the price book prices none of it, the job has ended, its invoice
            is issued already, what is to be left out could not be offered, or the job that it shares its
            drive with is not one that pays for the coming.
        PriceError: the price book does not price what is called for.
    """
    job = shop.find(job)
    terms = Terms(km=km, call_out=call_out, without=frozenset(without))
    asked = {
        "offer": stage,
        "job": job,
        "km": str(km),
        "call_out": call_out,
        "without": sorted(terms.without),
    }
    with shop.one_deed:
        known = shop.store.answered(answer, asked)
        if known is not None:
            return _drawn(shop, job, Offered(**known.entries[0].body))
        return _drawn(shop, job, _offered(shop, job, stage, terms, answer, asked))


def _drawn(shop: Shop, job: str, offered: Offered) -> Offer:
    """An offer with its paper, drawn from what is kept."""
    document = from_data(offered.document)
    pdf = shop.written(document, f"estimate {shop.store.job(job).name} {offered.name}", [job])
    return Offer(
        job=job, name=offered.name, document=document, total=Money(offered.total, offered.currency), pdf=pdf
    )


def _offered(shop: Shop, job: str, stage: str | None, terms: Terms, answer: str, asked: object) -> Offered:
    record = shop.store.job(job)
    assessment = shop.assessed(record)
    stage = stage or ("repair" if any(assessment.readings) or record.wanted else "diagnosis")
    lines = lines_of(shop, record, assessment, stage, terms)
    standing = _same_offer(record, stage, lines)
    if standing is None:
        still_open(record)
        not_ended(record)
        count = sum(noted.record.stage == stage for noted in record.offers)
        standing = _offer(shop, record, assessment, stage, f"{stage} {count + 1}", lines, answer, asked)
    else:
        shop.store.keep_answer(
            job, answer, asked, [noted.entry for noted in record.offers if noted.record == standing][-1:]
        )
    return standing


def still_open(job: Job) -> None:
    """Nothing is agreed to after the invoice: it is issued once, and what came later would
    never be billed.
    """
    if job.issued:
        number = job.issued[-1].record.number
        raise DeskError(
            f"Invoice {number} of {job.name} is issued, so nothing more can be priced in this job. Take"
            " further work into a job of its own."
        )


def lines_of(shop: Shop, job: Job, assessment: Assessment, stage: str, terms: Terms) -> tuple[Line, ...]:
    """What an offer would hold now; nothing is written.

    Raises:
        DeskError, PriceError: as `offer`.
    """
    if stage == "diagnosis":
        pays = _pays_for_the_coming(shop, job) if terms.call_out is None else terms.call_out
        return waive(diagnosis_lines(shop.book, terms.km, call_out=pays), waivers(job))
    if stage != "repair":
        raise DeskError(f"An offer is for the stage diagnosis or repair; got {stage!r}.")
    asked = asked_for(job, assessment, shop.plugins)
    if not asked:
        raise DeskError(
            f"Nothing in {job.name} calls for work that may be offered. See `corekit check {job.name}`: it"
            " names the next test. Work on the customer's wish or on your own judgement is written into the"
            " file as wanted = { … }."
        )
    return waive(repair_lines(shop.book, left_in(asked, terms.without)), waivers(job))


def _pays_for_the_coming(shop: Shop, job: Job) -> bool:
    """False where another job does, which must be here and do so."""
    if not job.same_drive_as:
        return True
    other = shop.store.job(shop.find(job.same_drive_as))
    if other.id == job.id or other.same_drive_as:
        raise DeskError(
            f"{job.name} came in the same drive as {job.same_drive_as}, which does not pay for the coming"
            " itself. Name the job that does, or withdraw the row that says so."
        )
    return False


def _same_offer(job: Job, stage: str, lines: Sequence[Line]) -> Offered | None:
    data = [line_data(line) for line in lines]
    agreed = {noted.record.document_hash for noted in job.agreements}
    for noted in reversed(job.offers):
        if (
            noted.record.stage == stage
            and noted.record.lines == data
            and (noted.record.document_hash not in agreed or stage == "diagnosis")
        ):
            return noted.record
    return None


def _offer(
    shop: Shop,
    job: Job,
    assessment: Assessment,
    stage: str,
    name: str,
    lines: tuple[Line, ...],
    answer: str,
    asked: object,
) -> Offered:
    sums = totals(lines, shop.book)
    priced = charged_lines(lines)
    if priced and not totals(priced, shop.book).gross.minor:
        raise DeskError(
            f"This offer would come to {sums.gross} {sums.gross.currency}. Fill in {PRICE_FILE} in"
            f" {shop.folder.resolve()}, then ask again."
        )
    document = estimate(
        job,
        assessment,
        shop.sheet(job),
        name=name,
        stage=stage,
        lines=lines,
        totals=sums,
        cap=cap_of(shop.book),
    )
    record = Offered(
        name=name,
        stage=stage,
        document_id=document.id,
        document=to_data(document),
        document_hash=document_hash(document),
        total=sums.gross.minor,
        currency=shop.book.currency,
        lines=[line_data(line) for line in lines],
        versions={"corekit": __version__, **assessment.versions},
        heads=shop.store.heads(),
    )
    said = Statement(kind="offered", subject=own_subject("offered", name), body=body_of(record))
    shop.store.append(job.id, [said], answer=answer, asked=asked)
    return record


def agree(
    shop: Shop,
    offer: Offer,
    *,
    by: str,
    how: str,
    declined: Sequence[str] = (),
    total: Money | None = None,
    signature: str = "",
    words: str = "",
    answer: str = "",
) -> Entry:
    """Record who agreed to an offer, how, and what was declined in the same stroke.

    Args:
        total: What the customer saw on the paper, where somebody typed it: it must be the offer's.
        signature: A drawn one, as text; kept with the persons and on no paper.
        words: What was said or written word for word; kept like a signature.
        answer: Id of the answer that says so, where a screen does; said under it again, it adds nothing.

    Raises:
        OtherAnswer: the id is another answer's.
        DeskError: it is not said who or how, the total is another one, or the job's invoice is issued
            already.
        ConsentError: what was declined was not offered.
    """
    if not by.strip() or not how.strip():
        raise DeskError(
            "An agreement says who agreed and how, e.g. the customer, in person. Nothing was recorded."
        )
    no_name(by)
    if total not in (None, offer.total):
        raise DeskError(
            f"The offer {offer.name!r} comes to {offer.total} {offer.total.currency}, not {total}. Nothing"
            " was recorded."
        )
    agreed = Agreed(
        offer=offer.name,
        document_hash=document_hash(offer.document),
        total=offer.total.minor,
        currency=offer.total.currency,
        by=by,
        how=how,
        declined=list(declined),
        signature=PersonalText("signature", signature) if signature else None,
        said=PersonalText("words", words) if words else None,
    )
    asked = {"agree": body_of(agreed), "job": offer.job}
    with shop.one_deed:
        known = shop.store.answered(answer, asked)
        if known is not None:
            return known.entries[0]
        job = shop.store.job(offer.job)
        still_open(job)
        shop.agreed_total(job, [agreed])  # refuses what does not fit the offer before it is written
        subject = own_subject("agreed", offer.name)
        replaces = tuple(noted.id for noted in job.agreements if noted.entry.subject == subject)
        said = Statement(kind="agreed", subject=subject, body=body_of(agreed), replaces=replaces)
        return shop.store.append(offer.job, [said], answer=answer, asked=asked)[0]


def offer_named(shop: Shop, job: str, name: str = "") -> Offer:
    """The offer of a printed name that was made, or the latest one."""
    job = shop.find(job)
    record = shop.store.job(job)
    named = [noted.record for noted in record.offers if not name or noted.record.name == name]
    if not named:
        made = ", ".join(repr(noted.record.name) for noted in record.offers) or "none"
        raise DeskError(
            f"{record.name} has no offer {name!r}; made were {made}. Make one with `corekit offer"
            f" {record.name}`."
        )
    document = from_data(named[-1].document)
    return Offer(
        job=job,
        name=named[-1].name,
        document=document,
        total=Money(named[-1].total, named[-1].currency),
        pdf=shop.paper_path(f"estimate {record.name} {named[-1].name}"),
    )


def no_name(by: str, where: str = "") -> None:
    """Refuse a name where it could never be forgotten."""
    if by not in WHO_AGREES:
        raise DeskError(
            f"{where}{by!r} would stand in the record for good, so who agreed is never a name. Write one of"
            f" {', '.join(WHO_AGREES)}; names belong to customer = {{ … }}. Nothing was recorded."
        )
