"""The store takes an answer once, numbers its rows while nobody else can write, and keeps no more of it than
it must.
"""

from __future__ import annotations

import itertools
import json
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from hashlib import sha256
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corekit.model.entry import Draft, Entry
from corekit.model.job import Job, fold
from corekit.model.personal import PersonalText
from corekit.model.records import Customer, Measured, Opened, Paid, PaymentTaken, Seen, Setup, body_of
from corekit.store.errors import RequestConflictError, StoreError
from corekit.store.reconcile import added
from corekit.store.store import Store, Told

from .conftest import invoice, reading, said

ID = "0123456789abcdef"
ids = (f"answer-{number:012}" for number in itertools.count())


def measured(typed: str = "12.6 V", setup: str = "") -> Draft:
    return Draft(
        kind="measured", row="arrival/battery.rest_voltage/", body={**body_of(reading(typed)), "setup": setup}
    )


def setup(typed: str) -> Draft:
    return Draft(
        kind="setup",
        row="arrival/setup",
        body=body_of(Setup(values={"battery.temperature": {"typed": typed}})),
    )


def told(*drafts: Draft, **more: Any) -> Any:
    return lambda job: Told(origin="visit", drafts=drafts, **more)


def add(store: Store, job: str, *drafts: Draft, **more: Any) -> Sequence[Entry]:
    return store.add(job, told(*drafts, **more), answer=next(ids), asked=None).entries


def test_rows_are_numbered_on_from_what_is_there(store: Store, job: str) -> None:
    subjects = [entry.subject for _ in range(3) for entry in add(store, job, measured(), measured())]
    assert subjects == [f"visit:arrival/battery.rest_voltage/#{number}" for number in range(1, 7)]


def test_it_is_told_the_job_as_it_stands_while_nobody_else_can_write(store: Store, job: str) -> None:
    add(store, job, measured())
    seen: list[Job | None] = []

    def tell(standing: Job | None) -> Told:
        seen.append(standing)
        with (
            closing(sqlite3.connect(store.path, timeout=0)) as other,
            pytest.raises(sqlite3.OperationalError, match="locked"),
        ):
            other.execute("BEGIN IMMEDIATE")
        return Told(origin="visit", drafts=[measured("12.7 V")])

    store.add(job, tell, answer=next(ids), asked=None)
    assert [[noted.record.typed for noted in standing.all(Measured)] for standing in seen if standing] == [
        ["12.6 V"]
    ]


def test_what_it_raises_comes_out_and_the_id_is_free_again(store: Store, job: str) -> None:
    def fails(_: Job | None) -> Told:
        raise ArithmeticError("no rows")

    with pytest.raises(ArithmeticError):
        store.add(job, fails, answer=ID, asked=1)
    assert not store.add(job, told(measured()), answer=ID, asked=2).again
    assert store.add(job, fails, answer=ID, asked=2).again, "known, it is not even read"


def test_every_way_of_writing_takes_an_answer_once(store: Store, job: str) -> None:
    money, taken = (
        Paid(amount=500, currency="EUR", how="cash"),
        PaymentTaken(amount=500, currency="EUR", how="cash", job_name="visit"),
    )

    def everything() -> list[str]:
        return [
            *(
                entry.id
                for entry in store.append(
                    job, [said("seen", "visit:case#1", Seen(of="battery.case"))], answer=ID + "1", asked="a"
                )
            ),
            *(entry.id for entry in store.payment(job, "2026-A", money, taken, answer=ID + "2", asked="b")),
            store.issue(job, "2026-A", invoice, answer=ID + "3", asked="c").id,
        ]

    first = everything()
    assert everything() == first and len(set(first)) == 4
    assert len(store.books()) == 2 and store.verify() == []
    for number in "123":
        with pytest.raises(RequestConflictError):
            store.add(job, told(measured()), answer=ID + number, asked="d")
    assert len(store.by_answers(job)) == 5


def test_an_answer_to_what_stands_already_is_kept_with_what_stands(store: Store, job: str) -> None:
    first = store.issue(job, "2026-A", invoice)
    issued = store.job(job).issued[-1].entry
    store.keep_answer(job, ID, "issue", [issued])
    assert store.issue(job, "2026-A", invoice, answer=ID, asked="issue") == first
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
            for statement in added(entries, {}, "visit", drafts(part)).drafts:
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
        for statement in added(entries, {}, "visit", [measured(text)]).drafts:
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
    store.add(job, told(*drafts), answer=ID, asked=asked)
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
    assert store.add(job, told(*drafts), answer=ID, asked=asked).again
    assert store.verify() == []


def test_an_entry_that_an_answer_became_and_that_is_gone_is_named(store: Store, job: str) -> None:
    (entry,) = store.add(job, told(measured()), answer=ID, asked=None).entries
    with closing(sqlite3.connect(store.path, isolation_level=None)) as raw:
        raw.execute("DELETE FROM entry WHERE id = ?", (entry.id,))
    assert any(
        f"it became {entry.id[:12]}, which is no entry of its job" in fault for fault in store.verify()
    )
