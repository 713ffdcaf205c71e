"""The door of the screens: who may come in, from where, and that what is sent comes from a page of ours.

Every request passes, in this order: the name it was asked for (a page elsewhere must not reach us under a
name of its own), the line it came over (plain http is for this device alone), the page that sent it, the
session, the session's anti-forgery word. OWASP ASVS 5.0, chapters 3, 6 and 7; the tests name the items.

A session is a signed cookie: its name, when the passcode was given and when it was last used. It outlives a
restart of the server, because the phone of a mechanic in the middle of a job must not be locked out by that;
it ends after minutes without use, after half a day in any case, when it is locked by hand and when the
passcode changes.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import ipaddress
import logging
import math
import re
import secrets
import threading
import time
from collections.abc import Callable, Collection
from pathlib import Path
from urllib.parse import urlsplit

import attrs
import flask
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from .page_server import bare_host
from .passcode import (
    LOCKED_FILE,
    PASSCODE_FILE,
    Ended,
    Guesses,
    Kept,
    PasscodeError,
    read_passcode,
    read_secret,
)

log = logging.getLogger("corekit.screens")

LOCK_AFTER = 15  # minutes without use
LONGEST_SESSION = 12 * 3600  # s; a phone that was let in in the morning asks again in the evening
THIS_DEVICE = frozenset({"127.0.0.1", "localhost", "[::1]"})

_REMEMBERED = 30 * 24 * 3600
# s that a device keeps its cookie; long after it opens nothing, it still tells a known device from a stranger
_FRESH = 20  # s; a cookie younger than that is not made anew
_LOCKED_BYTES, _LOCKED_FIELDS = 256 * 1024, 200  # of what was typed into a form before the lock fell
_KEPT = "kept."
_COOKIE = re.compile(r"([A-Za-z0-9_-]{22})\.([0-9]{1,12})\.([0-9]{1,12})\.([0-9a-f]{64})")
_CHANGE_NOTHING = ("GET", "HEAD", "OPTIONS")

_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "font-src 'self'",
        "img-src 'self' blob: data:",
        "connect-src 'self'",
        "worker-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "object-src 'none'",
        "frame-ancestors 'none'",
    )
)
_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    # `no-referrer` would make browsers say `Origin: null` with our own forms (Fetch, "append a request Origin
    # header"); to others this one sends as little.
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": (
        "camera=(self), microphone=(), geolocation=(), payment=(), usb=(), serial=(), display-capture=()"
    ),
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Robots-Tag": "noindex, nofollow",
}


@attrs.frozen(kw_only=True)
class Session:
    """One device that gave the passcode: a drawn name, when that was and when it was last used, in whole
    seconds since 1970.
    """

    name: str
    begun: int
    used: int


@attrs.define(kw_only=True)
class PasscodeDoor:
    """A door with a passcode. Safe to use from several threads.

    Attributes:
        shop: The shop's folder; the passcode and the secret are in its `keys`.
        hosts: Names and addresses under which this server may be asked for, without port.
        tls: The line is TLS. Without it nobody but this device is let in.
        lock_after: Minutes without use after which a session ends.
        now, clock: Seconds since 1970; seconds that never go back.
        open_to_all: Endpoints that show nothing of the shop and that the locked page needs itself (style,
            script, faces).
    """

    shop: Path
    hosts: Callable[[], Collection[str]] = lambda: THIS_DEVICE
    tls: bool = False
    lock_after: float = LOCK_AFTER
    now: Callable[[], float] = time.time
    clock: Callable[[], float] = time.monotonic
    open_to_all: frozenset[str] = frozenset({"kept", "face"})
    _secret: bytes = attrs.field(init=False, repr=False)
    _ended: Ended = attrs.field(init=False, repr=False)
    _guesses: Guesses = attrs.field(init=False, repr=False)
    _kept: tuple[tuple[int, ...], Kept] | None = attrs.field(init=False, default=None, repr=False)
    _lock: threading.Lock = attrs.field(init=False, factory=threading.Lock, repr=False)

    def __attrs_post_init__(self) -> None:
        read_passcode(
            self.shop
        )  # said now and in the terminal, rather than to whoever stands at the locked door
        self._secret = read_secret(self.shop)
        self._ended = Ended(self.shop / LOCKED_FILE, self.now)
        self._guesses = Guesses(self.clock)

    def stand_at(self, app: flask.Flask) -> None:
        """Add the door's guards and pages to the application, and give templates `guard()` and
        `lock_seconds`.

        Whatever else the application adds to what comes before a request comes after the door.
        """
        app.jinja_env.globals.update(guard=self._guard_here, lock_seconds=round(self.lock_after * 60))
        app.before_request(self._right_name)
        app.before_request(self._right_line)
        app.before_request(self._right_page)
        app.before_request(self._unlocked)
        app.before_request(self._right_guard)
        app.after_request(self._armoured)
        app.add_url_rule("/door", "door", self._ask, methods=["GET"])
        app.add_url_rule("/door", "door_open", self._open, methods=["POST"])
        app.add_url_rule("/door/lock", "door_lock", self._lock_now, methods=["POST"])
        app.add_url_rule("/door/state", "door_state", self._state, methods=["GET"])

    # What every request passes

    def _right_name(self) -> flask.Response | None:
        if bare_host(flask.request.environ.get("HTTP_HOST", "")) in self.hosts():
            return None
        return _refusal(
            "These screens answer under their own address only. Open the one that the terminal shows.", 421
        )

    def _right_line(self) -> flask.Response | None:
        if self.tls or _is_this_device(flask.request.remote_addr):
            return None
        return _refusal(
            "Over plain http these screens open only on the device that serves them. For a phone: corekit"
            " work --pair",
            403,
        )

    def _right_page(self) -> flask.Response | None:
        if flask.request.method in _CHANGE_NOTHING or _is_from_own_page():
            return None
        return _refusal("This was not sent from a page of these screens, so nothing was done.", 403)

    def _unlocked(self) -> flask.Response | None:
        flask.g.session = self._session()
        if (
            flask.g.session
            or flask.request.endpoint in self.open_to_all
            or flask.request.endpoint in ("door", "door_open", "door_state")
        ):
            return None
        if flask.request.method in _CHANGE_NOTHING:
            return self._locked(flask.request.full_path.removesuffix("?"))
        fields, whole = _typed_fields()
        return self._locked(_sent_from(), kept=fields, kept_to=flask.request.path, lost=not whole)

    def _right_guard(self) -> flask.Response | None:
        if flask.request.method in _CHANGE_NOTHING or flask.request.endpoint == "door_open":
            return None
        given = flask.request.form.get("guard", "")
        if hmac.compare_digest(given.encode("utf-8", "surrogatepass"), self._guard(flask.g.session).encode()):
            return None
        if _wants_json():
            return _json({"guard": "old"}, 403)
        fields, whole = _typed_fields()
        return self._again(fields, flask.request.path, whole=whole, status=403)

    def _armoured(self, answer: flask.Response) -> flask.Response:
        for header, value in _HEADERS.items():
            answer.headers[header] = value
        answer.headers.setdefault("Cache-Control", "no-store")
        if self.tls:
            answer.headers["Strict-Transport-Security"] = "max-age=31536000"
        session: Session | None = flask.g.get("session")
        if (
            session
            and flask.request.endpoint != "door_state"
            and self.now() - session.used >= _FRESH
            and session.name not in self._ended
        ):
            self._give(answer, attrs.evolve(session, used=int(self.now())))
        return answer

    # Sessions

    @property
    def _cookie(self) -> str:
        # The prefix binds the cookie to this very host and to TLS (RFC 6265bis, section 4.1.3); browsers
        # refuse it over http, also on this device.
        return "__Host-corekit-work" if self.tls else "corekit-work"

    def _passcode(self) -> Kept:
        """The passcode as it is kept now; a new one that was set beside the running server holds at once."""
        try:
            seen = (self.shop / PASSCODE_FILE).stat()
        except OSError:
            return read_passcode(self.shop)
        mark = (seen.st_mtime_ns, seen.st_size, seen.st_ino, seen.st_mode)
        with self._lock:
            if self._kept is None or self._kept[0] != mark:
                self._kept = (mark, read_passcode(self.shop))
            return self._kept[1]

    def _has_digits(self) -> bool:
        try:
            return self._passcode().digits
        except PasscodeError:
            return False

    def _key(self, use: str) -> bytes:
        # With the salt in it, a new passcode ends every session of the old one.
        return hmac.digest(self._secret, use.encode() + self._passcode().salt, "sha256")

    def _signed(self, text: str) -> str:
        return hmac.new(self._key("session"), text.encode(), hashlib.sha256).hexdigest()

    def _presented(self) -> Session | None:
        """The session that the cookie names, whether it is still good or not; None when it was not signed
        here.
        """
        found = _COOKIE.fullmatch(flask.request.cookies.get(self._cookie, ""))
        if found is None:
            return None
        name, begun, used, mac = found.groups()
        try:
            signed = self._signed(f"{name}.{begun}.{used}")
        except PasscodeError as error:
            log.error("%s", error)
            return None
        return (
            Session(name=name, begun=int(begun), used=int(used)) if hmac.compare_digest(mac, signed) else None
        )

    def _session(self) -> Session | None:
        """The session of this request, if it is good."""
        session = self._presented()
        if session is None or session.name in self._ended:
            return None
        now = self.now()
        # A cookie from the future: the clock was set back. Nobody knows then how long it was unused.
        good = -_FRESH <= now - session.used < self.lock_after * 60 and now - session.begun < LONGEST_SESSION
        return session if good else None

    def _give(self, answer: flask.Response, session: Session) -> None:
        text = f"{session.name}.{session.begun}.{session.used}"
        answer.set_cookie(
            self._cookie,
            f"{text}.{self._signed(text)}",
            max_age=_REMEMBERED,
            path="/",
            secure=self.tls,
            httponly=True,
            samesite="Strict",
        )

    def _guard(self, session: Session) -> str:
        return (
            base64.urlsafe_b64encode(hmac.digest(self._key("guard"), session.name.encode(), "sha256"))
            .decode("ascii")
            .rstrip("=")
        )

    def _guard_here(self) -> str:
        """The anti-forgery word for the forms of this page; empty where nobody is let in yet."""
        session: Session | None = flask.g.get("session")
        return self._guard(session) if session else ""

    # The door's own pages

    def _ask(self) -> flask.Response:
        if flask.g.session:
            return _led(own_path(flask.request.args.get("next", "")))
        return self._locked(own_path(flask.request.args.get("next", "")), status=200)

    def _open(self) -> flask.Response:
        flask.request.max_content_length = _LOCKED_BYTES + 4096
        form = flask.request.form
        next_path, kept_to = own_path(form.get("next", "")), own_path(form.get("kept_to", ""), "")
        kept = [
            (name.removeprefix(_KEPT), text)
            for name, text in form.items(multi=True)
            if name.startswith(_KEPT)
        ][:_LOCKED_FIELDS]
        presented = self._presented()
        sender = presented.name if presented else flask.request.remote_addr or ""
        wait = self._guesses.take(sender, known=presented is not None)
        if wait:
            seconds = math.ceil(wait)
            again = self._locked(
                next_path,
                kept=kept,
                kept_to=kept_to,
                said=f"Too many wrong passcodes. Wait {_lasts(seconds)}, then try again.",
                status=429,
            )
            again.headers["Retry-After"] = str(seconds)
            return again
        try:
            right = self._passcode().fits(form.get("passcode", ""))
        except PasscodeError as error:
            log.error("%s", error)
            said = (
                "The passcode cannot be read on the machine that serves these screens; its terminal says why."
            )
            return self._locked(next_path, kept=kept, kept_to=kept_to, said=said, status=503)
        if not right:
            return self._locked(next_path, kept=kept, kept_to=kept_to, said="That is not the passcode.")
        self._guesses.right(sender, known=presented is not None)
        # A name of its own for each unlocking (ASVS 7.2.4): what was known before it opens nothing after it.
        now = int(self.now())
        session = Session(name=secrets.token_urlsafe(16), begun=now, used=now)
        flask.g.session = session
        answer = (
            self._again(kept, kept_to, whole=True, back=next_path) if kept and kept_to else _led(next_path)
        )
        self._give(answer, session)
        return answer

    def _lock_now(self) -> flask.Response:
        self._ended.end(flask.g.session.name, LONGEST_SESSION)
        flask.g.session = None
        return _led("/door")

    def _state(self) -> flask.Response:
        """Whether this device is let in, and the word for its forms.

        Asking is no use, so it keeps nothing open.
        """
        session: Session | None = flask.g.session
        if session is None:
            return _json({"unlocked": False}, 200)
        left = min(session.used + self.lock_after * 60, session.begun + LONGEST_SESSION) - self.now()
        return _json(
            {"unlocked": True, "guard": self._guard(session), "seconds": max(0, math.floor(left))}, 200
        )

    def _locked(
        self,
        next_path: str,
        *,
        kept: Collection[tuple[str, str]] = (),
        kept_to: str = "",
        said: str = "",
        lost: bool = False,
        status: int = 401,
    ) -> flask.Response:
        if _wants_json():
            answer = _json({"locked": True, "text": said}, status)
        else:
            fields = [(_KEPT + name, text) for name, text in kept]
            page = flask.render_template(
                "door.html",
                next=own_path(next_path),
                kept=fields,
                kept_to=kept_to,
                said=said,
                lost=lost,
                digits=self._has_digits(),
            )
            answer = flask.make_response(page, status)
        if status == 401:
            answer.headers["WWW-Authenticate"] = (
                "Passcode"  # RFC 9110, 15.5.2 wants one; no browser has a dialog for this
            )
        return answer

    def _again(
        self, fields: Collection[tuple[str, str]], to: str, *, whole: bool, back: str = "/", status: int = 200
    ) -> flask.Response:
        """What was typed before the lock fell, ready to be sent again with the word of the session that holds
        now.
        """
        return flask.make_response(
            flask.render_template("again.html", fields=fields, to=to, whole=whole, back=back), status
        )


def own_path(path: str, otherwise: str = "/") -> str:
    """A path of this server, or `otherwise`: no form and no link sends anybody elsewhere."""
    try:
        parts = urlsplit(path)
    except ValueError:
        return otherwise
    plain = (
        path.startswith("/")
        and not path.startswith("//")
        and "\\" not in path
        and not parts.scheme
        and not parts.netloc
    )
    return path if plain and path.isprintable() and path.isascii() and len(path) <= 2000 else otherwise


def _sent_from() -> str:
    """The screen that a form stood on, as it says itself."""
    try:
        return own_path(flask.request.form.get("screen", ""))
    except HTTPException:
        return "/"


def _typed_fields() -> tuple[list[tuple[str, str]], bool]:
    """The fields of the form, without its old guard, and whether that is all of it."""
    try:
        if flask.g.session is None:
            flask.request.max_content_length = _LOCKED_BYTES
        form, files = flask.request.form, flask.request.files
    except RequestEntityTooLarge:
        return [], False
    fields = [(name, text) for name, text in form.items(multi=True) if name != "guard"]
    return fields[:_LOCKED_FIELDS], len(fields) <= _LOCKED_FIELDS and not any(
        file.filename for file in files.values()
    )


def _is_from_own_page() -> bool:
    """True when the browser says that a page of this very origin sent the request (Fetch
    Metadata; RFC 6454).
    """
    headers = flask.request.headers
    site, origin = headers.get("Sec-Fetch-Site"), headers.get("Origin")
    own = f"{flask.request.scheme}://{flask.request.environ.get('HTTP_HOST', '')}"
    if site is not None and site != "same-origin":
        return False
    return origin.lower() == own.lower() if origin not in (None, "null") else site is not None


def _is_this_device(address: str | None) -> bool:
    try:
        return ipaddress.ip_address(address or "").is_loopback
    except ValueError:
        return False


def _wants_json() -> bool:
    return flask.request.accept_mimetypes.best_match(["text/html", "application/json"]) == "application/json"


def _led(path: str) -> flask.Response:
    return (
        flask.jsonify(next=path) if _wants_json() else flask.Response(status=303, headers={"Location": path})
    )


def _json(content: dict[str, object], status: int) -> flask.Response:
    answer = flask.jsonify(content)
    answer.status_code = status
    return answer


def _refusal(words: str, status: int) -> flask.Response:
    """For somebody who is at the wrong door: words and nothing of ours, not even a style."""
    return flask.Response(f"{words}\n", status=status, mimetype="text/plain")


def _lasts(seconds: int) -> str:
    return f"{seconds} s" if seconds < 90 else f"{math.ceil(seconds / 60)} minutes"
