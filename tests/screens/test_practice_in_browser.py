"""A visit to a practice car by touch on a phone of 360 × 740, from the list of jobs to what was wrong."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import attrs
import pytest

from corekit.desk.shop import Shop
from corekit.plugin.host import load
from corekit.practice.folder import PracticeFolder, Wish, set_up
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..conftest import Watched
from .conftest import free_port, start_serving, stop_serving
from .driving import Hand, hard_to_use

pytestmark = pytest.mark.browser


@attrs.define
class Practised:
    """A practice car on a phone, and what stands behind it."""

    shop: Shop
    cars: PracticeFolder
    id: str
    hand: Hand
    phone: Watched


@pytest.fixture
def practised(tmp_path: Path, phone: Callable[..., Watched]) -> Iterator[Practised]:
    plugins, folder = load(), tmp_path / "practice"
    set_up(folder, plugins)
    with Shop(folder, plugins=plugins) as shop:
        cars = PracticeFolder(shop.context)
        wish = next(
            Wish(seed=seed, system="battery")
            for seed in range(400)
            if cars._made(Wish(seed=seed, system="battery")).hidden[0].defect.key == "belt"
        )
        job = cars.begin(wish)
        watched = phone()
        server, thread = start_serving(
            work_app(Van(shop.context, practice=cars), NoAuth()), port := free_port()
        )
        try:
            watched.page.goto(f"http://127.0.0.1:{port}/")
            yield Practised(shop, cars, job, Hand(watched.page), watched)
        finally:
            watched.page.context.close()
            stop_serving(server, thread)


def on_the_car(practised: Practised) -> bool:
    """Read or look on the car what this screen asks for, and save it; False where it asks for nothing."""
    hand = practised.hand
    hand.caution()
    page = hand.page
    if page.get_by_role("button", name="Read it on the car").first.is_visible():
        hand.press("Read it on the car")
        hand.caution()
        assert "The meter shows" in hand.text or "Stored:" in hand.text or "don't know" in hand.text
        with page.expect_navigation():
            hand.tap(page.locator("main .thumb .main").first)
    elif page.get_by_role("button", name="Look at it on the car").first.is_visible():
        hand.press("Look at it on the car")
        hand.caution()
        found = re.search(r"You find: (.+?)\. ", hand.text + " ")
        assert found, hand.text
        answer = found[1]
        with page.expect_navigation():
            hand.press(answer[:1].upper() + answer[1:], exact=True, stays=True)
    else:
        return False
    return True


def test_a_visit_to_a_practice_car_by_touch_ends_with_what_was_wrong(practised: Practised) -> None:
    hand, page = practised.hand, practised.hand.page
    assert "PRACTICE: an invented car" in hand.text
    hand.press("PRACTICE car")
    hand.press("Show the estimate")
    hand.press("Approved in person")
    guessed = False
    for _ in range(40):
        if page.get_by_role("link", name="See what was wrong").is_visible():
            if "nothing says that it was done" not in hand.text:
                break
            hand.press("Steps")
            hand.tap(page.locator("main a.row", has_text="Repair").last)
            page.wait_for_load_state()
            continue
        field = page.get_by_label("Charging voltage", exact=True)
        if not guessed and field.count() and field.first.is_visible():
            hand.caution()
            hand.write("Charging voltage", "12.2")
            guessed = True
        if on_the_car(practised):
            continue
        with page.expect_navigation():
            hand.tap(page.locator("main .main").first)
        page.wait_for_load_state()
    hand.press("See what was wrong")
    assert "The alternator's belt carried" in hand.text
    assert "Sound parts exchanged none" in hand.text
    job = practised.shop.store.job(practised.id)
    assert {noted.record.operation for noted in job.repairs} == {"battery.charge", "battery.charging_repair"}
    car = practised.cars.as_it_stands(job)
    assert car is not None and car.needed == () and car.complaints == ()
    assert "Put right" in hand.heading and not job.issued
    assert ("12.2 V" in hand.text or "1, " in hand.text) and len(practised.cars.guesses(practised.id)) == 1
    assert hard_to_use(page) == []
    assert practised.phone.errors == []
