"""Tables with a few rows that somebody wrote down."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from corekit.fleet.answer import Answer, answer_of
from corekit.fleet.engines import on_duckdb
from corekit.fleet.questions import QUESTIONS
from corekit.fleet.rows import Row, known_names
from corekit.fleet.tables import TableWriter
from corekit.plugin.host import Plugins

STORE = "001-handmade"


def name(number: int) -> str:
    return f"job{number:05d}"


def written(folder: Path, rows: Iterable[Row], plugins: Plugins, jobs: int = 200) -> Path:
    """The tables of these rows; every one of them has to fit."""
    ids = frozenset((*map(name, range(jobs)), STORE))
    with TableWriter(folder, known_names(plugins, ids)) as writer:
        writer.add(rows)
    assert not any(writer.left_out.values()), writer.left_out
    return folder


def told(number: int, symptom: str, vehicle: int | None = None) -> Row:
    row = {"job": name(number), "vehicle": name(number if vehicle is None else vehicle)}
    return "complaints", {**row, "symptom": symptom, "share": 1.0, "shows": 1.0}


def ended(number: int, operation: str, vehicle: int | None = None, **more: Any) -> Row:
    row = {"job": name(number), "vehicle": name(number if vehicle is None else vehicle)}
    work = {"system": operation.partition(".")[0], "operation": operation, "part": None, "fault": None}
    return "causes", {**row, **work, "stage": 1, "share": 1.0, "shown_by": "complaint", **more}


def showed(number: int, test: str, outcome: str, **more: Any) -> Row:
    row = {"job": name(number), "vehicle": name(number), "system": test.partition(".")[0], "test": test}
    return "tests", {**row, "stage": 0, "outcome": outcome, "weight": 1.0, "minutes": 4.0, **more}


def repaired(number: int, operation: str, days: int, came_back: str = "") -> Row:
    row = {"job": name(number), "vehicle": name(number), "system": operation.partition(".")[0]}
    work = {"operation": operation, "part": None, "month": "2026-01", "retested": "gone"}
    return "repairs", {**row, **work, "days": days, "came_back": came_back}


def read(number: int, measurand: str, value: float, **more: Any) -> Row:
    row = {"job": name(number), "vehicle": name(number), "measurand": measurand, "place": None}
    return "readings", {**row, "stage": 0, "number": value, "uncertainty": 0.1, "sound": True, **more}


def priced(number: int, operation: str, estimated: int, invoiced: int) -> Row:
    row = {"job": name(number), "vehicle": name(number), "operation": operation, "currency": "EUR"}
    return "prices", {**row, "estimated": estimated, "invoiced": invoiced}


def asked(question: str, folder: Path) -> Answer:
    with on_duckdb(folder) as tables:
        return answer_of(QUESTIONS[question], tables)


def times(count: int, *rows: Any) -> Iterator[Any]:
    for number in range(count):
        yield from (row(number) for row in rows)
