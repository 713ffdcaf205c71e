"""Destroying what a shop holds of a customer, once it need not be kept any longer."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from ..errors import CorekitError
from ..model.job import Job
from ..model.records import Issued
from . import paper, publishing
from .backup import forget_in_backups
from .context import ShopContext
from .dates import later_by_years
from .errors import DeskError
from .jobs import job_named

#: Why a person may be forgotten although the papers are to be kept longer: a closed list, since it stands in
#: the record for good.
EARLY_BECAUSE = ("the customer asked for it", "entered by mistake", "an authority asks for it")
#: What `forget` cannot reach, in sentences.
OUT_OF_REACH = (
    "Papers in the customer's hands and copies outside the shop's folder keep theirs; other vans theirs until"
    " they sync. A visit file that is read again begins a new job.",
    "Reasons for corrections typed into an older corekit stay in the record.",
)
_OLD_NAME = "What the job was called stays in the record: an older corekit wrote it there."


class RetentionError(DeskError):
    """The papers of a job must be kept longer, and nobody gave a reason to forget its customer before."""


class Forgot(dict[str, int]):
    """Kind of personal text → how many were destroyed.

    Attributes:
        withdrawn: How many pages were taken down.
        left: What could not be done, in sentences.
        called: What the job goes by from now on.
    """

    def __init__(self, counts: dict[str, int], withdrawn: int, left: tuple[str, ...], called: str) -> None:
        super().__init__(counts)
        self.withdrawn, self.left, self.called = withdrawn, left, called


def forget(shop: ShopContext, job: str, *, because: str = "") -> Forgot:
    """Destroy the persons of a job, in the store, on the papers and in the backups kept here, and take its
    pages down; the chain still verifies.

    Args:
        because: One of `EARLY_BECAUSE`, needed before the retention time is over.

    Raises:
        RetentionError: it is too early, and there is no such reason. Nothing was destroyed.
        StoreError: the shop may only be read.
    """
    record = job_named(shop, job)
    until = kept_until(shop, record)
    if until is not None and shop.clock().date() < until and because not in EARLY_BECAUSE:
        raise RetentionError(
            f"{record.name} has an invoice or a payment, and its papers are kept until {until.isoformat()}"
            f" (retention_years in shop.toml, or longer where the rules of its jurisdiction say so). To"
            f" forget its customer before, give one of these reasons:"
            f" {'; '.join(EARLY_BECAUSE)}. Nothing was destroyed."
        )
    shop.store.must_be_writable()
    left = paper.remove_papers(shop, record)
    counts = shop.store.forget(record.id, because=because)
    withdrawn = _withdraw(shop, record, left)
    forget_in_backups(shop.folder, record.id)
    if shop.store.names_of(record.id):
        left.append(_OLD_NAME)
    return Forgot(counts, withdrawn, tuple(left), shop.store.called(record.id))


def sweep_forgotten(shop: ShopContext) -> Iterator[str]:
    """Destroy what is left here of the persons of jobs that another van forgot: papers, pages, backups. Gives
    what could not be done, in sentences; it is tried again next time.
    """
    for id_ in shop.store.to_sweep():
        job = shop.store.job(id_)
        left = paper.remove_papers(shop, job)
        _withdraw(shop, job, left)
        forget_in_backups(shop.folder, id_)
        if left:
            yield from left
        else:
            shop.store.sweep(id_)


def kept_until(shop: ShopContext, job: Job) -> date | None:
    """The day until which the papers of a job are kept; None where nothing was invoiced or paid, and for an
    invented job.
    """
    papers = job.all(Issued)  # what was credited, and the credit notes, are kept as well
    if job.demo or not (papers or job.payments):
        return None
    recorded = [noted.entry.recorded for noted in papers]
    recorded += [noted.entry.recorded for noted in job.payments]
    asked = shop.jurisdiction.retention
    years = max(shop.settings.retention_years, asked.years if asked is not None else 0)
    return later_by_years(date.fromisoformat(max(recorded)[:10]), years)


def _withdraw(shop: ShopContext, job: Job, left: list[str]) -> int:
    issued = [noted.record.document_id for noted in job.all(Issued)]
    documents = {*issued, *(noted.record.document_id for noted in job.estimates)}
    try:
        for document in issued if shop.settings.page else ():
            publishing.noted_link(shop, document)  # what was never published is not published later either
    except CorekitError as error:
        left.append(str(error))
    count = 0
    for known in [link for document in sorted(documents) for link in shop.store.links(document)]:
        if known.revoked:
            continue
        try:
            publishing.take_down(shop, known)
            count += bool(known.published_at)
        except CorekitError as error:
            left.append(f"The page of link {known.link} could not be taken down: {error} Ask again.")
    return count
