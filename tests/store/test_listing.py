"""Lists and look-ups read rows of their own, and how many jobs there are does not matter to them."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import attrs
import pytest

from corekit.model.job_state import JobState
from corekit.model.personal import PersonalText
from corekit.model.records import Approved, Customer, Left, Opened, Paid, PaymentTaken, Vehicle
from corekit.store import queries
from corekit.store.list_rows import JobRow
from corekit.store.store import Store
from corekit.store.transaction import Transaction

from .conftest import fill, invoice, said
from .writing import append, issue, mark_published, note_link, pay, revoke_link

FEW, MANY = 20, 1000
#: What a search in a tree may cost more among fifty times as many rows.
DEEPER = 1.5


def began(name: str, customer: str = "") -> list:
    drafts = [
        said("opened", f"{name}:o#1", Opened(origin=name, words=PersonalText("words", "Does not start."))),
        said("vehicle", f"{name}:v#1", Vehicle(plate=PersonalText("plate", "DEMO-1"))),
    ]
    if customer:
        drafts.append(said("customer", f"{name}:c#1", Customer(name=PersonalText("name", customer))))
    return drafts


def approved(name: str):
    record = Approved(
        estimate="repair 1", document_hash="0", total=1, currency="EUR", by="customer", how="in person"
    )
    return said("approved", f"{name}:a#1", record)


def new_job(store: Store, name: str, customer: str = "") -> str:
    job = store.new_job()
    append(store, job, began(name, customer))
    return job


def many(path: Path, count: int) -> Store:
    """A store of jobs, all written in one go; every second one is on an invoice."""
    store = Store.create(path, demo=False, now=lambda: "2026-03-01T08:00:00Z")
    with store._writing() as connection:
        for number in range(count):
            transaction = Transaction(
                connection, (f"jb{number:06}",), None, where="", lineage=store.lineage, demo=False,
                now=lambda: "2026-03-01T08:00:00Z",
            )  # fmt: skip
            name = f"visit-{number}"
            transaction.append(
                [*began(name, f"Customer {number // 4 % 7 + number // 20 * 7}"), approved(name)]
            )
            if number % 2:
                transaction.issue("2026-A", invoice(transaction.next_number("2026-A")))
            transaction.finish()
    return store


@pytest.fixture(scope="module")
def stores(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Store, Store]]:
    folder = tmp_path_factory.mktemp("many")
    with many(folder / "few", FEW) as few, many(folder / "many", MANY) as lots:
        yield few, lots


@contextmanager
def counted(store: Store, read: list[str], monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """Counts the steps of SQLite's machine, which walks through rows unseen, and notes journals that are
    read.
    """
    steps = [0]

    def step() -> None:
        steps[0] += 1

    journal = queries.journal
    with monkeypatch.context() as patch:
        patch.setattr(
            queries, "journal", lambda connection, job: read.append(job) or journal(connection, job)
        )
        store._connection.set_progress_handler(step, 1)
        try:
            yield steps
        finally:
            store._connection.set_progress_handler(None, 1)


ASKED: dict[str, Callable[[Store], object]] = {
    "by id": lambda store: store.find("jb000004"),
    "by name": lambda store: store.find("visit-4"),
    "by a file's name": lambda store: store.job_called("visit-4"),
    "by a name nobody has": lambda store: store.job_called("nobody"),
    "the name of a new job": lambda store: store.names_beginning("visit-11"[:7] + "x"),
    "open jobs": lambda store: store.open_jobs(5),
    "closed jobs": lambda store: store.closed_jobs(5),
    "same customer": lambda store: store.jobs_of_same_customer("jb000004"),
    "what is owed": lambda store: store.owed(store.closed_jobs(1)[0].books_entry),
    "waiting of one job": lambda store: store.waiting_invoices("jb000005"),
}


@pytest.mark.parametrize("ask", ASKED.values(), ids=ASKED)
def test_a_question_walks_through_as_many_rows_among_many_jobs_as_among_few(
    stores: tuple[Store, Store], ask: Callable[[Store], object], monkeypatch: pytest.MonkeyPatch
) -> None:
    steps, read = [], []
    for store in stores:
        with counted(store, read, monkeypatch) as taken:
            ask(store)
        steps.append(taken[0])
    assert read == [], "no journal is read"
    assert 0 < steps[1] <= DEEPER * steps[0]


def test_adding_to_a_job_and_issuing_touch_that_job_alone(
    stores: tuple[Store, Store], monkeypatch: pytest.MonkeyPatch
) -> None:
    steps = []
    for store in stores:
        read: list[str] = []
        with counted(store, read, monkeypatch) as taken:
            new_job(store, "added")
            issue(store, "jb000002", "2026-A", invoice)
        steps.append(taken[0])
        assert set(read) <= {"jb000002"}
    assert steps[1] <= DEEPER * steps[0]


def row_of(store: Store, job: str) -> JobRow:
    (row,) = [row for row in (*store.open_jobs(99), *store.closed_jobs(99)) if row.id == job]
    return row


def test_a_row_follows_the_job_through_its_states(store: Store) -> None:
    job = new_job(store, "visit")
    assert row_of(store, job).state == JobState.DIAGNOSIS
    append(store, job, [said("left", "visit:l#1", Left(because="no time left"))])
    row = row_of(store, job)
    assert (row.state, row.because, row.closed) == (JobState.LEFT, "no time left", None)
    issue(store, job, "2026-A", invoice)
    row = row_of(store, job)
    assert (row.state, row.number) == (JobState.INVOICED, "2026-A-0001")
    issued = store.job(job).issued[-1].id
    assert (
        row.closed
        == store._connection.execute("SELECT rowid FROM entry WHERE id = ?", (issued,)).fetchone()[0]
    )
    assert store.owed(row.books_entry) == (31860, "EUR")
    taken = PaymentTaken(amount=500, currency="EUR", how="cash", job_name="visit")
    pay(store, job, "2026-A", Paid(amount=500, currency="EUR", how="cash"), taken)
    assert store.owed(row.books_entry) == (31360, "EUR")
    assert store.verify() == []


def test_a_customer_is_the_same_by_name_until_forgotten(store: Store) -> None:
    jobs = [new_job(store, name, customer) for name, customer in (("a", "One"), ("b", "One"), ("c", "Two"))]
    for job, name in zip(jobs, "abc", strict=True):
        append(store, job, [approved(name)])
    assert [row.id for row in store.jobs_of_same_customer(jobs[0])] == [jobs[1]]
    store.forget(jobs[1])
    assert store.jobs_of_same_customer(jobs[0]) == [] and row_of(store, jobs[1]).customer == ""
    store.forget(jobs[0])
    assert store.jobs_of_same_customer(jobs[0]) == [], "two who were forgotten are not the same"
    assert store.verify() == []


def test_an_invoice_waits_until_its_first_link_is_published_or_withdrawn(store: Store, job: str) -> None:
    entries = [issue(store, job, "2026-A", invoice).id for _ in range(3)]
    assert store.waiting_invoices() == entries
    for number, end in ((1, mark_published), (2, revoke_link)):
        note_link(store, f"{number}" * 64, f"document-2026-A-{number}", 1)
        assert len(store.waiting_invoices()) == 4 - number
        end(store, f"{number}" * 64)
    assert store.waiting_invoices() == entries[2:]
    assert store.verify() == []


def test_what_is_written_entry_by_entry_is_what_follows_from_all_of_them(store: Store) -> None:
    fill(store)
    rows = [attrs.astuple(row) for row in (*store.open_jobs(99), *store.closed_jobs(99))]
    assert len(rows) == 2 and store.verify() == []


def test_verify_holds_no_more_of_many_jobs_than_of_few(stores: tuple[Store, Store]) -> None:
    peaks = []
    for store in stores:
        tracemalloc.start()
        try:
            assert store.verify() == []
            peaks.append(tracemalloc.get_traced_memory()[1])
        finally:
            tracemalloc.stop()
    # Of every invoice its number is kept, of nothing else anything: some 100 bytes each.
    assert peaks[1] - peaks[0] < 200 * MANY, peaks
