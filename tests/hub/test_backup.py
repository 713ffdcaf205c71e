"""The hub's database is kept and brought back with PostgreSQL's own tools."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import attrs
import pytest

from corekit.hub import desk, devices, record
from corekit.hub.app import Hub, hub_app, open_hub
from corekit.hub.errors import HubError
from corekit.hub.people import Person, Role
from corekit.hub.sealing import HubKey, hub_key
from corekit.hub.throwaway import programs
from corekit.sync.message import SyncError
from corekit.web.server import running, server_for

from ..store.conftest import reading, said
from ..store.writing import append
from .conftest import LIMITS, VanAt

OFFICE = Person(name="Kim", role=Role.OFFICE)
TODAY = date(2026, 3, 1)


def with_tool(name: str, *words: str | Path) -> None:
    bin_ = programs()
    assert bin_ is not None
    subprocess.run(
        [bin_ / name, *map(str, words)], check=True, capture_output=True, env={**os.environ, "LC_ALL": "C"}
    )


def database_of(hub: Hub) -> str:
    return hub.database.address


@pytest.fixture
def brought_back(
    hub: Hub, new_database: Callable[[], str], tmp_path: Path
) -> Iterator[Callable[[], Callable[[], Hub]]]:
    """Keeps the hub's database as it is now; gives what brings it back into an empty one."""
    opened: list[Hub] = []
    files = iter(tmp_path / f"hub-{n}.dump" for n in range(9))

    def keep() -> Callable[[], Hub]:
        file = next(files)
        with_tool("pg_dump", "--format=custom", f"--file={file}", f"--dbname={database_of(hub)}")

        def back() -> Hub:
            address = new_database()
            with_tool("pg_restore", "--exit-on-error", f"--dbname={address}", file)
            opened.append(open_hub(address, hub_key(tmp_path / "hub.key")))
            return opened[-1]

        return back

    yield keep
    for one in opened:
        one.database.close()


def lists(hub: Hub) -> list[object]:
    return [
        desk.open_jobs(hub, OFFICE),
        desk.closed_jobs(hub, OFFICE),
        desk.disputed_jobs(hub, OFFICE),
        desk.debts(hub, OFFICE),
        desk.found_jobs(hub, OFFICE, "example", TODAY),
        [attrs.evolve(one, synced="") for one in _devices(hub)],
    ]


def _devices(hub: Hub) -> list[devices.Device]:
    with hub.database.line() as line:
        return devices.devices(line)


def at(hub: Hub, van: VanAt, address: str) -> VanAt:
    return VanAt(van.store, attrs.evolve(van.line, address=address))


def test_a_hub_that_was_dumped_and_brought_back_is_whole_and_goes_on(
    hub: Hub,
    new_van: Callable[[str], VanAt],
    brought_back: Callable[[], Callable[[], Hub]],
) -> None:
    a, b = new_van("one"), new_van("two")
    a.bill(a.begin("first"))
    handed = a.begin("second")
    a.sync()
    b.begin("third")
    b.sync()
    for van, typed in ((a, "12.11 V"), (b, "12.22 V")):
        if van is b:
            a.hand(handed, b.letters)
            a.sync()
            b.sync()
        append(van.store, handed, [said("measured", "second:v/#9", reading(typed))])
    desk.take_call(hub, OFFICE, desk.Call(who="Caller Example", words="Rattles.", van="A"))
    back = brought_back()()
    assert record.faults(back.database, back.key) == []
    assert lists(back) == lists(hub)
    # Vans go on with it as with the one that was lost, and the office as well.
    with running(server_for(hub_app(back), port=0, limits=LIMITS)) as server:
        address = f"http://127.0.0.1:{server.bind_addr[1]}"
        desk.take_call(back, OFFICE, desk.Call(who="Second Example", words="Squeaks.", van="B"))
        a, b = at(back, a, address), at(back, b, address)
        a.begin("later")
        for van in (a, b, a):
            van.sync()
        assert [van.store.verify() for van in (a, b)] == [[], []]
        assert set(a.store.heads()) == set(b.store.heads())
    assert record.faults(back.database, back.key) == []


def test_what_was_brought_back_cannot_be_read_with_another_key(
    new_van: Callable[[str], VanAt], brought_back: Callable[[], Callable[[], Hub]]
) -> None:
    van = new_van("one")
    van.begin("first")
    van.sync()
    back = brought_back()()
    with pytest.raises(HubError, match="another key"):
        open_hub(database_of(back), HubKey(b"x" * 32))


def test_an_older_copy_of_the_hub_says_so_and_costs_nobody_an_entry(
    hub: Hub,
    new_van: Callable[[str], VanAt],
    brought_back: Callable[[], Callable[[], Hub]],
) -> None:
    """Behind an older backup entries would be counted up anew, and a van that had come further would miss
    them for good.
    """
    a, b = new_van("one"), new_van("two")
    a.begin("first")
    a.sync()
    back = brought_back()()
    b.begin("second")
    b.sync()
    a.sync()
    with running(server_for(hub_app(back), port=0, limits=LIMITS)) as server:
        older = at(back, a, f"http://127.0.0.1:{server.bind_addr[1]}")
        older.begin("third")
        before = older.store.heads()
        with pytest.raises(SyncError, match="older copy"):
            older.sync()
        assert older.store.heads() == before
    a.sync()
    assert b.sync().came == 4
    assert record.faults(hub.database, hub.key) == []
