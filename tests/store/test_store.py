"""What a store keeps, gives back and refuses."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest

from corekit.model.personal import Personal, PersonalText
from corekit.model.records import Customer, Measured, Opened, body_of
from corekit.store.problem import StoreProblem
from corekit.store.statement import Statement
from corekit.store.store import Store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    minutes = count()
    with Store.create(tmp_path / "shop.corekit", demo=True, now=lambda: f"2026-03-01T08:{next(minutes) % 60:02d}:00Z") as opened:
        yield opened


def said(kind: str, subject: str, record: object, **more: object) -> Statement:
    return Statement(kind=kind, subject=subject, body=body_of(record), **more)  # type: ignore[arg-type]


def test_what_was_appended_is_read_back_by_the_next_program(store: Store) -> None:
    job = store.new_job()
    reading = Measured(of="battery.rest_voltage", typed="12,6 V", kind="voltage", number=12.6)
    written = store.append(job, [said("opened", "visit:opened#1", Opened(origin="visit")), said("measured", "visit:rest#1", reading)])
    store.close()
    with Store.open(store.path) as again:
        assert list(again.job(job).entries) == written
        assert again.job(job).measured(0)[0].record == reading
        assert again.jobs() == [job]
        assert again.verify() == []


def test_a_person_s_words_stand_apart_from_the_journal(store: Store) -> None:
    job = store.new_job()
    store.append(job, [said("opened", "v:o#1", Opened(origin="v")), said("customer", "v:c#1", Customer(name=PersonalText("name", "Example Customer")))])
    name = store.job(job).customer.name
    assert isinstance(name, Personal)
    assert store.text(name.hash) == "Example Customer"
    assert all("Example Customer" not in str(entry.body) for entry in store.journal(job))


def test_a_job_that_never_began_takes_no_statement(store: Store) -> None:
    with pytest.raises(StoreProblem, match="no job"):
        store.append("zzzzzzzzzzzz", [said("measured", "v:r#1", Measured(of="x", typed="1 V", kind="voltage", number=1.0))])
    assert store.jobs() == []
