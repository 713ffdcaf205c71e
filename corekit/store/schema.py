"""The tables of a store.

Every table is STRICT. Lists and bodies are canonical JSON texts (RFC 8785), so that an entry can be hashed again as it stands.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

#: Tells a corekit store from any other SQLite file: the letters `core`.
APPLICATION_ID = 0x636F7265

#: The schema that this program reads and writes.
SCHEMA = 0

#: How long a writer waits for another one, in seconds.
PATIENCE = 20.0


def connect(path: Path, patience: float = PATIENCE) -> sqlite3.Connection:
    """A connection to an existing file with every pragma that a promise rests on.

    synchronous=FULL: NORMAL may lose the last commits at a power cut, though not at a kill. secure_delete: a destroyed text
    is overwritten. temp_store in memory: a VACUUM leaves no second copy of personal text on the disk.

    Errors:
        sqlite3.Error: whatever stands in the way.
    """
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=patience, isolation_level=None, check_same_thread=False)
    try:
        for pragma in ("synchronous = FULL", "foreign_keys = ON", "secure_delete = ON", "temp_store = MEMORY", "trusted_schema = OFF"):
            connection.execute(f"PRAGMA {pragma}")
    except sqlite3.Error:
        connection.close()
        raise
    return connection


def lay(connection: sqlite3.Connection) -> None:
    """Lay the tables of schema 0. Runs inside a transaction.

    `entry` holds both journals. `place` is an invoice's number in its books chain, NULL for everything else.
    """
    for statement in (
        "CREATE TABLE meta (key TEXT NOT NULL PRIMARY KEY, value TEXT NOT NULL) STRICT",
        "CREATE TABLE entry (id TEXT NOT NULL PRIMARY KEY, journal TEXT NOT NULL, job TEXT NOT NULL, chain TEXT NOT NULL, n INTEGER NOT NULL,"
        " prev TEXT NOT NULL, seen TEXT NOT NULL, taken TEXT NOT NULL, recorded TEXT NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL,"
        " body TEXT NOT NULL, replaces TEXT NOT NULL, reason TEXT NOT NULL, place INTEGER, UNIQUE (chain, n), UNIQUE (chain, place)) STRICT",
        "CREATE INDEX entry_of_job ON entry (job, chain, n)",
        "CREATE INDEX entry_of_subject ON entry (subject)",
        "CREATE UNIQUE INDEX invoice_of_number ON entry (subject) WHERE kind = 'invoice'",
        "CREATE TABLE person (hash TEXT NOT NULL PRIMARY KEY, job TEXT NOT NULL, kind TEXT NOT NULL, salt TEXT NOT NULL, text TEXT NOT NULL) STRICT",
        "CREATE INDEX person_of_job ON person (job)",
        f"PRAGMA application_id = {APPLICATION_ID}",
        "PRAGMA user_version = 0",
    ):
        connection.execute(statement)


def version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def is_store(connection: sqlite3.Connection) -> bool:
    return int(connection.execute("PRAGMA application_id").fetchone()[0]) == APPLICATION_ID
