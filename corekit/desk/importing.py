"""Visit files on their way into the record."""

from __future__ import annotations

import re
from pathlib import Path

import attrs

from ..billing.errors import ConsentError
from ..billing.payment import PaymentError
from ..intake.visit import ApprovedRow, VisitFile, read_visit
from ..model.entry import Draft
from ..model.job import Job
from ..model.personal import PersonalText
from . import approvals, paper, recording
from .context import ShopContext
from .errors import ApprovalError, DeskError, EstimateAwaitedError

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
        if known is None:
            _refuse_name_of_a_person(visit)
        target = known or shop.store.new_job()
        with shop.store.transaction(target) as transaction:
            standing = transaction.job
            rows, awaited = _with_approvals(visit, standing)
            instruments = paper.instruments_for(visit, shop.settings, standing)
            result = shop.store.file_additions(standing, visit.origin, [*instruments, *rows])
            if result.faults:
                raise DeskError(
                    f"{visit.origin} was not added:\n" + "\n".join(f"  {fault}" for fault in result.faults)
                )
            try:
                recording.append(shop, transaction, visit.origin, result.drafts)
            except (DeskError, ConsentError, PaymentError) as error:
                raise type(error)(f"{error} {NOTHING_ADDED}") from error
    if awaited is not None:
        made = [noted.record.name for noted in standing.estimates] if standing is not None else []
        raise EstimateAwaitedError(target, visit.origin, awaited, made)
    withdrawn = sum(draft.kind == "withdrawn" for draft in result.drafts)
    corrected = sum(bool(draft.replaces) for draft in result.drafts if draft.kind != "withdrawn")
    added = len(result.drafts) - corrected - withdrawn
    return ImportResult(job=target, added=added, corrected=corrected, withdrawn=withdrawn)


def _refuse_name_of_a_person(visit: VisitFile) -> None:
    """A job's name stays in the record, also once its customer was forgotten.

    Raises:
        DeskError: something of the customer or the vehicle stands in it.
    """
    called = _words(visit.origin)
    for row in visit.drafts:
        for value in row.body.values():
            if not isinstance(value, PersonalText) or value.kind not in _NAMING:
                continue
            told = _words(value.text)
            named = value.kind == "name" and any(len(word) >= _TELLING and word in called for word in told)
            if named or (len("".join(told)) >= _TELLING and "".join(told) in "".join(called)):
                raise DeskError(
                    f"{visit.origin!r} holds the customer's {value.kind}. What a job is called stays in the"
                    " record for good, also once its customer is forgotten: call it by what is wrong with the"
                    f" vehicle, or by a number. {NOTHING_ADDED}"
                )


#: Kinds of personal text that are looked for in a job's name; what has fewer letters may be there by chance.
_NAMING = ("name", "phone", "plate", "vin")
_TELLING = 4


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W_]+", text.casefold())


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
