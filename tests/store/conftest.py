"""A store with something of everything in it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.model.canonical import digest
from corekit.model.entry import Draft
from corekit.model.personal import PersonalText
from corekit.model.records import (
    Customer,
    DrawerNoted,
    InvoiceIssued,
    Measured,
    Opened,
    Paid,
    PaymentTaken,
    Seen,
    Vehicle,
    Withdrawn,
    WrittenOff,
    body_of,
)
from corekit.store.requests import Request
from corekit.store.store import Store

from .writing import append, issue, mark_published, note_link, pay, revoke_link


def said(kind: str, subject: str, record: Any, **more: Any) -> Draft:
    return Draft(kind=kind, subject=subject, body=body_of(record), **more)


def reading(typed: str, of: str = "battery.open_circuit_voltage") -> Measured:
    return Measured(of=of, typed=typed, kind="voltage", number=float(typed.split(maxsplit=1)[0]))


def invoice(place: int, chain: str = "2026-A", **more: Any) -> InvoiceIssued:
    """A small invoice under this place."""
    document = {"id": f"document-{chain}-{place}", "title": f"Invoice {chain}-{place:04d}", **more}
    return InvoiceIssued(
        place=place,
        number=f"{chain}-{place:04d}",
        document_id=str(document["id"]),
        document=document,
        document_hash=digest(document),
        total=31860,
        currency="EUR",
        versions={"corekit": "0"},
        heads=[],
        job_name="visit",
    )


@attrs.frozen
class Filled:
    """What `fill` put into a store."""

    job: str
    forgotten: str


def fill(store: Store) -> Filled:
    """Two jobs, corrections, persons, a forgotten job, two books chains, payments, links, two lineages."""
    job = store.new_job()
    words, name = (
        PersonalText("words", "Does not crank after two days, says “träge”."),
        PersonalText("name", "Example Customer"),
    )
    first = append(
        store,
        job,
        [
            said("opened", "visit:arrival/opened/#1", Opened(origin="visit", words=words)),
            said(
                "vehicle",
                "visit:arrival/vehicle/#1",
                Vehicle(plate=PersonalText("plate", "DEMO-1"), odometer=98_400_000.0),
            ),
            said(
                "customer",
                "visit:arrival/customer/#1",
                Customer(name=name, phone=PersonalText("phone", "000 0001")),
            ),
            said(
                "measured",
                "visit:arrival/battery.open_circuit_voltage/#1",
                reading("12.78 V"),
                taken="2026-03-01T07:55:00Z",
            ),
            said("seen", "visit:arrival/battery.case/#1", Seen(of="battery.case", answer="sound")),
        ],
    )
    append(
        store,
        job,
        [
            said(
                "measured",
                first[3].subject,
                reading("12.58 V"),
                replaces=(first[3].id,),
                reason="corrected in the file",
            )
        ],
    )
    wrong = said("withdrawn", first[4].subject, Withdrawn(), replaces=(first[4].id,), reason="wrong car")
    append(store, job, [wrong], request=Request(id="0123456789abcdef", content={"withdraw": first[4].id}))
    masked = first[2].body["name"]
    for chain in ("2026-A", "2026-A", "2026-B"):
        issue(store, job, chain, lambda place, chain=chain: invoice(place, chain, to=[masked]))  # type: ignore[misc]
    pay(
        store,
        job,
        "2026-A",
        Paid(amount=500, currency="EUR", how="cash"),
        PaymentTaken(amount=500, currency="EUR", how="cash", job_name="visit"),
    )
    with store.transaction() as transaction:
        for amount, counted in ((2500, False), (2900, True)):
            noted = DrawerNoted(amount=amount, currency="EUR", because="from the bank", counted=counted)
            transaction.append_drawer("2026-A", noted)
    off = WrittenOff(amount=50, currency="EUR", because="goodwill")
    append(store, job, [said("written_off", "visit:off/#1", off)])
    gone = store.new_job()
    person = Customer(name=PersonalText("name", "Gone Person"))
    began = [
        said("opened", "old:arrival/opened/#1", Opened(origin="old")),
        said("customer", "old:c#1", person),
    ]
    append(
        store,
        gone,
        began,
        request=Request(id="an-answer_of_the_forgotten", content={"customer": {"name": "Gone Person"}}),
    )
    store.forget(gone)
    for link in (1, 2):
        note_link(store, digest(["token", link]), "document-2026-A-1", link, expires="2028-03-01T00:00:00Z")
    mark_published(store, digest(["token", 1]), job)
    revoke_link(store, digest(["token", 2]))
    store.continue_restored()
    append(
        store, job, [said("measured", "visit:arrival/battery.open_circuit_voltage/#2", reading("12.60 V"))]
    )
    return Filled(job, gone)


@pytest.fixture
def clock() -> Callable[[], str]:
    minutes = count()
    return lambda: f"2026-03-01T08:{next(minutes) % 60:02d}:00Z"


@pytest.fixture
def store(tmp_path: Path, clock: Callable[[], str]) -> Iterator[Store]:
    with Store.create(tmp_path / "shop.corekit", demo=False, now=clock) as opened:
        yield opened


@pytest.fixture
def job(store: Store) -> str:
    """A job that has just begun."""
    name = store.new_job()
    append(store, name, [said("opened", "visit:arrival/opened/#1", Opened(origin="visit"))])
    return name
