"""Rows that a screen sends: those of a visit file, which go into the record one by one, each once, however
often they are sent.

They are read by the reader of visit files and become the same entries as if a file had said them. The reading
happens while nobody else can write, so that two phones that send at once see one job.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

import attrs

from ..billing.errors import ConsentError
from ..billing.payment import PaymentError
from ..fault import DataFault
from ..intake.fault import VisitError
from ..intake.rows import WHERE, read_rows, whole
from ..intake.visit import ApprovedRow, VisitFile
from ..model.entry import JOB, Draft, Entry, utc_text
from ..model.job import Job, fold
from ..model.mark import LETTERS
from ..model.records import Withdrawn, body_of
from ..store.errors import refusal
from ..store.matching import PROGRAM_KINDS, row_of
from ..store.requests import Request
from ..store.store import JOB_LETTERS
from . import approvals, paper, recording
from .context import ShopContext
from .errors import ApprovalError, DeskError
from .in_memory import entries_of
from .jobs import screen_origin, with_jobs_by_id

_RANDOM_ID = re.compile(f"[{LETTERS.lower()}]{{{JOB_LETTERS}}}")
#: These are said anew instead, or everything after them would lose its ground.
_NEVER_WITHDRAWN = frozenset({"opened", "vehicle", "customer", "instrument", "setup", "fitted", "approved"})
# What happens at a moment of its own, and not when it is written down.
_OBSERVED = frozenset(
    {
        "measured",
        "recorded",
        "seen",
        "codes",
        "tried",
        "complaint_again",
        "started",
        "arrived",
        "left",
        "ended",
        "approved",
        "repaired",
        "serviced",
        "paid",
    }
)
#: Rows that took longer than this to arrive were not said just now, [s].
LATE = 60.0
#: Chain of entries that are only tried: it sorts behind every chain of a store, as if they were written last.
TRIAL = "~trial"

_GONE = (
    "What was to be corrected does not stand any more: it was corrected or withdrawn meanwhile. Look at it"
    " again."
)


@attrs.frozen(kw_only=True)
class RowsResult:
    """What became of rows: id and name of their job, the entries they became; `again` when they came before,
    and nothing was added.
    """

    job: str
    name: str
    entries: tuple[Entry, ...]
    again: bool = False


@attrs.frozen(kw_only=True)
class JobPreview:
    """A job as it would be: `new` are the ids of the entries that are only tried, `texts` the personal texts
    of all, `remarks` what is odd but no fault.
    """

    job: Job
    new: tuple[str, ...]
    texts: Mapping[str, str]
    remarks: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class _Reading:
    """Rows as they were read: the drafts to write, and the name of their job."""

    name: str
    drafts: tuple[Draft, ...]
    remarks: tuple[str, ...]


def add_rows(
    shop: ShopContext, job: str | None, rows: Mapping[str, Any], *, request_id: str, waited: float = 0.0
) -> RowsResult:
    """Take in rows from a screen, read at the job's present stage: all of them or none.

    Args:
        job: The job by id or name; None, or an id of 12 letters that was drawn elsewhere, begins a new one
            with these rows.
        rows: The very tables that a visit file holds; `instead_of` beside them names the entry that one of
            the rows corrects.
        request_id: Made where they were typed, 16 to 64 letters, digits, `-` and `_`; the same rows sent
            again have the same.
        waited: How long they waited where they were typed, [s]. It is no part of what was said, so it may
            differ when the same rows come again.

    Raises:
        VisitError: every fault of the rows, each with its place.
        RequestConflictError: the same id came before with other rows.
    """
    rows = whole(rows)
    target = _target(shop, job)
    request = Request(id=request_id, content={"job": target if job else "", "rows": rows})
    with shop.store.transaction(target, request=request) as transaction:
        known = transaction.known
        if known is None:
            reading = _read_rows(shop, transaction.job, rows, waited)
            try:
                entries = recording.append(shop, transaction, reading.drafts)
            except (PaymentError, ConsentError, DeskError) as error:
                raise _at_its_row(error, reading) from error
            return RowsResult(job=target, name=reading.name, entries=tuple(entries))
    entries = [entry for entry in known.entries if entry.journal == JOB]
    return RowsResult(job=known.job, name=shop.store.job(known.job).name, entries=tuple(entries), again=True)


def withdraw_entry(shop: ShopContext, job: str, entry: str, because: str, *, request_id: str) -> RowsResult:
    """Withdraw an entry that stands, with the reason.

    Raises:
        DeskError: no reason was given, or the entry does not stand or is of a kind that is corrected
            instead.
        RequestConflictError: as `add_rows`.
    """
    if not because.strip():
        raise DeskError(
            "What was said is withdrawn with a reason, which stays in the record. Write why. Nothing was"
            " changed."
        )
    job = shop.store.find(job)
    request = Request(id=request_id, content={"withdraw": entry, "because": because})
    with shop.store.transaction(job, request=request) as transaction:
        standing, known = transaction.job, transaction.known
        assert standing is not None
        if known is not None:
            entries = [one for one in known.entries if one.journal == JOB]
            return RowsResult(job=known.job, name=standing.name, entries=tuple(entries), again=True)
        old = _standing_entry(standing, entry)
        if old is None:
            raise DeskError(
                f"Nothing under {entry[:12]!r} stands in {standing.name}; it was corrected or withdrawn"
                " meanwhile. Look at it again."
            )
        if old.kind in PROGRAM_KINDS | _NEVER_WITHDRAWN:
            raise DeskError(
                f"What was said of {old.kind!r} is not withdrawn; correct it instead. Nothing was changed."
            )
        drafts = [
            Draft(
                kind="withdrawn",
                subject=gone.subject,
                body=body_of(Withdrawn()),
                replaces=(gone.id,),
                reason=because.strip(),
            )
            for gone in (old, *_came_with(standing, old))
        ]
        entries = recording.append(shop, transaction, drafts)
    return RowsResult(job=job, name=standing.name, entries=tuple(entries))


def _came_with(job: Job, entry: Entry) -> list[Entry]:
    """What is withdrawn with an entry: with the last repair the traits of its new part, as long as nothing
    else was said after it.
    """
    if entry.kind != "repaired":
        return []
    stage = entry.body["stage"]
    after = [
        noted.entry
        for noted in job.standing
        if noted.entry.body.get("stage") == stage and noted.id != entry.id
    ]
    if stage != job.stage or any(other.kind != "fitted" for other in after):
        raise DeskError(
            "Readings or repairs followed this repair and rest on it. Withdraw those first, the last one"
            " first. Nothing was changed."
        )
    return after


def job_with(shop: ShopContext, job: str | None, rows: Mapping[str, Any]) -> JobPreview:
    """The job as it would be with these rows; nothing is written.

    Raises:
        VisitError: as `add_rows`.
    """
    rows = whole(rows)
    with shop.store.snapshot():
        target = _target(shop, job)
        standing = shop.store.job(target) if shop.store.has(target) else None
        reading = _read_rows(shop, standing, rows)
        try:
            recording.check(shop, standing, reading.drafts)
        except (PaymentError, ConsentError, DeskError) as error:
            raise _at_its_row(error, reading) from error
        texts = shop.store.texts(standing.persons()) if standing is not None else {}
    entries = entries_of(reading.drafts, target, TRIAL, texts, utc_text(shop.clock()))
    before = standing.entries if standing is not None else ()
    return JobPreview(
        job=fold(target, [*before, *entries], texts),
        new=tuple(entry.id for entry in entries),
        texts=texts,
        remarks=reading.remarks,
    )


def _target(shop: ShopContext, job: str | None) -> str:
    """The job that is meant; an id that was drawn elsewhere is a new one's."""
    if job is None:
        return shop.store.new_job()
    if shop.store.has(job) or _RANDOM_ID.fullmatch(job):
        return job
    return shop.store.find(job)


def _read_rows(shop: ShopContext, job: Job | None, rows: Mapping[str, Any], waited: float = 0.0) -> _Reading:
    """What the rows say anew in the job as it stands."""
    fragment = dict(rows)
    corrects = _to_correct(job, fragment.pop("instead_of", None))
    name = job.name if job is not None else _new_name(shop)
    key = screen_origin(shop, job) if job is not None else shop.store.rows_key(None, name)
    demo = job.demo if job is not None else shop.demo
    visit = read_rows(fragment, shop.declared, name=name, demo=demo, job=job, corrects=corrects)
    drafts = [*paper.instruments_for(visit, shop.settings), *_with_approvals(visit, job)]
    try:
        drafts = with_jobs_by_id(shop, job, drafts)
    except DeskError as error:
        raise refusal(str(error)) from error
    drafts = _backdated(drafts, shop.clock(), waited)
    if corrects is not None:
        same = [
            draft for draft in drafts if (draft.kind, draft.row) == (corrects.kind, row_of(corrects.subject))
        ]
        if len(same) != 1:
            why = (
                "A correction says one row of the same kind, stage and place as the entry it corrects; this"
                f" says {len(same)} of it."
            )
            raise _refusal("instead_of", why)
    result = shop.store.screen_additions(job, key, drafts, corrects)
    if result.faults:
        raise refusal("\n".join(result.faults))
    return _Reading(name=name, drafts=result.drafts, remarks=visit.remarks)


def _backdated(drafts: list[Draft], now: datetime, waited: float) -> list[Draft]:
    """What waited on its way in was observed that long ago: a test that was started an hour before the
    connection came back is an hour old. A time that was typed stays as it was typed.
    """
    if waited < LATE:
        return drafts
    then = utc_text(now - timedelta(seconds=waited))
    return [
        attrs.evolve(draft, taken=draft.taken or then) if draft.kind in _OBSERVED else draft
        for draft in drafts
    ]


def _new_name(shop: ShopContext) -> str:
    """Day and running number, as the first job of the day is called in `2026-11-25-1`."""
    day = f"{shop.now.date().isoformat()}-"
    taken = [name.removeprefix(day) for name in shop.store.names_beginning(day)]
    return f"{day}{1 + max((int(number) for number in taken if number.isdecimal()), default=0)}"


def _standing_entry(job: Job, entry: str) -> Entry | None:
    return next((noted.entry for noted in job.standing if noted.id == entry), None)


def _to_correct(job: Job | None, entry: object) -> Entry | None:
    """The entry whose place one of the rows takes."""
    if entry is None:
        return None
    old = _standing_entry(job, entry) if job is not None and isinstance(entry, str) else None
    if old is None:
        raise _refusal("instead_of", _GONE)
    if old.kind in PROGRAM_KINDS:
        raise _refusal("instead_of", f"What the program says itself ({old.kind}) is not corrected.")
    return old


def _with_approvals(visit: VisitFile, job: Job | None) -> list[Draft]:
    """The rows, each approval bound to its estimate."""
    drafts: list[Draft] = []
    for step in visit.steps:
        if isinstance(step, ApprovedRow):
            try:
                drafts.append(approvals.draft_of(job, approvals.ApprovalGiven.of(step)))
            except ApprovalError as error:
                at = f"{step.at}.{error.field}" if error.field else step.at
                raise _refusal(at, str(error)) from error
        else:
            drafts.append(step)
    return drafts


def _at_its_row(error: Exception, reading: _Reading) -> VisitError:
    """The same refusal, beside the row that it is about."""
    kind, field = ("paid", ".amount") if isinstance(error, PaymentError) else ("approved", "")
    at = next((draft.at for draft in reading.drafts if draft.kind == kind), "")
    return _refusal(f"{at}{field}" if at else "", str(error))


def _refusal(at: str, why: str) -> VisitError:
    return VisitError([DataFault(at, "", why)], WHERE)
