"""What the tests without a browser share: a page as somebody without a script has it, a job on screens."""

from __future__ import annotations

import json
import re
import secrets
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import attrs

from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van


@attrs.define
class Form:
    """A form of a page: its fields as a browser would send them, its buttons, and where it goes."""

    action: str
    fields: list[tuple[str, str]] = attrs.field(factory=list)
    buttons: list[tuple[str, str]] = attrs.field(factory=list)
    names: set[str] = attrs.field(factory=set)


class Page(HTMLParser):
    """A page as somebody without a script has it: text, links, forms, and what stands before what."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.html = html
        self.words: list[str] = []
        self.links: list[str] = []
        self.forms: list[Form] = []
        self.ahead: list[str] = []
        self._open: Form | None = None
        self._skip = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attributes}
        if tag in ("script", "style", "title"):
            self._skip += 1
        if tag == "a":
            self.links.append(given["href"])
        if tag == "main":
            self.ahead = json.loads(given.get("data-ahead", "[]"))
        if tag == "form":
            self._open = Form(given["action"])
            self.forms.append(self._open)
        form = self._open
        if form is None or "name" not in given:
            return
        form.names.add(given["name"])
        if tag == "button":
            form.buttons.append((given["name"], given["value"]))
        elif tag in ("input", "textarea") and (
            given.get("type") not in ("radio", "checkbox") or "checked" in given
        ):
            form.fields.append((given["name"], given.get("value", "")))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._open = None
        if tag in ("script", "style", "title"):
            self._skip -= 1

    def handle_data(self, data: str) -> None:
        if not self._skip:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def form_of(self, name: str) -> Form:
        """The first form that has a field or button of this name."""
        return next(
            form
            for form in self.forms
            if name in form.names or any(button[0] == name for button in form.buttons)
        )


@attrs.define
class Visit:
    """A job on the screens."""

    client: Any
    shop: Shop
    id: str
    at: str = ""

    def get(self, path: str, status: int = 200) -> Page:
        """Open a screen below the job (or any path), following where it leads."""
        address = path if path.startswith("/") else f"/job/{self.id}/{path}"
        reply = self.client.get(address, follow_redirects=True)
        assert reply.status_code == status, reply.text[-800:]
        self.at = reply.request.full_path.rstrip("?")
        return Page(reply.text)

    def send(self, form: Form, fields: dict[str, str] | None = None, *, status: int = 303) -> Page:
        """Send a form as a browser does, with these fields changed or pressed; then the page it leads to."""
        given = dict(form.fields) | (fields or {})
        reply = self.client.post(form.action, data=given)
        assert reply.status_code == status, (
            reply.status_code,
            re.findall(r'class="fault">([^<]*)', reply.text),
        )
        return self.get(reply.headers["Location"]) if status == 303 else Page(reply.text)

    def rows(self, **rows: Any) -> None:
        add_rows(self.shop.context, self.id, rows, request_id=secrets.token_urlsafe(18))

    @property
    def job(self) -> Any:
        return self.shop.store.job(self.id)


def begun(folder: Path, plugins: Any) -> Iterator[Visit]:
    with Shop(folder, plugins=plugins) as shop:
        app = work_app(Van(shop.context), NoAuth())
        visit = Visit(app.test_client(), shop, shop.store.new_job())
        visit.rows(reason="It slips.", vehicle={"plate": "DEMO-1"})
        yield visit
