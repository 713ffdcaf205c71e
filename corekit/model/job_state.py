"""Where a job stands as far as its journal alone tells, for lists: nothing is assessed for it."""

from __future__ import annotations

from collections.abc import Collection
from enum import StrEnum

from .job import Job
from .own_work import is_own_work
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
    HANDED = "handed to another van"

    @property
    def is_closed(self) -> bool:
        """True when nothing is left to do and nothing to invoice, here at least."""
        return self in (JobState.INVOICED, JobState.OVER, JobState.HANDED)


def estimate_comes_first(job: Job) -> bool:
    """True where a job begins with the estimate of work: of a repair, or of work of the shop's own that was
    asked for before anybody spoke of a diagnosis.
    """
    stages = {noted.record.stage for noted in job.estimates}
    own = any(is_own_work(noted.record.operation) for noted in job.requested)
    return "repair" in stages or (own and not stages)


def state_of(job: Job, own: Collection[str] = ()) -> JobState:
    """Where a job stands.

    Args:
        own: Letters of the device that asks, where there are several; for the others a job is over once it
            was handed on.
    """
    if job.issued and not job.goes_on:
        return JobState.INVOICED
    if own and job.handed_to not in ("", *own):
        return JobState.HANDED
    if job.ended is not None and not job.approvals:
        return JobState.OVER
    if job.left_open is not None:
        return JobState.LEFT
    if job.ended is not None:
        return JobState.HAND_OVER
    stages = {noted.record.name: noted.record.stage for noted in job.estimates}
    if not job.approvals:
        return JobState.ESTIMATE if estimate_comes_first(job) else JobState.DIAGNOSIS
    if job.vehicle.why_no_vin == NOT_SEEN:
        return JobState.ARRIVE
    approval = job.approval
    if any(stages[name] == "repair" for name in approval.pending):
        return JobState.ESTIMATE
    if approval.open:
        return JobState.REPAIR
    # What was done without anybody's approval was done to find out.
    repaired = any(key not in approval.unapproved for key in job.works_done)
    if repaired or any(stages.get(noted.record.estimate) == "repair" for noted in job.approvals):
        return JobState.DONE
    return JobState.TEST
