"""What the office's lists and look-ups read: of each job one row, of each invoice one row, and the words a
job is found by. All of it follows from entries and persons, and is written with them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import Any

import attrs
from psycopg import sql

from ..model.entry import BOOKS, JOB, Entry, jobs_of
from ..model.job import fold
from ..store import rows
from ..store.listing import JOB_COLUMNS, KINDS, derived_row, derived_words
from .database import Line
from .sealing import HubKey

_JOB = (*JOB_COLUMNS, "device", "disputes")
_INSERT_JOB = sql.SQL("INSERT INTO job ({}) VALUES ({})").format(
    sql.SQL(", ").join(map(sql.Identifier, _JOB)), sql.SQL(", ").join(sql.Placeholder() for _ in _JOB)
)
_OF_JOB = sql.SQL("SELECT arrived, {} FROM entry WHERE job = %s AND journal = %s ORDER BY chain, n").format(
    sql.SQL(", ").join(map(sql.Identifier, rows.COLUMNS))
)


def refresh(line: Line, key: HubKey, new: Sequence[Entry]) -> None:
    """Bring the lists up to date with entries that were just taken in."""
    touched = dict.fromkeys(job for entry in new for job in jobs_of(entry) if job)
    told = {entry.job for entry in new if entry.journal == JOB and entry.kind in KINDS}
    disputable = {entry.job for entry in new if entry.journal == JOB}
    for entry in new:
        if entry.journal == BOOKS and entry.kind == "invoice":
            _insert_invoice(line, entry)
    for job in touched:
        if job in told or job in disputable:
            _refresh_job(line, key, job)


def journal(line: Line, job: str) -> list[tuple[int, Entry]]:
    """The entries of a job, each with the number it arrived as."""
    return [(int(arrived), rows.entry_of(tuple(row))) for arrived, *row in line.execute(_OF_JOB, (job, JOB))]


def _refresh_job(line: Line, key: HubKey, job: str) -> None:
    placed = journal(line, job)
    billed = line.execute("SELECT books_entry FROM job WHERE id = %s", (job,)).fetchall()
    line.execute("DELETE FROM job WHERE id = %s", (job,))
    line.execute("DELETE FROM job_device WHERE job = %s", (job,))
    line.execute("DELETE FROM job_word WHERE job = %s", (job,))
    if not placed:
        return
    row = _row(line, job, placed)
    line.execute(_INSERT_JOB, row)
    with line.cursor() as cursor:
        cursor.executemany(
            "INSERT INTO job_device VALUES (%s, %s)", [(job, letters) for letters in _devices(line, placed)]
        )
        cursor.executemany(
            "INSERT INTO job_word VALUES (%s, %s)", [(word, job) for word in _words(line, key, job, placed)]
        )
    for entry in {str(row[_JOB.index("books_entry")]), *(str(one) for (one,) in billed)} - {""}:
        line.execute("UPDATE invoice SET owed = %s WHERE entry = %s", (_owed(line, entry), entry))


def _row(line: Line, job: str, placed: Sequence[tuple[int, Entry]]) -> tuple[Any, ...]:
    folded = fold(job, [entry for _, entry in placed])
    first = min(placed)[1] if placed else None
    # What a job is called is a person's as well: nothing of it stands here in plain text.
    told = [(n, entry) for n, entry in placed if entry.kind in KINDS]
    row = derived_row(job, told, {}, total_of=partial(_total, line))
    began = min(number for number, _ in placed)
    device = now_of(line, folded.handed_to) or (_owner(line, first.chain) if first is not None else "")
    return (*attrs.astuple(attrs.evolve(row, began=began)), device, len(folded.disputes))


def now_of(line: Line, letters: str) -> str:
    """Letters of the device that came in another's place, where one did."""
    found = line.execute("SELECT successor FROM device WHERE letters = %s", (letters,)).fetchone()
    return str(found[0]) if found and found[0] else letters


def _owner(line: Line, chain: str) -> str:
    found = line.execute("SELECT device FROM chain WHERE name = %s", (chain,)).fetchone()
    return str(found[0]) if found else ""


def _devices(line: Line, placed: Sequence[tuple[int, Entry]]) -> set[str]:
    """Letters of the devices whose job it is: those that write in it, and those it was handed to."""
    writers = {
        _owner(line, chain) for chain in {entry.chain for _, entry in placed if entry.kind != "forgotten"}
    }
    return writers | {now_of(line, str(entry.body["to"])) for _, entry in placed if entry.kind == "handed"}


def _words(line: Line, key: HubKey, job: str, placed: Sequence[tuple[int, Entry]]) -> set[bytes]:
    from .record import persons_of_job

    texts = {one.hash: one.text for one in persons_of_job(line, key, job)}
    words = derived_words(job, placed, lambda hash_: texts.get(hash_, ""))
    return {
        one for word, kind in words for one in ({key.word(word)} if kind == "day" else key.beginnings(word))
    }


def _insert_invoice(line: Line, entry: Entry) -> None:
    body = entry.body
    found = line.execute("SELECT arrived FROM entry WHERE id = %s", (entry.id,)).fetchone()
    assert found is not None
    line.execute(
        "INSERT INTO invoice VALUES (%s, %s, %s, %s, %s, %s, %s, %s, 0, %s, %s)",
        (
            *(int(found[0]), entry.id, str(body["number"]), str(body["document_id"])),
            *(
                int(body["total"]),
                str(body["currency"]),
                str(body.get("day", "")),
                str(body.get("due_on", "")),
            ),
            *(jobs_of(entry)[0], _owner(line, entry.chain)),
        ),
    )


def _total(line: Line, entry: str) -> int:
    found = line.execute("SELECT total FROM invoice WHERE entry = %s", (entry,)).fetchone()
    return int(found[0]) if found else 0


def _owed(line: Line, entry: str) -> int:
    """What is still to be paid for an invoice; nothing where no job stands on it (any more)."""
    found = line.execute(
        "SELECT total, (SELECT count(*) FROM job WHERE books_entry = entry), (SELECT coalesce(sum(paid), 0)"
        " FROM job WHERE books_entry = entry) FROM invoice WHERE entry = %s",
        (entry,),
    ).fetchone()
    if found is None or not found[1]:
        return 0
    return max(int(found[0]) - int(found[2]), 0)


def differences(line: Line, key: HubKey) -> Iterator[str]:
    """What the lists say otherwise than the entries, one sentence each."""
    jobs = [str(job) for (job,) in line.execute("SELECT DISTINCT job FROM entry WHERE journal = %s", (JOB,))]
    listed = {str(job) for (job,) in line.execute("SELECT id FROM job")}
    for job in sorted(listed ^ set(jobs)):
        yield f"job {job}: {'no entry stands behind its row' if job in listed else 'it is in no list'}"
    select = sql.SQL("SELECT {} FROM job WHERE id = %s").format(sql.SQL(", ").join(map(sql.Identifier, _JOB)))
    for job in jobs:
        placed = journal(line, job)
        if line.execute(select, (job,)).fetchone() != _row(line, job, placed):
            yield f"job {job}: its row does not say what its journal says"
        words = {bytes(word) for (word,) in line.execute("SELECT word FROM job_word WHERE job = %s", (job,))}
        if words != _words(line, key, job, placed):
            yield f"job {job}: the words it is found by are not those of its texts"
    for entry, owed in line.execute("SELECT entry, owed FROM invoice").fetchall():
        if int(owed) != _owed(line, str(entry)):
            yield f"invoice {str(entry)[:12]}: what is owed does not follow from its jobs"


def rows_of(line: Line, where: sql.Composable, values: Iterable[Any]) -> list[dict[str, Any]]:
    """Rows of jobs as the office shows them, in the order asked for."""
    select = sql.SQL("SELECT {} FROM job ").format(sql.SQL(", ").join(map(sql.Identifier, _JOB)))
    return [dict(zip(_JOB, row, strict=True)) for row in line.execute(select + where, list(values))]
