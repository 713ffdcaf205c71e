"""A shop with as many jobs as years make, and what a question about it touches."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.desk.context import ShopContext
from corekit.model.canonical import digest
from corekit.model.entry import Draft
from corekit.model.personal import PersonalText
from corekit.model.records import (
    Approved,
    Customer,
    InvoiceIssued,
    Opened,
    Paid,
    PaymentTaken,
    Vehicle,
    body_of,
)
from corekit.store import queries, rows, schema
from corekit.store.store import Store
from corekit.store.transaction import Transaction


def drafts_of(name: str, customer: str) -> list[Draft]:
    """The least that a job says whose diagnosis was approved."""
    plate, words = PersonalText("plate", "DEMO-1"), PersonalText("words", "Does not start.")
    estimate = {"estimate": "diagnosis 1", "document_hash": "0", "total": 100, "currency": "EUR"}
    said = {
        "opened": Opened(origin=name, demo=True, words=words),
        "vehicle": Vehicle(plate=plate, description=PersonalText("description", "van")),
        "customer": Customer(name=PersonalText("name", customer)),
        "approved": Approved(**estimate, by="customer", how="in person"),
    }
    return [
        Draft(kind=kind, subject=f"{name}:{kind}#1", body=body_of(record)) for kind, record in said.items()
    ]


def invoice_of(place: int, chain: str) -> InvoiceIssued:
    """The least that an invoice says."""
    document = {"id": f"document-{chain}-{place}", "title": "Invoice"}
    return InvoiceIssued(
        place=place,
        number=f"many-{place:05d}",
        document_id=document["id"],
        document=document,
        document_hash=digest(document),
        total=100,
        currency="EUR",
        versions={"corekit": "0"},
        heads=[],
        job_name="many",
    )


def add_many(store: Store, count: int, chain: str, paid_at: str = "") -> None:
    """Jobs written in one go, not one transaction each: four of a customer, every second one on an invoice
    whose page is published.

    Args:
        paid_at: The moment of all this, RFC 3339 UTC, when each invoice was paid in cash as well and each
            other job left a deposit that was given back; without it now, and nothing is paid.
    """
    now = (lambda: paid_at) if paid_at else store.now
    with store._writing() as connection:
        for number in range(count):
            transaction = Transaction(
                connection,
                (f"ab{number:08}",),
                None,
                where=str(store.path),
                lineage=store.lineage,
                demo=True,
                now=now,
            )
            transaction.append(drafts_of(f"many-{number}", f"Customer {number // 4}"))
            if number % 2:
                record = invoice_of(transaction.next_number(chain), chain)
                transaction.issue(chain, record)
                token = digest(["many", number])
                transaction.note_link(token, record.document_id, 1)
                transaction.mark_published(token)
            for amount in ((100,) if number % 2 else (50, -50)) if paid_at else ():
                taken = {"amount": amount, "currency": "EUR", "how": "cash"}
                subject = f"many-{number}:paid/{amount}"
                transaction.append([Draft(kind="paid", subject=subject, body=body_of(Paid(**taken)))])
                transaction.append_payment(chain, PaymentTaken(**taken))
            transaction.finish()


def grown(shop: ShopContext, count: int, paid_at: str = "") -> None:
    """As `add_many`, in the books that the shop writes."""
    add_many(shop.store, count, shop.books_chain, paid_at)


@attrs.define
class Touched:
    """What was touched in a store.

    Attributes:
        steps: Of SQLite's machine, which walks through rows unseen.
        rows: That SQLite gave out, of any table.
        entries: That were read, each time anew.
        journals: Read whole.
    """

    steps: int = 0
    rows: int = 0
    entries: int = 0
    journals: int = 0

    def watch(self, connection: sqlite3.Connection) -> None:
        """Count what this connection does."""

        def step() -> None:
            self.steps += 1

        def row(_: sqlite3.Cursor, values: tuple[Any, ...]) -> tuple[Any, ...]:
            self.rows += 1
            return values

        connection.set_progress_handler(step, 1)
        connection.row_factory = row


@contextmanager
def counted(store: Store | None = None) -> Iterator[Touched]:
    """Counts what every store touches that is opened meanwhile; or an open one.

    When persons were destroyed the file is written anew, so that nothing of them is left in it. That costs
    what the file is long and is not counted.
    """
    touched = Touched()
    connect, journal, parsed, sweep = schema.connect, queries.journal, rows.parsed, Store._sweep

    def connected(path: Path, patience: float = schema.PATIENCE) -> sqlite3.Connection:
        connection = connect(path, patience)
        touched.watch(connection)
        return connection

    def read_whole(connection: sqlite3.Connection, job: str) -> Any:
        touched.journals += 1
        return journal(connection, job)

    def read(row: tuple[Any, ...]) -> Any:
        touched.entries += 1
        return parsed(row)

    def sweep_uncounted(swept: Store, job: str) -> None:
        before = attrs.astuple(touched)
        sweep(swept, job)
        touched.steps, touched.rows, touched.entries, touched.journals = before

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Store, "_sweep", sweep_uncounted)
        patch.setattr(schema, "connect", connected)
        patch.setattr(queries, "journal", read_whole)
        patch.setattr(rows, "parsed", read)
        if store is not None:
            touched.watch(store._connection)
        try:
            yield touched
        finally:
            if store is not None:
                store._connection.set_progress_handler(None, 1)
                store._connection.row_factory = None
