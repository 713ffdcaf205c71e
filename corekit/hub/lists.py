"""What the office's lists and look-ups read: of each job one row, of each invoice one row, and the words a
job is found by. All of it follows from entries and persons, and is written with them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import attrs
from psycopg import sql

from ..model.entry import BOOKS, JOB, Entry, jobs_of
from ..model.job import fold
from ..model.personal import Personal
from ..model.records import Opened
from ..store import rows
from ..store.errors import StoreError
from ..store.list_rows import JOB_COLUMNS
from ..store.listing import derived_row, derived_words
from ..store.owing import earlier
from .database import Line
from .errors import HubError
from .sealing import HubKey

_JOB = (*JOB_COLUMNS, "device", "disputes")
_INSERT_JOB = sql.SQL("INSERT INTO job ({}) VALUES ({})").format(
    sql.SQL(", ").join(map(sql.Identifier, _JOB)), sql.SQL(", ").join(sql.Placeholder() for _ in _JOB)
)
_OF_JOBS = sql.SQL(
    "SELECT arrived, {} FROM entry WHERE job = ANY(%s) AND journal = %s ORDER BY job, chain, n"
).format(sql.SQL(", ").join(map(sql.Identifier, rows.COLUMNS)))
#: Kinds of personal text that a job is found by.
_FOUND_BY = ("plate", "vin", "description", "name", "phone", "job_name")


def refresh(line: Line, key: HubKey, new: Sequence[Entry]) -> None:
    """Bring the lists up to date with entries that were just taken in. All of their jobs are asked for at
    once: what a question costs is mostly its way to the database.
    """
    for entry in new:
        if entry.journal == BOOKS and entry.kind == "invoice":
            _insert_invoice(line, entry)
    jobs = list(dict.fromkeys(entry.job for entry in new if entry.journal == JOB))
    if not jobs:
        return
    found = derived(line, key, jobs)
    billed = line.execute("SELECT books_entry FROM job WHERE id = ANY(%s)", (jobs,)).fetchall()
    for table, column in (("job", "id"), ("job_device", "job"), ("job_word", "job")):
        delete = sql.SQL("DELETE FROM {} WHERE {} = ANY(%s)")
        line.execute(delete.format(sql.Identifier(table), sql.Identifier(column)), (jobs,))
    with line.cursor() as cursor:
        cursor.executemany(_INSERT_JOB, [one.row for one in found.values()])
        devices = [(job, letters) for job, one in found.items() for letters in one.devices]
        cursor.executemany("INSERT INTO job_device VALUES (%s, %s)", devices)
        with cursor.copy("COPY job_word FROM STDIN") as copy:
            for job, one in found.items():
                for word in one.words:
                    copy.write_row((word, job))
    at = _JOB.index("books_entry")
    bills = {str(one.row[at]) for one in found.values()} | {str(one) for (one,) in billed}
    line.execute(
        sql.SQL("UPDATE invoice SET owed = {} WHERE entry = ANY(%s)").format(_OWED), (sorted(bills - {""}),)
    )
    with line.cursor() as cursor:
        due = [(owed, entry) for one in found.values() for entry, owed in one.earlier.items()]
        cursor.executemany("UPDATE invoice SET owed = %s WHERE entry = %s", due)


@attrs.frozen(kw_only=True)
class Derived:
    """What follows from the entries of a job: its row, the devices whose job it is, what it is found by, and
    of its invoices before the last what is still to be paid.
    """

    row: tuple[Any, ...]
    devices: frozenset[str]
    words: frozenset[bytes]
    earlier: Mapping[str, int]


def derived(line: Line, key: HubKey, jobs: Sequence[str]) -> dict[str, Derived]:
    """Job → what follows from its entries and texts."""
    placed: dict[str, list[tuple[int, Entry]]] = {}
    for arrived, *row in line.execute(_OF_JOBS, (list(jobs), JOB)):
        entry = rows.entry_of(tuple(row))
        placed.setdefault(entry.job, []).append((int(arrived), entry))
    texts: dict[str, str] = {}
    person = "SELECT hash, job, kind, sealed FROM person WHERE job = ANY(%s) AND kind = ANY(%s)"
    for found in line.execute(person, (list(jobs), list(_FOUND_BY))):
        opened = key.opened(*found)
        texts[opened.hash] = opened.text
    chains = list({entry.chain for of_job in placed.values() for _, entry in of_job})
    of_chains = line.execute("SELECT name, device FROM chain WHERE name = ANY(%s)", (chains,))
    owners = {str(name): str(device) for name, device in of_chains}
    successors: dict[str, str] = dict(
        line.execute("SELECT letters, successor FROM device WHERE successor <> ''").fetchall()
    )
    totals = {str(entry): int(total) for entry, total in line.execute(_TOTALS, (list(jobs),))}
    return {
        job: _derived(key, job, of_job, texts, owners, successors, totals) for job, of_job in placed.items()
    }


def _derived(
    key: HubKey,
    job: str,
    placed: Sequence[tuple[int, Entry]],
    texts: Mapping[str, str],
    owners: Mapping[str, str],
    successors: Mapping[str, str],
    totals: Mapping[str, int],
) -> Derived:
    def total_of(entry: str) -> int:
        return totals.get(entry, 0)

    folded = fold(job, [entry for _, entry in placed])
    began, first = min(placed, key=lambda one: one[0])
    # Of persons a row holds hashes, and of what a job is called nothing else.
    origins = [noted.record.origin for noted in folded.all(Opened)]
    called = [one.hash if isinstance(one, Personal) else str(one) for one in origins]
    row = attrs.evolve(
        derived_row(job, placed, {}, total_of=total_of), began=began, name=(called or [""])[-1]
    )
    handed = successors.get(folded.handed_to, folded.handed_to)
    words = derived_words(job, placed, lambda hash_: texts.get(hash_, ""))
    writers = {owners[entry.chain] for _, entry in placed if entry.kind != "forgotten"}
    got = {str(entry.body["to"]) for _, entry in placed if entry.kind == "handed"}
    return Derived(
        row=(*attrs.astuple(row), handed or owners[first.chain], len(folded.disputes)),
        devices=frozenset(writers | {successors.get(letters, letters) for letters in got}),
        words=frozenset(
            one
            for word, kind in words
            for one in ({key.word(word)} if kind == "day" else key.beginnings(word))
        ),
        earlier={entry: max(due, 0) for entry, (_, due) in earlier(folded, total_of).items()},
    )


def journal(line: Line, job: str) -> list[tuple[int, Entry]]:
    """The entries of a job, each with the number it arrived as."""
    found = line.execute(_OF_JOBS, ([job], JOB))
    return [(int(arrived), rows.entry_of(tuple(row))) for arrived, *row in found]


def now_of(line: Line, letters: str) -> str:
    """Letters of the device that came in another's place, where one did."""
    found = line.execute("SELECT successor FROM device WHERE letters = %s", (letters,)).fetchone()
    return str(found[0]) if found and found[0] else letters


def _insert_invoice(line: Line, entry: Entry) -> None:
    body = entry.body
    line.execute(
        "INSERT INTO invoice SELECT arrived, id, %s, %s, %s, %s, %s, %s, 0, %s, device FROM entry"
        " JOIN chain ON name = chain WHERE id = %s",
        (
            *(str(body["number"]), str(body["document_id"]), int(body["total"]), str(body["currency"])),
            *(str(body.get("day", "")), str(body.get("due_on", "")), jobs_of(entry)[0], entry.id),
        ),
    )


#: Books entries of the invoices of jobs, with what they come to.
_TOTALS = (
    "SELECT entry, total FROM invoice WHERE entry IN (SELECT body::json->>'books_entry' FROM entry"
    " WHERE job = ANY(%s) AND kind = 'issued')"
)
#: What is still to be paid for an invoice; nothing where no job stands on it (any more).
_OWED = sql.SQL(
    "(SELECT CASE WHEN count(*) = 0 THEN 0 ELSE greatest(invoice.total - coalesce(sum(paid), 0), 0) END"
    # The second condition says nothing new; without it the index on books_entry is not used.
    " FROM job WHERE books_entry = invoice.entry AND books_entry <> '')"
)


def differences(line: Line, key: HubKey) -> Iterator[str]:
    """What the lists say otherwise than the entries, one sentence each."""
    jobs = [str(job) for (job,) in line.execute("SELECT DISTINCT job FROM entry WHERE journal = %s", (JOB,))]
    listed = {str(job) for (job,) in line.execute("SELECT id FROM job")}
    for job in sorted(listed ^ set(jobs)):
        yield f"job {job}: {'no entry stands behind its row' if job in listed else 'it is in no list'}"
    select = sql.SQL("SELECT {} FROM job WHERE id = %s").format(sql.SQL(", ").join(map(sql.Identifier, _JOB)))
    due: dict[str, int] = {}
    for job in jobs:
        try:
            one = derived(line, key, [job])[job]
        except (StoreError, HubError) as error:  # an entry or a text of it was changed, which its chain says
            yield f"job {job}: its row cannot be held against its journal: {error}"
            continue
        if line.execute(select, (job,)).fetchone() != one.row:
            yield f"job {job}: its row does not say what its journal says"
        found = line.execute("SELECT word FROM job_word WHERE job = %s", (job,))
        if {bytes(word) for (word,) in found} != one.words:
            yield f"job {job}: the words it is found by are not those of its texts"
        told = line.execute("SELECT device FROM job_device WHERE job = %s", (job,))
        if {str(letters) for (letters,) in told} != one.devices:
            yield f"job {job}: the devices whose job it is are not those of its journal"
        due |= one.earlier
    owed = sql.SQL("SELECT entry, number, owed, {} FROM invoice").format(_OWED)
    for entry, number, said, follows in line.execute(owed).fetchall():
        if int(said) == due.get(str(entry), int(follows)):
            continue
        yield f"invoice {number}: what is owed does not follow from its jobs"


def rows_of(line: Line, where: sql.Composable, values: Iterable[Any]) -> list[dict[str, Any]]:
    """Rows of jobs as the office shows them, in the order asked for."""
    select = sql.SQL("SELECT {} FROM job ").format(sql.SQL(", ").join(map(sql.Identifier, _JOB)))
    # Planned for these very values: a word that all jobs have is looked for otherwise than one that few have.
    found = line.execute(select + where, list(values), prepare=False)
    return [dict(zip(_JOB, row, strict=True)) for row in found]
