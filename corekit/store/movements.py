"""What moves money, one row each, so that the books of a time cost what that time is long; and the cash
drawer, with what lay in it after each row.

Rows follow from entries as those of `listing` do: they are written in the transaction of the entry, and
`corekit.store.verification` derives them again and compares. They hold no text but numbers of invoices; what
a row says beside its amount is read from its entry.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import attrs

from ..model.entry import BOOKS, Entry, jobs_of
from ..model.job import Job
from ..model.movement import LedgerKind, moves_cash
from . import rows

#: Kinds of row that follow from the books; the others follow from the journals of jobs.
OF_BOOKS = (LedgerKind.INVOICED, LedgerKind.CREDITED, LedgerKind.RECEIVED, LedgerKind.GIVEN_BACK)
#: The same as a list for SQL.
KINDS_OF_BOOKS = ", ".join(f"'{kind}'" for kind in OF_BOOKS)
#: Kinds of entry of the books that a row follows from.
BOOKED = ("invoice", "payment", "drawer")


@attrs.frozen(kw_only=True)
class MoneyRow:
    """One movement, as the ledger tells it.

    Attributes:
        day: In UTC, or as the invoice says it: the shop's own day differs from it by one at most.
        recorded, written: When it was written down, and the place of that entry in the file.
        entry: Id of the entry that says it.
        ended_by: Id of the `issued` entry of the credit note by which it counts no more; "" where the row is
            of the movement itself.
        job: Whose it is. share: 0, or counts up where an invoice is over several jobs and has a row for each.
        number: Of the invoice that it is or that it concerns; "" where there is none.
        amount: In minor units, as `corekit.desk.ledger.LedgerRow`.
    """

    day: str
    recorded: str
    written: int
    entry: str
    ended_by: str
    kind: str
    job: str
    share: int
    number: str
    amount: int
    currency: str


@attrs.frozen(kw_only=True)
class DrawerMove:
    """A row of the cash drawer: `amount` in or out, what lay in it after that (`in_it`); `counted`: 1 where
    it was counted, and then the amount is by how much that differed.
    """

    recorded: str
    written: int
    entry: str
    currency: str
    amount: int
    in_it: int
    counted: int


MONEY_COLUMNS = tuple(attrs.fields_dict(MoneyRow))
DRAWER_COLUMNS = tuple(attrs.fields_dict(DrawerMove))

#: The tables, and what they are asked by.
TABLES = (
    (
        "CREATE TABLE money (day TEXT NOT NULL, recorded TEXT NOT NULL, written INTEGER NOT NULL,"
        " entry TEXT NOT NULL, ended_by TEXT NOT NULL, kind TEXT NOT NULL, job TEXT NOT NULL,"
        " share INTEGER NOT NULL, number TEXT NOT NULL, amount INTEGER NOT NULL, currency TEXT NOT NULL,"
        " UNIQUE (entry, kind, ended_by, share)) STRICT"
    ),
    "CREATE INDEX money_of_day ON money (day)",
    "CREATE INDEX money_of_job ON money (job)",
    "CREATE INDEX money_of_number ON money (number) WHERE number <> ''",
    "CREATE INDEX money_of_amount ON money (abs(amount))",
    (
        "CREATE TABLE drawer (recorded TEXT NOT NULL, written INTEGER NOT NULL, entry TEXT NOT NULL UNIQUE,"
        " currency TEXT NOT NULL, amount INTEGER NOT NULL, in_it INTEGER NOT NULL, counted INTEGER NOT NULL,"
        " UNIQUE (currency, recorded, written)) STRICT"
    ),
)


# ── what follows from the entries ───────────────────────────────────────────────────────────────────────────


def rows_of_books(place: int, entry: Entry) -> list[MoneyRow]:
    """The rows of an entry of the books; none of one that moves no customer's money or cannot be read."""
    body, amount = entry.body, 0
    if entry.kind == "invoice":
        amount = _whole(body.get("total"))
        kind = LedgerKind.CREDITED if body.get("credits") else LedgerKind.INVOICED
    elif entry.kind == "payment":
        amount = -_whole(body.get("amount"))
        kind = LedgerKind.RECEIVED if amount <= 0 else LedgerKind.GIVEN_BACK
    else:
        return []
    return [
        MoneyRow(
            day=str(body.get("day") or "") or _day(entry.recorded),
            recorded=entry.recorded,
            written=place,
            entry=entry.id,
            ended_by="",
            kind=str(kind),
            job=job,
            share=share,
            number=str(body.get("number", "")) if entry.kind == "invoice" else "",
            amount=amount,
            currency=str(body.get("currency", "")),
        )
        for share, job in enumerate(jobs_of(entry))
    ]


def rows_of_job(job: Job, places: Mapping[str, int]) -> list[MoneyRow]:
    """What a job's own journal tells of money that was settled without any, or that is on its way.

    Args:
        places: Id of each entry → its place in the file.
    """
    number = job.issued[-1].record.number if job.issued else ""
    found: list[MoneyRow] = []

    def told(
        kind: LedgerKind, entry: Entry, number: str, amount: int, currency: str, by: Entry | None = None
    ) -> None:
        written = by or entry
        day = entry.taken if kind is LedgerKind.ANNOUNCED and entry.taken else written.recorded
        found.append(
            MoneyRow(
                day=_day(day),
                recorded=written.recorded,
                written=places.get(written.id, 0),
                entry=entry.id,
                ended_by=by.id if by is not None else "",
                kind=str(kind),
                job=job.id,
                share=0,
                number=number,
                amount=amount,
                currency=currency,
            )
        )

    for off in job.written_off:
        settles = job.settles[off.id] or number
        told(LedgerKind.WRITTEN_OFF, off.entry, settles, -off.record.amount, off.record.currency)
    for off, note in job.lapsed:
        amount, currency = off.record.amount, off.record.currency
        told(LedgerKind.WRITTEN_OFF, off.entry, note.record.credits, amount, currency, note.entry)
    for paid, credited_by in job.rounded:
        settles, amount, currency = job.settles[paid.id] or number, paid.record.rounded, paid.record.currency
        told(LedgerKind.ROUNDED, paid.entry, settles, -amount, currency)
        if credited_by is not None:
            of = credited_by.record.credits
            told(LedgerKind.ROUNDED, paid.entry, of, amount, currency, credited_by.entry)
    for announced in job.announced:
        told(
            LedgerKind.ANNOUNCED,
            announced.entry,
            number,
            announced.record.amount,
            announced.record.currency,
        )
    return found


def drawer_rows(placed: Iterable[tuple[int, Entry]]) -> Iterator[DrawerMove]:
    """The cash drawer from its beginning on, a row for each of these entries of the books that moves cash or
    counts it; they come in the order of `recorded`, and of writing where that is the same.
    """
    left: dict[str, int] = {}
    for place, entry in placed:
        move = _move(place, entry, left)
        if move is not None:
            left[move.currency] = move.in_it
            yield move


def _move(place: int, entry: Entry, before: dict[str, int]) -> DrawerMove | None:
    body = entry.body
    currency, amount = str(body.get("currency", "")), _whole(body.get("amount"))
    lay, counted = before.get(currency, 0), bool(body.get("counted"))
    if entry.kind == "payment":
        counted = False
        if not moves_cash(str(body.get("how", ""))):
            return None
    elif entry.kind != "drawer":
        return None
    elif counted:
        amount -= lay
    return DrawerMove(
        recorded=entry.recorded,
        written=place,
        entry=entry.id,
        currency=currency,
        amount=amount,
        in_it=lay + amount,
        counted=int(counted),
    )


def _whole(number: Any) -> int:
    return number if isinstance(number, int) else 0


def _day(instant: str) -> str:
    """The UTC day of an instant that was written down."""
    return instant[:10]


# ── written with the entries ────────────────────────────────────────────────────────────────────────────────


def refresh_job(connection: sqlite3.Connection, job: str, moved: Sequence[MoneyRow]) -> None:
    """Bring the rows of a job's own journal up to date."""
    where, values = of_job(job)
    connection.execute(f"DELETE FROM money {where}", values)
    _insert_rows(connection, moved)


def insert_booked(connection: sqlite3.Connection, place: int, entry: Entry) -> None:
    """Add the rows of an entry that was just written into the books. One that came late, from another van,
    changes what lay in the drawer after it.
    """
    _insert_rows(connection, rows_of_books(place, entry))
    currency = str(entry.body.get("currency", ""))
    found = connection.execute(
        "SELECT in_it FROM drawer WHERE currency = ? AND (recorded, written) < (?, ?)"
        " ORDER BY recorded DESC, written DESC LIMIT 1",
        (currency, entry.recorded, place),
    ).fetchone()
    move = _move(place, entry, {currency: int(found[0])} if found else {})
    if move is None:
        return
    connection.execute(_insert("drawer", DRAWER_COLUMNS), attrs.astuple(move))
    later = connection.execute(
        "SELECT recorded, written, amount, in_it, counted FROM drawer"
        " WHERE currency = ? AND (recorded, written) > (?, ?) ORDER BY recorded, written",
        (currency, entry.recorded, place),
    )
    left = move.in_it
    for recorded, written, amount, was, counted in later.fetchall():
        if counted:  # what was counted lay there, whatever came before it
            amount, left = was - left, was
        else:
            left += amount
        connection.execute(
            "UPDATE drawer SET amount = ?, in_it = ? WHERE currency = ? AND recorded = ? AND written = ?",
            (amount, left, currency, recorded, written),
        )
        if counted:
            break


def _insert_rows(connection: sqlite3.Connection, moved: Sequence[MoneyRow]) -> None:
    connection.executemany(_insert("money", MONEY_COLUMNS), [attrs.astuple(row) for row in moved])


def _insert(table: str, columns: Sequence[str]) -> str:
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"


# ── what is asked of them ───────────────────────────────────────────────────────────────────────────────────


def money_between(connection: sqlite3.Connection, first: str, last: str) -> list[MoneyRow]:
    """The movements of these days and of those between them, each once, in the order of writing."""
    return _rows(connection, "WHERE share = 0 AND day >= ? AND day <= ?", first, last)


def money_of_jobs(connection: sqlite3.Connection, jobs: Iterable[str]) -> list[MoneyRow]:
    """The movements of these jobs, those of an invoice over several as often as it is over one of them."""
    return [row for job in jobs for row in _rows(connection, "WHERE job = ?", job)]


def money_of_number(connection: sqlite3.Connection, number: str) -> list[MoneyRow]:
    """The movements that an invoice is or that concern it."""
    return _rows(connection, "WHERE share = 0 AND number = ? AND number <> ''", number)


def money_of_amount(connection: sqlite3.Connection, minor: int, most: int) -> list[MoneyRow]:
    """The movements of this amount, whichever way it went: the last ones, so many at most."""
    return _rows(
        connection, "WHERE abs(amount) = ? AND share = 0 ORDER BY day DESC LIMIT ?", abs(minor), most
    )


def _rows(connection: sqlite3.Connection, where: str, *values: Any) -> list[MoneyRow]:
    found = connection.execute(f"SELECT {', '.join(MONEY_COLUMNS)} FROM money {where}", values)
    moved = [MoneyRow(**dict(zip(MONEY_COLUMNS, row, strict=True))) for row in found]
    return sorted(moved, key=lambda row: (row.recorded, row.written))


def drawer_between(connection: sqlite3.Connection, currency: str, first: str, last: str) -> list[DrawerMove]:
    """The rows of the drawer that were written on these UTC days and between them, the oldest first."""
    return _moves(
        connection,
        "WHERE currency = ? AND recorded >= ? AND recorded < ? ORDER BY recorded, written",
        currency,
        first,
        f"{last}U",  # behind every instant of that day, which begins DAY + T
    )


def drawer_last(
    connection: sqlite3.Connection, currency: str, most: int, before: str = ""
) -> list[DrawerMove]:
    """The last rows of the drawer, so many at most, the oldest first; those before an instant, where one is
    given.
    """
    found = _moves(
        connection,
        "WHERE currency = ? AND recorded < ? ORDER BY recorded DESC, written DESC LIMIT ?",
        currency,
        before or "\U0010ffff",
        most,
    )
    return found[::-1]


def _moves(connection: sqlite3.Connection, where: str, *values: Any) -> list[DrawerMove]:
    found = connection.execute(f"SELECT {', '.join(DRAWER_COLUMNS)} FROM drawer {where}", values)
    return [DrawerMove(**dict(zip(DRAWER_COLUMNS, row, strict=True))) for row in found]


# ── whether they are what follows ───────────────────────────────────────────────────────────────────────────


def kept_rows(connection: sqlite3.Connection, where: str, *values: Any) -> list[tuple[Any, ...]]:
    """Rows of `money` as they stand, sorted."""
    found = connection.execute(f"SELECT {', '.join(MONEY_COLUMNS)} FROM money {where}", values)
    return sorted(found.fetchall(), key=str)


def of_job(job: str) -> tuple[str, tuple[str, ...]]:
    """A condition on `money`, and its values: the rows that follow from the journal of a job."""
    return f"WHERE job = ? AND kind NOT IN ({', '.join('?' * len(OF_BOOKS))})", (job, *map(str, OF_BOOKS))


def kept_drawer(connection: sqlite3.Connection) -> Iterator[tuple[Any, ...]]:
    """The drawer as it stands, from its beginning on."""
    yield from connection.execute(
        f"SELECT {', '.join(DRAWER_COLUMNS)} FROM drawer ORDER BY recorded, written"
    )


def differences(connection: sqlite3.Connection) -> Iterator[str]:
    """What the books move and what lies in the cash drawer, against what follows from the books: a sentence
    for each difference.
    """
    in_order = (
        f"{rows.SELECT_PLACED} WHERE journal = ? AND kind IN ('payment', 'drawer') ORDER BY recorded, rowid"
    )
    kept = kept_drawer(connection)
    for move in drawer_rows(_parsed(connection.execute(in_order, (BOOKS,)))):
        if next(kept, None) != attrs.astuple(move):
            yield f"table drawer, row {move.entry[:12]}: it does not say what the books say"
            break  # every row behind it differs too
    else:
        yield from (f"table drawer, row {str(row[2])[:12]}: no entry stands behind it" for row in kept)
    booked = connection.execute(f"{rows.SELECT_PLACED} WHERE journal = ? ORDER BY chain, n", (BOOKS,))
    for place, entry in _parsed(booked):
        wanted = sorted(map(attrs.astuple, rows_of_books(place, entry)), key=str)
        if kept_rows(connection, f"WHERE entry = ? AND kind IN ({KINDS_OF_BOOKS})", entry.id) != wanted:
            yield (
                f"table money, rows of entry {entry.n} of chain {entry.chain}: they do not say what the books"
                " say"
            )


def _parsed(found: Iterable[Sequence[Any]]) -> Iterator[tuple[int, Entry]]:
    for place, *row in found:
        with contextlib.suppress(ValueError, TypeError, RecursionError):
            yield place, rows.parsed(tuple(row))
