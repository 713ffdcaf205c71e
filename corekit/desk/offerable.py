"""What work may be proposed, and what has to be invoiced."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import attrs

from ..assess.assessment import Assessment
from ..billing.approval import ApprovedWork
from ..billing.book import PriceBook
from ..billing.change import with_changes
from ..billing.discount import with_discounts
from ..billing.errors import ConsentError
from ..billing.estimate import WorkItem
from ..billing.invoiced import is_charged
from ..billing.line import Ground, GroundKind, Line
from ..billing.waiver import waive, waivers
from ..model.finding import Finding, Verdict
from ..model.job import Job
from ..model.money import Money
from ..model.records import Requested
from ..plugin.host import Plugins
from .errors import DeskError


def requested_work(job: Job, assessment: Assessment, plugins: Plugins) -> list[WorkItem]:
    """Every operation that may be proposed now, each with its one ground, most urgent first: what findings
    call for, then what a trial has shown, then what was asked for.
    """
    asked: dict[str, WorkItem] = {}
    done = set(job.works_done)
    now = [finding for finding in assessment.findings if finding.stage == job.stage]
    for finding in now:
        operation = finding.calls_for
        if operation and operation not in asked and assessment.may_propose(operation, job.stage):
            asked[operation] = ask(operation, ground_of(strongest(now, operation)), plugins)
    for call in assessment.calls_at(job.stage):
        if call.met and call.operation not in asked:
            ground = Ground(kind=GroundKind.JUDGEMENT, text=call.why)
            asked[call.operation] = ask(call.operation, ground, plugins)
    for noted in job.requested:
        if noted.record.operation not in done:
            asked.setdefault(
                noted.record.operation,
                ask(noted.record.operation, ground_of_wish(noted.record, (noted.id,)), plugins),
            )
    return list(asked.values())


def left_in(asked: Sequence[WorkItem], without: Collection[str]) -> list[WorkItem]:
    """The work that is proposed when these operations are left out.

    Raises:
        DeskError: one of them could not be proposed anyway, or nothing is left.
    """
    strange = sorted(set(without) - {one.operation for one in asked})
    if strange:
        raise DeskError(
            f"{', '.join(strange)}: cannot be proposed now, so it cannot be left out either. Look at the"
            " estimate again."
        )
    kept = [one for one in asked if one.operation not in without]
    if asked and not kept:
        raise DeskError("Everything that could be proposed was left out, so there is nothing to estimate.")
    return kept


def strongest(findings: Sequence[Finding], operation: str) -> Finding:
    """Of all findings that speak for an operation the first that decides, else the first that advises: a line
    has one ground.
    """
    speaking = [finding for finding in findings if finding.calls_for == operation]
    return next((finding for finding in speaking if finding.verdict is Verdict.FAIL), speaking[0])


def ground_of(finding: Finding) -> Ground:
    return Ground(
        kind=GroundKind.FINDING, text=str(finding.text), finding_code=finding.code, evidence=finding.evidence
    )


def ground_of_wish(requested: Requested, evidence: tuple[str, ...] = ()) -> Ground:
    origin = f"of what invoice {requested.invoice} was for" if requested.invoice else "asked for"
    text = (
        f"{origin}: {requested.because}"
        if requested.invoice and requested.because
        else requested.because or origin
    )
    return Ground(kind=GroundKind(requested.ground), text=text, evidence=evidence)


def ask(operation: str, ground: Ground, plugins: Plugins) -> WorkItem:
    declared = plugins.operations.get(operation)
    return WorkItem(
        operation=operation,
        title=plugins.title(operation),
        ground=ground,
        shown_by=plugins.title(declared.shown_by) if declared else "",
    )


def done_without_estimate(job: Job, assessment: Assessment, plugins: Plugins) -> list[WorkItem]:
    """For a draft: every repair in the journal with the ground there is for it."""
    asked: dict[str, WorkItem] = {}
    wanted = {noted.record.operation: noted.record for noted in job.requested}
    stages = {noted.record.operation: noted.record.stage for noted in job.repairs}
    for operation in job.works_done:
        begun = stages.get(operation, job.stage + 1)
        speaking = [
            finding
            for finding in assessment.findings
            if finding.calls_for == operation and finding.stage < begun
        ]
        grounds = [ground_of(strongest(speaking, operation))] if speaking else []
        if not grounds and operation in wanted:
            grounds = [ground_of_wish(wanted[operation])]
        if not grounds:
            grounds = [Ground(kind=GroundKind.JUDGEMENT, text="no recorded finding or request speaks for it")]
        asked.setdefault(operation, ask(operation, grounds[0], plugins))
    return list(asked.values())


def not_ended(job: Job) -> None:
    """Refuse to price anything more in a job that came to its end.

    Raises:
        DeskError: it has ended.
    """
    if job.ended is not None:
        raise DeskError(
            f"{job.name} has ended ({job.ended.record.how}: {job.ended.record.because}), so nothing more is"
            " proposed in it. If it goes on after all, withdraw that end with a reason, then ask again."
        )


def cap_of(book: PriceBook) -> Money | None:
    """The most that call-out and diagnosis may come to before tax, where the price book says so."""
    return Money.of(book.diagnosis_cap, book.currency) if book.diagnosis_cap is not None else None


def approved_before(job: Job, book: PriceBook) -> Money | None:
    """What was approved so far, to stand beside what a new estimate asks for.

    None where nobody can say it any more, because tax rates have changed since: the invoice refuses that by
    name, and a new estimate is the way out of it.
    """
    try:
        return ApprovedWork.of(job, book).total
    except ConsentError:
        return None


def to_invoice(job: Job, work: ApprovedWork, assessment: Assessment) -> tuple[Line, ...]:
    """The approved lines whose work was done: call-out and diagnosis always, an operation once it stands in
    the journal.

    What is waived stays visible at no charge; a job without a fault found pays for the call-out and not
    for the diagnosis; and a line claims no finding that its evidence does not bear out any more.
    """
    approved = [line for line in work.done if line.operation or is_charged(line, job)]
    lines = with_discounts(
        with_changes(approved, [noted.record for noted in job.charged]),
        [noted.record for noted in job.discounted],
    )
    return waive((line_with_ground(line, job, assessment) for line in lines), waivers(job))


def line_with_ground(line: Line, job: Job, assessment: Assessment) -> Line:
    """The line as estimated while its evidence stands; else with the ground that there is today, or with why
    there is none any more.
    """
    gone = [entry for one in line.ground.evidence if (entry := job.instead_of(one)) is not None]
    if not gone:
        return line
    done = min(
        (noted.record.stage for noted in job.repairs if noted.record.operation == line.operation),
        default=job.stage + 1,
    )
    speaking = [
        finding
        for finding in assessment.findings
        if finding.calls_for == line.operation and finding.stage < done
    ]
    if line.ground.finding_code and any(
        assessment.may_propose(line.operation, finding.stage) for finding in speaking
    ):
        return attrs.evolve(line, ground=ground_of(strongest(speaking, line.operation)))
    withdrawn = next((entry for entry in gone if entry.kind == "withdrawn"), None)
    if not line.ground.finding_code:
        if withdrawn is None:
            return attrs.evolve(line, ground=ground_of_wish(Requested(**gone[-1].body), (gone[-1].id,)))
        why = f"withdrawn since: {withdrawn.reason}"
    else:
        why = (
            f"A finding that was withdrawn since: {withdrawn.reason}"
            if withdrawn
            else "A finding that a correction since does not bear out"
        )
    return attrs.evolve(line, ground=attrs.evolve(line.ground, text=why))
