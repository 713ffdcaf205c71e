"""The office in a real browser, on a phone and at a desk."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from corekit.hub import desk, people
from corekit.hub.app import Hub
from corekit.hub.people import Person, Role

from ..store.conftest import reading, said
from ..store.writing import append
from .conftest import VanAt

pytestmark = pytest.mark.browser

OFFICE = Person(name="Kim", role=Role.OFFICE)
#: Whatever is to be touched and is lower than 48 px.
SMALL = """[...document.querySelectorAll("a:not(.skip), button, input:not([type=hidden]), select")]
  .filter((one) => one.checkVisibility() && one.getBoundingClientRect().height < 48)
  .map((one) => one.outerHTML.slice(0, 80))"""
#: Where pictures are left, for whoever wants to look.
PICTURES = os.environ.get("COREKIT_PICTURES", "")


def hard_to_use(page: Any) -> list[str]:
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    ).Axe()
    wrong = [violation["id"] for violation in axe.run(page).response["violations"]]
    if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
        wrong.append("wider than the screen")
    return wrong + page.evaluate(SMALL)


@pytest.fixture
def busy(hub: Hub, new_van: Callable[[str], VanAt], monkeypatch: pytest.MonkeyPatch) -> tuple[str, str]:
    """A hub with a call, a bill that is owed and a job in dispute: the office's passcode, and that job."""
    monkeypatch.setattr("corekit.hub.people._N", 2**4)
    a, b = new_van("one"), new_van("two")
    a.bill(a.begin("first", "Some Rather Long Name of an Invented Customer"))
    told = a.begin("second")
    a.sync()
    b.sync()
    a.hand(told, b.letters)
    a.sync()
    b.sync()
    (before,) = [entry.id for entry in b.store.journal(told) if entry.kind == "measured"]
    for van, typed in ((a, "12.11 V"), (b, "12.22 V")):
        if van is a:
            desk.hand(hub, OFFICE, told, "A")
            a.sync()
        append(van.store, told, [said("measured", "second:v/#1", reading(typed), replaces=(before,))])
    for van in (b, a, b):
        van.sync()
    call = desk.Call(
        who="Caller Example", phone="000 1", words="Rattles when it is cold.", day="2026-03-05", van="B"
    )
    desk.take_call(hub, OFFICE, call)
    return people.let_in(hub, "Kim", Role.OFFICE), told


@pytest.mark.parametrize(("width", "height"), [(360, 740), (1280, 900)])
def test_every_page_of_the_office_is_for_thumbs_screens_and_who_does_not_see_it(
    hub: Hub, address: str, busy: tuple[str, str], phone: Callable[..., Any], width: int, height: int
) -> None:
    code, disputed = busy
    watched = phone(width=width, height=height)
    page = watched.page
    page.goto(f"{address}/office")
    seen = {"door": hard_to_use(page)}
    page.get_by_label("Name").fill("Kim")
    page.get_by_label("Passcode").fill(code)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/office/passcode")
    seen["choice"] = hard_to_use(page)
    page.get_by_label("Present passcode").fill(code)
    page.get_by_label("New passcode", exact=True).fill("violet kettle 42")
    page.get_by_label("New passcode once more").fill("violet kettle 42")
    page.get_by_role("button", name="Keep it").click()
    page.wait_for_url("**/office")
    page.get_by_label("Find a job").fill("example")
    page.get_by_role("button", name="Find").click()
    page.wait_for_url("**/office/found/*")
    assert "Example Customer" in page.inner_text("main")
    found = page.url.rpartition("/office")[2]
    page.goto(f"{address}/office/job/{disputed}")
    page.go_back()
    assert page.get_by_label("Find a job").input_value() == "example"
    for at in ("", "/day", "/debts", "/papers", "/call", "/passcode", found, f"/job/{disputed}"):
        page.goto(f"{address}/office{at}")
        seen[at or "jobs"] = hard_to_use(page)
        if PICTURES:
            name = re.sub(r"/(job|found)/.*", r"\1", at).strip("/") or "jobs"
            page.screenshot(path=Path(PICTURES, f"office-{name}-{width}.png"), full_page=True)
    assert {at: wrong for at, wrong in seen.items() if wrong} == {}
    # A call becomes a job on a van's list without a line of script.
    page.goto(f"{address}/office/call")
    page.get_by_label("What the customer says").fill("Smells of petrol.")
    page.get_by_label("Name").fill("Second Caller")
    page.get_by_role("button", name="Put it on the van's list").click()
    page.wait_for_url("**/office/job/*")
    assert "Smells of petrol." in page.inner_text("main")
    assert watched.errors == []
