"""How the quantity of a priced line is printed."""

from __future__ import annotations

from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from corekit.billing.estimate import WorkItem, repair_lines
from corekit.billing.line import Ground, GroundKind
from corekit.billing.payment import Payable
from corekit.billing.price_file import read_price_book
from corekit.billing.totals import totals
from corekit.fault import DataFileError
from corekit.model.money import Money
from corekit.report.cost import facts, priced_lines

WANTED = Ground(kind=GroundKind.CUSTOMER, text="asked for")
BLEED = WorkItem(operation="brakes.bleed", title="Bleed the brakes", ground=WANTED)


def quantities(part: dict[str, Any], hours: str = "0") -> list[str]:
    """What one operation with this part prints as quantities."""
    price_book = read_price_book(
        {
            "currency": "EUR",
            "tax": {"none": "below the threshold"},
            "labour": {"per_hour": "62.50"},
            "diagnosis": {"price": "35.00"},
            "operations": {
                "brakes.bleed": {
                    "hours": hours,
                    "parts": [{"name": "Brake fluid", "price": "12.80", "condition": "new", **part}],
                }
            },
        },
        "prices.toml",
    )
    lines = repair_lines(price_book, [BLEED])
    shown = priced_lines(lines, totals(lines, price_book), SimpleNamespace(currency="EUR"))  # type: ignore[arg-type]
    return [row.quantity for row in shown.rows]


@pytest.mark.parametrize(
    ("part", "printed"),
    [
        ({"quantity": "1"}, "1 piece"),
        ({"quantity": "4"}, "4 pieces"),
        ({"quantity": "1.0"}, "1 piece"),
        ({"quantity": "20"}, "20 pieces"),
        ({"quantity": "0.8"}, "0.8"),
        ({"quantity": "1.500"}, "1.5"),
        ({"quantity": "0.8", "unit": "l"}, "0.8 l"),
        ({"quantity": "2", "unit": " m "}, "2 m"),
    ],
)
def test_pieces_are_whole_and_anything_else_is_printed_in_its_own_unit(
    part: dict[str, Any], printed: str
) -> None:
    assert quantities(part) == [printed]


def test_hours_are_printed_beside_the_part() -> None:
    assert quantities({"quantity": "1"}, hours=str(Decimal("0.60"))) == ["0.6 h", "1 piece"]


@pytest.mark.parametrize("unit", ["", " ", "a unit of thirteen"])
def test_a_unit_that_is_none_is_refused(unit: str) -> None:
    with pytest.raises(DataFileError, match=r"parts\[0\]\.unit: .* is no unit"):
        quantities({"quantity": "1", "unit": unit})


def money(text: str) -> Money:
    return Money.of(text, "EUR")


@pytest.mark.parametrize(
    ("gross", "paid", "facts_shown"),
    [
        ("60.00", "60.00", [("Total", "60.00 EUR, paid")]),
        ("0.01", "0.01", [("Total", "0.01 EUR, paid")]),
        ("0.00", "0.00", [("Total", "0.00 EUR, nothing to pay")]),
        ("0.00", "10.00", [("Total", "0.00 EUR"), ("Refund due to you", "10.00 EUR")]),
        ("60.00", "10.00", [("Total", "60.00 EUR"), ("Still to pay", "50.00 EUR")]),
    ],
)
def test_under_the_answer_stands_what_is_paid_where_anything_was_to_pay(
    gross: str, paid: str, facts_shown: list[tuple[str, str]]
) -> None:
    payable = Payable(
        gross=money(gross), paid=money(paid), rounding=money("0.00"), due=money(gross) - money(paid)
    )
    shown = facts(payable, SimpleNamespace(currency="EUR"))  # type: ignore[arg-type]
    assert [(label, words) for label, words, _ in shown] == facts_shown
