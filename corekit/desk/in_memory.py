"""A visit file as a job that is in no store: for `check`, and for drafts of papers."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from ..intake.visit import AgreedRow, VisitFile
from ..model.canonical import digest
from ..model.entry import JOB, Draft, Entry, seal, utc_text
from ..model.job import Job, fold
from ..model.personal import PersonalText
from ..store.reconcile import reconcile
from .problem import DeskError


def scratch_job(visit: VisitFile, more: list[Draft] | None = None) -> tuple[Job, dict[str, str]]:
    """The job that the file tells of, sealed in a chain of its own in memory, and its personal texts by
    reference.

    Agreements are left out: they are bound to offers, and offers are in a store.
    """
    drafts = [*(more or []), *(step for step in visit.steps if not isinstance(step, AgreedRow))]
    result = reconcile((), {}, visit.origin, drafts)
    if result.faults:
        raise DeskError(
            f"{visit.origin} cannot be read as a job:\n" + "\n".join(f"  {fault}" for fault in result.faults)
        )
    texts: dict[str, str] = {}
    entries: list[Entry] = []
    recorded = utc_text(datetime.now(UTC))
    for place, statement in enumerate(result.statements):
        entry = Entry(
            journal=JOB,
            job="file",
            chain="file",
            n=place,
            prev=entries[-1].id if entries else "",
            kind=statement.kind,
            subject=statement.subject,
            body=referring(statement.body, texts),
            recorded=recorded,
            taken=statement.taken,
        )
        entries.append(seal(entry))
    return fold("file", entries), texts


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
