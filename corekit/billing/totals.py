"""What lines come to: net, tax per rate on the document, gross, and what is due.

Source: EN 16931-1 business terms (BT) and rules (BR-CO), read from its published validation artefacts
v1.3.16.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import attrs

from ..errors import InputError
from ..model.money import Money, total
from .book import OUTSIDE_TAX, PriceBook
from .line import IN_LUMP_SUM, Condition, Line, LineKind


@attrs.frozen(kw_only=True)
class Adjustment:
    """An allowance or a charge on the whole document (BG-20, BG-21): what for, how much (not negative), at
    which rate.
    """

    text: str
    amount: Money
    tax: str

    def __attrs_post_init__(self) -> None:
        if self.amount.minor < 0:
            raise InputError(f"{self.text}: an allowance or charge is not negative; got {self.amount}.")


@attrs.frozen(kw_only=True)
class RateTotal:
    """One rate's share: its name, percent (BT-119), taxable amount (BT-116) and tax (BT-117).

    Where prices have tax in them, base and tax together are what the prices come to.
    """

    rate: str
    percent: Decimal
    base: Money
    tax: Money


@attrs.frozen(kw_only=True)
class BillTotals:
    """What a document comes to.

    Attributes:
        sum_of_lines: BT-106; of prices with tax what is left of them without it.
        allowances, charges: BT-107, BT-108.
        net: Total before tax (BT-109).
        per_rate: One row per rate that occurs, in the price book's order; none for a shop outside tax.
        tax: BT-110.
        gross: Total with tax (BT-112).
        outside_tax: Why no tax is shown; empty when it is.
    """

    sum_of_lines: Money
    allowances: Money
    charges: Money
    net: Money
    per_rate: tuple[RateTotal, ...]
    tax: Money
    gross: Money
    outside_tax: str = ""


@attrs.frozen(kw_only=True)
class Payable:
    """What is to be paid: gross (BT-112), paid so far (BT-113), rounding amount (BT-114), due (BT-115)."""

    gross: Money
    paid: Money
    rounding: Money
    due: Money


def totals(
    lines: Sequence[Line],
    book: PriceBook,
    allowances: Sequence[Adjustment] = (),
    charges: Sequence[Adjustment] = (),
) -> BillTotals:
    """Sum rounded lines (BR-CO-10), less allowances, plus charges (BR-CO-13); tax once per rate on the
    document (BR-CO-17), summed (BR-CO-14); gross (BR-CO-15). Of prices with tax in them the sum stays what it
    is, and tax is taken out of it once per rate; allowances and charges are net. Where the rate of work hangs
    on whether a part is supplied with it, these lines decide it (`taxed`).

    Raises:
        ValueError: a rate that the price book does not have, or another currency than the price book's.
    """
    zero = Money(0, book.currency)
    bases: dict[str, Money] = {}
    with_tax: dict[str, Money] = {}
    lines = taxed(lines, book)
    for line in lines:
        percent_of(line.tax, book)
        sums = with_tax if line.with_tax else bases
        sums[line.tax] = sums.get(line.tax, zero) + line.net
    signed = [(item.tax, -item.amount) for item in allowances] + [(item.tax, item.amount) for item in charges]
    for rate, amount in signed:
        percent_of(rate, book)
        bases[rate] = bases.get(rate, zero) + amount
    per_rate = tuple(
        _rate_total(rate, percent, bases.get(rate, zero), with_tax.get(rate, zero))
        for rate, percent in book.rates.items()
        if rate in bases or rate in with_tax
    )
    sum_of_lines = total(
        (
            *(line.net for line in lines if not line.with_tax),
            *(out_of_gross(amount, percent_of(rate, book))[0] for rate, amount in with_tax.items()),
        ),
        book.currency,
    )
    taken, added = (
        total((item.amount for item in allowances), book.currency),
        total((item.amount for item in charges), book.currency),
    )
    net, tax = sum_of_lines - taken + added, total((row.tax for row in per_rate), book.currency)
    return BillTotals(
        sum_of_lines=sum_of_lines,
        allowances=taken,
        charges=added,
        net=net,
        per_rate=per_rate,
        tax=tax,
        gross=net + tax,
        outside_tax=book.outside_tax,
    )


def taxed(lines: Sequence[Line], book: PriceBook) -> tuple[Line, ...]:
    """These lines of one job with the rates that they are taxed at together.

    Where the price book says so (`with_parts`), everything that has the usual rate of its kind and is no part
    takes another one as soon as a part or supplies are supplied with it; the customer's own part is not
    supplied. Lines that were taxed so once stay so. A part in a lump sum has the rate of the lump sum.
    """
    if book.with_parts and any(map(is_supplied, lines)):
        lines = [
            attrs.evolve(line, tax=book.with_parts)
            if line.kind is not LineKind.PART and line.tax == book.tax_of[line.kind]
            else line
            for line in lines
        ]
    lump_sums = {line.operation: line.tax for line in lines if line.kind is LineKind.LUMP_SUM}
    if not lump_sums:
        return tuple(lines)
    return tuple(
        attrs.evolve(line, tax=lump_sums[line.operation])
        if line.waived == IN_LUMP_SUM and line.operation in lump_sums
        else line
        for line in lines
    )


def is_supplied(line: Line) -> bool:
    """True of a part or of supplies of the shop's, charged or not."""
    return line.kind is LineKind.SUPPLIES or (
        line.kind is LineKind.PART and line.condition is not Condition.CUSTOMERS_OWN
    )


def _rate_total(rate: str, percent: Decimal, base: Money, with_tax: Money) -> RateTotal:
    """What is charged at one rate before tax and with it, as net amount and tax."""
    net, tax_within = out_of_gross(with_tax, percent)
    return RateTotal(
        rate=rate, percent=percent, base=base + net, tax=base.times(percent.scaleb(-2)) + tax_within
    )


def percent_of(rate: str, book: PriceBook) -> Decimal:
    """The percent of a rate by its name; 0 for the lines of a shop outside tax.

    Raises:
        ValueError: the price book has no such rate.
    """
    if rate == OUTSIDE_TAX and book.outside_tax:
        return Decimal(0)
    if rate not in book.rates:
        raise InputError(
            f'{book.where}: tax.rates has no rate "{rate}", which a line names; add it, or make the estimate'
            " again with today's rates."
        )
    return book.rates[rate]


def payable(of: BillTotals, paid: Money | None = None, rounding: Money | None = None) -> Payable:
    """What is due: gross less what was paid plus the rounding amount (BR-CO-16).

    The rounding amount is for cash without small coins, and for a cent by which tax on one invoice differs
    from tax on the estimates approved. It stands by itself and never changes net, tax or gross.
    """
    zero = Money(0, of.gross.currency)
    paid, rounding = paid or zero, rounding or zero
    return Payable(gross=of.gross, paid=paid, rounding=rounding, due=of.gross - paid + rounding)


def out_of_gross(gross: Money, percent: Decimal) -> tuple[Money, Money]:
    """Net and tax within a price that includes tax: net = gross / (1 + percent / 100) rounded half up, tax
    the rest.

    Raises:
        ValueError: the percent is negative.
    """
    if percent < 0:
        raise InputError(f"A tax rate is not negative; got {percent} %.")
    (above, below), (rate, share) = gross.amount.as_integer_ratio(), percent.as_integer_ratio()
    net = Money.ratio(above * 100 * share, below * (100 * share + rate), gross.currency)
    return net, gross - net
