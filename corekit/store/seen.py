"""How far a store had come, in a file beside it: a copy of the store alone, taken while it was open, or an
older copy put back in its place, is behind it and is told from the store itself.

The file is a help and no promise: it is not flushed, may be missing, and what cannot be read in it says
nothing.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import sqlite3
from pathlib import Path

from ..files import TEMPORARY

_LAST = "SELECT rowid, id FROM entry ORDER BY rowid DESC LIMIT 1"


def seen_path(store: Path) -> Path:
    return store.with_name(f"{store.name}.seen")


def note_seen(connection: sqlite3.Connection, store: Path) -> None:
    """Write down how far the store has come; where that cannot be written nothing is."""
    count, last = connection.execute(_LAST).fetchone() or (0, "")
    part = store.with_name(f"{TEMPORARY}{secrets.token_hex(8)}")
    with contextlib.suppress(OSError):
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            with os.fdopen(handle, "w", encoding="ascii") as file:
                json.dump({"entries": count, "last": last}, file)
            part.replace(seen_path(store))
        finally:
            part.unlink(missing_ok=True)


def missing_since_seen(connection: sqlite3.Connection, store: Path) -> int:
    """How many entries were seen under this name that are not in the store; 0 where it is not behind.

    A store in which another entry stands where the last seen one stood has gone another way since: all that
    followed is unknown, and one is said.
    """
    try:
        told = json.loads(seen_path(store).read_text("ascii"))
        count, last = int(told["entries"]), str(told["last"])
    except (OSError, ValueError, KeyError, TypeError):
        return 0
    here, _ = connection.execute(_LAST).fetchone() or (0, "")
    if here < count:
        return int(count - here)
    if not count:
        return 0
    there = connection.execute("SELECT id FROM entry WHERE rowid = ?", (count,)).fetchone()
    return 0 if there is not None and there[0] == last else 1
