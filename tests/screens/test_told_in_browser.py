"""Screens with an account on a phone of 360 × 740: how long they are, and whether everybody can use."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from corekit.desk.shop import Shop
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..desk.visits_by_answer import by_file, demo_shop
from .conftest import start_serving, stop_serving
from .driving import hard_to_use
from .test_told import FILES, until

pytestmark = pytest.mark.browser

SCREEN = 740


@pytest.fixture(scope="module")
def paths(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, dict[str, list[str]]]]:
    """Where the screens are served, and the address of each kind of screen, over the demo's jobs."""
    with demo_shop(tmp_path_factory.mktemp("told") / "shop") as shop:
        found = {"hand over": [], "issued": []} | _before_the_repair(shop)
        for path in FILES:
            found["hand over"].append(f"/job/{by_file(shop, path)}/hand")
        server, thread = start_serving(work_app(Van(shop.context), NoAuth()), 0)
        yield f"http://127.0.0.1:{server.bind_addr[1]}", found
        stop_serving(server, thread)


def _before_the_repair(shop: Shop) -> dict[str, list[str]]:
    job = until(shop, "repair 1", start=1000)
    asked = until(shop, "repair 1", start=2000)
    shop.estimate(asked, "repair")
    repair = until(shop, "repaired", start=3000)
    issued = [by_file(shop, path) for path in FILES]
    for one in issued:
        shop.issue(one)
    return {
        "explain": [f"/job/{job}/explain"],
        "estimate": [f"/job/{asked}/estimate"],
        "repair": [f"/job/{repair}/repair"],
        "issued": [f"/job/{one}/hand" for one in issued],
    }


@pytest.fixture(params=["light", "dark"])
def phone(chromium: Any, request: pytest.FixtureRequest) -> Iterator[Any]:
    context = chromium.new_context(
        viewport={"width": 360, "height": SCREEN}, color_scheme=request.param, has_touch=True, is_mobile=True
    )
    yield context.new_page()
    context.close()


def heights(page: Any, at: str, paths: list[str]) -> list[float]:
    found = []
    for path in paths:
        page.goto(f"{at}{path}")
        found.append(page.evaluate("document.documentElement.scrollHeight") / SCREEN)
    return found


def test_handing_over_is_at_most_two_and_a_half_screens(
    phone: Any, paths: tuple[str, dict[str, list[str]]]
) -> None:
    at, found = paths
    for kind in ("hand over", "issued"):
        assert max(heights(phone, at, found[kind])) <= 2.5, kind
    assert max(heights(phone, at, found["explain"] + found["estimate"])) <= 2.5


def test_every_screen_with_an_account_is_for_everybody_in_both_schemes(
    phone: Any, paths: tuple[str, dict[str, list[str]]]
) -> None:
    at, found = paths
    for path in [path for several in found.values() for path in several]:
        phone.goto(f"{at}{path}")
        assert hard_to_use(phone) == [], path
