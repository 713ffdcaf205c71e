"""What work may be offered, and what has to be invoiced."""

from __future__ import annotations

from collections.abc import Sequence

from ..assess.assessment import Assessment
from ..billing.consent import Standing
from ..billing.line import Ground, GroundKind, Line
from ..billing.offer import Asked
from ..model.finding import Finding, Verdict
from ..model.job import Job
from ..plugin.host import Plugins


def asked_for(job: Job, assessment: Assessment, plugins: Plugins) -> list[Asked]:
    """Every operation that may be offered now, each with its one ground, most urgent first: what findings call for, then what was asked for."""
    asked: dict[str, Asked] = {}
    done = {noted.record.operation for noted in job.repairs}
    now = [finding for finding in assessment.findings if finding.stage == job.stage]
    for finding in now:
        operation = finding.calls_for
        if operation and operation not in asked and assessment.may_offer(operation, job.stage):
            asked[operation] = ask(operation, ground_of(strongest(now, operation)), plugins)
    for noted in job.wanted:
        if noted.record.operation not in done:
            ground = Ground(kind=GroundKind(noted.record.ground), text=noted.record.because or "asked for", evidence=(noted.id,))
            asked.setdefault(noted.record.operation, ask(noted.record.operation, ground, plugins))
    return list(asked.values())


def strongest(findings: Sequence[Finding], operation: str) -> Finding:
    """Of all findings that speak for an operation the first that decides, else the first that advises: a line has one ground."""
    speaking = [finding for finding in findings if finding.calls_for == operation]
    return next((finding for finding in speaking if finding.verdict is Verdict.FAIL), speaking[0])


def ground_of(finding: Finding) -> Ground:
    return Ground(kind=GroundKind.FINDING, text=str(finding.text), finding_code=finding.code, evidence=finding.evidence)


def ask(operation: str, ground: Ground, plugins: Plugins) -> Asked:
    declared = plugins.operations.get(operation)
    shown_by = plugins.measurands.get(declared.shown_by) if declared else None
    return Asked(operation=operation, title=declared.title if declared else operation, ground=ground, shown_by=shown_by.title if shown_by else "")


def done_without_offer(job: Job, assessment: Assessment, plugins: Plugins) -> list[Asked]:
    """For a draft: every repair in the journal with the ground there is for it."""
    asked: dict[str, Asked] = {}
    wanted = {noted.record.operation: noted.record for noted in job.wanted}
    for noted in job.repairs:
        operation = noted.record.operation
        speaking = [finding for finding in assessment.findings if finding.calls_for == operation and finding.stage < noted.record.stage]
        grounds = [ground_of(strongest(speaking, operation))] if speaking else []
        if not grounds and operation in wanted:
            grounds = [Ground(kind=GroundKind(wanted[operation].ground), text=wanted[operation].because or "asked for")]
        if not grounds:
            grounds = [Ground(kind=GroundKind.JUDGEMENT, text="no finding and no request on record speaks for it")]
        asked.setdefault(operation, ask(operation, grounds[0], plugins))
    return list(asked.values())


def to_invoice(job: Job, standing: Standing) -> tuple[Line, ...]:
    """The agreed lines whose work was done: coming and looking always, an operation once it stands in the journal."""
    done = {noted.record.operation for noted in job.repairs}
    return tuple(line for line in standing.lines if not line.operation or line.operation in done)
