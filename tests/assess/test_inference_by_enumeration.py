"""What is believed, and what each test would tell, is the same as by plain enumeration of every branch."""

from __future__ import annotations

import random

import pytest

from corekit.assess.hypotheses import Complaint, Tables, joint
from corekit.assess.inference import Act, Hint, Retold, Shown, chance_of, chances_of_each, now, start, step
from corekit.assess.ranking import Ranking, information
from corekit.plugin.host import load

from . import enumeration as plain

NEAR = 1e-12
TABLES = {key: system.faults for key, system in load().systems.items() if system.faults is not None}
COMPLAINTS = {
    "nothing told": None,
    "own words": Complaint(),
    "one symptom": Complaint(symptoms=("cranks_slowly",)),
    "two symptoms, now and then": Complaint(symptoms=("misses_under_load", "cranks_no_start"), shows=0.3),
    "a circumstance": Complaint(symptoms=("cranks_no_start",), circumstances=("cold",)),
}


def events(tables: Tables, draw: random.Random, count: int) -> list[Act | Retold | Shown | Hint]:
    """Tests with any outcome, shared or plain, some made twice; repairs, trials and looks in between."""
    found: list[Act | Retold | Shown | Hint] = []
    faults, tests = sorted(tables.faults), list(tables.tests.values())
    for _ in range(count):
        what = draw.random()
        if what < 0.65 or not faults:
            one = draw.choice(tests[:12] if draw.random() < 0.4 else tests)
            weights = [draw.random() if draw.random() < 0.5 else 0.0 for _ in one.test.outcomes]
            weights[draw.randrange(len(weights))] = 1.0
            found.append(Shown(system=one.system, test=one.test, weights=tuple(weights), shows=tables.shows))
        elif what < 0.75:
            removes = frozenset(draw.sample(faults, min(2, len(faults))))
            found.append(Act(removes=removes, fails=0.1, brings=frozenset(draw.sample(faults, 1))))
        elif what < 0.8:
            found.append(Act(removes=frozenset(draw.sample(faults, 1)), undone=draw.random() < 0.5))
        elif what < 0.9:
            found.append(Hint(faults=frozenset(draw.sample(faults, 1)), these=0.9, other=0.2, none=0.05))
        else:
            found.append(Retold(draw.random() < 0.5))
    return found


@pytest.mark.parametrize("complaint", COMPLAINTS)
@pytest.mark.parametrize("seed", range(4))
def test_every_chance_and_every_bit_is_that_of_the_enumeration(complaint: str, seed: int) -> None:
    draw = random.Random(seed)
    systems = TABLES if seed == 0 else dict(draw.sample(sorted(TABLES.items()), 2))
    tables = joint(systems, COMPLAINTS[complaint], {}, systems)
    beliefs, expected = start(tables), plain.start(tables)
    for event in events(tables, draw, 3 if seed == 0 else 9):
        beliefs, expected = step(beliefs, event), plain.step(expected, event)
        assert set(beliefs.branches) == set(expected.branches)
        apart = max(abs(chance - beliefs.branches[one]) for one, chance in expected.branches.items())
        assert apart <= NEAR
    states = now(beliefs)
    assert states == pytest.approx(plain.now(expected), abs=NEAR, rel=0)
    for fault, chance in chances_of_each(states).items():
        assert chance == pytest.approx(chance_of(states, {fault}), abs=NEAR, rel=0)
    ranking, by_hand = Ranking(beliefs), plain.Ranking(expected)
    for one in list(tables.tests.values())[seed % 2 :: 2 if seed == 0 else 1]:
        told = information(ranking, one.system, one.test)
        assert told == pytest.approx(plain.information(by_hand, one.system, one.test), abs=NEAR, rel=0)


def test_tables_of_the_same_systems_complaint_and_faults_are_made_once() -> None:
    told = Complaint(symptoms=("cranks_slowly",))
    assert joint(TABLES, told, {}, ()) is joint(TABLES, told, {}, ())
    assert joint(TABLES, told, {}, ()) is not joint(TABLES, None, {}, TABLES)
    assert joint(TABLES, told, {}, (), renewed={"battery.battery": 0.1}) is not joint(TABLES, told, {}, ())
