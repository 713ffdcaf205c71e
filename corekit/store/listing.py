"""What lists and look-ups read: of each job one row and its names, of each invoice one row, of each movement
of money one row (`movements`).

All of it follows from the journals and the books, and is written in the transaction of the entry that it
follows from; `corekit.store.verification` derives it again and compares. So no question about all jobs reads
a journal. Of persons a row holds references, which lead nowhere once the texts are destroyed, and one key of
the customer, a salted hash, which goes with them.
"""

from __future__ import annotations

import contextlib
import secrets
import sqlite3
from collections.abc import Callable, Collection, Mapping, Sequence
from functools import partial
from typing import Any

import attrs

from ..model.canonical import digest
from ..model.entry import BOOKS, JOB, Entry
from ..model.job import Job, fold, name_said
from ..model.job_state import JobState, state_of
from ..model.personal import Personal
from ..model.records import Ended, Opened
from ..model.search_words import search_words
from . import movements, owing, persons, rows, seals, vans
from .list_rows import INVOICE_COLUMNS, JOB_COLUMNS, InvoiceRow, JobRow
from .list_tables import TABLES

#: Kinds of entry that a job's row follows from. A reading is none of them: it changes nothing here.
KINDS = frozenset(
    {
        *(
            "opened",
            "vehicle",
            "customer",
            "requested",
            "estimated",
            "approved",
            "repaired",
            "serviced",
            "arrived",
            "left",
            "ended",
        ),
        *(
            "issued",
            "paid",
            "written_off",
            "announced",
            "planned",
            "recalled",
            "withdrawn",
            "forgotten",
            "handed",
        ),
    }
)

_SALT = "salt"


#: The entries of one journal with their places in the file.
Placed = Sequence[tuple[int, Entry]]


def create_tables(connection: sqlite3.Connection) -> None:
    """Create the tables, empty, and draw the salt of the customers' keys. Runs inside a transaction."""
    for statement in TABLES:
        connection.execute(statement)
    seals.insert(connection, "meta", (_SALT, secrets.token_hex(16)))


def renew(connection: sqlite3.Connection) -> None:
    """Create the tables anew, with today's columns, and derive every row. Runs inside a transaction."""
    for table in ("job", "job_name", "job_word", "invoice", "money", "drawer"):
        connection.execute(f"DROP TABLE IF EXISTS {table}")
    for statement in TABLES:
        connection.execute(statement)
    fill(connection)


# ── what follows from the entries ───────────────────────────────────────────────────────────────────────────


def job_row(connection: sqlite3.Connection, job: str, placed: Placed) -> JobRow:
    """The row of a job that has these entries; those of other kinds than `KINDS` count for nothing but for
    its beginning.
    """
    return derived_row(
        job,
        placed,
        persons.names(connection, [entry for _, entry in placed]),
        total_of=partial(owing.total, connection),
        own=vans.own_letters(connection),
        key=lambda folded: _customer_key(connection, folded),
    )


def derived_row(
    job: str,
    placed: Placed,
    names: Mapping[str, str],
    *,
    total_of: owing.TotalOf,
    own: Collection[str] = (),
    key: Callable[[Job], str] = lambda job: "",
) -> JobRow:
    """The row of a job as it follows from its entries.

    Args:
        names: Hash → text of what it is called, as far as that is known and may be shown.
        total_of: Gives what an invoice comes to.
        own: Letters of the device that asks, where there are several.
        key: Gives the key of the customer.
    """
    told = [(place, entry) for place, entry in placed if entry.kind in KINDS]
    folded = _readable_job(job, [entry for _, entry in told], names)
    state = state_of(folded, own)
    issued, ended, opened = folded.issued, folded.last(Ended), folded.last(Opened)
    closed: int | None = None
    if state is JobState.INVOICED:
        closed = next(place for place, entry in told if entry.id == issued[-1].id)
    elif state is JobState.OVER and ended is not None:
        closed = next(place for place, entry in told if entry.id == ended.id)
    elif state is JobState.HANDED:
        closed = max(place for place, entry in told if entry.kind == "handed")
    left, planned = folded.left_open, folded.planned
    plan = planned.record if planned is not None else None
    day = plan.on if plan is not None else left.record.back if left is not None else ""
    pending = set(folded.approval.pending)
    answered = {noted.record.estimate: noted.record for noted in folded.approvals}
    recalls = sorted(folded.recalls, key=lambda noted: noted.record.on)
    return JobRow(
        began=min((place for place, _ in placed), default=0),
        id=job,
        closed=closed,
        state=str(state),
        because=(
            left.record.because
            if state is JobState.LEFT and left is not None
            else ended.record.how
            if state is JobState.OVER and ended is not None
            else folded.handed_to
            if state is JobState.HANDED
            else ""
        ),
        name=folded.name if opened is not None else "",
        description=_hash(folded.vehicle.description),
        plate=_hash(folded.vehicle.plate),
        words=_hash(opened.record.words) if opened is not None else "",
        customer=key(folded),
        approved=1 if folded.approvals else 0,
        paid=owing.settled_amount(folded, total_of),
        number=issued[-1].record.number if issued else "",
        books_entry=issued[-1].record.books_entry if issued else "",
        who=_hash(folded.customer.name),
        phone=_hash(folded.customer.phone),
        email=_hash(folded.customer.email),
        address=_hash(folded.customer.address),
        day=day if closed is None else "",
        at=plan.time if plan is not None and closed is None else "",
        place=_hash(plan.place) if plan is not None else "",
        what=_hash(plan.what) if plan is not None else "",
        recall=recalls[0].record.on if recalls else "",
        recall_what=_hash(recalls[0].record.what) if recalls else "",
        asked=sum(noted.record.total for noted in folded.estimates if noted.record.name in pending),
        granted=sum(said.total for said in answered.values()),
        in_part=int(any(said.declined for said in answered.values())),
    )


def names_in(connection: sqlite3.Connection, placed: Placed) -> tuple[str, ...]:
    """Every name that a job's files or screens gave it and that was not forgotten, the oldest first."""
    return _names_of(placed, persons.names(connection, [entry for _, entry in placed]))


def _names_of(placed: Placed, texts: Mapping[str, str]) -> tuple[str, ...]:
    told = [entry for _, entry in sorted((place, entry) for place, entry in placed if entry.kind == "opened")]
    said = (name_said(entry.body.get("origin", ""), texts) for entry in told)
    return tuple(name for name in dict.fromkeys(said) if name)


def invoice_row(connection: sqlite3.Connection, place: int, entry: Entry) -> InvoiceRow:
    """The row of an invoice's entry in the books."""
    body = entry.body
    document = str(body.get("document_id", ""))
    total = body.get("total")
    total = total if isinstance(total, int) else 0
    return InvoiceRow(
        written=place,
        entry=entry.id,
        number=str(body.get("number", "")),
        document_id=document,
        total=total,
        currency=str(body.get("currency", "")),
        waits=int(_waits(connection, document) and not vans.is_others(connection, entry.chain)),
        day=str(body.get("day", "")),
        due_on=str(body.get("due_on", "")),
        owed=_owed_sum(connection, entry.id, total),
    )


def _owed_sum(connection: sqlite3.Connection, entry: str, total: int) -> int:
    """What is still to be paid for an invoice; nothing where no job stands on it (any more)."""
    jobs, paid = connection.execute(
        "SELECT count(*), coalesce(sum(paid), 0) FROM job WHERE books_entry = ? AND books_entry <> ''",
        (entry,),
    ).fetchone()
    if jobs:
        return total - int(paid)
    job = owing.job_of_earlier(connection, entry)
    if not job:
        return 0
    told = [one for _, one in placed(connection, "WHERE job = ? AND journal = ?", job, JOB)]
    folded = _readable_job(job, [one for one in told if one.kind in KINDS], {})
    return owing.dues_on_earlier(connection, folded).get(entry, 0)


def money_in(job: str, placed: Placed) -> list[movements.MoneyRow]:
    """The rows of money that follow from a job's own journal."""
    told = [entry for _, entry in placed if entry.kind in KINDS]
    if not any(entry.kind in ("written_off", "paid", "announced") for entry in told):
        return []
    try:
        places = {entry.id: place for place, entry in placed}
        return movements.rows_of_job(_readable_job(job, told, {}), places)
    except (TypeError, KeyError):  # of an entry that was damaged
        return []


def words_in(connection: sqlite3.Connection, job: str, placed: Placed) -> list[tuple[str, str]]:
    """What a job is found by, each word with what it is: of persons and vehicle while their texts are there,
    of its names, numbers and days.
    """
    return derived_words(job, placed, lambda hash_: _text(connection, hash_))


def derived_words(job: str, placed: Placed, text_of: Callable[[str], str]) -> list[tuple[str, str]]:
    """As `words_in`, from what gives the text under a hash."""
    found: set[tuple[str, str]] = set()
    entries = [entry for _, entry in placed]
    called = {ref.hash: text for ref in persons.name_references(entries) if (text := text_of(ref.hash))}
    folded = _readable_job(job, [entry for entry in entries if entry.kind in KINDS], called)
    texts = {
        "plate": folded.vehicle.plate,
        "vin": folded.vehicle.vin,
        "vehicle": folded.vehicle.description,
        "name": folded.customer.name,
        "phone": folded.customer.phone,
    }
    for kind, words in texts.items():
        text = text_of(_hash(words))
        found |= {(word, kind) for word in search_words(kind, text)}
    for name in _names_of(placed, called):
        found.add((name.casefold(), "job"))
    for _, entry in placed:
        if entry.kind in ("opened", "issued"):
            found.add(((entry.recorded or "")[:10], "day"))
        if entry.kind == "issued":
            found.add((str(entry.body.get("number", "")).casefold(), "number"))
    return sorted(found)


def _readable_job(job: str, entries: Sequence[Entry], names: Mapping[str, str]) -> Job:
    """The job, as far as its entries can be read; what cannot is for `verify` to name, and stops no list."""
    try:
        return fold(job, entries, names)
    except (TypeError, ValueError, KeyError, AttributeError):
        return fold(job, ())


def _hash(reference: object) -> str:
    return reference.hash if isinstance(reference, Personal) else ""


def _customer_key(connection: sqlite3.Connection, job: Job) -> str:
    name, address = (_text(connection, _hash(words)) for words in (job.customer.name, job.customer.address))
    if not name:
        return ""
    salt = connection.execute("SELECT value FROM meta WHERE key = ?", (_SALT,)).fetchone()
    try:
        return digest([salt[0] if salt else "", name, address])
    except ValueError:  # a text that was damaged
        return ""


def _text(connection: sqlite3.Connection, hash_: str) -> str:
    found = (
        connection.execute("SELECT text FROM person WHERE hash = ?", (hash_,)).fetchone() if hash_ else None
    )
    return str(found[0]) if found else ""


def _waits(connection: sqlite3.Connection, document_id: str) -> bool:
    """Whether some link to it is neither published nor taken back; the first is made when it is sent."""
    links = connection.execute(
        "SELECT link, published_at <> '' OR revoked <> '' FROM link WHERE document_id = ?", (document_id,)
    ).fetchall()
    return not any(link == 1 for link, _ in links) or not all(is_settled for _, is_settled in links)


# ── written with the entries ────────────────────────────────────────────────────────────────────────────────


def refresh_job(connection: sqlite3.Connection, job: str) -> None:
    """Bring the row and the names of a job up to date with its journal; a job of another van has none."""
    kinds = ", ".join("?" * len(KINDS))
    told = placed(
        connection, f"WHERE job = ? AND journal = ? AND kind IN ({kinds})", job, JOB, *sorted(KINDS)
    )
    (began,) = connection.execute(
        "SELECT min(rowid) FROM entry WHERE job = ? AND journal = ?", (job, JOB)
    ).fetchone()
    row = attrs.evolve(job_row(connection, job, told), began=began or 0)
    if not vans.is_here(connection, job):
        began = None
    movements.refresh_job(connection, job, money_in(job, told) if began is not None else ())
    billed = connection.execute("SELECT books_entry FROM job WHERE id = ?", (job,)).fetchall()
    connection.execute("DELETE FROM job WHERE id = ?", (job,))
    connection.execute("DELETE FROM job_name WHERE job = ?", (job,))
    connection.execute("DELETE FROM job_word WHERE job = ?", (job,))
    if began is None:
        return
    connection.execute(_insert("job", JOB_COLUMNS), attrs.astuple(row))
    connection.executemany(
        "INSERT INTO job_name (job, place, name) VALUES (?, ?, ?)",
        [(job, place, name) for place, name in enumerate(names_in(connection, told))],
    )
    connection.executemany(
        "INSERT INTO job_word (word, job, began, kind) VALUES (?, ?, ?, ?)",
        [(word, job, began, kind) for word, kind in words_in(connection, job, told)],
    )
    every = {str(entry.body.get("books_entry")) for _, entry in told if entry.kind == "issued"}
    earlier = every if len(every) > 1 else set()
    folded = _readable_job(job, [entry for _, entry in told], {}) if earlier else None
    due = owing.dues_on_earlier(connection, folded) if folded is not None else {}
    for entry in dict.fromkeys((row.books_entry, *earlier, *(entry for (entry,) in billed))):
        found = connection.execute("SELECT total FROM invoice WHERE entry = ?", (entry,)).fetchone()
        if entry and found is not None:
            is_earlier = entry in earlier and entry != row.books_entry
            owed = due.get(entry, 0) if is_earlier else _owed_sum(connection, entry, int(found[0]))
            connection.execute("UPDATE invoice SET owed = ? WHERE entry = ?", (owed, entry))


def insert_booked(connection: sqlite3.Connection, id_: str) -> None:
    """Add the rows of what an entry that was just written into the books moves."""
    for place, entry in placed(connection, "WHERE id = ?", id_):
        movements.insert_booked(connection, place, entry)


def insert_invoice(connection: sqlite3.Connection, id_: str) -> None:
    """Add the row of an invoice that was just written into the books."""
    for place, entry in placed(connection, "WHERE id = ?", id_):
        row = attrs.astuple(invoice_row(connection, place, entry))
        connection.execute(_insert("invoice", INVOICE_COLUMNS), row)


def refresh_waiting(connection: sqlite3.Connection, document_id: str) -> None:
    """Bring up to date whether a document waits for publishing."""
    found = connection.execute(
        "SELECT written, chain FROM invoice JOIN entry ON id = entry WHERE document_id = ?", (document_id,)
    )
    for written, chain in found.fetchall():
        waits = int(_waits(connection, document_id) and not vans.is_others(connection, chain))
        connection.execute("UPDATE invoice SET waits = ? WHERE written = ?", (waits, written))


def fill(connection: sqlite3.Connection) -> None:
    """Derive every row, in a store whose tables are empty. Runs inside a transaction."""
    for (job,) in connection.execute("SELECT DISTINCT job FROM entry WHERE journal = ?", (JOB,)).fetchall():
        refresh_job(connection, job)
    of_invoices = "SELECT id FROM entry WHERE journal = ? AND kind = 'invoice'"
    for (id_,) in connection.execute(of_invoices, (BOOKS,)).fetchall():
        insert_invoice(connection, id_)
    booked = "SELECT id FROM entry WHERE journal = ? AND kind IN (?, ?, ?) ORDER BY recorded, rowid"
    for (id_,) in connection.execute(booked, (BOOKS, *movements.BOOKED)).fetchall():
        insert_booked(connection, id_)


def erase_persons(connection: sqlite3.Connection, job: str) -> None:
    """Erase the key of a job's customer, what it was called, and every word of persons and vehicle that it
    was found by. Only what a journal of before says in plain text stays.
    """
    opened = placed(connection, "WHERE job = ? AND journal = ? AND kind = 'opened'", job, JOB)
    names = names_in(connection, opened)
    entries = [entry for _, entry in opened]
    called = _readable_job(job, entries, persons.names(connection, entries)).name
    connection.execute("UPDATE job SET customer = '', name = ? WHERE id = ?", (called, job))
    connection.execute("DELETE FROM job_name WHERE job = ?", (job,))
    connection.executemany(
        "INSERT INTO job_name (job, place, name) VALUES (?, ?, ?)",
        [(job, place, name) for place, name in enumerate(names)],
    )
    if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'job_word'").fetchone():
        connection.execute("DELETE FROM job_word WHERE job = ? AND kind NOT IN ('day', 'number')", (job,))
        connection.executemany(
            "INSERT INTO job_word (word, job, began, kind) SELECT ?, id, began, 'job' FROM job WHERE id = ?",
            [(name.casefold(), job) for name in names],
        )


def placed(connection: sqlite3.Connection, where: str, *values: Any) -> list[tuple[int, Entry]]:
    """Entries with their places, chain by chain, unchecked: one that was changed keeps up no list."""
    found = connection.execute(f"{rows.SELECT_PLACED} {where} ORDER BY chain, n", values)
    entries = []
    for place, *row in found.fetchall():
        with contextlib.suppress(ValueError, TypeError, RecursionError):
            entries.append((place, rows.parsed(tuple(row))))
    return entries


def _insert(table: str, columns: Sequence[str]) -> str:
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
