"""Totals against published invoices, and against exact fractions.

Source of core-inv-01 to 05: example files of the EN 16931 validation artefacts v1.3.16 (github
ConnectingEurope/eInvoicing-EN16931, figures only); each names its file. The artefacts themselves accept a tax
amount that is wrong by up to 0.99, so every figure here is compared to the cent.
"""

from __future__ import annotations

from decimal import Decimal, getcontext, localcontext
from fractions import Fraction

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.billing.book import PriceBook
from corekit.billing.line import Ground, GroundKind, Line, LineKind, line_net, priced_line
from corekit.billing.price_file import read_price_book
from corekit.billing.totals import Adjustment, out_of_gross, payable, totals
from corekit.model.money import Money, total

ASKED = Ground(kind=GroundKind.CUSTOMER, text="asked for it")


def book(**rates: str) -> PriceBook:
    tax = {"rates": rates, "default": next(iter(rates))} if rates else {"none": "small business"}
    return read_price_book(
        {
            "currency": "EUR",
            "tax": tax,
            "labour": {"per_hour": "60.00"},
            "diagnosis": {"price": "30.00"},
            "operations": {},
        },
        "prices.toml",
    )


def line(price: str, rate: str = "S", quantity: str = "1", per: str = "1") -> Line:
    return priced_line(
        kind=LineKind.LABOUR,
        text="work",
        ground=ASKED,
        quantity=Decimal(quantity),
        unit="h",
        price=Decimal(price),
        currency="EUR",
        tax=rate,
        per=Decimal(per),
    )


def eur(amount: str) -> Money:
    return Money.of(amount, "EUR")


@pytest.mark.parametrize("source", ["ubl-tc434-example1.xml"], ids=["core-inv-01"])
def test_two_rates_are_each_taxed_on_their_base(source: str) -> None:
    # Category bases 183.23 at 6 % and 46.37 at 21 %.
    came = totals([line("183.23", "low"), line("46.37", "high")], book(low="6", high="21"))
    assert [(row.rate, str(row.base), str(row.tax)) for row in came.per_rate] == [
        ("low", "183.23", "10.99"),
        ("high", "46.37", "9.74"),
    ]
    assert (str(came.net), str(came.tax), str(came.gross)) == ("229.60", "20.73", "250.33")
    assert str(payable(came).due) == "250.33"


# ubl-tc434-example1.xml: its lines that follow quantity × price (the last one, 6 × 18.33 with net -109.98,
# does not).
EXAMPLE_1 = [
    ("2", "9.95", "19.90"),
    ("1", "9.85", "9.85"),
    ("2", "7.23", "14.46"),
    ("3", "4.79", "14.37"),
    ("2", "1.65", "3.30"),
    ("2", "4.67", "9.34"),
    ("6", "17.02", "102.12"),
]


@pytest.mark.parametrize(
    ("quantity", "price", "net"), EXAMPLE_1, ids=[f"core-inv-02-{place}" for place in range(len(EXAMPLE_1))]
)
def test_a_line_comes_to_quantity_times_price(quantity: str, price: str, net: str) -> None:
    assert str(line_net(Decimal(quantity), Decimal(price), "EUR")) == net


@pytest.mark.parametrize("source", ["ubl-tc434-example2.xml"], ids=["core-inv-03"])
def test_allowance_charge_exempt_line_and_prepayment_come_out_to_the_cent(source: str) -> None:
    # 1460.50 at 25 % is 365.125: half up gives .13, rounding to even would give .12.
    lines = [
        line("1273.00", "S25"),
        line("-3.96", "S15"),
        line("4.96", "S15"),
        line("-25.00", "E0"),
        line("187.50", "S25"),
    ]
    adjustment = Adjustment(text="on the whole", amount=eur("100.00"), tax="S25")
    came = totals(lines, book(S25="25", S15="15", E0="0"), allowances=[adjustment], charges=[adjustment])
    assert str(came.sum_of_lines) == "1436.50"
    assert (str(came.allowances), str(came.charges)) == ("100.00", "100.00")
    assert str(came.net) == "1436.50"
    assert {row.rate: str(row.base) for row in came.per_rate} == {
        "S25": "1460.50",
        "S15": "1.00",
        "E0": "-25.00",
    }
    # Decimal gives -0.00 for the exempt rate.
    assert {row.rate: str(row.tax) for row in came.per_rate} == {"S25": "365.13", "S15": "0.15", "E0": "0.00"}
    assert (str(came.tax), str(came.gross)) == ("365.28", "1801.78")
    assert str(payable(came, paid=eur("1000.00")).due) == "801.78"


# ubl-tc434-example8.xml: quantity, price, price base quantity, net.
EXAMPLE_8 = [
    ("16000", "0.00880", "1", "140.80"),
    ("16000", "0.00101", "1", "16.16"),
    ("132", "15.24", "12", "167.64"),
    ("58", "1.53", "1", "88.74"),
    ("1", "441.00", "12", "36.75"),
    ("1", "678.00", "12", "56.50"),
    ("1", "83.34", "1", "83.34"),
    ("1", "190.31", "1", "190.31"),
    ("1", "64.21", "1", "64.21"),
    ("1", "64.46", "1", "64.46"),
]


@pytest.mark.parametrize("source", ["ubl-tc434-example8.xml"], ids=["core-inv-04"])
def test_prices_below_a_cent_and_prices_per_dozen_come_out_to_the_cent(source: str) -> None:
    lines = [line(price, "S", quantity, per) for quantity, price, per, _ in EXAMPLE_8]
    assert [str(each.net) for each in lines] == [net for *_, net in EXAMPLE_8]
    came = totals(lines, book(S="21"))
    assert (str(came.net), str(came.tax), str(came.gross)) == ("908.91", "190.87", "1099.78")


@pytest.mark.parametrize("source", ["sample-discount-price.xml"], ids=["core-inv-05"])
def test_a_discounted_price_below_a_cent_keeps_its_decimals(source: str) -> None:
    came = totals([line("0.1212", "S", "100")], book(S="25"))
    assert (str(came.net), str(came.tax), str(came.gross)) == ("12.12", "3.03", "15.15")


# Half up on the magnitude; float round(2.675, 2) gives 2.67. Source: Python's Decimal ROUND_HALF_UP.
@pytest.mark.parametrize(
    ("value", "rounded"),
    [("2.675", "2.68"), ("2.665", "2.67"), ("-2.675", "-2.68"), ("365.125", "365.13")],
    ids=[f"core-inv-06-{n}" for n in range(4)],
)
def test_halves_round_away_from_zero(value: str, rounded: str) -> None:
    assert str(Money.of(value, "EUR")) == rounded
    assert str(line_net(Decimal(1), Decimal(value), "EUR")) == rounded


@pytest.mark.parametrize("source", ["arithmetic"], ids=["core-inv-07"])
def test_tax_is_rounded_once_on_the_document_not_on_each_line(source: str) -> None:
    # 5 × 0.99 at 8.75 %: 4.95 × 0.0875 = 0.433; line by line 5 × 0.09 = 0.45.
    lines, rate = [line("0.99") for _ in range(5)], book(S="8.75")
    assert str(totals(lines, rate).tax) == "0.43"
    assert str(total((totals([each], rate).tax for each in lines), "EUR")) == "0.45"


# Arithmetic on invented amounts: 209.69 of parts, 1.5 h at 95.00.
@pytest.mark.parametrize(
    ("parts", "labour", "tax", "gross"),
    [("8.75", "0", "18.35", "370.54"), ("8.75", "8.75", "30.82", "383.01"), ("20", "20", "70.44", "422.63")],
    ids=["core-inv-08-parts-only", "core-inv-08-all", "core-inv-08-at-20"],
)
def test_each_kind_of_line_is_taxed_at_its_own_rate(parts: str, labour: str, tax: str, gross: str) -> None:
    rates = book(parts=parts) if parts == labour else book(parts=parts, labour=labour)
    name = "parts" if parts == labour else "labour"
    lines = [line(price, "parts") for price in ("189.95", "12.49", "7.25")] + [
        line("95.00", name, hours) for hours in ("1.2", "0.3")
    ]
    assert str(total((each.net for each in lines[:3]), "EUR")) == "209.69"
    assert str(total((each.net for each in lines[3:]), "EUR")) == "142.50"
    came = totals(lines, rates)
    assert (str(came.tax), str(came.gross)) == (tax, gross)


# net = gross / (1 + r) half up, tax the rest.
@pytest.mark.parametrize(
    ("gross", "percent", "net", "tax"),
    [("100.00", "20", "83.33", "16.67"), ("49.99", "19", "42.01", "7.98")],
    ids=["core-inv-09-20", "core-inv-09-19"],
)
def test_tax_is_taken_out_of_a_price_that_includes_it(gross: str, percent: str, net: str, tax: str) -> None:
    assert tuple(str(part) for part in out_of_gross(eur(gross), Decimal(percent))) == (net, tax)


def test_an_allowance_lowers_and_a_charge_raises_net_and_base() -> None:
    # BR-CO-13 and BR-S-08 on invented amounts: 200.00 - 30.00 + 10.00 = 180.00, at 20 % 36.00.
    came = totals(
        [line("200.00")],
        book(S="20"),
        allowances=[Adjustment(text="regular customer", amount=eur("30.00"), tax="S")],
        charges=[Adjustment(text="disposal", amount=eur("10.00"), tax="S")],
    )
    came_to = [
        str(each) for each in (came.sum_of_lines, came.net, came.per_rate[0].base, came.tax, came.gross)
    ]
    assert came_to == ["200.00", "180.00", "180.00", "36.00", "216.00"]


def test_a_shop_outside_tax_shows_none_and_says_why() -> None:
    came = totals([line("10.00", "none")], book())
    assert came.per_rate == ()
    assert (came.tax, came.gross, came.outside_tax) == (eur("0"), eur("10.00"), "small business")


def test_a_rate_that_is_not_in_the_book_is_named() -> None:
    with pytest.raises(ValueError, match=r'prices\.toml: tax\.rates has no rate "S"'):
        totals([line("10.00", "S")], book(standard="20"))
    with pytest.raises(ValueError, match="none"):
        totals([line("10.00", "none")], book(standard="20"))


def test_another_currency_is_never_summed() -> None:
    with pytest.raises(ValueError, match="without a rate"):
        totals([attrs.evolve(line("1.00"), net=Money(100, "USD"))], book(S="20"))


def test_the_rounding_amount_changes_what_is_due_and_nothing_else() -> None:
    came = totals([line("10.02")], book(S="20"))
    owed = payable(came, rounding=eur("-0.02"))
    assert (str(owed.gross), str(owed.rounding), str(owed.due)) == ("12.02", "-0.02", "12.00")
    assert payable(came).rounding == eur("0")


def test_an_allowance_is_never_negative() -> None:
    with pytest.raises(ValueError, match="not negative"):
        Adjustment(text="off", amount=eur("-1"), tax="S")


# The law: whatever the numbers, the result is that of exact fractions rounded half up on the magnitude.


def exactly(number: Fraction) -> int:
    """Cents of an exact amount, half up on the magnitude: floor of |x| + 1/2 with x's sign."""
    cents = abs(number) * 100 + Fraction(1, 2)
    return int(cents) if number >= 0 else -int(cents)


def decimals(whole: int, places: int) -> st.SearchStrategy[Decimal]:
    return st.integers(-(10 ** (whole + places)), 10 ** (whole + places)).map(
        lambda digits: Decimal(digits).scaleb(-places)
    )


ROWS = st.lists(
    st.tuples(
        decimals(5, 3),
        decimals(8, 6),
        st.sampled_from(["1", "3", "7", "12", "0.5", "100"]),
        st.sampled_from(["a", "b"]),
    ),
    min_size=1,
    max_size=12,
)
PERCENTS = st.integers(0, 100_0000).map(lambda digits: Decimal(digits).scaleb(-4))


@given(rows=ROWS, a=PERCENTS, b=PERCENTS)
def test_totals_agree_with_exact_fractions_whatever_the_numbers(
    rows: list[tuple[Decimal, Decimal, str, str]], a: Decimal, b: Decimal
) -> None:
    came = totals(
        [line(f"{price:f}", rate, f"{quantity:f}", per) for quantity, price, per, rate in rows],
        book(a=f"{a:f}", b=f"{b:f}"),
    )
    nets = [
        (rate, exactly(Fraction(quantity) * Fraction(price) / Fraction(per)))
        for quantity, price, per, rate in rows
    ]
    taxes = {
        rate: exactly(Fraction(sum(net for name, net in nets if name == rate), 100) * Fraction(percent) / 100)
        for rate, percent in (("a", a), ("b", b))
        if any(name == rate for name, _ in nets)
    }
    assert {row.rate: row.tax.minor for row in came.per_rate} == taxes
    assert came.net.minor == sum(net for _, net in nets)
    assert came.gross.minor == sum(net for _, net in nets) + sum(taxes.values())


@given(rows=ROWS, a=PERCENTS, b=PERCENTS)
def test_a_reversed_document_comes_to_the_same_with_the_other_sign(
    rows: list[tuple[Decimal, Decimal, str, str]], a: Decimal, b: Decimal
) -> None:
    rates = book(a=f"{a:f}", b=f"{b:f}")
    there = totals(
        [line(f"{price:f}", rate, f"{quantity:f}", per) for quantity, price, per, rate in rows], rates
    )
    back = totals(
        [line(f"{price:f}", rate, f"{quantity.copy_negate():f}", per) for quantity, price, per, rate in rows],
        rates,
    )
    assert (back.net, back.tax, back.gross) == (-there.net, -there.tax, -there.gross)
    assert [(row.base, row.tax) for row in back.per_rate] == [(-row.base, -row.tax) for row in there.per_rate]
    assert not any(str(row.tax).startswith("-0.00") for row in back.per_rate)


def test_the_callers_decimal_precision_does_not_matter() -> None:
    with localcontext() as context:
        context.prec = 4
        assert str(line_net(Decimal("16000"), Decimal("0.00101"), "EUR")) == "16.16"
        came = totals([line("1273.00"), line("187.50")], book(S="25"))
        assert (str(came.tax), str(came.gross)) == ("365.13", "1825.63")
    assert getcontext().prec == 28


@pytest.mark.parametrize("amount", [0.1, "NaN", "Infinity", "1E+999999999", "1E-999999999", "twelve", ""])
def test_money_is_made_of_plain_decimal_numbers_only(amount: object) -> None:
    with pytest.raises(ValueError, match=r"plain number|float"):
        Money.of(amount, "EUR")  # type: ignore[arg-type]


def test_money_never_holds_part_of_a_cent() -> None:
    with pytest.raises(ValueError, match="whole minor units"):
        Money(12.5, "EUR")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="float"):
        Money(12, "EUR").times(0.5)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("amount", "currency", "shown"),
    [("1234.5", "JPY", "1235"), ("1.2345", "KWD", "1.235"), ("-0.004", "EUR", "0.00")],
)
def test_money_has_the_decimals_of_its_currency(amount: str, currency: str, shown: str) -> None:
    # JPY has no minor unit and KWD three digits (ISO 4217, from memory).
    assert str(Money.of(amount, currency)) == shown
