"""How long something takes: by the clock, and in seconds of processor of what worked on it, which other
programs on the machine leave as they are.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import attrs


@attrs.frozen
class Clock:
    """`folder`: that of a database server, where one works as well."""

    folder: Path | None = None

    def spent(self) -> tuple[float, float]:
        """Seconds of processor of this program and what it started, and of the database server."""
        return _spent(os.getpid()), _spent(_postmaster(self.folder)) if self.folder is not None else 0.0

    @contextmanager
    def timed(self, what: str, each: int = 0) -> Iterator[None]:
        """Prints what the block took, and what that is for each of so many."""
        before, began = self.spent(), time.perf_counter()
        yield
        wall = time.perf_counter() - began
        own, server = (now - then for now, then in zip(self.spent(), before, strict=True))
        parts = f"{own:.2f} s" + (f" + PostgreSQL {server:.2f} s" if self.folder is not None else "")
        share = f", {1000 * (own + server) / each:.2f} ms each" if each else ""
        load = os.getloadavg()[0]
        print(
            f"  {what:<38s} {parts} of processor{share}; {wall:.1f} s by the clock (load {load:.0f})",
            flush=True,
        )


def folder_of(address: str) -> Path:
    """Where the throw-away server at an address has its files."""
    return Path(address.split(maxsplit=1)[0].removeprefix("host="))


def _postmaster(folder: Path) -> int:
    return int((folder / "data" / "postmaster.pid").read_text().split(maxsplit=1)[0])


def _spent(root: int) -> float:
    """Seconds that a process and all below it have used, with those below it that have ended."""
    parents, ticks = {}, {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            words = stat.read_text().rpartition(")")[2].split()
        except OSError:  # it has ended
            continue
        pid = int(stat.parent.name)
        parents[pid], ticks[pid] = int(words[1]), sum(map(int, words[11:15]))
    below = {root}
    while more := {pid for pid, parent in parents.items() if parent in below} - below:
        below |= more
    return sum(ticks.get(pid, 0) for pid in below) / os.sysconf("SC_CLK_TCK")
