"""What can be asked of the journals in a store, each answered from one connection."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence

from ..model.entry import BOOKS, JOB, Entry, own_subject
from . import rows
from .errors import StoreError
from .mark import normalise_id

#: How many jobs or invoices a message lists before it stops.
LISTED = 20


def has_job(connection: sqlite3.Connection, job: str) -> bool:
    """True when there is a job of this id."""
    row = connection.execute("SELECT 1 FROM entry WHERE job = ? AND journal = ? LIMIT 1", (job, JOB))
    return row.fetchone() is not None


def jobs(connection: sqlite3.Connection) -> list[str]:
    """Ids of all jobs, in the order in which they began."""
    ids = connection.execute(
        "SELECT job FROM entry WHERE journal = ? GROUP BY job ORDER BY min(rowid)", (JOB,)
    )
    return [job for (job,) in ids]


def issued_jobs(connection: sqlite3.Connection) -> list[str]:
    """Ids of the jobs that are on an invoice, the latest last."""
    ids = connection.execute(
        "SELECT job FROM entry WHERE journal = ? AND kind = 'issued' GROUP BY job"
        " HAVING sum(CASE WHEN json_extract(body, '$.whole') THEN -1"
        " WHEN json_extract(body, '$.credits') IS NULL THEN 1 ELSE 0 END) > 0 ORDER BY max(rowid)",
        (JOB,),
    )
    return [job for (job,) in ids]


def journal(connection: sqlite3.Connection, job: str) -> list[Entry]:
    """All entries of a job's journal, chain by chain; none where there is no such job.

    Raises:
        StoreError: an entry of it was changed after it was written.
    """
    return rows.entries(connection, "WHERE job = ? AND journal = ? ORDER BY chain, n", job, JOB)


def length(connection: sqlite3.Connection, job: str) -> int:
    """How many entries a job's journal has."""
    query = "SELECT count(*) FROM entry WHERE job = ? AND journal = ?"
    return int(connection.execute(query, (job, JOB)).fetchone()[0])


def names(connection: sqlite3.Connection) -> dict[str, list[str]]:
    """Job → the names its files or screens gave it, in the order in which jobs began."""
    names: dict[str, list[str]] = {job: [] for job in jobs(connection)}
    for entry in rows.entries(connection, "WHERE kind = 'opened' AND journal = ? ORDER BY rowid", JOB):
        names[entry.job].append(str(entry.body.get("origin", "")))
    return names


def overview(connection: sqlite3.Connection) -> str:
    """The jobs that there are, in a sentence."""
    known = names(connection)
    return f"There are: {_listed(list(known), known)}." if known else "There is no job yet."


def job_meant(connection: sqlite3.Connection, text: str, where: str) -> str:
    """Id of the job that a person means: by its id, by the name its file or screen gives it, or by the
    beginning of its id.

    Raises:
        StoreError: nothing or more than one job fits; the text lists what there is.
    """
    text = text.strip()
    known, typed = names(connection), normalise_id(text)
    if typed in known:
        return typed
    for matches in (
        [job for job, called in known.items() if text in called],
        [job for job in known if text and job.startswith(typed)],
    ):
        if len(matches) == 1:
            return matches[0]
        if matches:
            raise StoreError(
                f"More than one job fits {text!r}: {_listed(matches, known)}. Give more of the id."
            )
    raise StoreError(f"No job fits {text!r} in {where}. {overview(connection)}")


def _listed(jobs: Sequence[str], names: Mapping[str, Sequence[str]]) -> str:
    shown = [f"{job} ({', '.join(names[job])})" if names[job] else job for job in jobs[:LISTED]]
    return ", ".join(shown) + (f" and {len(jobs) - LISTED} more" if len(jobs) > LISTED else "")


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
        "SELECT subject FROM entry WHERE kind = 'invoice' ORDER BY rowid DESC LIMIT ?", (LISTED,)
    ).fetchall()
    prefix = len(own_subject("invoice", ""))
    there = (
        f"The last ones are {', '.join(subject[prefix:] for (subject,) in last)}."
        if last
        else "None was issued yet."
    )
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
    """When the last invoice was recorded, and then every entry written after it, in the order of writing."""
    # From the end backwards, so that years of invoices before it are not looked at.
    last = "SELECT rowid FROM entry NOT INDEXED WHERE kind = 'invoice' ORDER BY rowid DESC LIMIT 1"
    found = connection.execute(
        f"SELECT recorded FROM entry WHERE rowid >= coalesce(({last}), 0) ORDER BY rowid"
    )
    return [recorded for (recorded,) in found]


def next_n(connection: sqlite3.Connection, chain: str) -> int:
    """The place in a chain that its next entry takes."""
    query = "SELECT coalesce(max(n) + 1, 0) FROM entry WHERE chain = ?"
    return int(connection.execute(query, (chain,)).fetchone()[0])


def next_number(connection: sqlite3.Connection, chain: str) -> int:
    """The running number, from 1, that the next invoice of a books chain takes."""
    query = "SELECT 1 + coalesce(max(place), 0) FROM entry WHERE chain = ?"
    return int(connection.execute(query, (chain,)).fetchone()[0])
