"""How often a screen reads and folds a job's journal: once for what it shows, not once for each question."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.model import job as model_job
from corekit.store import persons, queries, store

from .test_money_screens import Desk

#: Of one job's journal, for one request.
MOST = 2


@pytest.fixture
def desk(empty_shop: Path) -> Iterator[Desk]:
    desk = Desk(empty_shop)
    yield desk
    desk.shop.close()


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> tuple[Counter[str], Counter[str]]:
    """How often each job's journal was read, and how often it was folded."""
    reads: Counter[str] = Counter()
    folds: Counter[str] = Counter()
    read, fold = queries.journal, model_job.fold

    def reading(connection: Any, job: str) -> Any:
        reads[job] += 1
        return read(connection, job)

    def folding(job: str, entries: Any, *names: Any) -> Any:
        folds[job] += 1
        return fold(job, entries, *names)

    monkeypatch.setattr(queries, "journal", reading)
    monkeypatch.setattr(queries, "fold", folding)
    return reads, folds


def test_the_hand_over_screen_reads_a_journal_at_most_twice(
    desk: Desk, counted: tuple[Counter[str], Counter[str]]
) -> None:
    desk.approve()
    desk.say(repaired={"operation": "battery.clean_contacts"})
    for counter in counted:
        counter.clear()
    assert "35.40" in desk.page("hand"), "the invoice as a draft"
    for counter in counted:
        assert 1 <= counter[desk.id] <= MOST, counted
        counter.clear()
    desk.shop.issue(desk.id)
    for counter in counted:
        counter.clear()
    assert "2026-A0001" in desk.page("hand") or "A0001" in desk.page("hand"), "the invoice"


def test_once_issued_the_hand_over_screen_reads_each_of_its_jobs_at_most_twice(
    desk: Desk, empty_shop: Path, counted: tuple[Counter[str], Counter[str]]
) -> None:
    other = Desk(empty_shop)
    for one in (desk, other):
        one.approve()
        one.say(repaired={"operation": "battery.clean_contacts"})
    desk.shop.issue_together([desk.id, other.id])
    for counter in counted:
        counter.clear()
    assert "A0001" in desk.page("hand")
    for counter in counted:
        assert all(1 <= counter[job] <= MOST for job in (desk.id, other.id)), counted
    other.shop.close()


def test_a_reading_that_comes_in_reads_its_journal_once(
    desk: Desk, counted: tuple[Counter[str], Counter[str]]
) -> None:
    desk.say(readings=[{"of": "battery.open_circuit_voltage", "is": "12.5 V"}])
    reads, folds = counted
    assert (reads[desk.id], folds[desk.id]) == (1, 1)


def test_no_personal_text_but_the_job_s_name_is_read_twice_for_the_hand_over_screen(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.approve()
    desk.say(repaired={"operation": "battery.clean_contacts"})
    read: Counter[str] = Counter()
    text = store.persons.text

    def reading(connection: Any, hash_: str) -> Any:
        read[hash_] += 1
        return text(connection, hash_)

    monkeypatch.setattr(store.persons, "text", reading)
    assert "35.40" in desk.page("hand")
    # What a job is called is read with its journal, and no oftener than that.
    opened = [entry.body for entry in desk.shop.store.job(desk.id).entries if entry.kind == "opened"]
    names = {reference.hash for reference in persons.references(opened)}
    assert all(read.pop(name, 0) <= MOST + 1 for name in names)  # and once to be shown
    assert read and set(read.values()) == {1}
