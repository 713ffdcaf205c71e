"""Signing in to the office. Items in brackets are of OWASP ASVS 5.0.0."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import attrs
import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from corekit.hub import devices, people, sessions
from corekit.hub.app import Hub
from corekit.hub.errors import HubError
from corekit.share.signing import SigningKey
from corekit.sync.message import base32
from corekit.web.passcode import DRAWN_FOR, LONGEST

from .test_office import OWN, NewVan, _quick, browser

__all__ = ["_quick"]

NAMES = ("hub.example",)
#: What a proxy passes on as the host: the one that was asked for, or the one that it asks itself.
HOSTS = ("hub.example", "127.0.0.1:8743")
DRAWN_AT = datetime(2026, 3, 1, 8, tzinfo=UTC)


@attrs.define
class Watch:
    """A clock that is set by hand."""

    now: datetime = DRAWN_AT

    def __call__(self) -> datetime:
        return self.now

    def later(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)


@pytest.fixture
def watch() -> Watch:
    return Watch()


@pytest.fixture
def timed(hub: Hub, watch: Watch) -> Hub:
    """The hub by that clock."""
    return attrs.evolve(hub, clock=watch)


def enter(client: FlaskClient, passcode: str = OWN, name: str = "Kim") -> TestResponse:
    return client.post("/office/door", data={"name": name, "passcode": passcode})


def is_in(client: FlaskClient) -> bool:
    return client.get("/office/debts").status_code == 200


def send(client: FlaskClient, path: str, **form: str) -> TestResponse:
    guard = re.search(r'name="guard" value="([0-9a-f]{32})"', client.get("/office/passcode").text)
    assert guard is not None
    return client.post(path, data={"guard": guard[1], **form})


def copied(client: FlaskClient, hub: Hub) -> FlaskClient:
    """Another browser with the cookies of this one."""
    other = browser(hub)
    for cookie in ("corekit-office", "corekit-office-browser"):
        if (kept := client.get_cookie(cookie, path="/")) is not None:
            other.set_cookie(cookie, kept.value, path="/")
    return other


def kim(hub: Hub) -> FlaskClient:
    """Kim's browser, signed in."""
    people.let_in(hub, "Kim", "office", passcode=OWN)
    client = browser(hub)
    assert enter(client).status_code == 303
    assert is_in(client)
    return client


# ---- the passcode


def test_a_drawn_passcode_opens_nothing_but_the_choice_of_an_own_one(hub: Hub) -> None:  # [6.4.1]
    drawn = people.let_in(hub, "Kim", "office")
    client = browser(hub)
    assert enter(client, drawn).headers["Location"] == "/office/passcode"
    for path in ("/office", "/office/debts", "/office/call", "/office/day"):
        assert client.get(path).headers["Location"] == "/office/passcode"
    page = client.get("/office/passcode").text
    assert "drawn for one day" in page and "/office/debts" not in page
    reply = send(client, "/office/passcode", present=drawn, own=OWN, again=OWN)
    assert (reply.status_code, reply.headers["Location"]) == (303, "/office")
    assert is_in(client)
    assert enter(browser(hub), drawn).status_code == 403
    assert enter(browser(hub), OWN).headers["Location"] == "/office"


@pytest.mark.parametrize(("seconds", "opens"), [(DRAWN_FOR, True), (DRAWN_FOR + 1, False), (-1, False)])
def test_a_drawn_passcode_is_for_one_day(timed: Hub, watch: Watch, seconds: int, opens: bool) -> None:
    drawn = people.let_in(timed, "Kim", "office")
    watch.later(seconds)
    reply = enter(browser(timed), drawn)
    assert reply.status_code == (303 if opens else 403)
    assert ("was for one day" in reply.text) is not opens


@pytest.mark.parametrize(
    ("present", "own", "again", "fault"),
    [
        ("something else 1", "green harbour 7", "green harbour 7", "not your present passcode"),  # [6.2.3]
        (OWN, OWN, OWN, "another passcode than"),
        (OWN, "green harbour 7", "green harbour 8", "were not the same"),
        (OWN, "short 7", "short 7", "at least 8"),
        (OWN, "password", "password", "try that one first"),
    ],
)
def test_a_passcode_is_changed_by_who_knows_it_to_one_that_is_none_yet(
    hub: Hub, present: str, own: str, again: str, fault: str
) -> None:
    client = kim(hub)
    reply = send(client, "/office/passcode", present=present, own=own, again=again)
    assert reply.status_code == 422 and fault in reply.text
    assert is_in(client)
    assert enter(browser(hub)).status_code == 303


def test_a_changed_passcode_ends_every_session_but_this_one(hub: Hub) -> None:  # [6.2.2]
    here = kim(hub)
    there = browser(hub)
    enter(there)
    before = copied(here, hub)
    own = "green harbour 7"
    assert send(here, "/office/passcode", present=OWN, own=own, again=own).status_code == 303
    assert is_in(here) and not is_in(there) and not is_in(before)
    assert (enter(browser(hub)).status_code, enter(browser(hub), own).status_code) == (403, 303)


def test_a_passcode_counts_as_it_was_typed(hub: Hub) -> None:  # [6.2.8]
    people.let_in(hub, "Kim", "office", passcode=OWN)
    for typed in (f" {OWN}", f"{OWN} ", OWN.upper(), OWN[:-1], OWN + "x" * LONGEST):
        assert enter(browser(hub), typed).status_code == 403, typed
    longest = (OWN + "".join(f"{n}x" for n in range(LONGEST)))[:LONGEST]
    people.let_in(hub, "Kim", "office", passcode=longest)
    assert enter(browser(hub), longest + "x").status_code == 403
    assert enter(browser(hub), longest).status_code == 303


def test_an_unknown_name_costs_as_many_looks_as_a_known_one(
    hub: Hub, monkeypatch: pytest.MonkeyPatch
) -> None:  # [6.3.8]
    people.let_in(hub, "Kim", "office", passcode=OWN)
    looks = list[str]()
    plain = people._hashed

    def counted(code: str, salt: bytes = b"") -> str:
        looks.append(code)
        return plain(code, salt)

    monkeypatch.setattr(people, "_hashed", counted)
    replies = [enter(browser(hub), "wrong", name) for name in ("Kim", "Nobody")]
    assert len({reply.text for reply in replies}) == 1
    assert looks == ["wrong", "wrong"]


def test_strangers_who_guess_keep_nobody_out_who_was_here_before(hub: Hub) -> None:  # [6.3.1]
    client = kim(hub)
    send(client, "/office/leave")
    stranger = browser(hub, clock=lambda: 1000.0)
    app = stranger.application
    while enter(stranger, "wrong", "Kim").status_code != 429:
        pass
    for n in range(40):
        enter(stranger, "wrong", f"Kim{n}")
    other = app.test_client()
    other.environ_base |= {"HTTP_SEC_FETCH_SITE": "same-origin", "REMOTE_ADDR": "203.0.113.9"}
    assert enter(other).status_code == 429
    here = app.test_client()
    here.environ_base |= {"HTTP_SEC_FETCH_SITE": "same-origin", "REMOTE_ADDR": "203.0.113.9"}
    mark = client.get_cookie("corekit-office-browser", path="/")
    assert mark is not None
    here.set_cookie("corekit-office-browser", mark.value, path="/")
    # Its mark speaks for the name of who signed in there, and for no other.
    assert enter(here, "wrong", "Max").status_code == 429
    assert enter(here).status_code == 303


# ---- the session


def test_signing_out_ends_the_session_wherever_a_copy_of_its_cookie_lies(hub: Hub) -> None:  # [7.4.1]
    client = kim(hub)
    elsewhere = copied(client, hub)
    assert is_in(elsewhere)
    reply = send(client, "/office/leave")
    assert reply.headers["Clear-Site-Data"] == '"cache"'  # [14.3.1]
    assert not is_in(client) and not is_in(elsewhere)


def test_each_sign_in_makes_a_session_of_its_own_and_ends_the_one_before(hub: Hub) -> None:  # [7.2.4]
    client = kim(hub)
    before = copied(client, hub)
    assert enter(client).status_code == 303
    kept = [one.get_cookie("corekit-office", path="/") for one in (client, before)]
    assert len({cookie.value for cookie in kept if cookie is not None}) == 2
    assert is_in(client) and not is_in(before)


@pytest.mark.parametrize(("step", "stays"), [(sessions.UNUSED - 60, True), (sessions.UNUSED, False)])
def test_an_unused_session_ends_after_an_hour(timed: Hub, watch: Watch, step: int, stays: bool) -> None:
    client = kim(timed)
    for _ in range(3 if stays else 1):
        watch.later(step)
        assert is_in(client) is stays


@pytest.mark.parametrize(("left", "stays"), [(1, True), (0, False)])
def test_a_session_ends_after_half_a_day_however_much_it_is_used(
    timed: Hub, watch: Watch, left: int, stays: bool
) -> None:
    client = kim(timed)
    for _ in range(23):
        watch.later(sessions.LONGEST / 24)
        assert is_in(client)
    watch.later(sessions.LONGEST / 24 - left)
    assert is_in(client) is stays


def test_a_session_of_the_future_opens_nothing(timed: Hub, watch: Watch) -> None:
    client = kim(timed)
    watch.later(-3600)
    assert not is_in(client)


def test_who_is_dismissed_is_signed_out_at_once_and_comes_in_no_more(hub: Hub) -> None:  # [7.4.2]
    client = kim(hub)
    people.dismiss(hub, "Kim")
    assert not is_in(client)
    assert enter(browser(hub)).status_code == 403
    with pytest.raises(HubError, match="Nobody signs in to the office as 'Kim'"):
        people.dismiss(hub, "Kim")


def test_a_mechanic_of_a_van_that_was_revoked_is_signed_out_and_comes_in_no_more(
    hub: Hub, new_van: NewVan
) -> None:  # [7.4.2]
    letters = new_van("one").letters
    people.let_in(hub, "Max", "mechanic", letters, passcode=OWN)
    client = browser(hub)
    assert enter(client, OWN, "Max").status_code == 303
    assert client.get("/office").status_code == 200
    devices.revoke(hub.database, letters, datetime.now(UTC))
    assert client.get("/office").status_code == 303
    assert enter(browser(hub), OWN, "Max").status_code == 403
    with pytest.raises(HubError, match="the letters of a van that is enrolled"):
        people.let_in(hub, "Moe", "mechanic", letters)


def test_a_mechanic_goes_on_in_the_van_that_takes_the_place_of_a_lost_one(hub: Hub, new_van: NewVan) -> None:
    van = new_van("one")
    van.begin("first", "Ada Example")
    van.sync()
    people.let_in(hub, "Max", "mechanic", van.letters, passcode=OWN)
    client = browser(hub)
    enter(client, OWN, "Max")
    code = devices.invited(hub.database, "one again", instead_of=van.letters)
    key = base32(SigningKey(bytes(32)).public)
    letters, *_ = devices.enrolled(hub.database, code, key, wish="", books=[], now=DRAWN_AT)
    assert letters != van.letters
    page = client.get("/office").text
    assert "Ada Example" in page and f"of van {letters}" in page


# ---- pages of the office only


@pytest.mark.parametrize(
    ("headers", "comes_in"),
    [
        ({"Sec-Fetch-Site": "same-origin"}, True),
        ({"Sec-Fetch-Site": "same-origin", "Origin": "http://localhost"}, True),
        ({"Origin": "http://localhost"}, True),
        ({"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"}, False),
        ({"Sec-Fetch-Site": "same-site"}, False),
        ({"Origin": "http://elsewhere.example"}, False),
        ({"Origin": "null"}, False),
        ({}, False),
    ],
)
def test_only_a_page_of_the_office_signs_anybody_in(
    hub: Hub, headers: dict[str, str], comes_in: bool
) -> None:  # [3.5.1]
    people.let_in(hub, "Kim", "office", passcode=OWN)
    client = browser(hub)
    del client.environ_base["HTTP_SEC_FETCH_SITE"]
    reply = client.post("/office/door", data={"name": "Kim", "passcode": OWN}, headers=headers)
    assert reply.status_code == (303 if comes_in else 403)
    assert ("not sent from a page of the office" in reply.text) is not comes_in
    assert is_in(client) is comes_in


@pytest.mark.parametrize(
    ("origin", "comes_in"),
    [
        ("https://hub.example", True),
        ("https://hub.example:8443", True),
        ("http://hub.example", False),
        ("https://hub.example.elsewhere.example", False),
        ("https://elsewhere.example", False),
    ],
)
@pytest.mark.parametrize(
    "host", ["hub.example", "127.0.0.1:8743"], ids=["host passed on", "host of the proxy"]
)
def test_behind_a_proxy_a_page_under_the_own_name_and_tls_signs_in(
    hub: Hub, origin: str, comes_in: bool, host: str
) -> None:
    people.let_in(hub, "Kim", "office", passcode=OWN)
    client = browser(hub, hosts=NAMES)
    headers = {"Host": host, "Origin": origin}
    reply = client.post("/office/door", data={"name": "Kim", "passcode": OWN}, headers=headers)
    assert reply.status_code == (303 if comes_in else 403)


@pytest.mark.parametrize("host", ["hub.example", "127.0.0.1:8743"])
def test_behind_a_proxy_the_cookies_go_over_tls_and_to_this_name_alone(
    hub: Hub, host: str
) -> None:  # [3.3.1]
    people.let_in(hub, "Kim", "office", passcode=OWN)
    client = browser(hub, hosts=NAMES)
    headers = {"Host": host, "Origin": "https://hub.example"}
    reply = client.post("/office/door", data={"name": "Kim", "passcode": OWN}, headers=headers)
    cookies = reply.headers.getlist("Set-Cookie")
    assert len(cookies) == 2
    for cookie in cookies:
        assert cookie.startswith("__Host-corekit-office")
        parts = set(cookie.split("; ")[1:])
        assert {"Secure", "HttpOnly", "Path=/", "SameSite=Strict"} <= parts
        assert not any(part.startswith("Domain") for part in parts)


def test_what_is_looked_for_stands_in_no_address(hub: Hub) -> None:  # [14.2.1]
    client = kim(hub)
    where = send(client, "/office/find", q="Ada Example").headers["Location"]
    assert re.fullmatch(r"/office/found/[A-Za-z0-9_=-]+", where)
    assert 'value="Ada Example"' in client.get(where).text
    assert send(client, "/office/find", q="Ada Example").headers["Location"] != where
    changed = where[:-3] + ("A" if where[-3] != "A" else "B") + where[-2:]
    for other in (changed, "/office/found/Ada", where.rpartition("/")[0] + "/é"):
        assert client.get(other).status_code == 404
    assert send(client, "/office/find", q="  ").headers["Location"] == "/office/find"


def test_a_stranger_is_not_told_where_the_database_lies(
    hub: Hub, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:  # [16.5.1]
    client = kim(hub)
    hub.database.close()
    monkeypatch.setattr(hub.database, "address", "host=127.0.0.1 port=9 dbname=secret_name")
    replies = [client.get("/office"), client.post("/sync/enrol", data=b"")]
    assert replies[0].status_code == 503
    for reply in replies:
        assert not any(word in reply.text for word in ("secret_name", "127.0.0.1", "connection"))
    assert "127.0.0.1" in caplog.text, "who keeps the hub reads it"
