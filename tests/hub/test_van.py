"""A van's own side: enrolled by a code, synced by a word, prices pulled, customers forgotten by others."""

from __future__ import annotations

import shutil
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from corekit.desk import syncing
from corekit.desk.errors import DeskError
from corekit.desk.setup import create_shop
from corekit.desk.shared_prices import take_in_prices
from corekit.desk.shop import Shop
from corekit.fault import DataFileError
from corekit.hub import devices, record
from corekit.hub.app import Hub, hub_app, open_hub, set_prices
from corekit.hub.sealing import hub_key
from corekit.hub.serving import hub_server
from corekit.reference import data_path
from corekit.screens.serve import synced_by_itself
from corekit.sync.message import SyncError
from corekit.web.server import ServeError, running, server_for

from ..conftest import soon
from ..whole.chain import JOBS, corekit, done, refused
from .conftest import LIMITS

BOOK = (data_path("demo") / "shop" / "prices.toml").read_text("utf-8")


@pytest.fixture
def demo_hub(new_database: Callable[[], str], tmp_path: Path) -> Iterator[Hub]:
    opened = open_hub(new_database(), hub_key(tmp_path / "hub.key"), demo=True)
    yield opened
    opened.database.close()


@pytest.fixture
def at(demo_hub: Hub) -> Iterator[str]:
    with running(server_for(hub_app(demo_hub), port=0, limits=LIMITS)) as server:
        yield f"http://127.0.0.1:{server.bind_addr[1]}"


def shop_of(folder: Path) -> Path:
    folder.mkdir()
    for name in ("shop.toml", "prices.toml"):
        shutil.copy(data_path("demo") / "shop" / name, folder / name)
    create_shop(folder, demo=True)
    return folder


def enrolled(hub: Hub, at: str, folder: Path) -> Path:
    code = devices.invited(hub.database, folder.name)
    done(corekit("sync", "--hub", at, "--code", code, shop=shop_of(folder)))
    return folder


def test_a_van_is_enrolled_and_synced_by_one_command(demo_hub: Hub, at: str, tmp_path: Path) -> None:
    first = shop_of(tmp_path / "first")
    code = devices.invited(demo_hub.database, "Van 1")
    said = done(corekit("sync", "--hub", at, "--code", code, shop=first))
    assert "enrolled as Van 1. Its invoices are numbered with A" in said.words
    assert "0 entries came from other vans, 0 entries went to the hub." in said.words
    refused(corekit("add", JOBS["undecided"], shop=first), "not made yet")
    assert "entries went to the hub" in done(corekit("sync", shop=first)).words
    second = enrolled(demo_hub, at, tmp_path / "second")
    assert Shop(second).context.device == "B"
    said = done(corekit("sync", shop=second))
    assert "0 entries came" in said.words, "they came when it was enrolled"
    done(corekit("verify", shop=second))
    assert record.faults(demo_hub.database, demo_hub.key) == []


def test_what_is_missing_is_said_with_what_to_do(demo_hub: Hub, at: str, tmp_path: Path) -> None:
    shop = shop_of(tmp_path / "shop")
    refused(corekit("sync", shop=shop), "no hub", "corekit sync --hub ADDRESS --code CODE")
    refused(corekit("sync", "--hub", at, shop=shop), "--hub and --code belong together")
    refused(corekit("sync", "--hub", at, "--code", "AAAA-BBBB-CCCC", shop=shop), "unknown, used or over")
    refused(corekit("sync", "--hub", "http://hub.example.org", "--code", "x", shop=shop), "over https only")
    settings = shop / "shop.toml"
    settings.write_text('number = "{year}-{place}"\n' + settings.read_text("utf-8"), "utf-8")
    code = devices.invited(demo_hub.database, "Van 1")
    refused(corekit("sync", "--hub", at, "--code", code, shop=shop), "Write {device} into `number`")


def test_without_a_network_everything_is_kept_and_goes_later(demo_hub: Hub, tmp_path: Path) -> None:
    app = hub_app(demo_hub)
    with running(server_for(app, port=0, limits=LIMITS)) as server:
        shop = enrolled(demo_hub, f"http://127.0.0.1:{server.bind_addr[1]}", tmp_path / "shop")
    refused(corekit("add", JOBS["undecided"], shop=shop), "not made yet")
    refused(corekit("sync", shop=shop), "cannot be reached", "Everything is kept here")
    with running(server_for(app, port=0, limits=LIMITS)) as server:
        with Shop(shop) as opened:
            opened.store.join(f"http://127.0.0.1:{server.bind_addr[1]}", "A")
        assert ", 0 entries went" not in done(corekit("sync", shop=shop)).words


def test_a_job_is_handed_on_by_a_command_and_goes_on_there(demo_hub: Hub, at: str, tmp_path: Path) -> None:
    first, second = (enrolled(demo_hub, at, tmp_path / name) for name in ("first", "second"))
    done(corekit("sync", shop=first))
    corekit("add", JOBS["worn-battery"], shop=first)
    refused(corekit("hand", "worn-battery", "C", shop=first), "There is no van 'C'", "B (second)")
    done(corekit("hand", "worn-battery", "b", shop=first))
    refused(corekit("estimate", "worn-battery", shop=first), "handed to van B")
    done(corekit("sync", shop=first))
    assert "Handed to this van: worn-battery." in done(corekit("sync", shop=second)).words
    done(corekit("check", "worn-battery", shop=second))
    done(corekit("estimate", "worn-battery", shop=second))
    done(corekit("sync", shop=second))
    done(corekit("sync", shop=first))
    for folder in (first, second):
        done(corekit("verify", shop=folder))
    with Shop(first) as a, Shop(second) as b:
        assert a.store.job(a.store.find("worn-battery")) == b.store.job(b.store.find("worn-battery"))


def test_papers_of_whom_another_van_forgot_are_destroyed_here_too(
    demo_hub: Hub, at: str, tmp_path: Path
) -> None:
    first, second = (enrolled(demo_hub, at, tmp_path / name) for name in ("first", "second"))
    done(corekit("sync", shop=first))
    corekit("add", JOBS["worn-battery"], shop=first)
    done(corekit("hand", "worn-battery", "B", shop=first))
    done(corekit("sync", shop=first))
    done(corekit("sync", shop=second))
    done(corekit("estimate", "worn-battery", shop=second))
    done(corekit("backup", shop=second))
    papers = list((second / "papers").iterdir())
    assert papers
    done(corekit("forget", "worn-battery", "--yes", shop=first))
    done(corekit("sync", shop=first))
    assert "Customers forgotten, because another van said so: 1." in done(corekit("sync", shop=second)).words
    assert not [path for path in papers if path.exists()]
    with Shop(second) as b:
        (only,) = b.store.jobs()
        job = b.store.job(only)
        assert b.store.texts(job.persons()) == {}
        assert job.name == only  # what it was called went with them
        assert b.store.to_sweep() == []
    done(corekit("verify", shop=second))


def test_a_demo_is_refused_by_a_real_hub(hub: Hub, address: str, tmp_path: Path) -> None:
    code = devices.invited(hub.database, "Van 1")
    said = corekit("sync", "--hub", address, "--code", code, shop=shop_of(tmp_path / "shop"))
    refused(said, "never share a hub")


# ── prices ──────────────────────────────────────────────────────────────────────────────────────────────────


def test_the_price_book_is_pulled_and_what_a_van_changed_stays_and_is_named(
    demo_hub: Hub, at: str, tmp_path: Path
) -> None:
    set_prices(demo_hub, BOOK.replace('per_hour = "62.50"', 'per_hour = "70.00"'))
    shop = enrolled(demo_hub, at, tmp_path / "shop")
    own = shop / "prices.toml"
    assert 'per_hour = "70.00"' in own.read_text("utf-8")
    assert 'per_hour = "62.50"' in (shop / "prices.before-hub.toml").read_text("utf-8")
    own.write_text(own.read_text("utf-8").replace('call_out  = "20.00"', 'call_out  = "25.00"'), "utf-8")
    set_prices(demo_hub, BOOK.replace('per_hour = "62.50"', 'per_hour = "72.00"'))
    said = done(corekit("sync", shop=shop))
    assert "The price book was brought up to date." in said.words
    assert 'Kept as this van has it: call_out, "25.00"; the hub says "20.00".' in said.words
    text = own.read_text("utf-8")
    assert 'per_hour = "72.00"' in text
    assert 'call_out = "25.00"' in text
    again = done(corekit("sync", shop=shop))
    assert "brought up to date" not in again.words
    assert "Kept as this van has it: call_out" in again.words, "it stays visible"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "prices.toml").write_text(BOOK, "utf-8")
    take_in_prices(tmp_path, BOOK)
    return tmp_path


def test_work_that_a_van_priced_itself_stays_and_the_rest_follows(folder: Path) -> None:
    own = folder / "prices.toml"
    own.write_text(BOOK + '\n[operations."own.wash"]\nhours = "0.5"\n', "utf-8")
    new = BOOK.replace(
        '[operations."battery.charge"]\nhours = "0.4"', '[operations."battery.charge"]\nhours = "0.9"'
    )
    said = take_in_prices(folder, new)
    assert said.is_changed
    (line,) = said.kept
    assert 'operations.own.wash, { hours = "0.5" }; the hub says nothing' in line
    merged = tomllib.loads(own.read_text("utf-8"))
    assert merged["operations"]["battery.charge"] == {"hours": "0.9"}
    assert merged["operations"]["own.wash"] == {"hours": "0.5"}
    assert {**merged, "operations": None} == {**tomllib.loads(new), "operations": None}


def test_a_price_that_hub_and_van_changed_alike_is_no_difference(folder: Path) -> None:
    new = BOOK.replace('"20.00"', '"25.00"')
    (folder / "prices.toml").write_text(new, "utf-8")
    assert take_in_prices(folder, new).kept == ()
    assert take_in_prices(folder, BOOK).is_changed


def test_a_book_of_the_hub_that_is_none_changes_nothing(folder: Path) -> None:
    with pytest.raises(DataFileError):
        take_in_prices(folder, 'currency = "EUR"\nlabour = { per_hour = "cheap" }\n')
    assert (folder / "prices.toml").read_text("utf-8") == BOOK


# ── the hub's own words ─────────────────────────────────────────────────────────────────────────────────────


def test_the_hub_is_kept_from_its_own_machine(hub: Hub, tmp_path: Path) -> None:
    words = ("hub", "--database", hub.database.address, "--key", tmp_path / "hub.key")
    said = done(corekit(*words, "--invite", "Van 1"))
    assert "Code for Van 1: " in said.words
    assert "once, within 24 hours" in said.words
    assert "OFFICE Office" in done(corekit(*words, "--devices")).words
    refused(corekit(*words, "--revoke", "Q"), "There is no device Q")
    assert "Every chain is whole" in done(corekit(*words, "--verify")).words
    refused(corekit(*words, "--person", "Kim", "--role", "mechanic"), "letters of a van")
    assert "signs in to the office with" in done(corekit(*words, "--person", "Kim")).words
    book = tmp_path / "book.toml"
    book.write_text("labour = 3\n", "utf-8")
    refused(corekit(*words, "--prices", book), "labour")
    book.write_text(BOOK, "utf-8")
    assert "Every van pulls" in done(corekit(*words, "--prices", book)).words
    no_such = f"{hub.database.address}x"
    refused(
        corekit("hub", "--database", no_such, "--devices", "--key", tmp_path / "hub.key"), "cannot be reached"
    )


def test_a_hub_answers_no_other_machine_over_plain_http_but_its_proxy(hub: Hub) -> None:
    def said(proxy: str | None) -> str:
        try:
            server = hub_server(hub, host="0.0.0.0", proxy=proxy)
        except ServeError as error:
            return str(error)
        server.stop()
        return ""

    assert "--behind-proxy" in said(None)
    assert "this is no address" in said("proxy")
    assert said("192.0.2.1") == ""


def test_a_van_has_one_hub(demo_hub: Hub, at: str, tmp_path: Path) -> None:
    folder = enrolled(demo_hub, at, tmp_path / "shop")
    with Shop(folder) as shop:
        with pytest.raises(DeskError, match="already"):
            syncing.enrol(shop.context, at, "x")
        shop.store.join("http://127.0.0.1:9", shop.store.device)
        with pytest.raises(SyncError) as error:
            syncing.sync(shop.context)
        assert error.value.later


def test_a_van_syncs_by_itself_while_the_screens_are_open(demo_hub: Hub, at: str, tmp_path: Path) -> None:
    first, second = (enrolled(demo_hub, at, tmp_path / name) for name in ("first", "second"))
    refused(corekit("add", JOBS["undecided"], shop=first), "not made yet")
    heard: list[str] = []
    with Shop(first) as shop, synced_by_itself(shop.context, heard.append, every=0.05):
        soon(lambda: bool(heard), lambda: "nothing went")
    assert "entries went to the hub" in heard[0]
    with Shop(second) as shop:
        shop.store.join("http://127.0.0.1:9", "B")
        heard.clear()
        with synced_by_itself(shop.context, heard.append, every=0.05):
            soon(lambda: bool(heard), lambda: "nothing was said")
            time.sleep(0.3)
        assert len(heard) == 1, "that there is no network is said once"
        assert "cannot be reached" in heard[0]
