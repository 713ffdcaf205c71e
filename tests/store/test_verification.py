"""`verify` names whatever was changed, added or removed, with its table and place."""

from __future__ import annotations

import random
import re
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from corekit.store import verification
from corekit.store.errors import StoreError
from corekit.store.store import Store

from .conftest import fill

TABLES = (
    *("answer", "drawer", "entry", "invoice", "job", "job_name", "job_word"),
    *("link", "meta", "migration", "money", "person", "tally"),
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed, filled store that nothing is wrong with."""
    path = tmp_path_factory.mktemp("whole") / "shop.corekit"
    with Store.create(path, demo=False) as store:
        fill(store)
        assert store.verify() == []
    return path


@pytest.fixture
def raw(whole: Path, tmp_path: Path) -> Iterator[sqlite3.Connection]:
    """A raw connection to a copy of it, open for damage."""
    shutil.copy(whole, tmp_path / "copy.corekit")
    with closing(sqlite3.connect(tmp_path / "copy.corekit", isolation_level=None)) as connection:
        yield connection


def faults(connection: sqlite3.Connection) -> list[str]:
    return verification.faults(connection)


def another(value: Any, place: int) -> Any:
    """The same value with one character or one unit changed."""
    if isinstance(value, int):
        return value + 1
    if value is None:
        return 1
    if value == "":
        return "x"
    place %= len(value)
    return value[:place] + ("1" if value[place] != "1" else "2") + value[place + 1 :]


def columns(connection: sqlite3.Connection, table: str) -> list[str]:
    return [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]


def test_the_tables_tried_here_are_all_there_are(raw: sqlite3.Connection) -> None:
    assert [
        name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
    ] == list(TABLES)
    assert all(raw.execute(f"SELECT count(*) FROM {table}").fetchone()[0] >= 2 for table in TABLES)


@pytest.mark.parametrize("table", TABLES)
def test_one_changed_byte_in_any_column_of_any_row_is_named(raw: sqlite3.Connection, table: str) -> None:
    tried, draws = 0, random.Random(7)
    for (rowid,) in raw.execute(f"SELECT rowid FROM {table}").fetchall():
        for column in columns(raw, table):
            (old,) = raw.execute(f"SELECT {column} FROM {table} WHERE rowid = ?", (rowid,)).fetchone()
            new = another(old, draws.randrange(10_000))
            raw.execute("BEGIN")
            try:
                raw.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (new, rowid))
            except sqlite3.IntegrityError:  # its neighbour has that very key; a number that is free then
                raw.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", ((old or 0) + 1000, rowid))
            found = faults(raw)
            assert any(fault.startswith(f"table {table}, ") for fault in found), (
                f"{table}.{column}: {old!r} became {new!r}, and {found} does not name it"
            )
            raw.execute("ROLLBACK")
            tried += 1
    assert faults(raw) == []
    assert tried >= 2 * len(columns(raw, table))


@pytest.mark.parametrize("table", TABLES)
def test_a_value_of_a_type_that_no_column_can_have_is_a_fault_and_no_crash(
    raw: sqlite3.Connection, table: str
) -> None:
    """Pages of another table in a table's place look like that, and SQLite reads them as they are."""

    def declare(text: str) -> None:
        raw.execute("PRAGMA writable_schema = ON")
        raw.execute("UPDATE sqlite_master SET sql = ? WHERE type = 'table' AND name = ?", (text, table))
        raw.execute("PRAGMA writable_schema = RESET")

    (declared,) = raw.execute(
        "SELECT sql FROM sqlite_master WHERE type = 'table' AND name = ?", (table,)
    ).fetchone()
    loose = declared.replace(" NOT NULL", "").replace(" STRICT", "")
    assert loose != declared
    (rowid,) = raw.execute(f"SELECT max(rowid) FROM {table}").fetchone()
    tried = 0
    # SQLite keeps a whole number that is the key as the row's own number, and that holds nothing else.
    own = re.findall(r"(\w+) INTEGER (?:NOT NULL )?PRIMARY KEY", declared)
    for column in set(columns(raw, table)) - {*own}:
        (old,) = raw.execute(f"SELECT {column} FROM {table} WHERE rowid = ?", (rowid,)).fetchone()
        for new in (None, b"\x00\xff"):
            if old == new:
                continue
            declare(loose)
            try:
                raw.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (new, rowid))
                written = raw.execute(f"SELECT {column} FROM {table} WHERE rowid = ?", (rowid,)).fetchone()
            finally:
                declare(declared)
            if written != (old,):
                assert faults(raw), f"{table}.{column}: {old!r} became {new!r}"
                tried += 1
            declare(loose)
            raw.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (old, rowid))
            declare(declared)
    assert faults(raw) == []
    assert tried >= len(columns(raw, table)) - 1


def test_a_fault_of_the_program_is_not_taken_for_one_of_the_file(
    raw: sqlite3.Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(connection: sqlite3.Connection) -> Iterator[str]:
        raise TypeError("a slip of ours")

    monkeypatch.setattr(verification, "_meta", broken)
    with pytest.raises(TypeError, match="a slip of ours"):
        faults(raw)
    raw.execute("DELETE FROM person WHERE rowid = (SELECT max(rowid) FROM person)")
    assert len(faults(raw)) > 1


@pytest.mark.parametrize("table", ["entry", "person"])
def test_every_single_character_of_a_long_text_counts(raw: sqlite3.Connection, table: str) -> None:
    column = "body" if table == "entry" else "text"
    rowid, old = raw.execute(
        f"SELECT rowid, {column} FROM {table} ORDER BY length({column}) DESC LIMIT 1"
    ).fetchone()
    for place in range(0, len(old), 1 if table == "person" else 7):
        raw.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (another(old, place), rowid))
        assert any(fault.startswith(f"table {table}, ") for fault in faults(raw)), old[place]
    raw.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (old, rowid))
    assert faults(raw) == []


@pytest.mark.parametrize("table", TABLES)
def test_a_removed_row_is_named_wherever_it_stood(raw: sqlite3.Connection, table: str) -> None:
    for (rowid,) in raw.execute(f"SELECT rowid FROM {table}").fetchall():
        raw.execute("BEGIN")
        raw.execute(f"DELETE FROM {table} WHERE rowid = ?", (rowid,))
        assert any(fault.startswith(f"table {table}") for fault in faults(raw))
        raw.execute("ROLLBACK")
    assert faults(raw) == []


def test_a_copied_row_is_named(raw: sqlite3.Connection) -> None:
    raw.execute(
        "INSERT INTO person SELECT 'copy' || substr(hash, 5), job, kind, salt, text, seal FROM person LIMIT 1"
    )
    assert sum(fault.startswith("table person") for fault in faults(raw)) >= 2


@pytest.mark.parametrize(
    ("damage", "named"),
    [
        ("UPDATE entry SET body = replace(body, ',', ', ')", "its body is not written the way it was"),
        ("UPDATE entry SET body = 'no data' WHERE n = 1", "its body is not written the way it was"),
        ("UPDATE entry SET replaces = '[\"x\"]' WHERE n = 1", "it replaces x, which is no entry of its job"),
        (
            (
                "DELETE FROM entry WHERE kind = 'issued' AND n = (SELECT min(n) FROM entry WHERE kind ="
                " 'issued')"
            ),
            "does not know of invoice",
        ),
        (
            "DELETE FROM entry WHERE id IN (SELECT value FROM entry, json_each(entry.seen))",
            "which is no longer there",
        ),
        ("DELETE FROM entry WHERE kind = 'invoice' AND place = 1", "without a gap"),
        ("DELETE FROM person WHERE kind = 'plate'", "refers to it, and it is gone"),
        ("UPDATE person SET job = 'x' WHERE kind = 'plate'", "no entry of this job refers to it"),
        ("UPDATE meta SET value = 'yes' WHERE key = 'demo'", "neither 0 nor 1"),
        ("PRAGMA user_version = 1", "schema number"),
        ("UPDATE person SET text = CAST(x'ff41' AS TEXT) WHERE kind = 'plate'", "table person"),
    ],
)
def test_each_kind_of_damage_is_told_in_a_sentence_of_its_own(
    raw: sqlite3.Connection, damage: str, named: str
) -> None:
    raw.execute(damage)
    assert any(named in fault for fault in faults(raw)), faults(raw)


def test_text_in_another_unicode_form_is_a_change_too(raw: sqlite3.Connection) -> None:
    (text,) = raw.execute("SELECT text FROM person WHERE kind = 'words'").fetchone()
    raw.execute("UPDATE person SET text = ? WHERE kind = 'words'", (text.replace("ä", "a\u0308"),))
    assert any(fault.startswith("table person, ") for fault in faults(raw))
    raw.execute("UPDATE person SET text = ? WHERE kind = 'words'", (text,))
    assert faults(raw) == []


def dump(path: Path) -> list[str] | None:
    try:
        with closing(sqlite3.connect(path)) as connection:
            return list(connection.iterdump())
    except sqlite3.DatabaseError:
        return None


def test_bytes_changed_in_the_file_itself_never_pass_unseen(whole: Path, tmp_path: Path) -> None:
    """Either the store says so, or the damage hit unused bytes and every row is as it was (the database's own
    check finds few of these).
    """
    healthy, original, draws = dump(whole), whole.read_bytes(), random.Random(20)
    assert healthy is not None
    seen = harmless = 0
    for number in range(250):
        data = bytearray(original)
        data[draws.randrange(len(data))] ^= 1 << draws.randrange(8)
        copy = tmp_path / f"{number}.corekit"
        copy.write_bytes(data)
        try:
            with Store.open(copy) as store:
                found = store.verify()
        except StoreError as error:
            found = [str(error)]
        if found:
            seen += 1
        else:
            assert dump(copy) == healthy, f"round {number}: something changed and nobody says so"
            harmless += 1
    assert seen > 20, f"{seen} seen, {harmless} harmless"


@pytest.mark.parametrize(
    ("damage", "ask"),
    [
        (
            "UPDATE entry SET body = replace(body, '12.78', '12.79') WHERE kind = 'measured'",
            lambda store: store.job(store.jobs()[0]),
        ),
        (
            "UPDATE entry SET body = replace(body, '31860', '31861') WHERE kind = 'invoice'",
            lambda store: store.books(),
        ),
        (
            "UPDATE person SET text = text || 'x'",
            lambda store: store.texts(store.job(store.jobs()[0]).persons()),
        ),
        ("UPDATE link SET revoked = ''", lambda store: store.links()),
        ("UPDATE meta SET value = 'x' WHERE key = 'lineage'", lambda store: store.lineage),
        ("UPDATE meta SET value = '1' WHERE key = 'demo'", lambda store: store.demo),
        ("DELETE FROM tally", lambda store: store.continue_restored()),
    ],
)
def test_a_changed_row_is_not_handed_out(
    raw: sqlite3.Connection, tmp_path: Path, damage: str, ask: Callable[[Store], Any]
) -> None:
    raw.execute(damage)
    with Store.open(tmp_path / "copy.corekit") as store, pytest.raises(StoreError, match="corekit verify"):
        ask(store)
