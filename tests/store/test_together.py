"""One invoice over several jobs: all of them are told, or none; each keeps its own persons; verifying knows
whose it is.
"""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.model.entry import jobs_of
from corekit.model.personal import PersonalText
from corekit.model.records import Customer, InvoiceIssued, Opened
from corekit.store import verification
from corekit.store.errors import StoreError
from corekit.store.requests import Request
from corekit.store.store import Store

from .conftest import invoice, said
from .writing import append, issue

CHAIN = "2026-A"
CHILD = Path(__file__).with_name("child.py")


def begun(store: Store, name: str) -> tuple[str, dict[str, str]]:
    """A job that has just begun, and the reference to its customer's name."""
    job = store.new_job()
    customer = Customer(name=PersonalText("name", "Invented Deliveries"))
    written = append(
        store,
        job,
        [
            said("opened", f"{name}:opened#1", Opened(origin=name)),
            said("customer", f"{name}:customer#1", customer),
        ],
    )
    return job, written[1].body["name"]


@pytest.fixture
def two(store: Store) -> tuple[str, str]:
    return begun(store, "one")[0], begun(store, "two")[0]


def over(*jobs: str, **more: Any) -> Any:
    def build(place: int) -> InvoiceIssued:
        return attrs.evolve(invoice(place, CHAIN, **more), jobs=list(jobs))

    return build


def told(store: Store, job: str) -> list[str]:
    return [noted.record.number for noted in store.job(job).issued]


def test_all_jobs_are_told_of_the_one_entry_in_the_books(store: Store, two: tuple[str, str]) -> None:
    entry = issue(store, two, CHAIN, over(*two))
    assert (entry.job, jobs_of(entry)) == ("", two)
    assert [told(store, job) for job in two] == [[entry.body["number"]]] * 2
    assert {store.job(job).issued[0].record.books_entry for job in two} == {entry.id}
    assert store.books() == [entry]
    assert store.verify() == []


def test_an_invoice_over_one_job_says_nothing_of_several(store: Store, two: tuple[str, str]) -> None:
    entry = issue(store, two[0], CHAIN, invoice)
    assert "jobs" not in entry.body, (
        "what an older program wrote of a single invoice and what this one writes must be the same"
    )
    assert jobs_of(entry) == (two[0],)


def test_it_may_refer_to_the_persons_of_each_of_its_jobs_and_of_no_other(store: Store) -> None:
    (one, name), (two, other), (stranger, foreign) = (
        begun(store, label) for label in ("one", "two", "three")
    )
    with pytest.raises(StoreError, match="which this job does not have"):
        issue(store, [one, two], CHAIN, over(one, two, to=[name, foreign]))
    assert store.books() == []
    issue(store, [one, two], CHAIN, over(one, two, to=[name, other]))
    assert store.verify() == []
    store.forget(one)
    assert store.verify() == []
    assert store.text(other["hash"]) == store.text(foreign["hash"]) == "Invented Deliveries"
    assert store.text(name["hash"]) is None
    assert told(store, stranger) == []


def test_what_does_not_fit_is_refused_and_nothing_is_written(store: Store, two: tuple[str, str]) -> None:
    one, other = two
    third, _ = begun(store, "three")
    issue(store, third, CHAIN, invoice)
    before = store.heads()
    for jobs, build, text in (
        ([one], over(one), "says it is over"),
        ([one, one], over(one, one), "Each job is named once"),
        ([one, "nobody"], over(one, "nobody"), "no job 'nobody'"),
        ([one, third], over(one, third), f"Job {third} is on invoice 2026-A-0001 already"),
        ([one, other], over(one, third), "was to be over"),
        ([one, other], invoice, "says it is over one job"),
    ):
        with pytest.raises(StoreError, match=text):
            issue(store, jobs, CHAIN, build)
    assert store.heads() == before
    with pytest.raises(StoreError, match="says it is over"):
        issue(store, one, CHAIN, over(one, other))
    assert store.heads() == before


def test_the_same_answer_again_gives_the_entry_of_then(store: Store, two: tuple[str, str]) -> None:
    entry = issue(store, two, CHAIN, over(*two), request=Request(id="answer-0123456789", content=[1]))
    assert issue(store, two, CHAIN, over(*two), request=Request(id="answer-0123456789", content=[1])) == entry
    assert store.books() == [entry]
    assert store.verify() == []


def test_verifying_names_a_job_that_was_not_told(store: Store, two: tuple[str, str]) -> None:
    issue(store, two, CHAIN, over(*two))
    with closing(sqlite3.connect(store.path, isolation_level=None)) as raw:
        raw.execute("DELETE FROM entry WHERE kind = 'issued' AND job = ?", (two[1],))
        found = verification.faults(raw)
    assert any(f"its job {two[1]} does not know of invoice 2026-A-0001" in fault for fault in found), found
    assert not any(f"its job {two[0]} does not know" in fault for fault in found)


def test_verifying_names_a_job_that_the_invoice_is_not_over(store: Store, two: tuple[str, str]) -> None:
    third, _ = begun(store, "three")
    issue(store, two, CHAIN, over(*two))
    with closing(sqlite3.connect(store.path, isolation_level=None)) as raw:
        raw.execute("UPDATE entry SET job = ? WHERE kind = 'issued' AND job = ?", (third, two[1]))
        found = verification.faults(raw)
    assert any(
        "says that invoice 2026-A-0001 was issued, and the books do not" in fault for fault in found
    ), found


@pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals")
def test_a_kill_between_two_jobs_leaves_neither_issued_and_takes_no_number(
    store: Store, two: tuple[str, str]
) -> None:
    child = subprocess.run(
        [sys.executable, str(CHILD), str(store.path), two[0], "together", two[1]],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (child.returncode, child.stdout) == (-signal.SIGKILL, "half -\n"), child.stderr
    assert store.verify() == []
    assert store.books() == []
    assert [told(store, job) for job in two] == [[], []]
    assert issue(store, two, CHAIN, over(*two)).body["place"] == 1
