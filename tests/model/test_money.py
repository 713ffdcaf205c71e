"""Money in whole minor units. Judge: EN 16931 rounding (half up, away from zero) in exact fractions."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.model.money import Money, minor_digits, total

AMOUNTS = st.decimals(-(10**9), 10**9, allow_nan=False, places=5)
MINOR = st.integers(-(10**12), 10**12)
CURRENCIES = st.sampled_from(["EUR", "JPY", "KWD"])


def half_up(exact: Fraction) -> int:
    """Away from zero at the half: the whole number nearest to it."""
    whole = math.floor(abs(exact) + Fraction(1, 2))
    return -whole if exact < 0 else whole


@given(AMOUNTS, CURRENCIES)
def test_an_amount_is_rounded_half_up_to_the_minor_unit(amount: Decimal, currency: str) -> None:
    assert Money.of(amount, currency).minor == half_up(Fraction(amount) * 10 ** minor_digits(currency))


@given(MINOR, AMOUNTS, CURRENCIES)
def test_a_product_is_rounded_once(minor: int, factor: Decimal, currency: str) -> None:
    assert Money(minor, currency).times(factor).minor == half_up(minor * Fraction(factor))


@given(MINOR, CURRENCIES)
def test_an_amount_comes_back_from_its_text(minor: int, currency: str) -> None:
    money = Money(minor, currency)
    assert Money.of(str(money), currency) == money
    assert Money.of(money.amount, currency) == money


@given(MINOR, MINOR, CURRENCIES)
def test_sums_and_order_are_those_of_the_minor_units(one: int, other: int, currency: str) -> None:
    a, b = Money(one, currency), Money(other, currency)
    assert (a + b, a - b, -a) == (
        Money(one + other, currency),
        Money(one - other, currency),
        Money(-one, currency),
    )
    assert [a < b, a <= b, a > b, a >= b] == [one < other, one <= other, one > other, one >= other]
    assert total([a, b, a], currency) == Money(2 * one + other, currency)


@pytest.mark.parametrize(
    ("minor", "currency", "text"),
    [
        (5, "EUR", "0.05"),
        (-5, "EUR", "-0.05"),
        (0, "EUR", "0.00"),
        (1234, "JPY", "1234"),
        (1234, "KWD", "1.234"),
    ],
)
def test_money_is_printed_with_the_digits_of_its_currency(minor: int, currency: str, text: str) -> None:
    assert str(Money(minor, currency)) == text  # minor digits: ISO 4217, from memory


def test_what_rounds_to_nought_from_below_is_plain_nought() -> None:
    assert str(Money.of("-0.004", "EUR")) == "0.00"


@pytest.mark.parametrize("amount", [0.1, "12,50", "nan", "inf", "1e50", "", None, "12.5 EUR"], ids=repr)
def test_what_is_no_plain_number_is_refused(amount: Any) -> None:
    with pytest.raises(ValueError, match=r"plain number|No float"):
        Money.of(amount, "EUR")
    with pytest.raises(ValueError, match=r"plain number|No float"):
        Money(100, "EUR").times(amount)


@pytest.mark.parametrize("minor", [1.0, "1", True, Decimal(1)], ids=repr)
def test_minor_units_are_whole(minor: Any) -> None:
    with pytest.raises(ValueError, match="whole minor units"):
        Money(minor, "EUR")


def test_two_currencies_do_not_meet() -> None:
    euro, pound = Money(1, "EUR"), Money(1, "GBP")
    assert euro != pound
    for meet in (
        lambda: euro + pound,
        lambda: euro - pound,
        lambda: euro < pound,
        lambda: total([pound], "EUR"),
    ):
        with pytest.raises(ValueError, match=r"EUR and GBP cannot be added"):
            meet()
