"""Doubles and fixtures for the links, the publishing and the page: a masked Document, simple renderers, a
server on a free port.
"""

from __future__ import annotations

import contextlib
import logging
import socket
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from html import escape
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.model.document import (
    Code,
    Document,
    DocumentKind,
    Heading,
    Pairs,
    Paragraph,
    PricedLines,
    PricedRow,
    ReadingRow,
    Readings,
    Statement,
    Totals,
)
from corekit.model.figure import Strip
from corekit.model.personal import Personal
from corekit.share.link import token, token_hash
from corekit.share.published import PublishedFolder, seal_envelope
from corekit.web.page_app import page_app
from corekit.web.page_templates import Renderers
from corekit.web.pages import page_server
from corekit.web.server import Server, running

KEY = bytes(range(32))
BEARER = "a-key-for-publishing-of-the-tests"
NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)


def a_document(**changes: Any) -> Document:
    """An invoice of an invented shop, with a name and a plate in it as references."""
    paper = Document(
        id="3f1c9a5e7b2d4c60",
        kind=DocumentKind.INVOICE,
        title="Invoice 2026-0001",
        number="2026-0001",
        shop="Example Mobile Repairs",
        issued="1 July 2026",
        currency="EUR",
        total="378.60",
        demo=True,
        blocks=(
            Pairs(
                rows=(
                    ("Customer", (Personal("name", "ab" * 32),)),
                    ("Vehicle", ("five-door, plate ", Personal("plate", "cd" * 32))),
                )
            ),
            Heading(text="What we found"),
            Paragraph(words=("The battery gave too little voltage under load.",)),
            Readings(
                rows=(
                    ReadingRow(
                        name="Voltage under load",
                        before="8.4 V",
                        after="10.3 V",
                        limit="at least 9.6 V",
                        source="temperature table",
                        note="340 A for 15 s at 4 °C",
                        strip=Strip(
                            unit="V",
                            low_end=6,
                            high_end=14,
                            allowed_low=9.6,
                            reading=10.3,
                            uncertainty=0.06,
                            before=8.4,
                            before_uncertainty=0.05,
                        ),
                    ),
                )
            ),
            PricedLines(
                currency="EUR",
                rows=(
                    PricedRow(
                        text="Replace the battery",
                        ground="found: too little voltage under load",
                        quantity="0.5 h",
                        price="80.00",
                        net="40.00",
                        tax="21 %",
                    ),
                    PricedRow(
                        text="Battery 70 Ah, AGM",
                        ground="part of the replacement",
                        quantity="1",
                        price="189.00",
                        net="189.00",
                        tax="21 %",
                    ),
                ),
            ),
            Totals(
                currency="EUR",
                rows=(("Net", "312.89", False), ("Tax", "65.71", False), ("Total", "378.60", True)),
            ),
            Statement(title="Not looked at", words=("The starter cable was not measured.",)),
            Code(document_id="3f1c9a5e7b2d4c60", link=1, record_mark="ABCD-EFGH-IJKL-MNOP"),
        ),
    )
    return attrs.evolve(paper, **changes)


def plain_renderers(page: Callable[[Document, str], str] | None = None) -> Renderers:
    """Renderers that print the title, the readings and the address and nothing else, so that these tests rest
    on the server alone.
    """

    def simple(document: Document, address: str) -> str:
        rows = [row for block in document.blocks if isinstance(block, Readings) for row in block.rows]
        listed = "".join(
            f"<li>{escape(row.name)}: {escape(row.before)}, then {escape(row.after)}</li>" for row in rows
        )
        return f'<ul class="readings">{listed}</ul><p class="address">{escape(address)}</p>'

    def paper(document: Document, address: str) -> bytes:
        return b"%PDF-1.4 " + f"{document.title} {address}".encode()

    return Renderers(page=page or simple, css=lambda: ".readings { margin: 0; }\n", paper=paper)


@attrs.define
class Clock:
    """A clock that stands still until it is told to go."""

    seconds: float = 1000.0

    def __call__(self) -> float:
        return self.seconds


@attrs.define
class Desk:
    """One published invoice, its code, and a client of the server that has it."""

    folder: PublishedFolder
    code: str
    document: Document
    clock: Clock
    moment: list[datetime]
    app: Any
    client: Any

    @property
    def name(self) -> str:
        return token_hash(self.code)

    def open(self, code: str, **more: Any) -> Any:
        return self.client.post("/v/open", data={"code": code}, **more)


def a_desk(path: Path, **settings: Any) -> Desk:
    document = settings.pop("document", None) or a_document()
    folder = PublishedFolder(path / "published")
    code = token(KEY, document.id, 1)
    folder.put(token_hash(code), seal_envelope(document, published=NOON))
    clock, moment = Clock(), [NOON]
    defaults: dict[str, Any] = {
        "bearer": BEARER,
        "demo": True,
        "renderers": plain_renderers(),
        "clock": clock,
        "now": lambda: moment[0],
    }
    app = page_app(folder, **(defaults | settings))
    return Desk(folder, code, document, clock, moment, app, app.test_client())


def refused_by(address: tuple[str, int]) -> dict[str, str]:
    """Headers with which a server refuses what is no request."""
    with socket.create_connection(address, timeout=30) as line:
        line.sendall(b"nonsense\r\n\r\n")
        head = b"".join(iter(lambda: line.recv(65_536), b"")).partition(b"\r\n\r\n")[0].decode("latin-1")
    return dict(header.split(": ", 1) for header in head.split("\r\n")[1:])


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return a_desk(tmp_path)


@attrs.define
class Served:
    """A page server that runs, and every line that it and the machinery below it logged."""

    address: str
    desk: Desk
    server: Server
    lines: list[str]


class _Lines(logging.Handler):
    def __init__(self, lines: list[str]) -> None:
        super().__init__(logging.DEBUG)
        self.lines = lines

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(logging.Formatter("%(name)s %(message)s").format(record))


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Callable[..., Served]]:
    """Call it to get a page server on a free loopback port; settings go to `page_app`."""
    lines: list[str] = []
    handler, root = _Lines(lines), logging.getLogger()
    before = root.level
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)

    def start(**settings: Any) -> Served:
        desk = a_desk(tmp_path, **settings)
        server = servers.enter_context(running(page_server(desk.app, port=0)))
        return Served(f"http://127.0.0.1:{server.bind_addr[1]}", desk, server, lines)

    with contextlib.ExitStack() as servers:
        yield start
    root.removeHandler(handler)
    root.setLevel(before)
