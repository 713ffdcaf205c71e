"""The books of a day, a month or a year as a paper for whoever keeps them; a year is told month by month."""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from pathlib import Path

import attrs

from ..files import write_over
from ..model.document import FORM, Block, Document, DocumentKind, Heading, Pairs, Paragraph, Table, Totals
from ..model.money import Money, total
from ..model.movement import LedgerKind
from ..report.dates import day_words
from ..report.language import in_language
from ..store.mark import random_id
from .context import ShopContext
from .ledger import MOST, Ledger, LedgerRow, ledger
from .paper import file_name, path_of

#: Parts of the width: day, what, net, tax, amount; and without net and tax.
_SHARES, _FEWER = (17.0, 47.0, 12.0, 11.0, 13.0), (17.0, 70.0, 13.0)
_CHARGED = (LedgerKind.INVOICED, LedgerKind.CREDITED)
_MONEY = (LedgerKind.RECEIVED, LedgerKind.GIVEN_BACK)
_LENGTH_OF_YEAR, _LENGTH_OF_MONTH = 4, 7


def books_paper(shop: ShopContext, span: str = "", find: str = "") -> Document:
    """The books of a time as a Document, or what is found in them (`corekit.desk.ledger`).

    Raises:
        InputError: the span is no day, month or year.
    """
    books = ledger(shop, span, find)
    issuer, when = shop.settings.issuer, span_words(span)
    made = shop.now.date().isoformat()
    blocks: list[Block] = [
        Pairs(
            rows=(
                ("Shop", (", ".join(filter(None, (issuer.name, *issuer.address))),)),
                *((("Tax number", (issuer.tax_id,)),) if issuer.tax_id else ()),
                ("Time", (when,)),
                *((("Only what has to do with", (find,)),) if find else ()),
            )
        ),
        *((Paragraph(words=(cut_words(),)),) if books.cut else ()),
        *_part("Invoices and credit notes", books, _CHARGED, span, with_tax=True),
        *_by_rate(books),
        *_part("Received and given back", books, _MONEY, span),
        *_in_hand(books),
        *_part("Written off and rounded", books, (LedgerKind.WRITTEN_OFF, LedgerKind.ROUNDED), span),
        *_part("Announced, not received", books, (LedgerKind.ANNOUNCED,), span),
        *_drawer(books),
        *_open(books, made),
    ]
    document = Document(
        id=random_id(16),
        kind=DocumentKind.BOOKS,
        title=f"Books, {when}",
        shop=issuer.name,
        issued=day_words(made),
        currency=books.currency,
        total="",
        blocks=tuple(blocks),
        demo=shop.demo,
        form=FORM,
    )
    spoken = in_language(document, shop.settings.language, tuple(_own_texts(shop, books, find)))
    return document if spoken.missing else spoken.document


def _own_texts(shop: ShopContext, books: Ledger, find: str) -> Iterator[str]:
    """What shop and customers call things by: nobody translates that."""
    issuer = shop.settings.issuer
    yield from (find, issuer.name, *issuer.address, issuer.tax_id)
    yield ", ".join(filter(None, (issuer.name, *issuer.address)))
    for row in books.rows:
        yield from (row.number, row.job)
    for one in books.open:
        yield from (one.number, one.job)
    for moved in books.drawer:
        yield moved.what.partition(", ")[2]


def cut_words() -> str:
    """Said where more was found than is told."""
    return f"More was found than the last {MOST} that are told here: say more, or a time."


def write_books(shop: ShopContext, span: str = "", out: Path | None = None, find: str = "") -> Path:
    """Write the books of a time as a PDF, among the shop's papers if nobody says where. It is drawn anew each
    time and kept by nobody but you.
    """
    from ..report.pdf import render_pdf
    from ..report.personal_text import resolver

    path = out or path_of(shop, file_name(f"books {span or 'all'}{' found' if find else ''}"))
    drawn = render_pdf(books_paper(shop, span, find), resolver({}), None)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_over(path, drawn)
    return path


def span_words(span: str) -> str:
    """A day, a month or a year in words.

    >>> span_words("2026-11-28"), span_words("2026-11"), span_words("2026"), span_words("")
    ('28 Nov 2026', 'November 2026', '2026', 'from the beginning')
    """
    if len(span) == _LENGTH_OF_MONTH:
        return f"{calendar.month_name[date.fromisoformat(f'{span}-01').month]} {span[:4]}"
    return day_words(span) or "from the beginning"


def _part(
    title: str, books: Ledger, kinds: Sequence[LedgerKind], span: str, *, with_tax: bool = False
) -> Iterator[Block]:
    """The rows of these kinds and their sum; nothing where there are none. Money that came in, and what is
    not asked for any more, is above zero here.
    """
    rows = [row for row in books.rows if row.kind in kinds]
    if not with_tax and LedgerKind.ANNOUNCED not in kinds:
        rows = [attrs.evolve(row, amount=-row.amount) for row in rows]
    if not rows:
        return
    told = _by_month(rows, books.currency) if len(span) in (0, _LENGTH_OF_YEAR) else map(_row, rows)
    last = ("", "In all", *_amounts(rows, books.currency))
    table = [row if with_tax else (row[0], row[1], row[-1]) for row in (*told, last)]
    yield Heading(text=title)
    yield Table(
        titles=("Day", "What", "Net", "Tax", books.currency) if with_tax else ("Day", "What", books.currency),
        rows=tuple(table),
        shares=_SHARES if with_tax else _FEWER,
        numbers=3 if with_tax else 1,
    )


def _row(row: LedgerRow) -> tuple[str, ...]:
    what = ", ".join(filter(None, (str(row.kind), row.number, row.job, row.note)))
    net, tax = (str(one) if one is not None else "" for one in (row.net, row.tax))
    return (day_words(row.day), what, net, tax, str(row.amount))


def _by_month(rows: Sequence[LedgerRow], currency: str) -> Iterator[tuple[str, ...]]:
    for month in sorted({row.day[:_LENGTH_OF_MONTH] for row in rows}):
        for kind in dict.fromkeys(row.kind for row in rows):
            found = [row for row in rows if row.kind is kind and row.day.startswith(month)]
            if found:
                count = f"{len(found)} × {kind}"
                yield (span_words(month), count, *_amounts(found, currency))


def _amounts(rows: Sequence[LedgerRow], currency: str) -> tuple[str, str, str]:
    """Net, tax and amount of these rows; net and tax only where each row says them."""

    def summed(amounts: Iterable[Money | None]) -> str:
        known = list(amounts)
        return str(total((one for one in known if one is not None), currency)) if None not in known else ""

    return (
        summed(row.net for row in rows),
        summed(row.tax for row in rows),
        str(total((row.amount for row in rows), currency)),
    )


def _by_rate(books: Ledger) -> Iterator[Block]:
    if books.by_rate:
        yield Table(
            titles=("Tax by rate", "Net", "Tax"),
            rows=tuple(
                (f"{one.percent.normalize():f} %", str(one.base), str(one.tax))
                for one in books.by_rate.values()
            ),
            shares=(63.0, 19.0, 18.0),
            numbers=2,
        )


def _in_hand(books: Ledger) -> Iterator[Block]:
    if books.in_hand:
        rows = tuple((f"In hand, {way}", str(amount), False) for way, amount in books.in_hand.items())
        yield Totals(rows=rows, currency=books.currency)


def _drawer(books: Ledger) -> Iterator[Block]:
    if not books.drawer:
        return
    before = books.drawer_before or Money(0, books.currency)
    rows = [("", "In it before", "", str(before))]
    rows += [
        (
            day_words(row.day),
            f"counted, {row.amount} from what should be there" if row.counted else row.what,
            str(row.amount),
            str(row.left),
        )
        for row in books.drawer
    ]
    yield Heading(text="Cash drawer")
    yield Table(
        titles=("Day", "What", books.currency, "In it"),
        rows=tuple(rows),
        shares=(17.0, 55.0, 14.0, 14.0),
        numbers=2,
    )


def _open(books: Ledger, made: str) -> Iterator[Block]:
    yield Heading(text=f"Open on {day_words(made)}")
    if not books.open:
        yield Paragraph(words=("Nothing is open.",))
        return
    rows = []
    for one in books.open:
        until = f", {'overdue since' if one.is_overdue else 'until'} {day_words(one.due_on)}"
        what = f"{one.number or 'no invoice yet'}, {one.job}{until if one.due_on else ''}"
        rows.append((what, str(one.due)))
    rows.append(("In all", str(total((one.due for one in books.open), books.currency))))
    yield Table(titles=("What", books.currency), rows=tuple(rows), shares=(84.0, 16.0))
