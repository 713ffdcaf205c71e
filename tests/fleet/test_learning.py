"""What is learned from retested visits: a wrong table is found, a right one left alone, and the rule for
parts stands whatever was learned.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

import attrs
import pytest
import scipy.special
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from corekit.datafile import read_toml
from corekit.errors import CorekitError
from corekit.fleet.engines import on_duckdb
from corekit.fleet.learning import Learning, learn, learned_row
from corekit.fleet.proposal import as_toml, as_words, learned_of
from corekit.fleet.tails import as_far, chi_square_above, gamma_above
from corekit.fleet.visits import retested_visits
from corekit.plugin.fault_file import LEAST
from corekit.plugin.faults import FaultTable, FaultTest, OutcomeRow
from corekit.plugin.host import Plugins
from corekit.plugin.learned import Learned, plugins_with, read_learned, with_row

from .generated import fault_tables, generated

#: Jobs of the battery alone: some two thirds of them are retested.
JOBS = 1500


def learned_from(
    folder: Path,
    plugins: Plugins,
    truth: Mapping[str, FaultTable],
    table: Mapping[str, FaultTable],
    seed: int,
    jobs: int = JOBS,
) -> Learning:
    """What visits to vehicles for which one table holds say of another."""
    generated(folder, plugins, truth, jobs, seed)
    with on_duckdb(folder) as tables:
        return learn(retested_visits(tables, table), table)


def with_prevalence(table: FaultTable, **per_1000: float) -> FaultTable:
    faults = {
        key: attrs.evolve(fault, per_1000=per_1000.get(key, fault.per_1000))
        for key, fault in table.faults.items()
    }
    return attrs.evolve(table, faults=faults)


@pytest.mark.parametrize("seed", range(3))
def test_a_right_table_is_left_alone(tmp_path: Path, plugins: Plugins, seed: int) -> None:
    truth = fault_tables(plugins, "battery")
    learning = learned_from(tmp_path / "tables", plugins, truth, truth, 1000 + seed)
    assert learning.visits > JOBS / 2
    assert learned_of(learning, truth, "2026-11-29") == ()
    assert list(as_words(learning, (), plugins))[-1] == (
        "Nothing in them contradicts the tables: every number stays as it is."
    )


def test_a_prevalence_that_is_four_times_too_low_is_found_and_no_other_touched(
    tmp_path: Path, plugins: Plugins
) -> None:
    truth = fault_tables(plugins, "battery")
    right = truth["battery"].faults["worn_out"].per_1000
    wrong = {"battery": with_prevalence(truth["battery"], worn_out=right / 4)}
    learning = learned_from(tmp_path / "tables", plugins, truth, wrong, 1010)
    (found,) = learned_of(learning, wrong, "2026-11-29")
    assert [row.of for row in found.per_1000] == ["worn_out"]
    assert found.per_1000[0].p[0] == pytest.approx(right, rel=0.3)
    assert {row.of for row in found.symptoms} <= {"worn_out"}
    assert found.tests == ()
    assert learning.score.is_better
    assert JOBS / 2 < found.per_1000[0].visits <= found.visits == learning.visits


def test_a_complaint_row_that_is_wrong_is_found_and_the_prevalence_left_alone(
    tmp_path: Path, plugins: Plugins
) -> None:
    """Under one complaint alone the counts differ: that is its row's fault and no prevalence's."""
    truth = fault_tables(plugins, "battery")
    table = truth["battery"]
    symptom = max(table.symptoms, key=lambda one: table.symptoms[one].get("used_flat", 0.0))
    right = table.symptoms[symptom]["used_flat"]
    wrong = attrs.evolve(
        table, symptoms={**table.symptoms, symptom: {**table.symptoms[symptom], "used_flat": right / 6}}
    )
    learning = learned_from(tmp_path / "tables", plugins, truth, {"battery": wrong}, 1020)
    (found,) = learned_of(learning, {"battery": wrong}, "2026-11-29")
    assert [(row.under, row.of) for row in found.symptoms] == [(symptom, "used_flat")]
    assert found.symptoms[0].p[0] == pytest.approx(right, rel=0.35)
    assert found.per_1000 == ()


def test_a_row_of_a_test_that_is_the_wrong_way_round_is_found(tmp_path: Path, plugins: Plugins) -> None:
    truth = fault_tables(plugins, "battery")
    table = truth["battery"]
    test = table.tests["cranks"]
    right = test.given["worn_out"].p
    turned = attrs.evolve(table, tests={**table.tests, "cranks": with_row(test, "worn_out", right[::-1])})
    learning = learned_from(tmp_path / "tables", plugins, truth, {"battery": turned}, 1030, 2500)
    (found,) = learned_of(learning, {"battery": turned}, "2026-11-29")
    assert [(row.under, row.of) for row in found.tests] == [("cranks", "worn_out")]
    now = found.tests[0].p
    apart = [math.fsum(abs(p - q) for p, q in zip(right, row, strict=True)) for row in (right[::-1], now)]
    assert apart[1] < 0.6 * apart[0], "drawn at least half way back"


def test_few_visits_propose_nothing(tmp_path: Path, plugins: Plugins) -> None:
    truth = fault_tables(plugins, "battery")
    wrong = {"battery": with_prevalence(truth["battery"], worn_out=6)}
    generated(tmp_path / "tables", plugins, truth, 6, 3)
    with on_duckdb(tmp_path / "tables") as tables:
        learning = learn(retested_visits(tables, wrong), wrong)
    assert learned_of(learning, wrong, "2026-11-29") == ()


# ---- arithmetic


@given(st.floats(0.05, 400), st.floats(0.01, 600))
def test_the_tail_of_the_gamma_distribution_is_scipys(shape: float, x: float) -> None:
    assert gamma_above(shape, x) == pytest.approx(
        float(scipy.special.gammaincc(shape, x)), rel=1e-7, abs=1e-12
    )


@given(st.integers(1, 9), st.floats(0.01, 80))
def test_the_tail_of_chi_square_is_scipys(degrees: int, x: float) -> None:
    assert chi_square_above(degrees, x) == pytest.approx(scipy.stats.chi2.sf(x, degrees), rel=1e-7, abs=1e-12)


@given(st.integers(0, 60), st.floats(0.1, 60))
def test_how_far_a_count_lies_off_is_the_poisson_tail_twice(count: int, expected: float) -> None:
    tails = scipy.stats.poisson.cdf(count, expected), scipy.stats.poisson.sf(count - 1, expected)
    assert as_far(count, expected) == pytest.approx(min(1.0, 2 * min(tails)), rel=1e-6, abs=1e-12)


def some_test(own: tuple[float, ...], direct: tuple[str, ...] = ()) -> FaultTest:
    return FaultTest(
        key="look",
        question="How is it?",
        minutes=1,
        outcomes=("sound", "poor", "bad"),
        sound="sound",
        none=own,
        otherwise=own,
        given={"worn": OutcomeRow(p=(0.1, 0.2, 0.7), direct=direct)},
    )


def test_a_row_is_the_mean_of_the_dirichlet_distribution() -> None:
    """By hand: (0.5, 0.3, 0.2) as 10 visits and 10, 20, 10 of 40 seen: (15, 23, 12) of 50."""
    test = some_test((0.5, 0.3, 0.2))
    expects = [0.5 * 40, 0.3 * 40, 0.2 * 40]
    row = learned_row(test, "none", [10, 20, 10], expects, 10)
    assert row == pytest.approx((0.30, 0.46, 0.24))


rows = st.lists(st.floats(0.01, 1), min_size=3, max_size=3).map(lambda p: tuple(one / sum(p) for one in p))
counts = st.lists(st.floats(0, 500), min_size=3, max_size=3)


@given(rows, counts, st.floats(1, 100))
def test_no_learned_chance_is_below_the_least_nor_a_false_alarm_below_the_tables(
    own: tuple[float, ...], seen: list[float], strength: float
) -> None:
    test = some_test(own, direct=("bad",))
    expects = [p * max(1.0, math.fsum(seen)) for p in own]
    row = learned_row(test, "none", seen, expects, strength)
    assert math.fsum(row) == pytest.approx(1)
    assert min(row) >= LEAST * (1 - 1e-9)
    assert row[2] >= own[2] * (1 - 1e-9), "bad speaks directly against the part"


# ---- the shop's file


def a_learned(plugins: Plugins, **changes: object) -> tuple[Learned, ...]:
    faults = fault_tables(plugins)
    text = as_toml(
        learned_of(
            Learning(
                visits=212,
                vehicles=200,
                strength=50,
                changes=_changes(),
                score=_no_score(),
                row_scores={},
            ),
            faults,
            "2026-11-29",
        ),
        faults,
    )
    return read_learned(read_toml(text.encode()), "learned.toml")


def _changes() -> object:
    from corekit.fleet.learning import Changes

    changes = Changes(
        odds={"battery.dead_cell": 3.0, "battery.worn_out": 3.0},
        cells={("cranks_slowly", "battery.dead_cell"): 0.5},
        rows={("battery", "cranks", "worn_out"): (0.1, 0.5, 0.2, 0.08, 0.02, 0.1)},
    )
    cells = ("cranks_slowly", "battery.dead_cell")
    changes.counted = {cells}
    changes.visits = {
        "battery.dead_cell": 212,
        "battery.worn_out": 212,
        cells: 80,
        ("battery", "cranks", "worn_out"): 60,
    }
    return changes


def _no_score() -> object:
    from corekit.fleet.learning import Score

    return Score(0, 0.0, 0.0, 0.0)


def test_the_shops_file_holds_what_was_proposed_and_takes_the_place_of_the_tables_numbers(
    plugins: Plugins,
) -> None:
    (learned,) = a_learned(plugins)
    before = plugins.systems["battery"].faults
    changed = plugins_with(plugins, (learned,))
    after = changed.systems["battery"].faults
    assert before is not None
    assert after is not None
    odds = [
        one.faults["dead_cell"].per_1000 / (1000 - one.faults["dead_cell"].per_1000)
        for one in (before, after)
    ]
    assert odds[1] / odds[0] == pytest.approx(3, rel=1e-3)
    told = [one.symptoms["cranks_slowly"]["dead_cell"] for one in (before, after)]
    assert told[1] == pytest.approx(told[0] / 2, rel=1e-3)
    assert after.tests["cranks"].given["worn_out"].p == (0.1, 0.5, 0.2, 0.08, 0.02, 0.1)
    assert after.tests["cranks"].given["worn_out"].direct == before.tests["cranks"].given["worn_out"].direct
    assert after.faults["dead_cell"].visits == 212
    assert changed.versions["battery"].endswith("numbers from 212 retested visits")
    untouched = [key for key in before.faults if key not in ("dead_cell", "worn_out")]
    assert [after.faults[key] for key in untouched] == [before.faults[key] for key in untouched]


def test_what_was_learned_on_another_table_is_not_used_and_that_is_said(plugins: Plugins) -> None:
    (learned,) = a_learned(plugins)
    changed = plugins_with(plugins, (attrs.evolve(learned, table="0123456789abcdef"),))
    assert changed.systems["battery"] is plugins.systems["battery"]
    assert changed.learned == ()
    assert "another fault table" in changed.failures[-1].what


def test_what_was_learned_of_a_complaint_that_nobody_knows_is_not_used_and_that_is_said(
    plugins: Plugins,
) -> None:
    (learned,) = a_learned(plugins)
    strange = attrs.evolve(learned, symptoms=(attrs.evolve(learned.symptoms[0], under="no_such"),))
    changed = plugins_with(plugins, (strange,))
    assert (changed.learned, len(changed.failures)) == ((), len(plugins.failures) + 1)


@pytest.mark.parametrize(("of", "is_used"), [("none", True), ("otherwise", True), ("no_such", False)])
def test_a_learned_row_is_used_where_the_test_has_one_of_its_name(
    plugins: Plugins, of: str, is_used: bool
) -> None:
    (learned,) = a_learned(plugins)
    row = attrs.evolve(learned.tests[0], of=of)
    changed = plugins_with(plugins, (attrs.evolve(learned, tests=(row,)),))
    assert (changed.learned != ()) is is_used
    assert len(changed.failures) == len(plugins.failures) + (not is_used)


@pytest.mark.parametrize(
    "text",
    [
        'battery = { table = "x", visits = 9, per_1000.worn_out = { now = 1000, was = 24, visits = 9 } }',
        'battery = { table = "x", visits = 9, symptoms.clicks.drain = { now = 1.0, was = 0.1, visits = 9 } }',
        'battery = { table = "x", visits = 9, test.a.b = { now = [0.5, 0.4], was = [0.5, 0.5] } }',
        'battery = { table = "x", visits = 9, test.a.b = { now = [1.0, 0.0], was = [0.5, 0.5] } }',
        'battery = { table = "x", visits = 9, test.a.b = { now = [1.0], was = [0.5, 0.5] } }',
        "battery = { visits = 9 }",
        'battery = { table = "x", visits = 9, test.a.b = { now = [1e308, 1e308], was = [0.5, 0.5] } }',
        'battery = { table = "x", visits = 9, test.a.b = { now = [inf, -inf], was = [0.5, 0.5] } }',
        'battery = { table = "x", visits = 9, per_1000.drain = { now = 901, was = 24, visits = 9 } }',
        'battery = { table = "x", visits = 9, per_1000.drain = { now = 5e-324, was = 24, visits = 9 } }',
        'battery = { table = "x", visits = 9, per_1000.drain = { now = 2, was = 24, visits = -1 } }',
        'battery = { table = "x", visits = 0x' + "f" * 9000 + " }",
        "battery = 5",
    ],
    ids=range(13),
)
def test_a_file_that_cannot_be_meant_is_refused_with_its_place(text: str) -> None:
    with pytest.raises(CorekitError, match="battery"):
        read_learned(read_toml(text.encode()), "learned.toml")
