"""What it costs: priced lines with their grounds, and what they come to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

import attrs

from ..account.quantity import plain_number, quantity_words
from ..billing.line import IN_LUMP_SUM, Ground, Line, LineKind
from ..billing.totals import BillTotals, Payable
from ..model.account_number import grouped
from ..model.document import MIXED, WITH_TAX, Block, Paragraph, PricedLines, PricedRow, Totals
from ..model.money import Money, total
from .dates import day_words
from .sheet import Sheet


def priced_lines(lines: Sequence[Line], totals: BillTotals, sheet: Sheet) -> PricedLines:
    """One row a line; a ground that the line before has already is not repeated."""
    rates = {row.rate: f"{plain_number(row.percent)} %" for row in totals.per_rate}
    is_mixed = price_basis(lines) == MIXED
    rows = []
    for before, line in zip([None, *lines], lines, strict=False):
        row = _priced_row(line, rates, says_basis=is_mixed)
        same = (
            before is not None
            and before.operation
            and (before.operation, before.ground) == (line.operation, line.ground)
        )
        rows.append(attrs.evolve(row, ground="Reason as above") if same else row)
    return PricedLines(rows=tuple(rows), currency=sheet.currency)


def price_basis(lines: Sequence[Line]) -> str:
    """What the prices of these lines are; see `Document.prices`."""
    said = {line.with_tax for line in lines}
    return "" if said <= {False} else WITH_TAX if said == {True} else MIXED


def _priced_row(line: Line, rates: Mapping[str, str], *, says_basis: bool) -> PricedRow:
    notes = [f"number: {line.number}"] if line.number else []
    if says_basis:
        notes.append("price with tax" if line.with_tax else "price before tax")
    notes += [f"condition: {line.condition}"] if line.condition else []
    if line.shown_by and line.kind in (LineKind.LABOUR, LineKind.LUMP_SUM):
        notes.append(f"shown by: {line.shown_by}")
    notes += [note for note in (line.changed, line.off, line.waived) if note]
    return PricedRow(
        text=line.text,
        ground=ground_words(line.ground),
        quantity=quantity_words(line.quantity, line.unit),
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


def _price(price: Decimal, like: Money) -> str:
    """A unit price with at least the currency's decimals, and more only where it has them."""
    rounded = Money.of(price, like.currency)
    return str(rounded) if rounded.amount == price else plain_number(price)


def sums(
    lines: Sequence[Line],
    totals: BillTotals,
    payable: Payable | None,
    sheet: Sheet,
    payments: Sequence[tuple[str, Money]] = (),
    approved: Money | None = None,
    on_earlier: Money | None = None,
) -> list[Block]:
    """What the lines come to; with a Payable also what was paid and is still to pay.

    Args:
        approved: What was approved: before this paper where it asks for more, else in all.
        on_earlier: Tax that is due because this work and what was approved before come on one invoice.
    """
    rows = [*_by_kind(lines, sheet), ("Net", str(totals.net), False)]
    rows += [
        (f"Tax {plain_number(row.percent)} % on {row.base}", str(row.tax), False) for row in totals.per_rate
    ]
    if payable is not None and payable.rounding.minor:
        rows.append(("Rounding, to the approved total", str(payable.rounding), False))
    gross = totals.gross + payable.rounding if payable is not None else totals.gross
    if on_earlier is not None and on_earlier.minor:
        rows.append(("Tax, because work and parts come on one invoice", str(on_earlier), False))
        gross += on_earlier
    rows.append(("Total", str(gross), True))
    if approved is not None and payable is not None:
        rows.append(("Approved by you", str(approved), False))
    elif approved is not None and approved.minor:
        rows.append(("Approved by you before", str(approved), False))
        rows.append(("Together with it", str(approved + gross), False))
    if payable is not None:
        rows += [paid_row(how, amount) for how, amount in payments]
        rows.append(
            ("Still to pay", str(payable.due), True)
            if payable.due.minor >= 0
            else ("Refund due to you", str(-payable.due), True)
        )
    blocks: list[Block] = [Totals(rows=tuple(rows), currency=sheet.currency)]
    if totals.outside_tax:
        blocks.append(Paragraph(words=(f"No tax is shown: {totals.outside_tax}",), tone="small"))
    if payable is not None and payable.due.minor > 0 and sheet.due_on:
        blocks.append(Paragraph(words=(f"Please pay until {day_words(sheet.due_on)}.",), tone="small"))
    if payable is not None and payable.due.minor > 0 and sheet.issuer.pays_by:
        blocks.append(Paragraph(words=(sheet.issuer.pays_by,), tone="small"))
    if payable is not None and payable.due.minor > 0 and sheet.issuer.iban:
        account = f"By transfer: {sheet.issuer.name}, {grouped(sheet.issuer.iban)}"
        bank = f", {sheet.issuer.bic}" if sheet.issuer.bic else ""
        said = f"{account}{bank}, with the number of this invoice."
        blocks.append(Paragraph(words=(said,), tone="small"))
    return blocks


def _by_kind(lines: Sequence[Line], sheet: Sheet) -> list[tuple[str, str, bool]]:
    """Work and parts apart, where there are both; not where only some have tax in their price."""
    if price_basis(lines) == MIXED:
        return []
    with_tax = ", with tax" if price_basis(lines) else ""
    parts = [line.net for line in lines if line.kind is LineKind.PART and line.waived != IN_LUMP_SUM]
    supplies = [line.net for line in lines if line.kind is LineKind.SUPPLIES]
    lump_sums = [line.net for line in lines if line.kind is LineKind.LUMP_SUM]
    others = (LineKind.PART, LineKind.SUPPLIES, LineKind.LUMP_SUM)
    work = [line.net for line in lines if line.kind not in others]
    sums = [("Work", work), ("Parts", parts), ("Supplies", supplies), ("Lump sums", lump_sums)]
    if sum(bool(nets) for _, nets in sums) < 2:
        return []
    return [(f"{title}{with_tax}", str(total(nets, sheet.currency)), False) for title, nets in sums if nets]


def paid_row(how: str, amount: Money, before: str = "") -> tuple[str, str, bool]:
    """A payment, or money given back, as a row of the totals."""
    if amount.minor < 0:
        return (f"Given back{before}, {how}", str(-amount), False)
    return (f"Paid{before}, {how}", f"-{amount}", False)


def facts(payable: Payable, sheet: Sheet) -> tuple[tuple[str, str, bool], ...]:
    """The total, and whether it is paid, for the line under the answer."""
    whole = payable.gross + payable.rounding
    gross = f"{whole} {sheet.currency}"
    if payable.due.minor == 0:  # where nothing is charged nothing was paid either
        return (("Total", f"{gross}, {'paid' if whole.minor else 'nothing to pay'}", True),)
    if payable.due.minor < 0:
        return (("Total", gross, True), ("Refund due to you", f"{-payable.due} {sheet.currency}", True))
    return (("Total", gross, True), ("Still to pay", f"{payable.due} {sheet.currency}", True))
