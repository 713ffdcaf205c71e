"""A van that works and syncs until it is killed: `python -m tests.hub.child STORE ADDRESS KEY LETTERS LOG`.

Each entry that was acknowledged is a line of LOG.
"""

from __future__ import annotations

import contextlib
import random
import sys
from pathlib import Path

from corekit.model.canonical import digest
from corekit.model.entry import Draft
from corekit.model.personal import PersonalText
from corekit.model.records import Customer, InvoiceIssued, Opened, body_of
from corekit.share.signing import SigningKey
from corekit.store.store import Store
from corekit.sync.client import HubLine
from corekit.sync.message import SyncError
from corekit.sync.van import synced


def begin(store: Store, n: int) -> list[str]:
    job = store.new_job()
    name = f"{store.device}-{n}"
    with store.transaction(job) as transaction:
        written = transaction.append(
            [
                Draft(kind="opened", subject=f"{name}:opened/#1", body=body_of(Opened(origin=name))),
                Draft(
                    kind="customer",
                    subject=f"{name}:customer/#1",
                    body=body_of(Customer(name=PersonalText("name", f"Person {name}"))),
                ),
            ]
        )
    return [entry.id for entry in written]


def bill(store: Store, job: str) -> str:
    chain = f"books/{store.device}/2026"
    with store.transaction(job) as transaction:
        place = transaction.next_number(chain)
        number = f"2026-{store.device}{place:04}"
        document = {"id": f"document-{number}", "title": f"Invoice {number}"}
        made = InvoiceIssued(
            place=place,
            number=number,
            document_id=str(document["id"]),
            document=document,
            document_hash=digest(document),
            total=100,
            currency="EUR",
            versions={},
            heads=[],
            job_name="visit",
        )
        return transaction.issue(chain, made).id


def main(store_path: str, address: str, key: str, letters: str, log_path: str) -> None:
    line = HubLine(address=address, key=SigningKey(bytes.fromhex(key)), letters=letters, timeout=10)
    with Store.open(Path(store_path)) as store, Path(log_path).open("a", encoding="ascii") as log:
        for n in range(10**6):
            did = random.choice(("begin", "begin", "bill", "sync"))
            ids: list[str] = []
            if did == "begin":
                ids = begin(store, n)
            elif did == "bill":
                free = [row.id for row in store.open_jobs(20)]
                ids = [bill(store, random.choice(free))] if free else []
            else:
                with contextlib.suppress(SyncError):
                    synced(store, line)
            log.writelines(f"{id_}\n" for id_ in ids)
            log.flush()


if __name__ == "__main__":
    main(*sys.argv[1:])
