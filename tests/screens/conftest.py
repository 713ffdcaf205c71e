"""What the tests of the screens share: an empty demo shop, its screens served on a free port, and a thumb
that counts.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.desk.shop import Shop
from corekit.plugin.host import load
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..conftest import PATIENCE, at_most
from ..visit.clutch import PLUGINS
from .pages import Visit, begun


@attrs.define
class Screens:
    """The screens of a shop, served: where, the shop behind them, the server that can be stopped and started
    again at the same place.
    """

    address: str
    shop: Shop
    app: Any
    server: Any
    thread: threading.Thread

    def stop(self) -> None:
        """Stop answering, as a server that was killed does."""
        stop_serving(self.server, self.thread)

    def start(self) -> None:
        """Answer again, at the same address."""
        port = int(self.address.rpartition(":")[2])
        self.server, self.thread = start_serving(self.app, port)


def start_serving(app: Any, port: int) -> tuple[Any, threading.Thread]:
    """A server of these screens and the thread that it runs in; `stop_serving` ends both."""
    from cheroot.wsgi import Server

    server = Server(("127.0.0.1", port), app, numthreads=4, shutdown_timeout=1)
    server.prepare()
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    return server, thread


def stop_serving(server: Any, thread: threading.Thread) -> None:
    """End a server; one that goes on answering, or an answer that never ends, is a failure."""
    with at_most(PATIENCE):
        server.stop()
        thread.join()


def free_port() -> int:
    """A port by its number: one that the server was let choose itself cannot be had again for a minute
    (cheroot binds it without SO_REUSEADDR).
    """
    with socket.create_server(("127.0.0.1", 0)) as held:
        return int(held.getsockname()[1])


@pytest.fixture
def screens() -> Iterator[Callable[..., Screens]]:
    """Call it with a shop's folder to get its screens behind an open door; `wrap` puts a WSGI layer around
    them.
    """
    running: list[Screens] = []

    def serve(folder: Path, *, wrap: Callable[[Any], Any] = lambda app: app) -> Screens:
        shop = Shop(folder)
        app = wrap(work_app(Van(shop.context), NoAuth()))
        server, thread = start_serving(app, free_port())
        running.append(Screens(f"http://127.0.0.1:{server.bind_addr[1]}", shop, app, server, thread))
        return running[-1]

    yield serve
    for one in running:
        one.stop()
        one.shop.close()


@attrs.define
class Thumb:
    """A thumb on a phone: every tap and every typed character is counted."""

    page: Any
    taps: int = 0
    typed: int = 0

    def tap(self, what: str, **more: Any) -> None:
        """Tap the one thing that a selector names."""
        self.page.locator(what, **more).tap()
        self.taps += 1

    def press(self, name: str, *, exact: bool = False) -> None:
        """Tap the button or link of this name."""
        self.page.get_by_role("button", name=name, exact=exact).or_(
            self.page.get_by_role("link", name=name, exact=exact)
        ).first.tap()
        self.taps += 1

    def choose(self, answer: str) -> None:
        """Tap an answer or a unit key."""
        self.page.locator(f'label:has(input[type="radio"]) >> text="{answer}"').first.tap()
        self.taps += 1

    def write(self, label: str, text: str, *, counted: bool = True) -> None:
        """Tap a field and type into it. What stands in it already is written over."""
        field = self.page.get_by_label(label, exact=True).first
        field.tap()
        field.fill("")
        field.press_sequentially(text)
        self.taps += 1
        self.typed += len(text) if counted else 0


@pytest.fixture
def thumb() -> Callable[[Any], Thumb]:
    return Thumb


@pytest.fixture
def visit(empty_shop: Path) -> Iterator[Visit]:
    """A job about the invented clutch, its first screen not opened yet."""
    yield from begun(empty_shop, PLUGINS)


@pytest.fixture
def real(empty_shop: Path) -> Iterator[Visit]:
    """The same with the systems that are installed."""
    yield from begun(empty_shop, load())
