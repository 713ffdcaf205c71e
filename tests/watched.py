"""A page in a browser, and what happened on it."""

from __future__ import annotations

from typing import Any

import attrs


@attrs.define
class Watched:
    """A page on a phone, and what happened on it: console errors and warnings, addresses asked for."""

    page: Any
    errors: list[str] = attrs.field(factory=list)
    asked: list[str] = attrs.field(factory=list)

    @classmethod
    def of(cls, page: Any) -> Watched:
        watched = cls(page)
        page.on("console", lambda said: watched.errors.append(said.text) if said.type in ("error", "warning") else None)
        page.on("pageerror", lambda problem: watched.errors.append(str(problem)))
        page.on("request", lambda request: watched.asked.append(request.url))
        return watched

    def open(self, link: str) -> None:
        self.page.goto(link)
        self.page.wait_for_selector("article.opened")
        self.page.evaluate("document.fonts.ready")

    @property
    def text(self) -> str:
        return " ".join(self.page.inner_text("body").split())
