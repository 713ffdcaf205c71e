"""Damaged stores: each is noticed, or proven to hold the same row by row; nothing is silent or strays."""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from corekit.desk.shop import Shop
from corekit.errors import CorekitError
from corekit.store.store import Store

from .counts import Counts
from .work import answered, new_shop, plugins, ready

_PAGE, _SECTOR = 4096, 512
Damage = Callable[[bytearray, random.Random], None]


def _flip(data: bytearray, draws: random.Random) -> None:
    data[draws.randrange(len(data))] ^= 1 << draws.randrange(8)


def _eight(data: bytearray, draws: random.Random) -> None:
    at = draws.randrange(len(data) - 8)
    data[at : at + 8] = draws.randbytes(8)


def _zero_page(data: bytearray, draws: random.Random) -> None:
    at = draws.randrange(len(data) // _PAGE) * _PAGE
    data[at : at + _PAGE] = bytes(_PAGE)


def _swap_pages(data: bytearray, draws: random.Random) -> None:
    one, two = (draws.randrange(len(data) // _PAGE) * _PAGE for _ in range(2))
    data[one : one + _PAGE], data[two : two + _PAGE] = data[two : two + _PAGE], data[one : one + _PAGE]


def _cut(data: bytearray, draws: random.Random) -> None:
    del data[draws.randrange(1, len(data) // _SECTOR) * _SECTOR :]


def _letter(data: bytearray, draws: random.Random) -> None:
    """A byte within a text of an entry, which no check of structure sees."""
    at = data.find(b'"', draws.randrange(len(data)))
    if at >= 0 and at + 1 < len(data):
        data[at + 1] = draws.randrange(256)


KINDS: dict[str, tuple[Damage, int]] = {
    "bit flipped": (_flip, 10),
    "letter changed": (_letter, 4),
    "8 bytes": (_eight, 2),
    "page zeroed": (_zero_page, 2),
    "pages swapped": (_swap_pages, 2),
    "cut": (_cut, 2),
}


def _rows(path: Path) -> dict[str, list[Any]]:
    with closing(sqlite3.connect(path)) as connection:
        tables = [
            name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        ]
        return {
            table: sorted(map(repr, connection.execute(f"SELECT * FROM {table}")))
            for table in tables
            if not table.startswith("sqlite_")
        }


def damage(count: int, folder: Path, seed: int = 6) -> Counts:
    """Damaged copies of one store, in shares of the kinds."""
    counts, draws = Counts("damage"), random.Random(seed)
    shop_folder = new_shop(folder / "shop")
    (folder / "files").mkdir(parents=True)
    with Shop(shop_folder, plugins=plugins()) as shop:
        for number in range(4):
            job = ready(shop, f"job-{number}", folder / "files")
            answered(shop, job, f"request-{number:016}")
            shop.issue(job)
    store = shop_folder / "journal.sqlite"
    whole, before = store.read_bytes(), _rows(store)
    path = folder / "damaged.sqlite"
    shares = [name for name, (_, share) in KINDS.items() for _ in range(share)]
    for number in range(count):
        kind = shares[number % len(shares)]
        data = bytearray(whole)
        KINDS[kind][0](data, draws)
        path.write_bytes(data)
        counts.tries += 1
        counts.seen[_became(path, data == whole, before, kind, counts)] += 1
        for rest in ("-wal", "-shm", ".seen"):
            path.with_name(path.name + rest).unlink(missing_ok=True)
        for copy in folder.glob("damaged.sqlite.schema-*"):
            copy.unlink()
    counts.notes.append(f"a store of {len(whole) // 1024} KiB; opening noticed what `verify` did not look at")
    shutil.rmtree(folder, ignore_errors=True)
    return counts


def _became(path: Path, is_same: bool, before: dict[str, list[Any]], kind: str, counts: Counts) -> str:
    """What a damaged store told of itself."""
    try:
        with Store.open(path) as store:
            faults = store.verify()
            for job in store.jobs() if not faults else ():
                store.job(job)
        if faults:
            return "noticed by verify"
    except CorekitError:
        return "noticed at opening or reading"
    except Exception as error:
        step = error.__traceback__
        while step is not None and step.tb_next is not None:
            step = step.tb_next
        where = f"{Path(step.tb_frame.f_code.co_filename).name}:{step.tb_lineno}" if step else ""
        counts.wrong.append(f"{kind}: stray {type(error).__name__} at {where}: {str(error)[:80]}")
        return "noticed by a stray exception"
    try:
        if is_same or _rows(path) == before:
            return "proven equal"
    except sqlite3.Error:
        pass
    counts.wrong.append(f"{kind}: silent")
    return "silent"
