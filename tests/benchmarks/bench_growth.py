"""What a shop costs as its jobs become many, in the same shop with ten of them.

    .venv/bin/python tests/benchmarks/bench_growth.py [MOST]

The jobs of the demo are copied in turn under new names until there are 10, 100, 1,000 and, or up to MOST,
10,000, each with everything in it: readings, estimates, approvals, its invoice, its published link. At each
size every question is asked five times, and its median CPU time is divided by that of the same question at
ten jobs. The aim of the project: each stays as it is, but for what goes through everything by nature, and
that grows no faster than the jobs. Memory is what the process held at most so far; `verify` and `forget` are
also measured by themselves, each in a process of its own.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import attrs

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from corekit.desk import importing
from corekit.desk.demo import run_demo
from corekit.desk.jobs import job_with_id
from corekit.desk.shop import Shop
from corekit.model.canonical import digest
from corekit.model.entry import Draft
from corekit.model.personal import PersonalText
from corekit.model.records import InvoiceIssued
from corekit.reference import data_path
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.store.store import Store
from corekit.store.transaction import Transaction

SIZES = (10, 100, 1_000, 10_000)
TURNS = 5
#: Kinds that the store writes by itself, or that another statement of the copy brings along.
_BY_ITSELF = {"issued", "published", "paid", "receipted", "forgotten"}


@attrs.frozen
class Pattern:
    """A job of the demo, to be copied: its statements, and its invoice."""

    drafts: tuple[Draft, ...]
    invoice: InvoiceIssued


def patterns(store: Store) -> list[Pattern]:
    found = []
    for job in store.jobs():
        folded = store.job(job)
        texts = store.texts(folded.persons())
        standing = [noted.entry for noted in folded.standing if noted.entry.kind not in _BY_ITSELF]
        bodies = [with_texts(entry.body, texts) for entry in standing]
        # What was approved is known by the hash of its estimate's Document, which is another one now.
        hashes = {}
        for body in bodies:
            if "document" in body:
                hashes[body["document_hash"]] = digest(body["document"])
        for body in bodies:
            if "document_hash" in body:
                body["document_hash"] = hashes.get(body["document_hash"], body["document_hash"])
        drafts = tuple(
            Draft(kind=entry.kind, subject=entry.subject, body=body, taken=entry.taken)
            for entry, body in zip(standing, bodies, strict=True)
        )
        record = InvoiceIssued(**store.invoice(folded.issued[-1].record.number).body)
        found.append(Pattern(drafts, record))
    return found


def with_texts(data: Any, texts: Mapping[str, str]) -> Any:
    """The same data with each personal text in place of its reference; in a Document the reference goes, for
    the copy's own hashes are others.
    """
    if isinstance(data, Mapping):
        if set(data) == {"personal", "hash"}:
            return PersonalText(data["personal"], texts.get(data["hash"], "gone"))
        return {
            key: without_references(item) if key == "document" else with_texts(item, texts)
            for key, item in data.items()
        }
    return [with_texts(item, texts) for item in data] if isinstance(data, (list, tuple)) else data


def without_references(data: Any) -> Any:
    if isinstance(data, Mapping):
        if set(data) == {"personal", "hash"}:
            return "somebody"
        return {key: without_references(item) for key, item in data.items()}
    return [without_references(item) for item in data] if isinstance(data, (list, tuple)) else data


def grow(shop: Shop, copied: list[Pattern], have: int, want: int) -> None:
    """Jobs in transactions of fifty: one in twenty was never invoiced."""
    store, chain = shop.store, shop.context.books_chain
    for first in range(have, want, 50):
        with store._writing() as connection:
            for number in range(first, min(first + 50, want)):
                pattern = copied[number % len(copied)]
                transaction = Transaction(
                    connection,
                    (f"ab{number:08}",),
                    None,
                    where=str(store.path),
                    lineage=store.lineage,
                    demo=True,
                    now=store.now,
                )
                transaction.append(copies(pattern.drafts, number))
                if number % 20:
                    issue(transaction, chain, pattern.invoice)
                transaction.finish()


def copies(drafts: tuple[Draft, ...], number: int) -> list[Draft]:
    made = []
    for draft in drafts:
        body = dict(draft.body)
        if draft.kind == "opened":
            body["origin"] = f"copy-{number}"
        if draft.kind == "customer":
            body["name"] = PersonalText("name", f"Copied Customer {number // 4}")
        made.append(attrs.evolve(draft, subject=f"copy-{number}/{draft.subject}", body=body))
    return made


def issue(transaction: Transaction, chain: str, pattern: InvoiceIssued) -> None:
    place = transaction.next_number(chain)
    document = {**without_references(pattern.document), "id": f"copy-{place}", "number": f"copy-{place:06}"}
    record = attrs.evolve(
        pattern,
        place=place,
        number=str(document["number"]),
        document_id=str(document["id"]),
        document=document,
        document_hash=digest(document),
    )
    transaction.issue(chain, record)
    transaction.note_link(digest(["copy", place]), record.document_id, 1)
    transaction.mark_published(digest(["copy", place]))


def questions(shop: Shop) -> dict[str, Callable[[], object]]:
    """What is asked of the shop at each size; each can be asked again and again."""
    visit = importing.read(shop.context, next((data_path("demo") / "jobs").glob("1-*.toml")))
    demo = shop.store.find("worn-battery")
    open_one = "ab00000000"
    client = work_app(Van(shop.context), NoAuth()).test_client()
    numbers = iter(range(10**9))

    def page(path: str) -> None:
        reply = client.get(path)
        if reply.status_code != 200:
            raise SystemExit(f"{path}: {reply.status_code} {reply.text[-600:]}")

    def reading() -> None:
        entry = next(one for one in shop.store.journal(open_one) if one.kind == "measured")
        with shop.store.transaction(open_one) as transaction:
            draft = Draft(kind="measured", subject=f"bench/{next(numbers)}", body=dict(entry.body))
            transaction.append([draft])

    def opened() -> None:
        with Store.open(shop.store.path):
            pass

    return {
        "open the store": opened,
        "find a job by its name": lambda: shop.store.find("worn-battery"),
        "read a job": lambda: job_with_id(shop.context, demo),
        "save a reading": reading,
        "add a file again": lambda: importing.add(shop.context, visit),
        "assess a job": lambda: shop.assess(demo),
        "issue again": lambda: shop.issue("worn-battery"),
        "publish, nothing new": shop.publish,
        "home screen": lambda: page("/"),
        "hand-over screen": lambda: page(f"/job/{open_one}/hand"),
        "hand-over screen, issued": lambda: page(f"/job/{demo}/hand"),
    }


def through_everything(shop: Shop, folder: Path) -> dict[str, Callable[[], object]]:
    return {
        "verify": lambda: verified(shop.store),
        "copy the store": lambda: copied_away(shop.store, folder / "copy.sqlite"),
        "forget a job": lambda: shop.store.forget("ab00000001"),
    }


def verified(store: Store) -> None:
    faults = store.verify()
    if faults:
        raise SystemExit(f"The copied jobs do not verify: {faults[0]}")


def copied_away(store: Store, target: Path) -> None:
    store.copy_to(target)
    target.unlink()


def cpu(do: Callable[[], object]) -> float:
    begun = time.process_time()
    do()
    return time.process_time() - begun


def memory() -> float:
    """What this process held at most so far, [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def memory_of(do: str, store: Path) -> float:
    """What a process of its own holds at most that opens the store and does this with it, [MB]."""
    code = f"""
from pathlib import Path
from corekit.store.store import Store
with Store.open(Path({str(store)!r})) as store:
    store.{do}
print(Path("/proc/self/status").read_text().partition("VmHWM:")[2].split()[0])
"""
    # Not what the system tells of an ended child, which counts what its parent held when it began.
    told = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    return int(told.stdout) / 1024


def main(most: int) -> None:
    sizes = [size for size in SIZES if size <= most]
    found: dict[str, list[float]] = {}
    print(f"CPU, and how it compares with the same shop with {sizes[0]} jobs; medians of {TURNS},")
    print("what goes through everything asked once")
    with tempfile.TemporaryDirectory(prefix=".bench-", dir=Path.cwd()) as name:
        folder = Path(name) / "demo-out"
        for _ in run_demo(folder):
            pass
        with Shop(folder) as shop:
            copied, have = patterns(shop.store), 0
            for size in sizes:
                print(f"{size:,} jobs")
                written = cpu(partial(grow, shop, copied, have, size)) / (size - have)
                tell(found, "write a job", written)
                have = size
                for what, ask in questions(shop).items():
                    ask()
                    tell(found, what, statistics.median(cpu(ask) for _ in range(TURNS)))
                for what, ask in through_everything(shop, Path(name)).items():
                    tell(found, f"{what} (everything)", cpu(ask))
                held = {"verify": "verify()", "forget": "forget('ab00000002')"}
                for what, do in held.items():
                    tell(found, f"memory of {what} alone", memory_of(do, shop.store.path), "MB", 1)
                tell(found, "memory held at most", memory(), "MB", 1)
                tell(found, "the file", shop.store.path.stat().st_size / 1e6, "MB", 1)


def tell(
    found: dict[str, list[float]], what: str, measured: float, unit: str = "ms", factor: float = 1000
) -> None:
    """Say at once what was measured, beside what it was with the fewest jobs."""
    found.setdefault(what, []).append(measured)
    print(f"  {what:<28} {measured * factor:10.2f} {unit} {measured / found[what][0]:10.2f}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else SIZES[-1])
