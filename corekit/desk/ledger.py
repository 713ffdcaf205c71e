"""The shop's money over a time, from the books and the journals: what was invoiced and credited, what came in
and went back, what was written off, and what is open.

Rows of the books keep the day on which they were written: a day that is over never changes.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal

import attrs

from ..billing.book import PriceBook
from ..billing.line import from_data
from ..billing.totals import totals
from ..errors import InputError
from ..model.entry import jobs_of
from ..model.money import Money, minor_digits, total
from ..model.movement import LedgerKind
from ..model.personal import shop_words
from ..model.records import RECORDS, InvoiceIssued, PaymentTaken
from ..model.search_words import asked_day
from ..store.movements import OF_BOOKS, MoneyRow
from .context import ShopContext
from .drawer import DrawerRow, drawer_rows
from .finding import found_jobs
from .jobs import names_in_books


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
    """Rows by day and in the order of writing, what is open at this moment, and the cash drawer: what lay in
    it before the time, and its rows. `cut`: more was found than is shown.
    """

    currency: str
    rows: tuple[LedgerRow, ...]
    open: tuple[OpenInvoice, ...]
    drawer: tuple[DrawerRow, ...] = ()
    drawer_before: Money | None = None
    cut: bool = False

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


#: So many jobs, or movements of one amount, are looked at of what was found.
MOST = 200
#: Before and behind every day that there is.
_ALWAYS = ("", "\U0010ffff")
_DAY = timedelta(days=1)


def ledger(shop: ShopContext, span: str = "", find: str = "") -> Ledger:
    """The ledger of a day (YYYY-MM-DD), a month (YYYY-MM) or a year (YYYY); of all time without one. It costs
    what that time is long, and what is open.

    Args:
        find: Only what has to do with this: number of an invoice, customer, plate, name of a job, amount or
            day. What was forgotten is not found by it.

    Raises:
        InputError: the span is none of these, or nothing is said to find.
    """
    first, last = _days_of(span)
    with shop.store.snapshot():
        if find:
            moves, jobs, cut = _found(shop, find)
            rows = _rows(shop, moves, span)
            numbers = {row.number for row in rows if row.number}
            names = {shop.store.called(job) for job in jobs}
            still_open = [one for one in _open(shop) if one.number in numbers or one.job in names]
            return Ledger(currency=shop.prices.currency, rows=rows, open=tuple(still_open), cut=cut)
        currency = shop.prices.currency
        drawer = drawer_rows(shop, shop.store.drawer_between(currency, first, last))
        earlier = [row.left for row in drawer if row.day < span] if span else []
        if not earlier and first:
            earlier = [Money(one.in_it, currency) for one in shop.store.drawer_last(currency, 1, first)]
        return Ledger(
            currency=currency,
            rows=_rows(shop, shop.store.money_between(first, last), span),
            open=tuple(_open(shop)),
            drawer=tuple(row for row in drawer if row.day.startswith(span)),
            drawer_before=earlier[-1] if earlier else Money(0, currency),
        )


def _days_of(span: str) -> tuple[str, str]:
    """The first and the last day of a time, and a day around it: rows stand under days of UTC."""
    if not span:
        return _ALWAYS
    try:
        if not _SPAN.fullmatch(span):
            raise ValueError
        first = date.fromisoformat(f"{span}-01-01"[:10])
    except ValueError:
        raise InputError(f"{span!r} is no day, month or year; write 2026-11-28, 2026-11 or 2026.") from None
    days = {4: 366, 7: 31}.get(len(span), 1)
    try:
        return (first - _DAY).isoformat(), (first + days * _DAY).isoformat()
    except OverflowError:  # in the first year there is, or the last
        return _ALWAYS


def _found(shop: ShopContext, find: str) -> tuple[list[MoneyRow], list[str], bool]:
    """What has to do with a text, whose jobs were found by it, and whether there is more."""
    store, text = shop.store, " ".join(find.split())
    if not text:
        raise InputError("Say what to find: a number, a customer, a plate, an amount or a day.")
    day = asked_day(text, shop.now.date())
    if day:
        first, last = _days_of(day)
        moves = [one for one in store.money_between(first, last) if _day(shop, one).startswith(day)]
        return moves, [], False
    amount = _amount(text, shop.prices.currency)
    is_word = amount is None or text.isdecimal()  # with its decimals it is an amount and nothing else
    jobs = [row.id for row in found_jobs(shop, text, MOST + 1)] if is_word else []
    of_amount = store.money_of_amount(amount.minor, MOST + 1) if amount is not None else []
    found = [
        *(move for number in dict.fromkeys((text, text.upper())) for move in store.money_of_number(number)),
        *store.money_of_jobs(jobs[:MOST]),
        *of_amount[-MOST:],
    ]
    once = {(one.entry, one.kind, one.ended_by): one for one in found}
    return list(once.values()), jobs[:MOST], max(len(jobs), len(of_amount)) > MOST


def _amount(text: str, currency: str) -> Money | None:
    """The amount that a text may mean; None where it means none."""
    digits = minor_digits(currency)
    if not re.fullmatch(r"[0-9]{1,9}" + (rf"([.,][0-9]{{1,{digits}}})?" if digits else ""), text):
        return None
    return Money.of(text.replace(",", "."), currency)


def _rows(shop: ShopContext, moves: Iterable[MoneyRow], span: str) -> tuple[LedgerRow, ...]:
    """Those of a time, by day and in the order of writing."""
    told = [(_day(shop, one), one) for one in moves]
    told.sort(key=lambda of: (of[0], of[1].recorded, of[1].written))
    return tuple(_row(shop, day, move) for day, move in told if day.startswith(span))


def _day(shop: ShopContext, move: MoneyRow) -> str:
    """The shop's day of a movement."""
    if move.kind in (LedgerKind.INVOICED, LedgerKind.CREDITED):
        entry = shop.store.books_entry(move.entry)
        return str(entry.body.get("day") or "") or shop.settings.day_of(move.recorded)
    if move.kind == LedgerKind.ANNOUNCED:
        entry = shop.store.entry(move.entry)
        return shop.settings.day_of(entry.taken or entry.recorded)
    return shop.settings.day_of(move.recorded)


def _row(shop: ShopContext, day: str, move: MoneyRow) -> LedgerRow:
    entry, kind = shop.store.entry(move.entry), LedgerKind(move.kind)
    row = LedgerRow(day=day, kind=kind, number=move.number, job="", amount=Money(move.amount, move.currency))
    if kind in OF_BOOKS:
        row = attrs.evolve(row, job=names_in_books(shop, entry))
        if entry.kind == "payment":
            return attrs.evolve(row, note=PaymentTaken(**entry.body).how)
        record = InvoiceIssued(**entry.body)
        answers = record.credits or record.corrects
        return attrs.evolve(
            row,
            net=Money(record.net, record.currency) if record.net is not None else None,
            tax=Money(record.tax, record.currency) if record.tax is not None else None,
            rates=rates_of(record, shop.prices),
            note=f"{'of' if record.credits else 'in place of'} {answers}" if answers else "",
        )
    listed = shop.store.job_row(move.job)
    row = attrs.evolve(row, job=(listed.name if listed is not None else "") or move.job)
    if move.ended_by:
        number = shop.store.entry(move.ended_by).body["number"]
        return attrs.evolve(row, note=f"withdrawn: the invoice was credited by {number}")
    if kind is LedgerKind.ROUNDED:
        return attrs.evolve(row, note="to the smallest coin")
    record_of = RECORDS[entry.kind](**entry.body)
    said = record_of.because if kind is LedgerKind.WRITTEN_OFF else record_of.how
    return attrs.evolve(row, note=shop_words(said, shop.store.texts_of(entry)))


def rates_of(record: InvoiceIssued, book: PriceBook) -> tuple[RateSum, ...]:
    """What an invoice charges by rate; tax is worked out once on the whole of each, as on its paper."""
    lines = [from_data(data) for data in record.lines]
    percents = {name: Decimal(percent) for name, percent in (record.rates or {}).items()}
    if not lines or not percents:
        return ()
    sums = totals(lines, book.as_issued(percents, record.currency))
    return tuple(RateSum(row.percent, row.base, row.tax) for row in sums.per_rate)


def _open(shop: ShopContext) -> Iterable[OpenInvoice]:
    today = shop.now.date().isoformat()
    for invoice in shop.store.unsettled_invoices():
        entry, due = shop.store.books_entry(invoice.entry), Money(invoice.owed, invoice.currency)
        job = names_in_books(shop, entry)
        if due.minor < 0 and len(jobs_of(entry)) == 1 and shop.store.job(entry.job).goes_on:
            yield OpenInvoice(number="", job=job, due=due)  # kept for what is approved and not invoiced yet
            continue
        yield OpenInvoice(
            number=invoice.number,
            job=job,
            due=due,
            due_on=invoice.due_on,
            is_overdue=due.minor > 0 and bool(invoice.due_on) and invoice.due_on < today,
        )
    for row in shop.store.jobs_with_deposit():  # owed to the customer until an invoice uses it
        yield OpenInvoice(number="", job=row.name or row.id, due=Money(-row.paid, shop.prices.currency))


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
