"""Simulated visits: what a fault table, and the reasoning over it, are worth from the complaint to the work.

A visit draws what is wrong from the prevalences, what the customer tells from the symptoms, and every outcome
from the table with all its numbers moved at random by up to ×/÷ 1.5: the product reasons with numbers that
are wrong. Each vehicle is of one kind, drawn as well. Of readings that are measured some lie near an edge and
share their weight; some complaints show now and then only. Work that is called for is done, fails by its way,
and the complaint is looked at again; a visit ends when the complaint is gone, when it is said that nothing is
wrong or that it lies outside or with somebody else, when 90 minutes of hands-on work are used, or undecided.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache

import attrs

from ...assess.hypotheses import Complaint, Hypothesis, JointTest, Tables, joint
from ...assess.inference import Act, Beliefs, Retold, Shown, chance_of, now, start, step
from ...assess.outcome import LIKELY, Outcome, allowance
from ...assess.suspect import CALL_AT, WORK_AT, Evidence, NextTest, next_tests
from ...assess.timeline import StageOutcome
from ...complaints import CHECK_UP, SOMETHING_ELSE, symptoms, trials
from ...plugin.faults import OUTSIDE, FaultTable, FaultTest, OutcomeRow
from ...plugin.host import Plugins

MINUTES = 90.0
MOVED_BY = 1.5
NEAR_EDGE, NOW_AND_THEN, CHECK_UPS = 0.15, 0.15, 0.10
EDGE = 0.7  # the share that stays with the true outcome near an edge
SHOWS = 0.3
SURE = 0.95


@attrs.frozen(kw_only=True)
class Truth:
    """What is wrong, what is told, the tables that the vehicle goes by, and those that its mechanic knows."""

    state: Hypothesis
    complaint: Complaint
    tables: Tables
    known: Mapping[str, FaultTable]


@attrs.frozen(kw_only=True)
class Ended:
    """How a visit ended: `right`, `wrong` or `undecided`; what was done without need; hands-on minutes; and
    the said chance of the likeliest fault with whether it was there at first.
    """

    how: str
    wrong_part: bool
    wrong_work: bool
    minutes: float
    said: tuple[float, bool]


def moved(table: FaultTable, draw: random.Random) -> FaultTable:
    """A table with every chance of every row moved at random, each row summing to 1 again."""

    def row(p: Sequence[float]) -> tuple[float, ...]:
        scaled = [one * MOVED_BY ** draw.uniform(-1, 1) for one in p]
        return tuple(one / sum(scaled) for one in scaled)

    def test(one: FaultTest) -> FaultTest:
        given = {key: OutcomeRow(p=row(found.p), direct=found.direct) for key, found in one.given.items()}
        return attrs.evolve(
            one,
            none=row(one.none),
            otherwise=row(one.otherwise),
            outside=row(one.outside) if one.outside else (),
            given=given,
        )

    return attrs.evolve(table, tests={key: test(one) for key, one in table.tests.items()})


@attrs.frozen
class _Kind:
    """Vehicles fitted alike: their tables, what may be wrong with them, and what is told of it."""

    tables: Mapping[str, FaultTable]
    everything: Tables
    pairs: Sequence[tuple[Hypothesis, Complaint]]
    chances: Sequence[float]

    @classmethod
    def of(cls, tables: Mapping[str, FaultTable]) -> _Kind:
        everything = joint(tables, None, {}, tables)
        listed = [
            key
            for key, symptom in symptoms().symptoms.items()
            if key not in (CHECK_UP, SOMETHING_ELSE)
            and any(
                max(one.symptoms.get(key, {}).values(), default=0) >= 3 * symptom.none
                for one in tables.values()
            )
        ]
        pairs, chances = list[tuple[Hypothesis, Complaint]](), list[float]()
        for key in listed:
            complaint = Complaint(symptoms=(key,))
            told = attrs.evolve(everything, complaint=complaint)
            pairs += [(state, complaint) for state in everything.prior]
            chances += [chance * told.told(state) for state, chance in everything.prior.items()]
        return cls(tables, everything, pairs, chances)

    def truth(self, draw: random.Random) -> Truth:
        table = {key: moved(one, draw) for key, one in self.tables.items()}
        if not self.pairs or draw.random() < CHECK_UPS:
            states, weights = zip(*self.everything.prior.items(), strict=True)
            state: Hypothesis = draw.choices(states, weights)[0]
            complaint = Complaint(symptoms=(CHECK_UP,))
        else:
            state, found = draw.choices(self.pairs, self.chances)[0]
            shows = SHOWS if draw.random() < NOW_AND_THEN else 1.0
            complaint = attrs.evolve(found, shows=shows)
        told_of = {key: one.after_told(complaint.symptoms) for key, one in table.items()}
        own = attrs.evolve(self.everything, systems=told_of)
        return Truth(state=state, complaint=complaint, tables=own, known=self.tables)


def visits(
    tables: Mapping[str, FaultTable], count: int, seed: int, fitted: Mapping[str, str] | None = None
) -> Iterator[Truth]:
    """Vehicles with what is wrong with them. Each is of one kind, which its mechanic knows: of every trait
    that the tables ask for it has one of the answers that they name, each as likely, or the one that is
    `fitted`.
    """
    draw, fixed = random.Random(seed), dict(fitted or {})
    asked = {trait: answers for trait, answers in sorted(_named(tables).items()) if trait not in fixed}

    @lru_cache(maxsize=32)  # all systems together have more kinds than memory holds
    def kind(*answers: str) -> _Kind:
        drawn = dict(zip(asked, answers, strict=True))
        return _Kind.of({name: of_kind(one, fixed | drawn) for name, one in tables.items()})

    for _ in range(count):
        yield kind(*(draw.choice(answers) for answers in asked.values())).truth(draw)


def _named(tables: Mapping[str, FaultTable]) -> dict[str, list[str]]:
    """Trait → the answers that faults and tests of the tables name."""
    found: dict[str, dict[str, None]] = {}
    for table in tables.values():
        rules = [*(one.only for one in table.faults.values()), *(one.only for one in table.tests.values())]
        for only in rules:
            for trait, answers in only.items():
                found.setdefault(trait, {}).update(dict.fromkeys(answers))
    return {trait: list(answers) for trait, answers in found.items()}


@attrs.define(kw_only=True)
class Visit:
    """One visit under a policy: the mechanic with the tables, the vehicle with the truth."""

    truth: Truth
    tables: Mapping[str, FaultTable]
    draw: random.Random
    plugins: Plugins
    let_in: set[str] = attrs.field(factory=set)
    steps: list[Act | Retold | Shown] = attrs.field(factory=list)
    latest: dict[str, StageOutcome] = attrs.field(factory=dict)
    current: set[str] = attrs.field(factory=set)
    done: set[str] = attrs.field(factory=set)
    minutes: float = 0.0
    state: Hypothesis = frozenset()
    beliefs: Beliefs = attrs.field(init=False)
    _ranked: tuple[int, Sequence[NextTest]] = (-1, ())

    def __attrs_post_init__(self) -> None:
        self.state = self.truth.state
        self._again()

    def _again(self) -> None:
        """The beliefs from the start: a reading may have let faults in."""
        about = set(self.tables) if self.truth.complaint.symptoms == (CHECK_UP,) else set()
        tables = joint(self.tables, self.truth.complaint, {}, about, self.let_in)
        self.beliefs = start(tables)
        for event in self.steps:
            if not isinstance(event, Shown) or event.system in tables.systems:
                self.beliefs = step(self.beliefs, event)

    @property
    def evidence(self) -> Evidence:
        known = self.beliefs.tables.tests
        return Evidence(
            beliefs=self.beliefs,
            events=(),
            latest=self.latest,
            current=frozenset(self.current & known.keys()),
            made=frozenset(self.latest),
            barred=frozenset(),
            fitted={},
            done=frozenset(self.done),
            acts=[
                one
                for one in self.plugins.operations.values()
                if one.as_test and one.key.partition(".")[0] in self.beliefs.tables.systems
            ],
        )

    @property
    def next_tests(self) -> Sequence[NextTest]:
        """What the product would do next; worked out once after each step."""
        if self._ranked[0] != len(self.steps):
            self._ranked = len(self.steps), next_tests(self.evidence)
        return self._ranked[1]

    def make(self, one: JointTest) -> None:
        test = one.test
        row = self.truth.tables.row(one.system, test, self.state)
        shows = self.truth.complaint.shows
        if test.lasting:
            shows = 1.0
        if self.draw.random() >= shows:
            row = self.truth.tables.row(one.system, test, frozenset())
        place = self.draw.choices(range(len(row)), row)[0]
        weights = [float(other == place) for other in range(len(row))]
        measured = bool(test.measurand or test.code)
        if measured and self.draw.random() < NEAR_EDGE:
            beside = (
                place + 1 if place == 0 or (place + 1 < len(row) and self.draw.random() < 0.5) else place - 1
            )
            weights[place], weights[beside] = EDGE, 1 - EDGE
        outcome = Outcome(test=test, weights=tuple(weights), evidence=(), settled=max(weights) > EDGE)
        self.minutes += test.minutes
        self.latest[one.key] = StageOutcome(system=one.system, stage=0, outcome=outcome)
        self.current.add(one.key)
        shown = Shown(system=one.system, test=test, weights=outcome.weights, shows=shows)
        self.steps.append(shown)
        at = test.outcomes.index(outcome.plain) if outcome.plain else -1
        table = self.tables[one.system]
        new = {
            f"{one.system}.{fault}"
            for fault in table.faults
            if outcome.plain
            and outcome.plain != test.sound
            and test.likelihood(fault)[at] >= 3 * test.none[at]
        } - self.beliefs.tables.faults.keys()
        if new:
            self.let_in |= new
            self._again()
        else:
            self.beliefs = step(self.beliefs, shown)

    def repair(self, work: str) -> None:
        removes = self.beliefs.tables.of_work(work)
        fails = trials().ways[self.plugins.operations[work].way].fails
        self.done.add(work)
        if not self.state.isdisjoint(removes) and self.draw.random() >= fails:
            self.state = self.state - removes
        self.steps += [Act(removes=removes, fails=fails), Retold(self.still_there())]
        for key in list(self.current):
            shown = self.latest[key]
            test = shown.outcome.test
            if test.rests_on is not None:
                parts = {
                    self.tables[fault.partition(".")[0]].faults[fault.partition(".")[2]].part
                    for fault in removes
                }
                touched = not parts.isdisjoint(test.rests_on)
            else:
                touched = any(f"{shown.system}.{fault}" in removes for fault in test.given)
            if touched:
                self.current.discard(key)
        self._again()

    def still_there(self) -> bool:
        """Whether the complaint is still there: by what is left of the chance to tell it."""
        tables = attrs.evolve(self.truth.tables, complaint=self.truth.complaint)
        if self.state == self.truth.state:
            chance = 0.97
        else:
            chance = tables.told(self.state) / tables.told(self.truth.state) if self.state else 0.0
        return self.draw.random() < min(0.97, max(0.03, chance)) * self.truth.complaint.shows


Policy = Callable[[Visit], JointTest | None]


def ranked(visit: Visit) -> JointTest | None:
    """The product's own: information per hands-on minute."""
    for test in visit.next_tests:
        if test.operation:
            find_out(visit, test.operation)
            return visit.beliefs.tables.tests[f"{test.system}.{test.key}"]
        return visit.beliefs.tables.tests[f"{test.system}.{test.key}"]
    return None


def find_out(visit: Visit, operation: str) -> None:
    """Harmless work, done to find out: its minutes count, and it is nobody's wrong work."""
    found = visit.plugins.operations[operation].as_test
    assert found is not None
    visit.minutes += found[0]
    visit.repair(operation)


def open_tests(visit: Visit) -> list[JointTest]:
    evidence, found = visit.evidence, []
    groups = {
        (one.system, one.test.group)
        for key, one in visit.beliefs.tables.tests.items()
        if key in evidence.current and one.test.group
    }
    for key, one in visit.beliefs.tables.tests.items():
        shown = {
            found.outcome.test.key: found.outcome
            for other, found in visit.latest.items()
            if found.system == one.system and other in evidence.current
        }
        if (
            key not in evidence.current
            and (one.system, one.test.group) not in groups
            and one.test.is_due(visit.done)
            and allowance(visit.tables[one.system], one.test, shown, visit.done) >= LIKELY
        ):
            found.append(one)
    return found


def in_order(visit: Visit) -> JointTest | None:
    return next(iter(open_tests(visit)), None)


def decided(visit: Visit, plugins: Plugins, *, all_made: bool = False) -> str:
    """The work that may be done now, `(…)` for what is passed on, `-` where nothing in these systems explains
    the complaint; empty: go on. Where all tests were made nothing is left to be made first.
    """
    tables = visit.beliefs.tables
    direct = set()
    for key in visit.evidence.current:
        shown = visit.latest[key]
        for fault, row in shown.outcome.test.given.items():
            if shown.outcome.plain_among(row.direct):
                direct.add(f"{shown.system}.{fault}")

    def is_sure(held: float) -> bool:
        """Whether nothing is left that anybody would make first."""
        return held >= WORK_AT and (held >= SURE or all_made or not telling_step(visit))

    works: dict[str, set[str]] = {}
    for fault in tables.faults:
        works.setdefault(next(iter(tables.work(frozenset({fault})))), set()).add(fault)
    for work, faults in works.items():
        held = chance_of(visit.beliefs, faults)
        if work.startswith("("):
            if is_sure(held):
                return work
        elif plugins.operations[work].replaces:
            if held >= CALL_AT and direct & faults:
                return work
        elif is_sure(held):
            return work
    if visit.latest and is_sure(clear_of_faults(visit)):
        return "-"
    return ""


def clear_of_faults(visit: Visit) -> float:
    """The chance that none of these systems has a fault."""
    return 1.0 - chance_of(visit.beliefs, visit.beliefs.tables.faults.keys())


def is_clear(visit: Visit) -> bool:
    """Whether nothing in these systems explains the complaint, most likely."""
    return clear_of_faults(visit) >= WORK_AT


def telling_step(visit: Visit) -> bool:
    """Whether a step shown beside what is likely is so quick and telling that anybody would make it first."""
    return any(test.bits >= 0.1 and test.minutes <= 10 for test in visit.next_tests)


def run(visit: Visit, policy: Policy, plugins: Plugins, *, all_first: bool = False) -> Ended:
    wrong_part = wrong_work = False
    said: tuple[float, bool] | None = None
    tables = visit.truth.tables
    how = "undecided"
    while True:
        if all_first:
            everything(visit)
        work = decided(visit, plugins, all_made=all_first)
        if work and said is None:
            said = _said_chance(visit)
        if work == "-":
            how = "right" if visit.state <= {OUTSIDE} else "wrong"
            break
        if work.startswith("("):
            how = "right" if work in tables.work(visit.state) else "wrong"
            wrong_work = wrong_work or how == "wrong"
            break
        if work:
            needless = work not in tables.work(visit.state)
            wrong_work = wrong_work or needless
            wrong_part = wrong_part or (needless and bool(plugins.operations[work].replaces))
            visit.repair(work)
            last = visit.steps[-1]
            if isinstance(last, Retold) and not last.still:
                how = "wrong" if wrong_work else "right"
                break
            if sum(isinstance(event, Act) for event in visit.steps) >= 4:
                break
            continue
        one = None if all_first else policy(visit)
        if one is None and is_clear(visit):
            how = "right" if visit.state <= {OUTSIDE} else "wrong"
            break
        if one is None or visit.minutes + one.test.minutes > MINUTES:
            break
        visit.make(one)
    return Ended(
        how=how,
        wrong_part=wrong_part,
        wrong_work=wrong_work,
        minutes=visit.minutes,
        said=said or _said_chance(visit),
    )


def everything(visit: Visit) -> None:
    """Every test, and after harmless work every test that it opens."""
    while True:
        while (one := in_order(visit)) is not None:
            visit.make(one)
        for key in sorted(visit.current):
            if not visit.latest[key].outcome.settled and key in visit.beliefs.tables.tests:
                visit.make(visit.beliefs.tables.tests[key])  # read again what lay near an edge
        acts = [
            act
            for act in visit.evidence.acts
            if act.key not in visit.done and visit.beliefs.tables.of_work(act.key)
        ]
        if not acts:
            return
        find_out(visit, acts[0].key)


def _said_chance(visit: Visit) -> tuple[float, bool]:
    chances = {fault: chance_of(visit.beliefs, {fault}) for fault in (*visit.beliefs.tables.faults, OUTSIDE)}
    chances[""] = now(visit.beliefs).get(frozenset(), 0.0)
    best = max(chances, key=chances.__getitem__)
    return chances[best], (best in visit.state if best else not visit.state)


def wilson(hits: int, of: int, z: float = 1.96) -> tuple[float, float]:
    """The 95 % interval of a share (E. B. Wilson 1927); `z` for another."""
    p = hits / of
    middle = (p + z * z / (2 * of)) / (1 + z * z / of)
    half = z * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return max(0.0, middle - half), min(1.0, middle + half)


def of_kind(table: FaultTable, fitted: Mapping[str, str]) -> FaultTable:
    """The faults and tests that there are on a vehicle fitted so."""

    def applies(only: Mapping[str, Sequence[str]]) -> bool:
        return all(fitted.get(trait) in (None, *answers) for trait, answers in only.items())

    faults = {key: one for key, one in table.faults.items() if applies(one.only)}
    return attrs.evolve(
        table,
        faults=faults,
        pairs={key: one for key, one in table.pairs.items() if set(one.of) <= faults.keys()},
        tests={key: one for key, one in table.tests.items() if applies(one.only)},
    )


def ended_visits(
    tables: Mapping[str, FaultTable],
    plugins: Plugins,
    policy: Policy,
    count: int,
    seed: int,
    *,
    all_first: bool = False,
    fitted: Mapping[str, str] | None = None,
) -> Iterator[tuple[Truth, Ended]]:
    """So many visits and how each ended; the same for the same seed."""
    for n, truth in enumerate(visits(tables, count, seed, fitted)):
        visit = Visit(truth=truth, tables=truth.known, draw=random.Random(seed + n), plugins=plugins)
        yield truth, run(visit, policy, plugins, all_first=all_first)
