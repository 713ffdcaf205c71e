"""An estimate answered by the customer's own act: its link, and fetching what was answered there."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import attrs

from ..model.document import document_hash, from_data
from ..model.job import Job, Noted
from ..model.records import Estimated
from ..share import link
from ..share.answer import CustomerAnswer, open_answer
from ..share.published import PublishError, answer_from
from . import approving, publishing, rows
from .context import ShopContext
from .errors import DeskError
from .estimating import Estimate, estimate_named
from .jobs import job_named

#: How such an approval was given; it stands in the record and on the invoice.
ON_THE_PAGE = "on the page"


@attrs.frozen(kw_only=True)
class Fetched:
    """What became of an answer: of which estimate, and in a sentence."""

    job: str
    estimate: str
    is_recorded: bool
    words: str


def offer(shop: ShopContext, estimate: Estimate) -> str:
    """Publish an estimate, so that its customer can read and answer it; gives its link. It works before any
    invoice, and no longer than the estimate holds.

    Raises:
        DeskError: this shop has no page address. PublishError: it could not be published.
    """
    if not shop.settings.page:
        raise DeskError("This shop has no page address, so an estimate has no link. Set page in shop.toml.")
    known = publishing.noted_link(shop, estimate.document.id)
    if not known.published_at:
        publishing.send(shop, known, estimate.document, (estimate.job,), until=_end(shop, estimate))
    return publishing.link_of(shop, estimate.document.id, known.link)


def fetch_answers(shop: ShopContext) -> list[Fetched]:
    """Record what customers answered on the page, each answer once.

    An answer to an estimate that expired, or in whose place another stands, is void and said so.

    Raises:
        PublishError: the page server cannot be reached; what was recorded before stays.
    """
    fetched: list[Fetched] = []
    for job in _open_jobs(shop):
        for noted in _unanswered_estimates(shop, job):
            fetched += _fetch(shop, job, noted)
    return fetched


#: So many open jobs are looked up at once.
_AT_ONCE = 50


def _open_jobs(shop: ShopContext) -> Iterator[Job]:
    """Every job that is open: an estimate of a closed one waits for no answer."""
    listed = shop.store.open_jobs(_AT_ONCE)
    while listed:
        yield from (shop.store.job(row.id) for row in listed)
        listed = shop.store.open_jobs(_AT_ONCE, listed[-1].began)


def _unanswered_estimates(shop: ShopContext, job: Job) -> Iterator[Noted[Estimated]]:
    """Estimates that are on the page and have no answer yet."""
    answered = {noted.record.document_hash for noted in job.approvals}
    for noted in job.estimates:
        links = shop.store.links(noted.record.document_id)
        if any(known.published_at for known in links) and noted.record.document_hash not in answered:
            yield noted


def _fetch(shop: ShopContext, job: Job, noted: Noted[Estimated]) -> Iterator[Fetched]:
    record = noted.record
    target, bearer = publishing.target_of(shop)
    token = publishing.token(shop, record.document_id, 1)
    data = answer_from(target, link.token_hash(token), bearer)
    if not data:
        return
    try:
        answer = open_answer(data, token)
        why = _why_void(shop, job, record, noted.entry.recorded, answer)
    except (PublishError, ValueError) as error:
        why = str(error)
    if why:
        yield Fetched(job=job.name, estimate=record.name, is_recorded=False, words=f"void: {why}")
        return
    keys = list(dict.fromkeys(str(line["operation"]) for line in record.lines))
    declined = [key for key, word in zip(keys, answer.words, strict=True) if word == "no"]
    if "" in declined:
        words = _without_diagnosis(shop, job, record, is_whole=len(declined) == len(keys))
        if words:
            yield Fetched(job=job.name, estimate=record.name, is_recorded=True, words=words)
        return
    estimate = estimate_named(shop, job_named(shop, job.id), record.name)
    if shop.jurisdiction.cancellation is not None and len(declined) < len(keys):
        words = (
            f"approved {ON_THE_PAGE}, and not recorded yet: ask what the customer says on the right to"
            f" cancel, then record it with `corekit approve {job.name} --total {estimate.total}"
            f' --how "{ON_THE_PAGE}" --cancellation …`'
        )
        yield Fetched(job=job.name, estimate=record.name, is_recorded=False, words=words)
        return
    approving.approve(
        shop,
        estimate,
        by="customer",
        how=ON_THE_PAGE,
        declined=declined,
        request_id=_request_id(record),
    )
    words = f"approved {ON_THE_PAGE}" + (f", without {len(declined)} of it" if declined else "")
    if len(declined) == len(keys):
        words = f"declined as a whole {ON_THE_PAGE}"
    yield Fetched(job=job.name, estimate=record.name, is_recorded=True, words=words)


def _without_diagnosis(shop: ShopContext, job: Job, record: Estimated, *, is_whole: bool) -> str:
    """Record that call-out and diagnosis were declined, and say what became of it; empty where that was done
    before.

    Without them nothing is looked at: a job in which nothing else was approved or asked has ended. Else the
    answer is noted, and the shop talks with its customer.
    """
    is_all = is_whole and not job.approvals and not set(job.approval.pending) - {record.name}
    if is_all:
        row: dict[str, Any] = {"ended": {"how": "declined", "because": f"The diagnosis, {ON_THE_PAGE}"}}
        words = f"declined as a whole {ON_THE_PAGE}, so the job has ended"
    else:
        what = "call-out and diagnosis" if is_whole else "call-out and diagnosis, but not all of the work"
        row = {"remarked": {"words": f"Declined {ON_THE_PAGE}: {what} of the estimate {record.name!r}."}}
        words = (
            f"declined {ON_THE_PAGE}: {what}; it is noted, and what becomes of the rest is for you to agree"
        )
    added = rows.add_rows(shop, job.id, {"step": [row]}, request_id=_request_id(record))
    return "" if added.again else words


def _request_id(record: Estimated) -> str:
    """Under which an answer is recorded, once."""
    return f"answer-{record.document_id}"


def _why_void(shop: ShopContext, job: Job, record: Estimated, made: str, answer: CustomerAnswer) -> str:
    """Why an answer does not count; empty where it does."""
    if (
        answer.document != record.document_hash
        or document_hash(from_data(record.document)) != answer.document
    ):
        return "it is about another estimate"
    newest = next(noted.record for noted in reversed(job.estimates) if noted.record.stage == record.stage)
    if newest.document_hash != record.document_hash:
        return f"the estimate {newest.name!r} stands in its place"
    given = datetime.fromisoformat(answer.given)
    if shop.settings.estimate_days and given > _expiry(shop, made):
        return "the estimate had expired"
    return "" if len(answer.words) == len({line["operation"] for line in record.lines}) else "it does not fit"


def _expiry(shop: ShopContext, made: str) -> datetime:
    """The end of the last day on which an estimate holds."""
    day = datetime.fromisoformat(made).astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    return day + timedelta(days=shop.settings.estimate_days + 1)


def _end(shop: ShopContext, estimate: Estimate) -> datetime | None:
    if not shop.settings.estimate_days:
        return None
    job = shop.store.job(estimate.job)
    noted = next(noted for noted in job.estimates if noted.record.document_id == estimate.document.id)
    return _expiry(shop, noted.entry.recorded)
