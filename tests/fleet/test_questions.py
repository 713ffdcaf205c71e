"""What the questions answer, held against values from books and by hand; and alike on every engine."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from corekit.fleet.answer import answer_of
from corekit.fleet.engines import load_postgres, on_duckdb, on_postgres, on_spark
from corekit.fleet.questions import QUESTIONS
from corekit.plugin.host import Plugins

from .generated import fault_tables, generated
from .handmade import asked, ended, priced, read, repaired, showed, told, written

REPLACE, CHARGE = "battery.replace", "battery.charge"


def test_a_share_has_the_interval_that_the_handbook_prints(tmp_path: Path, plugins: Plugins) -> None:
    """6 of 10: 0.313 to 0.832 (Wilson score interval)."""
    rows = [told(n, "flat_standing") for n in range(10)]
    rows += [ended(n, REPLACE if n < 6 else CHARGE) for n in range(10)]
    answer = asked("causes", written(tmp_path / "tables", rows, plugins))
    assert [row["operation"] for row in answer.rows] == [REPLACE], "four vehicles are too few"
    (row,) = answer.rows
    assert (row["jobs"], row["vehicles"], row["share"]) == (6, 6, pytest.approx(0.6))
    assert (row["low"], row["high"]) == (pytest.approx(0.3127, abs=5e-5), pytest.approx(0.8318, abs=5e-5))
    assert answer.hidden == 1


@pytest.mark.parametrize(("vehicles", "shown"), [(4, 0), (5, 1)])
def test_nothing_is_shown_below_five_vehicles_however_many_jobs(
    tmp_path: Path, plugins: Plugins, vehicles: int, shown: int
) -> None:
    rows = [told(n, "flat_standing", n % vehicles) for n in range(40)]
    rows += [ended(n, REPLACE, n % vehicles) for n in range(40)]
    answer = asked("causes", written(tmp_path / "tables", rows, plugins))
    assert (len(answer.rows), answer.hidden) == (shown, 1 - shown)


def test_a_job_with_two_symptoms_counts_once(tmp_path: Path, plugins: Plugins) -> None:
    rows = []
    for n in range(8):
        for symptom in ("flat_standing", "cranks_slowly"):
            name, row = told(n, symptom)
            rows.append((name, {**row, "share": 0.5}))
        rows.append(ended(n, REPLACE))
    answer = asked("causes", written(tmp_path / "tables", rows, plugins))
    assert sum(row["jobs"] for row in answer.rows) == pytest.approx(8)


#: Weeks of remission of 21 patients on 6-MP (E. J. Freireich et al. 1963), as survival textbooks print them;
#: the product-limit estimate after 23 weeks is 0.448 there.
ENDED = (6, 6, 6, 7, 10, 13, 16, 22, 23)
WATCHED = (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)


def test_how_long_repairs_held_is_the_product_limit_estimate_of_the_textbooks(
    tmp_path: Path, plugins: Plugins
) -> None:
    rows = [repaired(n, REPLACE, days, "same work") for n, days in enumerate(ENDED)]
    rows += [repaired(50 + n, REPLACE, days) for n, days in enumerate(WATCHED)]
    answer = asked("held", written(tmp_path / "tables", rows, plugins))
    by_day = {row["days"]: row for row in answer.rows}
    assert by_day[30]["held"] == pytest.approx(0.448, abs=5e-4)
    assert (by_day[30]["repairs"], by_day[30]["watched"], by_day[365]["watched"]) == (21, 4, 0)
    # Textbooks print a standard error of 0.135 there, so about 0.18 to 0.71 by the plain normal interval.
    assert by_day[30]["low"] == pytest.approx(0.20, abs=0.04)
    assert by_day[30]["high"] == pytest.approx(0.71, abs=0.04)


def test_repairs_that_all_held_are_not_said_to_hold_for_ever(tmp_path: Path, plugins: Plugins) -> None:
    """Of 20 watched to the day 0 came back: Wilson's interval of 20 of 20 is 0.839 to 1."""
    rows = [repaired(n, REPLACE, 100) for n in range(20)]
    answer = asked("held", written(tmp_path / "tables", rows, plugins))
    by_day = {row["days"]: row for row in answer.rows}
    assert (by_day[90]["held"], by_day[90]["low"]) == (1.0, pytest.approx(0.8389, abs=1e-4))
    assert by_day[365]["low"] == pytest.approx(0.0, abs=1e-6), "nobody was watched so long"


def test_a_repair_that_always_came_back_held_never(tmp_path: Path, plugins: Plugins) -> None:
    rows = [repaired(n, REPLACE, 3, "guarantee") for n in range(6)]
    answer = asked("held", written(tmp_path / "tables", rows, plugins))
    assert {round(row["held"], 6) for row in answer.rows} == {0.0}


def test_comebacks_are_counted_by_how(tmp_path: Path, plugins: Plugins) -> None:
    hows = ["same work", "same complaint", "same complaint", "guarantee", *[""] * 6]
    rows = [repaired(n, REPLACE, 10, how) for n, how in enumerate(hows)]
    (row,) = asked("comebacks", written(tmp_path / "tables", rows, plugins)).rows
    assert (row["same_work"], row["same_complaint"], row["guarantee"], row["share"]) == (1, 2, 1, 0.4)


def test_a_test_that_tells_two_works_apart_is_worth_a_bit_less_the_bias_of_few(
    tmp_path: Path, plugins: Plugins
) -> None:
    """Two works, four jobs each, told apart: 1 bit; less 1/(2·8·ln 2) = 0.0902."""
    rows = []
    for n in range(8):
        rows += [told(n, "flat_standing"), ended(n, REPLACE if n % 2 else CHARGE)]
        rows.append(showed(n, "battery.told", "left on" if n % 2 else "none of these"))
        rows.append(showed(n, "battery.told", "none of these", stage=1))  # after the work it is no evidence
    (row,) = asked("tests", written(tmp_path / "tables", rows, plugins)).rows
    assert row["bits"] == pytest.approx(1 - 0.0902, abs=5e-5)
    assert row["per_minute"] == pytest.approx(row["bits"] / 4)


def test_what_the_complaint_tells_already_is_not_the_tests_worth(tmp_path: Path, plugins: Plugins) -> None:
    """The outcome goes with the symptom, and the symptom with the work: nothing is left for the test."""
    rows = []
    for n in range(40):
        rows += [
            told(n, "flat_standing" if n % 2 else "cranks_slowly"),
            ended(n, REPLACE if n % 2 else CHARGE),
            showed(n, "battery.told", "left on" if n % 2 else "none of these"),
        ]
    (row,) = asked("tests", written(tmp_path / "tables", rows, plugins)).rows
    assert row["bits"] == 0.0


def test_invoices_are_held_against_estimates_work_by_work(tmp_path: Path, plugins: Plugins) -> None:
    """0, 10, 20, 30, 40 above: the mean is 20, its standard error √(200/4) = 7.07."""
    rows = [priced(n, REPLACE, 100, 100 + 10 * n) for n in range(5)]
    (row,) = asked("prices", written(tmp_path / "tables", rows, plugins)).rows
    assert (row["estimated"], row["invoiced"], row["off"], row["above"]) == (100, 120, 20, 4)
    assert row["high"] - row["off"] == pytest.approx(1.96 * 7.0711, abs=1e-3)


def test_the_middle_of_forty_readings_lies_between_the_fourteenth_and_the_twenty_seventh(
    tmp_path: Path, plugins: Plugins
) -> None:
    """The ranks that tables of the interval of a median print for 40."""
    rows = [read(n, "battery.load_voltage", float(n + 1)) for n in range(40)]
    (row,) = asked("readings", written(tmp_path / "tables", rows, plugins)).rows
    assert (row["median"], row["low"], row["high"]) == (20, 14, 27)
    assert (row["low_end"], row["high_end"]) == (1, 40)


def test_readings_of_vehicles_that_were_not_shown_sound_do_not_count_nor_does_one_twice(
    tmp_path: Path, plugins: Plugins
) -> None:
    rows = [read(n, "battery.load_voltage", 10.0) for n in range(6)]
    rows += [read(n, "battery.load_voltage", 99.0, sound=False) for n in range(6, 20)]
    rows += [read(0, "battery.load_voltage", 10.5, stage=1)]
    (row,) = asked("readings", written(tmp_path / "tables", rows, plugins)).rows
    assert (row["vehicles"], row["median"], row["high_end"]) == (6, 10.0, 10.5)


def words_of(row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in row.items() if not isinstance(value, (int, float))}


def numbers_of(row: Mapping[str, Any]) -> dict[str, float]:
    return {name: float(value) for name, value in row.items() if isinstance(value, (int, float))}


def test_the_same_questions_have_the_same_answers_on_duckdb_postgresql_and_spark(
    tmp_path: Path, plugins: Plugins, postgres: str, spark: Any
) -> None:
    folder = tmp_path / "tables"
    generated(folder, plugins, fault_tables(plugins, "battery", "ignition"), 600, seed=11)
    load_postgres(postgres, folder)
    places = (on_duckdb(folder), on_postgres(postgres), on_spark(folder, spark))
    answers: dict[str, list[Any]] = {key: [] for key in QUESTIONS}
    for place in places:
        with place as tables:
            for key, question in QUESTIONS.items():
                answers[key].append(answer_of(question, tables))
    for key, (first, *others) in answers.items():
        assert first.rows, key
        for other in others:
            assert other.hidden == first.hidden
            assert len(other.rows) == len(first.rows), key
            for mine, theirs in zip(first.rows, other.rows, strict=True):
                assert words_of(theirs) == words_of(mine), key
                # The last digits of a sum hang on its order.
                assert numbers_of(theirs) == pytest.approx(numbers_of(mine), rel=1e-9, abs=1e-9), key
