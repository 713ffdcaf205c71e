"""Visit files on their way into the record."""

from __future__ import annotations

from pathlib import Path

import attrs

from ..billing.errors import ConsentError
from ..billing.payment import PaymentError
from ..intake.visit import ApprovedRow, VisitFile, read_visit
from ..model.entry import Draft
from ..model.job import Job, name_said
from . import approvals, paper, recording
from .context import ShopContext
from .errors import ApprovalError, DeskError, EstimateAwaitedError
from .jobs import with_jobs_by_id

#: What a file is told besides why: it goes in whole or not at all.
NOTHING_ADDED = "Nothing was added."


@attrs.frozen(kw_only=True)
class ImportResult:
    """What an import did."""

    job: str
    added: int
    corrected: int
    withdrawn: int


def read(shop: ShopContext, path: str | Path) -> VisitFile:
    """What a visit file says, with this shop's instruments and currency; nothing is added.

    Raises:
        VisitError: everything that is wrong with the file, at once.
    """
    return read_visit(Path(path), shop.declared)


def add(shop: ShopContext, visit: VisitFile, job: str | None = None) -> ImportResult:
    """Add what a visit file says to the record, or what has changed in it since.

    Args:
        job: The job that it belongs to, where the file has another name for it.

    Raises:
        EstimateAwaitedError: it approves an estimate that was not made; everything before that is kept.
        DeskError, ConsentError, PaymentError: something in it may not be written, or it is a demo file in a
            real store; nothing is added.
    """
    if visit.demo and not shop.demo:
        raise DeskError(
            f"{visit.origin} is marked demo = true, and this store is a real one: nothing was added. Demo"
            " files belong to `corekit demo`."
        )
    with shop.lock:
        # The job that a file of this name was added to, under the job's own name or as a further file of it.
        known = shop.store.find(job) if job else shop.store.job_called(visit.origin)
        target = known or shop.store.new_job()
        with shop.store.transaction(target) as transaction:
            standing = transaction.job
            key = shop.store.rows_key(standing, visit.origin)
            rows, awaited = _with_approvals(visit, standing)
            instruments = paper.instruments_for(visit, shop.settings, standing, key)
            rows = [*instruments, *_as_begun(with_jobs_by_id(shop, standing, rows), standing, key)]
            result = shop.store.file_additions(standing, key, rows, visit.origin)
            if result.faults:
                raise DeskError(
                    f"{visit.origin} was not added:\n" + "\n".join(f"  {fault}" for fault in result.faults)
                )
            try:
                recording.append(shop, transaction, result.drafts)
            except (DeskError, ConsentError, PaymentError) as error:
                raise type(error)(f"{error} {NOTHING_ADDED}") from error
    if awaited is not None:
        made = [noted.record.name for noted in standing.estimates] if standing is not None else []
        raise EstimateAwaitedError(target, visit.origin, awaited, made)
    withdrawn = sum(draft.kind == "withdrawn" for draft in result.drafts)
    corrected = sum(bool(draft.replaces) for draft in result.drafts if draft.kind != "withdrawn")
    added = len(result.drafts) - corrected - withdrawn
    return ImportResult(job=target, added=added, corrected=corrected, withdrawn=withdrawn)


def _as_begun(drafts: list[Draft], job: Job | None, key: str) -> list[Draft]:
    """The drafts, with the job's name in the form in which its journal has it: one of before has it in plain
    text, and the same file adds nothing to it.
    """
    opened = [entry for entry in job.entries if entry.kind == "opened"] if job is not None else []
    if not any(
        entry.subject.startswith(f"{key}:") and isinstance(entry.body.get("origin"), str) for entry in opened
    ):
        return drafts
    return [
        attrs.evolve(draft, body={**draft.body, "origin": name_said(draft.body["origin"], {})})
        if draft.kind == "opened"
        else draft
        for draft in drafts
    ]


def _with_approvals(visit: VisitFile, job: Job | None) -> tuple[list[Draft], str | None]:
    """The file's rows, each approval bound to its estimate; and the first estimate still to be made."""
    drafts: list[Draft] = []
    for step in visit.steps:
        if not isinstance(step, ApprovedRow):
            drafts.append(step)
            continue
        if approvals.estimated_under(job, step.estimate) is None:
            return drafts, step.estimate
        try:
            drafts.append(approvals.draft_of(job, approvals.ApprovalGiven.of(step)))
        except ApprovalError as error:
            at = f"{step.at}.{error.field}" if error.field else step.at
            raise ApprovalError(f"{at}: {error} {NOTHING_ADDED}", error.field) from error
    return drafts, None
