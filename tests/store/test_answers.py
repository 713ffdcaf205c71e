"""The store takes an answer once, numbers its rows while nobody else can write, and keeps no more of it than
it must.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from hashlib import sha256

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corekit.model.entry import Draft, Entry
from corekit.model.job import fold
from corekit.model.personal import PersonalText
from corekit.model.records import Customer, Measured, Opened, Paid, PaymentTaken, Seen, Setup, body_of
from corekit.store.errors import RequestConflictError, StoreError
from corekit.store.reconcile import additions
from corekit.store.requests import Request
from corekit.store.store import Store

from .conftest import invoice, reading, said
from .writing import add, append, issue, pay

ID = "0123456789abcdef"


def measured(typed: str = "12.6 V", setup: str = "") -> Draft:
    return Draft(
        kind="measured",
        row="arrival/battery.open_circuit_voltage/",
        body={**body_of(reading(typed)), "setup": setup},
    )


def setup(typed: str) -> Draft:
    return Draft(
        kind="setup",
        row="arrival/setup",
        body=body_of(Setup(values={"battery.temperature": {"typed": typed}})),
    )


def test_rows_are_numbered_on_from_what_is_there(store: Store, job: str) -> None:
    subjects = [entry.subject for _ in range(3) for entry in add(store, job, measured(), measured())]
    assert subjects == [f"visit:arrival/battery.open_circuit_voltage/#{number}" for number in range(1, 7)]


def test_a_transaction_shows_the_job_as_it_stands_while_nobody_else_can_write(store: Store, job: str) -> None:
    add(store, job, measured())
    with store.transaction(job) as transaction:
        standing = transaction.job
        with (
            closing(sqlite3.connect(store.path, timeout=0)) as other,
            pytest.raises(sqlite3.OperationalError, match="locked"),
        ):
            other.execute("BEGIN IMMEDIATE")
        transaction.append(store.screen_additions(standing, "visit", [measured("12.7 V")]).drafts)
        assert transaction.job is standing, "read and folded once"
    assert standing is not None
    assert [noted.record.typed for noted in standing.all(Measured)] == ["12.6 V"]
    assert [noted.record.typed for noted in store.job(job).all(Measured)] == ["12.6 V", "12.7 V"]


def test_the_job_of_a_transaction_is_none_before_it_begins_and_as_it_began_however_late_it_is_asked_for(
    store: Store, job: str
) -> None:
    with store.transaction(store.new_job()) as transaction:
        assert transaction.job is None
    with store.transaction(job) as transaction:
        transaction.append([said("seen", "visit:case#1", Seen(of="battery.case"))])
        assert transaction.job is not None and len(transaction.job.entries) == 1


def test_what_is_raised_comes_out_nothing_is_written_and_the_id_is_free_again(store: Store, job: str) -> None:
    with (
        pytest.raises(ArithmeticError),
        store.transaction(job, request=Request(id=ID, content=1)) as transaction,
    ):
        transaction.append([said("seen", "visit:case#1", Seen(of="battery.case"))])
        raise ArithmeticError("no rows")
    assert len(store.journal(job)) == 1
    entries = add(store, job, measured(), request=Request(id=ID, content=2))
    with store.transaction(job, request=Request(id=ID, content=2)) as transaction:
        assert transaction.known is not None and list(transaction.known.entries) == entries


def test_nothing_can_be_written_under_a_request_that_came_before(store: Store, job: str) -> None:
    request = Request(id=ID, content=1)
    add(store, job, measured(), request=request)
    before = store.heads()
    with (
        pytest.raises(StoreError, match="its request came before"),
        store.transaction(job, request=request) as transaction,
    ):
        transaction.append([said("seen", "visit:case#1", Seen(of="battery.case"))])
    assert store.heads() == before


def test_a_cancelled_transaction_writes_nothing_and_leaves_its_request_new(store: Store, job: str) -> None:
    request = Request(id=ID, content=1)
    with store.transaction(job, request=request) as transaction:
        transaction.append([said("seen", "visit:case#1", Seen(of="battery.case"))])
        transaction.cancel()
        with pytest.raises(StoreError, match="was cancelled"):
            transaction.append([said("seen", "visit:case#2", Seen(of="battery.case"))])
    assert len(store.journal(job)) == 1
    assert store.outcome(request) is None and store.outcome(Request(id=ID, content=2)) is None
    assert store.verify() == []


def test_every_way_of_writing_takes_an_answer_once(store: Store, job: str) -> None:
    money, taken = (
        Paid(amount=500, currency="EUR", how="cash"),
        PaymentTaken(amount=500, currency="EUR", how="cash", job_name="visit"),
    )

    def everything() -> list[str]:
        return [
            *(
                entry.id
                for entry in append(
                    store,
                    job,
                    [said("seen", "visit:case#1", Seen(of="battery.case"))],
                    request=Request(id=ID + "1", content="a"),
                )
            ),
            *(
                entry.id
                for entry in pay(
                    store, job, "2026-A", money, taken, request=Request(id=ID + "2", content="b")
                )
            ),
            issue(store, job, "2026-A", invoice, request=Request(id=ID + "3", content="c")).id,
        ]

    first = everything()
    assert everything() == first and len(set(first)) == 4
    assert len(store.books()) == 2 and store.verify() == []
    for number in "123":
        with pytest.raises(RequestConflictError):
            add(store, job, measured(), request=Request(id=ID + number, content="d"))
    assert len(store.by_requests(job)) == 5


def test_an_answer_to_what_stands_already_is_kept_with_what_stands(store: Store, job: str) -> None:
    first = issue(store, job, "2026-A", invoice)
    issued = store.job(job).issued[-1].entry
    with store.transaction(job, request=Request(id=ID, content="issue")) as transaction:
        transaction.note_standing(issued)
    known = store.outcome(Request(id=ID, content="issue"))
    assert known is not None and known.entries == (issued,) and issued.body["books_entry"] == first.id
    assert len(store.books()) == 1


def test_a_setup_is_one_as_long_as_it_says_the_same(store: Store, job: str) -> None:
    named = "arrival/setup#1"
    used = [
        add(store, job, setup(typed), measured("12.6 V", named))[-1].body["setup"]
        for typed in ("4 °C", "4 °C", "5 °C", "5 °C", "4 °C")
    ]
    assert [subject.rpartition("#")[2] for subject in used] == ["1", "1", "2", "2", "3"]
    both = add(
        store,
        job,
        setup("6 °C"),
        measured("12.6 V", named),
        setup("6 °C"),
        measured("12.7 V", "arrival/setup#2"),
    )
    assert len(both) == 3 and both[1].body["setup"] == both[2].body["setup"] == both[0].subject


def test_a_readings_setup_that_is_not_in_the_answer_is_a_fault(store: Store, job: str) -> None:
    with pytest.raises(StoreError, match="which is not in this answer"):
        add(store, job, measured("12.6 V", "arrival/setup#1"))


def test_a_file_cannot_say_through_an_answer_what_only_the_program_says(store: Store, job: str) -> None:
    for kind in ("issued", "withdrawn", "nonsense"):
        with pytest.raises(StoreError, match="only the program can"):
            add(store, job, Draft(kind=kind, row="r/", body={}))


def entry_of(statement: Draft, n: int) -> Entry:
    return Entry(
        journal="job",
        job="j",
        chain="c",
        n=n,
        prev="",
        kind=statement.kind,
        subject=statement.subject,
        body=statement.body,
        recorded="",
        id=str(n),
        replaces=statement.replaces,
    )


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.lists(st.sampled_from(["4 °C", "5 °C", "12.5 V", "12.6 V"]), min_size=1, max_size=3), max_size=6
    )
)
def test_however_rows_are_cut_into_answers_the_same_is_said(cut: list[list[str]]) -> None:
    """Law: the journal of rows answered a few at a time is that of the rows answered all at once."""

    def drafts(texts: Sequence[str]) -> list[Draft]:
        made: list[Draft] = []
        for text in texts:
            made.append(setup(text) if text.endswith("C") else measured(text))
        return made

    def whole(parts: Sequence[Sequence[str]]) -> list[tuple[str, str]]:
        entries: list[Entry] = []
        for part in parts:
            for statement in additions(entries, {}, "visit", drafts(part)).drafts:
                entries.append(entry_of(statement, len(entries)))
        return [(entry.subject, json.dumps(entry.body, sort_keys=True)) for entry in entries]

    assert whole(cut) == whole([[text for part in cut for text in part]])


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.sampled_from(["12.5 V", "12.6 V"]), min_size=1, max_size=6))
def test_rows_only_ever_add(texts: list[str]) -> None:
    """Law: what stood still stands after an answer, in its place."""
    entries: list[Entry] = []
    for text in texts:
        before = [noted.id for noted in fold("j", entries).standing]
        for statement in additions(entries, {}, "visit", [measured(text)]).drafts:
            entries.append(entry_of(statement, len(entries)))
        assert [noted.id for noted in fold("j", entries).standing][: len(before)] == before
    assert len(fold("j", entries).all(Measured)) == len(texts)


def test_the_hash_of_an_answer_alone_does_not_say_what_it_held(store: Store) -> None:
    """A plate is short enough to be guessed: the hash must not be one that anybody can compute from the
    guess.
    """
    asked = {"customer": {"name": "Gone Person"}}
    job = store.new_job()
    drafts = [
        Draft(kind="opened", row="opened", body=body_of(Opened(origin="visit"))),
        Draft(
            kind="customer", row="customer", body=body_of(Customer(name=PersonalText("name", "Gone Person")))
        ),
    ]
    add(store, job, *drafts, request=Request(id=ID, content=asked))
    ((salt, kept),) = store._connection.execute("SELECT salt, digest FROM answer").fetchall()
    guesses = {
        sha256(text.encode()).hexdigest()
        for text in (json.dumps(asked), json.dumps([asked]), json.dumps(["", asked]))
    }
    assert (
        kept not in guesses and kept == sha256(json.dumps([salt, asked], sort_keys=True).encode()).hexdigest()
    )
    store.forget(job)
    assert store._connection.execute("SELECT salt, digest FROM answer").fetchall() == [("", "")]
    assert store.outcome(Request(id=ID, content=asked)) is not None
    assert store.verify() == []


def test_an_entry_that_an_answer_became_and_that_is_gone_is_named(store: Store, job: str) -> None:
    (entry,) = add(store, job, measured(), request=Request(id=ID))
    with closing(sqlite3.connect(store.path, isolation_level=None)) as raw:
        raw.execute("DELETE FROM entry WHERE id = ?", (entry.id,))
    assert any(
        f"it became {entry.id[:12]}, which is no entry of its job" in fault for fault in store.verify()
    )


def test_a_screen_corrects_what_a_file_says_in_its_place(store: Store) -> None:
    job = store.new_job()
    opened = Draft(
        kind="opened",
        row="arrival/opened",
        body=body_of(Opened(origin="file", words=PersonalText("words", "x"))),
    )
    append(store, job, store.file_additions(None, "file", [opened, measured()]).drafts)
    (said_by_the_file,) = store.job(job).all(Measured)
    assert said_by_the_file.entry.subject.startswith("file:")
    (entry,) = add(store, job, measured("12.7 V"), corrects=said_by_the_file.entry)
    assert [str(old) for old in entry.replaces] == [said_by_the_file.id]
    assert [noted.record.typed for noted in store.job(job).all(Measured)] == ["12.7 V"]
    with pytest.raises(StoreError, match="does not stand any more"):
        add(store, job, measured("12.8 V"), corrects=said_by_the_file.entry)


def test_own_words_that_are_corrected_to_what_they_are_write_nothing(store: Store, job: str) -> None:
    def seen(words: str) -> Draft:
        body = body_of(Seen(of="battery.case", words=PersonalText("words", words)))
        return Draft(kind="seen", row="arrival/battery.case/", body=body)

    (first,) = add(store, job, seen("a hairline at one corner"))
    assert add(store, job, seen("a hairline at one corner"), corrects=first) == []
    (second,) = add(store, job, seen("it leaks at one corner"), corrects=first)
    assert [str(old) for old in second.replaces] == [first.id]
