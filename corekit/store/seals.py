"""Seals on the rows that no chain protects, and a tally of each table, so that no row is changed, added or
removed unseen.

An entry's seal is its id. Every other row carries the SHA-256 of its own content. A table's tally is the
number of its rows and the sum of their seals (mod 2^256), kept up to date with each row, so that a missing
row shows though nothing is left of it. Like the chain this finds damage; somebody who rewrites the file on
purpose can write fitting seals too.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from typing import Any

from ..model.canonical import digest
from .errors import StoreError

#: Table → its columns before the seal, the key first.
SEALED = {
    "meta": ("key", "value"),
    "person": ("hash", "job", "kind", "salt", "text"),
    "link": ("token_hash", "document_id", "link", "expires", "revoked", "published_at"),
    "answer": ("id", "job", "salt", "digest", "entries", "recorded"),
    "migration": ("n", "name", "applied"),
    "tally": ("name", "rows", "total"),
}

#: Tables that are tallied; the tally's own rows are always these.
TALLIED = ("answer", "entry", "link", "meta", "migration", "person")

_MODULUS = 2**256


def seal_of(table: str, values: Sequence[Any]) -> str:
    """The seal of a row: SHA-256 of its canonical content.

    Raises:
        ValueError: the row holds something that cannot be written down.
    """
    return digest([table, *values])


def fits(table: str, row: Sequence[Any]) -> bool:
    """True when a row, its seal last, is as it was written."""
    try:
        return bool(seal_of(table, row[:-1]) == row[-1])
    except ValueError:
        return False


def columns_without_seal(table: str, row: Sequence[Any]) -> tuple[Any, ...]:
    """The columns of a row without its seal.

    Raises:
        StoreError: the row was changed after it was written.
    """
    if not fits(table, row):
        what = f"A row of table {table} ({str(row[0])[:12]}) was changed after it was written."
        raise StoreError(f"{what} Run `corekit verify`, and go back to the last backup.")
    return tuple(row[:-1])


def select(table: str, rest: str = "") -> str:
    return f"SELECT {', '.join(SEALED[table])}, seal FROM {table} {rest}"


def insert(connection: sqlite3.Connection, table: str, *rows: Sequence[Any], tallied: bool = True) -> None:
    """Insert rows, each with its seal."""
    sealed = [(*values, seal_of(table, values)) for values in rows]
    connection.executemany(
        f"INSERT INTO {table} VALUES ({', '.join('?' * (len(SEALED[table]) + 1))})", sealed
    )
    if tallied and sealed:
        tally(connection, table, added=[row[-1] for row in sealed])


def change(connection: sqlite3.Connection, table: str, values: Sequence[Any]) -> None:
    """Write other values over the row with the same key, which must be as it was written.

    Raises:
        StoreError: it is not, or the tally is not.
    """
    key = SEALED[table][0]
    old = connection.execute(select(table, f"WHERE {key} = ?"), (values[0],)).fetchone()
    columns_without_seal(table, old)
    seal = seal_of(table, values)
    columns = ", ".join(f"{name} = ?" for name in (*SEALED[table], "seal"))
    connection.execute(f"UPDATE {table} SET {columns} WHERE {key} = ?", (*values, seal, values[0]))
    tally(connection, table, added=[seal], removed=[old[-1]])


def remove(connection: sqlite3.Connection, table: str, key: str) -> None:
    """Remove the row of a key, where there is one."""
    name = SEALED[table][0]
    row = connection.execute(select(table, f"WHERE {name} = ?"), (key,)).fetchone()
    if row is not None:
        connection.execute(f"DELETE FROM {table} WHERE {name} = ?", (key,))
        tally(connection, table, removed=[row[-1]])


def tally(
    connection: sqlite3.Connection, table: str, added: Iterable[str] = (), removed: Iterable[str] = ()
) -> None:
    """Bring a table's tally up to date.

    Raises:
        StoreError: the tally was changed or is gone.
    """
    found = connection.execute(select("tally", "WHERE name = ?"), (table,)).fetchone()
    if found is None:
        raise StoreError(
            f"The store has lost its tally of table {table}. Run `corekit verify`, and go back to the last"
            " backup."
        )
    _, rows, total = columns_without_seal("tally", found)
    new = (table, *new_tally(added, removed, rows, total))
    connection.execute(
        "UPDATE tally SET rows = ?, total = ?, seal = ? WHERE name = ?",
        (*new[1:], seal_of("tally", new), table),
    )


def new_tally(
    added: Iterable[str], removed: Iterable[str] = (), rows: int = 0, total: str = "0"
) -> tuple[int, str]:
    """Number of rows and sum of seals after some came and some went.

    Raises:
        ValueError: a seal is no hexadecimal number.
    """
    number = int(total, 16)
    for seal in added:
        rows, number = rows + 1, number + int(seal, 16)
    for seal in removed:
        rows, number = rows - 1, number - int(seal, 16)
    return rows, f"{number % _MODULUS:064x}"
