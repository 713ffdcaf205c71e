"""Where a visit stands: which step comes next, from the job alone, so that a phone that died goes on where it
was.
"""

from __future__ import annotations

from collections.abc import Collection
from enum import StrEnum

import attrs

from ..assess.assessment import Assessment
from ..assess.proof import Proof
from ..billing.waiver import did_not_fix
from ..model.job import Job
from ..model.job_state import estimate_comes_first
from ..model.records import NOT_SEEN, Measured, Seen
from ..report.next_tests import named_tests
from .questions import NO_TOOL


class Step(StrEnum):
    """The steps of a visit, in the order in which they come."""

    ARRIVE = "arrive"
    DIAGNOSIS = "diagnosis"
    TEST = "test"
    EXPLAIN = "explain"
    ESTIMATE = "estimate"
    REPAIR = "repair"
    RETEST = "retest"
    HAND_OVER = "hand"


#: What the mechanic reads.
TITLES = {
    Step.ARRIVE: "Arrive",
    Step.DIAGNOSIS: "Approve diagnosis",
    Step.TEST: "Test",
    Step.EXPLAIN: "Explain",
    Step.ESTIMATE: "Repair estimate",
    Step.REPAIR: "Repair",
    Step.RETEST: "Test again",
    Step.HAND_OVER: "Hand over",
}


@attrs.frozen(kw_only=True)
class Standing:
    """A job's next step, and what is open in it.

    Attributes:
        pending: Printed names of estimates that have no answer yet, of each stage the latest.
        to_do: Operations that were approved and not done, in the order of the approvals.
        unshown: Operations that were done and that no retest speaks of yet.
        away: The last visit ended with the job open, and nobody has come again since.
    """

    step: Step
    pending: tuple[str, ...] = ()
    to_do: tuple[str, ...] = ()
    unshown: tuple[str, ...] = ()
    away: bool = False


def standing(job: Job, assessment: Assessment, to_find_out: Collection[str] = ()) -> Standing:
    """Where a job stands.

    Args:
        to_find_out: Operations that are harmless and may be done as a test; one that nobody approved leads
            back to testing.
    """
    pending, to_do = job.approval.pending, job.approval.open
    as_tests = set(job.approval.unapproved) & set(to_find_out)
    unshown = tuple(key for key in _unshown_work(job, assessment) if key not in as_tests)
    repaired = any(key not in as_tests for key in job.works_done)
    return Standing(
        step=_step(job, assessment, pending, to_do, unshown, repaired),
        pending=pending,
        to_do=to_do,
        unshown=unshown,
        away=job.left_open is not None,
    )


def _unshown_work(job: Job, assessment: Assessment) -> tuple[str, ...]:
    """Work that a reading could still show to have worked: not what no reading shows, nor what could not be
    read, nor what was given up.
    """
    given_up = did_not_fix(job)
    out_of_reach = {(noted.record.of, noted.record.stage) for noted in job.all(Seen) if noted.record.cannot}
    no_tool = tools_missing(job)
    unread = [
        repair
        for repair in assessment.repairs
        if repair.proof is Proof.NOT_YET or (repair.proof is Proof.NOT_SHOWN and repair.finding is None)
    ]
    return tuple(
        repair.operation
        for repair in unread
        if repair.retest
        and repair.operation not in given_up
        and repair.retest not in no_tool
        and not any((repair.retest, stage) in out_of_reach for stage in job.stages if stage >= repair.stage)
    )


def tools_missing(job: Job) -> frozenset[str]:
    """What was not read because there is no tool for it here: it is not asked for again in this job."""
    read = {noted.record.of for noted in job.all(Measured)}
    lacked = {noted.record.of for noted in job.all(Seen) if noted.record.cannot == NO_TOOL}
    return frozenset(lacked - read)


def _step(
    job: Job,
    assessment: Assessment,
    pending: tuple[str, ...],
    to_do: tuple[str, ...],
    unshown: tuple[str, ...],
    repaired: bool,
) -> Step:
    if (job.issued and not job.goes_on) or job.ended is not None:
        return Step.HAND_OVER
    if not job.approvals:
        return Step.ESTIMATE if estimate_comes_first(job) else Step.DIAGNOSIS
    if job.vehicle.why_no_vin == NOT_SEEN:
        return Step.ARRIVE
    stages = {noted.record.name: noted.record.stage for noted in job.estimates}
    if any(stages[name] == "repair" for name in pending):
        return Step.ESTIMATE
    if to_do:
        return Step.REPAIR
    if unshown:
        return Step.RETEST
    if repaired or any(stages.get(noted.record.estimate) == "repair" for noted in job.approvals):
        return Step.HAND_OVER
    if any(call.met for call in assessment.calls_at(job.stage)) and not named_tests(assessment.next_tests):
        return Step.EXPLAIN
    return Step.TEST
