"""How much of a phone's screen a test takes: at most a screen and a third of 360 × 740, before its caution
was read and after; and with the keyboard up, 430 px left, the field and what it means are both in sight.

Measured are the screens of each system with the most to say; with COREKIT_ALL_SCREENS in the environment
every one.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.setup import Answers, set_up
from corekit.model.measurand import Measurand, Observation
from corekit.plugin.system import System

from ..conftest import Watched
from ..desk.visits_by_answer import answered
from .conftest import Screens

pytestmark = pytest.mark.browser

MOST = 1.3


@pytest.fixture
def screen(tmp_path: Path, screens: Callable[..., Screens]) -> Screens:
    """The screens of an own shop: a demo says so in a line of its own."""
    set_up(tmp_path / "own", Answers(name="A Shop", address=("1 Lane",), currency="EUR"))
    return screens(tmp_path / "own")


def begun(screen: Screens) -> str:
    vehicle = {"plate": "DEMO-1"}
    rows = {"reason": "Does not start.", "vehicle": vehicle, "traits": {"ignition.cylinders": "4"}}
    return answered(screen.shop, None, 1, rows).job


def height(page: Any) -> float:
    return float(page.evaluate("document.documentElement.scrollHeight")) / 740


def past_the_caution(page: Any) -> None:
    gate = page.locator("details.gate:not([open]) > summary")
    if gate.count():
        gate.tap()


SCREENS = 4
#: Of all 206 screens those that came out above 1.2, the highest at 1.29.
HIGHEST = frozenset(
    {
        *("battery.charge_current", "battery.charge_end", "egr.supply_vacuum", "egr.signal_upstream"),
        *("egr.sensing_hoses", "egr.vacuum_smoke", "ignition.compression", "ignition.plug_face"),
        *("ignition.spark", "ignition.switching", "ignition.spark_at_coil"),
    }
)


def longest(system: System) -> list[str]:
    """The keys of the screens with the most to say, by the length of their texts and the fields beside, and
    of those that came out highest.
    """

    def length(one: Measurand | Observation) -> int:
        fields = len(one.conditions) if isinstance(one, Measurand) else len(one.answers)
        return len(f"{one.title} {one.how} {one.hazard}") + 60 * (fields + min(4, len(one.places)))

    declared = {**system.measurands, **system.observations}
    ranked = sorted(declared, key=lambda key: -length(declared[key]))
    if os.environ.get("COREKIT_ALL_SCREENS"):
        return ranked
    return [key for place, key in enumerate(ranked) if place < SCREENS or key in HIGHEST]


@pytest.mark.parametrize("system", ["battery", "cooling", "egr", "ignition"])
def test_a_test_takes_at_most_a_screen_and_a_third(
    system: str, screen: Screens, phone: Callable[..., Watched]
) -> None:
    page, job = phone(width=360, height=740).page, begun(screen)
    too_high = {}
    for key in longest(screen.shop.context.plugins.systems[system]):
        page.goto(f"{screen.address}/job/{job}/test/{key}")
        shut = height(page)
        past_the_caution(page)
        found = max(shut, height(page))
        if found > MOST:
            too_high[key] = round(found, 2)
    assert not too_high


@pytest.mark.parametrize(
    ("key", "values"),
    [
        ("battery.open_circuit_voltage", ["12.5"]),
        ("battery.cranking_voltage", ["9.6", "9.4"]),
        ("ignition.plug_gap", ["0.85", "1.35", "0.9", "0.85"]),
    ],
)
def test_with_the_keyboard_up_field_and_verdict_are_both_in_sight(
    key: str, values: list[str], screen: Screens, phone: Callable[..., Watched]
) -> None:
    page = phone(width=360, height=430).page
    page.goto(f"{screen.address}/job/{begun(screen)}/test/{key}")
    past_the_caution(page)
    for n, value in enumerate(values):
        field = page.locator(f'[name="step[0].readings[{n}].is"]')
        field.tap()
        with page.expect_response(lambda reply: reply.url.endswith("/try")):
            page.keyboard.type(value)
        said = page.locator("[data-trial] .hero, [data-trial] .understood, [data-trial] .soft").first
        said.wait_for()
        page.wait_for_timeout(400)  # it scrolls softly
        places = [one.bounding_box() for one in (field, said)]
        bar = page.locator("form .thumb").bounding_box()["y"]
        assert all(box["y"] >= 0 and box["y"] + box["height"] <= bar + 1 for box in places), (n, places, bar)
