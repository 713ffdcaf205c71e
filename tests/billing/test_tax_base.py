"""What of a repair is taxed, where that hangs on what else is on the invoice.

The amounts of core-inv-08 are plain arithmetic: parts 189.95 + 12.49 + 7.25 = 209.69, labour 1.5 h × 95.00 =
142.50, 8.75 %. The rules are those of Fla. Admin. Code 12A-1.006 (the whole charge is taxed when the repairer
supplies any part) and of the Texas bulletin 94-113 (parts alone; of a lump sum no tax is collected).
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.billing.book import PriceBook, SuppliesCharge
from corekit.billing.estimate import WorkItem, repair_lines, usual_net
from corekit.billing.line import Condition, Ground, GroundKind, Line, LineKind, priced_line
from corekit.billing.price_file import read_price_book
from corekit.billing.totals import taxed, totals
from corekit.desk.tax_base import contradictions
from corekit.fault import DataFileError
from corekit.jurisdictions import jurisdictions, read_jurisdiction
from corekit.model.jurisdiction import Jurisdiction, Taxed
from corekit.model.source import Basis, Status

ASKED = Ground(kind=GroundKind.CUSTOMER, text="asked for it")
RATES = {"sales": "8.75", "untaxed": "0"}
ALONE = {"rates": RATES, "default": "sales", "labour": "untaxed", "call_out": "untaxed"}
HANGS = {**ALONE, "with_parts": "sales"}
PARTS = ("189.95", "12.49", "7.25")


def book(tax: dict[str, object], **operations: dict[str, object]) -> PriceBook:
    data = {
        "currency": "USD",
        "tax": tax,
        "labour": {"per_hour": "95.00"},
        "diagnosis": {"price": "60.00"},
        "operations": {f"a.{name}": table for name, table in operations.items()},
    }
    return read_price_book(data, "prices.toml")


def part(price: str, condition: str = "new") -> dict[str, object]:
    return {"name": f"part of {price}", "price": price, "quantity": "1", "condition": condition}


def lines_of(prices: PriceBook) -> tuple[Line, ...]:
    asked = [WorkItem(operation=key, title=key, ground=ASKED) for key in prices.operations]
    return repair_lines(prices, asked)


WHOLE = {
    "one": {"hours": "1.2", "parts": [part(price) for price in PARTS]},
    "two": {"hours": "0.3"},
}


@pytest.mark.parametrize(
    ("tax", "tax_due", "gross"),
    [
        pytest.param(ALONE, "18.35", "370.54", id="core-inv-08-parts-alone"),
        pytest.param(HANGS, "30.82", "383.01", id="core-inv-08-work-with-parts"),
    ],
)
def test_work_is_taxed_for_the_parts_on_its_invoice_where_the_price_book_says_so(
    tax: dict[str, object], tax_due: str, gross: str
) -> None:
    prices = book(tax, **WHOLE)
    sums = totals(lines_of(prices), prices)
    assert (str(sums.net), str(sums.tax), str(sums.gross)) == ("352.19", tax_due, gross)


def test_work_alone_is_not_taxed_where_it_hangs_on_parts() -> None:
    prices = book(HANGS, two={"hours": "0.3"})
    sums = totals(lines_of(prices), prices)
    assert (str(sums.tax), [row.rate for row in sums.per_rate]) == ("0.00", ["untaxed"])


def test_a_part_of_the_customers_own_is_not_supplied() -> None:
    prices = book(HANGS, one={"hours": "1", "parts": [part("0.00", "customer's own")]})
    assert str(totals(lines_of(prices), prices).tax) == "0.00"


def test_a_part_that_is_given_for_nothing_is_supplied_all_the_same() -> None:
    prices = book(HANGS, one={"hours": "1", "parts": [part("0.00")]})
    assert str(totals(lines_of(prices), prices).tax) == "8.31"  # 95.00 × 0.0875 = 8.3125


def test_supplies_are_supplied_too() -> None:
    prices = attrs.evolve(book(HANGS, one={"hours": "1"}), supplies=SuppliesCharge(percent=Decimal(5)))
    sums = totals(lines_of(prices), prices)
    assert (str(sums.net), str(sums.tax)) == ("99.75", "8.73")  # 95.00 + 5 %, × 0.0875 = 8.728


def test_a_rate_that_work_names_itself_stays() -> None:
    tax = {**HANGS, "rates": {**RATES, "fee": "1"}}
    prices = book(tax, one=WHOLE["one"], two={"hours": "0.3", "tax": "fee"})
    sums = totals(lines_of(prices), prices)
    # 209.69 + 114.00 = 323.69 × 0.0875 = 28.32; 28.50 × 0.01 = 0.285 → 0.29
    assert [(row.rate, str(row.tax)) for row in sums.per_rate] == [("sales", "28.32"), ("fee", "0.29")]


def test_a_lump_sum_names_its_parts_and_has_one_price() -> None:
    tax = {**ALONE, "lump_sum": "untaxed"}
    parts = [{"name": "Oil", "quantity": "4", "unit": "l", "condition": "new"}]
    prices = book(tax, change={"hours": "0.5", "lump_sum": "79.00", "parts": parts})
    work, oil = lines_of(prices)
    assert (work.kind, str(work.net), work.unit) == (LineKind.LUMP_SUM, "79.00", "flat")
    assert (oil.text, oil.condition, str(oil.net)) == ("Oil", Condition.NEW, "0.00")
    sums = totals((work, oil), prices)
    assert (str(sums.gross), [row.rate for row in sums.per_rate]) == ("79.00", ["untaxed"])
    assert usual_net(prices, "a.change") == Decimal("79.00")


def test_beside_a_lump_sum_without_tax_parts_with_a_price_of_their_own_are_taxed() -> None:
    tax = {**ALONE, "lump_sum": "untaxed"}
    lump = {
        "hours": "1",
        "lump_sum": "100.00",
        "parts": [{"name": "Oil", "quantity": "4", "condition": "new"}],
    }
    prices = book(tax, lump=lump, one=WHOLE["one"])
    assert str(totals(lines_of(prices), prices).tax) == "18.35"


def test_a_lump_sum_is_taxed_whole_where_work_hangs_on_parts() -> None:
    lump = {
        "hours": "1",
        "lump_sum": "100.00",
        "parts": [{"name": "Oil", "quantity": "4", "condition": "new"}],
    }
    prices = book({**HANGS, "lump_sum": "untaxed"}, lump=lump)
    sums = totals(lines_of(prices), prices)
    assert (str(sums.tax), [row.rate for row in sums.per_rate]) == ("8.75", ["sales"])


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"hours": "1", "lump_sum": "9.00"}, "lump_sum: is one price for work and parts, and there are no"),
        ({"hours": "1", "lump_sum": "9.00", "parts": [part("1.00")]}, "price: is 1.00, and the work has a"),
        ({"hours": "1", "lump_sum": "9.001", "parts": [part("0")]}, "lump_sum: 9.001 has more than 2"),
    ],
)
def test_a_lump_sum_that_contradicts_itself_is_named(table: dict[str, object], said: str) -> None:
    with pytest.raises(DataFileError, match=said):
        book(ALONE, one=table)


def test_a_rate_that_is_none_of_the_books_is_named() -> None:
    with pytest.raises(DataFileError, match=r'tax\.with_parts: "vat" is not among the rates'):
        book({**ALONE, "with_parts": "vat"})
    with pytest.raises(DataFileError, match=r"without with_parts"):
        book({"none": "small business", "with_parts": "sales"})


def test_each_job_of_a_common_invoice_is_taxed_for_its_own_parts() -> None:
    prices = book(HANGS, **WHOLE)
    first, second = lines_of(book(HANGS, one=WHOLE["one"])), lines_of(book(HANGS, two=WHOLE["two"]))
    apart = totals(first, prices).gross + totals(second, prices).gross
    lines = (*taxed(first, prices), *taxed(second, prices))
    whole = totals(lines, prices.as_issued(prices.rates, prices.currency))
    assert whole.gross == apart
    # 209.69 + 114.00 = 323.69 taxed; 28.50 not.
    assert (str(whole.tax), str(whole.per_rate[1].base)) == ("28.32", "28.50")


KINDS = st.sampled_from([kind for kind in LineKind if kind is not LineKind.LUMP_SUM])


@st.composite
def drawn_lines(draw: st.DrawFn) -> list[Line]:
    prices = book(HANGS)
    lines = []
    for kind in draw(st.lists(KINDS, min_size=1, max_size=5)):
        condition = draw(st.sampled_from(Condition)) if kind is LineKind.PART else None
        lines.append(
            priced_line(
                kind=kind,
                text="a line",
                operation="a.b",
                ground=ASKED,
                quantity=Decimal(1),
                unit="flat",
                price=Decimal(draw(st.integers(0, 10**6))).scaleb(-2),
                currency="USD",
                tax=prices.tax_of[kind],
                condition=condition,
            )
        )
    return lines


@given(lines=drawn_lines())
def test_lines_that_were_taxed_together_stay_as_they_are(lines: list[Line]) -> None:
    prices = book(HANGS)
    once = taxed(lines, prices)
    assert taxed(once, prices) == once
    assert all(taxed([line], prices) == (line,) for line in once)
    assert totals(once, prices) == totals(lines, prices)
    assert totals(once, prices.as_issued(prices.rates, "USD")) == totals(lines, prices)


@given(lines=drawn_lines(), count=st.integers(0, 5))
def test_less_on_an_invoice_is_never_taxed_more(lines: list[Line], count: int) -> None:
    prices = book(HANGS)
    some = lines[:count]
    percent = {line.tax: prices.rates[line.tax] for line in taxed(lines, prices)}
    for then, now in zip(taxed(lines, prices), taxed(some, prices), strict=False):
        assert prices.rates[now.tax] <= percent[then.tax]


def place(code: str, **changes: object) -> Jurisdiction:
    found = jurisdictions()[code]
    assert found.tax_base is not None
    return attrs.evolve(found, tax_base=attrs.evolve(found.tax_base, **changes))


def test_a_price_book_as_the_law_has_it_is_told_nothing() -> None:
    assert not [*contradictions(book(HANGS), place("US-FL"))]


@pytest.mark.parametrize("tax", [ALONE, {"rates": RATES, "default": "sales"}])
def test_a_shop_that_taxes_work_otherwise_than_the_law_is_told_what_to_write(tax: dict[str, object]) -> None:
    (said,) = contradictions(book(tax), place("US-FL"))
    assert "Fla. Admin. Code 12A-1.006" in said
    assert 'labour = "untaxed" and with_parts = "sales"' in said
    assert "no legal advice" in said


@pytest.mark.parametrize("code", ["US-TX", "US-MN", "US-CA", "US-NY", "US-WA", "EU", "DE", "GB"])
def test_nobody_is_told_of_a_tax_base_that_was_not_read_in_the_laws_text(code: str) -> None:
    base = jurisdictions()[code].tax_base
    assert base is not None
    assert not base.origin.is_read_in_the_law
    assert not [*contradictions(book(ALONE), place(code))]
    assert not [*contradictions(book({"rates": RATES, "default": "sales"}), place(code))]


def test_what_was_read_elsewhere_is_told_once_the_law_is_read() -> None:
    texas = jurisdictions()["US-TX"].tax_base
    assert texas is not None
    read = attrs.evolve(texas.origin, basis=Basis.LAW, status=Status.READ)
    lump = {
        "hours": "1",
        "lump_sum": "100.00",
        "parts": [{"name": "Oil", "quantity": "4", "condition": "new"}],
    }
    taxes_all = book({"rates": RATES, "default": "sales"}, lump=lump)
    (said,) = contradictions(taxes_all, place("US-TX", origin=read))
    assert 'Write labour = "untaxed" and lump_sum = "untaxed" in its tax' in said
    (said,) = contradictions(book(ALONE), place("US-NY", origin=read, call_out=None))
    assert 'Write labour = "sales" in its tax' in said
    assert not [*contradictions(book({"none": "small business"}), place("US-NY", origin=read))]


def test_a_tax_base_that_says_nothing_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "US-XX.toml"
    path.write_text(
        'code = "US-XX"\n[tax_base]\nsource = "s"\ndate = "2026-11-24"\nbasis = "law"\nstatus = "read"\n',
        "utf-8",
    )
    with pytest.raises(DataFileError, match="does not say of anything whether it is taxed"):
        read_jurisdiction(path)
    path.write_text(path.read_text("utf-8") + 'labour = "with_parts"\n', "utf-8")
    base = read_jurisdiction(path).tax_base
    assert base is not None
    assert base.labour is Taxed.WITH_PARTS
