"""What a hub costs as its jobs become many.

    .venv/bin/python tests/benchmarks/bench_hub.py [MOST] [--whole JOBS]

At 1,000 jobs and ten times as many each, up to MOST (100,000): a van that is up to date writes a hundred jobs
(twelve entries each: call, vehicle, customer, four readings, estimate, approval, repair, invoice) and pushes
them, another one pulls them, and the office looks jobs up. The jobs before those are copied onto the hub
(hub_jobs.py); that the copies are as good as what a van sent is checked first. Up to JOBS of them (1,000) are
also written on a van, pushed, and pulled whole by a new one.

Printed are times by the wall clock and, because a machine has other things to do, seconds of processor of van
and hub together with those of PostgreSQL. The database server is one of its own, with fsync off, so the disk
is not in the times.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import psycopg

from corekit.hub import desk, devices, record
from corekit.hub.app import Hub, open_hub
from corekit.hub.people import Person, Role
from corekit.hub.sealing import HubKey
from corekit.hub.serving import hub_server
from corekit.hub.throwaway import throwaway_server
from corekit.share.signing import SigningKey
from corekit.store.exchange import Parcel
from corekit.store.store import Store
from corekit.sync.client import HubLine
from corekit.sync.message import base32
from corekit.sync.van import synced
from corekit.web.server import running
from tests.benchmarks.hub_jobs import Copies, write_jobs
from tests.benchmarks.processor import Clock, folder_of

#: Jobs of which a sync is timed.
SOME = 100


def van(hub: Hub, address: str, folder: Path, name: str) -> tuple[Store, HubLine]:
    store = Store.create(folder / f"{name}.sqlite", demo=True)
    key = SigningKey(name.encode().ljust(32, b"."))
    code = devices.invited(hub.database, name)
    letters, *_ = devices.enrolled(
        hub.database, code, base32(key.public), wish="A", books=[], now=datetime.now(UTC)
    )
    store.join(address, letters)
    return store, HubLine(address=address, key=key, letters=letters, timeout=600)


def look(clock: Clock, what: str, ask: Callable[[], object]) -> None:
    """Prints what a look-up takes of the processor, and the shortest time by the clock, which is the one that
    other programs took least of.
    """
    before, times = clock.spent(), []
    for _ in range(_LOOKS):
        began = time.perf_counter()
        ask()
        times.append(time.perf_counter() - began)
    own, server = (1000 * (now - then) / _LOOKS for now, then in zip(clock.spent(), before, strict=True))
    print(
        f"  {what:<38s} {own:.1f} ms + PostgreSQL {server:.1f} ms of processor;"
        f" {1000 * min(times):.1f} ms by the clock at best",
        flush=True,
    )


#: How often each look-up is made.
_LOOKS = 20


def looked_up(clock: Clock, hub: Hub, size: int) -> None:
    """What is looked up in the office."""
    office = Person(name="Kim", role=Role.OFFICE)
    mechanic = Person(name="Max", role=Role.MECHANIC, device="B")
    today = date(2026, 3, 1)
    asked = {
        "search by name": f"person{size // 2:07}",
        "search by plate": f"DEMO-{size // 3:07}",
        "search by two words": f"person{size // 2:07} exam",
        "search for what all have": "example",
    }
    looks: dict[str, Callable[[], object]] = {
        name: partial(desk.found_jobs, hub, office, words, today) for name, words in asked.items()
    }
    looks |= {
        "open jobs": partial(desk.open_jobs, hub, office),
        "closed jobs": partial(desk.closed_jobs, hub, office),
        "a mechanic's": partial(desk.open_jobs, hub, mechanic),
        "debts": partial(desk.debts, hub, office),
    }
    for name, ask in looks.items():
        look(clock, name, ask)


def up_to_date(store: Store, hub: Hub) -> Store:
    """A store that has nothing and goes on as if it had all that the hub has."""
    with hub.database.line() as line:
        found = line.execute("SELECT max(arrived) FROM entry").fetchone()
    store.take_in(Parcel(arrived=int(found[0]) if found and found[0] else 0))
    return store


def sizes_of(hub: Hub, jobs: int) -> None:
    with hub.database.line() as line:
        found = line.execute(
            "SELECT pg_database_size(current_database()), pg_total_relation_size('entry'),"
            " pg_total_relation_size('job_word'), pg_total_relation_size('person'),"
            " pg_total_relation_size('job'), (SELECT count(*) FROM entry)"
        ).fetchone()
    assert found is not None
    names = ("entries", "words", "persons", "rows of jobs")
    sizes = ", ".join(f"{name} {size / 1e6:.0f} MB" for name, size in zip(names, found[1:5], strict=True))
    print(f"  hub {found[0] / 1e6:.0f} MB, {found[0] / jobs / 1000:.1f} kB a job ({sizes})", flush=True)


def first_jobs(hub: Hub, address: str, folder: Path) -> Copies:
    """Two jobs that a van sends, to be copied."""
    store, line = van(hub, address, folder, "first")
    write_jobs(store, Copies.FIRST, Copies.FIRST + 2)
    synced(store, line)
    device = store.device
    store.close()
    return Copies(hub, device)


def copies_are_as_good(folder: Path, database: str) -> None:
    hub = open_hub(database, HubKey(b"k" * 32), demo=True)
    with running(hub_server(hub)) as server:
        at = f"http://127.0.0.1:{server.bind_addr[1]}"
        first_jobs(hub, at, folder).make(3, 20)
        if found := record.faults(hub.database, hub.key):
            raise SystemExit("\n".join(["copied jobs are not as good as those that a van sent:", *found[:5]]))
        store, line = van(hub, at, folder, "checks")
        synced(store, line)
        if found := store.verify():
            raise SystemExit("\n".join(["a van that pulled copied jobs finds:", *map(str, found[:5])]))
        store.close()
    hub.database.close()


def grown(clock: Clock, hub: Hub, address: str, folder: Path, most: int) -> None:
    copies = first_jobs(hub, address, folder)
    made, size = 3, 1000
    while size <= most:
        print(f"{size} jobs", flush=True)
        copies.make(made, size + 1 - SOME)
        made = size + 1 - SOME
        with hub.database.line() as line:
            line.execute("ANALYZE")
        writer, line_of_writer = van(hub, address, folder, f"writer-{size}")
        reader, line_of_reader = van(hub, address, folder, f"reader-{size}")
        up_to_date(writer, hub)
        up_to_date(reader, hub)
        write_jobs(writer, 8_000_000 + size, 8_000_000 + size + SOME)
        with clock.timed(f"pushed by a van, {SOME} jobs", SOME):
            synced(writer, line_of_writer)
        with clock.timed(f"pulled by another, {SOME} jobs", SOME):
            synced(reader, line_of_reader)
        with clock.timed("nothing new"):
            synced(reader, line_of_reader)
        for where, arrived in (("first", 0), ("middle", size * 6)):
            with clock.timed(f"the {where} parcel of all"):
                record.parcel_for(hub.database, hub.key, reader.device, arrived)
        sizes_of(hub, size)
        looked_up(clock, hub, size)
        writer.close()
        reader.close()
        size *= 10


def whole(clock: Clock, hub: Hub, address: str, folder: Path, most: int) -> None:
    store, line = van(hub, address, folder, "one")
    size, written = 1000, 0
    size = min(size, most)
    while 0 < size <= most:
        new = size - written
        print(f"{size} jobs, each written on a van", flush=True)
        with clock.timed(f"written, {new} jobs", new):
            write_jobs(store, written, size)
        with clock.timed(f"pushed, {new} jobs", new):
            synced(store, line)
        other, other_line = van(hub, address, folder, f"other-{size}")
        with clock.timed(f"pulled by a new van, {size} jobs", size):
            synced(other, other_line)
        with clock.timed("nothing new"):
            synced(store, line)
        print(f"  van {store.path.stat().st_size / 1e6:.0f} MB", flush=True)
        sizes_of(hub, size)
        other.close()
        other.path.unlink()
        written, size = size, size * 10
    store.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("most", type=int, nargs="?", default=100_000)
    parser.add_argument("--whole", type=int, default=1000, metavar="JOBS")
    args = parser.parse_args()
    with (
        throwaway_server(Path(tempfile.gettempdir())) as database,
        tempfile.TemporaryDirectory() as temporary,
    ):
        clock, made = Clock(folder_of(database)), Path(temporary)
        for name, most in (("whole", args.whole), ("grown", args.most)):
            with psycopg.connect(database, autocommit=True) as line:
                line.execute(f"CREATE DATABASE {name}".encode())
                line.execute(f"CREATE DATABASE {name}_check".encode())
            (made / name).mkdir()
            if name == "grown":
                (made / "check").mkdir()
                copies_are_as_good(
                    made / "check", database.replace("dbname=postgres", f"dbname={name}_check")
                )
            hub = open_hub(
                database.replace("dbname=postgres", f"dbname={name}"), HubKey(b"k" * 32), demo=True
            )
            with running(hub_server(hub)) as server:
                address = f"http://127.0.0.1:{server.bind_addr[1]}"
                (whole if name == "whole" else grown)(clock, hub, address, made / name, most)
            hub.database.close()


if __name__ == "__main__":
    main()
