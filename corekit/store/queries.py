"""What can be asked of the journals in a store, each answered from one connection."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Any

from ..model.entry import BOOKS, JOB, Entry, own_subject
from ..model.job import Job, fold
from . import persons, rows, vans
from .errors import StoreError
from .list_rows import INVOICE_COLUMNS, JOB_COLUMNS, InvoiceRow, JobRow
from .mark import normalise_id

#: How many jobs or invoices a message lists before it stops.
LISTED = 20


def has_job(connection: sqlite3.Connection, job: str) -> bool:
    """True when there is a job of this id."""
    row = connection.execute("SELECT 1 FROM entry WHERE job = ? AND journal = ? LIMIT 1", (job, JOB))
    return row.fetchone() is not None


def jobs(connection: sqlite3.Connection) -> list[str]:
    """Ids of all jobs, in the order in which they began."""
    return [job for (job,) in connection.execute("SELECT id FROM job ORDER BY began")]


def job_count(connection: sqlite3.Connection) -> int:
    """How many jobs there are."""
    return int(connection.execute("SELECT count(*) FROM job").fetchone()[0])


def journal(connection: sqlite3.Connection, job: str) -> list[Entry]:
    """All entries of a job's journal, chain by chain; none where there is no such job.

    Raises:
        StoreError: an entry of it was changed after it was written.
    """
    return rows.entries(connection, "WHERE job = ? AND journal = ? ORDER BY chain, n", job, JOB)


def folded(connection: sqlite3.Connection, job: str, entries: Sequence[Entry]) -> Job:
    """The job that these entries of its journal tell of, by the name that it was given."""
    return fold(job, entries, persons.names(connection, entries))


def length(connection: sqlite3.Connection, job: str) -> int:
    """How many entries a job's journal has."""
    query = "SELECT count(*) FROM entry WHERE job = ? AND journal = ?"
    return int(connection.execute(query, (job, JOB)).fetchone()[0])


def names(connection: sqlite3.Connection) -> dict[str, list[str]]:
    """Job → the names its files or screens gave it, in the order in which jobs began."""
    return {job: names_of(connection, job) for job in jobs(connection)}


def names_of(connection: sqlite3.Connection, job: str) -> list[str]:
    """The names that a job's files or screens gave it, the oldest first."""
    found = connection.execute("SELECT name FROM job_name WHERE job = ? ORDER BY place", (job,))
    return [name for (name,) in found]


def names_beginning(connection: sqlite3.Connection, beginning: str) -> list[str]:
    """Every name of a job that begins with this."""
    found = connection.execute(
        "SELECT name FROM job_name WHERE name >= ? AND name < ?", (beginning, _after(beginning))
    )
    return [name for (name,) in found]


def job_called(connection: sqlite3.Connection, name: str) -> str | None:
    """Id of the job that a file or a screen gave this name; of several the one that began first."""
    found = connection.execute(
        "SELECT id FROM job_name JOIN job ON id = job WHERE job_name.name = ? ORDER BY began LIMIT 1",
        (rows.composed(name),),
    ).fetchone()
    return str(found[0]) if found else None


def open_jobs(connection: sqlite3.Connection, most: int, before: int | None) -> list[JobRow]:
    """Jobs that are open, the one that began last first: this many, of those that began before another."""
    return _job_rows(
        connection, "WHERE closed IS NULL AND began < ? ORDER BY began DESC LIMIT ?", _last(before), most
    )


def closed_jobs(connection: sqlite3.Connection, most: int, before: int | None) -> list[JobRow]:
    """Jobs that are on an invoice or over, the one that was closed last first: this many, of those that were
    closed before another.
    """
    return _job_rows(
        connection,
        "WHERE closed IS NOT NULL AND closed < ? ORDER BY closed DESC LIMIT ?",
        _last(before),
        most,
    )


def jobs_of_same_customer(connection: sqlite3.Connection, job: str) -> list[JobRow]:
    """The other jobs of a job's customer, by name and address, that something was approved in and that are on
    no invoice; the one that began first at the top.
    """
    return _job_rows(
        connection,
        "WHERE customer = (SELECT customer FROM job WHERE id = ?) AND customer <> '' AND approved = 1"
        " AND books_entry = '' AND id <> ? ORDER BY began",
        job,
        job,
    )


def amount_due(connection: sqlite3.Connection, books_entry: str) -> tuple[int, str] | None:
    """What is still to be paid for the jobs on an invoice, in minor units, and its currency; None where there
    is no such invoice.
    """
    found = connection.execute(
        "SELECT total, currency FROM invoice WHERE entry = ?", (books_entry,)
    ).fetchone()
    if found is None:
        return None
    (paid,) = connection.execute(
        "SELECT coalesce(sum(paid), 0) FROM job WHERE books_entry = ? AND books_entry <> ''", (books_entry,)
    ).fetchone()
    return int(found[0]) - int(paid), str(found[1])


def due_jobs(connection: sqlite3.Connection, until: str, most: int) -> list[JobRow]:
    """Open jobs with an appointment on or before a day, the earliest first."""
    return _job_rows(
        connection, "WHERE day <> '' AND day <= ? ORDER BY day, at = '', at, began LIMIT ?", until, most
    )


def later_jobs(connection: sqlite3.Connection, after: str, most: int) -> list[JobRow]:
    """Open jobs with an appointment after a day, the earliest first."""
    return _job_rows(
        connection, "WHERE day <> '' AND day > ? ORDER BY day, at = '', at, began LIMIT ?", after, most
    )


def recalled_jobs(connection: sqlite3.Connection, until: str, most: int) -> list[JobRow]:
    """Jobs whose vehicle is to be looked at again on or before a day, the earliest first."""
    return _job_rows(
        connection, "WHERE recall <> '' AND recall <= ? ORDER BY recall, began LIMIT ?", until, most
    )


def jobs_without_part(connection: sqlite3.Connection, most: int) -> list[JobRow]:
    """Open jobs that were left because a part is missing, the one that began first at the top."""
    return _job_rows(
        connection, "WHERE because = 'part missing' AND closed IS NULL ORDER BY began LIMIT ?", most
    )


def owing_jobs(connection: sqlite3.Connection, most: int) -> list[tuple[JobRow, InvoiceRow]]:
    """Invoices that are not paid, the one that was to be paid first at the top, each with the first of its
    jobs.
    """
    found = connection.execute(
        f"SELECT {', '.join(INVOICE_COLUMNS)} FROM invoice WHERE owed > 0 ORDER BY due_on, written LIMIT ?",
        (most,),
    ).fetchall()
    owing = [InvoiceRow(**dict(zip(INVOICE_COLUMNS, row, strict=True))) for row in found]
    of_last = "WHERE books_entry = ? ORDER BY began LIMIT 1"
    of_earlier = "WHERE id = (SELECT job FROM entry WHERE id = ?)"
    rows_of = [
        (_job_rows(connection, of_last, one.entry) or _job_rows(connection, of_earlier, one.entry), one)
        for one in owing
    ]
    return [(jobs[0], one) for jobs, one in rows_of if jobs]


def unsettled_invoices(connection: sqlite3.Connection) -> list[InvoiceRow]:
    """Invoices of which something is to be paid or given back, in the order in which they were issued."""
    named = ", ".join(INVOICE_COLUMNS)
    found = [
        InvoiceRow(**dict(zip(INVOICE_COLUMNS, row, strict=True)))
        for sign in ("owed > 0", "owed < 0")
        for row in connection.execute(f"SELECT {named} FROM invoice WHERE {sign}")
    ]
    return sorted(found, key=lambda one: one.written)


def jobs_with_deposit(connection: sqlite3.Connection) -> list[JobRow]:
    """Jobs on no invoice for which money was taken, the one that began first at the top."""
    return _job_rows(connection, "WHERE books_entry = '' AND paid <> 0 ORDER BY began")


def job_row_of(connection: sqlite3.Connection, job: str) -> JobRow | None:
    """The row of a job of this van; None for any other."""
    return next(iter(_job_rows(connection, "WHERE id = ?", job)), None)


#: Words that begin as asked are looked at up to so many, where several must be there together.
_LOOKED_AT = 100


def found_jobs(connection: sqlite3.Connection, words: Sequence[str], most: int) -> list[JobRow]:
    """Jobs in which every one of these words, or one that begins so, is; those with the very words first, the
    one that began last at their top.
    """
    longest, *others = sorted(words, key=len, reverse=True)
    exact = "SELECT job FROM job_word WHERE word = ? ORDER BY began DESC LIMIT ?"
    begun = "SELECT job FROM job_word WHERE word > ? AND word < ? LIMIT ?"
    many = most if not others else _LOOKED_AT
    ids = [job for (job,) in connection.execute(exact, (longest, many))]
    ids += [job for (job,) in connection.execute(begun, (longest, _after(longest), many))]
    also = "SELECT 1 FROM job_word WHERE job = ? AND word >= ? AND word < ? LIMIT 1"
    kept = [
        job
        for job in dict.fromkeys(ids)
        if all(connection.execute(also, (job, other, _after(other))).fetchone() for other in others)
    ]
    return [row for job in kept[:most] for row in _job_rows(connection, "WHERE id = ?", job)]


def jobs_of_vehicle(
    connection: sqlite3.Connection, word: str, kind: str, most: int, before: str = ""
) -> list[JobRow]:
    """The jobs of the vehicle with this very plate or VIN, the one that began last first; those that began
    before another, where one is named.
    """
    limit = connection.execute("SELECT began FROM job WHERE id = ?", (before,)).fetchone() if before else None
    found = connection.execute(
        "SELECT job FROM job_word WHERE word = ? AND kind = ? AND began < ? ORDER BY began DESC LIMIT ?",
        (word, kind, limit[0] if limit else _last(None), most),
    ).fetchall()
    return [row for (job,) in found for row in _job_rows(connection, "WHERE id = ?", job)]


def waiting_invoices(connection: sqlite3.Connection, job: str | None) -> list[str]:
    """Ids of the books entries of invoices and credit notes whose page was neither published nor withdrawn,
    in their order; of one job, where one is named.
    """
    if job is None:
        found = connection.execute("SELECT entry FROM invoice WHERE waits = 1 ORDER BY written")
    else:
        found = connection.execute(
            "SELECT entry FROM invoice WHERE waits = 1 AND entry IN"
            " (SELECT json_extract(body, '$.books_entry')"
            " FROM entry WHERE job = ? AND journal = ? AND kind = 'issued') ORDER BY written",
            (job, JOB),
        )
    return [entry for (entry,) in found]


def _job_rows(connection: sqlite3.Connection, where: str, *values: Any) -> list[JobRow]:
    found = connection.execute(f"SELECT {', '.join(JOB_COLUMNS)} FROM job {where}", values)
    return [JobRow(**dict(zip(JOB_COLUMNS, row, strict=True))) for row in found]


def _last(before: int | None) -> int:
    return before if before is not None else 2**63 - 1


def _after(beginning: str) -> str:
    """What sorts behind every text that begins so."""
    return f"{beginning}\U0010ffff"


def overview(connection: sqlite3.Connection) -> str:
    """The jobs that there are, in a sentence."""
    first = [job for (job,) in connection.execute("SELECT id FROM job ORDER BY began LIMIT ?", (LISTED + 1,))]
    return f"There are: {_names_of(connection, first)}." if first else "There is no job yet."


def job_meant(connection: sqlite3.Connection, text: str, where: str) -> str:
    """Id of the job that a person means: by its id, by the name its file or screen gives it, or by the
    beginning of its id.

    Raises:
        StoreError: nothing or more than one job fits; the text lists what there is.
    """
    text = text.strip()
    typed = normalise_id(text)
    if has_job(connection, typed):
        return typed
    called = "SELECT id FROM job_name JOIN job ON id = job WHERE job_name.name = ? ORDER BY began LIMIT ?"
    begins = "SELECT id FROM job WHERE id >= ? AND id < ? ORDER BY id LIMIT ?"
    for question, values in ((called, (rows.composed(text),)), (begins, (typed, _after(typed)))):
        found = connection.execute(question, (*values, LISTED + 1)) if text else ()
        matches = [str(job) for (job,) in found]
        if len(matches) == 1:
            return matches[0]
        if matches:
            raise StoreError(
                f"More than one job fits {text!r}: {_names_of(connection, matches)}. Give more of the id."
            )
    raise StoreError(f"No job fits {text!r} in {where}. {overview(connection)}")


def _names_of(connection: sqlite3.Connection, jobs: Sequence[str]) -> str:
    """The first jobs with their names; that there are more, where there are."""
    named = [(job, names_of(connection, job)) for job in jobs[:LISTED]]
    shown = [f"{job} ({', '.join(names)})" if names else job for job, names in named]
    return ", ".join(shown) + (" and more" if len(jobs) > LISTED else "")


def books(connection: sqlite3.Connection, chain: str | None) -> list[Entry]:
    """All entries of the books, or of one chain of them, in their order."""
    if chain is None:
        return rows.entries(connection, "WHERE journal = ? ORDER BY chain, n", BOOKS)
    return rows.entries(connection, "WHERE journal = ? AND chain = ? ORDER BY n", BOOKS, chain)


def invoice(connection: sqlite3.Connection, number: str, where: str) -> Entry:
    """The books entry of an invoice, by its printed number.

    Raises:
        StoreError: there is none; the text lists the last ones.
    """
    subject = own_subject("invoice", rows.composed(number))
    matches = rows.entries(connection, "WHERE subject = ? AND kind = 'invoice'", subject)
    if matches:
        return matches[0]
    last = connection.execute(
        "SELECT number FROM invoice ORDER BY written DESC LIMIT ?", (LISTED,)
    ).fetchall()
    there = f"The last ones are {', '.join(one for (one,) in last)}." if last else "None was issued yet."
    raise StoreError(f"There is no invoice {number} in {where}. {there}")


def number_of(connection: sqlite3.Connection, job: str) -> str:
    """Number of the invoice that a job is on and that was not credited whole; empty when it is on none."""
    issued = rows.entries(
        connection, "WHERE job = ? AND journal = ? AND kind = 'issued' ORDER BY chain, n", job, JOB
    )
    gone = {entry.body.get("credits") for entry in issued if entry.body.get("whole")}
    standing = [
        str(entry.body["number"])
        for entry in issued
        if not entry.body.get("credits") and entry.body["number"] not in gone
    ]
    return standing[-1] if standing else ""


def times_since_last_number(connection: sqlite3.Connection) -> list[str]:
    """When the last invoice of this device was recorded, and then every entry it wrote after it, in the order
    of writing. The clocks of other vans say nothing about this one.
    """
    own = vans.own_chains(connection)
    # From the end backwards, so that years of invoices before it are not looked at.
    last = f"SELECT rowid FROM entry NOT INDEXED WHERE kind = 'invoice' AND {own} ORDER BY rowid DESC LIMIT 1"
    found = connection.execute(
        f"SELECT recorded FROM entry WHERE rowid >= coalesce(({last}), 0) AND {own} ORDER BY rowid"
    )
    return [recorded for (recorded,) in found]


def heads_of_job(connection: sqlite3.Connection, job: str, chain: str) -> list[str]:
    """Ids of the last entry that every other chain has in a job."""
    found = connection.execute(
        "SELECT id, max(n) FROM entry WHERE job = ? AND journal = ? AND chain <> ? GROUP BY chain",
        (job, JOB, chain),
    )
    return [id_ for id_, _ in found]


def next_n(connection: sqlite3.Connection, chain: str) -> int:
    """The place in a chain that its next entry takes."""
    query = "SELECT coalesce(max(n) + 1, 0) FROM entry WHERE chain = ?"
    return int(connection.execute(query, (chain,)).fetchone()[0])


def next_number(connection: sqlite3.Connection, chain: str) -> int:
    """The running number, from 1, that the next invoice of a books chain takes."""
    query = "SELECT 1 + coalesce(max(place), 0) FROM entry WHERE chain = ?"
    return int(connection.execute(query, (chain,)).fetchone()[0])
