"""Whether a store is still as it was written: every fault in a sentence, with its table and place.

Everything is read in order, chain by chain and then job by job, and let go again: a store of ten years is
verified in the memory of one job and of the invoices' numbers.
"""

from __future__ import annotations

import contextlib
import sqlite3
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import groupby
from typing import Any

import attrs

from ..model.canonical import canonical
from ..model.entry import BOOKS, JOB, Entry, broken, jobs_of
from ..model.job import fold
from . import list_rows, listing, movements, persons, rows, schema, seals, vans

_LISTS = {6: "seen", 11: "body", 12: "replaces"}
_HEADS_KEPT = 4096


def faults(connection: sqlite3.Connection) -> list[str]:
    """Every fault of the store, one sentence each. What cannot be read is a fault too."""
    found: list[str] = []
    parts: tuple[Callable[[], Iterator[str]], ...] = (
        lambda: _file(connection),
        lambda: _tables(connection),
        lambda: _chains(connection),
        lambda: _jobs(connection),
        lambda: movements.differences(connection),
        lambda: _places(connection),
        lambda: _answers(connection),
        lambda: _seal_differences(connection),
        lambda: _groundless_rows(connection),
        lambda: _meta(connection),
        lambda: _migrations(connection),
    )
    connection.text_factory = _damaged_text
    try:
        for part in parts:
            try:
                found.extend(part())
            except (sqlite3.DatabaseError, UnicodeEncodeError) as error:
                found.append(f"the file: {error}")
            except Exception:  # a row that SQLite itself calls broken may hold anything anywhere
                if not found:
                    raise
                found.append("the file: it is so damaged that something in it cannot be looked at")
    finally:
        connection.text_factory = str
    return found


def _file(connection: sqlite3.Connection) -> Iterator[str]:
    lines = connection.execute("PRAGMA integrity_check")
    return (f"the file: {line}" for (line,) in lines if line != "ok")


def _tables(connection: sqlite3.Connection) -> Iterator[str]:
    """Tables and indexes against those that the steps to this schema make."""
    with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as fresh:
        schema.create_tables(fresh)
        for number in range(schema.SCHEMA):
            schema.step(fresh, number, "")
        made, here = (
            set(one.execute("SELECT type, name, tbl_name, sql FROM sqlite_master"))
            for one in (fresh, connection)
        )
    for kind, name, *_ in sorted(made - here, key=str):
        yield f"the file: {kind} {name} is missing or was changed"
    for kind, name, *_ in sorted(here - made, key=str):
        yield f"the file: {kind} {name} is not as this program makes it"


def _damaged_text(raw: bytes) -> str:
    """Damaged bytes are to be named, not to end the reading; no hash agrees with what comes of them."""
    return raw.decode("utf-8", "backslashreplace")


def _is_nfc(value: Any) -> bool:
    """Hashes are taken over Unicode NFC, so text in another form could change unseen."""
    return not isinstance(value, str) or unicodedata.is_normalized("NFC", value)


# ── chain by chain ──────────────────────────────────────────────────────────────────────────────────────────


def _chains(connection: sqlite3.Connection) -> Iterator[str]:
    """Every entry by itself, and that each follows the one before it."""
    known_heads: set[str] = set()
    of_entries: list[str] = []

    def entries() -> Iterator[Entry]:
        before = None
        for row in connection.execute(f"{rows.SELECT_ENTRY} ORDER BY chain, n"):
            entry, faults = _readable_entry(row)
            of_entries.extend(faults)
            of_entries.extend(_links_between(connection, entry, known_heads))
            if before is not None and (
                before.id == entry.id or (before.chain, before.n) == (entry.chain, entry.n)
            ):
                of_entries.append(f"table entry, entry {entry.n} of chain {entry.chain}: it is there twice")
            before = entry
            yield entry

    for chain, of_chain in groupby(entries(), lambda entry: entry.chain):
        journals: set[str] = set()
        try:
            yield from (f"table entry, {fault}" for fault in broken(_noting_journals(of_chain, journals)))
        except ValueError:
            yield f"table entry, chain {chain}: some text in it can no longer be read"
        journals.update(entry.journal for entry in of_chain)  # those behind one that cannot be read
        if len(journals) > 1:
            yield f"table entry, chain {chain}: it belongs to more than one journal"
        yield from of_entries
        of_entries.clear()


def _noting_journals(entries: Iterable[Entry], journals: set[str]) -> Iterator[Entry]:
    for entry in entries:
        journals.add(entry.journal)
        yield entry


def _where(entry: Entry) -> str:
    return f"table entry, entry {entry.n} of chain {entry.chain}"


def _readable_entry(row: Sequence[Any]) -> tuple[Entry, list[str]]:
    """The entry of a row as far as it can be read, and what is wrong with the row itself."""
    where, faults = f"table entry, entry {row[4]} of chain {row[3]}", []
    readable = list(row)
    for column, name in _LISTS.items():
        try:
            data = rows.data_of(row[column])
            if canonical(data).decode() != row[column] or not isinstance(
                data, dict if name == "body" else list
            ):
                raise ValueError
        except (ValueError, TypeError, RecursionError):
            faults.append(f"{where}: its {name} is not written the way it was")
            readable[column] = "{}" if name == "body" else "[]"
    faults += [
        f"{where}: its {name} is not written the way it was"
        for name, text in zip(rows.COLUMNS, row, strict=True)
        if not _is_nfc(text)
    ]
    entry = rows.parsed(tuple(readable))
    if row[14] != rows.place_of(entry.kind, entry.body):
        faults.append(f"{where}: its place {row[14]} is not the place its body names")
    return entry, faults


def _links_between(connection: sqlite3.Connection, entry: Entry, known_heads: set[str]) -> Iterator[str]:
    """What an entry says of others, against those others."""
    for old in entry.replaces:
        here = connection.execute("SELECT 1 FROM entry WHERE id = ? AND job = ?", (str(old), entry.job))
        if here.fetchone() is None:
            yield f"{_where(entry)}: it replaces {str(old)[:12]}, which is no entry of its job"
    for head in map(str, entry.seen):
        if head in known_heads:
            continue
        if connection.execute("SELECT 1 FROM entry WHERE id = ?", (head,)).fetchone() is None:
            yield f"{_where(entry)}: it was written after {head[:12]}, which is no longer there"
            continue
        if len(known_heads) >= _HEADS_KEPT:
            known_heads.clear()
        known_heads.add(head)


# ── job by job ──────────────────────────────────────────────────────────────────────────────────────────────


@attrs.frozen(kw_only=True)
class _Shared:
    """What is kept of an invoice over several jobs while the jobs are gone through."""

    entry: Entry
    references: frozenset[str]


def _jobs(connection: sqlite3.Connection) -> Iterator[str]:
    """Each job's journal and books against each other, its persons and its rows in the lists."""
    shared: dict[str, list[_Shared]] = defaultdict(list)
    numbers: set[str] = set()
    of_several = listing.placed(connection, "WHERE job = ?", "")
    for place, entry in of_several:
        if not _is_invoice(entry):  # the cash drawer is no job's
            continue
        kept = _Shared(
            # Of its Document only the references are wanted.
            entry=attrs.evolve(entry, body={**entry.body, "document": {}}),
            references=frozenset(ref.hash for ref in persons.references(entry.body)),
        )
        for job in jobs_of(entry):
            shared[job].append(kept)
        yield from _invoice(connection, place, entry, numbers)
        yield from _missing_texts(connection, entry)
    jobs = connection.execute(
        "SELECT DISTINCT job FROM entry WHERE job <> '' UNION SELECT DISTINCT job FROM person ORDER BY job"
    )
    for (job,) in jobs:
        placed = listing.placed(connection, "WHERE job = ?", job)
        entries = [entry for _, entry in placed]
        yield from _persons(connection, job, entries, shared.get(job, ()))
        yield from _books(connection, job, entries, shared.get(job, ()))
        yield from _money(job, entries)
        for place, entry in placed:
            if _is_invoice(entry):
                yield from _invoice(connection, place, entry, numbers)
        yield from _list_differences(
            connection, job, [(place, one) for place, one in placed if one.journal == JOB]
        )


def _is_invoice(entry: Entry) -> bool:
    return entry.journal == BOOKS and entry.kind == "invoice"


def _persons(
    connection: sqlite3.Connection, job: str, entries: Sequence[Entry], shared: Sequence[_Shared]
) -> Iterator[str]:
    referred = {ref.hash for entry in entries for ref in persons.references(entry.body)}
    referred.update(*(one.references for one in shared))
    before = ""
    for hash_, kind, salt, text in connection.execute(
        "SELECT hash, kind, salt, text FROM person WHERE job = ? ORDER BY hash", (job,)
    ):
        where = f"table person, text {hash_[:12]} ({kind}) of job {job}"
        if hash_ == before:
            yield f"{where}: it is there twice"
        before = hash_
        try:
            if persons.salted_hash(salt, kind, text) != hash_ or not (_is_nfc(text) and _is_nfc(kind)):
                yield f"{where}: it no longer matches its hash"
        except ValueError:
            yield f"{where}: it can no longer be read"
        if hash_ not in referred:
            yield f"table person, text {hash_[:12]} of job {job}: no entry of this job refers to it"
    for entry in entries:
        yield from _missing_texts(connection, entry)


def _missing_texts(connection: sqlite3.Connection, entry: Entry) -> Iterator[str]:
    """Personal texts that an entry refers to, and that are gone without having been destroyed since; those of
    what another van wrote may never have been here.
    """
    if vans.is_others(connection, entry.chain):
        return
    for ref in persons.references(entry.body):
        here = connection.execute("SELECT 1 FROM person WHERE hash = ?", (ref.hash,)).fetchone()
        if here is None and not any(
            _before(connection, entry, later)
            for job in jobs_of(entry)
            for _, later in listing.placed(connection, "WHERE job = ? AND kind = 'forgotten'", job)
        ):
            yield (
                f"table person, text {ref.hash[:12]} ({ref.kind}) of job {entry.job}: entry {entry.n} of"
                f" chain {entry.chain} refers to it, and it is gone"
            )


def _before(connection: sqlite3.Connection, entry: Entry, later: Entry) -> bool:
    """True when the journal shows that `entry` was written before `later`."""
    if entry.chain == later.chain:
        return entry.n < later.n
    heads = (
        connection.execute("SELECT chain, n FROM entry WHERE id = ?", (str(head),)).fetchone()
        for head in later.seen
    )
    return any(head is not None and head[0] == entry.chain and head[1] >= entry.n for head in heads)


def _books(
    connection: sqlite3.Connection, job: str, entries: Sequence[Entry], shared: Sequence[_Shared]
) -> Iterator[str]:
    """What a job says was issued, against the invoices that the books hold for it."""
    invoices = {entry.id: entry for entry in entries if _is_invoice(entry)}
    invoices |= {one.entry.id: one.entry for one in shared if _is_invoice(one.entry)}
    noted = set()
    for entry in entries:
        if entry.journal != JOB or entry.kind != "issued":
            continue
        found = invoices.get(str(entry.body.get("books_entry")))
        same = ("number", "document_id", "document_hash")
        if found is None or any(found.body.get(name) != entry.body.get(name) for name in same):
            yield (
                f"{_where(entry)}: it says that invoice {entry.body.get('number')} was issued, and the books"
                " do not"
            )
        elif found.id in noted:
            yield f"{_where(entry)}: it issues invoice {entry.body.get('number')} a second time"
        else:
            noted.add(found.id)
    for invoice in invoices.values():
        if invoice.id not in noted:
            of_several = f" {job}" if len(jobs_of(invoice)) > 1 else ""
            yield (
                f"table entry, entry {invoice.n} of books {invoice.chain}: its job{of_several} does not"
                f" know of invoice {invoice.body.get('number')}"
            )


def _money(job: str, entries: Sequence[Entry]) -> Iterator[str]:
    """What a job says was paid, against what the books received for it."""
    try:
        paid = sum(
            noted.record.amount
            for noted in fold(job, [one for one in entries if one.journal == JOB]).payments
        )
        received = sum(
            int(entry.body.get("amount") or 0)
            for entry in entries
            if entry.journal == BOOKS and entry.kind == "payment"
        )
    except (TypeError, KeyError, ValueError):
        return  # an entry that no longer fits its record is named by its own fault
    if paid != received:
        yield (
            f"table entry, job {job}: it says that {paid} was paid, and the books received"
            f" {received} for it (in the smallest unit of the money)"
        )


def _invoice(connection: sqlite3.Connection, place: int, entry: Entry, numbers: set[str]) -> Iterator[str]:
    """That an invoice's number was given once, and that its row says what it says."""
    number = str(entry.body.get("number"))
    if number in numbers:
        yield f"table entry, invoice {number}: the number was given twice"
    numbers.add(number)
    row = attrs.astuple(listing.invoice_row(connection, place, entry))
    if _kept_invoice(connection, entry.id) != row:
        yield f"table invoice, row {number}: it does not say what the books say"


def _list_differences(connection: sqlite3.Connection, job: str, placed: listing.Placed) -> Iterator[str]:
    """What lists say of a job, against what follows from its journal."""
    row, names = _kept_job(connection, job)
    if not vans.is_here(connection, job):
        placed = ()
    wanted = (
        [attrs.astuple(listing.job_row(connection, job, placed))] if placed else [],
        [(place, name) for place, name in enumerate(listing.names_in(connection, placed))],
    )
    if row != wanted[0]:
        yield f"table job, row {job}: it does not say what the journal of this job says"
    if names != wanted[1]:
        yield f"table job_name, rows of {job}: they are not the names in the journal of this job"
    where, values = movements.of_job(job)
    money = sorted(map(attrs.astuple, listing.money_in(job, placed)), key=str)
    if movements.kept_rows(connection, where, *values) != money:
        yield f"table money, rows of {job}: they do not say what the journal of this job says"
    began = min((place for place, _ in placed), default=0)
    words = [(word, kind, began) for word, kind in listing.words_in(connection, job, placed)]
    if _kept_words(connection, job) != words:
        yield f"table job_word, rows of {job}: they are not what this job is found by"


def _kept_job(
    connection: sqlite3.Connection, job: str
) -> tuple[list[tuple[Any, ...]], list[tuple[int, str]]]:
    """A job's row and its names as they stand."""
    row = connection.execute(
        f"SELECT {', '.join(list_rows.JOB_COLUMNS)} FROM job WHERE id = ?", (job,)
    ).fetchall()
    names = connection.execute("SELECT place, name FROM job_name WHERE job = ? ORDER BY place", (job,))
    return row, names.fetchall()


def _kept_words(connection: sqlite3.Connection, job: str) -> list[tuple[str, str, int]]:
    """What a job is found by, as it stands."""
    found = connection.execute("SELECT word, kind, began FROM job_word WHERE job = ?", (job,))
    return sorted(found.fetchall())


def _kept_invoice(connection: sqlite3.Connection, entry: str) -> tuple[Any, ...] | None:
    """An invoice's row as it stands."""
    found = connection.execute(
        f"SELECT {', '.join(list_rows.INVOICE_COLUMNS)} FROM invoice WHERE entry = ?", (entry,)
    )
    row: tuple[Any, ...] | None = found.fetchone()
    return row


def _groundless_rows(connection: sqlite3.Connection) -> Iterator[str]:
    """Rows of the lists that no entry stands behind."""
    for table, column, of in (
        ("job", "id", "job = job.id AND journal = 'job'"),
        ("job_name", "job", "job = job_name.job AND journal = 'job'"),
        ("job_word", "job", "job = job_word.job AND journal = 'job'"),
        ("invoice", "entry", "id = invoice.entry AND kind = 'invoice'"),
        (
            "money",
            "entry",
            f"id = money.entry AND (entry.journal = 'books') = (money.kind IN ({movements.KINDS_OF_BOOKS}))",
        ),
    ):
        missing = (
            f"SELECT DISTINCT {column} FROM {table} WHERE NOT EXISTS (SELECT 1 FROM entry WHERE entry.{of})"
        )
        for (name,) in connection.execute(missing):
            yield f"table {table}, row {name[:12]}: no entry stands behind it"
    # Jobs are compared one by one: a row of none would be left out.
    of_jobs = f"WHERE kind NOT IN ({movements.KINDS_OF_BOOKS})"
    unknown = f"SELECT entry FROM money {of_jobs} AND job NOT IN (SELECT job FROM entry)"
    for (name,) in connection.execute(unknown):
        yield f"table money, row {name[:12]}: it is no job's"


# ── the books' numbers, requests and rows without a chain ───────────────────────────────────────────────────


def _places(connection: sqlite3.Connection) -> Iterator[str]:
    taken = connection.execute(
        "SELECT chain, count(*), count(DISTINCT place), min(place), max(place) FROM entry"
        " WHERE journal = ? AND kind = 'invoice' GROUP BY chain",
        (BOOKS,),
    )
    for chain, count, different, first, last in taken:
        if (different, first, last) != (count, 1, count):
            yield f"table entry, books {chain}: the invoices' places are not 1 to {count} without a gap"


def _answers(connection: sqlite3.Connection) -> Iterator[str]:
    """Answers against the entries that they became."""
    for id_, job, written in connection.execute("SELECT id, job, entries FROM answer ORDER BY id"):
        where = f"table answer, row {id_[:12]}"
        try:
            ids = list(rows.data_of(written))
        except (ValueError, TypeError, RecursionError):
            yield f"{where}: the list of its entries can no longer be read"
            continue
        yield from (
            f"{where}: it became {str(one)[:12]}, which is no entry of its job"
            for one in ids
            if not _is_of(connection, str(one), job)
        )


def _is_of(connection: sqlite3.Connection, id_: str, job: str) -> bool:
    return any(job in jobs_of(entry) for _, entry in listing.placed(connection, "WHERE id = ?", id_))


def _seal_differences(connection: sqlite3.Connection) -> Iterator[str]:
    """Rows against their seals, and tables against their tallies."""
    tallies = {row[0]: row for row in connection.execute(seals.select("tally"))}
    for name in sorted(set(tallies) ^ set(seals.TALLIED)):
        yield (
            f"table tally, {name}: this row is missing"
            if name in seals.TALLIED
            else f"table tally, {name}: there was no such row"
        )
    for table, columns in seals.SEALED.items():
        for row in connection.execute(seals.select(table, f"ORDER BY {columns[0]}")):
            if not seals.fits(table, row) or not all(_is_nfc(value) for value in row):
                yield f"table {table}, row {_place(row)}: it was changed after it was written"
    for table in set(tallies) & set(seals.TALLIED):
        _, count, total, _ = tallies[table]
        column = "id" if table == "entry" else "seal"
        (there,) = connection.execute(f"SELECT count(*) FROM {table}").fetchone()
        try:
            found = connection.execute(f"SELECT {column} FROM {table}")
            approves = seals.new_tally(seal for (seal,) in found) == (count, total)
        except (ValueError, TypeError):  # damage made something else of a text
            approves = False
        if there != count:
            yield f"table {table}: {count} rows were written, and {there} are there"
        elif not approves:
            yield f"table {table}: its rows are not those that were written"


def _place(row: Sequence[Any]) -> str:
    return str(row[0])[:12]


def _meta(connection: sqlite3.Connection) -> Iterator[str]:
    found = dict(connection.execute("SELECT key, value FROM meta"))
    for key in ("demo", "lineage", "salt"):
        if key not in found:
            yield f"table meta: {key} is missing"
    if found.get("demo") not in ("0", "1"):
        yield "table meta, row demo: it is neither 0 nor 1"


def _migrations(connection: sqlite3.Connection) -> Iterator[str]:
    taken = connection.execute("SELECT n, name FROM migration ORDER BY n").fetchall()
    if taken != [
        (number, schema.name_of(migration)) for number, migration in enumerate(schema.MIGRATIONS, 1)
    ]:
        yield "table migration: its rows are not the steps that lead to this schema"
    if schema.version(connection) != len(schema.MIGRATIONS):
        yield "the file: its schema number was changed"
