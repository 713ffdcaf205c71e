"""Where a test is made on this vehicle, and why it is worth making once more: what was done since."""

from __future__ import annotations

from collections.abc import Iterable

from ..assess.stage import standing_traits
from ..assess.suspect import NextTest
from ..complaints import trials
from ..model.job import Job
from ..model.measurand import Measurand, Observation, Part, places_counted, ruled_out_by
from ..model.records import CodesRead, Fitted, Measured, Seen, Tried
from ..plugin.host import Plugins
from ..reference import code_meanings
from ..report.next_tests import asks_for_codes, named_tests


def places_here(declared: Measurand | Observation | Part, job: Job, plugins: Plugins) -> tuple[str, ...]:
    """The places of a thing that this vehicle has, as far as anybody knows."""
    if not declared.places_by:
        return declared.places
    count = standing_traits(job, job.stage, plugins).get(declared.places_by)
    return places_counted(declared, count.record.number if count is not None else None)


def begins_at(wants: str, job: Job, plugins: Plugins) -> str:
    """The place of this vehicle at which a thing is looked at first because a trouble code names it; empty
    where no code does.
    """
    declared = plugins.measurands.get(wants) or plugins.observations.get(wants)
    if declared is None:
        return ""
    here = places_here(declared, job, plugins)
    if (
        not here and (part := plugins.parts.get(declared.part)) is not None
    ):  # an answer about one of its parts
        here = places_here(part, job, plugins)
    lists = [job.codes_by_list(stage) for stage in range(job.stage, -1, -1)]
    named = [
        place
        for read in lists
        for state in ("stored", "pending")
        for code in read.get(state, ())
        if (known := code_meanings().get(code)) is not None
        for place in known.places
    ]
    return next((place for place in named if place in here), "")


def can_be_read(declared: Measurand | Observation, job: Job, plugins: Plugins) -> bool:
    """False for what a known trait of this vehicle rules out."""
    if not declared.only:
        return True
    fitted = {key: noted.record.answer for key, noted in standing_traits(job, job.stage, plugins).items()}
    return not ruled_out_by(declared, fitted)


def is_here(test: NextTest, job: Job, plugins: Plugins) -> bool:
    """False for a test of what this vehicle does not have, or at a place that it does not have."""
    declared = plugins.measurands.get(test.wants) or plugins.observations.get(test.wants)
    if declared is None:
        return True
    there = not test.place or test.place in places_here(declared, job, plugins)
    return there and can_be_read(declared, job, plugins)


def tests_to_make(tests: Iterable[NextTest], job: Job, plugins: Plugins) -> list[NextTest]:
    """The tests without those that name nothing, what this vehicle does not have, and codes already read."""
    read = job.codes_by_list(job.stage)
    return [
        test
        for test in named_tests(tests)
        if is_here(test, job, plugins) and not ("stored" in read and asks_for_codes(test, plugins))
    ]


def made_at(test: NextTest, job: Job, plugins: Plugins) -> int | None:
    """The latest stage at which what a test asks for was read, seen or answered; None where it never was."""
    codes = asks_for_codes(test, plugins)
    stages = [
        noted.record.stage
        for noted in job.standing
        if (codes and isinstance(noted.record, CodesRead))
        or (isinstance(noted.record, (Measured, Seen, Fitted)) and noted.record.of == test.wants)
    ]
    return max(stages, default=None)


def again_words(test: NextTest, job: Job, plugins: Plugins) -> str:
    """That a test was made before, and what is different now; empty where it is made for the first time."""
    if not test.repeat:
        return ""
    made = made_at(test, job, plugins)
    if made is None or made == job.stage:
        return " ".join(["The first attempt was inconclusive.", *_tried_since(test, job, plugins)])
    done = [plugins.title(noted.record.operation) for noted in job.repairs if noted.record.stage > made]
    return f"Done since it was made: {', '.join(dict.fromkeys(done))}."


def _tried_since(test: NextTest, job: Job, plugins: Plugins) -> list[str]:
    """What was tried, and stays so, after the reading of this stage."""
    since: list[str] = []
    for noted in job.standing:
        record = noted.record
        if isinstance(record, (Measured, Seen)) and record.of == test.wants:
            since = []
        elif isinstance(record, Tried) and record.stage == job.stage and not record.before:
            way = trials().ways[record.how]
            if not (way.undone or way.provokes):
                since.append(f"{plugins.title(record.part)}, {way.words.lower()}")
    return [f"Tried since: {'; '.join(since)}."] if since else []
