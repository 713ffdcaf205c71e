"""What work may be offered, and what has to be invoiced."""

from __future__ import annotations

from ..assess.assessment import Assessment
from ..billing.consent import Standing
from ..billing.line import Ground, GroundKind, Line
from ..billing.offer import Asked
from ..model.finding import Finding
from ..model.job import Job
from ..plugin.host import Plugins


def asked_for(job: Job, assessment: Assessment, plugins: Plugins) -> list[Asked]:
    """Every operation that may be offered now, each with its one ground, most urgent first: what findings call for, then what was asked for."""
    asked: dict[str, Asked] = {}
    done = {noted.record.operation for noted in job.repairs}
    for finding in assessment.findings:
        if finding.stage == job.stage and finding.calls_for and assessment.may_offer(finding.calls_for, job.stage):
            asked.setdefault(finding.calls_for, ask(finding.calls_for, ground_of(finding), plugins))
    for noted in job.wanted:
        if noted.record.operation not in done:
            ground = Ground(kind=GroundKind(noted.record.ground), text=noted.record.because or "asked for", evidence=(noted.id,))
            asked.setdefault(noted.record.operation, ask(noted.record.operation, ground, plugins))
    return list(asked.values())


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
        grounds = [ground_of(finding) for finding in assessment.findings if finding.calls_for == operation and finding.stage < noted.record.stage]
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
