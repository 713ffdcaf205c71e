"""From a file and from the car, by touch on a phone: a draft, a look at it, and only then the record."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.desk.rows import add_rows

from ..conftest import Watched
from ..readers.logs import drive, table
from ..readers.small_vehicle import Module, SmallVehicle, engine
from .conftest import Screens
from .driving import Hand, hard_to_use

pytestmark = pytest.mark.browser


@attrs.define
class AtTheCar:
    """A job on a phone, at the screen on which files and the car are read."""

    screens: Screens
    hand: Hand
    id: str

    @property
    def kinds(self) -> list[str]:
        """What was saved of readings, records and trouble codes."""
        entries = self.screens.shop.store.journal(self.id)
        return [one.kind for one in entries if one.kind in ("measured", "recorded", "codes")]

    @property
    def rows(self) -> Any:
        return self.hand.page.locator('label:has(input[name="row"])')

    def draft(self, button: str) -> None:
        """Have a draft made, and look at it."""
        self.hand.press(button)
        assert self.hand.heading == "Draft"
        assert "Nothing of it is saved yet." in self.hand.text
        assert hard_to_use(self.hand.page) == []
        assert self.kinds == []


@pytest.fixture
def at_the_car(
    empty_shop: Path, screens: Callable[..., Screens], phone: Callable[..., Watched]
) -> Iterator[AtTheCar]:
    served, watched = screens(empty_shop), phone()
    rows = {"reason": "Runs badly when warm.", "vehicle": {"plate": "DEMO-1"}}
    job = add_rows(served.shop.context, None, rows, request_id="begin-0123456789").job
    hand = Hand(watched.page)
    hand.page.goto(f"{served.address}/job/{job}/tests")
    hand.press("From a file or the car")
    assert hard_to_use(hand.page) == []
    yield AtTheCar(served, hand, job)
    assert served.shop.store.verify() == []
    # A refused file comes back as 422, which the browser writes down as well.
    assert [one for one in watched.errors if "422 (UNPROCESSABLE ENTITY)" not in one] == []


def test_of_a_logger_s_file_only_what_stays_ticked_is_saved(at_the_car: AtTheCar, tmp_path: Path) -> None:
    file = tmp_path / "my log.csv"
    file.write_text(table(drive()), "utf-8")
    hand = at_the_car.hand
    hand.page.get_by_label("A logger's file").set_input_files(file)
    at_the_car.draft("Make a draft of the file")
    assert "It cannot show" in hand.text
    assert at_the_car.rows.count() > 1
    for one in at_the_car.rows.all()[1:]:
        hand.tap(one)
    hand.press("Save what is ticked")
    assert at_the_car.kinds == ["measured"]
    assert "From my log.csv, lines" in hand.text


def test_a_file_that_is_no_vehicle_s_is_refused_on_the_screen_and_another_is_taken(
    at_the_car: AtTheCar, tmp_path: Path
) -> None:
    (tmp_path / "bank.csv").write_text("Date;Payee;Amount\n2026-03-01;Rent;-650.00\n", "utf-8")
    (tmp_path / "log.csv").write_text(table(drive()), "utf-8")
    hand = at_the_car.hand
    hand.page.get_by_label("A logger's file").set_input_files(tmp_path / "bank.csv")
    hand.press("Make a draft of the file")
    assert hand.heading == "From a file or the car"
    assert "bank.csv" in hand.text
    assert at_the_car.kinds == []
    hand.page.get_by_label("A logger's file").set_input_files(tmp_path / "log.csv")
    at_the_car.draft("Make a draft of the file")


def test_the_car_is_read_by_touch_and_what_it_tells_is_saved(at_the_car: AtTheCar) -> None:
    hand = at_the_car.hand
    hand.write("Channel of the adapter", "browser-car")
    hand.write("Kind of adapter", "virtual")
    with SmallVehicle("browser-car", Module(0x7E8, engine())) as car:
        at_the_car.draft("Read the car")
    assert "stored: P0401" in hand.text
    assert not [question for question in car.asked if question.startswith("04")]  # nothing is cleared
    hand.press("Save what is ticked")
    assert "codes" in at_the_car.kinds
    assert "P0401" in hand.text
