"""The tables of a store, and the steps by which an older store becomes one of today's.

Every table is STRICT. Lists and bodies are canonical JSON texts (RFC 8785), so that an entry can be hashed
again as it stands.
"""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path

from ..files import flush_folder
from . import listing, persons, seals
from .errors import StoreError
from .mark import random_id

#: Tells a corekit store from any other SQLite file: the letters `core`.
APPLICATION_ID = 0x636F7265

#: How long a writer waits for another one, in seconds.
PATIENCE = 20.0


def connect(path: Path, patience: float = PATIENCE) -> sqlite3.Connection:
    """A connection to an existing file with every pragma that a promise rests on.

    synchronous=FULL: NORMAL may lose the last commits at a power cut, though not at a kill. secure_delete: a
    destroyed text is overwritten. temp_store in memory: a VACUUM leaves no second copy of personal text on
    the disk.

    Raises:
        sqlite3.Error: whatever stands in the way.
    """
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=rw",
        uri=True,
        timeout=patience,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        for pragma in (
            "synchronous = FULL",
            "foreign_keys = ON",
            "secure_delete = ON",
            "temp_store = MEMORY",
            "trusted_schema = OFF",
        ):
            connection.execute(f"PRAGMA {pragma}")
    except UnicodeDecodeError as error:  # a damaged file's own words stand in the message, and are none
        connection.close()
        raise sqlite3.DatabaseError("the tables of the file are damaged") from error
    except sqlite3.Error:
        connection.close()
        raise
    return connection


def create_tables(connection: sqlite3.Connection) -> None:
    """Create the tables of schema 0. Runs inside a transaction.

    `entry` holds both journals. `place` is an invoice's number in its books chain, NULL for everything else.
    """
    for statement in (
        "CREATE TABLE meta (key TEXT NOT NULL PRIMARY KEY, value TEXT NOT NULL) STRICT",
        (
            "CREATE TABLE entry (id TEXT NOT NULL PRIMARY KEY, journal TEXT NOT NULL, job TEXT NOT NULL,"
            " chain TEXT NOT NULL, n INTEGER NOT NULL, prev TEXT NOT NULL, seen TEXT NOT NULL, taken TEXT NOT"
            " NULL, recorded TEXT NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL, body TEXT NOT NULL,"
            " replaces TEXT NOT NULL, reason TEXT NOT NULL, place INTEGER, UNIQUE (chain, n), UNIQUE (chain,"
            " place)) STRICT"
        ),
        "CREATE INDEX entry_of_job ON entry (job, chain, n)",
        "CREATE INDEX entry_of_subject ON entry (subject)",
        "CREATE UNIQUE INDEX invoice_of_number ON entry (subject) WHERE kind = 'invoice'",
        (
            "CREATE TABLE person (hash TEXT NOT NULL PRIMARY KEY, job TEXT NOT NULL, kind TEXT NOT NULL, salt"
            " TEXT NOT NULL, text TEXT NOT NULL) STRICT"
        ),
        "CREATE INDEX person_of_job ON person (job)",
        f"PRAGMA application_id = {APPLICATION_ID}",
        "PRAGMA user_version = 0",
    ):
        connection.execute(statement)


def migrate_0_to_1(connection: sqlite3.Connection) -> None:
    """Links get a table: of a link only its token's hash is kept."""
    connection.execute(
        "CREATE TABLE link (token_hash TEXT NOT NULL PRIMARY KEY, document_id TEXT NOT NULL, link INTEGER NOT"
        " NULL, expires TEXT NOT NULL, revoked TEXT NOT NULL, published_at TEXT NOT NULL, UNIQUE"
        " (document_id, link)) STRICT"
    )


def migrate_1_to_2(connection: sqlite3.Connection) -> None:
    """Rows that no chain protects get a seal, and each table a tally.

    Raises:
        StoreError: a personal text does not match its hash; a seal on it would hide that.
    """
    for found, salt, kind, text in connection.execute("SELECT hash, salt, kind, text FROM person"):
        if persons.salted_hash(salt, kind, text) != found:
            what = f"Personal text {found[:12]} ({kind}) was changed after it was written"
            raise StoreError(
                f"{what}, so the store was not brought up to date and stays as it is. Go back to the last"
                " backup."
            )
    # Created anew, not altered: a column added later needs a default, and then a program that knows no seals
    # could go on writing rows without them.
    for table, columns in (
        ("meta", "key TEXT NOT NULL PRIMARY KEY, value TEXT NOT NULL"),
        (
            "person",
            (
                "hash TEXT NOT NULL PRIMARY KEY, job TEXT NOT NULL, kind TEXT NOT NULL, salt TEXT NOT NULL,"
                " text TEXT NOT NULL"
            ),
        ),
        (
            "link",
            (
                "token_hash TEXT NOT NULL PRIMARY KEY, document_id TEXT NOT NULL, link INTEGER NOT NULL,"
                " expires TEXT NOT NULL, revoked TEXT NOT NULL, published_at TEXT NOT NULL"
            ),
        ),
    ):
        rows = connection.execute(f"SELECT {', '.join(seals.SEALED[table])} FROM {table}").fetchall()
        connection.execute(f"DROP TABLE {table}")
        unique = ", UNIQUE (document_id, link)" if table == "link" else ""
        connection.execute(f"CREATE TABLE {table} ({columns}, seal TEXT NOT NULL{unique}) STRICT")
        seals.insert(connection, table, *rows, tallied=False)
    connection.execute("CREATE INDEX person_of_job ON person (job)")
    connection.execute(
        "CREATE TABLE tally (name TEXT NOT NULL PRIMARY KEY, rows INTEGER NOT NULL, total TEXT NOT NULL, seal"
        " TEXT NOT NULL) STRICT"
    )
    for table in ("entry", "link", "meta", "migration", "person"):
        found = connection.execute(f"SELECT {'id' if table == 'entry' else 'seal'} FROM {table}")
        seals.insert(connection, "tally", (table, *seals.new_tally(seal for (seal,) in found)), tallied=False)


def migrate_2_to_3(connection: sqlite3.Connection) -> None:
    """Answers get a table: under its own id the hash of what each said and the entries it became, so that the
    same answer sent again adds nothing.
    """
    connection.execute(
        "CREATE TABLE answer (id TEXT NOT NULL PRIMARY KEY, job TEXT NOT NULL, salt TEXT NOT NULL, digest"
        " TEXT NOT NULL, entries TEXT NOT NULL, recorded TEXT NOT NULL, seal TEXT NOT NULL) STRICT"
    )
    connection.execute("CREATE INDEX answer_of_job ON answer (job)")
    seals.insert(connection, "tally", ("answer", *seals.new_tally(())), tallied=False)


def migrate_3_to_4(connection: sqlite3.Connection) -> None:
    """Jobs and invoices get a row each that lists and look-ups read, filled from the journals."""
    listing.create_tables(connection)
    listing.fill(connection)


def migrate_4_to_5(connection: sqlite3.Connection) -> None:
    """Lists know the customer, the next appointment, what is owed and until when; jobs are found by words."""
    listing.renew(connection)


def migrate_5_to_6(connection: sqlite3.Connection) -> None:
    """Every movement of money gets a row, and so does the cash drawer; lists know what was paid too much."""
    listing.renew(connection)


#: Every step, in order; a store's schema is the number of steps it has taken.
MIGRATIONS: tuple[Callable[[sqlite3.Connection], None], ...] = (
    migrate_0_to_1,
    migrate_1_to_2,
    migrate_2_to_3,
    migrate_3_to_4,
    migrate_4_to_5,
    migrate_5_to_6,
)

#: The schema that this program reads and writes.
SCHEMA = len(MIGRATIONS)

#: From this schema on rows are sealed and tallied.
_TALLIED_FROM = 2

#: From this schema on there are answers.
_ANSWERS_FROM = 3

#: From this schema on jobs are listed, under a key of their customer.
_LISTED_FROM = 4


def step(connection: sqlite3.Connection, number: int, applied: str) -> None:
    """Take a store from schema `number` to the next, with the record of it. Runs inside a transaction."""
    migration = MIGRATIONS[number]
    columns = "n INTEGER NOT NULL PRIMARY KEY, name TEXT NOT NULL, applied TEXT NOT NULL, seal TEXT NOT NULL"
    connection.execute(f"CREATE TABLE IF NOT EXISTS migration ({columns}) STRICT")
    migration(connection)
    seals.insert(
        connection,
        "migration",
        (number + 1, name_of(migration), applied),
        tallied=number + 1 >= _TALLIED_FROM,
    )
    connection.execute(f"PRAGMA user_version = {number + 1}")


def name_of(migration: Callable[[sqlite3.Connection], None]) -> str:
    return migration.__name__


def migrate(connection: sqlite3.Connection, path: Path, now: Callable[[], str]) -> None:
    """Bring an older store to today's schema, each step in one transaction with its record, after a copy of
    it was made and checked.

    Raises:
        StoreError: the copy is not whole, or the store is damaged; nothing was changed then.
        sqlite3.Error, OSError: the copy or a step could not be written; the store is as it was after the last
            whole step.
    """
    back_up(connection, path)
    for number in range(version(connection), SCHEMA):
        connection.execute("BEGIN IMMEDIATE")
        try:
            if version(connection) == number:  # else another program took this step while this one waited
                step(connection, number, now())
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                with contextlib.suppress(sqlite3.Error):
                    connection.execute("ROLLBACK")
            raise


def back_up(connection: sqlite3.Connection, path: Path) -> Path:
    """A checked copy of the store beside it, `NAME.schema-N.backup`; it appears when it is whole, never half.

    Raises:
        StoreError: the copy does not pass the database's own check.
        sqlite3.Error, OSError: it could not be written.
    """
    unfinished = path.with_name(f".{path.name}.{random_id(8)}.new")
    try:
        os.close(os.open(unfinished, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        copy = connect(unfinished)
        try:
            connection.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
            found = [line for (line,) in copy.execute("PRAGMA integrity_check")]
            copied = version(copy)
        finally:
            copy.close()
        if found != ["ok"]:
            raise StoreError(
                f"The store {path} is damaged ({found[0]}) and was not brought up to date. Keep a copy of it,"
                " and go back to the last backup."
            )
        with unfinished.open("rb+") as file:
            os.fsync(file.fileno())
        backup = path.with_name(f"{path.name}.schema-{copied}.backup")
        unfinished.replace(backup)
        flush_folder(path.parent)
    finally:
        for rest in ("", "-journal", "-wal", "-shm"):
            unfinished.with_name(unfinished.name + rest).unlink(missing_ok=True)
    return backup


def backups(path: Path) -> list[Path]:
    """The copies that `migrate` made of a store."""
    pattern = re.compile(re.escape(path.name) + r"\.schema-\d+\.backup")
    return sorted(found for found in path.parent.iterdir() if pattern.fullmatch(found.name))


def destroy(connection: sqlite3.Connection, job: str) -> None:
    """Destroy a job's personal texts, in a store of any schema. Runs inside a transaction.

    With them goes what could still betray them: the hash of an answer that held a plate could be guessed as
    long as its salt is there.
    """
    if version(connection) >= _ANSWERS_FROM:
        for row in connection.execute(seals.select("answer", "WHERE job = ?"), (job,)).fetchall():
            id_, _, _, _, entries, recorded = seals.columns_without_seal("answer", row)
            seals.change(connection, "answer", (id_, job, "", "", entries, recorded))
    if version(connection) >= _TALLIED_FROM:
        seals.tally(
            connection,
            "person",
            removed=[seal for (seal,) in connection.execute("SELECT seal FROM person WHERE job = ?", (job,))],
        )
    connection.execute("DELETE FROM person WHERE job = ?", (job,))
    if version(connection) >= _LISTED_FROM:
        listing.erase_persons(connection, job)


def version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def is_store(connection: sqlite3.Connection) -> bool:
    return int(connection.execute("PRAGMA application_id").fetchone()[0]) == APPLICATION_ID
