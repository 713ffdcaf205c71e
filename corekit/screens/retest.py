"""What the screen of a test after a repair says of the repair: what the readings said before it, and what is
still to show it.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..desk.assessing import Assessment, Plugins, Proof, Reading, RepairProof
from ..model.job import Job
from .test_options import TestOptions


@attrs.frozen(kw_only=True)
class Shows:
    """The repair that a reading is to show: what was done, what the readings said before it, with what they
    were taken, what they say by now.
    """

    title: str
    before: tuple[tuple[str, str], ...]
    proof: str
    why: str


def shown_by(repair: RepairProof, plugins: Plugins) -> str:
    """The measurand that is still to show this repair; empty when a reading speaks of it already, or none
    can.
    """
    operation = plugins.operations.get(repair.operation)
    done = repair.proof is Proof.SHOWN or repair.finding is not None or operation is None
    return "" if done or operation is None else repair.retest


def arrival(assessment: Assessment, key: str) -> list[Reading]:
    """The readings of the measurand before the present stage, the latest of each place."""
    found: dict[str, Reading] = {}
    for stage in assessment.readings[: assessment.job.stage]:
        found |= {reading.place: reading for reading in stage if reading.measurand.key == key}
    return list(found.values())


def shown_repair(repair: RepairProof, before: Sequence[Reading]) -> Shows:
    rows = []
    for reading in before:
        beside = ", ".join(one.typed.strip() for one in reading.setup.values())
        at = f", {reading.place}" if reading.place else ""
        rows.append(
            (
                f"{reading.measurand.title}{at}",
                f"{reading.typed.strip()}{f', at {beside}' if beside else ''}",
            )
        )
    return Shows(title=repair.title, before=tuple(rows), proof=str(repair.proof), why=repair.why)


def again_path(job: Job, repair: RepairProof, wishes: TestOptions) -> str:
    """Where the reading that shows a repair is taken once more; empty when none can show it."""
    return wishes.path(job, f"test/{repair.retest}") if repair.retest else ""
