"""Where a job stands as far as its journal alone tells, for lists: nothing is assessed for it."""

from __future__ import annotations

from enum import StrEnum

from .job import Job
from .records import NOT_SEEN


class JobState(StrEnum):
    """What comes next in a job, or how it is over.

    `corekit.visit.progress` says it to the step, with an assessment: it tells a test from an explanation, and
    a test after the repair from handing over.
    """

    DIAGNOSIS = "diagnosis to approve"
    ARRIVE = "to arrive"
    TEST = "to test"
    ESTIMATE = "estimate to approve"
    REPAIR = "to repair"
    DONE = "work done"
    HAND_OVER = "to hand over"
    LEFT = "left open"
    INVOICED = "invoiced"
    OVER = "over"

    @property
    def is_closed(self) -> bool:
        """True when nothing is left to do and nothing to invoice."""
        return self in (JobState.INVOICED, JobState.OVER)


def state_of(job: Job) -> JobState:
    """Where a job stands."""
    if job.issued:
        return JobState.INVOICED
    if job.ended is not None and not job.approvals:
        return JobState.OVER
    if job.left_open is not None:
        return JobState.LEFT
    if job.ended is not None:
        return JobState.HAND_OVER
    stages = {noted.record.name: noted.record.stage for noted in job.estimates}
    if not job.approvals:
        return JobState.ESTIMATE if "repair" in stages.values() else JobState.DIAGNOSIS
    if job.vehicle.why_no_vin == NOT_SEEN:
        return JobState.ARRIVE
    approval = job.approval
    if any(stages[name] == "repair" for name in approval.pending):
        return JobState.ESTIMATE
    if approval.open:
        return JobState.REPAIR
    # What was done without anybody's approval was done to find out.
    repaired = any(noted.record.operation not in approval.unapproved for noted in job.repairs)
    if repaired or any(stages.get(noted.record.estimate) == "repair" for noted in job.approvals):
        return JobState.DONE
    return JobState.TEST
