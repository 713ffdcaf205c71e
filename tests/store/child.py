"""A program of its own that writes into a store and says on its output what was acknowledged.

Tests start it and kill it.

child.py PATH JOB save SEED          saves entries and issues invoices until it is killed
child.py PATH JOB early SEED         the same with a defect: it acknowledges, sleeps, then commits
child.py PATH JOB issue COUNT        issues invoices; every fourth takes a number and fails while it is built
child.py PATH JOB together OTHER     issues one invoice over two jobs and kills itself after the first
child.py PATH JOB full BYTES         saves under a limit on file size until the store says what is wrong
child.py PATH JOB migrate STEP       opens an older store and stops in the middle of one step
"""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import sys
import time
from pathlib import Path
from typing import Any

import attrs
from writing import append, issue

from corekit.model.canonical import digest
from corekit.model.entry import Draft, Entry
from corekit.model.personal import PersonalText
from corekit.model.records import InvoiceIssued, Measured, Seen, body_of
from corekit.store import schema
from corekit.store.errors import StoreError
from corekit.store.store import Store
from corekit.store.transaction import Transaction

# IMPORT append, issue

CHAIN = "2026-A"


def say(*words: str) -> None:
    print(*words, flush=True)


class EarlyStore(Store):
    """Acknowledges what is not yet on the disk."""

    def _commit(self) -> None:
        for kind, name in self._connection.execute("SELECT kind, id FROM entry ORDER BY rowid DESC LIMIT 2"):
            say(kind, name)
        time.sleep(0.2)
        super()._commit()


def invoice(place: int) -> InvoiceIssued:
    document = {"id": f"document-{place}", "filling": "x" * 2000}
    return InvoiceIssued(
        place=place,
        number=f"{CHAIN}-{place:05d}",
        document_id=f"document-{place}",
        document=document,
        document_hash=digest(document),
        total=1,
        currency="EUR",
        versions={},
        heads=[],
        job_name="visit",
    )


def readings(count: int, mark: str) -> list[Draft]:
    said = []
    for number in range(count):
        record = Measured(of="battery.open_circuit_voltage", typed="12.6 V", kind="voltage", number=12.6)
        said.append(Draft(kind="measured", subject=f"visit:v/#{mark}-{number}", body=body_of(record)))
    seen = Seen(of="battery.case", words=PersonalText("note", f"seen at {mark}"))
    return [*said, Draft(kind="seen", subject=f"visit:case/#{mark}", body=body_of(seen))]


def save(path: Path, job: str, seed: str, store_class: type[Store]) -> None:
    draws = random.Random(seed)
    quiet = store_class is EarlyStore
    with store_class.open(path) as store:
        say("ready", "-")
        for number in range(100_000):
            said = readings(draws.randint(1, 4), f"{seed}.{number}")
            written = (
                [issue(store, job, CHAIN, invoice)] if draws.random() < 0.4 else append(store, job, said)
            )
            for entry in written:
                if not quiet:
                    say(entry.kind, entry.id)


def issue_some(path: Path, job: str, count: int) -> None:
    def fails(place: int) -> InvoiceIssued:
        raise ArithmeticError(f"invoice {place} cannot be built")

    with Store.open(path) as store:
        for number in range(count):
            try:
                say("invoice", issue(store, job, CHAIN, fails if number % 4 == 3 else invoice).id)
            except ArithmeticError:
                say("failed", "-")


def together(path: Path, job: str, other: str) -> None:
    """Dies in the middle of telling several jobs."""
    append_to, calls = Transaction._append_to, 0

    def half(transaction: Transaction, *what: Any) -> list[Entry]:
        nonlocal calls
        calls += 1
        if calls == 2:
            say("half", "-")
            os.kill(os.getpid(), signal.SIGKILL)
        return append_to(transaction, *what)

    Transaction._append_to = half  # type: ignore[method-assign]
    with Store.open(path) as store:
        issue(store, [job, other], CHAIN, lambda place: attrs.evolve(invoice(place), jobs=[job, other]))


def full(path: Path, job: str, limit: int) -> None:
    import resource

    with Store.open(path) as store:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        for number in range(100_000):
            try:
                written = append(store, job, readings(4, f"full.{number}"))
            except StoreError as error:
                say("problem", str(error))
                say("readable", str(len(store.journal(job))))
                return
            for entry in written:
                say(entry.kind, entry.id)


def migrate(path: Path, number: int) -> None:
    steps = list(schema.MIGRATIONS)
    whole = steps[number]

    def half(connection: sqlite3.Connection) -> None:
        whole(connection)
        say("half", "-")
        time.sleep(60)

    half.__name__ = whole.__name__
    steps[number] = half
    schema.MIGRATIONS = tuple(steps)
    Store.open(path).close()


def main(path: str, job: str, what: str, given: str) -> None:
    if what in ("save", "early"):
        save(Path(path), job, given, EarlyStore if what == "early" else Store)
    elif what == "issue":
        issue_some(Path(path), job, int(given))
    elif what == "together":
        together(Path(path), job, given)
    elif what == "full":
        full(Path(path), job, int(given))
    else:
        migrate(Path(path), int(given))


if __name__ == "__main__":
    main(*sys.argv[1:])
