"""Older stores become today's, whole or not at all, and a checked copy is made first."""

from __future__ import annotations

import itertools
import os
import signal
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from corekit.model.personal import Personal
from corekit.store import schema
from corekit.store.errors import StoreError
from corekit.store.store import Store

from .writing import note_link

FIRST = Path(__file__).with_name("data") / "store-v0.sql"
CHILD = Path(__file__).with_name("child.py")
posix_only = pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals")


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A store of schema 0, as the first version of the program wrote it."""
    path = tmp_path / "shop.corekit"
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(FIRST.read_text(encoding="utf-8"))
    return path


def version(path: Path) -> int:
    with closing(sqlite3.connect(path)) as connection:
        return schema.version(connection)


def kept(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """What schema 0 holds, of a store of any schema."""
    with closing(sqlite3.connect(path)) as connection:
        return {
            "entry": connection.execute("SELECT * FROM entry ORDER BY chain, n").fetchall(),
            "person": (
                connection.execute("SELECT hash, job, kind, salt, text FROM person ORDER BY hash").fetchall()
            ),
            "meta": connection.execute(
                "SELECT key, value FROM meta WHERE key IN ('demo', 'lineage') ORDER BY key"
            ).fetchall(),
        }


def test_a_store_of_schema_0_takes_each_step_and_keeps_every_row(old: Path) -> None:
    before = kept(old)
    assert version(old) == 0 and len(before["entry"]) == 18 and len(before["person"]) == 5
    with closing(schema.connect(old)) as connection:
        for number in range(schema.SCHEMA):
            connection.execute("BEGIN IMMEDIATE")
            schema.step(connection, number, "2026-04-01T08:00:00Z")
            connection.execute("COMMIT")
            assert version(old) == number + 1
            assert kept(old) == before
    with Store.open(old) as store:
        assert store.schema_version == 6
        assert store.verify() == []


def test_opening_an_old_store_brings_it_up_to_date_with_a_record_of_each_step(old: Path) -> None:
    before = kept(old)
    with Store.open(old, now=lambda: "2026-04-01T08:00:00Z") as store:
        assert store.verify() == []
        assert store.demo
        job = store.job(store.find("worn-battery"))
        assert [noted.record.typed for noted in job.measured(0)] == ["12.58 V"], (
            "one reading corrected, the other withdrawn"
        )
        assert isinstance(job.vehicle.plate, Personal) and store.text(job.vehicle.plate.hash) == "DEMO-1"
        assert store.invoice("2026-0002").body["place"] == 2
        assert store.links() == []
        note_link(store, "ab" * 32, "doc1", 1)
        assert store.verify() == []
        taken = store._connection.execute("SELECT n, name, applied FROM migration ORDER BY n").fetchall()
    assert taken == [
        (number + 1, f"migrate_{number}_to_{number + 1}", "2026-04-01T08:00:00Z") for number in range(6)
    ]
    assert kept(old) == before


def test_a_whole_copy_of_the_old_store_is_made_first(old: Path) -> None:
    with closing(sqlite3.connect(old)) as connection:
        before = list(connection.iterdump())
    Store.open(old).close()
    (backup,) = schema.backups(old)
    assert version(backup) == 0
    with closing(sqlite3.connect(backup)) as connection:
        assert list(connection.iterdump()) == before
    assert sorted(path.name for path in old.parent.iterdir()) == [
        old.name,
        backup.name,
    ], "nothing half is left beside it"


@posix_only
@pytest.mark.parametrize("number", [0, 1, 2, 3, 4, 5])
def test_a_kill_in_the_middle_of_a_step_leaves_the_step_before_it(old: Path, number: int) -> None:
    before = kept(old)
    child = subprocess.Popen(
        [sys.executable, str(CHILD), str(old), "-", "migrate", str(number)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "half -\n"
    child.send_signal(signal.SIGKILL)
    child.communicate()
    assert version(old) == number
    assert kept(old) == before
    with Store.open(old) as store:
        assert store.schema_version == 6
        assert store.verify() == []
    assert kept(old) == before


def opened_until(path: Path, statement: int) -> int:
    """Open a store in a process of its own that is killed just before this statement to the database; how the
    process ended.
    """
    child = os.fork()
    if child:
        return os.waitpid(child, 0)[1]
    try:
        done = itertools.count(1)
        connect = schema.connect

        def watched(*given: Any) -> sqlite3.Connection:
            connection = connect(*given)
            connection.set_trace_callback(
                lambda _: os.kill(os.getpid(), signal.SIGKILL) if next(done) == statement else None
            )
            return connection

        schema.connect = watched
        Store.open(path).close()
        os._exit(0)
    finally:
        os._exit(1)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_a_kill_before_any_statement_of_bringing_a_store_up_to_date_leaves_a_whole_one(
    old: Path, tmp_path: Path
) -> None:
    before, data, versions = kept(old), old.read_bytes(), []
    for statement in itertools.count(1):
        folder = tmp_path / str(statement)
        folder.mkdir()
        path = folder / "shop.corekit"
        path.write_bytes(data)
        ended = opened_until(path, statement)
        versions.append(version(path))
        assert kept(path) == before
        for backup in schema.backups(path):
            assert kept(backup) == before, "a copy is whole or not there"
        assert versions[-1] == 0 or schema.backups(path), "no step is taken before the copy stands"
        with Store.open(path) as store:
            assert store.verify() == []
        if ended == 0:
            break
        assert ended == signal.SIGKILL
    assert versions == sorted(versions) and set(versions) == {0, 1, 2, 3, 4, 5, 6}
    assert len(versions) > 40


def test_four_programs_opening_an_old_store_at_once_take_each_step_once(old: Path) -> None:
    problems: list[BaseException] = []

    def opened() -> None:
        try:
            Store.open(old).close()
        except BaseException as error:
            problems.append(error)

    threads = [threading.Thread(target=opened) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert problems == []
    with Store.open(old) as store:
        assert store.verify() == []


def test_a_store_of_a_newer_program_is_refused_and_left_as_it_is(old: Path) -> None:
    Store.open(old).close()
    with closing(sqlite3.connect(old)) as connection:
        connection.execute(f"PRAGMA user_version = {schema.SCHEMA + 1}")
    before = old.read_bytes()
    with pytest.raises(StoreError, match=r"newer corekit.*Install the newer program"):
        Store.open(old)
    assert old.read_bytes() == before


def test_no_seal_is_put_on_a_personal_text_that_was_changed(old: Path) -> None:
    with closing(sqlite3.connect(old)) as connection, connection:
        connection.execute("UPDATE person SET text = 'DEMO-2' WHERE text = 'DEMO-1'")
    with pytest.raises(StoreError, match=r"plate.*was changed"):
        Store.open(old)
    assert version(old) < 2


def test_a_copy_that_cannot_be_written_leaves_the_store_as_it_is(
    old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_room(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(schema, "flush_folder", no_room)
    with pytest.raises(StoreError, match="Make room"):
        Store.open(old)
    assert version(old) == 0


def test_forgetting_reaches_the_copy_of_the_old_store_too(old: Path) -> None:
    with Store.open(old) as store:
        store.forget(store.find("worn-battery"))
        assert store.verify() == []
    for path in old.parent.iterdir():
        assert b"DEMO-1" not in path.read_bytes(), path.name
    (backup,) = schema.backups(old)
    assert kept(backup)["person"] == []
    assert len(kept(backup)["entry"]) == 18
