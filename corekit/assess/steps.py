"""The next steps in one order: what open findings ask for among what the tables would test."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from ..model.measurand import Trait
from ..plugin.faults import FaultTable
from .outcome import applies
from .ranking import Ranking, information
from .suspect import ASKING, Evidence, NextTest

#: Share of a system's tests that hang on a trait, from which it is asked before them: an estimate of ours.
MOST = 0.5


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
            if one[0] >= test.rate or (one[1].system == test.system and not one[2].isdisjoint(spoils))
        ]
        waiting = [one for one in waiting if one not in before]
        found += [*(wanted for _, wanted, _ in before), test]
    return [*found, *(wanted for _, wanted, _ in waiting)]


def with_what_is_fitted_first(
    evidence: Evidence, tests: Sequence[NextTest], answered: Collection[str], traits: Mapping[str, Trait]
) -> list[NextTest]:
    """The steps, led by what the first of them hangs on where most of its system hangs on it: no system is
    begun before somebody looked of which kind it is. What was answered, *don't know* too, is not asked again.
    """
    if not tests:
        return []
    first = tests[0]
    table = evidence.tables.systems.get(first.system)
    test = table.tests.get(first.key) if table is not None else None
    asked = {one.wants for one in tests}
    looks = [
        NextTest(
            system=key.partition(".")[0],
            key=key,
            question=f"{traits[key].title}: which is it?",
            minutes=0.0,
            bits=first.bits,
            wants=key,
        )
        for key in (test.only if test is not None else ())
        if key in traits and key not in answered and key not in asked and _is_asked_of_most(table, key)
    ]
    return [*looks, *tests]


def _is_asked_of_most(table: FaultTable | None, trait: str) -> bool:
    tests = [test for test in table.tests.values() if test.proposed] if table is not None else []
    return sum(trait in test.only for test in tests) >= MOST * len(tests) > 0


def _rate(bits: float, minutes: float) -> float:
    """What a test tells in a minute of work."""
    return bits / max(minutes, ASKING)
