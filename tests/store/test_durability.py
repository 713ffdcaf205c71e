"""What was acknowledged is on the disk: kills at random moments, a full disk, many writers at once."""

from __future__ import annotations

import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from corekit.model.records import Paid, PaymentTaken
from corekit.store import schema
from corekit.store.store import Store

from .conftest import fill, invoice, reading, said
from .writing import append, issue, note_link, pay

CHILD = Path(__file__).with_name("child.py")
CHAIN = "2026-A"
posix_only = pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals and resource limits")


def started(path: Path, job: str, what: str, given: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, str(CHILD), str(path), job, what, given],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def whole_lines(output: str) -> list[tuple[str, str]]:
    """What a killed program said, without a line that it did not finish."""
    lines = output.split("\n")[:-1]
    return [(line.split(" ", 1)[0], line.split(" ", 1)[1]) for line in lines]


def killed_at_random(path: Path, job: str, what: str, seed: int) -> list[str]:
    """Ids acknowledged by a program that was killed at a random moment of its work."""
    draws = random.Random(seed)
    child = started(path, job, what, str(seed))
    assert child.stdout is not None and child.stderr is not None
    try:
        heard = [child.stdout.readline() for _ in range(draws.randint(1, 12))]
        time.sleep(draws.random() * 0.02)
    finally:
        child.send_signal(signal.SIGKILL)
    heard.append(child.stdout.read())
    child.wait()
    assert child.returncode == -signal.SIGKILL, child.stderr.read()
    return [name for kind, name in whole_lines("".join(heard)) if kind != "ready"]


def wrong(path: Path, acknowledged: list[str]) -> list[str]:
    """What does not hold in a store after a kill: things acknowledged and gone, gaps, damage."""
    with Store.open(path) as store:
        there = {entry.id for job in store.jobs() for entry in store.journal(job)} | {
            entry.id for entry in store.books()
        }
        places = [entry.body["place"] for entry in store.books(CHAIN)]
        lost = [f"{name} was acknowledged and is gone" for name in acknowledged if name not in there]
        gaps = [] if places == list(range(1, len(places) + 1)) else [f"invoices {places} have a gap"]
        return lost + gaps + store.verify()


@posix_only
def test_a_kill_at_any_of_thirty_moments_loses_nothing_acknowledged_and_leaves_no_gap(
    store: Store, job: str
) -> None:
    acknowledged: list[str] = []
    for seed in range(30):
        acknowledged += killed_at_random(store.path, job, "save", seed)
        assert wrong(store.path, acknowledged) == []
    assert len(acknowledged) > 60
    assert len(store.books(CHAIN)) > 5


@posix_only
def test_the_same_watch_finds_a_store_that_acknowledges_too_early(store: Store, job: str) -> None:
    found = [
        fault
        for seed in range(5)
        for fault in wrong(store.path, killed_at_random(store.path, job, "early", seed))
    ]
    assert any("was acknowledged and is gone" in fault for fault in found)


@posix_only
def test_eight_programs_issuing_at_once_leave_no_gap_though_some_invoices_fail(
    store: Store, job: str
) -> None:
    children = [started(store.path, job, "issue", "12") for _ in range(8)]
    said_by_all = []
    for child in children:
        output, errors = child.communicate(timeout=120)
        assert child.returncode == 0, errors
        said_by_all += whole_lines(output)
    issued = [name for kind, name in said_by_all if kind == "invoice"]
    assert len(said_by_all) == 8 * 12 and len(issued) == 8 * 9
    assert wrong(store.path, issued) == []
    assert len(store.books(CHAIN)) == len(issued)


@pytest.mark.parametrize("shared", [True, False], ids=["one store for all", "a store each"])
def test_eight_threads_issuing_at_once_get_numbers_without_a_gap(
    store: Store, job: str, shared: bool
) -> None:
    problems: list[BaseException] = []

    def work() -> None:
        try:
            mine = store if shared else Store.open(store.path)
            for _ in range(10):
                issue(mine, job, CHAIN, invoice)
            if not shared:
                mine.close()
        except BaseException as error:
            problems.append(error)

    threads = [threading.Thread(target=work) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert problems == []
    assert [entry.body["place"] for entry in store.books(CHAIN)] == list(range(1, 81))
    assert store.verify() == []


@posix_only
def test_a_full_disk_gives_one_plain_problem_and_keeps_what_was_acknowledged(store: Store, job: str) -> None:
    child = started(store.path, job, "full", "400000")
    output, errors = child.communicate(timeout=120)
    assert child.returncode == 0, errors
    lines = whole_lines(output)
    acknowledged = [name for kind, name in lines if kind in ("measured", "seen")]
    (error,) = [text for kind, text in lines if kind == "problem"]
    assert str(store.path) in error and "full" in error and "Make room" in error and "Traceback" not in error
    assert len(acknowledged) > 10
    assert int(dict(lines)["readable"]) == len(acknowledged) + 1
    assert wrong(store.path, acknowledged) == []
    assert append(store, job, [said("measured", "visit:v/#after", reading("12.6 V"))])


def test_the_pragmas_that_the_promise_rests_on_are_set(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """synchronous 2 is FULL, secure_delete 1 is on (sqlite.org/pragma.html, from memory); a build of SQLite
    may have other defaults.
    """
    connect = sqlite3.connect

    def careless(*given: Any, **named: Any) -> sqlite3.Connection:
        connection = connect(*given, **named)
        for pragma in ("synchronous = OFF", "foreign_keys = OFF", "secure_delete = OFF"):
            connection.execute(f"PRAGMA {pragma}")
        return connection

    monkeypatch.setattr(sqlite3, "connect", careless)
    store.close()
    store = Store.open(store.path)
    read = {
        name: store._connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("journal_mode", "synchronous", "foreign_keys", "secure_delete")
    }
    assert read == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "secure_delete": 1}
    assert store._connection.execute("PRAGMA busy_timeout").fetchone()[0] == schema.PATIENCE * 1000
    assert store._connection.isolation_level is None
    strict = {
        row[1]: row[5]
        for row in store._connection.execute("PRAGMA table_list")
        if not row[1].startswith("sqlite_")
    }
    assert len(strict) == 13 and set(strict.values()) == {1}
    store.close()


WRITERS: dict[str, Callable[[Store, str], Any]] = {
    "append": lambda store, job: append(store, job, [said("measured", "visit:v/#1", reading("12.6 V"))]),
    "issue": lambda store, job: issue(store, job, CHAIN, invoice),
    "payment": lambda store, job: pay(
        store,
        job,
        CHAIN,
        Paid(amount=1, currency="EUR", how="cash"),
        PaymentTaken(amount=1, currency="EUR", how="cash", job_name="visit"),
    ),
    "note_link": lambda store, _: note_link(store, "ab" * 32, "document", 1),
    "continue_restored": lambda store, _: store.continue_restored(),
    "forget": lambda store, job: store.forget(job),
}


@pytest.mark.parametrize("name", WRITERS)
def test_every_writer_takes_the_lock_before_it_reads(store: Store, job: str, name: str) -> None:
    """A writer that reads first and locks later fails when another one was quicker."""
    done: list[str] = []
    store._connection.set_trace_callback(done.append)
    WRITERS[name](store, job)
    store._connection.set_trace_callback(None)
    assert done[0] == "BEGIN IMMEDIATE"
    assert "COMMIT" in done and not any(line.startswith("BEGIN") for line in done[1 : done.index("COMMIT")])


def test_a_reader_sees_one_state_while_another_program_writes(store: Store, job: str) -> None:
    with Store.open(store.path) as other, store._reading():
        before = len(store.journal(job))
        append(other, job, [said("measured", "visit:v/#1", reading("12.6 V"))])
        assert len(store.journal(job)) == before
    assert len(store.journal(job)) == before + 1


def test_a_copy_of_the_closed_file_is_the_whole_store(store: Store, tmp_path: Path) -> None:
    filled = fill(store)
    store.close()
    assert not store.path.with_name(store.path.name + "-wal").exists()
    (tmp_path / "copy.corekit").write_bytes(store.path.read_bytes())
    with Store.open(tmp_path / "copy.corekit") as copy:
        assert copy.verify() == []
        assert filled.job in copy.jobs()
