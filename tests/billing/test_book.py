"""A price book is read whole or refused with all its faults."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from typing import Any

import pytest

from corekit.billing.book import PriceError, read_price_book
from corekit.billing.line import Condition, LineKind

GOOD = """
currency  = "EUR"
tax       = { rates = { standard = "20", reduced = "5.5" }, default = "standard", parts = "reduced" }
labour    = { per_hour = "62.505" }
call_out  = "25.00"
travel    = { per_km = "0.4255" }
diagnosis = { price = "35.00", cap = "90.00" }
[operations."battery.replace"]
hours  = "0.6"
parts  = [
  { name = "Battery", price = "128.00", quantity = 1, condition = "new" },
  { name = "Strap", price = "0", quantity = "2", condition = "customer's own" },
]
hazard = "Acid: wear eye protection."
[operations."battery.find_drain"]
hours  = "1.0"
"""


def read(text: str) -> Any:
    return read_price_book(tomllib.loads(text), "prices.toml")


def faults(text: str) -> tuple[str, ...]:
    with pytest.raises(PriceError) as caught:
        read(text)
    return caught.value.faults


def test_a_price_book_is_read_as_it_stands() -> None:
    book = read(GOOD)
    assert (book.currency, book.labour, book.call_out, book.per_km, book.travel) == (
        "EUR",
        Decimal("62.505"),
        Decimal("25.00"),
        Decimal("0.4255"),
        None,
    )
    assert (book.diagnosis, book.diagnosis_cap) == (Decimal("35.00"), Decimal("90.00"))
    assert book.rates == {"standard": Decimal(20), "reduced": Decimal("5.5")}
    assert book.tax_of == {
        LineKind.LABOUR: "standard",
        LineKind.DIAGNOSIS: "standard",
        LineKind.PART: "reduced",
        LineKind.CALL_OUT: "standard",
        LineKind.TRAVEL: "standard",
    }
    replace = book.operations["battery.replace"]
    assert (replace.hours, replace.hazard) == (Decimal("0.6"), "Acid: wear eye protection.")
    assert [(part.name, part.price, part.quantity, part.condition) for part in replace.parts] == [
        ("Battery", Decimal("128.00"), Decimal(1), Condition.NEW),
        ("Strap", Decimal(0), Decimal(2), Condition.CUSTOMERS_OWN),
    ]


def test_a_shop_outside_tax_gives_its_reason_and_no_rates() -> None:
    tax = (
        'tax       = { rates = { standard = "20", reduced = "5.5" }, default = "standard", parts ='
        ' "reduced" }'
    )
    book = read(GOOD.replace(tax, 'tax = { none = "small business" }'))
    assert (book.outside_tax, book.rates, set(book.tax_of.values())) == ("small business", {}, {"none"})
    assert faults(
        GOOD.replace(
            tax, 'tax = { none = "small business", rates = { standard = "20" }, default = "standard" }'
        )
    ) == ("tax.none: a shop outside tax has no rates; remove rates, default, or remove none",)


def test_all_faults_come_at_once_each_with_its_key_path() -> None:
    found = faults("""
        currency  = "euro"
        tax       = { rates = { standard = 20, Standard = "20 %", none = "0", high = "101" }, default = "usual" }
        labour    = { per_hour = 62.5, per_day = "400.00" }
        call_out  = "25.005"
        calout    = "25.00"
        travel    = { per_km = "0,42", flat = "12.00" }
        diagnosis = { price = "-35.00" }
        [operations."battery.replace"]
        hours  = 0.6
        parts  = [
          { name = "Battery", price = "128.00", quantity = 1, condition = "fresh" },
          { name = "Clamp", price = "3.1234567", quantity = 0, condition = "new" },
          { name = "clamp ", price = "3.00", quantity = 1, condition = "new" },
          { name = "Strap", price = "2.00", quantity = 1, condition = "customer's own" },
          { price = "2.00", quantity = 1.5, condition = "used" },
        ]
        [operations.battery.find_drain]
        hours = "1.0"
        [operations."battery.clean"]
        hours = "0"
    """)
    assert found == (
        "calout: is not known here; did you mean call_out?",
        'currency: must be three capital letters as in ISO 4217; got "euro"; write for instance "EUR"',
        'tax.rates.standard: must be a decimal number in quotes; got 20, write "20"',
        'tax.rates.Standard: is the same name as "standard"; keep one of them',
        'tax.rates.Standard: is not a plain decimal number; got "20 %", write "20"',
        "tax.rates.none: is no name for a rate; choose a word such as standard or reduced",
        "tax.rates.high: a rate is at most 100 percent; got 101",
        'tax.default: "usual" is not among the rates; write one of standard, Standard, none, high',
        "labour.per_day: is not known here; known are per_hour",
        'travel: gives one price, per kilometre or flat; write per_km = "…" or flat = "…"',
        'diagnosis.price: must not be negative; got "-35.00"',
        'call_out: has more than 2 decimals; got "25.005", write it with 2 of them',
        'labour.per_hour: is a binary float, which is not exact; write "62.5" in quotes',
        'travel.per_km: is not a plain decimal number; got "0,42", write "0.42"',
        'operations."battery.replace".hours: is a binary float, which is not exact; write "0.6" in quotes',
        (
            'operations."battery.replace".parts[0].condition: "fresh" is not a condition of a part; '
            "write one of new, used, rebuilt, reconditioned, customer's own"
        ),
        (
            'operations."battery.replace".parts[1].price: has more than 6 decimals; got "3.1234567", write it'
            " with 6 of them"
        ),
        (
            'operations."battery.replace".parts[1].quantity: must be above zero; remove the row if nothing is'
            " used"
        ),
        (
            'operations."battery.replace".parts[2]: "clamp ", new, stands in parts[1] already; keep one and'
            " raise its quantity"
        ),
        (
            'operations."battery.replace".parts[3].price: a part of the customer\'s own is not sold; got'
            ' 2.00, write "0.00"'
        ),
        'operations."battery.replace".parts[4].name: is missing',
        (
            'operations."battery.replace".parts[4].quantity: is a binary float, which is not exact; write'
            ' "1.5" in quotes'
        ),
        (
            'operations."battery": is no operation key; write the key whole and in quotes, as in'
            ' [operations."brakes.bleed"]'
        ),
        'operations."battery.clean": has neither hours nor parts; say what it takes',
    )


def test_what_is_missing_is_named() -> None:
    assert faults("") == (
        "currency: is missing",
        "tax: is missing",
        "labour: is missing",
        "diagnosis: is missing",
        "operations: is missing",
    )
    assert faults(GOOD.replace(', default = "standard"', "")) == (
        (
            'tax.default: is missing; write rates = { standard = "20" } and default = "standard", or none ='
            ' "the reason why no tax is shown"'
        ),
    )


def test_a_cap_below_the_flat_prices_is_refused() -> None:
    assert faults(GOOD.replace('"90.00"', '"59.99"')) == (
        (
            "diagnosis.cap: is 59.99, but diagnosis, call-out and travel come to 60.00 already; raise the cap"
            " or lower a price"
        ),
    )


@pytest.mark.parametrize(
    "data",
    [
        None,
        [],
        "EUR",
        {"currency": [], "tax": 1, "labour": "x", "diagnosis": None, "operations": [], "travel": True},
    ],
)
def test_things_that_are_no_tables_are_faults_and_never_crash(data: Any) -> None:
    with pytest.raises(PriceError, match=r"prices\.toml: .*must be"):
        read_price_book(data, "prices.toml")


@pytest.mark.parametrize(
    "price", ["1e3", "٣", "1_000", "nan", "inf", "", " 5", "+5", "5.", ".5", "999999999", True]
)
def test_only_plain_numbers_are_prices(price: object) -> None:
    data = tomllib.loads(GOOD)
    data["call_out"] = price
    with pytest.raises(PriceError, match=r"^prices\.toml: call_out: ") as caught:
        read_price_book(data, "prices.toml")
    assert len(caught.value.faults) == 1


def test_a_fault_stays_on_one_line_whatever_was_typed() -> None:
    data = tomllib.loads(GOOD)
    data["call_out"], data["a\nb\x1b[2J"] = "1\n2", "x"
    with pytest.raises(PriceError) as caught:
        read_price_book(data, "prices.toml")
    assert caught.value.faults[1] == 'call_out: is not a plain decimal number; got "1\\n2", write "25.00"'
    assert len(str(caught.value).splitlines()) == 2
    assert "\x1b" not in str(caught.value)


def test_a_currency_without_minor_units_takes_whole_amounts_only() -> None:
    assert faults(GOOD.replace('"EUR"', '"JPY"')) == (
        'diagnosis.price: has more than 0 decimals; got "35.00", write it with none of them',
        'diagnosis.cap: has more than 0 decimals; got "90.00", write it with none of them',
        'call_out: has more than 0 decimals; got "25.00", write it with none of them',
    )
