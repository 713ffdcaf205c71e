"""The shop's money over a time, from the books and the journals: what was invoiced and credited, what came in
and went back, what was written off, and what is open.

Rows of the books keep the day on which they were written: a day that is over never changes.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from enum import StrEnum

import attrs

from ..billing.book import PriceBook
from ..billing.line import from_data
from ..billing.totals import totals
from ..errors import InputError
from ..model.job import Job
from ..model.money import Money, total
from ..model.personal import shop_words
from ..model.records import InvoiceIssued, PaymentTaken
from .context import ShopContext
from .drawer import DrawerRow, drawer_rows
from .jobs import billed_with, names_in_books, texts_of
from .payments import dues


class LedgerKind(StrEnum):
    """What a row says of the money."""

    INVOICED = "invoiced"
    CREDITED = "credited"
    RECEIVED = "received"
    GIVEN_BACK = "given back"
    WRITTEN_OFF = "written off"
    ROUNDED = "rounded"
    ANNOUNCED = "announced"


@attrs.frozen
class RateSum:
    """What was charged at one rate of tax: on what, and how much tax that is."""

    percent: Decimal
    base: Money
    tax: Money


@attrs.frozen(kw_only=True)
class LedgerRow:
    """One movement.

    Attributes:
        day: By the shop's zone.
        amount: What customers owe more by it (invoiced) or less: received, credited and written off are below
            zero, given back above, rounded either; announced changes nothing yet and is what was announced.
        net, tax: Of an invoice or a credit note, where its record says them.
        rates: Of an invoice or a credit note the net and tax by rate, where its record holds its lines.
        note: How, or why, or which invoice it answers.
    """

    day: str
    kind: LedgerKind
    number: str
    job: str
    amount: Money
    net: Money | None = None
    tax: Money | None = None
    rates: tuple[RateSum, ...] = ()
    note: str = ""


@attrs.frozen(kw_only=True)
class OpenInvoice:
    """An invoice of which something is due, or of which money is to be given back; or a job without one for
    which money was taken.
    """

    number: str
    job: str
    due: Money
    due_on: str = ""
    is_overdue: bool = False


@attrs.frozen(kw_only=True)
class Ledger:
    """Rows in the order of writing, what is open at this moment, and the cash drawer: what lay in it before
    the time, and its rows.
    """

    currency: str
    rows: tuple[LedgerRow, ...]
    open: tuple[OpenInvoice, ...]
    drawer: tuple[DrawerRow, ...] = ()
    drawer_before: Money | None = None

    def sum_of(self, kind: LedgerKind) -> Money:
        return total((row.amount for row in self.rows if row.kind is kind), self.currency)

    @property
    def by_rate(self) -> dict[Decimal, RateSum]:
        """Percent → what was invoiced at it, less what was credited."""
        sums: dict[Decimal, RateSum] = {}
        for one in (rate for row in self.rows for rate in row.rates):
            before = sums.get(one.percent)
            sums[one.percent] = (
                one if before is None else RateSum(one.percent, before.base + one.base, before.tax + one.tax)
            )
        return dict(sorted(sums.items(), reverse=True))

    @property
    def in_hand(self) -> dict[str, Money]:
        """How it was paid → what came in less what went back that way."""
        ways: dict[str, Money] = {}
        for row in self.rows:
            if row.kind in (LedgerKind.RECEIVED, LedgerKind.GIVEN_BACK):
                ways[row.note] = ways.get(row.note, Money(0, self.currency)) - row.amount
        return ways


_SPAN = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?")


def ledger(shop: ShopContext, span: str = "") -> Ledger:
    """The ledger of a day (YYYY-MM-DD), a month (YYYY-MM) or a year (YYYY); of all time without one.

    Raises:
        InputError: the span is none of these.
    """
    if span:
        try:
            if not _SPAN.fullmatch(span):
                raise ValueError
            date.fromisoformat(f"{span}-01-01"[:10])
        except ValueError:
            raise InputError(
                f"{span!r} is no day, month or year; write 2026-11-28, 2026-11 or 2026."
            ) from None
    with shop.store.snapshot():
        jobs = [shop.store.job(job) for job in shop.store.jobs()]
        rows = [*_of_books(shop), *_of_jobs(shop, jobs)]
        drawer = drawer_rows(shop, sorted(shop.store.books(), key=lambda entry: entry.recorded))
        before = [row.left for row in drawer if row.day < span] if span else []
        return Ledger(
            currency=shop.prices.currency,
            rows=tuple(row for row in sorted(rows, key=lambda row: row.day) if row.day.startswith(span)),
            open=tuple(_open(shop, jobs)),
            drawer=tuple(row for row in drawer if row.day.startswith(span)),
            drawer_before=before[-1] if before else Money(0, shop.prices.currency),
        )


def _of_books(shop: ShopContext) -> Iterable[LedgerRow]:
    for entry in sorted(shop.store.books(), key=lambda entry: entry.recorded):
        if entry.kind == "invoice":
            record = InvoiceIssued(**entry.body)
            answers = record.credits or record.corrects
            yield LedgerRow(
                day=record.day or shop.settings.day_of(entry.recorded),
                kind=LedgerKind.CREDITED if record.credits else LedgerKind.INVOICED,
                number=record.number,
                job=names_in_books(shop, entry),
                amount=Money(record.total, record.currency),
                net=Money(record.net, record.currency) if record.net is not None else None,
                tax=Money(record.tax, record.currency) if record.tax is not None else None,
                rates=rates_of(record, shop.prices),
                note=f"{'of' if record.credits else 'in place of'} {answers}" if answers else "",
            )
        elif entry.kind == "payment":
            taken = PaymentTaken(**entry.body)
            yield LedgerRow(
                day=shop.settings.day_of(entry.recorded),
                kind=LedgerKind.RECEIVED if taken.amount >= 0 else LedgerKind.GIVEN_BACK,
                number="",
                job=names_in_books(shop, entry),
                amount=Money(-taken.amount, taken.currency),
                note=taken.how,
            )


def rates_of(record: InvoiceIssued, book: PriceBook) -> tuple[RateSum, ...]:
    """What an invoice charges by rate; tax is worked out once on the whole of each, as on its paper."""
    lines = [from_data(data) for data in record.lines]
    percents = {name: Decimal(percent) for name, percent in (record.rates or {}).items()}
    if not lines or not percents:
        return ()
    sums = totals(lines, attrs.evolve(book, rates=percents, currency=record.currency))
    return tuple(RateSum(row.percent, row.base, row.tax) for row in sums.per_rate)


def _of_jobs(shop: ShopContext, jobs: Iterable[Job]) -> Iterable[LedgerRow]:
    for job in jobs:
        number = job.issued[-1].record.number if job.issued else ""
        for noted in job.written_off:
            yield LedgerRow(
                day=shop.settings.day_of(noted.entry.recorded),
                kind=LedgerKind.WRITTEN_OFF,
                number=job.settles[noted.id] or number,
                job=job.name,
                amount=Money(-noted.record.amount, noted.record.currency),
                note=shop_words(noted.record.because, texts_of(shop, job)),
            )
        for noted, credited in job.lapsed:
            yield LedgerRow(
                day=shop.settings.day_of(credited.entry.recorded),
                kind=LedgerKind.WRITTEN_OFF,
                number=credited.record.credits,
                job=job.name,
                amount=Money(noted.record.amount, noted.record.currency),
                note=f"withdrawn: the invoice was credited by {credited.record.number}",
            )
        for paid, credited_by in job.rounded:
            yield LedgerRow(
                day=shop.settings.day_of(paid.entry.recorded),
                kind=LedgerKind.ROUNDED,
                number=job.settles[paid.id] or number,
                job=job.name,
                amount=Money(-paid.record.rounded, paid.record.currency),
                note="to the smallest coin",
            )
            if credited_by is not None:
                yield LedgerRow(
                    day=shop.settings.day_of(credited_by.entry.recorded),
                    kind=LedgerKind.ROUNDED,
                    number=credited_by.record.credits,
                    job=job.name,
                    amount=Money(paid.record.rounded, paid.record.currency),
                    note=f"withdrawn: the invoice was credited by {credited_by.record.number}",
                )
        for announced in job.announced:
            yield LedgerRow(
                day=shop.settings.day_of(announced.entry.taken or announced.entry.recorded),
                kind=LedgerKind.ANNOUNCED,
                number=number,
                job=job.name,
                amount=Money(announced.record.amount, announced.record.currency),
                note=shop_words(announced.record.how, texts_of(shop, job)),
            )


def _open(shop: ShopContext, jobs: Sequence[Job]) -> Iterable[OpenInvoice]:
    today, told = shop.now.date().isoformat(), set()
    for job in jobs:
        if not job.issued:
            held = sum(noted.record.amount for noted in job.payments)
            if held:  # a deposit: owed to the customer until an invoice uses it
                yield OpenInvoice(number="", job=job.name, due=Money(-held, shop.prices.currency))
            continue
        if job.issued[-1].record.number in told:
            continue
        found = dues(shop, billed_with(shop, job))
        for number, due in found.by_number.items():
            told.add(number)
            entry = shop.store.invoice(number)
            until = str(entry.body.get("due_on", ""))
            if due.minor:
                yield OpenInvoice(
                    number=number,
                    job=names_in_books(shop, entry),
                    due=due,
                    due_on=until,
                    is_overdue=due.minor > 0 and bool(until) and until < today,
                )
        if found.held.minor:
            yield OpenInvoice(number="", job=job.name, due=-found.held)


_TITLES = ("day", "kind", "number", "job", "amount", "currency", "net", "tax", "note")


def as_csv(books: Ledger) -> str:
    """The rows as CSV (RFC 4180), amounts as plain numbers; no text of it is a formula to a spreadsheet."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(_TITLES)
    for row in books.rows:
        amounts = (row.amount, row.net, row.tax)
        amount, net, tax = (str(one) if one is not None else "" for one in amounts)
        texts = [unformulaic(text) for text in (row.day, str(row.kind), row.number, row.job)]
        writer.writerow([*texts, amount, row.amount.currency, net, tax, unformulaic(row.note)])
    return out.getvalue()


#: What a spreadsheet may take for the beginning of a formula (OWASP, CSV injection).
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def unformulaic(text: str) -> str:
    """A text that no spreadsheet runs: with an apostrophe before it where it begins like a formula."""
    return f"'{text}" if text.lstrip(" ").startswith(_FORMULA) or text.startswith(_FORMULA) else text
