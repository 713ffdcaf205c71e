"""Power cuts: the writes of a real run are logged, and the disk is built anew up to a random moment.

Of what was not flushed by then each write is there, lost or torn at 512 bytes; of names not flushed with
their folder only the first so many are there. A disk that lies about flushing is not modelled.
"""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest import mock

import attrs

from .counts import Counts
from .layer import layer, run_under_layer
from .work import answered, faults_after, new_shop, plugins, ready

_SECTOR = 512


def main(folder: Path, *, jobs: int, planted: str) -> int:
    """The logged run, under the layer: answers, invoices, papers, each said when it is acknowledged."""
    from corekit.desk import paper
    from corekit.desk.shop import Shop

    own = layer()
    shop_folder = folder / "shop"
    files = folder / "files"
    files.mkdir(exist_ok=True)
    weaker: Any = (
        mock.patch.object(paper, "write_over", _careless) if planted == "paper" else mock.patch("os.sep", "/")
    )
    plugins()
    own.torture_folder(str(shop_folder).encode())
    own.torture_log(str(folder / "log").encode())
    with weaker, Shop(shop_folder, plugins=plugins()) as shop:
        if planted in ("NORMAL", "OFF"):
            shop.store._connection.execute(f"PRAGMA synchronous = {planted}")
        for number in range(jobs):
            job = ready(shop, f"job-{number}", files)
            for n in range(3):
                for entry in answered(shop, job, f"request-{number:08}-{n:08}"):
                    own.torture_say(f"entry {entry}".encode())
            invoice = shop.issue(job, date_is_right=True)
            own.torture_say(f"invoice {invoice.number}".encode())
            own.torture_say(f"paper {invoice.pdf.name}".encode())
    own.torture_log(b"")
    return 0


def _careless(path: Path, data: bytes) -> None:
    """Writes a file as one must not: it gets its name before it is on the disk."""
    part = path.with_name(path.name + ".part")
    part.write_bytes(data)
    part.replace(path)


@attrs.define
class _File:
    """A file's content: what is on the disk for sure, and what was written since."""

    sure: bytearray = attrs.field(factory=bytearray)
    since: list[tuple[int, bytes | None]] = attrs.field(factory=list)

    def flush(self) -> None:
        for at, data in self.since:
            _put(self.sure, at, data)
        self.since = []

    def after_cut(self, draws: random.Random) -> bytes:
        content = bytearray(self.sure)
        for at, data in self.since:
            luck = draws.random()
            if luck < 0.45:
                continue
            if data is not None and luck < 0.6 and len(data) > _SECTOR:
                data = data[: _SECTOR * draws.randrange(1, len(data) // _SECTOR + 1)]
            _put(content, at, data)
        return bytes(content)


def _put(content: bytearray, at: int, data: bytes | None) -> None:
    """Write at a place; no data means that the file ends there."""
    if len(content) < at:
        content.extend(b"\0" * (at - len(content)))
    if data is None:
        del content[at:]
    else:
        content[at : at + len(data)] = data


@attrs.define
class Disk:
    """Names and files as they are, and as they are for sure."""

    names: dict[str, _File]
    sure_names: dict[str, _File]
    pending: list[tuple[str, str, _File | None]] = attrs.field(factory=list)

    @classmethod
    def of(cls, folder: Path) -> Disk:
        files = {
            str(path): _File(bytearray(path.read_bytes())) for path in folder.rglob("*") if path.is_file()
        }
        return cls(dict(files), dict(files))

    def apply(self, kind: str, path: str, other: str, a: int, data: bytes) -> None:
        if kind == "O":
            self._name(path, _File())
        elif kind in ("W", "T") and path in self.names:
            self.names[path].since.append((a, data if kind == "W" else None))
        elif kind == "S":
            if path in self.names:
                self.names[path].flush()
            else:  # a folder
                kept = []
                for change in self.pending:
                    if str(Path(change[1]).parent) == path:
                        self._settle(self.sure_names, change)
                    else:
                        kept.append(change)
                self.pending = kept
        elif kind == "U":
            self.pending.append(("U", path, None))
            self.names.pop(path, None)
        elif kind in ("R", "L"):
            file = self.names.get(path)
            if file is not None:
                self._name(other, file)
                if kind == "R":
                    self.pending.append(("U", path, None))
                    self.names.pop(path, None)

    def _name(self, path: str, file: _File) -> None:
        self.names[path] = file
        self.pending.append(("O", path, file))

    @staticmethod
    def _settle(names: dict[str, _File], change: tuple[str, str, _File | None]) -> None:
        _, path, file = change
        if file is not None:
            names[path] = file
        else:
            names.pop(path, None)

    def cut(self, draws: random.Random, folder: Path) -> None:
        """Write what is left after a power cut into the folder, which was the shop's."""
        names = dict(self.sure_names)
        for change in self.pending[: draws.randrange(len(self.pending) + 1)]:
            self._settle(names, change)
        shutil.rmtree(folder)
        for path, file in names.items():
            Path(path).parent.mkdir(parents=True, exist_ok=True)
            Path(path).write_bytes(file.after_cut(draws))


def _events(log: Path) -> Iterator[tuple[str, str, str, int, bytes]]:
    data, at = log.read_bytes(), 0
    while at < len(data):
        end = data.index(b"\n", at)
        kind, path, other, a, b = data[at:end].decode().split("\t")
        at = end + 1
        size = int(b)
        yield kind, path, other, int(a), data[at : at + size]
        at += size


def _cuts(folder: Path, count: int, draws: random.Random, jobs: int, planted: str) -> Iterator[list[str]]:
    """What is wrong after each cut of one run."""
    shop = folder / "shop"
    new_shop(shop)
    (shop / "papers").mkdir()
    disk = Disk.of(shop)
    run_under_layer("tests.torture.power", folder, jobs=jobs, planted=planted)
    events = list(_events(folder / "log"))
    moments = sorted(draws.randrange(1, len(events)) for _ in range(count))
    promised: list[tuple[str, str]] = []
    at = 0
    for moment in moments:
        while at < moment:
            kind, path, other, a, data = events[at]
            if kind == "A":
                promised.append((path.split(" ")[0], path.split(" ")[1]))
            else:
                disk.apply(kind, path, other, a, data)
            at += 1
        disk.cut(draws, shop)
        try:
            yield faults_after(shop, promised)
        except Exception as error:
            yield [f"{type(error).__name__}: {str(error)[:200]}"]


def cuts(count: int, folder: Path, seed: int = 5, *, planted: bool = True) -> Counts:
    """Cuts of real runs, and of runs with weaker settings, which must be noticed."""
    counts, draws = Counts("power cuts"), random.Random(seed)
    runs = max(1, count // 300)
    for run in range(runs):
        place = folder / f"run-{run}"
        place.mkdir(parents=True)
        for wrong in _cuts(place, count // runs, draws, 4, ""):
            counts.tries += 1
            counts.wrong += wrong
        shutil.rmtree(place, ignore_errors=True)
    for weaker in ("NORMAL", "OFF", "paper") if planted else ():
        place = folder / f"planted-{weaker}"
        place.mkdir(parents=True)
        found = [bool(wrong) for wrong in _cuts(place, 40 if count >= 100 else 12, draws, 2, weaker)]
        counts.notes.append(f"planted {weaker}: noticed in {sum(found)} of {len(found)} cuts")
        if not any(found):
            counts.wrong.append(f"planted {weaker} was not noticed")
        shutil.rmtree(place, ignore_errors=True)
    counts.notes.append(f"SQLite {sqlite3.sqlite_version}")
    return counts
