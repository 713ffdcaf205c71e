"""What was done and what was shown, in the order in which it happened."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import attrs

from ..complaints import Way, symptoms, trials
from ..model.job import Job
from ..model.records import Opened, Repaired, Retold, Tried
from ..plugin.faults import FaultTable, FaultTest
from ..plugin.host import Plugins
from ..plugin.system import System
from . import inference
from .hypotheses import Complaint, Tables, speaks_for
from .inference import Act, Hint, Shown
from .outcome import Outcome

YEAR = 365.25 * 86400.0  # s
#: Results of a trial that say the complaint is still there, or gone.
#: Results after which a part need not be tried in the same way again.
ANSWERS = frozenset({"moved", "back", "stayed"})
STILL, GONE = frozenset({"stayed", "worse", "less"}), frozenset({"gone"})


@attrs.frozen(kw_only=True)
class StageOutcome:
    """An outcome with its system and the stage at which it was shown."""

    system: str
    stage: int
    outcome: Outcome

    @property
    def key(self) -> str:
        return f"{self.system}.{self.outcome.test.key}"


@attrs.frozen(kw_only=True)
class Event:
    """One step of the inference: at which stage, and what it was."""

    stage: int
    step: Act | inference.Retold | Shown | Hint
    part: str = ""


def complaint_of(job: Job) -> Complaint | None:
    """The complaint as evidence; None where nothing was told."""
    told = job.complained
    if told is not None and told.symptoms:
        shows = symptoms().shows.get(told.shows)
        return Complaint(
            symptoms=tuple(told.symptoms),
            circumstances=tuple(told.circumstances),
            shows=shows.share if shows else 1.0,
        )
    opened = job.last(Opened)
    return Complaint() if opened is not None and opened.record.words is not None else None


def events(job: Job, plugins: Plugins, tables: Tables, outcomes: Sequence[StageOutcome]) -> list[Event]:
    """Every repair, trial and outcome in order: by stage, and within one as it was written down.

    What outlasts a repair is shown once, where it was read. So is what was read again with the same outcome
    while nothing that it speaks of was touched: the meter, the limit and the vehicle are the same, and an
    uncertain reading does not grow surer by being repeated.
    """
    position = positions(job)
    placed: list[tuple[tuple[int, int, int], Event]] = []
    seen: dict[str, StageOutcome] = {}
    for found in outcomes:
        before = seen.get(found.key)
        if before is not None and _is_repeat(job, plugins, before, found):
            continue
        seen[found.key] = found
        stage, at = read_at(found, position)
        shown = Shown(
            system=found.system,
            test=found.outcome.test,
            weights=found.outcome.weights,
            shows=1.0 if found.outcome.test.lasting else tables.shows,
        )
        placed.append(((stage, 1, at), Event(stage=stage, step=shown)))
    tried: list[Tried] = []
    for noted in job.standing:
        record, (_, at) = noted.record, position.get(noted.id, (0, 0))
        if isinstance(record, Repaired):
            for act in _repair(record, plugins, tables):
                placed.append(((record.stage, 0, at), Event(stage=record.stage, step=act)))
        elif isinstance(record, Retold):
            for again in _retold_events(record.result):
                placed.append(((record.stage, 1, at), Event(stage=record.stage, step=again)))
        elif isinstance(record, Tried):
            stage, rank = (0, -1) if record.before else (record.stage, 1)
            if _is_said(record, tried):
                continue
            tried.append(record)
            for step in _trial(record, tables):
                placed.append(((stage, rank, at), Event(stage=stage, step=step, part=record.part)))
    return [event for _, event in sorted(placed, key=lambda pair: pair[0])]


def _is_repeat(job: Job, plugins: Plugins, before: StageOutcome, found: StageOutcome) -> bool:
    if before.outcome.evidence == found.outcome.evidence:
        return True
    alike = before.outcome.likeliest == found.outcome.likeliest
    return alike and not was_touched(job, plugins, before, found.stage)


def positions(job: Job) -> dict[str, tuple[int, int]]:
    """Id of an entry that belongs to a stage → that stage, and its place among all that stands."""
    return {
        noted.id: (noted.record.stage, place)
        for place, noted in enumerate(job.standing)
        if hasattr(noted.record, "stage")
    }


def read_at(shown: StageOutcome, position: Mapping[str, tuple[int, int]]) -> tuple[int, int]:
    """When the last was read of what an outcome rests on: what was read before a repair, and first counts
    after it, still speaks of the vehicle as it was then.
    """
    return max(
        (position[entry] for entry in shown.outcome.evidence if entry in position), default=(shown.stage, -1)
    )


def _repair(record: Repaired, plugins: Plugins, tables: Tables) -> Iterator[Act]:
    operation = plugins.operations.get(record.operation)
    if operation is None:
        return
    removes = tables.of_work(operation.key) | tables.of_part(operation.replaces)
    if removes:
        way = trials().ways[operation.way]
        yield Act(
            removes=removes,
            fails=way.fails,
            brings=tables.of_part(operation.replaces),
            relieves=tables.relieved_by(operation.key),
        )


def _retold_events(result: str) -> Iterator[inference.Retold]:
    if result in STILL | GONE:
        yield inference.Retold(result in STILL)


def _trial(record: Tried, tables: Tables) -> Iterator[Act | inference.Retold | Hint]:
    """What was tried, and what came of it; *other* and *not tried out* count for nothing."""
    way = trials().ways.get(record.how)
    of_part = tables.of_part(record.part)
    if way is None or not of_part or (record.before and record.result not in STILL):
        return  # work before this visit counts only where the complaint stood before it and after it
    lasting = is_lasting(way)
    if lasting and record.result not in way.telling:  # what got less was not ended
        yield Act(removes=of_part, fails=way.fails, brings=of_part)
    if record.result in way.telling:
        decides = not lasting and not way.provokes
        yield Hint(faults=of_part, these=way.this_part, other=way.other, none=way.none, decides=decides)
    elif lasting:
        yield from _retold_events(record.result)
    elif way.telling and (way.provokes or way.key == "swapped"):
        if record.result == "stayed":
            yield Hint(faults=of_part, these=1 - way.this_part, other=1 - way.other, none=1 - way.none)
    elif record.result in STILL | GONE:
        yield Act(removes=of_part, fails=way.fails, undone=record.result in STILL)


def _is_said(record: Tried, before: Sequence[Tried]) -> bool:
    """Whether a trial that repairs nothing was made before with the same result: the same two exchanged and
    exchanged back, or one part heated twice, say it once.
    """
    way = trials().ways.get(record.how)
    if way is None or is_lasting(way):
        return False
    return any(_same_trial(record) == _same_trial(one) for one in before)


def _same_trial(record: Tried) -> tuple[str, str, str, frozenset[str], int]:
    ends = frozenset({record.place, record.swapped_with})
    return record.part, record.how, record.result, ends, record.stage


def answered_trials(job: Job, plugins: Plugins, until: int) -> frozenset[tuple[str, str]]:
    """Part and way of the trials up to a stage whose result says something of the part, and that was not
    renewed since. One that is gone since a swap may be a pin that was seated anew: it leaves the question
    open.
    """
    found = set()
    for noted in job.tried:
        record = noted.record
        renewed = any(
            record.stage < done.record.stage <= until
            and (one := plugins.operations.get(done.record.operation)) is not None
            and one.replaces == record.part
            for done in job.repairs
        )
        if record.stage <= until and not record.before and not renewed and record.result in ANSWERS:
            found.add((record.part, record.how))
    return frozenset(found)


def renewed_before(job: Job) -> dict[str, float]:
    """Key of a part → years since it was renewed before this visit, where that is known and was no try at the
    complaint.
    """
    return {
        noted.record.part: noted.record.ago / YEAR
        for noted in job.tried
        if noted.record.before
        and noted.record.how == "renewed"
        and noted.record.result not in STILL
        and noted.record.ago is not None
    }


def is_lasting(way: Way) -> bool:
    """Whether what is done in this way stays on the vehicle."""
    return not (way.undone or way.provokes or way.key == "swapped")


def let_in(outcomes: Sequence[StageOutcome], systems: Mapping[str, System]) -> frozenset[str]:
    """Full keys of the faults that something plainly wrong speaks for: three times as likely under them as on
    a sound vehicle.
    """
    found = set()
    for shown in outcomes:
        test, table = shown.outcome.test, systems[shown.system].faults
        plain = shown.outcome.plain
        if table is None or not plain or plain == test.sound:
            continue
        at = test.outcomes.index(plain)
        found |= {
            f"{shown.system}.{fault}"
            for fault in table.faults
            if speaks_for(test.likelihood(fault)[at], test.none[at])
        }
    return frozenset(found)


def let_in_by_trials(job: Job, systems: Mapping[str, System]) -> frozenset[str]:
    """Full keys of the faults of every part that a trial speaks for, by the same measure: a wire that makes
    the engine die when it is moved is in question, whatever was told.
    """
    parts = {
        noted.record.part
        for noted in job.tried
        if (way := trials().ways.get(noted.record.how)) is not None
        and noted.record.result in way.telling
        and speaks_for(way.this_part, way.none)
    }
    return frozenset(
        f"{key}.{fault}"
        for key, system in systems.items()
        if system.faults is not None
        for fault, one in system.faults.faults.items()
        if one.part in parts
    )


def table_of(plugins: Plugins, system: str) -> FaultTable:
    """The fault table of a system that has outcomes."""
    table = plugins.systems[system].faults
    assert table is not None, "only a system with a table has outcomes"
    return table


def was_touched(job: Job, plugins: Plugins, shown: StageOutcome, until: int) -> bool:
    """Whether something that a test speaks of was worked on after it, up to a stage: by a repair, or by a
    trial that stays on the vehicle.
    """
    test, system, position = shown.outcome.test, shown.system, positions(job)
    operations = [
        plugins.operations.get(noted.record.operation)
        for noted in job.repairs
        if shown.stage < noted.record.stage <= until
    ]
    if any(one and _speaks_of(test, system, one.replaces, one.key, plugins) for one in operations):
        return True
    read = read_at(shown, position)
    return any(
        _speaks_of(test, system, noted.record.part, "", plugins)
        for noted in job.tried
        if noted.record.stage <= until and read < position[noted.id] and _stays(noted.record)
    )


def _stays(record: Tried) -> bool:
    way = trials().ways.get(record.how)
    return way is not None and is_lasting(way) and not record.before


def _speaks_of(test: FaultTest, system: str, part: str, operation: str, plugins: Plugins) -> bool:
    """Whether a test speaks of what was worked on: a part that it rests on, or where it names none, the part
    that it is read on or a fault under which it shows something else than without. Of what is fitted (an age)
    only another part changes the answer.
    """
    if test.trait and not part:
        return False
    cured = {
        key: fault
        for key, fault in table_of(plugins, system).faults.items()
        if (operation and fault.calls_for == operation) or (part and fault.part == part)
    }
    parts = {part, *(fault.part for fault in cured.values())} - {""}
    if test.rests_on is not None:
        return not parts.isdisjoint(test.rests_on)
    asked = plugins.measurands.get(test.asked_for) or plugins.observations.get(test.asked_for)
    return (asked is not None and asked.part in parts) or any(
        test.likelihood(key) != test.none for key in cured
    )
