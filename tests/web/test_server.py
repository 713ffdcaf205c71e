"""The server under the screens, over real lines.

Items in brackets are of OWASP ASVS 5.0.0.
"""

from __future__ import annotations

import contextlib
import http.client
import os
import signal
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import flask
import pytest

from corekit.web.lines import Lines, Pace
from corekit.web.server import Limits, ServeError, Server, running, serve, server_for
from corekit.web.wsgi import ARMOUR


def small_app() -> flask.Flask:
    app = flask.Flask("corekit.screens", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = 100_000
    app.config[ARMOUR] = [("X-Content-Type-Options", "nosniff"), ("X-Own", "one; two")]

    @app.get("/")
    def hello() -> str:
        return f"{flask.request.scheme} {flask.request.remote_addr}"

    @app.post("/")
    def length() -> str:
        return str(len(flask.request.form["text"]))

    return app


@pytest.fixture
def server() -> Iterator[Server]:
    with running(server_for(small_app(), port=0)) as server:
        yield server


def raw(server: Server, data: bytes) -> bytes:
    """Send bytes as they are and read until the server closes the line."""
    with socket.create_connection(server.bind_addr, timeout=30) as line:
        line.sendall(data)
        try:
            return b"".join(iter(lambda: line.recv(65_536), b""))
        except ConnectionResetError:  # closed before everything that was sent was read
            return b""


def asked(server: Server, method: str = "GET", body: bytes | None = None, **headers: str) -> tuple[int, str]:
    with contextlib.closing(http.client.HTTPConnection(*server.bind_addr, timeout=30)) as line:
        line.request(method, "/", body, headers)
        answer = line.getresponse()
        return answer.status, answer.read().decode()


def test_it_listens_on_this_device_alone_unless_told_otherwise(server: Server) -> None:
    assert server.bind_addr[0] == "127.0.0.1"
    assert asked(server) == (200, "http 127.0.0.1")


def test_it_does_not_say_what_it_is_made_with(server: Server) -> None:  # (13.4.6)
    head = raw(server, b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n").lower()
    assert b"200 ok" in head
    for word in (b"cheroot", b"werkzeug", b"flask", b"python"):
        assert word not in head


def test_several_requests_go_over_one_line(server: Server) -> None:
    with contextlib.closing(http.client.HTTPConnection(*server.bind_addr, timeout=30)) as line:
        for _ in range(3):
            line.request("GET", "/")
            assert line.getresponse().read() == b"http 127.0.0.1"


def test_headers_without_end_are_refused(server: Server) -> None:
    assert (
        b" 431 "  # RFC 6585, section 5
        in raw(server, b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Long: ".ljust(16_384, b"a")).split(b"\r\n")[0]
    )


def test_a_body_beyond_every_form_is_refused_unread(server: Server) -> None:
    assert (
        b" 413 "
        in raw(server, b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 99999999999\r\n\r\n").split(
            b"\r\n"
        )[0]
    )


@pytest.mark.parametrize(
    "headers",
    [
        b"Content-Length: 5\r\nContent-Length: 6",
        b"Content-Length: 5\r\nContent-Length: 5",
        b"Content-Length: +5",
        b"Content-Length: -5",
        b"Content-Length: 0x5",
        b"Content-Length: 1_0",
        b"Content-Length: 5, 5",
        b"Content-Length : 5",
        b"Content-Length: 5\r\n 6",
        b"Host: example.org",
        b"X-Odd: a\0b",
        b"X-Odd: a\rb",
        b"X Odd: a",
        b": a",
    ],
)
def test_a_head_that_a_proxy_in_front_might_read_otherwise_is_refused(
    server: Server, headers: bytes
) -> None:  # (4.2.1), RFC 9112, section 11.2
    head = b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\n" + headers + b"\r\n\r\n"
    assert raw(server, head).split(b"\r\n")[0].split(b" ")[1] == b"400"


def test_what_follows_a_body_in_chunks_is_never_the_next_request(server: Server) -> None:
    first = b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n"
    assert raw(server, first + b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n").count(b"HTTP/1.1 ") == 1


def test_a_line_too_many_is_sent_away_and_those_before_it_go_on() -> None:
    limits = Limits(threads=2, lines=5, body_bytes=1000, silent_seconds=15)
    with running(server_for(small_app(), port=0, limits=limits)) as server, contextlib.ExitStack() as lines:
        first = lines.enter_context(
            contextlib.closing(http.client.HTTPConnection(*server.bind_addr, timeout=30))
        )
        first.request("GET", "/")
        first.getresponse().read()
        for _ in range(4):
            lines.enter_context(socket.create_connection(server.bind_addr, timeout=30))
        assert b" 503 " in raw(server, b"").split(b"\r\n")[0]
        first.request("GET", "/")
        assert first.getresponse().status == 200
        lines.close()
        until = time.monotonic() + 30
        while server.open_lines and time.monotonic() < until:
            time.sleep(0.01)
        assert asked(server)[0] == 200


def test_of_a_form_that_is_too_large_the_browser_gets_the_answer_and_not_a_broken_line(
    server: Server,
) -> None:
    body = b"text=" + b"x" * 5_000_000
    status, _ = asked(server, "POST", body, **{"Content-Type": "application/x-www-form-urlencoded"})
    assert status == 413
    assert asked(server, "POST", b"text=abc", **{"Content-Type": "application/x-www-form-urlencoded"}) == (
        200,
        "3",
    )


def test_lines_on_which_nothing_is_said_keep_nobody_waiting(server: Server) -> None:
    with contextlib.ExitStack() as lines:
        for _ in range(30):  # five for each thread
            lines.enter_context(contextlib.closing(socket.create_connection(server.bind_addr, timeout=30)))
        server_timeout = server.timeout
        assert asked(server)[0] == 200
        assert (
            server_timeout > 10
        )  # so the answer above did not come only because the silent ones were given up


def test_lines_to_an_address_at_which_it_does_not_answer_are_closed() -> None:
    asked_about: list[str] = []
    with running(
        server_for(small_app(), port=0, answers_at=lambda address: bool(asked_about.append(address)))
    ) as server:
        assert raw(server, b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n") == b""
    assert asked_about == ["127.0.0.1"]


def test_a_port_that_is_taken_is_said_in_one_sentence() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(ServeError, match="--port") as said:
        server_for(small_app(), port=taken.getsockname()[1])
    assert str(taken.getsockname) not in str(said.value)
    assert "\n" not in str(said.value)


@pytest.mark.parametrize(("host", "port"), [("127.0.0.1", 70_000), ("203.0.113.9", 0)])
def test_an_address_that_cannot_be_had_is_said_too(host: str, port: int) -> None:
    with pytest.raises(ServeError, match=host):
        server_for(small_app(), host, port)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_ends_cleanly_when_asked_to(number: signal.Signals) -> None:
    before = signal.getsignal(number)
    one, two = server_for(small_app(), port=0), server_for(small_app(), port=0)
    seen: list[Any] = []

    def ask_then_end() -> None:
        seen.extend(asked(server)[0] for server in (one, two))
        os.kill(os.getpid(), number)

    thread = threading.Thread(target=ask_then_end)
    thread.start()
    serve(one, two)
    thread.join()
    assert seen == [200, 200]
    assert signal.getsignal(number) == before
    for server in (one, two):
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(server.bind_addr, timeout=5)


def dripping(server: Server, source: str = "127.0.0.1") -> socket.socket:
    """A line on which half a head came and no more than a byte now and then."""
    line = socket.create_connection(server.bind_addr, timeout=30, source_address=(source, 0))
    line.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
    return line


def test_heads_that_never_end_and_bodies_that_never_come_keep_nobody_waiting(server: Server) -> None:
    with contextlib.ExitStack() as lines:
        for _ in range(40):
            lines.enter_context(contextlib.closing(dripping(server)))
            slow = lines.enter_context(contextlib.closing(dripping(server)))
            slow.sendall(b"a\r\nContent-Length: 90000\r\n\r\ntext=")
        began = time.monotonic()
        assert asked(server)[0] == 200
        assert time.monotonic() - began < 5  # s; the slow ones are given up after 20


def test_a_request_has_its_time_as_a_whole_however_little_by_little_it_comes() -> None:
    limits = Limits(threads=4, lines=9, body_bytes=1000, silent_seconds=15, request_seconds=1.0)
    with (
        running(server_for(small_app(), port=0, limits=limits)) as server,
        contextlib.closing(dripping(server)) as line,
    ):
        began = time.monotonic()
        with contextlib.suppress(OSError):
            for _ in range(60):  # a byte every tenth of a second, so it is never silent
                line.sendall(b"a")
                time.sleep(0.1)
        assert 0.9 < time.monotonic() - began < 5


def test_who_has_been_slow_gives_way_to_who_comes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("corekit.web.lines.PATIENCE", 0.3)
    limits = Limits(threads=9, lines=9, body_bytes=1000, silent_seconds=15)
    with running(server_for(small_app(), port=0, limits=limits)) as server, contextlib.ExitStack() as lines:
        for _ in range(9):
            lines.enter_context(contextlib.closing(dripping(server)))
        time.sleep(0.5)
        for _ in range(20):
            assert asked(server)[0] == 200


def test_one_client_fills_its_own_share_of_lines_and_nobody_elses() -> None:
    class Someone:
        def __init__(self) -> None:
            self.pace = Pace(20.0, 15.0)

    lines: Lines[Someone] = Lines(most=10, most_of_one=4)
    assert [lines.admit(Someone(), "192.0.2.1", None) for _ in range(4)] == [[]] * 4
    assert lines.admit(Someone(), "192.0.2.1", None) is None, "its own are young, so it waits"
    assert lines.admit(Someone(), "192.0.2.2", None) == []
    many = [lines.admit(Someone(), "192.0.2.9", "192.0.2.9") for _ in range(5)]
    assert many == [[]] * 5, "a proxy speaks for many"
    assert lines.admit(Someone(), "192.0.2.3", None) is None and len(lines) == 10


def test_a_line_whose_request_is_here_never_gives_way() -> None:
    class Someone:
        def __init__(self, began: float) -> None:
            self.pace = Pace(20.0, 15.0, clock=lambda: now[0])
            self.began = began

    now = [0.0]
    lines: Lines[Someone] = Lines(most=2, most_of_one=9)
    waiting, slow = Someone(0), Someone(0)
    assert lines.admit(waiting, "192.0.2.1", None) == lines.admit(slow, "192.0.2.2", None) == []
    waiting.pace.is_read = True
    now[0] = 1.9
    assert lines.admit(Someone(0), "192.0.2.3", None) is None
    now[0] = 2.0
    assert lines.admit(Someone(0), "192.0.2.3", None) == [slow]


def test_large_bodies_take_so_much_memory_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("corekit.web.wsgi._BODIES", 150_000)
    with running(server_for(small_app(), port=0)) as server, contextlib.ExitStack() as lines:
        for _ in range(3):
            slow = lines.enter_context(contextlib.closing(dripping(server)))
            slow.sendall(b"a\r\nContent-Length: 200000\r\n\r\n" + b"x" * 140_000)
        time.sleep(0.3)
        form = {"Content-Type": "application/x-www-form-urlencoded"}
        assert asked(server, "POST", b"text=" + b"x" * 90_000, **form)[0] == 503
        assert asked(server, "POST", b"text=abc", **form) == (200, "3"), "a small one is always taken"


# What is answered before the application is asked


def _post(headers: bytes) -> bytes:
    return b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\n" + headers + b"\r\n\r\n"


def is_armoured(answer: bytes) -> bool:
    """Whether it carries what the application says of its own answers, each once, and says its own kind."""
    head, _, body = answer.partition(b"\r\n\r\n")
    lines = head.split(b"\r\n")[1:]
    return all(
        lines.count(line) == 1
        for line in (
            b"X-Content-Type-Options: nosniff",
            b"X-Own: one; two",
            b"Content-Type: text/plain; charset=utf-8",
            b"Cache-Control: no-store",
            b"Connection: close",
            b"Content-Length: %d" % len(body),
        )
    )


@pytest.mark.parametrize(
    ("request_", "status"),
    [
        (b"nonsense\r\n\r\n", b"400"),
        (b"GET / HTTP/9.1\r\nHost: 127.0.0.1\r\n\r\n", b"505"),
        (b"CONNECT / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", b"405"),
        (b"GET /".ljust(16_384, b"a"), b"414"),
        (b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Long: ".ljust(16_384, b"a"), b"431"),
        (_post(b"Content-Length: x"), b"400"),
        (_post(b"Content-Length: 99999999999"), b"413"),
        (_post(b"Transfer-Encoding: odd"), b"501"),
        (_post(b"Transfer-Encoding: chunked") + b"zz\r\n", b"400"),
        (_post(b"Transfer-Encoding: chunked") + b"fffffff\r\n", b"413"),
    ],
)
def test_what_the_server_refuses_itself_is_armoured_as_the_application_is(
    request_: bytes, status: bytes
) -> None:  # (3.4.1), (4.1.1)
    limits = Limits(threads=4, lines=9, body_bytes=1000, silent_seconds=15)
    with running(server_for(small_app(), port=0, limits=limits)) as server:
        answer = raw(server, request_)
    assert answer.split(b" ")[1] == status
    assert is_armoured(answer)


def test_a_line_too_many_is_sent_away_armoured() -> None:
    limits = Limits(threads=2, lines=1, body_bytes=1000, silent_seconds=15)
    with (
        running(server_for(small_app(), port=0, limits=limits)) as server,
        socket.create_connection(server.bind_addr, timeout=30),
    ):
        answer = raw(server, b"")
    assert answer.startswith(b"HTTP/1.1 503 ")
    assert is_armoured(answer)
    assert b"\r\nRetry-After: 30\r\n" in answer


def test_a_body_without_room_is_sent_away_armoured(monkeypatch: pytest.MonkeyPatch, server: Server) -> None:
    monkeypatch.setattr("corekit.web.wsgi._BODIES", 0)
    answer = raw(server, _post(b"Content-Length: 90000") + b"x" * 90_000)
    assert answer.startswith(b"HTTP/1.1 503 ")
    assert is_armoured(answer)


def test_an_application_that_says_nothing_of_its_answers_is_served_all_the_same() -> None:
    def bare(environ: dict[str, Any], start_response: Any) -> list[bytes]:
        start_response("200 OK", [("Content-Length", "0")])
        return [b""]

    with running(server_for(bare, port=0)) as server:
        assert raw(server, b"nonsense\r\n\r\n").startswith(b"HTTP/1.1 400 ")
