"""From outcomes to suspects, to the next test, to whether a part may be called for."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence

import attrs

from ..plugin.faults import FaultTable, FaultTest
from .outcome import LIKELY, PLAIN, Outcome, allowance, outcomes
from .posterior import WRONG_BY, hypotheses_with, lowest_share, marginals, perturbations, posterior, share

__all__ = [
    "CALL_AT",
    "WRONG_BY",
    "Call",
    "NextTest",
    "Outcome",
    "Suspect",
    "call_for_part",
    "next_tests",
    "outcomes",
    "posterior",
    "suspects",
]

#: A part is called for at this probability or more, whichever single number of the table is wrong by the
#: factor.
CALL_AT = 0.80
#: With all numbers of the table off by the factor at once, up or down at random, the part must still hold
#: more than the first in this share of draws.
HALF, MOSTLY, DRAWS = 0.50, 0.95, 100
#: Tests that promise less than this many bits are not worth walking to the bonnet for.
WORTHWHILE = 0.01


@attrs.frozen(kw_only=True)
class Suspect:
    """A fault with its probability given all outcomes so far, alone or with another.

    For the mechanic; never for the customer's paper.
    """

    system: str
    fault: str
    name: str
    probability: float
    calls_for: str


@attrs.frozen(kw_only=True)
class NextTest:
    """A test worth making next, with the question it answers.

    Attributes:
        minutes: Hands-on. waits: Minutes of waiting beside them: start now, read later.
        bits: Expected information about what to do.
        wants: Key of the measurand or observation that it needs. place: Where it is read, when that is fixed;
            else empty.
        repeat: It was made and left open, so it is worth making again.
        spoiled_by: The question of a test made before that spoils this one; empty when none was.
    """

    system: str
    key: str
    question: str
    minutes: float
    bits: float
    wants: str
    waits: float = 0.0
    repeat: bool = False
    spoiled_by: str = ""
    place: str = ""

    def fits(self, minutes_left: float | None) -> bool:
        """True when it can be done and read in the time that is left."""
        return minutes_left is None or self.minutes + self.waits <= minutes_left


@attrs.frozen(kw_only=True)
class Call:
    """Whether an operation may be proposed on what was found, and why or why not yet."""

    operation: str
    met: bool
    why: str
    stage: int


def suspects(system: str, table: FaultTable, shown: Sequence[Outcome]) -> list[Suspect]:
    """All faults of the table, likeliest first."""
    chances = marginals(table, posterior(table, shown))
    ranked = sorted(table.faults.values(), key=lambda fault: -chances[fault.key])
    return [
        Suspect(
            system=system,
            fault=fault.key,
            name=fault.name,
            probability=chances[fault.key],
            calls_for=fault.calls_for,
        )
        for fault in ranked
    ]


def next_tests(
    system: str,
    table: FaultTable,
    shown: Sequence[Outcome],
    barred: Mapping[str, str],
    before: Collection[str] = (),
) -> list[NextTest]:
    """Tests worth making, by expected information per hands-on minute; a test that spoils another comes after
    it.

    Faults with the same operation need not be told apart, so the information is about the operation. A test
    that was made is offered again only where it was left open, with what is still to be learned by settling
    it.

    Args:
        barred: Code of a check that cannot be made yet → what must come first; such a test is not offered.
        before: Keys of tests that were made at this stage, also of those that count for nothing; what they
            spoil comes last and says so.
    """
    made = {outcome.test.key: outcome for outcome in shown}
    now = posterior(table, shown)
    found = []
    for test in table.tests.values():
        outcome = made.get(test.key)
        if (
            test.code in barred
            or allowance(test, made) < LIKELY
            or (outcome is not None and max(outcome.weights) >= PLAIN)
        ):
            continue
        if outcome is None:
            bits = _information(table, now, test, [1.0] * len(test.outcomes))
        else:
            bits = _information(
                table,
                posterior(table, [other for other in shown if other is not outcome]),
                test,
                outcome.weights,
            )
        if bits >= WORTHWHILE:
            found.append(_next_test(system, table, test, bits, made, before or made))
    return _spoilers_last(
        table, sorted(found, key=lambda test: (bool(test.spoiled_by), -test.bits / test.minutes))
    )


def _next_test(
    system: str,
    table: FaultTable,
    test: FaultTest,
    bits: float,
    made: Collection[str],
    before: Collection[str],
) -> NextTest:
    spoiler = next((table.tests[key].question for key in before if test.key in table.tests[key].spoils), "")
    wants = test.wants or test.measurand or test.seen
    return NextTest(
        system=system,
        key=test.key,
        question=test.question,
        minutes=test.minutes,
        waits=test.waits,
        bits=bits,
        wants=wants,
        repeat=test.key in made,
        spoiled_by=spoiler,
        place=test.place if wants == test.measurand else "",
    )


def _spoilers_last(table: FaultTable, ranked: Iterable[NextTest]) -> list[NextTest]:
    """The same order, but each test after all of them that it would spoil, unless that was done already."""
    waiting, placed = list(ranked), list[NextTest]()
    while waiting:
        keys = {test.key for test in waiting if not test.spoiled_by}
        # The table holds no circle, so one of them spoils none of the rest.
        first = next(test for test in waiting if keys.isdisjoint(table.tests[test.key].spoils))
        waiting.remove(first)
        placed.append(first)
    return placed


def _information(
    table: FaultTable, before: Mapping[str, float], test: FaultTest, weights: Sequence[float]
) -> float:
    """Mutual information between the operation called for and the test's outcome, in bits; never negative.

    Args:
        before: Probability of each hypothesis without this test.
        weights: What an earlier try of this test said of each outcome; all alike when there was none.
    """
    joint: dict[tuple[frozenset[str], int], float] = {}
    for key, chance in before.items():
        group = _group(table, key)
        for index, p in enumerate(table.chances(test, key)):
            joint[group, index] = joint.get((group, index), 0.0) + chance * p * weights[index]
    whole = math.fsum(joint.values())
    groups: dict[frozenset[str], float] = {}
    results: dict[int, float] = {}
    for (group, index), p in joint.items():
        groups[group] = groups.get(group, 0.0) + p / whole
        results[index] = results.get(index, 0.0) + p / whole
    return max(
        0.0,
        sum(
            p / whole * math.log2(p / whole / (groups[group] * results[index]))
            for (group, index), p in joint.items()
            if p > 0
        ),
    )


def _group(table: FaultTable, hypothesis: str) -> frozenset[str]:
    """The work that a hypothesis calls for; what calls for none is told apart by its name."""
    return frozenset(table.faults[fault].calls_for or f"({fault})" for fault in table.of(hypothesis))


def call_for_part(table: FaultTable, shown: Sequence[Outcome], operation: str, stage: int) -> Call:
    """May this part be called for?

    Two things together: a test that speaks directly against it has plainly failed, and its faults hold 0.80
    of the probability, also when any one number of the table is wrong by a factor of 1.5 either way. And they
    must stay likelier than all else together when all its numbers are wrong so at once, in 95 of 100 draws.
    """
    against = {key for key, fault in table.faults.items() if fault.calls_for == operation}
    direct = [outcome for outcome in shown if any(_speaks_against(outcome, fault) for fault in against)]
    if not direct:
        return Call(
            operation=operation,
            met=False,
            stage=stage,
            why="No test that speaks directly against the part has plainly failed.",
        )
    lowest = lowest_share(table, shown, against)
    if lowest < CALL_AT:
        held = share(table, posterior(table, shown), against)
        perturbed = f"{lowest:.0%} if one number of the fault table is off by {WRONG_BY:g}"
        why = (
            f"Other explanations remain: the part holds {held:.0%}, and {perturbed}; {CALL_AT:.0%} is asked"
            " for."
        )
        return Call(operation=operation, met=False, stage=stage, why=why)
    theirs = hypotheses_with(table, against)
    draws = [sum(chances[key] for key in theirs) > HALF for chances in perturbations(table, shown, DRAWS)]
    if sum(draws) < MOSTLY * len(draws):
        held_in = (
            f"with all its numbers off by {WRONG_BY:g} at random the part stays the likelier one in"
            f" {sum(draws)} of {DRAWS} draws"
        )
        why = f"Too much rests on the fault table: {held_in}; {MOSTLY * DRAWS:.0f} are asked for."
        return Call(operation=operation, met=False, stage=stage, why=why)
    return Call(
        operation=operation,
        met=True,
        stage=stage,
        why=f"{direct[0].test.question} Answer: {direct[0].plain}.",
    )


def _speaks_against(outcome: Outcome, fault: str) -> bool:
    row = outcome.test.given.get(fault)
    return bool(row and row.direct and outcome.plain == row.direct)
