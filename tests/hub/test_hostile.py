"""What a stranger without a key, and an enrolled device in the wrong hands, do to a hub and to its vans."""

from __future__ import annotations

import threading
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import attrs
import pytest
from flask.testing import FlaskClient

from corekit.desk.shop import Shop
from corekit.errors import CorekitError
from corekit.hub import desk, record
from corekit.hub.app import Hub, hub_app
from corekit.hub.errors import HubError
from corekit.hub.people import Person, Role
from corekit.model.entry import Draft, Entry, own_subject
from corekit.model.records import Customer, Handed, Opened, body_of
from corekit.store import rows
from corekit.store.exchange import Parcel
from corekit.store.store import Store
from corekit.sync.message import LARGEST, MOST_VALUES, SMALL, SyncError, packed, unpacked
from corekit.web.server import running, server_for

from ..store.conftest import fill, invoice, reading, said
from ..store.writing import issue
from ..torture.parcels import Bench, parcels
from ..torture.work import new_shop, plugins
from ..web.conftest import refused_by
from .conftest import LIMITS, VanAt, enrol

NewVan = Callable[[str], VanAt]


@pytest.fixture
def stranger(hub: Hub) -> FlaskClient:
    return hub_app(hub).test_client()


@pytest.fixture
def pair(hub: Hub, tmp_path: Path) -> Iterator[tuple[VanAt, VanAt]]:
    """A van in the wrong hands, and an honest one; no network between."""
    with ExitStack() as stack:
        stores = [stack.enter_context(Store.create(tmp_path / name, demo=False)) for name in ("one", "two")]
        a, b = (enrol(store, hub, "http://127.0.0.1:1", f"van {n}") for n, store in enumerate(stores))
        yield a, b


def push(hub: Hub, van: VanAt) -> int:
    with hub.database.line() as line:
        there = {chain: n for chain, (n, _) in record.chains_of(line, van.letters).items()}
    return record.accepted(hub.database, hub.key, van.letters, van.store.parcel_behind(there))


def pull(hub: Hub, van: VanAt, own: tuple[str, ...] = (), arrived: int = 0) -> Parcel:
    return record.parcel_for(hub.database, hub.key, van.letters, arrived, own)


# ── a stranger ──────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("names", [(), ("hub.some-shop.com",)])
def test_every_answer_is_armoured_also_those_that_no_application_makes(
    hub: Hub, names: tuple[str, ...]
) -> None:
    app = hub_app(hub, hosts=names)
    answers = [app.test_client().get(path) for path in ("/office/door", "/nothing", "/sync/hello")]
    with running(server_for(app, port=0, limits=LIMITS)) as server:
        below = refused_by(server.bind_addr)
    for headers in (*(dict(answer.headers) for answer in answers), below):
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Cache-Control"] == "no-store"
        assert headers["Content-Security-Policy"].startswith("default-src 'none'; ")
        year = "max-age=31536000" if names else None  # with a name it stands behind what ends TLS
        assert headers.get("Strict-Transport-Security") == year
    assert below["Content-Type"] == "text/plain; charset=utf-8"


@pytest.mark.parametrize("path", ["/sync/hello", "/sync/enrol"])
def test_what_a_stranger_sends_is_unpacked_to_a_few_kibibytes_and_no_further(
    stranger: FlaskClient, path: str
) -> None:
    room = SMALL - len(b'{"letters":""}')
    fits, over = (zlib.compress(b'{"letters":"%s"}' % (b"a" * size)) for size in (room, room + 1))
    assert len(over) < 200
    assert stranger.post(path, data=fits).status_code == (200 if path == "/sync/hello" else 422)
    assert (answer := stranger.post(path, data=over)).status_code == 400, answer.text
    assert "too large" in answer.text
    large = stranger.post(path, data=b"\0" * (SMALL + 1))
    assert (large.status_code, "too large" in large.text) == (400, True)


@pytest.mark.parametrize(
    "asked",
    [
        {"books": 5}, {"books": {"a": 1}}, {"books": [None]}, {"key": None}, {"key": "é" * 52}, {"code": []},
        {"code": "\x00"}, {"letters": "\x00"}, {"letters": "é"}, {"letters": ["A"] * 50}, {"demo": []},
    ],
    ids=repr,
)  # fmt: skip
def test_odd_answers_of_a_stranger_are_refused_in_one_sentence(
    stranger: FlaskClient, asked: dict[str, Any]
) -> None:
    told = {"letters": "A", "code": "0000-0000-0000", "key": "A" * 52, "books": [], "demo": False, **asked}
    for path in ("/sync/hello", "/sync/enrol"):
        assert stranger.post(path, data=packed(told)).status_code in (200, 400, 401, 422, 429)
    lone = zlib.compress(b'{"letters":"\\ud800","code":"\\ud800","key":"\\ud800"}')
    for path in ("/sync/hello", "/sync/enrol"):
        assert stranger.post(path, data=lone).status_code == 400


def test_wrong_codes_wait_for_no_writer_and_keep_none_waiting(stranger: FlaskClient, hub: Hub) -> None:
    told = packed({"letters": "A", "code": "0000-0000-0000", "key": "A" * 52, "books": []})
    statuses: list[int] = []
    guess = threading.Thread(
        target=lambda: statuses.append(stranger.post("/sync/enrol", data=told).status_code), daemon=True
    )
    with hub.database.writing():
        guess.start()
        guess.join(20)
        assert statuses == [401], "it waited for who writes"


# ── a device in the wrong hands ─────────────────────────────────────────────────────────────────────────────


def test_a_parcel_of_nothing_but_brackets_is_refused_before_it_is_read() -> None:
    inside = b"[" + b"0," * (MOST_VALUES - 2) + b"0]"
    assert len(unpacked(zlib.compress(inside))) == MOST_VALUES - 1
    began = time.process_time()
    for bomb in (
        inside[:-1] + b",0]",
        b"[" + b"{}," * (LARGEST // 8) + b"0]",
        b"[" * 100_000 + b"]" * 100_000,
    ):
        with pytest.raises(SyncError, match=r"too many values|cannot be read"):
            unpacked(zlib.compress(bomb, 1))
    assert time.process_time() - began < 2
    text = b'["' + b"," * (2 * MOST_VALUES) + b'"]'  # in a text they are no values
    assert len(unpacked(zlib.compress(text))) == 1


def test_what_is_nested_too_deep_is_refused_in_one_sentence(hub: Hub, pair: tuple[VanAt, VanAt]) -> None:
    a, _ = pair
    a.begin("first")
    data = a.store.parcel_behind({}).data()
    deep: Any = 0
    for _ in range(900):
        deep = [deep]
    data["entries"][3]["body"]["typed"] = deep
    with pytest.raises(CorekitError):
        Parcel.of(unpacked(packed_deep(data)))


def packed_deep(data: Any) -> bytes:
    import json

    return zlib.compress(json.dumps(data).encode())


def test_a_device_reads_no_text_of_a_job_that_is_not_its_own(hub: Hub, pair: tuple[VanAt, VanAt]) -> None:
    a, b = pair
    job = b.begin("first", "Only Here")
    push(hub, b)
    came = pull(hub, a)
    assert not came.persons
    hashes = [ref for entry in came.entries for ref in entry.body.get("name", {}).values()]
    named = next(text for text in hashes if len(text) == 64)
    own = a.begin("mine", "Somebody")
    push(hub, a)
    stolen = {"personal": "name", "hash": named}
    forged = entry_of(own, Draft(kind="customer", subject="mine:customer/#2", body={"name": stolen}))
    assert record.accepted(hub.database, hub.key, a.letters, Parcel(entries=(forged,))) == 1
    chains = (*a.store.own_heads(), forged.chain)
    office = desk.job(hub, Person(name="Kim", role=Role.MECHANIC, device=a.letters), own)
    assert "Only Here" not in repr(office)
    assert "Only Here" not in {one.text for one in pull(hub, a, chains).persons}
    assert "Somebody" in {one.text for one in pull(hub, a, chains).persons}
    assert job not in {one.job for one in pull(hub, a, chains).persons}


@pytest.mark.parametrize(
    "draft",
    [
        lambda job: Draft(kind="handed", subject=own_subject("handed", job), body=body_of(Handed(to="A"))),
        lambda job: said("measured", "x:v/#9", reading("12.40 V")),
        lambda job: said("customer", "x:customer/#9", Customer()),
    ],
    ids=["handed to itself", "a reading", "a customer"],
)
def test_a_device_writes_in_no_job_that_never_was_its_own(
    hub: Hub, pair: tuple[VanAt, VanAt], draft: Callable[[str], Draft]
) -> None:
    a, b = pair
    job = b.begin("first", "Only Here")
    push(hub, b)
    forged = Parcel(entries=(entry_of(job, draft(job)),))
    with pytest.raises(HubError, match="is not a job of device A"):
        record.accepted(hub.database, hub.key, a.letters, forged)
    b.hand(job, "A")
    push(hub, b)
    assert record.accepted(hub.database, hub.key, a.letters, forged) == 1


def entry_of(job: str, draft: Draft, chain: str = "chain-of-a") -> Entry:
    """A first entry of a chain, sealed by hand, as no honest store writes it."""
    entry = Entry(
        journal="job", job=job, chain=chain, n=0, prev="", kind=draft.kind, subject=draft.subject,
        body=draft.body, recorded="2026-03-01T08:00:00Z",
    )  # fmt: skip
    return rows.sealed_row(entry)[0]


def test_a_device_takes_no_number_that_names_the_letters_of_another(
    hub: Hub, pair: tuple[VanAt, VanAt]
) -> None:
    a, b = pair
    job = a.begin("first")
    with pytest.raises(HubError, match="letters of device B"):
        issue(a.store, job, "books/A/2026", lambda place: invoice(place, "2026-B"))
        push(hub, a)
    number = b.bill(b.begin("second"))
    push(hub, b)
    with hub.database.line() as line:
        assert line.execute("SELECT number FROM invoice").fetchall() == [(number,)]


def test_values_that_no_column_holds_are_refused_in_one_sentence(hub: Hub, pair: tuple[VanAt, VanAt]) -> None:
    a, _ = pair
    for more in (
        {"subject": "x\x00y"},
        {"job": "j\x00"},
        {"chain": "c\x00"},
        {"n": False},
        {"reason": "\x00"},
    ):
        entry = attrs.evolve(entry_of("job1", said("opened", "x:opened/#1", Opened(origin="x"))), **more)
        entry = rows.sealed_row(entry)[0]
        data = Parcel(entries=(entry,)).data()
        with pytest.raises(CorekitError):
            record.accepted(hub.database, hub.key, a.letters, Parcel.of(data))
    with pytest.raises(CorekitError):
        pull(hub, a, ("\x00",))


def test_odd_parcels_are_refused_or_do_no_harm_to_any_van(hub: Hub, tmp_path: Path) -> None:
    with ExitStack() as stack:
        a, pattern = (
            stack.enter_context(Store.create(tmp_path / name, demo=False))
            for name in ("a.corekit", "pattern")
        )
        fill(pattern)
        shop = stack.enter_context(Shop(new_shop(tmp_path / "honest"), plugins=plugins()))
        letters = enrol(a, hub, "http://127.0.0.1:1", "one").letters
        enrol(shop.store, hub, "http://127.0.0.1:1", "two")
        counts = parcels(40, Bench(hub, letters, shop), pattern.parcel_behind({}).data())
    print(counts)
    assert counts.wrong == []
    assert counts.seen["taken"] >= 3
    assert counts.seen["refused"] >= 3
