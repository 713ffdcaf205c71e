"""What tests of plugins are offered to put a fault table to work. Judge: Bayes' rule by hand, on the invented
brakes.
"""

from __future__ import annotations

import pytest

import corekit as ck
from corekit.testing import Bench, quantity, shown

from ..assess.brakes import brakes


def test_outcomes_move_the_chances_by_bayes_rule() -> None:
    table = brakes.faults
    assert table is not None
    key, test = next(iter(table.tests.items()))
    prior = shown(brakes).together
    assert sum(prior.values()) == pytest.approx(1.0)
    made = shown(brakes, **{key: test.outcomes[-1]})
    raw = {state: chance * table.row(test, state)[-1] for state, chance in prior.items()}
    assert made.together == pytest.approx({state: part / sum(raw.values()) for state, part in raw.items()})
    for fault in table.faults:
        held = sum(chance for state, chance in made.together.items() if fault in state)
        assert made.chances[fault] == pytest.approx(held)
    assert made.tests == [key]
    assert key not in [test.key for test in made.next_tests]


def test_an_operation_is_named_with_or_without_its_system() -> None:
    made = shown(brakes)
    assert not made.calls_for("replace_master") and not made.calls_for("brakes.replace_master")


def test_a_test_or_an_outcome_that_the_table_lacks_is_refused() -> None:
    table = brakes.faults
    assert table is not None
    key = next(iter(table.tests))
    with pytest.raises(ValueError, match="'green'"):
        shown(brakes, **{key: "green"})
    with pytest.raises(KeyError, match="colour"):
        shown(brakes, colour="green")
    with pytest.raises(ValueError, match="fresh has no fault table"):
        shown(ck.System("fresh", "Fresh"))


def test_a_bench_shows_what_its_readings_are_worth_to_the_table() -> None:
    bench = Bench(brakes).see("pedal", "sinks").read("pressure", "5 bar", place="left")
    by_hand = bench.shown()
    assert by_hand.tests
    assert by_hand.chances != shown(brakes).chances


def test_a_typed_quantity_becomes_an_exact_value() -> None:
    made = quantity("3000 rpm", "rpm")
    assert (made.number, made.u) == (50.0, 0.0)  # 3000 in a minute are 50 in a second
