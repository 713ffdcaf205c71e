"""A PostgreSQL server for the run, a database for each test, a hub on it and vans beside it."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import Any

import attrs
import psycopg
import pytest

from corekit.hub import devices
from corekit.hub.app import Hub, hub_app, open_hub
from corekit.hub.sealing import hub_key
from corekit.hub.throwaway import programs, throwaway_server
from corekit.model.canonical import digest
from corekit.model.entry import Draft, own_subject
from corekit.model.personal import PersonalText
from corekit.model.records import Customer, Handed, InvoiceIssued, Opened, Vehicle, body_of
from corekit.share.signing import SigningKey
from corekit.store.store import Store
from corekit.sync.client import HubLine
from corekit.sync.message import base32
from corekit.sync.van import Synced, synced
from corekit.web.server import Limits, running, server_for

from ..store.conftest import invoice, reading, said
from ..store.writing import append, issue

LIMITS = Limits(threads=20, lines=40, body_bytes=2**26, silent_seconds=15)


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """The address of a server; without PostgreSQL these tests are skipped, which in CI is a failure."""
    if programs() is None:
        pytest.skip("PostgreSQL is not installed here")
    with throwaway_server() as address:
        yield address


@pytest.fixture(scope="session")
def new_database(postgres: str) -> Callable[[], str]:
    """Makes an empty database and gives its address."""
    number = count()

    def make() -> str:
        name = f"hub{next(number)}"
        with psycopg.connect(postgres, autocommit=True) as line:
            line.execute(f"CREATE DATABASE {name}".encode())
        return postgres.replace("dbname=postgres", f"dbname={name}")

    return make


@pytest.fixture
def hub(new_database: Callable[[], str], tmp_path: Path) -> Iterator[Hub]:
    opened = open_hub(new_database(), hub_key(tmp_path / "hub.key"))
    yield opened
    opened.database.close()


@pytest.fixture
def address(hub: Hub) -> Iterator[str]:
    """Where the hub answers."""
    with running(server_for(hub_app(hub), port=0, limits=LIMITS)) as server:
        yield f"http://127.0.0.1:{server.bind_addr[1]}"


@attrs.define
class VanAt:
    """A van: its store, its key and its line to the hub."""

    store: Store
    line: HubLine

    @property
    def letters(self) -> str:
        return self.store.device

    def sync(self) -> Synced:
        return synced(self.store, self.line)

    def begin(self, name: str, who: str = "Example Customer") -> str:
        job = self.store.new_job()
        append(
            self.store,
            job,
            [
                said(
                    "opened",
                    f"{name}:opened/#1",
                    Opened(origin=name, words=PersonalText("words", "Rattles.")),
                ),
                said("vehicle", f"{name}:vehicle/#1", Vehicle(plate=PersonalText("plate", f"DEMO-{name}"))),
                said("customer", f"{name}:customer/#1", Customer(name=PersonalText("name", who))),
                said("measured", f"{name}:v/#1", reading("12.40 V")),
            ],
        )
        return job

    def hand(self, job: str, to: str) -> None:
        earlier = [one.id for one in self.store.job(job).entries if one.kind == "handed"]
        draft = Draft(
            kind="handed",
            subject=own_subject("handed", job),
            body=body_of(Handed(to=to)),
            replaces=tuple(earlier[-1:]),
        )
        append(self.store, job, [draft])

    def bill(self, job: str) -> str:
        """Issue an invoice; gives its number."""
        chain = f"books/{self.letters}/2026"

        def made(place: int) -> InvoiceIssued:
            return invoice(place, f"2026-{self.letters}")

        return str(issue(self.store, job, chain, made).body["number"])


def enrol(store: Store, hub: Hub, address: str, name: str, wish: str = "A", **more: str) -> VanAt:
    """Enrol a store as a device."""
    key = SigningKey(name.encode().ljust(32, b"."))
    letters, _, was = devices.enrolled(
        hub.database,
        devices.invited(hub.database, name, **more),
        base32(key.public),
        wish=wish,
        books=[],
        now=datetime(2026, 3, 1, tzinfo=UTC),
    )
    store.join(address, letters, was)
    return VanAt(store, HubLine(address=address, key=key, letters=letters, timeout=30))


@pytest.fixture
def new_van(hub: Hub, address: str, tmp_path: Path) -> Iterator[Callable[[str], VanAt]]:
    """Makes a van of a name, enrolled."""
    with contextlib.ExitStack() as stack:

        def make(name: str) -> VanAt:
            store = stack.enter_context(Store.create(tmp_path / f"{name}.corekit", demo=False))
            return enrol(store, hub, address, name)

        yield make


@pytest.fixture
def demo_paper(new_van: Callable[[str], VanAt], demo_out: Path) -> tuple[VanAt, str, str]:
    """A van with an invoice that has a whole document: the van, the invoice's entry, its customer's name."""
    van = new_van("paper")
    with Store.open(demo_out / "journal.sqlite") as demo:
        entry = next(one for one in demo.books() if one.kind == "invoice")
        job = demo.job(entry.job)
        name = demo.texts(job.persons("name"))
    here = van.store.new_job()
    (text,) = set(name.values())
    with van.store.transaction(here) as transaction:
        transaction.append([said("opened", "paper:opened/#1", Opened(origin="paper"))])
        kept = transaction.keep_words(PersonalText("name", text))
        document = json.loads(json.dumps(entry.body["document"]).replace(next(iter(name)), kept.hash))
        document = {**document, "number": "2026-A0001"} if "number" in document else document
        document = without_other_persons(document, kept.hash)
        made = InvoiceIssued(
            **{**entry.body, "place": 1, "document": document, "document_hash": digest(document)}
        )
        issued = transaction.issue(f"books/{van.letters}/2026", made)
    van.sync()
    return van, issued.id, text


def without_other_persons(data: Any, kept: str) -> Any:
    """The same data, where every reference leads to one text."""
    if isinstance(data, dict):
        if set(data) == {"personal", "hash"}:
            return {**data, "personal": "name", "hash": kept}
        return {key: without_other_persons(item, kept) for key, item in data.items()}
    return [without_other_persons(item, kept) for item in data] if isinstance(data, list) else data
