"""Price rules of a shop: markup, core deposit, a rate of a part's own, least hours, supplies, zones,
discount, reverse charge. Every amount is worked by hand.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from corekit.billing.book import PriceBook
from corekit.billing.discount import with_discounts
from corekit.billing.estimate import PriceError, WorkItem, diagnosis_lines, repair_lines
from corekit.billing.line import Ground, GroundKind, Line, LineKind, from_data, to_data
from corekit.billing.price_file import read_price_book
from corekit.billing.totals import totals
from corekit.billing.waiver import waive
from corekit.fault import DataFileError
from corekit.model.records import Discounted

ASKED = WorkItem(operation="a.b", title="Work", ground=Ground(kind=GroundKind.CUSTOMER, text="asked for it"))


def data(*parts: dict[str, Any], hours: str = "1", **more: Any) -> dict[str, Any]:
    rows = [{"name": f"Part {n}", "condition": "new", "quantity": 1, **part} for n, part in enumerate(parts)]
    return {
        "currency": "EUR",
        "tax": {"rates": {"standard": "20", "reduced": "5"}, "default": "standard"},
        "labour": {"per_hour": "60.00"},
        "diagnosis": {"price": "50.00"},
        "operations": {"a.b": {"hours": hours, "parts": rows}},
        **more,
    }


def book(*parts: dict[str, Any], **more: Any) -> PriceBook:
    return read_price_book(data(*parts, **more), "prices.toml")


def lines(*parts: dict[str, Any], **more: Any) -> tuple[Line, ...]:
    return repair_lines(book(*parts, **more), [ASKED])


def faults(given: dict[str, Any]) -> list[str]:
    with pytest.raises(DataFileError) as caught:
        read_price_book(given, "prices.toml")
    return [fault.path for fault in caught.value.faults]


MARKUP = [{"up_to": "20.00", "percent": "60"}, {"up_to": "100.00", "percent": "40"}, {"percent": "25"}]


@pytest.mark.parametrize(
    ("cost", "price"),
    [
        ("19.99", "31.98"),  # 31.984
        ("20.00", "32.00"),
        ("20.01", "28.01"),  # 28.014
        ("100.00", "140.00"),
        ("100.01", "125.01"),  # 125.0125
        ("0.25", "0.40"),
        ("10.03", "16.05"),  # 16.048
    ],
)
def test_the_markup_of_its_step_makes_the_price_of_a_cost(cost: str, price: str) -> None:
    assert str(lines({"cost": cost}, markup=MARKUP)[1].price) == price


@pytest.mark.parametrize(
    ("given", "place"),
    [
        (data({"cost": "5.00"}), "cost"),
        (data({"cost": "30.00"}, markup=[{"up_to": "20.00", "percent": "60"}]), "cost"),
        (data({"cost": "5.00", "price": "6.00"}, markup=MARKUP), "cost"),
        (data({}), "price"),
        (data({"price": "5.00"}, markup=[{"percent": "5"}, {"percent": "6"}]), "markup[0].up_to"),
        (data({"price": "5.00"}, markup=[MARKUP[1], MARKUP[0]]), "markup[0].up_to"),
        (data({"price": "5.00", "tax": "odd"}), "tax"),
        (data({"price": "5.00", "core": "5.0000001"}), "core"),
        (data(travel={"flat": "5.00", "zones": [{"price": "5.00"}]}), "travel"),
        (data(travel={"zones": [{"price": "5.00"}, {"price": "6.00"}]}), "travel.zones[0].up_to"),
        (data(supplies={"percent": "101"}), "supplies.percent"),
        (data(tax={"none": "small", "reverse_charge": "owes it"}), "tax.none"),
        (data(tax={"reverse_charge": " "}), "tax.reverse_charge"),
        (data(discount="5"), "discount"),
    ],
)
def test_a_rule_with_a_fault_is_refused_with_its_place(given: dict[str, Any], place: str) -> None:
    assert any(path.endswith(place) for path in faults(given)), faults(given)


def test_a_core_deposit_is_a_line_of_its_own_at_the_rate_of_its_part() -> None:
    found = lines({"price": "100.00", "core": "18.00", "quantity": 2, "tax": "reduced"})
    assert [(line.text, str(line.net), line.tax) for line in found[1:]] == [
        ("Part 0", "200.00", "reduced"),
        ("Core deposit, Part 0", "36.00", "reduced"),
    ]
    sums = totals(found, book())
    # 60.00 at 20 %, 236.00 at 5 %
    assert [(row.rate, str(row.tax)) for row in sums.per_rate] == [
        ("standard", "12.00"),
        ("reduced", "11.80"),
    ]


def test_a_part_has_its_number() -> None:
    line = lines({"price": "1.00", "number": "XX-1"})[1]
    assert line.number == "XX-1"
    assert from_data(to_data(line)) == line


@pytest.mark.parametrize(("hours", "charged"), [("0.2", "0.5"), ("0.5", "0.5"), ("0.6", "0.6")])
def test_no_work_is_charged_with_fewer_hours_than_the_least(hours: str, charged: str) -> None:
    labour = {"per_hour": "60.00", "least": "0.5"}
    assert str(lines(hours=hours, labour=labour)[0].quantity) == charged


def test_least_hours_make_no_labour_where_there_is_none() -> None:
    labour = {"per_hour": "60.00", "least": "0.5"}
    assert [line.kind for line in lines({"price": "1.00"}, hours="0", labour=labour)] == [LineKind.PART]


@pytest.mark.parametrize(
    ("hours", "cap", "net"), [("1", None, "3.00"), ("2.5", "5.00", "5.00"), ("1.667", None, "5.00")]
)
def test_supplies_are_charged_on_labour_up_to_their_cap(hours: str, cap: str | None, net: str) -> None:
    supplies = {"percent": "5"} | ({"cap": cap} if cap else {})
    (line,) = [line for line in lines(hours=hours, supplies=supplies) if line.kind is LineKind.SUPPLIES]
    assert str(line.net) == net  # 5 % of 60.00; of 150.00; of 100.02


ZONES = [{"up_to": "10", "price": "12.00"}, {"up_to": "25", "price": "20.00"}]


@pytest.mark.parametrize(
    ("km", "price"), [("0", "12.00"), ("10", "12.00"), ("10.1", "20.00"), ("25", "20.00")]
)
def test_the_drive_is_priced_by_its_zone(km: str, price: str) -> None:
    found = diagnosis_lines(book(travel={"zones": ZONES}), Decimal(km))
    assert [str(line.net) for line in found if line.kind is LineKind.TRAVEL] == [price]


@pytest.mark.parametrize("km", [None, Decimal("25.1")])
def test_without_a_distance_or_beyond_every_zone_there_is_no_price(km: Decimal | None) -> None:
    with pytest.raises(PriceError, match="zones"):
        diagnosis_lines(book(travel={"zones": ZONES}), km)


def test_a_discount_lowers_each_line_once_and_says_why() -> None:
    said = [
        Discounted(percent="10", because="a regular"),
        Discounted(percent="50", because="x", operation="a.b"),
    ]
    (whole,) = with_discounts(diagnosis_lines(book()), said)
    assert (str(whole.net), whole.off) == ("45.00", "10 % off 50.00: a regular")
    work = with_discounts(lines({"price": "9.99"}), said)
    assert [str(line.net) for line in work] == ["30.00", "5.00"]  # 4.995 is rounded half up
    assert with_discounts(work, said) == work
    assert all(from_data(to_data(line)) == line for line in work)
    free = waive([whole], {"diagnosis": "goodwill; not charged"})
    assert with_discounts(free, said) == free


def test_where_the_customer_owes_the_tax_none_is_shown_and_the_reason_is() -> None:
    found = book({"price": "1.00"}, tax={"reverse_charge": "The customer owes the tax."})
    assert found.reverse_charge
    sums = totals(repair_lines(found, [ASKED]), found)
    assert (sums.tax.minor, sums.outside_tax) == (0, "The customer owes the tax.")
