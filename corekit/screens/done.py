"""What is done of each step of a visit, in a few words, for the list of steps."""

from __future__ import annotations

from ..model.job import Job
from ..visit.progress import Step


def done_steps(job: Job) -> dict[Step, str]:
    """Each step that something is on record of → what; explaining leaves nothing behind."""
    stages = {noted.record.name: noted.record.stage for noted in job.estimates}
    approved = {stages.get(noted.record.estimate) for noted in job.approvals}
    spoken = [len(job.spoken_of(stage)) for stage in job.stages]
    done = {Step.ARRIVE: ""}
    if "diagnosis" in approved:
        done[Step.DIAGNOSIS] = "approved"
    if spoken and spoken[0]:
        done[Step.TEST] = _count_words(spoken[0], "thing read or looked at", "things read or looked at")
    if "repair" in approved:
        done[Step.ESTIMATE] = "approved"
    if job.works_done:
        done[Step.REPAIR] = _count_words(
            len(job.repairs) + len(job.serviced), "piece of work done", "pieces of work done"
        )
    if len(spoken) > 1 and any(spoken[1:]):
        done[Step.RETEST] = _count_words(
            sum(spoken[1:]), "thing read or looked at", "things read or looked at"
        )
    if job.issued:
        done[Step.HAND_OVER] = f"invoice {job.issued[-1].record.number}"
    return done


def _count_words(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"
