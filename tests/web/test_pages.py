"""`corekit serve` as a process of its own: what it says, what it serves, how it ends."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from corekit.web.pages import page_server
from corekit.web.wsgi import behind_proxy

COMMAND = [sys.executable, "-c", "import sys; from corekit.cli import main; sys.exit(main())", "serve"]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_says_where_it_is_and_ends_cleanly_when_asked_to(tmp_path: Path, number: signal.Signals) -> None:
    words = ("--published", tmp_path / "pages", "--key", tmp_path / "page.key", "--port", "0")
    run = subprocess.Popen(
        [*COMMAND, "--page", "https://pages.example.org", *map(str, words)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        assert run.stdout is not None
        lines = [run.stdout.readline() for _ in range(2)]
        address = re.search(r"http://127\.0\.0\.1:[0-9]+/v", lines[1])
        assert "A key for publishing was drawn" in lines[0] and address, lines
        with urllib.request.urlopen(address[0]) as answer:
            assert answer.status == 200
        run.send_signal(number)
        rest, _ = run.communicate(timeout=60)
        assert (run.returncode, rest) == (0, "")
    finally:
        run.kill()
        run.communicate()


def said_by(*words: object) -> tuple[int, str]:
    run = subprocess.run(
        [*COMMAND, *map(str, words)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    return run.returncode, run.stderr


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "", "some-name"])
def test_other_machines_are_not_served_over_plain_http(tmp_path: Path, host: str) -> None:  # (12.2.1)
    words = ("--published", tmp_path / "pages", "--key", tmp_path / "page.key", "--port", "0")
    code, said = said_by(*words, "--page", "https://pages.example.org", "--host", host)
    assert code != 0
    assert f"--host {host}: other machines are not answered over plain http" in said
    assert "--behind-proxy" in said
    assert list(tmp_path.iterdir()) == []  # nothing was written


def test_a_proxy_is_named_by_its_address(tmp_path: Path) -> None:
    words = ("--published", tmp_path / "pages", "--key", tmp_path / "page.key", "--port", "0")
    code, said = said_by(*words, "--page", "https://pages.example.org", "--behind-proxy", "proxy")
    assert code != 0
    assert "--behind-proxy proxy: this is no address" in said


def answer_of(peer: str, proxy: str | None, *, forwarded: str = "") -> tuple[str, dict[str, str], bytes]:
    """What a line from this address is answered, and as whom the application sees it."""
    began: list[Any] = []

    def app(environ: dict[str, Any], start_response: Callable[..., Any]) -> list[bytes]:
        start_response("200 OK", [])
        return [str(environ["REMOTE_ADDR"]).encode()]

    environ = {"REMOTE_ADDR": peer} | ({"HTTP_X_FORWARDED_FOR": forwarded} if forwarded else {})
    answer = behind_proxy(app, proxy, [("X-Own", "1")])(environ, lambda *said: began.append(said))
    status, headers = began[0]
    return status, dict(headers), b"".join(answer)


@pytest.mark.parametrize("peer", ["192.0.2.8", "::ffff:192.0.2.8", "2001:db8::8", ""])
def test_with_a_proxy_named_no_other_machine_is_answered(peer: str) -> None:  # (12.2.1)
    status, headers, body = answer_of(peer, "192.0.2.1", forwarded="192.0.2.1")
    assert status == "403 Forbidden"
    assert headers["X-Own"] == "1"
    assert b"Open the https address" in body


@pytest.mark.parametrize("peer", ["192.0.2.1", "::ffff:192.0.2.1"])
def test_the_proxy_is_known_however_its_address_is_spelt(peer: str) -> None:
    assert answer_of(peer, "192.0.2.1", forwarded="198.51.100.7")[::2] == ("200 OK", b"198.51.100.7")


@pytest.mark.parametrize("peer", ["127.0.0.1", "::1", "::ffff:127.0.0.1"])
def test_this_machine_itself_is_answered_beside_the_proxy(peer: str) -> None:
    assert answer_of(peer, "192.0.2.1")[0] == "200 OK"


def test_the_other_spelling_of_a_proxys_address_is_taken() -> None:
    server = page_server(lambda *_: [], port=0, proxy="2001:DB8::0:1")
    try:
        assert server.proxy == "2001:db8::1"
    finally:
        server.stop()
