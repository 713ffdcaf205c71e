"""A working day by touch, 360 × 740: five calls, one of them unpaid and one waiting for a part; and the
single things of such a day: work of the shop's own, a price changed at the kerb, a customer who comes back.

Sums by hand from demo/shop/prices.toml and what is typed: coming 20.00, an hour 62.50, tax 20 %.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import attrs
import pytest

from ..conftest import Watched
from ..desk.visits_by_answer import answered
from .conftest import Screens
from .driving import Hand, expect

pytestmark = pytest.mark.browser

PHONE = "0171 5550123"


@attrs.define
class Day:
    """One phone on the screens of one shop."""

    hand: Hand
    screens: Screens

    def home(self) -> None:
        self.hand.page.goto(f"{self.screens.address}/")

    def call(self, plate: str, who: str, words: str = "") -> None:
        """Start a job from the list."""
        self.home()
        self.hand.press("Start a job")
        if words:
            self.hand.write("What the customer says", words)
        self.hand.write("Plate", plate)
        self.hand.write("Customer", who)
        self.hand.press("Start the job")

    def own_work(self, what: str, hours: str) -> None:
        """Work that no system declares, without any diagnosis: named, priced, agreed and done."""
        hand = self.hand
        hand.press("Estimate work without diagnosis first")
        hand.press("Work of your own")
        hand.write("What is to be done", what)
        hand.write("Hours of work", hours)
        hand.press("Add it", exact=True)

    def agreed(self, what: str) -> None:
        self.hand.press("Show the estimate")
        self.hand.press("Approved in person")
        self.hand.press(f"Done: {what}")
        assert self.hand.heading == "Hand over"


@pytest.fixture
def day(empty_shop: Path, screens: Callable[..., Screens], phone: Callable[..., Watched]) -> Iterator[Day]:
    watched = phone(width=360, height=740)
    yield Day(Hand(watched.page), screens(empty_shop))
    assert watched.errors == []


def test_five_calls_of_a_day_one_unpaid_and_one_waiting_for_a_part(day: Day) -> None:
    hand = day.hand
    day.call("DEMO-1", "First")  # (20.00 + 0.5 h × 62.50) × 1.20 = 61.50
    day.own_work("Oil change", "0.5")
    day.agreed("oil change")
    hand.press("Cash, issue the invoice")
    assert "61.50 EUR" in hand.text and "Everything is paid" in hand.text

    day.call("DEMO-2", "Second")  # (20.00 + 0.2 h × 62.50) × 1.20 = 39.00
    day.own_work("Wiper blades", "0.2")
    day.agreed("wiper blades")
    hand.press("Card, issue the invoice")
    assert "39.00 EUR" in hand.text and "Everything is paid" in hand.text

    day.call("DEMO-3", "Third")  # (20.00 + 0.4 h × 62.50) × 1.20 = 54.00
    day.own_work("Headlamp bulb", "0.4")
    day.agreed("headlamp bulb")
    hand.press("Issue invoice, pay later")
    assert "Still to pay: 54.00 EUR" in hand.text

    day.call("DEMO-4", "Fourth", "Wants a new battery.")
    hand.press("Estimate work without diagnosis first")
    hand.press("Add work")
    hand.choose("Why", "Customer's request")
    hand.choose("Battery and charging", "Replace the battery")
    hand.press("Add it")
    hand.press("Show the estimate")
    hand.press("Approved in person")
    hand.press("It cannot be done today")
    hand.choose("Why", "Part missing")
    hand.press("Leave", exact=True)

    day.call("DEMO-5", "Fifth", "Crackles in the radio.")  # (20.00 + 30.00) × 1.20 = 60.00
    hand.press("Approved in person")
    hand.press("Any single test")
    hand.press("Battery case")
    hand.caution()
    hand.press("Sound", exact=True)
    hand.press("Stop testing and explain")
    hand.press("Hand over without a repair")
    hand.press("Cash, issue the invoice")
    assert "60.00 EUR" in hand.text and "Everything is paid" in hand.text

    day.home()
    for plate, who in (("DEMO-1", "First"), ("DEMO-3", "Third"), ("DEMO-4", "Fourth")):
        assert plate in hand.text and who in hand.text
    hand.press("The day")
    waits, owed = hand.text.index("Waits for a part"), hand.text.index("Owed")
    assert waits < hand.text.index("DEMO-4") < owed < hand.text.index("DEMO-3")
    assert "54.00 EUR" in hand.text and "DEMO-1" not in hand.text and "DEMO-5" not in hand.text
    hand.press("54.00 EUR")
    hand.press("Cash", exact=True)
    assert "Everything is paid" in hand.text
    hand.press("Go to the jobs")
    hand.press("The day")
    assert "Owed" not in hand.text and "DEMO-4" in hand.text
    assert day.screens.shop.store.verify() == []


def test_work_of_the_shop_s_own_stays_in_the_price_book_where_that_is_wanted(day: Day) -> None:
    hand = day.hand
    day.call("DEMO-1", "First")
    hand.press("Estimate work without diagnosis first")
    hand.press("Work of your own")
    hand.write("What is to be done", "Oil change")
    hand.write("Hours of work", "0.5")
    hand.write("Part", "Oil filter")
    hand.write("Price of one", "8")
    hand.press("Add it, and keep it in the price book")
    assert "71.10 EUR" in hand.text  # (20.00 + 31.25 + 8.00) × 1.20
    day.call("DEMO-2", "Second")
    hand.press("Estimate work without diagnosis first")
    hand.press("Add work")
    hand.choose("Why", "Customer's request")
    hand.tap(hand.page.get_by_text("Oil change", exact=True))
    hand.press("Add it")
    assert "71.10 EUR" in hand.text, "at the price that was typed for the first"


def test_a_price_changed_at_the_kerb_is_that_of_this_job_or_of_every_job_after_it(day: Day) -> None:
    hand = day.hand
    book = day.screens.shop.context.folder / "prices.toml"
    before = book.read_text("utf-8")
    for plate, kept, after in (("DEMO-1", "For this job alone", False), ("DEMO-2", "Save the price", True)):
        day.call(plate, "Somebody")
        hand.press("Estimate work without diagnosis first")
        hand.press("Add work")
        hand.choose("Why", "Customer's request")
        hand.choose("Battery and charging", "Replace the battery")
        hand.press("Add it")
        assert "246.60 EUR" in hand.text  # (37.50 + 168.00) × 1.20
        hand.press("Change its price")
        hand.write("Price of one", "150")
        hand.press(kept)
        assert "225.00 EUR" in hand.text  # (37.50 + 150.00) × 1.20
        assert (book.read_text("utf-8") != before) is after


def test_a_customer_who_comes_back_is_known_by_plate_and_by_phone_with_what_was_read_and_declined(
    day: Day,
) -> None:
    shop, hand = day.screens.shop, day.hand
    said = {
        "reason": "Cranks slowly.",
        "vehicle": {"plate": "DEMO-1", "description": "estate, grey"},
        "customer": {"name": "Example Keeper", "phone": PHONE, "address": "2 Invented Road"},
    }
    job = answered(shop, None, 1, said).job
    reading = {"of": "battery.open_circuit_voltage", "is": "12.6 V"}
    rows = {"setup": {"battery.rest_time": "9 h"}, "readings": [reading]}
    answered(shop, job, 2, {"step": [rows]})
    wish = {"operation": "battery.replace", "ground": "customer"}
    answered(shop, job, 3, {"step": [{"requested": wish}]})
    estimate = shop.estimate(job, "repair")
    shop.approve(estimate, by="customer", how="in person", declined=["battery.replace"])

    day.home()
    hand.press("Start a job")
    hand.write("What the customer says", "Clicks now.")
    hand.write("Plate", "demo1")
    hand.press("Known: estate, grey · DEMO-1, Example Keeper")
    said_now = hand.page.get_by_label("What the customer says", exact=True)
    expect(said_now).to_have_value("Clicks now.")  # what was typed before goes along
    hand.press("Start the job")
    hand.press("Approved in person")
    hand.press("Any single test")
    hand.press("Open-circuit voltage")
    hand.caution()
    assert "Last time 12.6 V" in hand.text
    hand.press("Steps")
    hand.press("This vehicle before")
    assert "Replace the battery" in hand.text and "eclined" in hand.text

    day.home()
    hand.press("Start a job")
    hand.open("VIN or no number")
    hand.write("Phone", "+49 171 5550123")
    hand.press("Customer: Example Keeper")
    assert hand.page.get_by_label("Customer", exact=True).input_value() == "Example Keeper"
    assert hand.page.get_by_label("Plate", exact=True).input_value() == "", "with another vehicle"
