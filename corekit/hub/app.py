"""The hub's application: what vans ask (`/sync/…`), and beside it the office (`corekit.hub.office`)."""

from __future__ import annotations

import hashlib
import logging
import time
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from typing import Any

import attrs
import flask
from werkzeug.exceptions import HTTPException

from ..errors import CorekitError
from ..languages import ENGLISH, screen_languages
from ..model.canonical import canonical
from ..store.errors import ForkError
from ..store.exchange import Parcel
from ..sync.message import CONTENT_TYPE, LARGEST, OFFICE, SMALL, SyncError, packed, unpacked
from ..web.address import bare_host
from ..web.rate_limit import RateLimit
from ..web.wsgi import ARMOUR
from . import devices, record
from .database import HubDatabase, Line
from .errors import DatabaseError, HubError, UnknownDeviceError
from .sealing import HubKey

log = logging.getLogger("corekit.hub")


@attrs.frozen(kw_only=True)
class Hub:
    """A hub that is open."""

    database: HubDatabase
    key: HubKey
    clock: Callable[[], datetime] = lambda: datetime.now(UTC)


def open_hub(address: str, key: HubKey, *, demo: bool | None = False) -> Hub:
    """A hub on a database, its tables up to date.

    Args:
        demo: Whether it is a demo's; None for whoever only reads.

    Raises:
        HubError: the database cannot be used, its texts were encrypted with another key, or it is a demo's
            (or none) while this is none (or one).
    """
    database = HubDatabase(address)
    hub = Hub(database=database, key=key)
    mark = hashlib.sha256(b"corekit hub " + key.secret).hexdigest()[:16]
    with database.writing() as line:
        if _meta(line, "key", mark) != mark:
            raise HubError(
                "This database belongs to a hub with another key. Name that key's file with --key, or"
                " bring it"
                " back from its backup; without it no name and no plate can be read."
            )
        if demo is not None and _meta(line, "demo", "1" if demo else "0") != ("1" if demo else "0"):
            raise HubError("A demo and a real shop never share a hub. Name another database.")
        line.execute(
            "INSERT INTO device (letters, name, public_key, enrolled) VALUES (%s, 'Office', '', %s)"
            " ON CONFLICT DO NOTHING",
            (OFFICE, hub.clock().strftime("%Y-%m-%dT%H:%M:%SZ")),
        )
    return hub


def _meta(line: Line, key: str, otherwise: str) -> str:
    """A row of table meta; written where there is none yet."""
    line.execute("INSERT INTO meta VALUES (%s, %s) ON CONFLICT DO NOTHING", (key, otherwise))
    found = line.execute("SELECT value FROM meta WHERE key = %s", (key,)).fetchone()
    assert found is not None
    return str(found[0])


def is_demo(hub: Hub) -> bool:
    with hub.database.line() as line:
        found = line.execute("SELECT value FROM meta WHERE key = 'demo'").fetchone()
    return found is not None and found[0] == "1"


# ── prices ──────────────────────────────────────────────────────────────────────────────────────────────────


def set_prices(hub: Hub, text: str) -> None:
    """Keep a price book that every van pulls."""
    version = hashlib.sha256(text.encode()).hexdigest()
    with hub.database.writing() as line:
        line.execute(
            "INSERT INTO prices VALUES (%s, %s, now()) ON CONFLICT (version) DO UPDATE SET since = now()",
            (version, text),
        )


def prices(hub: Hub) -> str:
    """The price book that vans pull; empty where the hub has none."""
    with hub.database.line() as line:
        found = line.execute("SELECT text FROM prices ORDER BY since DESC LIMIT 1").fetchone()
    return str(found[0]) if found else ""


# ── language ────────────────────────────────────────────────────────────────────────────────────────────────


def set_language(hub: Hub, code: str) -> None:
    """Put the office's pages into a language from now on.

    Raises:
        HubError: screens cannot be in it.
    """
    if code not in screen_languages():
        raise HubError(f"The office cannot be in {code!r}; there is: {', '.join(screen_languages())}.")
    with hub.database.writing() as line:
        line.execute(
            "INSERT INTO meta VALUES ('language', %s) ON CONFLICT (key) DO UPDATE SET value = EXCLUDED.value",
            (code,),
        )


def language_of(hub: Hub) -> str:
    """Of the office's pages, by ISO 639; English where nobody said another."""
    with hub.database.line() as line:
        found = line.execute("SELECT value FROM meta WHERE key = 'language'").fetchone()
    return str(found[0]) if found and found[0] in screen_languages() else ENGLISH


# ── what vans ask ───────────────────────────────────────────────────────────────────────────────────────────


def hub_app(
    hub: Hub, *, hosts: Iterable[str] = (), clock: Callable[[], float] = time.monotonic
) -> flask.Flask:
    """The application.

    Args:
        hosts: Names under which it answers, beside this machine itself. With one it stands behind what ends
            TLS, and says to browsers that it is asked over TLS alone.
        clock: For the limit on wrong codes.
    """
    from .office import add_office

    app = flask.Flask("corekit.hub", static_folder=None, template_folder=None)
    app.config.update(MAX_CONTENT_LENGTH=LARGEST)
    names = {*map(bare_host, hosts)} - {""}
    allowed = {"127.0.0.1", "localhost", "[::1]"} | names
    app.config[ARMOUR] = [
        *_HEADERS.items(),
        *([("Strict-Transport-Security", "max-age=31536000")] if names else []),
    ]
    limit = RateLimit(clock, burst=20, per_second=0.2, network_burst=10, network_per_second=0.05)

    @app.before_request
    def right_host() -> flask.Response | None:
        if bare_host(flask.request.environ.get("HTTP_HOST", "")) in allowed:
            return None
        return _problem(421, "This hub answers under its own address only.")

    @app.after_request
    def armour(answer: flask.Response) -> flask.Response:
        for name, value in app.config[ARMOUR]:
            answer.headers.setdefault(name, value)
        answer.headers.setdefault("Cache-Control", "no-store")
        return answer

    @app.errorhandler(Exception)
    def trouble(error: Exception) -> flask.Response:
        if isinstance(error, UnknownDeviceError):
            return _problem(401, str(error))
        if isinstance(error, ForkError):
            return _problem(409, str(error))
        if isinstance(error, SyncError):
            return _problem(400, str(error))
        if isinstance(error, DatabaseError):
            log.error("%s", error)  # where it lies and what it says is for who keeps the hub
            return _problem(503, "The hub cannot get at its record. Nothing acknowledged is lost; try again.")
        if isinstance(error, CorekitError):
            return _problem(422, str(error))
        if isinstance(error, HTTPException):
            if isinstance(error.response, flask.Response):
                return error.response
            return _problem(error.code or 500, _words_of(error))
        # Type and place, never the message: it may hold what was looked at.
        log.error("failed: %s", type(error).__name__, exc_info=app.testing)
        return _problem(500, "Something went wrong in the hub. Nothing acknowledged is lost; try again.")

    @app.post("/sync/hello")
    def hello() -> flask.Response:
        letters = str(_asked(flask.request.get_data(), SMALL).get("letters", ""))
        return _packed({"challenge": devices.challenge(hub.key, letters)})

    @app.post("/sync/enrol")
    def enrol() -> flask.Response:
        asked = _asked(flask.request.get_data(), SMALL)
        if not isinstance(books := asked.get("books", []), list):
            raise HubError("The device did not say what it issued under. Bring it up to date.")
        if bool(asked.get("demo")) != is_demo(hub):
            raise HubError("A demo and a real shop never share a hub.")
        try:
            letters, name, was = devices.enrolled(
                hub.database,
                str(asked.get("code", "")),
                str(asked.get("key", "")),
                wish=str(asked.get("letters", "")),
                books=list(map(str, books)),
                now=hub.clock(),
            )
        except UnknownDeviceError:
            if not limit.take(flask.request.remote_addr or ""):
                return _problem(429, "Too many wrong codes came in. Try again in a minute.")
            raise
        return _packed({"letters": letters, "name": name, "was": list(was)})

    @app.post("/sync/state")
    def state() -> flask.Response:
        device, _ = _signed()
        with hub.database.line() as line:
            own = record.chains_of(line, device)
            names = {one.letters: one.name for one in devices.devices(line) if not one.revoked}
        return _packed({"own": {chain: list(head) for chain, head in own.items()}, "vans": names})

    @app.post("/sync/pull")
    def pull() -> flask.Response:
        device, asked = _signed()
        arrived, own = asked.get("arrived"), asked.get("own")
        if not isinstance(arrived, int) or not isinstance(own, list):
            raise HubError("The van did not say how far it has come.")
        record.must_have_counted(hub.database, arrived, str(asked.get("at", "")))
        return _packed(record.parcel_for(hub.database, hub.key, device, arrived, list(map(str, own))).data())

    @app.post("/sync/push")
    def push() -> flask.Response:
        device, asked = _signed()
        return _packed({"taken": record.accepted(hub.database, hub.key, device, Parcel.of(asked))})

    @app.post("/sync/prices")
    def price_book() -> flask.Response:
        _signed()
        return _packed({"text": prices(hub)})

    def _signed() -> tuple[str, Any]:
        request = flask.request
        body = request.get_data()
        device = devices.device_of(
            hub.database,
            hub.key,
            letters=request.headers.get("X-Corekit-Device", ""),
            given=request.headers.get("X-Corekit-Challenge", ""),
            signature=request.headers.get("X-Corekit-Signature", ""),
            path=request.path,
            body=body,
        )
        return device, _asked(body)

    add_office(app, hub, clock, names=names)
    return app


_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "X-Robots-Tag": "noindex, nofollow",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none';"
        " frame-ancestors 'none'"
    ),
}


def _asked(body: bytes, largest: int = LARGEST) -> dict[str, Any]:
    data = unpacked(body, largest)
    if not isinstance(data, dict):
        raise SyncError("What came says nothing that the hub knows.")
    return data


def _packed(data: Any) -> flask.Response:
    return flask.Response(packed(data), mimetype=CONTENT_TYPE)


def _words_of(error: HTTPException) -> str:
    """What is said of an answer that is none; the office's pages have words of their own."""
    if not flask.request.path.startswith("/office"):
        return error.description or ""
    return "There is nothing here." if error.code == 404 else "This does not work here."


def _problem(status: int, detail: str) -> flask.Response:
    """What went wrong, as RFC 9457 describes it."""
    if flask.request.path.startswith("/office"):
        return flask.Response(f"{detail}\n", status=status, mimetype="text/plain")
    problem = {"detail": detail, "status": status, "title": "Refused", "type": "about:blank"}
    return flask.Response(canonical(problem) + b"\n", status=status, mimetype="application/problem+json")
