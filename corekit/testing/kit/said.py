"""What a system says over many benches, and readings that lead to an outcome of its fault table.

An outcome that benches drawn by chance leave out is aimed at. A finding brings the value that was judged and
the limits that it was judged against; from how the value moves with one reading, the reading is reckoned at
which the value lies where the outcome begins. Only where a finding has no value are readings moved step by
step over all that is possible.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import partial
from itertools import pairwise
from types import CodeType, FunctionType

import attrs

from ... import units
from ...assess.outcome import all_outcomes
from ...model.figure import Figure
from ...model.finding import Finding
from ...model.measurand import Measurand
from ...model.value import Value, exact
from ...plugin.check import Check, run
from ...plugin.claim import Claim
from ...plugin.faults import FaultTable, FaultTest
from ...plugin.guard import Overrun, guarded
from ...plugin.intact import Original
from ...plugin.system import System
from ..bench import Bench
from .alterations import others_than
from .benches import (
    Laid,
    bench_for,
    bench_in_camps,
    bench_with_codes,
    bench_with_figures,
    benches_moved,
    span_ends,
)
from .driving import MOST_SECONDS, ShownError, TooSlowError, results_of
from .side_effects import watched

#: An outcome that once had this weight can be reached; so many pictures of a code are kept.
_REACHED, _PICTURES = 0.5, 5
#: How long an outcome is searched for: benches, those from which is aimed, those whose readings are moved in
#: so many steps.
_SEARCHES, _AIMS, _SWEEPS, _STEPS = 150, 60, 3, 16
#: The kinds of bench that are laid in turn.
_KINDS = ("usual", "anything", "figures", "camps", "codes")
#: So often a reading is reckoned anew before that aim is given up; the first move, as a share of its span.
_TRIES, _FIRST_MOVE = 5, 0.02
#: Of so many like findings the values are aimed.
_LIKE = 2
#: How far beyond an end of a limit an aim lies: in standard uncertainties, and as shares of the end.
_UNCERTAINTIES, _SHARES = 4.0, (0.1, 0.5, 4.0)
#: So deep is a check's code followed for the codes that it names.
_DEEP = 4


@attrs.define
class Said:
    """Everything that came up.

    Attributes:
        codes: Code of a finding → the checks that yielded it. valued: Codes that once had a value.
        outcomes: (test, outcome) that had weight. figures: A few for each code.
        grades: Code → the grades that its findings had.
    """

    codes: dict[str, dict[str, Check[...]]] = attrs.field(factory=dict)
    valued: set[str] = attrs.field(factory=set)
    outcomes: set[tuple[str, str]] = attrs.field(factory=set)
    figures: dict[str, list[Figure]] = attrs.field(factory=dict)
    grades: dict[str, set[str]] = attrs.field(factory=dict)

    def missing(self, system: System, test: FaultTest) -> list[str]:
        """The outcomes of a test that nothing led to."""
        return [name for name in test.outcomes if not self._has_reached(system, test, name)]

    def _has_reached(self, system: System, test: FaultTest, name: str) -> bool:
        if (test.key, name) in self.outcomes:
            return True
        at = test.outcomes.index(name)
        if test.codes or test.seen or (test.trait and test.answers):
            return True  # the reader refuses answers that do not exist, and codes are read from outside
        if test.measurand:
            measurand = system.measurands[test.measurand]
            low, high = (test.at[at - 1] if at else None), (test.at[at] if at < len(test.at) else None)
            possible = measurand.possible
            return not (
                (low is not None and possible.high is not None and low >= possible.high)
                or (high is not None and possible.low is not None and high <= possible.low)
            )
        if test.graded:
            # An outcome without a grade is what no finding says, by its own table.
            return not test.answers[at] or bool(self.grades.get(test.graded, set()) & set(test.answers[at]))
        return False

    def note(
        self, check: Check[...], before: Laid, findings: Sequence[Finding], table: FaultTable | None
    ) -> bool:
        """Keep what these findings are and what a table makes of them; whether there are any."""
        for finding in findings:
            self.codes.setdefault(finding.code, {})[check.key] = check
            self.grades.setdefault(finding.code, set()).add(finding.grade)
            if finding.value is not None:
                self.valued.add(finding.code)
            drawn = self.figures.setdefault(finding.code, [])
            if finding.figure is not None and len(drawn) < _PICTURES:
                drawn.append(finding.figure)
        if table is not None:
            for outcome in all_outcomes(table, before.case(check), findings):
                for name, weight in zip(outcome.test.outcomes, outcome.weights, strict=True):
                    if weight >= _REACHED:
                        self.outcomes.add((outcome.test.key, name))
        return bool(findings)


def said_by(
    system: System, benches: int, foreign: Mapping[str, Measurand], laid: Sequence[Bench] = ()
) -> Said:
    """What every check says over so many benches laid for it, and over those that were laid by hand, and what
    the fault table makes of each; where that leaves an outcome of a test out, it is searched for.
    """
    said = Said()
    table = _always_due(system.faults) if system.faults is not None else None
    # Checks that never ended, or changed what is not theirs: told where checks are driven.
    set_aside: set[str] = set()
    original = Original(others_than(system))
    for check in system.checks.values():
        try:
            is_heard = _hear(said, system, check, benches, foreign, table)
        except Exception:
            if not original.put_back():
                raise
            is_heard = False
        if original.put_back() or not is_heard:
            set_aside.add(check.key)
    for check in (one for one in system.checks.values() if one.key not in set_aside):
        for bench in laid:
            before = Laid(bench=bench, codes=bench.codes)
            with suppress(ShownError):  # told where checks are driven
                results = results_of(check, before, system, "")
                said.note(check, before, [one for one in results if isinstance(one, Finding)], table)
    if table is None:
        return said
    named = {key: codes_in(check.function) for key, check in system.checks.items()}
    for test in table.tests.values():
        code = test.code or test.graded
        if not code:
            continue
        alone = attrs.evolve(table, tests={test.key: test})
        yielding = said.codes.get(code) or {
            key: check for key, check in system.checks.items() if code in named[key]
        }
        for check in list((yielding or system.checks).values()):
            if check.key not in set_aside:
                search = _Search(said, system, check, test, alone, foreign)
                with watched():  # what a check does besides is told where checks are driven
                    search.run()
    return said


def codes_in(function: Callable[..., object]) -> frozenset[str]:
    """Every text that a function's code names, and that of the functions of its package that it calls: a
    check that does not name a code may still form one.
    """
    found: set[str] = set()
    seen: set[object] = set()

    def of_code(code: CodeType, names: Mapping[str, object], deep: int) -> None:
        for one in code.co_consts:
            if isinstance(one, str):
                found.add(one)
            elif isinstance(one, CodeType):
                of_code(one, names, deep)
        for name in code.co_names:
            of_object(names.get(name), deep)

    def of_object(one: object, deep: int) -> None:
        if isinstance(one, str):
            found.add(one)
        elif isinstance(one, Claim):
            found.add(one.code)
        elif isinstance(one, FunctionType) and one not in seen and deep and _package(one) == package:
            seen.add(one)
            of_code(one.__code__, one.__globals__, deep - 1)

    package = _package(function)
    of_object(function, _DEEP)
    return frozenset(found)


def _package(function: Callable[..., object]) -> str:
    return str(getattr(function, "__module__", "")).partition(".")[0]


def _always_due(table: FaultTable) -> FaultTable:
    """The table without what has to be done before a test: benches stand at one stage."""
    return attrs.evolve(
        table, tests={key: attrs.evolve(one, since=(), until=()) for key, one in table.tests.items()}
    )


def _hear(
    said: Said,
    system: System,
    check: Check[...],
    benches: int,
    foreign: Mapping[str, Measurand],
    table: FaultTable | None,
) -> bool:
    """Note what the check says over so many benches, alone and watched; False where it never ended."""
    for seed in range(benches):
        before = bench_for(system, check, random.Random(f"{check.key} {seed}"), foreign=foreign)
        try:
            results = results_of(check, before, system, "")
        except TooSlowError:
            return False
        except ShownError:
            continue  # told where checks are driven
        said.note(check, before, [one for one in results if isinstance(one, Finding)], table)
    return True


@attrs.frozen
class _Search:
    """For what one check says of one test."""

    said: Said
    system: System
    check: Check[...]
    test: FaultTest
    alone: FaultTable
    foreign: Mapping[str, Measurand]

    def run(self) -> None:
        """Lay readings, usual ones and others in turn, aim from them at what is missing, and move them one at
        a time where that cannot be reckoned, until the outcomes came up or patience is over.
        """
        swept_over = 0
        for seed in range(_SEARCHES):
            if self._is_over():
                return
            chance = random.Random(f"{self.test.key} {self.check.key} {seed}")
            turn, kind = divmod(seed, len(_KINDS))
            before = self._bench(_KINDS[kind], chance, full=turn % 2 == 0)
            findings = self._findings(before)
            asked = [one for one in findings if one.code == self._code]
            if seed < _AIMS:
                self._aim(before, [one for one in asked if one.value is not None])
            if swept_over < _SWEEPS and (asked or (findings and seed >= 2 * len(_KINDS))):
                swept_over += 1
                self._sweep(before)

    @property
    def _code(self) -> str:
        return self.test.code or self.test.graded

    def _bench(self, kind: str, chance: random.Random, *, full: bool) -> Laid:
        """A bench of one kind: usual readings; anything; usual ones on a vehicle whose own figures are known;
        like places that fall into two camps; and several trouble codes.
        """
        calm = kind != "anything"
        before = bench_for(self.system, self.check, chance, foreign=self.foreign, calm=calm, full=full)
        if kind == "figures":
            return bench_with_figures(before, self.check, chance)
        if kind == "camps":
            return bench_in_camps(before, self.check, chance)
        return bench_with_codes(before, chance) if kind == "codes" else before

    def _is_over(self) -> bool:
        return not self.said.missing(self.system, self.test)

    def _findings(self, before: Laid) -> list[Finding]:
        """What the check finds, noted; nothing where it fails, which is told where checks are driven."""
        try:
            with guarded(self.system.key, self.check.title, MOST_SECONDS, self.check.where):
                found = [one for one in run(self.check, before.case(self.check)) if isinstance(one, Finding)]
        except (Exception, Overrun, SystemExit):
            return []
        self.said.note(self.check, before, found, self.alone)
        return found

    def _sweep(self, before: Laid) -> None:
        for moved in benches_moved(before, _STEPS):
            if self._is_over():
                return
            self._findings(moved)

    def _aim(self, before: Laid, findings: Sequence[Finding]) -> None:
        """Move a reading to where a finding's value lies in an outcome that is missing."""
        for finding in findings[:_LIKE]:
            moving = [at for at in before.bench.readings if self._moves(before, at, finding)]
            missing = self.said.missing(self.system, self.test)
            for goal in _goals(self.test, missing, finding):
                for at in moving:
                    if self._is_over():
                        return
                    self._reckon(before, at, finding, goal)

    def _moves(self, before: Laid, at: tuple[str, str], finding: Finding) -> bool:
        """Whether the finding rests on the reading, and not on like ones at its own place instead."""
        reading = before.bench.readings[at]
        if at[0] not in before.bench.system.measurands:
            return False
        if at[1] and finding.place and at[1] != finding.place:
            return False
        return not {reading.entry, *reading.value.rests_on}.isdisjoint(finding.evidence)

    def _reckon(self, before: Laid, at: tuple[str, str], finding: Finding, goal: _Goal) -> None:
        """Secants from how far the value lies from where it is wanted, over one reading."""
        of = before.bench.system.measurands[at[0]]
        low, high = span_ends(of.possible)
        start = before.bench.readings[at].value.number
        usual_low, usual_high = span_ends(of.usual)
        move = (usual_high - usual_low) * _FIRST_MOVE or (high - low) * _FIRST_MOVE
        first = goal(finding)
        if first is None:
            return
        known = [(start, first)]
        wanted = start + move if start + move <= high else start - move
        for _ in range(_TRIES):
            moved = _with_reading(before, at, wanted)
            if moved is None:
                return
            number = moved.bench.readings[at].value.number
            away = next(
                (
                    goal(one)
                    for one in self._findings(moved)
                    if (one.code, one.place) == (finding.code, finding.place)
                ),
                None,
            )
            if away is None or self._is_over() or any(number == other for other, _ in known):
                return
            (before_x, before_y) = min(known, key=lambda one: abs(one[1]))
            known.append((number, away))
            slope = (away - before_y) / (number - before_x)
            if not slope:
                return
            wanted = min(max(number - away / slope, low), high)


#: How far a finding's value lies from where it is wanted; 0 there, None where that means nothing.
_Goal = Callable[[Finding], float | None]


def _goals(test: FaultTest, missing: Sequence[str], finding: Finding) -> Iterator[_Goal]:
    """Where the value of a finding would have to lie for each outcome that is missing."""
    ends = [is_high for is_high in (True, False) if _end(finding, is_high) is not None]
    if inner := test.at or test.beyond:
        edges = [inner[0] - _width(inner), *inner, inner[-1] + _width(inner)]
        for name, (low, high) in zip(test.outcomes, pairwise(edges), strict=True):
            if name not in missing:
                continue
            if test.at:
                yield partial(_away, 0.5 * (low + high))
                continue
            for is_high in ends:
                yield partial(_beyond, 0.5 * (low + high), is_high, test.relative)
        return
    inside, outside = test.graded or test.outcomes[0] in missing, test.graded or test.outcomes[1] in missing
    if inside and len(ends) > 1:
        yield _halfway
    for is_high in ends:
        if inside:
            yield partial(_clear, is_high, True)
        if outside:
            yield partial(_clear, is_high, False)
    if test.graded:  # a grade of the check's own may begin anywhere
        for share in _SHARES:
            for is_high in ends:
                yield partial(_beyond, share, is_high, True)
                yield partial(_beyond, -share, is_high, True)


def _width(edges: Sequence[float]) -> float:
    """How wide an open bin is taken to be."""
    return max((high - low for low, high in pairwise(edges)), default=abs(edges[0])) or 1.0


def _end(finding: Finding, is_high: bool) -> Value | None:
    if not finding.limits:
        return None
    return finding.limits[0].high if is_high else finding.limits[0].low


def _away(wanted: float, finding: Finding) -> float | None:
    """From a number."""
    return None if finding.value is None else finding.value.number - wanted


def _beyond(wanted: float, is_high: bool, relative: bool, finding: Finding) -> float | None:
    """From so far beyond the high end, or the low one."""
    end = _end(finding, is_high)
    if end is None or finding.value is None:
        return None
    per = abs(end.number) if relative else 1.0
    return (finding.value.number - end.number) * (1 if is_high else -1) - wanted * per


def _halfway(finding: Finding) -> float | None:
    """From the middle between both ends."""
    low, high = _end(finding, False), _end(finding, True)
    if low is None or high is None or finding.value is None:
        return None
    return finding.value.number - 0.5 * (low.number + high.number)


def _clear(is_high: bool, inside: bool, finding: Finding) -> float | None:
    """From beyond the high end, or the low one, or from inside of it, by more than what is uncertain."""
    end = _end(finding, is_high)
    if end is None or finding.value is None:
        return None
    margin = finding.value - end
    clear = _UNCERTAINTIES * margin.u
    return margin.number * (1 if is_high else -1) - (-clear if inside else clear)


def _with_reading(before: Laid, at: tuple[str, str], number: float) -> Laid | None:
    """The same bench with one reading of this number; None where it would be no possible one."""
    kept = before.bench.readings[at]
    of = before.bench.system.measurands[at[0]]
    typed = units.show(exact(of.kind, number), of.unit, uncertainty=False)
    if not of.possible.holds(units.read_quantity(typed, [of.unit]).number):
        return None
    moved = attrs.evolve(before.bench.reading(of, typed, place=at[1]), setup=kept.setup)
    return attrs.evolve(
        before, bench=attrs.evolve(before.bench, readings={**before.bench.readings, at: moved})
    )
