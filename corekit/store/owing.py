"""What is owed on the invoices of a job, in minor units, as its journal and the books tell it: what was paid
settles the oldest first.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Callable
from functools import partial
from typing import TypeAlias

from ..model.job import Job
from . import rows

#: Books entry of an invoice → what it comes to.
TotalOf: TypeAlias = Callable[[str], int]


def settled_amount(job: Job, total_of: TotalOf) -> int:
    """What was paid, and what of the (last) invoice that it is on was credited or written off; of what was
    paid only what earlier invoices that stand do not need. `total_of` gives what an invoice comes to.
    """
    paid = paid_amount(job)
    if not job.issued:
        return paid
    taken = sum(owed - due for owed, due in _earlier(job, total_of).values())
    return paid - taken + _settled_on(job, job.issued[-1].record.number)


def due_on_earlier(connection: sqlite3.Connection, job: Job, books_entry: str) -> int:
    """What is still to be paid for an invoice that is not the last of its job; nothing where it does not
    stand.
    """
    _, due = _earlier(job, partial(total, connection)).get(books_entry, (0, 0))
    return max(due, 0)


def job_of_earlier(connection: sqlite3.Connection, books_entry: str) -> str:
    """Id of the job of an invoice that may be an earlier one of it; empty where it is of several, or of none
    that is on an invoice.
    """
    found = connection.execute(
        "SELECT entry.job FROM entry CROSS JOIN job ON job.id = entry.job"
        " WHERE entry.id = ? AND job.books_entry <> ''",
        (books_entry,),
    ).fetchone()
    return str(found[0]) if found else ""


def paid_amount(job: Job) -> int:
    """What was paid, with what cash was rounded by."""
    rounded = sum(noted.record.rounded for noted, lapsed_by in job.rounded if lapsed_by is None)
    return sum(noted.record.amount for noted in job.payments) + rounded


def _earlier(job: Job, total_of: TotalOf) -> dict[str, tuple[int, int]]:
    """Books entry of each invoice that stands before the last → what is owed on it, what of that is due."""
    found, paid = dict[str, tuple[int, int]](), paid_amount(job)
    for noted in job.issued[:-1]:
        entry = noted.record.books_entry
        owed = total_of(entry) - _settled_on(job, noted.record.number)
        taken = min(paid, owed)
        found[entry], paid = (owed, owed - taken), paid - taken
    return found


def total(connection: sqlite3.Connection, books_entry: str) -> int:
    """What an invoice comes to, unchecked like all that lists are made of: a changed one stops none."""
    row = connection.execute(f"{rows.SELECT_PLACED} WHERE id = ?", (books_entry,)).fetchone()
    found: object = 0
    with contextlib.suppress(ValueError, TypeError, RecursionError):
        found = rows.parsed(tuple(row[1:])).body.get("total") if row is not None else 0
    return found if isinstance(found, int) else 0


def _settled_on(job: Job, number: str) -> int:
    """What of an invoice was credited or written off."""
    return sum(noted.record.credited for noted in job.credited if noted.record.credits == number) + sum(
        noted.record.amount for noted in job.written_off_now if job.settles[noted.id] == number
    )
