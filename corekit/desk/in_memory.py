"""A visit file as a job that is in no store: for `check`, and for drafts of papers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from ..intake.visit import ApprovedRow, VisitFile
from ..model.canonical import digest
from ..model.entry import JOB, Draft, Entry, seal, utc_text
from ..model.job import Job, fold
from ..model.personal import PersonalText
from ..model.records import with_kept_reason
from ..store.persons import FIRST_ROWS
from ..store.reconcile import reconcile
from .errors import DeskError

#: Id and chain of a job that is in no store.
JOB_ID = "file"


def scratch_job(
    visit: VisitFile, more: list[Draft] | None = None, *, now: datetime | None = None
) -> tuple[Job, dict[str, str]]:
    """The job that the file tells of, sealed in a chain of its own in memory, and its personal texts by
    reference.

    Approvals are left out: they are bound to estimates, and estimates are in a store.

    Args:
        now: This moment by the shop's clock; by the machine's when left out. What has no date of its own
            counts as said today. Ids are made of that too, so it is the day and not the second: the same file
            gives the same all day.
    """
    drafts = [*(more or []), *(step for step in visit.steps if not isinstance(step, ApprovedRow))]
    result = reconcile((), {}, FIRST_ROWS, drafts, called=visit.origin)
    if result.faults:
        raise DeskError(
            f"{visit.origin} cannot be read as a job:\n" + "\n".join(f"  {fault}" for fault in result.faults)
        )
    texts: dict[str, str] = {}
    today = utc_text((now or datetime.now().astimezone()).replace(hour=12, minute=0, second=0))
    return fold(JOB_ID, entries_of(result.drafts, JOB_ID, JOB_ID, texts, today), texts), texts


def entries_of(
    drafts: Sequence[Draft], job: str, chain: str, texts: dict[str, str], recorded: str
) -> list[Entry]:
    """Drafts as the entries they would be, in a chain in memory; their personal texts go into `texts`.

    Args:
        recorded: When, RFC 3339 UTC.
    """
    entries: list[Entry] = []
    latest: dict[str, str] = {}
    for n, draft in enumerate(drafts):
        earlier = latest.get(draft.subject)
        body, reason = with_kept_reason(draft.kind, draft.body, draft.reason)
        entry = seal(
            Entry(
                journal=JOB,
                job=job,
                chain=chain,
                n=n,
                prev=entries[-1].id if entries else "",
                kind=draft.kind,
                subject=draft.subject,
                body=referring(body, texts),
                recorded=recorded,
                taken=draft.taken,
                replaces=(*draft.replaces, *([earlier] if earlier else [])),
                reason=reason,
            )
        )
        entries.append(entry)
        latest[draft.subject] = entry.id
    return entries


def referring(data: Any, texts: dict[str, str]) -> Any:
    """Personal text exchanged for references, as a store does but without its salt: the same file gives the
    same draft.
    """
    if isinstance(data, PersonalText):
        key = digest([data.kind, data.text])
        texts[key] = data.text
        return {"personal": data.kind, "hash": key}
    if isinstance(data, dict):
        return {key: referring(item, texts) for key, item in data.items()}
    if isinstance(data, (list, tuple)):
        return [referring(item, texts) for item in data]
    return data
