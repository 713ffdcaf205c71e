"""From what is believed to suspects, to the next test, to whether a part may be called for."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence

import attrs

from ..complaints import trials
from ..model.measurand import Operation
from ..plugin.faults import NONE, OUTSIDE, FaultTest
from .hypotheses import SOUND, JointTest, Tables
from .inference import (
    Act,
    Beliefs,
    Hint,
    chance_of,
    fresh_row,
    now,
    rows_for,
    supposing,
)
from .outcome import LIKELY, Outcome, allowance, applies
from .ranking import Ranking, information, information_of_each
from .timeline import Event, StageOutcome

#: A part is called for at this probability or more, work that renews nothing at the second.
CALL_AT, WORK_AT = 0.86, 0.80
#: From this chance on a part is so likely that a test which shows it directly is worth making for that alone.
HALF = 0.5
#: Tests that promise less than this many bits are not worth walking to the bonnet for.
WORTHWHILE = 0.03
#: The same for a system that somebody asks about by name.
SLIGHT = 1e-4
#: A system whose faults together have less than this chance is not taken up: it would change nothing.
UNLIKELY = 0.05
#: A question to the customer costs no hands-on time; it is ranked as if it took so many minutes.
ASKING = 0.5
#: Of several faults that one work cures, one is named as the cause where it holds this share of their chance.
NAMED_AT = 0.8  # an estimate of ours
#: An outcome speaks for or against a cause where it is so many times likelier with it than without, or less.
SPEAKS = 2.0
LOG_SPEAKS = math.log(SPEAKS)


@attrs.frozen(kw_only=True)
class Suspect:
    """A fault with its probability given all that was shown, alone or with another.

    For the mechanic; never for the customer's paper. `system` is empty for *none* and *outside*.

    Attributes:
        speaks_for, speaks_against: Questions of tests with their answers, the weightiest first.
        refer: For what is not sold: whom or what step it goes to.
    """

    system: str
    fault: str
    name: str
    probability: float
    calls_for: str
    refer: str = ""
    speaks_for: tuple[str, ...] = ()
    speaks_against: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class NextTest:
    """A test worth making next, with the question it answers.

    Attributes:
        minutes: Hands-on. waits: Minutes of waiting beside them: start now, read later.
        bits: Expected information about what to do, with that of the test that it `opens`.
        opens: Question of the test that means something only after this one, where it is worth making for
            that; else empty. then: Hands-on minutes of that test.
        wants: Key of the measurand, observation or trait that it needs. place: Where it is read, when that is
            fixed; else empty.
        repeat: It was made and left open, or what it rests on was worked on since: worth making again.
        spoiled_by: The question of a test made before that spoils this one; empty when none was.
        operation: Key of the harmless work that is to be done first, so that this can be read; empty for a
            test alone.
    """

    system: str
    key: str
    question: str
    minutes: float
    bits: float
    wants: str
    opens: str = ""
    then: float = 0.0
    waits: float = 0.0
    repeat: bool = False
    spoiled_by: str = ""
    place: str = ""
    operation: str = ""

    @property
    def is_question(self) -> bool:
        """True where nothing is to be done but to ask: the customer is not told on paper what to be asked."""
        return self.minutes == 0.0 and self.bits > 0.0

    @property
    def rate(self) -> float:
        """Bits in a minute of work, what it opens counted in."""
        return self.bits / max(self.minutes + self.then, ASKING)

    def fits(self, minutes_left: float | None) -> bool:
        """True when it can be done and read in the time that is left."""
        return minutes_left is None or self.minutes + self.waits <= minutes_left


@attrs.frozen(kw_only=True)
class Call:
    """Whether an operation may be proposed on what was found, and why or why not yet.

    `fault` is the full key of the fault that it would cure, where one stands out from all that it cures;
    `chance` that of all that it cures together.
    """

    operation: str
    met: bool
    why: str
    stage: int
    fault: str = ""
    chance: float = 0.0


@attrs.frozen(kw_only=True)
class Evidence:
    """All that was shown of a job: what counts, and what the next test hangs on.

    Attributes:
        beliefs: After all of it. events: In order.
        latest: Full key of a test → what it showed last. current: Those whose outcome still tells how the
            vehicle is now.
        made: Full keys of all tests made at the latest stage, also of those that count for nothing.
        barred: Codes of checks that cannot be made yet.
        fitted: Trait → answer.
        seen: Observation → what was seen last and still stands. found: Codes of this stage's findings that do
            not pass.
        asked: Keys of systems that somebody asks about: of those every test that tells anything is named.
        done: Keys of the operations done so far. acts: Harmless work that may be done to find out.
        tried: Part and way of every trial that left its answer and still stands.
    """

    beliefs: Beliefs
    events: Sequence[Event]
    latest: Mapping[str, StageOutcome]
    current: frozenset[str]
    made: frozenset[str]
    barred: frozenset[str]
    fitted: Mapping[str, object]
    seen: Mapping[str, str] = attrs.field(factory=dict)
    found: frozenset[str] = frozenset()
    asked: frozenset[str] = frozenset()
    done: frozenset[str] = frozenset()
    acts: Sequence[Operation] = ()
    tried: frozenset[tuple[str, str]] = frozenset()

    @property
    def tables(self) -> Tables:
        return self.beliefs.tables


def suspects(evidence: Evidence) -> list[Suspect]:
    """All faults of the tables, nothing and something outside among them, likeliest first."""
    tables, speaking = evidence.tables, _outcome_words(evidence)
    found = [
        Suspect(
            system=full.partition(".")[0],
            fault=fault.key,
            name=fault.name,
            probability=chance_of(evidence.beliefs, {full}),
            calls_for=fault.calls_for,
            refer=fault.refer,
            speaks_for=speaking[full][1],
            speaks_against=speaking[full][-1],
        )
        for full, fault in tables.faults.items()
    ]
    found.append(
        Suspect(
            system="",
            fault=NONE,
            name="No fault that these systems know",
            probability=now(evidence.beliefs).get(SOUND, 0.0),
            calls_for="",
        )
    )
    found.append(
        Suspect(
            system="",
            fault=OUTSIDE,
            name="Something outside these systems",
            probability=chance_of(evidence.beliefs, {OUTSIDE}),
            calls_for="",
        )
    )
    return sorted(found, key=lambda suspect: -suspect.probability)


def _outcome_words(evidence: Evidence) -> dict[str, dict[int, tuple[str, ...]]]:
    """Fault → what speaks for it (sign 1) and against it (-1): outcomes of the vehicle as it is now. To a
    test of another system a fault looks like a sound vehicle, which speaks neither way.
    """
    tables = evidence.tables
    found: dict[str, list[tuple[float, str]]] = {full: [] for full in tables.faults}
    for key in evidence.current:
        shown = evidence.latest[key]
        test, outcome, mark = shown.outcome.test, shown.outcome, f"{shown.system}."
        words = f"{test.question} {outcome.likeliest}"
        usual = _fit(tables.row(shown.system, test, SOUND), outcome)
        weights: dict[int, float] = {}  # by row: those that a test does not speak of share one
        for full, said in found.items():
            if not full.startswith(mark):
                continue
            row = tables.row(shown.system, test, frozenset({full}))
            weight = weights.get(id(row))
            if weight is None:
                theirs = _fit(fresh_row(tables, shown.system, test, frozenset({full})), outcome)
                weight = weights[id(row)] = math.log(theirs / usual)
            if abs(weight) >= LOG_SPEAKS:
                said.append((weight, words))
    return {full: {sign: _strongest(said, sign) for sign in (1, -1)} for full, said in found.items()}


def _strongest(said: Iterable[tuple[float, str]], sign: int) -> tuple[str, ...]:
    """The words whose weight has this sign, those that weigh most first."""
    own = [(-sign * weight, text) for weight, text in said if sign * weight > 0.0]
    return tuple(text for _, text in sorted(own))


def _fit(row: Sequence[float], outcome: Outcome) -> float:
    return math.fsum(weight * p for weight, p in zip(outcome.weights, row, strict=True))


# ---- the next test


def next_tests(evidence: Evidence) -> list[NextTest]:
    """Tests worth making, by expected information per hands-on minute; a test that spoils another comes after
    it.

    Faults with the same work need not be told apart, so the information is about the work. A test is offered
    again only where it was left open, or where something that it speaks of was worked on since.
    """
    tables = evidence.tables
    ranking = Ranking(evidence.beliefs)
    unconfirmed = _unconfirmed_faults(evidence, evidence.beliefs)
    shown_of = {system: _of_system(evidence, system) for system in tables.systems}
    grouped: dict[tuple[str, str], str] = {}  # of a group the first in the tables' order
    for key, one in tables.tests.items():
        if one.test.group and key in evidence.current:
            grouped.setdefault((one.system, one.test.group), key)
    idle = _idle_systems(evidence)
    barred = _barred(evidence)
    candidates: list[JointTest] = []
    for key, one in tables.tests.items():
        test = one.test
        shown = evidence.latest.get(key) if key in evidence.current else None
        settled = shown is not None and bool(shown.outcome.plain)
        other = grouped.get((one.system, test.group), key) if test.group else key
        if (
            settled
            or not test.proposed
            or (one.system in idle and key not in evidence.latest)  # what was worked on is looked at again
            or other != key
            or (test.code or test.graded) in evidence.barred
            or _is_answered(evidence, test)
            or not applies(test.only, evidence.fitted)
            or not test.is_due(evidence.done)
            or test.key in barred[one.system]
        ):
            continue
        candidates.append(one)
    worth, opened = list[tuple[JointTest, float]](), dict[str, list[tuple[JointTest, float]]]()
    for one, bits in zip(candidates, information_of_each(ranking, candidates), strict=True):
        bits += _confirmation(unconfirmed, evidence.beliefs, one)
        table, shows = tables.systems[one.system], shown_of[one.system]
        if one.test.after and allowance(table, one.test, shows, evidence.done) < LIKELY:
            for first in one.test.after:
                opened.setdefault(f"{one.system}.{first}", []).append((one, bits))
        else:
            worth.append((one, bits))
    found = []
    for one, bits in worth:
        least = SLIGHT if one.system in evidence.asked else WORTHWHILE
        if bits >= least or one.key in opened:
            offered = _next_test(evidence, one.key, bits)
            offered = _with_what_it_opens(ranking, offered, opened.get(one.key, ()))
            if offered.bits >= least:
                found.append(offered)
    found = _codes_as_one(evidence, ranking, found)
    found += [act for operation in evidence.acts if (act := _act(evidence, operation)) is not None]
    ranked = sorted(found, key=lambda test: (bool(test.spoiled_by), -test.rate))
    return _spoilers_last(tables, _each_reading_once(ranked))


def _with_what_it_opens(
    ranking: Ranking, test: NextTest, opened: Iterable[tuple[JointTest, float]]
) -> NextTest:
    """A test that is worth more for one of those that it opens than by itself, with what that one tells."""
    best = test
    for one, bits in opened:
        first = ranking.beliefs.tables.systems[test.system].tests[test.key]
        if first.codes and one.test.codes:
            continue  # the lists are read at once
        allowed = ranking.chance_of(test.system, first, one.test.after[test.key])
        both = attrs.evolve(
            test, bits=test.bits + allowed * bits, opens=one.test.question, then=one.test.minutes
        )
        if both.rate > best.rate or best.bits < WORTHWHILE <= both.bits:
            best = both
    return best


def _each_reading_once(ranked: Iterable[NextTest]) -> list[NextTest]:
    """Without a second test of the same reading: what is read once is read for both."""
    kept: dict[tuple[str, ...], NextTest] = {}
    for test in ranked:
        key = (test.wants, test.place, test.operation) if test.wants else (test.system, test.key)
        kept.setdefault(key, test)
    return list(kept.values())


def _idle_systems(evidence: Evidence) -> frozenset[str]:
    """Systems of which hardly anything can be at fault: what their tests would tell of the rest is not what
    anybody takes them up for.
    """
    tables = evidence.tables
    faults: dict[str, set[str]] = {system: set() for system in tables.systems}
    for full in tables.faults:
        faults[full.partition(".")[0]].add(full)
    return frozenset(
        system
        for system, own in faults.items()
        if system not in evidence.asked and chance_of(evidence.beliefs, own) < UNLIKELY
    )


def _barred(evidence: Evidence) -> dict[str, frozenset[str]]:
    """System → its tests and operations that are not done as things stand."""
    systems = evidence.tables.systems.items()
    return {key: table.barred(evidence.seen, evidence.found) for key, table in systems}


def _is_answered(evidence: Evidence, test: FaultTest) -> bool:
    """Whether a trial has asked the same already, or what the customer tells leaves nothing to ask."""
    complaint = evidence.tables.complaint
    if complaint is not None and not set(test.not_told).isdisjoint(complaint.symptoms):
        return True
    tried = evidence.tried
    return bool(tried) and any((part, way) in tried for part in test.rests_on or () for way in test.trials)


def _codes_as_one(evidence: Evidence, ranking: Ranking, found: Sequence[NextTest]) -> list[NextTest]:
    """The lists of trouble codes are read at once: one step, worth what all of its questions are worth, also
    of those that mean something only where another code is not set.
    """
    tables = evidence.tables
    codes = [test for test in found if tables.tests[f"{test.system}.{test.key}"].test.codes]
    if not codes:
        return list(found)
    best = max(codes, key=lambda test: test.bits)
    bits = math.fsum(test.bits for test in codes)
    more = list[tuple[JointTest, float]]()
    for key, one in tables.tests.items():
        if not one.test.codes or not one.test.after or key in evidence.current:
            continue
        table = tables.systems[one.system]
        firsts = [(table.tests[first], names) for first, names in one.test.after.items()]
        if all(first.codes for first, _ in firsts):
            more.append((one, min(ranking.chance_of(one.system, f, names) for f, names in firsts)))
    for (_, allowed), theirs in zip(
        more, information_of_each(ranking, [one for one, _ in more]), strict=True
    ):
        bits += allowed * theirs
    read = attrs.evolve(best, bits=bits, minutes=max(test.minutes for test in codes))
    return [read, *(test for test in found if test not in codes)]


def _unconfirmed_faults(evidence: Evidence, beliefs: Beliefs) -> frozenset[str]:
    """The faults of parts that most likely are at fault and that no test or trial has shown directly so far:
    without that they may not be called for.
    """
    tables, chances = evidence.tables, beliefs.branches.chances
    found: set[str] = set()
    for work, places in beliefs.branches.layout.of_work.items():
        if math.fsum([chances[place] for place in places]) >= HALF:
            faults = tables.of_work(work)  # none, where it is passed on to somebody else
            if not any(_direct(evidence, key) for key in faults) and not tried_out(evidence, faults):
                found |= faults
    return frozenset(found)


def _confirmation(unconfirmed: Collection[str], beliefs: Beliefs, one: JointTest) -> float:
    """What a test is worth that would show a likely part directly: one bit, times the chance that it does."""
    worth, branches = 0.0, beliefs.branches
    for fault, row in one.test.given.items() if unconfirmed else ():
        full = f"{one.system}.{fault}"
        if row.direct and full in unconfirmed:
            places = [one.test.outcomes.index(outcome) for outcome in row.direct]
            rows, kinds = rows_for(beliefs, one.system, one.test), branches.layout.kinds(one.system)
            worth += math.fsum(
                chance * rows.of(kind)[place]
                for kind, (own, chance) in enumerate(
                    zip(kinds.own, branches.of_kinds(one.system), strict=True)
                )
                if fault in own
                for place in places
            )
    return worth


def _act(evidence: Evidence, operation: Operation) -> NextTest | None:
    """Harmless work done to find out: worth as much as the best test that it opens, read after it."""
    tables = evidence.tables
    removes = tables.of_work(operation.key)
    if operation.key in evidence.done or operation.as_test is None or not removes:
        return None
    barred = _barred(evidence)
    if operation.key in barred[operation.key.partition(".")[0]]:
        return None
    done = evidence.done | {operation.key}
    opened = [
        (key, one)
        for key, one in tables.tests.items()
        if _is_opened(evidence, one, done)
        and one.test.proposed
        and one.test.key not in barred[one.system]
        and applies(one.test.only, evidence.fitted)
    ]
    if not opened:
        return None
    after = supposing(evidence.beliefs, Act(removes=removes, fails=trials().ways[operation.way].fails))
    ranking, unconfirmed = Ranking(after), _unconfirmed_faults(evidence, after)
    minutes, waits = operation.as_test
    best: tuple[float, NextTest] | None = None
    for key, one in opened:
        allowed = _opening_chance(evidence, ranking, one, done)
        if not allowed:
            continue
        bits = information(ranking, one.system, one.test)
        bits = allowed * (bits + _confirmation(unconfirmed, after, one))
        takes = minutes + one.test.minutes
        if bits >= WORTHWHILE and (best is None or bits / takes > best[0]):
            test = attrs.evolve(
                _next_test(evidence, key, bits),
                minutes=takes,
                waits=waits + one.test.waits,
                operation=operation.key,
                question=f"{operation.title}, then test again: {_lower(one.test.question)}",
            )
            best = bits / takes, test
    return best[1] if best is not None else None


def _is_opened(evidence: Evidence, one: JointTest, done: Collection[str]) -> bool:
    """Whether a test that cannot be made now can be made after some work: either it means something only
    after that work, or what it needs first does.
    """
    return one.test.is_due(done) and (
        not one.test.is_due(evidence.done) or bool(_needed_first(evidence, one, done))
    )


def _needed_first(
    evidence: Evidence, one: JointTest, done: Collection[str]
) -> list[tuple[FaultTest, Collection[str]]]:
    """The tests that come before it and that some work opens, with their outcomes that allow it."""
    table = evidence.tables.systems[one.system]
    firsts = [(table.tests[first], names) for first, names in one.test.after.items()]
    return [(test, names) for test, names in firsts if test.is_due(done) and not test.is_due(evidence.done)]


def _opening_chance(evidence: Evidence, after: Ranking, one: JointTest, done: Collection[str]) -> float:
    """The chance that a test which some work opens can be made after it."""
    if not one.test.is_due(evidence.done):
        return 1.0
    needed = _needed_first(evidence, one, done)
    return min(after.chance_of(one.system, test, names) for test, names in needed)


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _of_system(evidence: Evidence, system: str) -> dict[str, Outcome]:
    """Test → what it showed last and still tells, of one system."""
    return {
        shown.outcome.test.key: shown.outcome
        for key, shown in evidence.latest.items()
        if shown.system == system and key in evidence.current
    }


def _next_test(evidence: Evidence, key: str, bits: float) -> NextTest:
    one = evidence.tables.tests[key]
    test = one.test
    tests = evidence.tables.tests
    spoiler = next(
        (
            tests[made].test.question
            for made in evidence.made
            if made in tests and tests[made].system == one.system and test.key in tests[made].test.spoils
        ),
        "",
    )
    wants = test.asked_for
    return NextTest(
        system=one.system,
        key=test.key,
        question=test.question,
        minutes=test.minutes,
        waits=test.waits,
        bits=bits,
        wants=wants,
        repeat=key in evidence.latest,
        spoiled_by=spoiler,
        place=test.place,
    )


def _spoilers_last(tables: Tables, ranked: Iterable[NextTest]) -> list[NextTest]:
    """The same order, but each test after all of them that it would spoil, unless that was done already."""
    waiting, placed = list(ranked), list[NextTest]()
    wanted = Counter((test.system, test.key) for test in waiting if not test.spoiled_by)
    spoils = {
        id(test): [(test.system, key) for key in tables.systems[test.system].tests[test.key].spoils]
        for test in waiting
    }
    while waiting:
        # A table holds no circle, so one of them spoils none of the rest.
        place = next(
            place for place, test in enumerate(waiting) if not any(wanted[key] for key in spoils[id(test)])
        )
        placed.append(first := waiting.pop(place))
        if not first.spoiled_by:
            wanted[first.system, first.key] -= 1
    return placed


# ---- calls


def named_fault(evidence: Evidence, operation: str) -> str:
    """Full key of the fault that this work would cure; empty where no one stands out from the others."""
    faults, beliefs = evidence.tables.of_work(operation), evidence.beliefs
    likeliest = max(sorted(faults), key=lambda fault: chance_of(beliefs, {fault}), default="")
    if not likeliest or chance_of(beliefs, {likeliest}) < NAMED_AT * chance_of(beliefs, faults):
        return ""
    return likeliest


def call_for_part(evidence: Evidence, operation: str, stage: int) -> Call:
    """May this part be called for?

    Two things together: a test that speaks directly against it has plainly failed, or a trial has shown it;
    and its faults hold 0.86 of the probability.
    """
    tables = evidence.tables
    against = tables.of_work(operation)
    held = chance_of(evidence.beliefs, against)
    reason = shown_directly(evidence, against)
    if not reason:
        why = "No test that speaks directly against the part has plainly failed, and no trial has shown it."
        if held >= CALL_AT:
            why += (
                " It is that likely all the same: with a part known to be good the fault goes, and with the"
                " old one back in it comes again, or it is something else."
            )
        return Call(operation=operation, met=False, stage=stage, why=why)
    if held < CALL_AT:
        # Rounded down: what lacks a little is never printed as what is asked for.
        holds = math.floor(100 * held)
        why = f"Other explanations remain: the part holds {holds}%; {CALL_AT:.0%} is asked for."
        return Call(operation=operation, met=False, stage=stage, why=why)
    return Call(operation=operation, met=True, stage=stage, why=reason)


def _direct(evidence: Evidence, fault: str) -> str:
    """The answer of a test that speaks directly against a fault's part and still tells; empty without one."""
    system, _, key = fault.partition(".")
    for full in sorted(evidence.current):
        shown = evidence.latest[full]
        row = shown.outcome.test.given.get(key)
        if shown.system == system and row and (answer := shown.outcome.plain_among(row.direct)):
            return f"{shown.outcome.test.question} Answer: {answer}."
    return ""


def shown_directly(evidence: Evidence, faults: Collection[str]) -> str:
    """What speaks directly against the part of one of these faults: the answer of a test that plainly failed,
    else a trial; empty without either.
    """
    answers = (answer for fault in sorted(faults) if (answer := _direct(evidence, fault)))
    return next(answers, "") or tried_out(evidence, faults)


def tried_out(evidence: Evidence, faults: Collection[str]) -> str:
    """That a trial has shown it: the fault moved with the part, or came back with the old one. Empty where
    none has, and once the part was worked on.
    """
    shown = False
    for event in evidence.events:
        if isinstance(event.step, Hint):
            shown |= event.step.decides and not event.step.faults.isdisjoint(faults)
        elif isinstance(event.step, Act) and event.step.undone is None:
            shown &= event.step.removes.isdisjoint(faults)
    if shown:
        return "A trial has shown it: the fault went with the part."
    return ""


def work_is_likely(evidence: Evidence, operation: str) -> float:
    """The chance of the faults that a piece of work cures."""
    return chance_of(evidence.beliefs, evidence.tables.of_work(operation))


__all__ = [
    "CALL_AT",
    "WORK_AT",
    "Call",
    "Evidence",
    "NextTest",
    "Outcome",
    "Suspect",
    "call_for_part",
    "next_tests",
    "shown_directly",
    "suspects",
    "tried_out",
    "work_is_likely",
]
