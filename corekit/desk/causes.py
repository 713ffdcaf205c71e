"""What it could be, in words for the mechanic; nothing of it stands on a customer's paper."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import attrs

from ..assess.assessment import Assessment
from ..assess.suspect import Suspect
from ..complaints import trials
from ..model.finding import Finding, Verdict
from ..model.job import Job
from ..model.records import Tried
from ..plugin.faults import NONE, OUTSIDE, Fault
from ..plugin.host import Plugins
from .complaint import tried_words

#: Causes less likely than this are only counted; so many are shown however unlikely they are.
LEAST_CHANCE, LEAST_SHOWN = 0.05, 3
#: Two faults are named as there together where each is more likely than not.
PAIR_AT = 0.5
#: From this chance on → how it is said. Below the last: very unlikely.
_WORDS = (
    (0.95, "nearly certain"),
    (0.80, "likely"),
    (0.50, "more likely than not"),
    (0.20, "possible"),
    (0.05, "unlikely"),
)


@attrs.frozen(kw_only=True)
class Cause:
    """One cause as the mechanic reads it.

    Attributes:
        system: Title of its system; empty for nothing and for something outside.
        chance: In plain words, with the retested visits that stand behind its numbers, where some do.
        refer: Whom or what step it goes to, where no work for it is sold.
        speaks_for, speaks_against: Questions with their answers, the weightiest first.
    """

    name: str
    system: str
    chance: str
    refer: str = ""
    speaks_for: tuple[str, ...] = ()
    speaks_against: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class Causes:
    """The causes worth naming, likeliest first; `together` names the pair where both are more likely than
    not, `more` counts those left out.
    """

    rows: tuple[Cause, ...] = ()
    together: str = ""
    more: int = 0


def chance_words(chance: float) -> str:
    """A chance as a person says it; never nothing and never everything.

    >>> chance_words(0.83), chance_words(0.999), chance_words(0.01)
    ('likely, 8 in 10', 'nearly certain, more than 9 in 10', 'very unlikely, less than 1 in 20')
    """
    for least, words in _WORDS:
        if chance >= least:
            tenths = "more than 9" if least == _WORDS[0][0] else str(max(1, min(9, int(10 * chance + 0.5))))
            return f"{words}, {tenths} in 10"
    return "very unlikely, less than 1 in 20"


def likely_causes(assessment: Assessment, plugins: Plugins) -> Causes:
    """What it could be, over all systems in one list."""
    ranked = assessment.suspects
    shown = [one for n, one in enumerate(ranked) if one.probability >= LEAST_CHANCE or n < LEAST_SHOWN]
    return Causes(
        rows=tuple(_cause(one, assessment.job, plugins) for one in shown),
        together=" and ".join(one.name for one in pair_of(ranked)),
        more=len(ranked) - len(shown),
    )


def pair_of(suspects: Sequence[Suspect]) -> Sequence[Suspect]:
    """The two faults that are there together, where each is more likely than not; else none."""
    both = [one for one in suspects if one.fault not in (NONE, OUTSIDE) and one.probability > PAIR_AT]
    return both[:2] if len(both) > 1 else ()


def _cause(one: Suspect, job: Job, plugins: Plugins) -> Cause:
    system, fault = plugins.systems.get(one.system), _fault_of(one, plugins)
    visits = f", from {fault.visits} retested visits" if fault is not None and fault.visits else ""
    return Cause(
        name=one.name,
        system=system.title if system is not None else "",
        chance=f"{chance_words(one.probability)}{visits}",
        refer="" if one.calls_for else one.refer,
        speaks_for=(*_trials(one, job, plugins, _tells_for), *one.speaks_for),
        speaks_against=(*_trials(one, job, plugins, _tells_against), *one.speaks_against),
    )


def visits_behind_finding(finding: Finding, plugins: Plugins) -> str:
    """The same of a finding that speaks for a work; nothing of one that passes."""
    return "" if finding.verdict is Verdict.PASS else visits_behind(finding.calls_for, plugins)


def visits_behind(operation: str, plugins: Plugins) -> str:
    """What the reasoning that leads to a work rests on, where that is jobs of the shop; else nothing."""
    system = plugins.systems.get(operation.partition(".")[0])
    faults = system.faults.faults.values() if system is not None and system.faults is not None else ()
    visits = max((fault.visits for fault in faults if fault.calls_for == operation), default=0)
    return f"from {visits} retested visits" if visits else ""


def _fault_of(one: Suspect, plugins: Plugins) -> Fault | None:
    system = plugins.systems.get(one.system)
    return system.faults.faults.get(one.fault) if system is not None and system.faults is not None else None


def _trials(one: Suspect, job: Job, plugins: Plugins, tells: Callable[[Tried], bool]) -> Iterator[str]:
    """What was tried on the part of a fault and tells so, in words."""
    fault = _fault_of(one, plugins)
    if fault is None or not fault.part:
        return
    for noted in job.tried:
        if noted.record.part == fault.part and tells(noted.record):
            place = f", {noted.record.place}" if noted.record.place else ""
            yield f"{plugins.title(fault.part)}{place}: {tried_words(noted.record)}"


def _tells_for(record: Tried) -> bool:
    """What provokes it on the part, moves it with the part or brings it back with the old one."""
    return record.result in trials().ways[record.how].telling


def _tells_against(record: Tried) -> bool:
    """It stayed although the part was out of it, or though it was provoked."""
    return record.result == "stayed"


def cause_lines(assessment: Assessment, plugins: Plugins) -> Iterator[tuple[str, ...]]:
    """Each cause as a line, with lines of what speaks for it, what against it and where it goes."""
    causes = likely_causes(assessment, plugins)
    for one in causes.rows:
        yield (
            f"{one.name}{f' ({one.system})' if one.system else ''}: {one.chance}",
            *(f"for: {text}" for text in one.speaks_for),
            *(f"against: {text}" for text in one.speaks_against),
            *([f"not sold here: {one.refer}"] if one.refer else []),
        )
    if causes.together:
        yield (f"Both together: {causes.together}.",)
    if causes.more:
        yield (f"And {causes.more} more, each very unlikely.",)
