"""A hand on a phone: what the tests share that drive a whole visit by touch, with every tap and every typed
character counted.

Nothing goes past what a hand can do. A tap lands where a finger could put it; a field is written into by
keys; what stands in a field already is taken out by the key that takes out one character, each of which
counts.
"""

from __future__ import annotations

import time
from typing import Any

import attrs
import pytest

from ..conftest import PATIENCE

sync_api = pytest.importorskip("playwright.sync_api")
Error, expect = sync_api.Error, sync_api.expect
expect.set_options(timeout=PATIENCE * 1000)


@attrs.define
class Hand:
    """One hand on one page.

    Attributes:
        taps: Touches, a stroke drawn on the screen among them. typed: Characters, those that were taken out
            again among them.
    """

    page: Any
    taps: int = 0
    typed: int = 0

    def __str__(self) -> str:
        return f"{self.taps} taps, {self.typed} typed characters"

    @property
    def text(self) -> str:
        """What stands on the screen."""
        return " ".join(self.page.inner_text("body").split())

    @property
    def heading(self) -> str:
        return " ".join(self.page.inner_text("h1").split())

    def tap(self, thing: Any) -> None:
        """Touch one thing; it must be there to be touched."""
        thing.tap()
        self.taps += 1

    def press(self, name: str, *, exact: bool = False, stays: bool = False) -> None:
        """Touch the button or link of this name, and wait for the screen that it leads to
        unless it `stays`.
        """
        thing = (
            self.page.get_by_role("button", name=name, exact=exact)
            .or_(self.page.get_by_role("link", name=name, exact=exact))
            .first
        )
        if stays:
            self.tap(thing)
            return
        with self.page.expect_navigation():
            self.tap(thing)
        self.page.wait_for_load_state()

    def open(self, words: str) -> None:
        """Touch the heading of something folded."""
        self.tap(self.page.locator("summary", has_text=words).first)

    def choose(self, question: str, answer: str) -> None:
        """Touch an answer, or a unit key, of the group with this name; one that is pressed
        already is left.
        """
        group = self.page.get_by_role("group", name=question, exact=True).first
        if not group.get_by_label(answer, exact=True).is_checked():
            self.tap(group.locator("label").get_by_text(answer, exact=True))

    def caution(self) -> None:
        """Say that the caution was read, where the page asks for that before it goes on."""
        gate = self.page.locator("details.gate:not([open]) > summary")
        if gate.count():
            self.tap(gate)

    def write(self, label: str, text: str, *, counted: bool = True) -> None:
        """Type into a field.

        It is touched first, unless the page put the cursor there itself; what stands there already and is
        right is left.
        """
        field = self.page.get_by_label(label, exact=True).first
        if field.input_value() == text:
            return
        if not field.evaluate("field => field === document.activeElement"):
            self.tap(field)
        expect(field).to_be_focused()  # whoever types looks where the cursor is
        before = len(field.input_value())
        if before:
            self.page.keyboard.press("End")
        for _ in range(before):
            self.page.keyboard.press("Backspace")
        self.page.keyboard.type(text)
        expect(field).to_have_value(text)
        if counted:
            self.typed += before + len(text)

    def sign(self) -> None:
        """Draw on the sheet for it, in one stroke."""
        sheet = self.page.locator("canvas[data-sign]")
        sheet.scroll_into_view_if_needed()
        box = sheet.bounding_box()
        path = [
            (box["x"] + box["width"] * part, box["y"] + box["height"] * height)
            for part, height in ((0.2, 0.6), (0.4, 0.3), (0.6, 0.7), (0.8, 0.4))
        ]
        moves = [
            ("touchMove", [point]) for point in (*path[1:], path[-1], path[-1])
        ]  # it rests before it lifts; lifted in full swing it would fling
        finger, began = self.page.context.new_cdp_session(self.page), time.time()
        for n, (kind, points) in enumerate([("touchStart", path[:1]), *moves, ("touchEnd", [])]):
            touched = [{"x": x, "y": y} for x, y in points]
            finger.send(
                "Input.dispatchTouchEvent",
                {"type": kind, "touchPoints": touched, "timestamp": began + n * 0.2},
            )
        finger.detach()
        self.taps += 1


#: Everything to be touched that is lower than 48 px; the lid of a caution that was read is nothing to touch
#: any more.
_SMALL = """[...document.querySelectorAll([
  "main button", "main details:not(.gate[open]) > summary", "main .answer span", "main .key span",
    "main .main", "main .other", "main .row", "main .go a",
  "main .quiet-link",
].join())].filter((one) => one.checkVisibility() && one.getBoundingClientRect().height < 48)
  .map((one) => `small: ${one.textContent.trim()}`)"""


def hard_to_use(page: Any) -> list[str]:
    """What is wrong with a screen for a screen reader (axe-core), a narrow screen, or a thumb (targets of at
    least 48 px).
    """
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    ).Axe()
    page.evaluate("document.querySelectorAll('main details').forEach((folded) => { folded.open = true; })")
    wrong = [violation["id"] for violation in axe.run(page).response["violations"]]
    wrong += (
        ["wider than the screen"]
        if page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        else []
    )
    wrong += page.evaluate(_SMALL)
    return wrong
