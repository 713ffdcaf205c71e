"""What is believed, and what each test would tell, is the same as by plain enumeration of every branch."""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator

import pytest

from corekit.assess.hypotheses import Complaint, Tables, joint
from corekit.assess.inference import (
    Act,
    Hint,
    Retold,
    Shown,
    chance_of,
    now,
    rows_for,
    start,
    step,
    supposing,
)  # fmt: skip
from corekit.assess.ranking import DECIMALS, Ranking, information_of_each, use_columns
from corekit.plugin.faults import OUTSIDE
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
    states = plain.now(expected)
    assert now(beliefs) == pytest.approx(states, abs=NEAR, rel=0)
    some = set(draw.sample(sorted(tables.faults), len(tables.faults) // 2))
    for faults in ({OUTSIDE}, some, *({fault} for fault in tables.faults)):
        assert chance_of(beliefs, faults) == pytest.approx(plain.chance_of(states, faults), abs=NEAR, rel=0)
    by_hand = plain.Ranking(expected)
    tests = list(tables.tests.values())[seed % 2 :: 2 if seed == 0 else 1]
    each = [plain.information(by_hand, one.system, one.test) for one in tests]
    for columns in (False, True):
        assert use_columns(wanted=columns) is columns
        ranking = Ranking(beliefs)
        for one, bits in zip(tests, each, strict=True):
            (told,) = ranking.bits(one.system, [rows_for(beliefs, one.system, one.test)])
            assert told == pytest.approx(bits, abs=NEAR, rel=0)
        at_once = information_of_each(Ranking(beliefs), tests)
        assert at_once == pytest.approx(each, abs=10**-DECIMALS, rel=0)
        removes = frozenset(draw.sample(sorted(tables.faults), min(2, len(tables.faults))))
        act = Act(removes=removes, fails=0.2)
        for _ in range(2):  # once to find out where each branch leads to, once with that kept
            assert dict(supposing(beliefs, act).branches) == pytest.approx(
                dict(step(beliefs, act).branches), abs=NEAR, rel=0
            )


@pytest.fixture(autouse=True)
def _back_to_one_at_a_time() -> Iterator[None]:
    yield
    use_columns(wanted=False)


@pytest.mark.parametrize("complaint", COMPLAINTS)
def test_a_test_is_worth_the_same_to_the_last_digit_in_a_process_that_stays_and_in_one_that_ends(
    complaint: str,
) -> None:
    draw = random.Random(complaint)
    tables = joint(TABLES, COMPLAINTS[complaint], {}, TABLES)
    beliefs = start(tables)
    for event in [*events(tables, draw, 2), *events(tables, draw, 2)]:
        beliefs, told = step(beliefs, event), []
        wanted = draw.sample(list(tables.tests.values()), len(tables.tests) * 2 // 3)
        for columns in (False, True):
            use_columns(wanted=columns)
            told.append(information_of_each(Ranking(beliefs), wanted))
        assert told[0] == told[1]


def test_tables_of_the_same_systems_complaint_and_faults_are_made_once() -> None:
    told = Complaint(symptoms=("cranks_slowly",))
    assert joint(TABLES, told, {}, ()) is joint(TABLES, told, {}, ())
    assert joint(TABLES, told, {}, ()) is not joint(TABLES, None, {}, TABLES)
    assert joint(TABLES, told, {}, (), renewed={"battery.battery": 0.1}) is not joint(TABLES, told, {}, ())


def test_where_numpy_is_not_installed_tests_are_ranked_one_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "corekit.assess.ranking_columns", None)
    assert use_columns() is False
    tables = joint(TABLES, COMPLAINTS["one symptom"], {}, TABLES)
    one = next(iter(tables.tests.values()))
    told = information_of_each(Ranking(start(tables)), [one])
    assert told == pytest.approx(
        [plain.information(plain.Ranking(plain.start(tables)), one.system, one.test)],
        abs=10**-DECIMALS,
        rel=0,
    )
