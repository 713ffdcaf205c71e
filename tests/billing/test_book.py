"""A price book is read whole or refused with all its faults."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from typing import Any

import pytest

from corekit.billing.line import Condition, LineKind
from corekit.billing.price_file import read_price_book
from corekit.fault import DataFileError

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
[operations."battery.trace_draw"]
hours  = "1.0"
"""


def read(text: str) -> Any:
    return read_price_book(tomllib.loads(text), "prices.toml")


def faults(text: str) -> tuple[str, ...]:
    with pytest.raises(DataFileError) as caught:
        read(text)
    return tuple(map(str, caught.value.faults))


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
        LineKind.SUPPLIES: "reduced",
        LineKind.CALL_OUT: "standard",
        LineKind.TRAVEL: "standard",
        LineKind.LUMP_SUM: "standard",
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
    ) == ("tax.none: a shop outside tax has no rates; write none without rates, default, or omit none",)


def test_all_faults_come_at_once_each_with_its_key_path() -> None:
    found = faults("""
        currency  = "euro"
        tax.rates   = { standard = 20, Standard = "20 %", none = "0", high = "101" }
        tax.default = "usual"
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
        [operations.battery.trace_draw]
        hours = "1.0"
        [operations."battery.clean"]
        hours = "0"
    """)
    assert found == (
        'currency: "euro" is no currency; write "EUR"',
        'tax.rates.standard: is the number 20; write "20" in quotes',
        'tax.rates.Standard: "20 %" is not a plain decimal number; write "20"',
        'tax.rates.Standard: is the same name as "standard"; write one of them',
        "tax.rates.none: is no name for a rate; write a word such as standard or reduced",
        "tax.rates.high: is 101; expected a rate of at most 100 percent",
        'tax.default: "usual" is not among the rates; expected one of "standard", "Standard", "none", "high"',
        'labour.per_hour: is the number 62.5, which is not exact; write "62.5" in quotes',
        "labour.per_day: is not a key here; expected one of per_hour, least",
        "call_out: 25.005 has more than 2 decimals; write it with 2 of them",
        "calout: is not a key here; write one of currency, tax, labour, call_out, travel,"
        " diagnosis, markup, supplies, out_of_hours, operations"
        ' (perhaps "call_out")',
        'travel: has several prices; write per_km = "…", flat = "…" or zones = […]',
        'travel.per_km: "0,42" is not a plain decimal number; write "0.42"',
        'diagnosis.price: "-35.00" is below zero; expected zero or more',
        'operations."battery.replace".hours: is the number 0.6, which is not exact; write "0.6" in quotes',
        'operations."battery.replace".parts[0].condition: is the text "fresh"; expected one of "new", "used",'
        ' "rebuilt", "reconditioned", "customer\'s own"',
        'operations."battery.replace".parts[1].price: 3.1234567 has more than 6 decimals; write it with 6 of'
        " them",
        'operations."battery.replace".parts[1].quantity: is zero; write the list without the row'
        " if nothing is"
        " used",
        'operations."battery.replace".parts[2]: "clamp ", new, stands in parts[1] already; write one row with'
        " the whole quantity",
        'operations."battery.replace".parts[3].price: is 2.00, and a part of the customer\'s own is not sold;'
        ' write "0.00"',
        'operations."battery.replace".parts[4].quantity: is the number 1.5, which is not exact;'
        ' write "1.5" in'
        " quotes",
        'operations."battery.replace".parts[4].name: is missing; expected what the part is called',
        "operations.battery: is no operation key; write the key whole and in quotes, as in"
        ' [operations."brakes.bleed"]',
        "operations.battery.trace_draw: is not a key here; expected one of hours, lump_sum, parts, tax,"
        " hazard",
        'operations.battery.hours: is missing; write "0.6"',
        'operations."battery.clean": has neither hours nor parts; expected what it takes',
    )


def test_what_is_missing_is_named() -> None:
    assert faults("") == (
        'currency: is missing; write "EUR"',
        'tax: is missing; write { rates = { standard = "20" }, default = "standard" }',
        'labour: is missing; write { per_hour = "62.50" }',
        'diagnosis: is missing; write { price = "35.00" }',
        'operations: is missing; write [operations."brakes.bleed"] with hours = "0.6" in it',
    )
    assert faults(GOOD.replace(', default = "standard"', "")) == (
        'tax.default: is missing; write rates = { standard = "20" } and default = "standard", or'
        ' none = "why no'
        ' tax is shown"',
    )


def test_a_cap_below_the_flat_prices_is_refused() -> None:
    assert faults(GOOD.replace('"90.00"', '"59.99"')) == (
        (
            "diagnosis.cap: is 59.99, but diagnosis, call-out and travel come to 60.00 already; write a"
            " higher cap, or a lower price"
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
    with pytest.raises(DataFileError, match=r"prices\.toml cannot be used: (?s:.)*expected a table"):
        read_price_book(data, "prices.toml")


@pytest.mark.parametrize(
    "price", ["1e3", "٣", "1_000", "nan", "inf", "", " 5", "+5", "5.", ".5", "999999999", True]
)
def test_only_plain_numbers_are_prices(price: object) -> None:
    data = tomllib.loads(GOOD)
    data["call_out"] = price
    with pytest.raises(
        DataFileError, match=r"^prices\.toml cannot be used: one fault\.\n  call_out: "
    ) as caught:
        read_price_book(data, "prices.toml")
    assert len(caught.value.faults) == 1


def test_a_fault_stays_on_one_line_whatever_was_typed() -> None:
    data = tomllib.loads(GOOD)
    data["call_out"], data["a\nb\x1b[2J"] = "1\n2", "x"
    with pytest.raises(DataFileError) as caught:
        read_price_book(data, "prices.toml")
    assert str(caught.value.faults[0]).startswith(
        'call_out: "1\\u000a2" is not a plain decimal number; expected'
    )
    assert str(caught.value.faults[1]).startswith('"a\\u000ab\\u001b[2J": is not a key here; expected one of')
    assert len(str(caught.value).splitlines()) == 3
    assert "\x1b" not in str(caught.value)


def test_a_currency_without_minor_units_takes_whole_amounts_only() -> None:
    assert faults(GOOD.replace('"EUR"', '"JPY"')) == (
        "call_out: 25.00 has more than 0 decimals; write it with none of them",
        "diagnosis.price: 35.00 has more than 0 decimals; write it with none of them",
        "diagnosis.cap: 90.00 has more than 0 decimals; write it with none of them",
    )
