"""What the day holds: whom to go to, what waits for a part, what is owed, whom to ask back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import attrs

from ..model.money import Money
from ..store.list_rows import InvoiceRow, JobRow
from .context import ShopContext

#: Rows of each list at most; what is more is said to be there.
MOST = 50
#: A recall shows so many days before it is due: an appointment wants agreeing on.
AHEAD = timedelta(days=14)


@attrs.frozen(kw_only=True)
class Owed:
    """An invoice that is not paid.

    Attributes:
        days: How many days it is overdue; below zero while it is not due yet.
    """

    job: JobRow
    number: str
    day: str
    due_on: str
    amount: Money
    days: int


@attrs.frozen(kw_only=True)
class DayList:
    """The lists of a day, each its most urgent first; `is_cut`: one of them holds more than is shown."""

    day: date
    today: Sequence[JobRow]
    later: Sequence[JobRow]
    without_part: Sequence[JobRow]
    owed: Sequence[Owed]
    recalls: Sequence[JobRow]
    is_cut: bool = False


def day_list(shop: ShopContext) -> DayList:
    """The lists of the shop's present day; from the derived rows alone, no journal is read."""
    day, store, more = shop.now.date(), shop.store, MOST + 1
    lists = (
        store.due_jobs(day.isoformat(), more),
        store.later_jobs(day.isoformat(), more),
        store.jobs_without_part(more),
        store.recalled_jobs((day + AHEAD).isoformat(), more),
    )
    owing = store.owing_jobs(more)
    today, later, without_part, recalls = (rows[:MOST] for rows in lists)
    owed = [_owed_row(row, invoice, day) for row, invoice in owing[:MOST]]
    return DayList(
        day=day,
        today=today,
        later=later,
        without_part=without_part,
        recalls=recalls,
        owed=sorted(owed, key=lambda one: -one.days),
        is_cut=any(len(rows) > MOST for rows in lists) or len(owing) > MOST,
    )


def _owed_row(job: JobRow, invoice: InvoiceRow, today: date) -> Owed:
    due = invoice.due_on or invoice.day
    try:
        days = (today - date.fromisoformat(due)).days
    except ValueError:  # an invoice of before days were kept
        days = 0
    return Owed(
        job=job,
        number=invoice.number,
        day=invoice.day,
        due_on=invoice.due_on,
        amount=Money(invoice.owed, invoice.currency),
        days=days,
    )
