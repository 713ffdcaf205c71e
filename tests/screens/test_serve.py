"""`corekit work` as it is said in a terminal: what it asks, what it opens, how it ends; and that the
customer's page and the screens never meet.
"""

from __future__ import annotations

import contextlib
import getpass
import http.client
import io
import json
import os
import re
import signal
import sqlite3
import ssl
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest import mock

import pytest

from corekit.cli import main
from corekit.screens.serve import opened
from corekit.share.published import PublishedFolder
from corekit.web.auth import PasscodeAuth
from corekit.web.page_app import page_app
from corekit.web.pairing import VanCertificate
from corekit.web.passcode import read_passcode, set_passcode

from ..conftest import PATIENCE, at_most

CODE = "47110815"
COMMAND = [sys.executable, "-c", "import sys; from corekit.cli import main; sys.exit(main())", "work"]


@contextlib.contextmanager
def started(*words: str | Path) -> Iterator[tuple[subprocess.Popen[str], list[str]]]:
    """The command in a process of its own, and what it printed until it was open."""
    run = subprocess.Popen(
        [*COMMAND, *map(str, words)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "COREKIT_TRACE": ""},
    )
    try:
        assert run.stdout is not None
        lines = []
        with at_most(PATIENCE):
            for line in run.stdout:
                lines.append(line.rstrip("\n"))
                if line.startswith("They lock after"):
                    break
            else:
                pytest.fail("it ended by itself: " + "\n".join(lines))
        yield run, lines
    finally:
        run.kill()
        run.communicate(timeout=PATIENCE)


def ended(run: subprocess.Popen[str]) -> tuple[int, str]:
    run.send_signal(signal.SIGINT)
    rest, _ = run.communicate(timeout=60)
    return run.returncode, rest


def said(*words: str | Path, typed: str = "") -> tuple[int, str]:
    """The command in this process, without a terminal."""
    out = io.StringIO()
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(out),
        mock.patch("sys.stdin", io.StringIO(typed)),
    ):
        code = main(["work", *map(str, words)])
    return code, out.getvalue()


# On this device


def test_without_a_terminal_a_passcode_is_drawn_and_opens_the_screens_until_ctrl_c(demo_copy: Path) -> None:
    with started("--shop", demo_copy, "--port", "0") as (run, lines):
        drawn = re.search(r"passcode of the screens is ([0-9]{8});", lines[0])
        assert drawn
        assert read_passcode(demo_copy).fits(drawn[1])
        address = re.search(r"http://(127\.0\.0\.1:([0-9]+))/", lines[1])
        assert address
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", int(address[2]), timeout=60)) as line:
            line.request("GET", "/")
            locked = line.getresponse()
            assert (locked.status, b'name="passcode"' in locked.read()) == (401, True)
            headers = {"Origin": f"http://{address[1]}", "Content-Type": "application/x-www-form-urlencoded"}
            line.request("POST", "/door", f"passcode={drawn[1]}&own={CODE}&again={CODE}", headers)
            let_in = line.getresponse()
            let_in.read()
            assert let_in.status == 303
            line.request("GET", "/", headers={"Cookie": str(let_in.getheader("Set-Cookie")).split(";")[0]})
            jobs = line.getresponse()
            assert jobs.status == 200
            assert b"Jobs" in jobs.read()
        code, rest = ended(run)
    assert code == 0
    assert rest.strip() == "Stopped. Everything acknowledged is saved."


def test_a_port_that_is_taken_and_a_folder_that_is_no_shop_are_one_sentence_each(
    demo_copy: Path, tmp_path: Path
) -> None:
    import socket

    set_passcode(demo_copy, CODE)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        code, words = said("--shop", demo_copy, "--port", str(taken.getsockname()[1]))
    assert code == 1
    assert "--port" in words
    assert len(words.strip().split("\n")) == 1
    code, words = said("--shop", tmp_path / "nowhere")
    assert code == 1
    assert "is not a shop" in words
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("minutes", ["0", "-1", "nan", "100000"])
def test_minutes_that_lock_never_or_at_once_are_refused(demo_copy: Path, minutes: str) -> None:
    code, words = said("--shop", demo_copy, f"--lock-after={minutes}")
    assert code == 1
    assert "--lock-after" in words


def at_a_terminal(monkeypatch: pytest.MonkeyPatch, *typed: str) -> None:
    answers = iter(typed)
    monkeypatch.setattr(getpass, "getpass", lambda prompt="": next(answers))


def asked(*words: str | Path) -> tuple[int, str]:
    terminal = io.StringIO()
    terminal.isatty = lambda: True  # type: ignore[method-assign]
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out), mock.patch("sys.stdin", terminal):
        code = main(["work", *map(str, words)])
    return code, out.getvalue()


def test_at_a_terminal_the_passcode_is_asked_twice_and_never_shown(
    demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_a_terminal(monkeypatch, "123", CODE, "47110816", CODE, CODE)
    code, words = asked("--new-passcode", "--shop", demo_copy)
    assert code == 0
    assert "at least 8 characters" in words
    assert "The two were not the same." in words
    assert CODE not in words
    assert read_passcode(demo_copy).fits(CODE)


def test_another_passcode_is_set_with_the_one_until_now(
    demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:  # ASVS 5.0, 6.2.3
    set_passcode(demo_copy, CODE)
    at_a_terminal(monkeypatch, "a guess", CODE, "90210448", "90210448")
    code, words = asked("--new-passcode", "--shop", demo_copy)
    assert code == 0 and "That is not the passcode." in words
    assert read_passcode(demo_copy).fits("90210448")


def test_without_the_passcode_until_now_none_is_set_and_the_way_out_is_named(
    demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_passcode(demo_copy, CODE)
    at_a_terminal(monkeypatch, "1", "2", "3")
    code, words = asked("--new-passcode", "--shop", demo_copy)
    assert code == 1 and "corekit work --reset-passcode" in words
    assert read_passcode(demo_copy).fits(CODE)
    code, words = said("--new-passcode", "--shop", demo_copy)  # where nobody can be asked
    assert code == 1 and read_passcode(demo_copy).fits(CODE)
    at_a_terminal(monkeypatch, "90210448", "90210448")
    code, words = asked("--reset-passcode", "--shop", demo_copy)
    assert code == 0 and read_passcode(demo_copy).fits("90210448")


def test_after_three_bad_answers_nothing_is_set(demo_copy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    at_a_terminal(monkeypatch, "1", "2", "3")
    code, words = asked("--new-passcode", "--shop", demo_copy)
    assert code == 1
    assert "No passcode was set" in words
    assert not (demo_copy / "keys" / "work.toml").exists()


# On the hotspot


def test_pairing_prints_everything_a_phone_needs_and_the_phone_gets_in(demo_copy: Path) -> None:
    with started("--pair", "--address", "127.0.0.1", "--shop", demo_copy, "--port", free_pair()) as (
        run,
        lines,
    ):
        text = "\n".join(lines)
        van = VanCertificate(demo_copy)
        for pairs in van.fingerprint.split("\n"):
            assert pairs in text
        screens = re.search(r"https://127\.0\.0\.1:([0-9]+)/", text)
        plain = re.search(r"http://127\.0\.0\.1:([0-9]+)/", text)
        assert screens
        assert plain
        for part in (van.title, "undo it", "--forget-pairing", "Every pair must be the same", "▀"):
            assert part in text
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", int(plain[1]), timeout=60)) as line:
            line.request("GET", "/van.crt")
            certificate = line.getresponse().read()
        phone = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        phone.load_verify_locations(cadata=certificate)
        with contextlib.closing(
            http.client.HTTPSConnection("127.0.0.1", int(screens[1]), timeout=60, context=phone)
        ) as line:
            line.request("GET", "/")
            locked = line.getresponse()
            assert (locked.status, b'name="passcode"' in locked.read()) == (401, True)
            assert locked.getheader("Strict-Transport-Security")
        assert ended(run)[0] == 0


def free_pair() -> str:
    """A port that is free and whose neighbour is too, at this moment."""
    import socket

    while True:
        with socket.create_server(("0.0.0.0", 0)) as one:
            port = one.getsockname()[1]
            with contextlib.suppress(OSError), socket.create_server(("0.0.0.0", port + 1)):
                return str(port)


def test_the_hotspot_needs_a_pairing_first_and_private_addresses(demo_copy: Path) -> None:
    set_passcode(demo_copy, CODE)
    code, words = said("--hotspot", "--address", "127.0.0.1", "--shop", demo_copy)
    assert code == 1
    assert "corekit work --pair" in words
    code, words = said("--pair", "--address", "203.0.113.9", "--shop", demo_copy)
    assert code == 1
    assert "203.0.113.9" in words


def test_without_any_network_the_hotspot_says_so(demo_copy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    set_passcode(demo_copy, CODE)
    monkeypatch.setattr("corekit.screens.serve.own_addresses", lambda: ())
    code, words = said("--pair", "--shop", demo_copy)
    assert code == 1
    assert "in no network" in words


def test_forgetting_the_pairing_asks_and_makes_another_certificate(demo_copy: Path) -> None:
    assert said("--forget-pairing", "--shop", demo_copy)[0] == 0
    first = VanCertificate(demo_copy).fingerprint
    assert said("--forget-pairing", "--shop", demo_copy, typed="n\n")[0] == 1
    assert VanCertificate(demo_copy).fingerprint == first
    code, words = said("--forget-pairing", "--shop", demo_copy, typed="y\n")
    assert code == 0
    assert VanCertificate(demo_copy).fingerprint != first
    assert VanCertificate(demo_copy).title in words


# The customer's page and the screens


def test_the_customers_page_server_has_none_of_the_screens(tmp_path: Path) -> None:
    app = page_app(PublishedFolder(tmp_path / "published"), bearer=None, demo=True)
    client = app.test_client()
    for path in ("/door", "/door/state", "/job/abc", "/work.js", "/work.css"):
        assert client.get(path).status_code == 404, path
    for path in ("/door", "/door/lock", "/job/abc/answer"):
        assert client.post(path, headers={"Origin": "http://localhost"}).status_code == 404, path
    assert not {rule.rule for rule in app.url_map.iter_rules()} & {"/door", "/job/<job>", "/job/<job>/answer"}


def test_the_screens_have_none_of_the_customers_page(demo_copy: Path) -> None:
    set_passcode(demo_copy, CODE)
    own = {"Origin": "http://localhost"}
    with opened(demo_copy, PasscodeAuth(shop=demo_copy)) as app:
        client: Any = app.test_client()
        assert client.post("/door", data={"passcode": CODE}, headers=own).status_code == 303
        guard = client.get("/door/state").json["guard"]
        assert client.get("/").status_code == 200
        for path in ("/v", "/v/mark.svg"):
            assert client.get(path).status_code == 404, path
        for path in ("/v", "/v/open", "/v/paper"):
            assert client.post(path, data={"guard": guard, "code": "A" * 26}, headers=own).status_code in (
                404,
                405,
            ), path
        assert client.put("/published/" + "0" * 64, data={"guard": guard}, headers=own).status_code in (
            404,
            405,
        )
        assert not [
            rule.rule for rule in app.url_map.iter_rules() if rule.rule.startswith(("/v", "/published"))
        ]


def test_nothing_names_the_shop_before_the_passcode(demo_copy: Path) -> None:  # (8.2.1)
    """Over all rules that can be asked without a job, and over all files of the screens."""
    set_passcode(demo_copy, CODE)
    with opened(demo_copy, PasscodeAuth(shop=demo_copy)) as app:
        client: Any = app.test_client()
        name = str(app.jinja_env.globals["shop_name"])
        rules = {rule.rule for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ())}
        files = {f"/{path.name}" for path in Path(str(app.template_folder)).iterdir()}
        paths = {re.sub(r"<[^>]+>", "abc", rule) for rule in rules} | files | {"/face/none.ttf"}
        assert "/work.webmanifest" in paths and "/face/regular.ttf" not in paths
        for path in paths:
            answer = client.get(path)
            assert name not in answer.text and json.dumps(name)[1:-1] not in answer.text, path
        assert client.get("/work.webmanifest").status_code == 401
        client.post("/door", data={"passcode": CODE}, headers={"Origin": "http://localhost"})
        assert client.get("/work.webmanifest").json["name"] == name


def test_lock_now_is_on_every_screen(demo_copy: Path) -> None:  # (7.4.4)
    """Over all rules that answer with a screen, what is not there among it."""
    set_passcode(demo_copy, CODE)
    own = {"Origin": "http://localhost"}
    with opened(demo_copy, PasscodeAuth(shop=demo_copy)) as app:
        client: Any = app.test_client()
        client.post("/door", data={"passcode": CODE}, headers=own)
        job = re.findall(r'href="/job/([^"/?]+)', client.get("/find?q=DEMO").text)[0]
        seen = 0
        for rule in app.url_map.iter_rules():
            path = re.sub(r"<[^>]+>", "abc", rule.rule.replace("<job>", job))
            if "GET" not in (rule.methods or ()) or path == "/door":
                continue
            answer = client.get(path, follow_redirects=True)
            if answer.mimetype == "text/html":
                guard = client.get("/door/state").json["guard"]
                form = f'action="/door/lock">\n<input type="hidden" name="guard" value="{guard}">'
                assert answer.text.count(form) == answer.text.count("/door/lock") == 1, path
                seen += 1
        assert seen > 40
        assert client.post("/door/lock", data={"guard": guard}, headers=own).status_code == 303
        assert client.get("/").status_code == 401


def test_nothing_of_the_screens_changes_anything_by_a_get_or_lets_a_post_in_without_the_guard(
    demo_copy: Path,
) -> None:  # OWASP ASVS 5.0.0, 3.5.1 and 3.5.3
    """Over all rules that the application has, so that a screen added later is held to it too."""
    set_passcode(demo_copy, CODE)
    own = {"Origin": "http://localhost"}
    with opened(demo_copy, PasscodeAuth(shop=demo_copy)) as app:
        client: Any = app.test_client()
        posts = [rule for rule in app.url_map.iter_rules() if "POST" in (rule.methods or ())]
        assert len(posts) > 3
        before = everything_in(demo_copy)

        def path(rule: Any) -> str:
            return re.sub(r"<[^>]+>", "abc", rule.rule)

        for rule in posts:
            if rule.endpoint != "door_open":
                assert client.post(path(rule), headers=own).status_code == 401, rule
        client.post("/door", data={"passcode": CODE}, headers=own)
        job = re.findall(r'href="/job/([^"/?]+)', client.get("/find?q=DEMO").text)[0]
        gets = [rule for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ())]
        assert len(gets) > 40
        for rule in gets:
            assert client.get(path(rule).replace("/job/abc", f"/job/{job}"), headers=own).status_code < 500
        # Nor by one that says what a form would say.
        for rule in posts:
            client.get(path(rule).replace("/job/abc", f"/job/{job}"), query_string={"guard": guard(client)})
        assert everything_in(demo_copy) == before
        assert client.get("/").status_code == 200, "it locked nothing either"
        for rule in posts:
            if rule.endpoint != "door_open":
                assert client.post(path(rule), data={"guard": "x"}, headers=own).status_code == 403, rule
            assert client.post(path(rule), headers={"Origin": "http://localhost:9"}).status_code == 403, rule
        assert everything_in(demo_copy) == before


def guard(client: Any) -> str:
    return str(client.get("/door/state").json["guard"])


def everything_in(shop: Path) -> list[str]:
    with contextlib.closing(sqlite3.connect(shop / "journal.sqlite")) as store:
        return list(store.iterdump())
