"""A shop and the work of a day in it, for the programs that are killed, cut off and damaged.

Acknowledgements go to a pipe, one line each, written in one piece: what stands there was promised.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from corekit.desk.rows import add_rows
from corekit.desk.setup import create_shop
from corekit.desk.shop import Shop
from corekit.plugin.host import Plugins, load
from corekit.reference import data_path

_VISIT = """
job = "{name}"
reason = "Wants its battery posts cleaned."
[vehicle]
plate = "DEMO-7"
description = "a small van"
[customer]
name = "Sample Owner"
[[step]]
requested = {{ operation = "battery.clean_contacts", ground = "customer" }}
"""
_DONE = """
[[step]]
approved = {{ estimate = "repair 1", total = "{total}", by = "customer", how = "in person" }}
[[step]]
repaired = {{ operation = "battery.clean_contacts" }}
"""


def new_shop(folder: Path) -> Path:
    """An empty demo shop."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("shop.toml", "prices.toml"):
        shutil.copy(data_path("demo") / "shop" / name, folder / name)
    create_shop(folder, demo=True)
    return folder


_loaded: list[Plugins] = []


def plugins() -> Plugins:
    """The systems, loaded once in a process and its children."""
    if not _loaded:
        found = load()
        for _ in range(6):  # a machine so busy that loading overran; without a system nothing is tried
            if not found.failures:
                break
            found = load()
        assert not found.failures, found.failures
        _loaded.append(found)
    return _loaded[0]


def ready(shop: Shop, name: str, files: Path) -> str:
    """A job that is done and waits for its invoice."""
    file = files / f"{name}.toml"
    file.write_text(_VISIT.format(name=name), "utf-8")
    total = str(shop.estimate(shop.import_visit(file), "repair").total)
    file.write_text(_VISIT.format(name=name) + _DONE.format(name=name, total=total), "utf-8")
    return shop.import_visit(file)


def more(shop: Shop, job: str, nth: int) -> None:
    """Other work in a job that was invoiced: asked for, priced, approved and done."""
    work = f"Sweep the load area, {nth}"
    asked = [
        {"requested": {"work": work, "ground": "customer"}},
        {"priced": {"operation": work, "hours": "0.5"}},
    ]
    add_rows(shop.context, job, {"step": asked}, request_id=f"more-{nth}-{job:0>16}")
    shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")
    add_rows(shop.context, job, {"step": [{"serviced": {"work": work}}]}, request_id=f"done-{nth}-{job:0>16}")


def charged_twice(folder: Path) -> list[str]:
    """Work that stands on two invoices of one job."""
    on: dict[tuple[str, str], list[str]] = {}
    with Shop(folder, plugins=plugins()) as shop:
        for entry in shop.store.books():
            lines = entry.body["lines"] if entry.kind == "invoice" else ()
            for work in {str(line["operation"]) for line in lines}:
                on.setdefault((entry.job, work), []).append(str(entry.body["number"]))
    return [f"{work} is on {', '.join(numbers)}" for (_, work), numbers in on.items() if len(numbers) > 1]


def reading(volts: str = "12.6 V") -> dict[str, Any]:
    return {"step": [{"readings": [{"of": "battery.open_circuit_voltage", "is": volts}]}]}


class Acknowledger:
    """The end of a pipe that a program says its promises to."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    def __call__(self, *words: str) -> None:
        os.write(self._descriptor, (" ".join(words) + "\n").encode())


def child(work: Callable[[Acknowledger], None]) -> tuple[int, int]:
    """Run work in a forked process; gives its id and the pipe that it says its promises to."""
    read, write = os.pipe()
    pid = os.fork()
    if pid:
        os.close(write)
        return pid, read
    try:
        os.close(read)
        null = os.open(os.devnull, os.O_RDWR)
        for own in (1, 2) if not os.environ.get("TORTURE_TRACE") else (1,):
            os.dup2(null, own)
        work(Acknowledger(write))
        os._exit(0)
    except BaseException:
        if os.environ.get("TORTURE_TRACE"):
            import traceback

            traceback.print_exc()
        os._exit(7)


def answered(shop: Shop, job: str, request: str) -> list[str]:
    """Say one reading under a request id; the entries it became."""
    result = add_rows(shop.context, job, reading(), request_id=request)
    return [entry.id for entry in result.entries]


def faults_after(folder: Path, promised: list[tuple[str, str]]) -> list[str]:
    """What does not hold of a shop after something happened to it: promises, gaps, verification, papers."""
    wrong: list[str] = []
    with Shop(folder, plugins=plugins()) as shop:
        store = shop.store
        books = store.books()
        for kind, name in promised:
            if kind == "entry" and not store.has_entry(name):
                wrong.append(f"entry {name[:12]} was promised and is gone")
            if kind == "invoice" and not any(entry.body.get("number") == name for entry in books):
                wrong.append(f"invoice {name} was promised and is gone")
            if kind == "paper" and not Path(folder, "papers", name).is_file():
                wrong.append(f"paper {name} was promised and is gone")
        places: dict[str, list[int]] = {}
        for entry in books:
            if entry.kind == "invoice":
                places.setdefault(entry.chain, []).append(entry.body["place"])
        for chain, found in places.items():
            if sorted(found) != list(range(1, len(found) + 1)):
                wrong.append(f"numbers in {chain} are {sorted(found)}")
        numbers = [entry.body["number"] for entry in books if entry.kind == "invoice"]
        if len(set(numbers)) != len(numbers):
            wrong.append("a number was taken twice")
        wrong += shop.verify().faults
        for pdf in (folder / "papers").glob("*.pdf"):
            data = pdf.read_bytes()
            if not (data.startswith(b"%PDF") and data.rstrip().endswith(b"%%EOF")):
                wrong.append(f"{pdf.name} is half a paper")
        parts = list((folder / "papers").glob(".part-*"))
        if parts and __import__("time").time() - max(part.stat().st_mtime for part in parts) > 3600:
            wrong.append("an orphan was not swept")
    return wrong
