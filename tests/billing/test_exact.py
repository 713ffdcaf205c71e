"""Exact fractions as the judge of many random invoices: every line, base, tax and total to the cent."""

from __future__ import annotations

import random
from decimal import Decimal
from fractions import Fraction

import pytest

from corekit.billing.credit import CreditAsked, credited_lines, left_of
from corekit.billing.line import Condition, Ground, GroundKind, Line, LineKind, priced_line
from corekit.billing.price_file import read_price_book
from corekit.billing.totals import out_of_gross, totals
from corekit.model.money import Money

BOOK = read_price_book(
    {
        "currency": "EUR",
        "tax": {"rates": {"high": "19", "odd": "8.875", "low": "5"}, "default": "high"},
        "labour": {"per_hour": "60.00"},
        "diagnosis": {"price": "50.00"},
        "operations": {"a.b": {"hours": "1"}},
    },
    "prices.toml",
)
GROUND = Ground(kind=GroundKind.CUSTOMER, text="asked for it")
INVOICES, BATCHES = 50_000, 5


def cents(exact: Fraction) -> int:
    """Half up, away from zero."""
    whole = int(abs(exact) * 100 + Fraction(1, 2))
    return whole if exact >= 0 else -whole


def line_of(draw: random.Random) -> tuple[Line, Fraction, str]:
    quantity = Decimal(draw.randrange(1, 10**4)).scaleb(-draw.randrange(0, 4))
    price = Decimal(draw.randrange(0, 10**6)).scaleb(-draw.randrange(0, 5))
    rate = draw.choice(("high", "odd", "low"))
    line = priced_line(
        kind=LineKind.PART,
        text=f"part {draw.randrange(10**9)}",
        ground=GROUND,
        quantity=quantity,
        unit="piece",
        price=price,
        currency="EUR",
        tax=rate,
        operation="a.b",
        condition=Condition.NEW,
    )
    return line, Fraction(quantity) * Fraction(price), rate


@pytest.mark.parametrize("batch", range(BATCHES))
def test_every_random_invoice_is_right_to_the_cent(batch: int) -> None:
    draw = random.Random(batch)
    percents = {"high": Fraction(19), "odd": Fraction(8875, 1000), "low": Fraction(5)}
    for _ in range(INVOICES // BATCHES):
        drawn = [line_of(draw) for _ in range(draw.randrange(1, 5))]
        bases: dict[str, int] = {}
        for line, exact, rate in drawn:
            assert line.net.minor == cents(exact), line
            bases[rate] = bases.get(rate, 0) + cents(exact)
        sums = totals([line for line, _, _ in drawn], BOOK)
        taxes = {rate: cents(Fraction(base, 100) * percents[rate] / 100) for rate, base in bases.items()}
        assert {row.rate: (row.base.minor, row.tax.minor) for row in sums.per_rate} == {
            rate: (bases[rate], taxes[rate]) for rate in bases
        }
        assert sums.net.minor == sum(bases.values())
        assert sums.gross.minor == sum(bases.values()) + sum(taxes.values())


HANGING = read_price_book(
    {
        "currency": "EUR",
        "tax": {
            "rates": {"high": "19", "odd": "8.875", "none at all": "0"},
            "default": "high",
            "labour": "none at all",
            "call_out": "odd",
            "with_parts": "high",
        },
        "labour": {"per_hour": "60.00"},
        "diagnosis": {"price": "50.00"},
        "operations": {"a.b": {"hours": "1"}},
    },
    "prices.toml",
)


def test_every_random_invoice_whose_work_is_taxed_for_its_parts_is_right_to_the_cent() -> None:
    draw = random.Random(11)
    kinds = (LineKind.LABOUR, LineKind.CALL_OUT, LineKind.PART)
    percents = {"high": Fraction(19), "odd": Fraction(8875, 1000), "none at all": Fraction(0)}
    for _ in range(INVOICES // BATCHES):
        lines, nets = [], []
        for kind in draw.choices(kinds, (4, 2, 1), k=draw.randrange(1, 5)):
            own = draw.random() < 0.3
            condition = (Condition.CUSTOMERS_OWN if own else Condition.NEW) if kind is LineKind.PART else None
            price = Decimal(0) if own and condition else Decimal(draw.randrange(0, 10**6)).scaleb(-3)
            lines.append(
                priced_line(
                    kind=kind,
                    text="a line",
                    ground=GROUND,
                    quantity=Decimal(1),
                    unit="flat",
                    price=price,
                    currency="EUR",
                    tax=HANGING.tax_of[kind],
                    operation="a.b",
                    condition=condition,
                )
            )
            nets.append(cents(Fraction(price)))
        is_supplied = any(line.condition is Condition.NEW for line in lines)
        usual = {LineKind.LABOUR: "none at all", LineKind.CALL_OUT: "odd", LineKind.PART: "high"}
        bases: dict[str, int] = {}
        for line, net in zip(lines, nets, strict=True):
            rate = "high" if is_supplied else usual[line.kind]
            bases[rate] = bases.get(rate, 0) + net
        taxes = {rate: cents(Fraction(base, 100) * percents[rate] / 100) for rate, base in bases.items()}
        sums = totals(lines, HANGING)
        assert {row.rate: (row.base.minor, row.tax.minor) for row in sums.per_rate} == {
            rate: (bases[rate], taxes[rate]) for rate in bases
        }
        assert sums.gross.minor == sum(nets) + sum(taxes.values())


def test_what_is_credited_line_by_line_takes_an_invoice_to_nothing() -> None:
    draw = random.Random(7)
    for _ in range(500):
        lines = [line_of(draw)[0] for _ in range(draw.randrange(1, 4))]
        credited: list[Line] = []
        for line in lines:
            asked = CreditAsked(what="a.b", part=line.text)
            credited += credited_lines(left_of(lines, credited), asked)
        assert left_of(lines, credited) == ()
        assert sum(line.net.minor for line in (*lines, *credited)) == 0
        assert totals(credited, BOOK).gross == -totals(lines, BOOK).gross


def test_a_price_with_tax_is_parted_without_losing_a_cent() -> None:
    draw = random.Random(3)
    for _ in range(5000):
        gross, percent = draw.randrange(0, 10**7), Decimal(draw.randrange(0, 3000)).scaleb(-2)
        net, tax = out_of_gross(Money(gross, "EUR"), percent)
        assert net.minor == cents(Fraction(gross, 100) / (1 + Fraction(percent) / 100))
        assert net.minor + tax.minor == gross
