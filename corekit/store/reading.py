"""A store that may not be written: read where it lies, or from a private copy where that is not enough.

SQLite opens a store with a write-ahead log only where it can write beside it. `immutable` does without, but
sees nothing of what stands in the log; so that way is taken only where there is none.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from pathlib import Path

from . import schema


def may_be_written(path: Path) -> bool:
    """True where the file and its folder may be written: the log lies beside the file."""
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def connect_to_read(
    path: Path, patience: float
) -> tuple[sqlite3.Connection, tempfile.TemporaryDirectory[str] | None]:
    """A connection that changes nothing at `path`, and the folder of the copy that it reads, if one was
    needed: whoever closes the connection removes it.

    Raises:
        sqlite3.Error, OSError: whatever stands in the way.
    """
    log = path.with_name(f"{path.name}-wal")
    if not (log.exists() and log.stat().st_size):
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?immutable=1",
            uri=True,
            timeout=patience,
            isolation_level=None,
            check_same_thread=False,
        )
        try:
            connection.execute("PRAGMA trusted_schema = OFF")
            if not schema.is_store(connection) or schema.version(connection) >= schema.SCHEMA:
                return connection, None
        except BaseException:
            connection.close()
            raise
        connection.close()
    copy = tempfile.TemporaryDirectory(prefix="corekit-")
    try:
        for one in (path, log):
            if one.exists():
                shutil.copyfile(one, Path(copy.name, one.name))
        return schema.connect(Path(copy.name, path.name), patience), copy
    except BaseException:
        copy.cleanup()
        raise
