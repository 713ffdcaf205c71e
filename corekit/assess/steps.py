"""The next steps in one order: what open findings ask for among what the tables would test."""

from __future__ import annotations

from collections.abc import Sequence

from .outcome import applies
from .ranking import Ranking, information
from .suspect import ASKING, Evidence, NextTest


def with_what_findings_ask(
    evidence: Evidence, asked: Sequence[NextTest], ranked: Sequence[NextTest]
) -> list[NextTest]:
    """The steps that open findings ask for among those of the tables, each where a test that needs the same
    reading stands by its worth, and before whatever would spoil it; first where no table asks for it. What a
    table's test offers in its own words is not asked for twice.
    """
    ranking, tables = Ranking(evidence.beliefs), evidence.tables
    first, waiting = list[NextTest](), list[tuple[float, NextTest, set[str]]]()
    offered = {(test.system, test.wants, test.place) for test in ranked if not test.operation}
    for wanted in asked:
        if (wanted.system, wanted.wants, wanted.place) in offered:
            continue
        alike = [
            one.test
            for one in tables.tests.values()
            if one.system == wanted.system
            and one.test.asked_for == wanted.wants
            and applies(one.test.only, evidence.fitted)
        ]
        if alike:
            rate = max(_rate(information(ranking, wanted.system, test), test.minutes) for test in alike)
            waiting.append((rate, wanted, {test.key for test in alike}))
        else:
            first.append(wanted)
    waiting.sort(key=lambda one: -one[0])
    found = first
    for test in ranked:
        spoils = tables.systems[test.system].tests[test.key].spoils
        before = [
            one
            for one in waiting
            if one[0] >= _rate(test.bits, test.minutes)
            or (one[1].system == test.system and not one[2].isdisjoint(spoils))
        ]
        waiting = [one for one in waiting if one not in before]
        found += [*(wanted for _, wanted, _ in before), test]
    return [*found, *(wanted for _, wanted, _ in waiting)]


def _rate(bits: float, minutes: float) -> float:
    """What a test tells in a minute of work."""
    return bits / max(minutes, ASKING)
