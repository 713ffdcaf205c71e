"""The verbs, as somebody types them: tables, ask, learn; and a shop that reasons with what it learned."""

from __future__ import annotations

import csv
import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path

import attrs
import pytest

from corekit.cli import main
from corekit.desk.backup import back_up, restore
from corekit.desk.causes import cause_lines
from corekit.desk.in_memory import scratch_job
from corekit.desk.learned import LEARNED_FILE, PROPOSED_FILE
from corekit.desk.shop import Shop
from corekit.intake.declared import Declared
from corekit.intake.visit import read_visit
from corekit.isolation.worker import Worker
from corekit.plugin.host import Plugins
from corekit.plugin.learned import LearnedRow, plugins_with

from .generated import fault_tables, generated
from .handmade import read, written
from .test_learning import a_learned, with_prevalence

Say = Callable[..., tuple[int, str]]


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Say:
    def said(*words: str | Path) -> tuple[int, str]:
        capsys.readouterr()
        code = main([str(word) for word in words])
        both = capsys.readouterr()
        return code, both.out + both.err

    return said


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, plugins: Plugins) -> Path:
    """Jobs on vehicles whose batteries wear out twelve times as often as the table says."""
    folder = tmp_path_factory.mktemp("fleet") / "tables"
    truth = fault_tables(plugins)
    worn = with_prevalence(truth["battery"], worn_out=12 * truth["battery"].faults["worn_out"].per_1000)
    generated(folder, plugins, {**truth, "battery": worn}, 700, seed=5)
    return folder


def test_tables_are_written_and_asked_by_their_folder(demo_out: Path, tmp_path: Path, say: Say) -> None:
    code, said = say("tables", tmp_path / "t", "--shop", demo_out)
    assert code == 0
    assert "jobs: 6 rows" in said
    code, said = say("ask", "causes", "--tables", tmp_path / "t")
    assert code == 0
    assert "Nothing is known of 5 vehicles or more." in said
    assert "more of fewer than 5 vehicles are not shown." in said


def test_a_question_is_answered_from_the_shop_itself(demo_out: Path, say: Say) -> None:
    code, said = say("ask", "comebacks", "--shop", demo_out)
    assert code == 0
    assert "What came back, by work and part?" in said


def test_without_a_question_all_are_named_and_one_that_there_is_not_is_refused(say: Say) -> None:
    code, said = say("ask")
    assert code == 0
    assert {line.split()[0] for line in said.splitlines()} == {
        "causes", "faults", "tests", "held", "comebacks", "prices", "readings",
    }  # fmt: skip
    code, said = say("ask", "everything")
    assert code == 1
    assert "There is no question 'everything'; there are causes" in said


def test_an_answer_is_told_in_titles_and_written_as_csv_with_keys(
    folder: Path, tmp_path: Path, say: Say
) -> None:
    _, said = say("ask", "causes", "--tables", folder)
    assert "Replace the battery" in said
    assert "battery.replace" not in said
    code, said = say("ask", "causes", "--tables", folder, "--csv", "-")
    rows = list(csv.DictReader(io.StringIO(said)))
    assert code == 0
    assert {"symptom", "operation", "jobs", "vehicles", "share", "low", "high"} == set(rows[0])
    assert min(int(row["vehicles"]) for row in rows) >= 5
    assert all(float(row["low"]) <= float(row["share"]) <= float(row["high"]) for row in rows)
    assert "battery.replace" in {row["operation"] for row in rows}


def test_readings_are_told_in_their_own_unit_beside_what_is_declared_as_usual(
    tmp_path: Path, plugins: Plugins, say: Say
) -> None:
    """An hour is 3600 s, the coherent unit."""
    rows = [read(n, "battery.rest_time", 3600.0 * (n + 1)) for n in range(5)]
    _, said = say("ask", "readings", "--tables", written(tmp_path / "tables", rows, plugins))
    usual = plugins.measurands["battery.rest_time"].usual
    assert usual.high is not None
    (line,) = (line for line in said.splitlines() if ", h " in line)
    assert line.split(", h ")[1].split()[:3] == ["5", "1", "5"]
    assert line.endswith(f"to {usual.high / 3600:g}")


@pytest.mark.parametrize("question", ["causes", "tests", "held", "readings"])
def test_an_answer_is_drawn_with_its_whiskers_and_told_in_words(
    folder: Path, tmp_path: Path, say: Say, question: str
) -> None:
    path = tmp_path / "answer.svg"
    code, _ = say("ask", question, "--tables", folder, "--figure", path)
    assert code == 0
    drawn = ET.parse(path).getroot()
    space = "{http://www.w3.org/2000/svg}"
    dots, lines = drawn.findall(f"{space}circle"), drawn.findall(f"{space}polyline")
    assert dots
    assert len(lines) >= len(dots)
    told = drawn.find(f"{space}desc")
    assert told is not None
    assert "vehicles)" in (told.text or "")


def test_a_place_that_holds_no_tables_or_is_no_engine_is_named(tmp_path: Path, say: Say) -> None:
    code, said = say("ask", "causes", "--tables", tmp_path)
    assert code == 1
    assert "holds no tables" in said
    code, said = say("ask", "causes", "--tables", tmp_path, "--on", "elsewhere")
    assert code == 1
    assert "write duckdb, spark or postgresql" in said


def test_what_is_missing_is_named_with_how_to_install_it(
    monkeypatch: pytest.MonkeyPatch, say: Say, demo_out: Path
) -> None:
    monkeypatch.setattr("corekit.fleet.extra.find_spec", lambda name: None)
    code, said = say("ask", "causes", "--shop", demo_out)
    assert code == 1
    assert "pip install 'corekit[fleet]'" in said


def test_a_shop_learns_accepts_and_says_from_how_many_retested_visits(
    folder: Path, demo_copy: Path, say: Say
) -> None:
    _, before = say("check", "undecided", "--shop", demo_copy)
    assert "retested visits" not in before
    code, said = say("learn", "--tables", folder, "--shop", demo_copy)
    assert code == 0
    assert "Worn-out battery: on 24 of 1000 vehicles →" in said
    assert "Checked on" in said
    visits = re.search(r"Worn-out battery: .* \((\d+) visits\)", said)
    assert visits is not None
    assert (demo_copy / PROPOSED_FILE).is_file()
    _, still = say("check", "undecided", "--shop", demo_copy)
    assert still == before, "nothing holds before somebody accepts it"
    code, _ = say("learn", "--accept", "--yes", "--shop", demo_copy)
    assert code == 0
    assert (demo_copy / LEARNED_FILE).is_file()
    _, after = say("check", "undecided", "--shop", demo_copy)
    assert f"from {visits[1]} retested visits" in after
    # A finding that calls for work says it as well; one that passes does not.
    _, worn = say("check", "worn-battery", "--shop", demo_copy)
    now, _, before = worn.partition("Findings of earlier stages")
    now, before = (" ".join(part.partition("Repairs\n")[0].split()) for part in (now, before))
    assert f"how likely what it calls for is: from {visits[1]} retested visits" in before
    assert "retested visits" not in now


def test_nothing_is_accepted_that_was_not_proposed(demo_copy: Path, say: Say) -> None:
    code, said = say("learn", "--accept", "--yes", "--shop", demo_copy)
    assert code == 1
    assert "Nothing is proposed" in said


def test_a_strength_below_one_visit_is_refused(demo_copy: Path, say: Say) -> None:
    code, said = say("learn", "--strength", "0.5", "--shop", demo_copy)
    assert code == 1
    assert "takes visits from 1 to 1000000" in said


def test_the_process_that_runs_the_checks_reasons_with_the_learned_numbers_too(
    demo_out: Path, plugins: Plugins
) -> None:
    learned = plugins_with(plugins, a_learned(plugins))
    with Shop(demo_out, plugins=plugins) as shop, Worker() as worker:
        job = shop.store.job(shop.store.find("undecided"))
        here, there = (assess(job, learned) for assess in (shop.context.assessor, worker))
        plain = shop.context.assessor(job, plugins)
    chances = [[(one.fault, one.probability) for one in made.suspects] for made in (here, there, plain)]
    assert chances[0] == chances[1]
    assert chances[0] != chances[2]
    assert here.versions == there.versions
    assert any("from 212 retested visits" in line for lines in cause_lines(there, learned) for line in lines)


def test_whatever_was_learned_no_part_is_called_for_that_nothing_shows(
    demo_out: Path, plugins: Plugins
) -> None:
    """The rule for parts is no number of a table: a battery that is nearly certain by prevalence alone is
    still not to be exchanged.
    """
    (learned,) = a_learned(plugins)
    sure = attrs.evolve(
        learned,
        per_1000=(LearnedRow(under="", of="worn_out", p=(899.0,), visits=212),),
        symptoms=(LearnedRow(under="cranks_slowly", of="worn_out", p=(0.98,), visits=212),),
        tests=(),
    )
    changed = plugins_with(plugins, (sure,))
    text = b"""job = "x"
reason = "Cranks slowly."
complaint = { symptoms = ["cranks_slowly"] }
vehicle = { description = "car", no_vin = "not needed" }
[[step]]
readings = [ { of = "battery.open_circuit_voltage", is = "11.9 V" } ]
"""
    job, _ = scratch_job(read_visit(text, Declared.of(changed, currency="EUR")))
    with Shop(demo_out, plugins=changed) as shop:
        made = shop.context.assessor(job, changed)
    first = made.suspects[0]
    assert first.fault == "worn_out"
    assert first.probability > 0.86
    assert not made.may_propose("battery.replace")


def test_what_was_learned_is_in_a_backup_and_in_a_shop_made_from_it(
    demo_copy: Path, tmp_path: Path, plugins: Plugins
) -> None:
    with Shop(demo_copy, plugins=plugins) as shop:
        without = back_up(shop.context, tmp_path / "before")
        (demo_copy / LEARNED_FILE).write_text("# nothing yet\n", "utf-8")
        made = back_up(shop.context, tmp_path / "after")
    assert not (without.path / LEARNED_FILE).exists()
    restore(made.path, tmp_path / "again")
    assert (tmp_path / "again" / LEARNED_FILE).read_text("utf-8") == "# nothing yet\n"
