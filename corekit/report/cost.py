"""What it costs: priced lines with their grounds, and what they come to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

import attrs

from ..billing.line import PIECE, Ground, Line, LineKind
from ..billing.totals import BillTotals, Payable
from ..model.document import Block, Paragraph, PricedLines, PricedRow, Totals
from ..model.money import Money
from .sheet import Sheet


def priced_lines(lines: Sequence[Line], totals: BillTotals, sheet: Sheet) -> PricedLines:
    """One row a line; a ground that the line before has already is not repeated."""
    rates = {row.rate: f"{_plain(row.percent)} %" for row in totals.per_rate}
    rows = []
    for before, line in zip([None, *lines], lines, strict=False):
        row = _priced_row(line, rates)
        same = (
            before is not None
            and before.operation
            and (before.operation, before.ground) == (line.operation, line.ground)
        )
        rows.append(attrs.evolve(row, ground="Reason as above") if same else row)
    return PricedLines(rows=tuple(rows), currency=sheet.currency)


def _priced_row(line: Line, rates: Mapping[str, str]) -> PricedRow:
    notes = [f"condition: {line.condition}"] if line.condition else []
    if line.shown_by and line.kind is LineKind.LABOUR:
        notes.append(f"shown by: {line.shown_by}")
    if line.waived:
        notes.append(line.waived)
    return PricedRow(
        text=line.text,
        ground=ground_words(line.ground),
        quantity=_quantity(line.quantity, line.unit),
        price=_price(line.price, line.net),
        net=str(line.net),
        tax=rates.get(line.tax, "none"),
        note="; ".join(notes),
    )


def ground_words(ground: Ground) -> str:
    """The ground of a line as it is printed: a finding speaks for itself, any other says whose
    ground it is.
    """
    return ground.text if ground.finding_code else f"{_GROUNDS[ground.kind]}: {ground.text}"


_GROUNDS = {
    "customer": "Your request",
    "scheduled": "Scheduled",
    "judgement": "Mechanic's judgement",
    "rework": "Warranty repair",
    "finding": "Finding",
}


def _plain(number: Decimal) -> str:
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _quantity(quantity: Decimal, unit: str) -> str:
    """`4 pieces`, `0.6 h`; what is no whole number counts no pieces and stands alone: 0.8 of a litre."""
    number = _plain(quantity)
    if unit != PIECE:
        return f"{number} {unit}".strip()
    return number if "." in number else f"{number} {PIECE}{'' if quantity == 1 else 's'}"


def _price(price: Decimal, like: Money) -> str:
    """A unit price with at least the currency's decimals, and more only where it has them."""
    rounded = Money.of(price, like.currency)
    return str(rounded) if rounded.amount == price else _plain(price)


def sums(
    totals: BillTotals, payable: Payable | None, sheet: Sheet, payments: Sequence[tuple[str, Money]] = ()
) -> list[Block]:
    """What the lines come to; with a Payable also what was paid and is due."""
    rows: list[tuple[str, str, bool]] = [("Net", str(totals.net), False)]
    rows += [(f"Tax {_plain(row.percent)} % on {row.base}", str(row.tax), False) for row in totals.per_rate]
    if payable is not None and payable.rounding.minor:
        rows.append(("Rounding, to the approved total", str(payable.rounding), False))
    gross = totals.gross + payable.rounding if payable is not None else totals.gross
    rows.append(("Total", str(gross), True))
    if payable is not None:
        rows += [(f"Paid, {how}", f"-{amount}", False) for how, amount in payments]
        rows.append(
            ("Due", str(payable.due), True)
            if payable.due.minor >= 0
            else ("Refund due to you", str(-payable.due), True)
        )
    blocks: list[Block] = [Totals(rows=tuple(rows), currency=sheet.currency)]
    if totals.outside_tax:
        blocks.append(Paragraph(words=(f"No tax is shown: {totals.outside_tax}",), tone="small"))
    if payable is not None and payable.due.minor > 0 and sheet.issuer.pays_by:
        blocks.append(Paragraph(words=(sheet.issuer.pays_by,), tone="small"))
    return blocks
