"""No test waits for ever on a browser: a wait without an end of its own is given one, and a page is closed
also while it goes on by itself.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import threading
import time
from collections.abc import Callable
from typing import Any

import flask
import pytest

from corekit.web.server import running, server_for

from .conftest import PATIENCE, Watched, at_most, opening, settled

NEVER = "() => new Promise(() => {})"


def test_what_waits_for_ever_fails_where_it_waits() -> None:
    with pytest.raises(pytest.fail.Exception, match=r"still waiting after 0\.1 s"), at_most(0.1):
        threading.Event().wait(PATIENCE)


def test_a_limit_within_another_leaves_the_outer_one_as_it_was() -> None:
    with pytest.raises(pytest.fail.Exception, match=r"still waiting after 0\.5 s"), at_most(0.5):
        with pytest.raises(pytest.fail.Exception, match=r"still waiting after 0\.1 s"), at_most(0.1):
            threading.Event().wait(PATIENCE)
        with at_most(PATIENCE):
            pass
        threading.Event().wait(PATIENCE)


def test_a_line_on_which_something_comes_in_at_that_moment_stays_open() -> None:
    """As that of a browser's driver, over which the test goes on."""
    lost = list[object]()

    class Slow(asyncio.Protocol):
        def data_received(self, data: bytes) -> None:
            until = time.monotonic() + 0.3
            while time.monotonic() < until:
                pass

        def connection_lost(self, error: object) -> None:
            lost.append(error)

    ours, theirs = socket.socketpair()
    with contextlib.closing(asyncio.new_event_loop()) as loop, ours, theirs:
        line, _ = loop.run_until_complete(loop.create_connection(Slow, sock=ours))
        theirs.send(b"x")
        loop.call_later(PATIENCE, loop.stop)
        with pytest.raises(pytest.fail.Exception, match=r"still waiting after 0\.1 s"), at_most(0.1):
            loop.run_forever()
        loop.run_until_complete(asyncio.sleep(0.01))
        assert lost == [] and not line.is_closing()
        line.close()
        loop.run_until_complete(asyncio.sleep(0))


@pytest.mark.browser
def test_a_promise_that_never_settles_is_rejected(phone: Callable[..., Watched]) -> None:
    with pytest.raises(Exception, match=r"not settled within 0\.1 s"):
        settled(phone().page, NEVER, within=0.1)


@pytest.mark.browser
def test_a_call_that_never_returns_is_ended_and_the_page_can_be_used_on(
    phone: Callable[..., Watched],
) -> None:
    page = phone().page
    with pytest.raises(pytest.fail.Exception, match=r"still waiting after 0\.5 s"), at_most(0.5):
        page.evaluate(NEVER)
    assert page.evaluate("1 + 1") == 2


@pytest.mark.browser
def test_a_page_that_goes_on_by_itself_is_closed_all_the_same(chromium: Any) -> None:
    app, asked = flask.Flask("corekit.screens", static_folder=None), threading.Event()

    @app.get("/")
    def first() -> str:
        return (
            "<script>onpagehide = () => {}; onload = () => setTimeout(() => open('/next', '_self'))</script>"
        )

    @app.get("/next")
    def following() -> str:
        asked.set()
        return "<script>onpagehide = () => {}</script>" + "<p>next</p>" * 1000

    with running(server_for(app, port=0)) as server:
        for n in range(10):
            with opening(chromium) as phone:
                phone().page.goto(f"http://127.0.0.1:{server.bind_addr[1]}/")
                assert asked.wait(PATIENCE)
                time.sleep(n / 500)  # each at another moment of its coming in
            asked.clear()
