"""Fault tables: what can be wrong, how often, and what each test shows then.

A system writes it in its faults.toml, which `fault_file` reads.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from functools import cached_property

import attrs

#: The core's own two hypotheses: nothing is wrong, and something that no installed system speaks of.
NONE, OUTSIDE = "none", "outside"

#: How surely a vehicle with a fault shows once more what was told of it, and how often it looks sound just
#: then; else it shows what it may show by the table. Estimates of ours.
SHOWN_AGAIN, LOOKS_SOUND = 0.85, 0.05

#: Trait → the answers under which something applies; of a trait that counts, the numbers. An unknown trait
#: bars nothing.
Only = Mapping[str, tuple[str, ...]]


@attrs.frozen(kw_only=True)
class Fault:
    """Something that can be wrong.

    Attributes:
        per_1000: How many of 1000 vehicles taken at random have it now; `why` says on what ground.
        part: Key of the part that has the fault, where one is declared.
        calls_for: Key of the operation that cures it; empty where the system sells no work for it.
        refer: For a fault without an operation: who or what step comes next, in words.
        life: Years that the part usually lasts: a renewed one is less often at fault.
        only: On which vehicles it can be met at all.
        cause: The same for the customer, as the cause of a complaint and short enough for a headline: *a
            worn-out brake pad*.
        tells: What it means, in one sentence for the customer.
        visits: How many retested visits of the shop stand behind its numbers; 0 where they are the table's.
    """

    key: str
    name: str
    per_1000: float
    why: str
    part: str = ""
    calls_for: str = ""
    refer: str = ""
    life: float | None = None
    only: Only = attrs.field(factory=dict)
    cause: str = ""
    tells: str = ""
    visits: int = 0

    @property
    def headline(self) -> str:
        """The cause in the customer's words; the trade's name where the table has no others."""
        begins = self.name[:2]  # an abbreviation keeps its capitals, *A relay* is none
        if self.cause or (begins.isupper() and begins.isalpha()):
            return self.cause or self.name
        return f"{self.name[:1].lower()}{self.name[1:]}"

    @property
    def for_customer(self) -> str:
        """What the customer is told of it."""
        return self.tells or f"{self.name}."


@attrs.frozen(kw_only=True)
class Pair:
    """Two faults that are met together more often than by chance.

    `key` is both names, as `drain+worn_out`.
    """

    key: str
    of: tuple[str, str]
    per_1000: float
    why: str


@attrs.frozen(kw_only=True)
class OutcomeRow:
    """What a test shows under one fault: a probability for each outcome.

    `direct` names the outcomes that speak directly against this fault's part; only then may a part be called
    for.
    """

    p: tuple[float, ...]
    why: str = ""
    direct: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class FaultTest:
    """A test of the table.

    Its outcome comes from one place:
    `measurand` (at `place`), the bins of a reading, parted `at` in the coherent unit;
    `code`, a finding: the bins of its value where `at` is given, how far it lies beyond its limit where
    `beyond` is given (a share of the limit where `relative`), else inside and outside the limit;
    `graded`, a finding's own grade, with `answers`;
    `seen`, an observation with `answers`;
    `trait`, what the vehicle is fitted with, with `answers` or `at`;
    `codes`, trouble codes: any of them set, none set; without an outcome where no list was read.
    Where a `place` is named, a finding or an observation counts at that one alone.

    Attributes:
        question: What it answers, in the mechanic's words.
        minutes: Hands-on. waits: Minutes of waiting beside them, during which something else can be done.
        sound: The outcome a vehicle without these faults shows.
        none: The probabilities where none of this system's faults is there.
        otherwise: Those under a fault of this system without a row of its own.
        outside: Those where something outside all systems is wrong; empty: as `none`.
        given: Fault or pair key → row.
        answers: Of each outcome the words that mean it.
        after: Test → its outcomes of which one must have been shown first; without that this test means
            nothing. Of those, a test that is not due is not asked for.
        since, until: Keys of operations: it means something only after one of these was done, or only before
            all of them (an open-circuit voltage says another thing after a full charge).
        spoils: Tests that read wrong once this one was made, so they come before it.
        at_fitted: Trait → its answer → the limits between bins on a vehicle fitted so, instead of `at`.
        group: Of the tests of one group only the first in the table that was made counts.
        again: How surely an unchanged vehicle shows the same again.
        rests_on: Keys of the parts that it speaks of; work on one makes it worth making again. None: on
            whatever it has rows for.
        only: On which vehicles it can be made.
        proposed: False for what counts where somebody found it so and is never a step to take.
        lasting: What it shows does not come and go with a complaint that shows now and then: an age, a look,
            a dead cell; a code once stored stays, so every test by codes is.
        trials: Ways of trial that ask the same of the parts it rests on: where one of those was tried so,
            and did not just go away, it is no step any more.
        not_told: Symptoms under which it cannot be made: nothing is counted on an engine that does not run.
        retells: Symptom → the outcomes that only show once more what was told with it.
    """

    key: str
    question: str
    minutes: float
    outcomes: tuple[str, ...]
    sound: str
    none: tuple[float, ...]
    otherwise: tuple[float, ...]
    given: Mapping[str, OutcomeRow]
    outside: tuple[float, ...] = ()
    measurand: str = ""
    place: str = ""
    at: tuple[float, ...] = ()
    at_fitted: Mapping[str, Mapping[str, tuple[float, ...]]] = attrs.field(factory=dict)
    code: str = ""
    beyond: tuple[float, ...] = ()
    relative: bool = False
    graded: str = ""
    seen: str = ""
    trait: str = ""
    answers: tuple[tuple[str, ...], ...] = ()
    codes: tuple[str, ...] = ()
    wants: str = ""
    waits: float = 0.0
    after: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict)
    since: tuple[str, ...] = ()
    until: tuple[str, ...] = ()
    spoils: tuple[str, ...] = ()
    group: str = ""
    again: float = 0.96
    rests_on: tuple[str, ...] | None = None
    only: Only = attrs.field(factory=dict)
    proposed: bool = True
    lasting: bool = False
    trials: tuple[str, ...] = ()
    not_told: tuple[str, ...] = ()
    retells: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict)

    def likelihood(self, fault: str) -> tuple[float, ...]:
        """The probability of each outcome under a fault of this system (or a pair that has a row of its
        own), under `none` and under `outside`.
        """
        if fault == NONE:
            return self.none
        if fault == OUTSIDE:
            return self.outside or self.none
        row = self.given.get(fault)
        return row.p if row else self.otherwise

    def together(self, rows: Sequence[Sequence[float]]) -> tuple[float, ...]:
        """The probability of each outcome under several faults at once, from what each shows alone.

        The vehicle looks sound only where every one of them lets it: `none` times the share that each leaves
        of it. The rest goes to the other outcomes in proportion to the larger chance that any of the faults
        gives them.
        """
        at = self.outcomes.index(self.sound)
        looks_sound = self.none[at] * math.prod(min(1.0, row[at] / self.none[at]) for row in rows)
        largest = [
            0.0 if place == at else max(row[place] for row in rows) for place in range(len(self.outcomes))
        ]
        rest = (1.0 - looks_sound) / math.fsum(largest)
        return tuple(looks_sound if place == at else rest * p for place, p in enumerate(largest))

    def after_told(self, symptoms: Collection[str]) -> FaultTest:
        """The same test where these symptoms were told: what a fault was told to show it mostly shows again,
        whichever fault it is, and that is no second witness. How it shows within that still counts, and so
        does that it does not show.
        """
        again = {name for symptom in symptoms for name in self.retells.get(symptom, ())}
        if not again:
            return self
        there = [name in again for name in self.outcomes]

        def row(p: Sequence[float]) -> tuple[float, ...]:
            whole = math.fsum(one for one, is_there in zip(p, there, strict=True) if is_there)
            return tuple(
                (SHOWN_AGAIN * one / whole if is_there else 0.0)
                + LOOKS_SOUND * sound
                + (1.0 - SHOWN_AGAIN - LOOKS_SOUND) * one
                for one, sound, is_there in zip(p, self.none, there, strict=True)
            )

        return attrs.evolve(
            self,
            otherwise=row(self.otherwise),
            outside=row(self.outside or self.none),
            given={key: attrs.evolve(one, p=row(one.p)) for key, one in self.given.items()},
        )

    def is_due(self, done: Collection[str]) -> bool:
        """Whether it means something after these operations were done."""
        return (not self.since or any(key in done for key in self.since)) and not any(
            key in done for key in self.until
        )

    @property
    def asked_for(self) -> str:
        """Key of what has to be read, looked at or asked for it."""
        return self.wants or self.measurand or self.seen or self.trait


@attrs.frozen(kw_only=True)
class NotWhile:
    """What is not done while something dangerous stands as it was seen.

    Attributes:
        seen: Observation → the answers that bar. found: Codes of findings that bar while they do not pass.
        tests, works: Keys of tests that are not offered, and of operations that are not offered as a step.
    """

    seen: Mapping[str, tuple[str, ...]]
    tests: frozenset[str]
    found: frozenset[str] = frozenset()
    works: frozenset[str] = frozenset()
    why: str = ""


@attrs.frozen(kw_only=True, eq=False, slots=False)
class FaultTable:
    """What can be wrong with one system, and what each test shows then.

    Attributes:
        not_while: What dangers bar.
        pairs: Two faults that are met together more often than by chance; every other two are independent.
        symptoms: Symptom → fault → the chance that the customer tells it under that fault.
        when: Circumstance → fault → factor on its odds.
        relieved: Operation → the faults that it leaves and whose complaint may go all the same, for a while.
    """

    system: str = ""
    faults: Mapping[str, Fault]
    tests: Mapping[str, FaultTest]
    pairs: Mapping[str, Pair] = attrs.field(factory=dict)
    symptoms: Mapping[str, Mapping[str, float]] = attrs.field(factory=dict)
    when: Mapping[str, Mapping[str, float]] = attrs.field(factory=dict)
    not_while: tuple[NotWhile, ...] = ()
    relieved: Mapping[str, frozenset[str]] = attrs.field(factory=dict)

    def after_told(self, symptoms: Collection[str]) -> FaultTable:
        """The same table where a complaint was told with these symptoms; made once for each."""
        told = frozenset(symptoms) & {symptom for test in self.tests.values() for symptom in test.retells}
        if not told:
            return self
        known = self._after_told.get(told)
        if known is None:
            tests = {key: test.after_told(told) for key, test in self.tests.items()}
            known = self._after_told[told] = attrs.evolve(self, tests=tests)
        return known

    @cached_property
    def _after_told(self) -> dict[frozenset[str], FaultTable]:
        return {}

    def barred(self, seen: Mapping[str, str], found: Collection[str] = ()) -> frozenset[str]:
        """The tests and operations that are not done, by what was seen (observation → answer) or found (codes
        of findings).
        """
        keys: set[str] = set()
        for one in self.not_while:
            if not one.found.isdisjoint(found) or any(
                seen.get(of) in answers for of, answers in one.seen.items()
            ):
                keys |= one.tests | one.works
        return frozenset(keys)

    @cached_property
    def _rows(self) -> dict[tuple[str, frozenset[str]], tuple[float, ...]]:
        return {}

    def row(self, test: FaultTest, faults: frozenset[str]) -> tuple[float, ...]:
        """The probability of each outcome of a test by this table's own numbers where these faults are there
        (none, one or two); computed once for each.
        """
        known = self._rows.get((test.key, faults))
        if known is None:
            known = self._rows[test.key, faults] = self._row(self.tests.get(test.key, test), faults)
        return known

    def _row(self, test: FaultTest, faults: frozenset[str]) -> tuple[float, ...]:
        if not faults:
            return test.none
        if len(faults) == 1:
            return test.likelihood(*faults)
        for pair in self.pairs.values():
            if pair.key in test.given and set(pair.of) == faults:
                return test.given[pair.key].p
        # Faults that a test does not speak of look alike to it, and so do pairs of them.
        alike = tuple(sorted(fault if fault in test.given or fault == OUTSIDE else "" for fault in faults))
        known = self._together.get((test.key, alike))
        if known is None:
            rows = [test.likelihood(fault) for fault in sorted(faults)]
            known = self._together[test.key, alike] = test.together(rows)
        return known

    @cached_property
    def _together(self) -> dict[tuple[str, tuple[str, ...]], tuple[float, ...]]:
        return {}

    @property
    def codes(self) -> frozenset[str]:
        """Every trouble code that some test of the table asks for."""
        return frozenset(code for test in self.tests.values() for code in test.codes)
