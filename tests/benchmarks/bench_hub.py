"""What a hub costs as its jobs become many.

    .venv/bin/python tests/benchmarks/bench_hub.py [MOST]

A van writes invented jobs (twelve entries each: call, vehicle, customer, four readings, estimate, approval,
repair, invoice) and syncs them; at 1,000 jobs and ten times as many each, up to MOST (100,000), a second van
pulls all of them, and the office looks jobs up. Printed are times by the wall clock, and sizes. The database
server is one of its own, with fsync off, so the disk is not in the times.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from corekit.hub import desk, devices
from corekit.hub.app import Hub, open_hub
from corekit.hub.people import Person, Role
from corekit.hub.sealing import HubKey
from corekit.hub.serving import hub_server
from corekit.hub.throwaway import throwaway_server
from corekit.model.canonical import digest
from corekit.model.entry import Draft
from corekit.model.personal import PersonalText
from corekit.model.records import (
    Approved,
    Customer,
    Estimated,
    InvoiceIssued,
    Measured,
    Opened,
    Repaired,
    Vehicle,
    body_of,
)
from corekit.share.signing import SigningKey
from corekit.store.store import Store
from corekit.sync.client import HubLine
from corekit.sync.message import base32
from corekit.sync.van import synced
from corekit.web.server import running

#: Of an estimate's or an invoice's Document: as many bytes of text as the demo's have, about.
FILLING = "The reading lies within what is usual for this vehicle. " * 160


def document(name: str) -> dict[str, str]:
    return {"id": name, "title": name, "text": FILLING}


def job_drafts(name: str, n: int) -> list[Draft]:
    paper = document(f"estimate-{name}")
    volts = [
        Measured(of="battery.open_circuit_voltage", typed=f"12.{n % 90 + 10} V", kind="voltage", number=12.5)
        for _ in range(4)
    ]
    words = PersonalText("words", f"Cranks slowly, since day {n}.")
    plate, vehicle = PersonalText("plate", f"DEMO-{n}"), PersonalText("description", "van")
    who, phone = PersonalText("name", f"Person{n} Example"), PersonalText("phone", f"000 {n:07}")
    told: list[tuple[str, object]] = [
        ("opened", Opened(origin=name, demo=True, words=words)),
        ("vehicle", Vehicle(plate=plate, description=vehicle)),
        ("customer", Customer(name=who, phone=phone)),
        *(("measured", reading) for reading in volts),
        (
            "estimated",
            Estimated(
                name="repair 1",
                stage="repair",
                lines=[],
                total=12000,
                currency="EUR",
                document_id=paper["id"],
                document=paper,
                document_hash=digest(paper),
                versions={},
                heads=[],
            ),
        ),
        (
            "approved",
            Approved(
                estimate="repair 1",
                document_hash=digest(paper),
                total=12000,
                currency="EUR",
                by="customer",
                how="in person",
            ),
        ),
        ("repaired", Repaired(operation="battery.replace", stage=1)),
    ]
    return [
        Draft(kind=kind, subject=f"{name}:{kind}#{at}", body=body_of(record))
        for at, (kind, record) in enumerate(told)
    ]


def write_jobs(store: Store, first: int, last: int) -> None:
    chain = f"books/{store.device}/2026"
    for n in range(first, last):
        with store.transaction(store.new_job()) as transaction:
            transaction.append(job_drafts(f"job-{store.device}-{n}", n))
            place = transaction.next_number(chain)
            paper = document(f"invoice-{store.device}-{place}")
            transaction.issue(
                chain,
                InvoiceIssued(
                    place=place,
                    number=f"2026-{store.device}{place:06}",
                    document_id=paper["id"],
                    document=paper,
                    document_hash=digest(paper),
                    total=12000,
                    currency="EUR",
                    versions={},
                    heads=[],
                    job_name="job",
                    day="2026-03-01",
                    due_on="2026-03-15",
                ),
            )


def van(hub: Hub, address: str, folder: Path, name: str) -> tuple[Store, HubLine]:
    store = Store.create(folder / f"{name}.sqlite", demo=True)
    key = SigningKey(name.encode().ljust(32, b"."))
    code = devices.invited(hub.database, name)
    letters, *_ = devices.enrolled(
        hub.database, code, base32(key.public), wish="A", books=[], now=datetime.now(UTC)
    )
    store.join(address, letters)
    return store, HubLine(address=address, key=key, letters=letters, timeout=600)


def milliseconds(ask: Callable[[], object]) -> float:
    times = []
    for _ in range(5):
        began = time.perf_counter()
        ask()
        times.append(time.perf_counter() - began)
    return statistics.median(times) * 1000


SIZES = ("entries", "words", "persons")


def looked_up(hub: Hub, size: int) -> dict[str, float]:
    """What is looked up in the office -> how long it takes, [ms]."""
    office = Person(name="Kim", role=Role.OFFICE)
    mechanic = Person(name="Max", role=Role.MECHANIC, device="B")
    today = date(2026, 3, 1)
    asked = {
        "search by name": f"person{size // 2}",
        "search by plate": f"DEMO-{size // 3}",
        "search by two words": f"person{size // 2} exam",
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
    return {name: milliseconds(look) for name, look in looks.items()}


def main(most: int) -> None:
    with throwaway_server() as database, tempfile.TemporaryDirectory() as temporary:
        hub = open_hub(database, HubKey(b"k" * 32), demo=True)
        with running(hub_server(hub)) as server:
            address = f"http://127.0.0.1:{server.bind_addr[1]}"
            store, line = van(hub, address, Path(temporary), "one")
            written, size = 0, 1000
            while size <= most:
                began = time.perf_counter()
                write_jobs(store, written, size)
                wrote = time.perf_counter() - began
                began = time.perf_counter()
                went = synced(store, line).went
                pushed = time.perf_counter() - began
                again = milliseconds(lambda: synced(store, line))
                other, other_line = van(hub, address, Path(temporary), f"other-{size}")
                began = time.perf_counter()
                came = synced(other, other_line).came
                pulled = time.perf_counter() - began
                with hub.database.line() as asked:
                    found = asked.execute(
                        "SELECT pg_database_size(current_database()), (SELECT count(*) FROM entry),"
                        " pg_total_relation_size('entry'), pg_total_relation_size('job_word'),"
                        " pg_total_relation_size('person')"
                    ).fetchone()
                assert found is not None
                looks = looked_up(hub, size)
                print(f"{size} jobs, {found[1]} entries", flush=True)
                print(f"  written on the van in {wrote:.0f} s")
                print(
                    f"  pushed in {pushed:.0f} s ({went / pushed:.0f} entries/s); nothing new: {again:.0f} ms"
                )
                print(f"  pulled by a new van in {pulled:.0f} s ({came / pulled:.0f} entries/s)")
                sizes = [
                    f"{name} {bytes_ / 1e6:.0f} MB" for name, bytes_ in zip(SIZES, found[2:], strict=True)
                ]
                per_job = found[0] / size / 1000
                print(f"  hub {found[0] / 1e6:.0f} MB, {per_job:.1f} kB a job ({', '.join(sizes)})")
                print(f"  van {store.path.stat().st_size / 1e6:.0f} MB")
                print("  " + "; ".join(f"{name} {took:.1f} ms" for name, took in looks.items()), flush=True)
                other.close()
                written, size = size, size * 10
            store.close()
        hub.database.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
