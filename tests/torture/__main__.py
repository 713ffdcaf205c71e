"""Run the programme and print its counts.

`--share` scales every count; 1 is the whole, which takes the better part of an hour on two processors.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import sys
import tempfile
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

from corekit.hub.throwaway import programs

from . import (
    bombs,
    clock,
    damage,
    fields,
    guesses,
    io_faults,
    kills,
    memory,
    mutations,
    power,
    strings,
    writers,
)
from .counts import Counts
from .layer import reason_it_cannot_run

Part = Callable[[float, Path], Counts]


def _many(count: int, share: float) -> int:
    return max(1, round(count * share))


def _parcels(count: int, place: Path) -> Counts:
    from . import parcels  # PostgreSQL's driver comes with the extra `hub`

    return parcels.on_a_hub(count, place)


#: Name → the part at its whole count. Places of an I/O fault have no count of their own: all of them at 1.
PARTS: dict[str, Part] = {
    "kill-saving": lambda share, place: kills.saving(_many(300, share), place),
    "kill-issuing": lambda share, place: kills.issuing(_many(100, share), place),
    "kill-screens": lambda share, place: kills.screens(_many(100, share), place),
    "kill-migrating": lambda share, place: kills.migrating(_many(100, share)),
    "power": lambda share, place: power.cuts(_many(3000, share), place),
    "io": lambda share, place: io_faults.faults(0 if share >= 1 else _many(20, share), place),
    "damage": lambda share, place: damage.damage(_many(1100, share), place),
    "files": lambda share, place: mutations.files(_many(100_000, share)),
    "bombs": lambda share, place: bombs.bombs(place),
    "values": lambda share, place: mutations.values(_many(100_000, share)),
    "guesses": lambda share, place: guesses.guesses(_many(100_000, share), place),
    "strings": lambda share, place: strings.strings(_many(1000, share), place),
    "fields": lambda share, place: fields.fields(_many(1000, share), place),
    "memory": lambda share, place: memory.memory(_many(60, share), place),
    "parcels": lambda share, place: _parcels(_many(2000, share), place),
    "writers": lambda share, place: writers.writers(_many(12, share), place),
    "clock": lambda share, place: clock.jumps(place),
}


def main(words: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.torture", description=__doc__)
    parser.add_argument("--share", type=float, default=1.0, help="of every count (%(default)s)")
    parser.add_argument("--only", nargs="+", choices=PARTS, default=list(PARTS))
    args = parser.parse_args(words)
    print(f"Python {platform.python_version()}, {platform.system()}, share {args.share:g}", flush=True)
    wrong = 0
    for name in args.only:
        if name in ("power", "io") and (reason := reason_it_cannot_run()):
            print(f"{name}: not run: {reason}", flush=True)
            wrong += bool(os.environ.get("CI"))
            continue
        if name == "parcels" and (programs() is None or find_spec("psycopg") is None):
            print(f"{name}: not run: PostgreSQL or its driver is not installed here", flush=True)
            wrong += bool(os.environ.get("CI"))
            continue
        place = Path(tempfile.mkdtemp(prefix="corekit-torture-"))
        try:
            counts = PARTS[name](args.share, place)
        finally:
            shutil.rmtree(place, ignore_errors=True)
        print(counts, flush=True)
        wrong += len(counts.wrong)
    print("Nothing went wrong." if not wrong else f"{wrong} things went wrong.")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
