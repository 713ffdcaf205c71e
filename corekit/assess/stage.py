"""One stage of a job as a system's checks see it."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum

import attrs

from ..model.job import Job, Noted, stage_name
from ..model.limit import Limit
from ..model.measurand import Trait, answer_in
from ..model.records import Fitted
from ..model.value import Value, exact
from ..plugin.case import Case, CodeSet, Sighting, own_limit
from ..plugin.host import Plugins
from ..plugin.reading import Reading, readings_at
from ..plugin.record import records_at
from ..plugin.system import System
from ..reference import code_in_words


def case_at(job: Job, stage: int, system: System, plugins: Plugins) -> Case:
    """The case that the system's checks get at this stage; `check` is filled in as each one runs.

    A check may want another system's measurand, so readings and sightings of all systems are in it.
    """
    traits = {
        key: (answer, noted.id)
        for key, noted in standing_traits(job, stage, plugins).items()
        if (answer := _answer(noted, plugins.traits[key])) is not None
    }
    return Case(
        system=system,
        check="",
        stage=stage,
        readings=_known_readings(job, stage, plugins),
        records=records_at(job, stage, plugins.records),
        sightings=_sightings(job, stage, plugins),
        settings=plugins.said,
        fitted={key: answer for key, (answer, _) in traits.items()},
        fitted_by={key: entry for key, (_, entry) in traits.items()},
        specified=_own_limits(job),
        codes=codes_at(job, stage),
        code_lists={noted.record.state: noted.id for noted in job.codes_read(stage) if noted.record.state},
        repairs={
            noted.record.operation: noted.record.stage for noted in job.repairs if noted.record.stage <= stage
        },
    )


def _known_readings(job: Job, stage: int, plugins: Plugins) -> dict[tuple[str, str], Reading]:
    """Readings of this stage, with those of earlier stages before them; of the measurands that outlast a
    repair also earlier ones alone, read by themselves or with another.
    """
    found: dict[tuple[str, str], Reading] = {}
    before: dict[tuple[str, str], tuple[Reading, ...]] = {}
    for earlier in range(stage):
        then = readings_at(job, earlier, plugins.measurands)
        found.update(
            {
                (key, ""): beside
                for reading in then.values()
                for key, beside in reading.setup.items()
                if beside.measurand.lasting
            }
        )
        found.update({place: reading for place, reading in then.items() if reading.measurand.lasting})
        for place, reading in then.items():
            alone = attrs.evolve(reading, apart=(), before=())
            before[place] = (*before.get(place, ()), *reading.before, *reading.apart, alone)
    for place, reading in readings_at(job, stage, plugins.measurands).items():
        found[place] = attrs.evolve(reading, before=(*before.get(place, ()), *reading.before))
    return found


def standing_traits(job: Job, stage: int, plugins: Plugins) -> dict[str, Noted[Fitted]]:
    """Trait → the answer that stands at a stage, of the traits that an installed system declares.

    A repair that exchanges a part ends what was known of the old one: the old part's rating says nothing of
    the new.
    """
    return {
        key: noted
        for key, noted in job.fitted(stage).items()
        if (trait := plugins.traits.get(key)) is not None
        and noted.record.stage >= _part_since(job, stage, trait.part, plugins)
    }


def _part_since(job: Job, stage: int, part: str, plugins: Plugins) -> int:
    """The stage that began when the part was last exchanged; 0 when it never was."""
    since = 0
    for noted in job.repairs:
        operation = plugins.operations.get(noted.record.operation)
        if part and operation is not None and operation.replaces == part and noted.record.stage <= stage:
            since = max(since, noted.record.stage)
    return since


def _answer(noted: Noted[Fitted], trait: Trait) -> Enum | Value | None:
    record = noted.record
    if trait.answers is not None:
        return answer_in(trait, record.answer)
    if record.number is None:
        return None
    return exact(record.kind, record.number, [noted.id])


def _sightings(job: Job, stage: int, plugins: Plugins) -> dict[tuple[str, str], Sighting]:
    found: dict[tuple[str, str], Sighting] = {}
    observations = plugins.observations
    for noted in job.seen(stage):
        record = noted.record
        declared = observations.get(record.of)
        answer = answer_in(declared, record.answer) if declared else None
        found[record.of, record.place] = Sighting(answer, noted.id, record.cannot)
    return found


def codes_at(job: Job, stage: int) -> dict[str, CodeSet]:
    """Every trouble code read at a stage, in the order in which the lists were read."""
    found: dict[str, CodeSet] = {}
    for noted in job.codes_read(stage):
        for code in noted.record.codes:
            known = found.get(code, CodeSet((), ()))
            found[code] = CodeSet((*known.states, noted.record.state), (*known.entries, noted.id))
    return found


def _own_limits(job: Job) -> Mapping[str, Limit]:
    limits: dict[str, Limit] = {}
    for noted in job.specified:
        record = noted.record
        low, high = (
            exact(record.kind, end, [noted.id]) if end is not None else None
            for end in (record.low, record.high)
        )
        limits[record.of] = own_limit(record.of, low, high, record.where_from, noted.id)
    return limits


def unknown_at(job: Job, stage: int, plugins: Plugins) -> list[tuple[str, str]]:
    """(key, sentence) for every reading, record and observation that no installed system declares: kept,
    named, not judged.
    """
    known = {*plugins.measurands, *plugins.records, *plugins.observations}
    strangers = [key for key in job.spoken_of(stage) if key not in known]
    return [
        (
            key,
            (
                f"{key} was read at {stage_name(stage)}, but no installed system knows it; it is kept and not"
                " judged."
            ),
        )
        for key in dict.fromkeys(strangers)
    ]


def unknown_codes(job: Job, stage: int, plugins: Plugins) -> list[tuple[str, str]]:
    """(code, sentence) for every trouble code that is set and that no installed system asks for: what it is
    about lies outside them, and it has one first step.
    """
    asked = {code for system in plugins.systems.values() if system.faults for code in system.faults.codes}
    lists = job.codes_by_list(stage)
    found = dict.fromkeys(code for state in ("stored", "pending") for code in lists.get(state, ()))
    return [
        (
            code,
            (
                f"{code_in_words(code)}: no installed system speaks to this code. First step: what sets it on"
                " this vehicle, by its maker's description, beside the values stored with it, before anything"
                " is erased or renewed."
            ),
        )
        for code in found
        if code not in asked
    ]
