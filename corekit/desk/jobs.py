"""The jobs of a shop as its record tells them: which there are, their personal texts and pictures, photos."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence

import attrs

from ..model.entry import Draft, Entry, jobs_of, own_subject
from ..model.job import Job
from ..model.money import Money
from ..model.personal import PICTURE_KINDS, Personal, PersonalText
from ..model.records import Arrived, Photographed, body_of
from ..store.errors import StoreError
from ..store.list_rows import JobRow
from ..store.mark import random_id
from ..store.persons import SCREEN
from .context import ShopContext, request_of
from .errors import DeskError

__all__ = [
    "JobRow",
    "amount_due",
    "billed_with",
    "closed_jobs",
    "continue_restored",
    "job_named",
    "job_with_id",
    "jobs_of_same_customer",
    "names_in_books",
    "new_job_id",
    "open_jobs",
    "order_numbers",
    "photograph",
    "pictures_of",
    "screen_origin",
    "texts_of",
    "with_jobs_by_id",
]


def job_named(shop: ShopContext, name: str) -> Job:
    """The job that a name, an id or the beginning of one means.

    Raises:
        StoreError: nothing or more than one job fits.
    """
    return shop.store.job(shop.store.find(name))


def job_with_id(shop: ShopContext, job: str) -> Job:
    """The job of this very id.

    Raises:
        StoreError: there is none.
    """
    return shop.store.job(job)


def new_job_id(shop: ShopContext) -> str:
    """An id for a job that is to begin."""
    return shop.store.new_job()


def open_jobs(shop: ShopContext, most: int, before: int | None = None) -> list[JobRow]:
    """Jobs that are open, the newest first, from the list: nothing is assessed for it.

    Args:
        most: So many of them at most.
        before: Of those that began before the one of this `began`.
    """
    return shop.store.open_jobs(most, before)


def closed_jobs(shop: ShopContext, most: int, before: int | None = None) -> list[JobRow]:
    """Jobs that are on an invoice or over, the latest first; as `open_jobs`, by `closed`."""
    return shop.store.closed_jobs(most, before)


def jobs_of_same_customer(shop: ShopContext, job: Job) -> list[JobRow]:
    """The other jobs of this customer that something was approved in and that are on no invoice yet."""
    return shop.store.jobs_of_same_customer(job.id)


def amount_due(shop: ShopContext, job: JobRow) -> Money:
    """What is still to be paid for the invoice that a job of the list is on; nothing where it is on none."""
    minor, currency = shop.store.owed(job.books_entry) or (0, shop.prices.currency)
    return Money(minor, currency)


def screen_origin(shop: ShopContext, job: Job) -> str:
    """What the screens' rows of a job stand under: what it began under, if that was a screen; else something
    that no file's rows stand under, for a file keeps its own.
    """
    first = next(entry for entry in job.entries if entry.kind == "opened")
    key = first.subject.partition(":")[0]
    return key if first.id in shop.store.by_requests(job.id) else f"{key}{SCREEN}"


def names_in_books(shop: ShopContext, entry: Entry) -> str:
    """What the jobs of an entry of the books are called; as it says itself, in books of before."""
    said = str(entry.body.get("job_name") or "")
    return said or ", ".join(shop.store.called(job) for job in jobs_of(entry))


def with_jobs_by_id(shop: ShopContext, job: Job | None, drafts: Iterable[Draft]) -> list[Draft]:
    """The drafts, with another job that one of them names by its id: what a job is called is forgotten with
    its customer, and stands in no other job.

    Raises:
        DeskError: there is no such job, or more than one.
    """
    known = [noted.record.same_trip_as for noted in job.all(Arrived)] if job is not None else []
    return [
        attrs.evolve(draft, body={**draft.body, "same_trip_as": _job_meant(shop, name, known, draft.at)})
        if draft.kind == "arrived" and (name := draft.body.get("same_trip_as"))
        else draft
        for draft in drafts
    ]


def _job_meant(shop: ShopContext, name: str, known: Sequence[str], at: str) -> str:
    if name in known:  # as a journal of before says it
        return name
    try:
        return shop.store.find(name)
    except StoreError as error:
        forgotten = [id_ for id_ in known if id_ and shop.store.has(id_) and not shop.store.names_of(id_)]
        if forgotten:
            return forgotten[-1]
        raise DeskError(f"{at}.same_trip_as: {error}" if at else str(error)) from error


def billed_with(shop: ShopContext, job: Job) -> list[Job]:
    """The jobs that share an invoice with this one, in the order in which it tells of them; the job alone
    where it has none, or one of its own.
    """
    ids = shop.store.invoice(job.issued[-1].record.number).body.get("jobs", ()) if job.issued else ()
    return [job if id_ == job.id else shop.store.job(id_) for id_ in ids] or [job]


def order_numbers(shop: ShopContext, jobs: Sequence[Job]) -> list[str]:
    """The customer's order numbers in these jobs, each once; empty where a job has none."""
    said = [
        shop.store.text(number.hash) if isinstance(number := job.customer.order_number, Personal) else ""
        for job in jobs
    ]
    return list(dict.fromkeys(text or "" for text in said))


def texts_of(shop: ShopContext, *jobs: Job | JobRow) -> dict[str, str]:
    """The personal texts of jobs, by hash; pictures, which are long, only where `pictures_of` asks for
    them.
    """
    return shop.store.texts(ref for job in jobs for ref in job.persons())


def pictures_of(shop: ShopContext, job: Job, *kinds: str) -> dict[str, str]:
    """The pictures of a job as they were kept, by hash: photos and signatures, or only one of these
    kinds.
    """
    return shop.store.texts(job.persons(*(kinds or PICTURE_KINDS)))


def photograph(
    shop: ShopContext,
    job: str,
    image: str,
    *,
    of: str = "",
    place: str = "",
    what: str = "",
    request_id: str = "",
) -> Entry:
    """Keep a photo with the persons of a job, at its present stage.

    Args:
        image: The picture as base64 text, checked and re-encoded by whoever took it in.
        of, place: Key of the reading or observation that it shows, and where; empty for the vehicle.
        what: What it shows, in words.
        request_id: Of what brings it; brought under it again, it adds nothing.

    Raises:
        DeskError: there is no picture, or no system knows what it shows.
        RequestConflictError: the id is another request's.
    """
    if not image:
        raise DeskError("There is no picture in this photo. Nothing was kept.")
    if of and of not in {**shop.plugins.measurands, **shop.plugins.observations}:
        raise DeskError(
            f"No installed system knows {of!r}, which the photo is said to show. Nothing was kept."
        )
    job = shop.store.find(job)
    content = {
        "photo": hashlib.sha256(image.encode()).hexdigest(),
        "job": job,
        "of": of,
        "place": place,
        "what": what,
    }
    with shop.store.transaction(job, request=request_of(request_id, content)) as transaction:
        if transaction.known is not None:
            return transaction.known.entries[0]
        assert transaction.job is not None
        photo = Photographed(
            image=PersonalText("photo", image),
            of=of,
            place=place,
            stage=transaction.job.stage,
            what=PersonalText("note", what) if what.strip() else None,
        )
        subject = own_subject("photo", random_id(12))
        return transaction.append([Draft(kind="photo", subject=subject, body=body_of(photo))])[0]


def continue_restored(shop: ShopContext) -> tuple[str, str]:
    """Go on in a chain of a new name and under new letters, because this store is a restored copy and the
    other one may still be written to; gives both.
    """
    return shop.store.continue_restored()
