"""What became of a visit to a practice car that somebody made on the screens: told at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Any

import attrs

from ..assess.assessment import Assessment
from ..model.job import Job, fold
from ..model.records import CodesRead, Measured, Repaired, Seen, Tried
from ..plugin.host import Plugins
from .car import Car
from .declared import Trial
from .statements import Untrue, added, untrue_statements

#: Minutes for what no test of a fault table says the minutes of, and for reading the codes; ours.
MINUTES, CODES_TAKE = 3.0, 3.0
#: Kinds of entries after which something new is made of a job.
_TELLING = frozenset(
    {
        "complaint",
        "complaint_again",
        "codes",
        "fitted",
        "measured",
        "recorded",
        "repaired",
        "seen",
        "setup",
        "tried",
    }
)


@attrs.frozen(kw_only=True)
class Outcome:
    """What was wrong, and what was made of it.

    Attributes:
        hidden: What was made wrong with the car, each with its size. left: Operations that it still needs.
        minutes: Hands-on, by the minutes of the tests that were made.
        wrong_parts: Parts exchanged that were sound. in_vain: Other work that was not needed.
        untrue: What the program said and the car contradicts. complains: the complaint is still there.
    """

    hidden: tuple[str, ...]
    left: tuple[str, ...]
    minutes: float
    wrong_parts: tuple[str, ...]
    in_vain: tuple[str, ...]
    untrue: tuple[Untrue, ...]
    complains: bool


def car_after(car: Car, job: Job, plugins: Plugins) -> Car:
    """A car after all the work and trials that a job tells of."""
    for noted in job.standing:
        car = _after(car, noted.record, plugins)
    return car


def _after(car: Car, record: object, plugins: Plugins) -> Car:
    if isinstance(record, Repaired):
        return car.after(record.operation)
    if isinstance(record, Tried) and not record.before:
        return car.tried(trial_of(record), plugins.operations)[0]
    return car


def trial_of(record: Tried) -> Trial:
    return Trial(part=record.part, how=record.how, place=record.place, other=record.swapped_with)


def outcome_of(
    car: Car,
    job: Job,
    plugins: Plugins,
    assess: Callable[[Job], Assessment],
    ask: Callable[[Callable[[], Any]], Any] = lambda asked: asked(),
) -> Outcome:
    """What became of a visit.

    Args:
        car: As it came. assess: What is made of a job; asked for each moment at which something was new.
        ask: Calls what asks the car, whose plugins' code may fail or hang.
    """
    now, wrong, vain = ask(lambda: _worked_on(car, job, plugins))
    untrue: dict[tuple[str, str], Untrue] = {}
    for moment in _moments(job):
        made = assess(moment)
        added(untrue, ask(partial(_contradicted, made, car, moment, plugins)))
    left, complains = ask(lambda: (now.needed, bool(set(now.complaints) & set(car.complaints))))
    return Outcome(
        hidden=tuple(map(str, car.hidden)),
        left=left,
        minutes=minutes_of(job, plugins),
        wrong_parts=tuple(wrong),
        in_vain=tuple(vain),
        untrue=tuple(untrue.values()),
        complains=complains,
    )


def _worked_on(car: Car, job: Job, plugins: Plugins) -> tuple[Car, list[str], list[str]]:
    """The car after all the work, the parts that were sound, and the other work that was not needed."""
    wrong: list[str] = []
    vain: list[str] = []
    for noted in job.standing:
        if isinstance(noted.record, Repaired) and car.needs(noted.record.operation) is False:
            declared = plugins.operations.get(noted.record.operation)
            (wrong if declared is not None and declared.replaces else vain).append(noted.record.operation)
        car = _after(car, noted.record, plugins)
    return car, wrong, vain


def _contradicted(made: Assessment, car: Car, moment: Job, plugins: Plugins) -> list[Untrue]:
    return untrue_statements(made, car_after(car, moment, plugins))


def _moments(job: Job) -> Iterator[Job]:
    """The job as it stood whenever something was new of it: before another kind of entry, or of another
    thing.
    """
    entries = sorted(job.entries, key=lambda entry: (entry.chain, entry.n))
    for n, entry in enumerate(entries):
        following = entries[n + 1] if n + 1 < len(entries) else None
        goes_on = following is not None and _about(following.kind, following.body) == _about(
            entry.kind, entry.body
        )
        if entry.kind in _TELLING and not goes_on:
            yield fold(job.id, entries[: n + 1])


def _about(kind: str, body: Mapping[str, Any]) -> tuple[str, str]:
    return kind, str(body.get("of", body.get("trait", "")))


def minutes_of(job: Job, plugins: Plugins) -> float:
    """Hands-on minutes of what was read and looked at: each thing once at each stage."""
    known: dict[str, float] = {}
    for system in plugins.systems.values():
        for test in system.faults.tests.values() if system.faults else ():
            key = test.wants
            known[key] = min(known.get(key, test.minutes), test.minutes)
    noted = [(one.record.of, one.record.stage) for one in job.all(Measured)]
    noted += [(one.record.of, one.record.stage) for one in job.all(Seen)]
    made = {(of, stage): known.get(of, MINUTES) for of, stage in noted}
    read = len({one.record.stage for one in job.all(CodesRead)})
    return sum(made.values()) + CODES_TAKE * read
