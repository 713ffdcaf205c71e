"""Fault tables: what can be wrong, how often, and what each test shows then.

A system writes it in its faults.toml, which `fault_file` reads.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import attrs

NONE, OUTSIDE = "none", "outside"


@attrs.frozen(kw_only=True)
class Fault:
    """Something that can be wrong.

    `weight` says how often among such visits (only ratios count), `why` on what ground.
    """

    key: str
    name: str
    weight: float
    why: str = ""
    calls_for: str = ""


@attrs.frozen(kw_only=True)
class Pair:
    """Two faults at once, where that is met often enough to matter.

    `key` is both names, as `drain+worn_out`.
    """

    key: str
    of: tuple[str, str]
    weight: float
    why: str = ""


@attrs.frozen(kw_only=True)
class OutcomeRow:
    """What a test shows under one fault: a probability for each outcome.

    `direct` names the outcome that speaks directly against this fault's part; only then may a part be called
    for.
    """

    p: tuple[float, ...]
    why: str = ""
    direct: str = ""


@attrs.frozen(kw_only=True)
class FaultTest:
    """A test of the table.

    Its outcome comes from one of four places: the bins of a measurand's reading (`measurand`, `place`, `at`
    in coherent units, one fewer than outcomes), the verdict of a finding (`code`: outcomes are in the order
    pass, fail), an observation's answer (`seen`, `answers` in the order of outcomes), or trouble codes
    (`codes`: outcomes are in the order any of them set, none set; without an outcome where no list was read).

    Attributes:
        question: What it answers, in the mechanic's words.
        minutes: Hands-on. waits: Minutes of waiting beside them, during which something else can be done.
        sound: The outcome a vehicle without these faults shows.
        otherwise: The probabilities under every fault without a row of its own.
        given: Fault or pair key → row.
        after: Test → its outcomes of which one must have been shown first; without that this test means
            nothing.
        spoils: Tests that read wrong once this one was made, so they come before it.
    """

    key: str
    question: str
    minutes: float
    outcomes: tuple[str, ...]
    sound: str
    otherwise: tuple[float, ...]
    given: Mapping[str, OutcomeRow]
    measurand: str = ""
    place: str = ""
    at: tuple[float, ...] = ()
    code: str = ""
    seen: str = ""
    answers: tuple[str, ...] = ()
    codes: tuple[str, ...] = ()
    wants: str = ""
    waits: float = 0.0
    after: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict)
    spoils: tuple[str, ...] = ()

    def likelihood(self, fault: str) -> tuple[float, ...]:
        """The probability of each outcome under a fault (or a pair that has a row of its own)."""
        row = self.given.get(fault)
        return row.p if row else self.otherwise

    def together(
        self, rows: Sequence[Sequence[float]], otherwise: Sequence[float] | None = None
    ) -> tuple[float, ...]:
        """The probability of each outcome under several faults at once, from what each shows alone.

        The vehicle looks sound only where every one of them lets it: `otherwise` times the share that each
        leaves of it. The rest goes to the other outcomes in proportion to the larger chance that any of the
        faults gives them.
        """
        otherwise = otherwise or self.otherwise
        at = self.outcomes.index(self.sound)
        looks_sound = otherwise[at] * math.prod(min(1.0, row[at] / otherwise[at]) for row in rows)
        largest = [
            0.0 if place == at else max(row[place] for row in rows) for place in range(len(self.outcomes))
        ]
        rest = (1.0 - looks_sound) / sum(largest)
        return tuple(looks_sound if place == at else rest * p for place, p in enumerate(largest))


@attrs.frozen(kw_only=True)
class FaultTable:
    """What can be wrong, alone (`faults`) or two at once (`pairs`), and what each test shows then."""

    faults: Mapping[str, Fault]
    tests: Mapping[str, FaultTest]
    pairs: Mapping[str, Pair] = attrs.field(factory=dict)

    def of(self, hypothesis: str) -> tuple[str, ...]:
        """The faults that a hypothesis speaks of: one, or the two of a pair."""
        return self.pairs[hypothesis].of if hypothesis in self.pairs else (hypothesis,)

    def chances(self, test: FaultTest, hypothesis: str) -> tuple[float, ...]:
        """The probability of each outcome under a fault or a pair; a pair without a row of its own gets one
        from those of its two faults.
        """
        if hypothesis in test.given or hypothesis not in self.pairs:
            return test.likelihood(hypothesis)
        return test.together([test.likelihood(fault) for fault in self.pairs[hypothesis].of])

    @property
    def codes(self) -> frozenset[str]:
        """Every trouble code that some test of the table asks for."""
        return frozenset(code for test in self.tests.values() for code in test.codes)
