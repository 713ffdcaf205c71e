"""The demo served once for all tests of the whole, and a phone to open its links with."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest

from .chain import serving


@attrs.define
class Watched:
    """A page on a phone, and what happened on it: console errors, addresses asked for."""

    page: Any
    errors: list[str] = attrs.field(factory=list)
    asked: list[str] = attrs.field(factory=list)

    def open(self, link: str) -> None:
        self.page.goto(link)
        self.page.wait_for_selector("article.opened")
        self.page.evaluate("document.fonts.ready")

    @property
    def text(self) -> str:
        return " ".join(self.page.inner_text("body").split())


@pytest.fixture(scope="session")
def phone(chromium: Any) -> Iterator[Callable[..., Watched]]:
    contexts = []

    def open_one(*, width: int = 360, height: int = 740) -> Watched:
        context = chromium.new_context(viewport={"width": width, "height": height}, accept_downloads=True, is_mobile=True, has_touch=True)
        context.set_default_timeout(15_000)
        contexts.append(context)
        watched = Watched(context.new_page())
        watched.page.on("console", lambda said: watched.errors.append(said.text) if said.type in ("error", "warning") else None)
        watched.page.on("pageerror", lambda problem: watched.errors.append(str(problem)))
        watched.page.on("request", lambda request: watched.asked.append(request.url))
        return watched

    yield open_one
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def demo_served(demo_out: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of `corekit serve` over the demo, in a process of its own."""
    shop = Path(shutil.copytree(demo_out, tmp_path_factory.mktemp("served") / "demo-out"))
    with serving(shop) as address:
        yield address
