"""On the phone alone, by touch, 360 × 740: from an empty folder to the first own paid invoice, with work of
one's own, a price changed at the kerb, and the same vehicle coming back.

The sum is worked out by hand: (25.00 coming + 0.5 h × 60.00) × 1.20 = 66.00; with a part at 8.00 added on
the spot (25.00 + 30.00 + 8.00) × 1.20 = 75.60.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.shop import Shop
from corekit.screens.app import NoAuth, first_run_app, work_app
from corekit.screens.context import Van

from ..conftest import Watched
from .conftest import free_port, start_serving, stop_serving
from .driving import Hand, expect

pytestmark = pytest.mark.browser


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """The screens of a folder that is not there yet."""
    folder = tmp_path / "new"
    with ExitStack() as stack:

        def opened() -> Any:
            shop = stack.enter_context(Shop(folder))
            return work_app(Van(shop.context), NoAuth())

        port = free_port()
        server, thread = start_serving(first_run_app(folder, NoAuth(), opened), port)
        stack.callback(stop_serving, server, thread)
        yield f"http://127.0.0.1:{port}"


def test_from_an_empty_folder_to_a_paid_invoice_and_the_vehicle_back_again(
    address: str, phone: Callable[..., Watched], tmp_path: Path
) -> None:
    watched = phone(width=360, height=740)
    hand = Hand(watched.page)
    hand.page.goto(f"{address}/")
    assert hand.heading == "Your shop"
    for label, text in (
        ("Name", "Me & Co"),
        ("Address", "2 Lane"),
        ("Tax number", "T-1"),
        ("Tax rate, percent", "20"),
        ("Currency", "EUR"),
        ("Price of an hour", "60"),
        ("Price of coming", "25"),
        ("Price of a diagnosis", "35"),
    ):
        hand.write(label, text)
    hand.press("Set up the shop")
    assert hand.heading == "Jobs"

    hand.press("Start a job")
    hand.write("What the customer says", "Oil change, please.")
    hand.write("Plate", "DEMO-1")
    hand.write("Customer", "Example Customer")
    hand.press("Start the job")
    hand.press("Estimate work without diagnosis first")
    hand.press("Work of your own")
    hand.write("What is to be done", "Oil change")
    hand.write("Hours of work", "0.5")
    hand.press("Add it, and keep it in the price book")
    assert "66.00 EUR" in hand.text

    hand.press("Change its price")
    hand.open("Another part") if hand.page.locator("summary", has_text="Another part").count() else None
    hand.write("Part", "Oil filter")
    hand.write("Price of one", "8")
    hand.press("For this job alone")
    assert "75.60 EUR" in hand.text
    hand.press("Show the estimate")
    hand.press("Approved in person")
    hand.press("Done: oil change")
    assert hand.heading == "Hand over"
    hand.press("Cash, issue the invoice")
    assert hand.heading.startswith("Invoice ") and "Everything is paid" in hand.text

    hand.press("Go to the jobs")
    hand.press("Start a job")
    hand.write("Plate", "demo1")
    known = hand.page.get_by_role("link", name="Known: DEMO-1, Example Customer")
    expect(known).to_be_visible()
    with hand.page.expect_navigation():
        hand.tap(known)
    expect(hand.page.get_by_label("Customer", exact=True)).to_have_value("Example Customer")
    assert watched.errors == []
    with Shop(tmp_path / "new") as shop:
        assert shop.store.verify() == []
        assert "Oil filter" not in (tmp_path / "new" / "prices.toml").read_text("utf-8"), "for that job alone"
