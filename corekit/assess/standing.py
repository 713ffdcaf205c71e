"""What an earlier stage read and nothing has touched since: it stands beside what is read after a repair.

A zero signal that was read before the passage was cleaned is still that sensor's zero. It is held beside a
reading of today and never repeated as a finding of today.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs

from ..model.finding import Finding, Gap
from ..model.job import Job
from ..model.measurand import Measurand, Observation, answer_in
from ..plugin.case import Case, Sighting
from ..plugin.check import Check
from ..plugin.host import Plugins
from ..plugin.reading import Reading, readings_at
from .timeline import positions


@attrs.frozen(kw_only=True)
class Standing:
    """What earlier stages read or saw, and still holds at this one."""

    readings: Mapping[tuple[str, str], Reading] = attrs.field(factory=dict)
    sightings: Mapping[tuple[str, str], Sighting] = attrs.field(factory=dict)

    def beside(self, check: Check[Any], case: Case) -> Case | None:
        """The case with what stands beside what this stage read; None where the check asks for nothing of
        the one or nothing of the other.
        """
        asked = {parameter.of.key for parameter in check.parameters}
        readings = {at: one for at, one in self.readings.items() if at[0] in asked}
        sightings = {at: one for at, one in self.sightings.items() if at[0] in asked}
        if not (readings or sightings) or asked.isdisjoint(key for key, _ in _read_now(case)):
            return None
        return attrs.evolve(
            case, readings={**readings, **case.readings}, sightings={**sightings, **case.sightings}
        )


def speaks_of_now(result: Finding | Gap, case: Case) -> bool:
    """Whether a finding is about something that this stage read: what stands from before is no news."""
    if isinstance(result, Gap):
        return False
    now = _read_now(case)
    if result.of:
        return (result.of, result.place) in now
    return not set(result.evidence).isdisjoint(now.values())


def _read_now(case: Case) -> dict[tuple[str, str], str]:
    """(key, place) → entry of all that was read or seen at the case's own stage."""
    read = {at: one.entry for at, one in case.readings.items() if one.stage == case.stage}
    return read | {at: one.entry for at, one in case.sightings.items()}


def standing_at(job: Job, case: Case, plugins: Plugins) -> Standing:
    """What earlier stages read that may stand beside what is read at the case's own, of all systems."""
    readings: dict[tuple[str, str], Reading] = {}
    sightings: dict[tuple[str, str], Sighting] = {}
    position = positions(job)
    for earlier in range(case.stage):
        repaired = _worked_on(job, plugins, earlier, case.stage)
        for at, reading in readings_at(job, earlier, plugins.measurands).items():
            touched = repaired | _tried_after(job, position, reading.entry, case.stage)
            readings.pop(at, None)
            if _stands(reading.measurand, touched):
                readings[at] = reading
        for noted in job.seen(earlier):
            of, place = noted.record.of, noted.record.place
            declared = plugins.observations.get(of)
            answer = answer_in(declared, noted.record.answer) if declared else None
            touched = repaired | _tried_after(job, position, noted.id, case.stage)
            sightings.pop((of, place), None)
            if declared is not None and answer is not None and _stands(declared, touched):
                sightings[of, place] = Sighting(answer, noted.id)
    return Standing(
        readings={at: one for at, one in readings.items() if at not in case.readings},
        sightings={at: one for at, one in sightings.items() if at not in case.sightings},
    )


def _stands(declared: Measurand | Observation, touched: frozenset[str]) -> bool:
    return bool(declared.stands_until) and touched.isdisjoint(declared.stands_until)


def _worked_on(job: Job, plugins: Plugins, after: int, until: int) -> frozenset[str]:
    """Keys of the parts that repairs have worked on between two stages: those that they exchange, and those
    whose faults they cure.
    """
    done = {noted.record.operation for noted in job.repairs if after < noted.record.stage <= until}
    found = {plugins.operations[key].replaces for key in done if key in plugins.operations}
    for system in plugins.systems.values():
        if system.faults is not None:
            found |= {fault.part for fault in system.faults.faults.values() if fault.calls_for in done}
    return frozenset(found - {""})


def _tried_after(job: Job, position: Mapping[str, tuple[int, int]], entry: str, until: int) -> frozenset[str]:
    """Keys of the parts that were exchanged, swapped or worked on to find out, after an entry."""
    read = position.get(entry, (0, 0))
    return frozenset(
        noted.record.part
        for noted in job.tried
        if noted.record.stage <= until and not noted.record.before and position[noted.id] > read
    )
