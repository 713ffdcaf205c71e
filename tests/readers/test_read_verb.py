"""`corekit read`: the draft is shown, and written into a visit file only when somebody says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.cli import main

from .logs import drive, table
from .small_vehicle import Module, SmallVehicle, engine

VISIT = 'job = "first"\nreason = "Runs rough."\nvehicle = { plate = "A 1" }\n'


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "log.csv"
    path.write_text(table(drive(), tail=";"), "utf-8")
    (tmp_path / "visit.toml").write_text(VISIT, "utf-8")
    return path


def test_a_draft_is_shown_and_nothing_is_written(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", str(log)]) == 0
    said = capsys.readouterr().out
    assert "EGR error the ECU reports: -100 %" in said
    assert "It cannot show:" in said
    assert (log.parent / "visit.toml").read_text("utf-8") == VISIT


def test_without_a_yes_nothing_is_written(
    log: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("builtins.input", lambda question: "")
    assert main(["read", str(log), "--into", str(log.parent / "visit.toml")]) == 1
    assert "Nothing was written." in capsys.readouterr().err
    assert (log.parent / "visit.toml").read_text("utf-8") == VISIT


def test_what_was_written_is_judged_like_any_reading(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    visit = log.parent / "visit.toml"
    assert main(["read", str(log), "--into", str(visit), "--yes"]) == 0
    capsys.readouterr()
    assert main(["check", str(visit)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Asked for 30.0 %, the ECU reports an error of −100.0 %" in said
    assert "Warm-up" in said
    assert (log.parent / "visit-cooling_warm_up.csv").is_file()


def test_rows_can_be_chosen(log: Path) -> None:
    visit = log.parent / "visit.toml"
    assert main(["read", str(log), "--into", str(visit), "--yes", "--rows", "1"]) == 0
    assert visit.read_text("utf-8").count("[[step]]") == 1
    assert main(["read", str(log), "--into", str(visit), "--yes", "--rows", "99"]) == 1


def test_a_visit_file_that_cannot_take_rows_stays_as_it_is(
    log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    visit = log.parent / "visit.toml"
    listed = f"{VISIT}step = [ {{ arrived = {{}} }} ]\n"
    visit.write_text(listed, "utf-8")
    assert main(["read", str(log), "--into", str(visit), "--yes"]) == 1
    assert "nothing was written" in capsys.readouterr().err
    assert visit.read_text("utf-8") == listed
    assert sorted(path.name for path in log.parent.iterdir()) == ["log.csv", "visit.toml"]


def test_a_file_that_is_no_log_is_refused_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "bank.csv"
    path.write_text("Date;Payee;Amount\n2026-03-01;Rent;-650.00\n2026-03-02;Bread;-3.20\n", "utf-8")
    assert main(["read", str(path)]) == 1
    assert "none of them is a quantity of a vehicle" in capsys.readouterr().err


def test_the_car_is_read_like_a_file(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    visit = log.parent / "visit.toml"
    words = ["read", "--car", "verb-car", "--interface", "virtual", "--seconds", "3"]
    with SmallVehicle("verb-car", Module(0x7E8, engine())):
        assert main([*words, "--into", str(visit), "--yes"]) == 0
    said = capsys.readouterr().out
    assert "Trouble codes: stored: P0401; pending: none; permanent: none" in said
    assert 'write vin = "1M8GDM9AXKP042788"' in said
    assert "EGR error the ECU reports: -100 %" in said
    assert main(["check", str(visit)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "the ECU reports an error of −100.0 %" in said
    assert "P0401" in said


def test_a_car_that_does_not_answer_is_said_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", "--car", "nobody", "--interface", "virtual"]) == 1
    assert "no module (ECU) on virtual nobody answers" in capsys.readouterr().err
    assert main(["read"]) == 1
