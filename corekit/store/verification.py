"""Whether a store is still as it was written: every fault in a sentence, with its table and place."""

from __future__ import annotations

import sqlite3
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from ..model.canonical import canonical
from ..model.entry import BOOKS, JOB, Entry, broken, jobs_of
from ..model.job import fold
from . import persons, rows, schema, seals

_LISTS = {6: "seen", 11: "body", 12: "replaces"}


def faults(connection: sqlite3.Connection) -> list[str]:
    """Every fault of the store, one sentence each.

    Reads everything once; what cannot be read is a fault too.
    """
    found: list[str] = []
    entries: list[Entry] = []
    parts: tuple[Callable[[], Iterator[str]], ...] = (
        lambda: _file(connection),
        lambda: _entries(connection, entries),
        lambda: _chains(entries),
        lambda: _links_between(entries),
        lambda: _persons(connection, entries),
        lambda: _books(entries),
        lambda: _money(entries),
        lambda: _answers(connection, entries),
        lambda: _sealed(connection),
        lambda: _meta(connection),
        lambda: _migrations(connection),
    )
    connection.text_factory = _lenient
    try:
        for part in parts:
            try:
                for fault in part():
                    found.append(fault)
            except sqlite3.DatabaseError as error:
                found.append(f"the file: {error}")
    finally:
        connection.text_factory = str
    return found


def _file(connection: sqlite3.Connection) -> Iterator[str]:
    for (line,) in connection.execute("PRAGMA integrity_check"):
        if line != "ok":
            yield f"the file: {line}"


def _lenient(raw: bytes) -> str:
    """Damaged bytes are to be named, not to end the reading; no hash agrees with what comes of them."""
    return raw.decode("utf-8", "surrogateescape")


def _entries(connection: sqlite3.Connection, entries: list[Entry]) -> Iterator[str]:
    """Reads every entry into `entries`, as far as it can be read."""
    for row in connection.execute(f"{rows.SELECT_ENTRY} ORDER BY chain, n"):
        where = f"table entry, entry {row[4]} of chain {row[3]}"
        readable = list(row)
        for column, name in _LISTS.items():
            try:
                data = rows.data_of(row[column])
                if canonical(data).decode() != row[column] or not isinstance(
                    data, dict if name == "body" else list
                ):
                    raise ValueError
            except (ValueError, RecursionError):
                yield f"{where}: its {name} is not written the way it was"
                readable[column] = "{}" if name == "body" else "[]"
        yield from (
            f"{where}: its {name} is not written the way it was"
            for name, text in zip(rows.COLUMNS, row, strict=True)
            if not _composed(text)
        )
        entry = rows.parsed(tuple(readable))
        if row[14] != rows.place_of(entry.kind, entry.body):
            yield f"{where}: its place {row[14]} is not the place its body names"
        entries.append(entry)


def _composed(value: Any) -> bool:
    """Hashes are taken over Unicode NFC, so text in another form could change unseen."""
    return not isinstance(value, str) or unicodedata.is_normalized("NFC", value)


def _chains(entries: Sequence[Entry]) -> Iterator[str]:
    chains: dict[str, list[Entry]] = defaultdict(list)
    for entry in entries:
        chains[entry.chain].append(entry)
    for chain in chains.values():
        try:
            yield from (f"table entry, {fault}" for fault in broken(chain))
        except ValueError:
            yield f"table entry, chain {chain[0].chain}: some text in it can no longer be read"
        if len({entry.journal for entry in chain}) > 1:
            yield f"table entry, chain {chain[0].chain}: it belongs to more than one journal"
    for ids in (_twice(entry.id for entry in entries), _twice((entry.chain, entry.n) for entry in entries)):
        yield from (f"table entry, {one}: it is there twice" for one in ids)


def _twice(things: Iterable[Any]) -> list[Any]:
    seen: set[Any] = set()
    return [thing for thing in things if thing in seen or seen.add(thing)]  # type: ignore[func-returns-value]


def _links_between(entries: Sequence[Entry]) -> Iterator[str]:
    known = {entry.id: entry for entry in entries}
    for entry in entries:
        where = f"table entry, entry {entry.n} of chain {entry.chain}"
        for old in entry.replaces:
            if old not in known or known[old].job != entry.job:
                yield f"{where}: it replaces {old[:12]}, which is no entry of its job"
        for head in entry.seen:
            if head not in known:
                yield f"{where}: it was written after {head[:12]}, which is no longer there"


def _persons(connection: sqlite3.Connection, entries: Sequence[Entry]) -> Iterator[str]:
    here: dict[str, str] = {}
    for hash_, job, kind, salt, text in connection.execute(
        "SELECT hash, job, kind, salt, text FROM person ORDER BY job, kind, hash"
    ):
        where = f"table person, text {hash_[:12]} ({kind}) of job {job}"
        if hash_ in here:
            yield f"{where}: it is there twice"
        here[hash_] = job
        try:
            if persons.salted_hash(salt, kind, text) != hash_ or not (_composed(text) and _composed(kind)):
                yield f"{where}: it no longer matches its hash"
        except ValueError:
            yield f"{where}: it can no longer be read"
    known = {entry.id: entry for entry in entries}
    forgotten: dict[str, list[Entry]] = defaultdict(list)
    for entry in entries:
        if entry.kind == "forgotten":
            forgotten[entry.job].append(entry)
    referred: dict[str, set[str]] = defaultdict(set)
    for entry in entries:
        jobs = jobs_of(entry)
        for ref in persons.references(entry.body):
            referred[ref.hash].update(jobs)
            if ref.hash not in here and not any(
                _before(entry, later, known) for job in jobs for later in forgotten[job]
            ):
                yield (
                    f"table person, text {ref.hash[:12]} ({ref.kind}) of job {entry.job}: entry {entry.n} of"
                    f" chain {entry.chain} refers to it, and it is gone"
                )
    for hash_, job in here.items():
        if job not in referred[hash_]:
            yield f"table person, text {hash_[:12]} of job {job}: no entry of this job refers to it"


def _before(entry: Entry, later: Entry, known: Mapping[str, Entry]) -> bool:
    """True when the journal shows that `entry` was written before `later`."""
    if entry.chain == later.chain:
        return entry.n < later.n
    heads = (known[head] for head in later.seen if head in known)
    return any(head.chain == entry.chain and head.n >= entry.n for head in heads)


def _books(entries: Sequence[Entry]) -> Iterator[str]:
    places: dict[str, list[int]] = defaultdict(list)
    invoices = {entry.id: entry for entry in entries if entry.journal == BOOKS and entry.kind == "invoice"}
    issued = [entry for entry in entries if entry.journal == JOB and entry.kind == "issued"]
    for invoice in invoices.values():
        places[invoice.chain].append(rows.place_of("invoice", invoice.body) or 0)
    for chain, taken in places.items():
        if sorted(taken) != list(range(1, len(taken) + 1)):
            yield f"table entry, books {chain}: the invoices' places are not 1 to {len(taken)} without a gap"
    noted = set()
    for entry in issued:
        where = f"table entry, entry {entry.n} of chain {entry.chain}"
        found = invoices.get(str(entry.body.get("books_entry")))
        same = ("number", "document_id", "document_hash")
        if (
            found is None
            or entry.job not in jobs_of(found)
            or any(found.body.get(name) != entry.body.get(name) for name in same)
        ):
            yield f"{where}: it says that invoice {entry.body.get('number')} was issued, and the books do not"
        elif (found.id, entry.job) in noted:
            yield f"{where}: it issues invoice {entry.body.get('number')} a second time"
        else:
            noted.add((found.id, entry.job))
    for invoice in invoices.values():
        for job in jobs_of(invoice):
            if (invoice.id, job) not in noted:
                of_several = f" {job}" if len(jobs_of(invoice)) > 1 else ""
                yield (
                    f"table entry, entry {invoice.n} of books {invoice.chain}: its job{of_several} does not"
                    f" know of invoice {invoice.body.get('number')}"
                )
    for number in _twice(str(invoice.body.get("number")) for invoice in invoices.values()):
        yield f"table entry, invoice {number}: the number was given twice"


def _money(entries: Sequence[Entry]) -> Iterator[str]:
    """What jobs say was paid, against what the books received for them."""
    jobs: dict[str, list[Entry]] = defaultdict(list)
    received: dict[str, int] = defaultdict(int)
    for entry in entries:
        if entry.journal == JOB:
            jobs[entry.job].append(entry)
        elif entry.kind == "payment":
            received[entry.job] += int(entry.body.get("amount") or 0)
    for job, own in jobs.items():
        try:
            paid = sum(noted.record.amount for noted in fold(job, own).payments)
        except (TypeError, KeyError, ValueError):
            continue  # an entry that no longer fits its record is named by its own fault
        if paid != received[job]:
            yield (
                f"table entry, job {job}: it says that {paid} was paid, and the books received"
                f" {received[job]} for it (in the smallest unit of the money)"
            )


def _answers(connection: sqlite3.Connection, entries: Sequence[Entry]) -> Iterator[str]:
    """Answers against the entries that they became."""
    known = {entry.id: jobs_of(entry) for entry in entries}
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
            if job not in known.get(one, ())
        )


def _sealed(connection: sqlite3.Connection) -> Iterator[str]:
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
            if not seals.fits(table, row) or not all(_composed(value) for value in row):
                yield f"table {table}, row {_place(row)}: it was changed after it was written"
    for table in set(tallies) & set(seals.TALLIED):
        _, count, total, _ = tallies[table]
        found = [
            seal
            for (seal,) in connection.execute(f"SELECT {'id' if table == 'entry' else 'seal'} FROM {table}")
        ]
        try:
            approves = seals.summed(found) == (count, total)
        except ValueError:
            approves = False
        if len(found) != count:
            yield f"table {table}: {count} rows were written, and {len(found)} are there"
        elif not approves:
            yield f"table {table}: its rows are not those that were written"


def _place(row: Sequence[Any]) -> str:
    return str(row[0])[:12]


def _meta(connection: sqlite3.Connection) -> Iterator[str]:
    found = dict(connection.execute("SELECT key, value FROM meta"))
    for key in ("demo", "lineage"):
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
