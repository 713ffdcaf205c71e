"""Prices that have tax in them: what is charged is their sum, tax is taken out of it once for each rate.

Expected values by hand: at 19 % the tax in G is G × 19/119, at 20 % a sixth of G (the VAT fraction).
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.billing.book import PriceBook
from corekit.billing.credit import CreditAsked, credited_lines
from corekit.billing.estimate import WorkItem, diagnosis_lines, repair_lines
from corekit.billing.line import (
    Condition,
    Ground,
    GroundKind,
    Line,
    LineKind,
    from_data,
    priced_line,
    to_data,
)
from corekit.billing.price_file import read_price_book
from corekit.billing.totals import totals
from corekit.errors import InputError
from corekit.fault import DataFileError
from corekit.model.money import Money

GROUND = Ground(kind=GroundKind.CUSTOMER, text="asked for it")
FILE: dict[str, Any] = {
    "currency": "EUR",
    "tax": {"rates": {"high": "19", "low": "7", "sixth": "20"}, "default": "high", "included": True},
    "labour": {"per_hour": "119.00"},
    "call_out": "23.80",
    "diagnosis": {"price": "59.50"},
    "operations": {
        "a.b": {
            "hours": "0.5",
            "parts": [
                {
                    "name": "Part",
                    "price": "10.70",
                    "quantity": "2",
                    "condition": "new",
                    "tax": "low",
                    "core": "5.35",
                }
            ],
        }
    },
    "supplies": {"percent": "10"},
}
BOOK = read_price_book(FILE, "prices.toml")


def book(**tax: Any) -> PriceBook:
    return read_price_book({**FILE, "tax": tax}, "prices.toml")


def line(price: str, rate: str = "high", quantity: str = "1", *, with_tax: bool = True) -> Line:
    return priced_line(
        kind=LineKind.PART,
        text=f"part at {price}",
        ground=GROUND,
        quantity=Decimal(quantity),
        unit="piece",
        price=Decimal(price),
        currency="EUR",
        tax=rate,
        operation="a.b",
        condition=Condition.NEW,
        with_tax=with_tax,
    )


def parts_of(*lines: Line) -> tuple[str, ...]:
    came = totals(lines, BOOK)
    return tuple(map(str, (came.net, came.tax, came.gross)))


@pytest.mark.parametrize(
    ("lines", "parts"),
    [
        ([line("119.00")], ("100.00", "19.00", "119.00")),
        ([line("49.99")], ("42.01", "7.98", "49.99")),  # 49.99 × 19/119 = 7.9816
        ([line("250.00", "sixth")], ("208.33", "41.67", "250.00")),  # a sixth is 41.666…
        # 3 × 9.99 = 29.97, of it 4.785…; each apart would be 1.595, so 1.60, and 4.80 together.
        ([line("9.99"), line("9.99"), line("9.99")], ("25.18", "4.79", "29.97")),
        # 7 %: 10.70 has 0.70 in it; 19 %: 11.90 has 1.90.
        ([line("10.70", "low"), line("11.90")], ("20.00", "2.60", "22.60")),
        ([line("0.01")], ("0.01", "0.00", "0.01")),
        ([], ("0.00", "0.00", "0.00")),
    ],
)
def test_tax_is_within_what_the_prices_come_to(lines: list[Line], parts: tuple[str, ...]) -> None:
    assert parts_of(*lines) == parts


@given(
    st.lists(
        st.tuples(st.integers(0, 10**6), st.integers(1, 9999), st.sampled_from(("high", "low", "sixth"))),
        max_size=12,
    )
)
def test_whatever_the_prices_their_sum_is_charged_and_tax_is_right_to_half_a_cent(
    drawn: list[tuple[int, int, str]],
) -> None:
    lines = [line(f"{price / 100:.2f}", rate, f"{many / 1000:.3f}") for price, many, rate in drawn]
    came = totals(lines, BOOK)
    assert came.gross == sum((one.net for one in lines), Money(0, "EUR"))
    for row in came.per_rate:
        whole = sum(one.net.minor for one in lines if one.tax == row.rate)
        assert row.base.minor + row.tax.minor == whole
        exact = Fraction(whole) * Fraction(row.percent) / (100 + Fraction(row.percent))
        assert abs(exact - row.tax.minor) <= Fraction(1, 2)


def test_every_line_that_the_book_makes_has_tax_in_its_price() -> None:
    lines = (
        *diagnosis_lines(BOOK),
        *repair_lines(BOOK, [WorkItem(operation="a.b", title="Work", ground=GROUND)]),
    )
    assert all(one.with_tax for one in lines)
    assert {one.kind for one in lines} >= {
        LineKind.CALL_OUT,
        LineKind.LABOUR,
        LineKind.PART,
        LineKind.SUPPLIES,
    }
    # 23.80 + 59.50 + 59.50 labour + 5.95 supplies at 19 %: 148.75, of it 23.75; 21.40 + 10.70 at 7 %: 2.10.
    came = totals(lines, BOOK)
    assert (str(came.gross), str(came.tax)) == ("180.85", "25.85")


def test_net_lines_and_lines_with_tax_add_up_side_by_side() -> None:
    # 100.00 net and 119.00 with tax at one rate: net 200.00, tax 38.00.
    assert parts_of(line("100.00", with_tax=False), line("119.00")) == ("200.00", "38.00", "238.00")


def test_a_line_says_in_its_data_that_tax_is_in_it_and_an_older_one_says_nothing() -> None:
    assert from_data(to_data(line("10.00"))) == line("10.00")
    assert "with_tax" not in to_data(line("10.00", with_tax=False))
    with pytest.raises(InputError, match="with_tax: must be true or false"):
        from_data({**to_data(line("10.00")), "with_tax": "yes"})


def test_a_credit_note_takes_out_the_same_tax() -> None:
    credited = credited_lines([line("49.99")], CreditAsked())
    assert parts_of(*credited) == ("-42.01", "-7.98", "-49.99")


@pytest.mark.parametrize("key", ["none", "reverse_charge"])
def test_a_shop_that_shows_no_tax_has_none_in_its_prices(key: str) -> None:
    with pytest.raises(DataFileError, match="included"):
        book(**{key: "why", "included": True})


def test_prices_are_net_where_nothing_is_said() -> None:
    assert not book(rates={"high": "19", "low": "7"}, default="high").with_tax
