"""Signing in to the screens: who may come in, from where, and that what is sent comes from a page of ours.

Every request passes, in this order: the name it was asked for (a page elsewhere must not reach us under a
name of its own), the line it came over (plain http is for this device alone), the page that sent it, the
session, the session's anti-forgery word. OWASP ASVS 5.0.0, chapters 3, 4, 6 to 9, 11, 12 and 14; the tests
name the items.

A session is a signed cookie: its name, when the passcode was given and when it was last used. It outlives a
restart of the server, because the phone of a mechanic in the middle of a job must not be locked out by that;
it ends after minutes without use, after half a day in any case, when it is locked by hand, when the same
browser is let in anew and when the passcode changes.
"""

from __future__ import annotations

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

import attrs
import flask
import itsdangerous
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from .address import bare_host, is_from_own_page, own_path
from .passcode import (
    DRAWN_FOR,
    LOCKED_FILE,
    LONGEST,
    PASSCODE_FILE,
    SHORTEST,
    PasscodeError,
    PasscodeHash,
    RevokedLogins,
    read_passcode,
    read_secret,
    set_passcode,
)
from .rate_limit import LoginThrottle
from .wsgi import ARMOUR

log = logging.getLogger("corekit.screens")

LOCK_AFTER = 15  # minutes without use
LONGEST_SESSION = 12 * 3600  # s; a phone that was let in in the morning asks again in the evening
THIS_DEVICE = frozenset({"127.0.0.1", "localhost", "[::1]"})

_REMEMBERED = 30 * 24 * 3600
# s that a device keeps its cookie; long after it opens nothing, it still tells a known device from a stranger
_FRESH = 20  # s; a cookie younger than that is not made anew
_LOCKED_BYTES, _LOCKED_FIELDS = 256 * 1024, 200  # of what was typed into a form before the lock fell
_KEPT = "kept."
# The last of 43 letters of base 64 has two bits that say nothing. They must be zero (RFC 4648, section 3.5),
# so that a cookie that was changed in any letter opens nothing.
_SIGNATURE = "[A-Za-z0-9_-]{42}[AEIMQUYcgkosw048]"
_COOKIE = re.compile(rf"([A-Za-z0-9_-]{{22}})\.([0-9]{{1,12}})\.([0-9]{{1,12}})\.{_SIGNATURE}")
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
    """One device that gave the passcode: a random name, when that was and when it was last used, in whole
    seconds since 1970.
    """

    name: str
    since: int
    last_used: int


@attrs.define(kw_only=True)
class PasscodeAuth:
    """Sign-in with a passcode. Safe to use from several threads.

    Attributes:
        shop: The shop's folder; the passcode and the secret are in its `keys`.
        hosts: Names and addresses under which this server may be asked for, without port.
        tls: The line is TLS. Without it nobody but this device is let in.
        lock_after: Minutes without use after which a session ends.
        now, clock: Seconds since 1970; seconds that never go back.
        open_to_all: Endpoints that show nothing of the shop and that the locked page needs itself (style,
            script, faces), under every address that they take: what is not there is said by a screen, and
            that names the shop.
    """

    shop: Path
    hosts: Callable[[], Collection[str]] = lambda: THIS_DEVICE
    tls: bool = False
    lock_after: float = LOCK_AFTER
    now: Callable[[], float] = time.time
    clock: Callable[[], float] = time.monotonic
    open_to_all: frozenset[str] = frozenset({"kept", "face"})
    _secret: bytes = attrs.field(init=False, repr=False)
    _revoked: RevokedLogins = attrs.field(init=False, repr=False)
    _throttle: LoginThrottle = attrs.field(init=False, repr=False)
    _hash: tuple[tuple[int, ...], PasscodeHash] | None = attrs.field(init=False, default=None, repr=False)
    _lock: threading.Lock = attrs.field(init=False, factory=threading.Lock, repr=False)

    def __attrs_post_init__(self) -> None:
        read_passcode(self.shop)  # a fault is said now and in the terminal, not to whoever meets the lock
        self._secret = read_secret(self.shop)
        self._revoked = RevokedLogins(self.shop / LOCKED_FILE, self.now)
        self._throttle = LoginThrottle(self.clock)

    def install(self, app: flask.Flask) -> None:
        """Add the checks of every request and the pages of the sign-in to the application, and give templates
        `guard()` and `lock_seconds`.

        Whatever else the application adds to what comes before a request comes after these checks.
        """
        app.jinja_env.globals.update(guard=self._guard_of_request, lock_seconds=round(self.lock_after * 60))
        app.config[ARMOUR] = self._armour
        app.before_request(self._check_host)
        app.before_request(self._check_line)
        app.before_request(self._check_origin)
        app.before_request(self._check_session)
        app.before_request(self._check_guard)
        app.after_request(self._security_headers)
        app.add_url_rule("/door", "door", self._door_page, methods=["GET"])
        app.add_url_rule("/door", "door_open", self._unlock, methods=["POST"])
        app.add_url_rule("/door/lock", "door_lock", self._lock_now, methods=["POST"])
        app.add_url_rule("/door/state", "door_state", self._state, methods=["GET"])

    # What every request passes

    def _check_host(self) -> flask.Response | None:
        if bare_host(flask.request.environ.get("HTTP_HOST", "")) in self.hosts():
            return None
        return _refusal(
            "These screens answer under their own address only. Open the one that the terminal shows.", 421
        )

    def _check_line(self) -> flask.Response | None:
        if self.tls or _is_this_device(flask.request.remote_addr):
            return None
        return _refusal(
            "Over plain http these screens open only on the device that serves them. For a phone: corekit"
            " work --pair",
            403,
        )

    def _check_origin(self) -> flask.Response | None:
        if flask.request.method in _CHANGE_NOTHING or is_from_own_page():
            return None
        return _refusal("This was not sent from a page of these screens, so nothing was done.", 403)

    def _check_session(self) -> flask.Response | None:
        flask.g.session = self._valid_session()
        if (
            flask.g.session
            or flask.request.endpoint in self.open_to_all
            or flask.request.endpoint in ("door", "door_open", "door_state")
        ):
            return None
        if flask.request.method in _CHANGE_NOTHING:
            return self._locked_page(flask.request.full_path.removesuffix("?"))
        fields, whole = _typed_fields()
        return self._locked_page(_form_screen(), kept=fields, kept_to=flask.request.path, lost=not whole)

    def _check_guard(self) -> flask.Response | None:
        if flask.request.method in _CHANGE_NOTHING or flask.request.endpoint == "door_open":
            return None
        word = flask.request.form.get("guard", "")
        if hmac.compare_digest(word.encode("utf-8", "surrogatepass"), self._guard(flask.g.session).encode()):
            return None
        if _wants_json():
            return _json({"guard": "old"}, 403)
        fields, whole = _typed_fields()
        return self._resend_page(fields, flask.request.path, whole=whole, status=403)

    @property
    def _armour(self) -> list[tuple[str, str]]:
        """The headers that every answer carries."""
        return [*_HEADERS.items(), *([("Strict-Transport-Security", "max-age=31536000")] if self.tls else [])]

    def _security_headers(self, answer: flask.Response) -> flask.Response:
        for header, value in self._armour:
            answer.headers[header] = value
        answer.headers.setdefault("Cache-Control", "no-store")
        session: Session | None = flask.g.get("session")
        if (
            session
            and flask.request.endpoint != "door_state"
            and self.now() - session.last_used >= _FRESH
            and session.name not in self._revoked
        ):
            self._set_cookie(answer, attrs.evolve(session, last_used=int(self.now())))
        return answer

    # Sessions

    @property
    def _cookie(self) -> str:
        # The prefix binds the cookie to this very host and to TLS (RFC 6265bis, section 4.1.3); browsers
        # refuse it over http, also on this device.
        return "__Host-corekit-work" if self.tls else "corekit-work"

    def _passcode(self) -> PasscodeHash:
        """The passcode as it is kept now; a new one that was set beside the running server holds at once."""
        try:
            status = (self.shop / PASSCODE_FILE).stat()
        except OSError:
            return read_passcode(self.shop)
        version = (status.st_mtime_ns, status.st_size, status.st_ino, status.st_mode)
        with self._lock:
            if self._hash is None or self._hash[0] != version:
                self._hash = (version, read_passcode(self.shop))
            return self._hash[1]

    def _known_of_passcode(self) -> tuple[bool, bool]:
        """Whether it is made of digits, and whether the machine drew it."""
        try:
            kept = self._passcode()
        except PasscodeError:
            return False, False
        return kept.is_numeric, kept.drawn > 0

    def _signer(self, use: str) -> itsdangerous.Signer:
        # With the passcode's salt in it, a new passcode ends every session of the old one.
        return itsdangerous.Signer(
            self._secret + self._passcode().salt,
            salt=f"corekit-work.{use}",
            key_derivation="hmac",
            digest_method=hashlib.sha256,
        )

    def _signed_session(self) -> Session | None:
        """The session that the cookie names, whether it is still good or not; None when it was not signed
        here.
        """
        cookie = flask.request.cookies.get(self._cookie, "")
        match = _COOKIE.fullmatch(cookie)
        if match is None:
            return None
        try:
            self._signer("session").unsign(cookie)
        except itsdangerous.BadSignature:
            return None
        except PasscodeError as error:
            log.error("%s", error)
            return None
        name, since, last_used = match.groups()
        return Session(name=name, since=int(since), last_used=int(last_used))

    def _valid_session(self) -> Session | None:
        """The session of this request, if it is good."""
        session = self._signed_session()
        if session is None or session.name in self._revoked:
            return None
        now = self.now()
        # A cookie from the future: the clock was set back. Nobody knows then how long it was unused.
        is_good = (
            -_FRESH <= now - session.last_used < self.lock_after * 60
            and now - session.since < LONGEST_SESSION
        )
        return session if is_good else None

    def _set_cookie(self, answer: flask.Response, session: Session) -> None:
        cookie = self._signer("session").sign(f"{session.name}.{session.since}.{session.last_used}")
        answer.set_cookie(
            self._cookie,
            cookie.decode("ascii"),
            max_age=_REMEMBERED,
            path="/",
            secure=self.tls,
            httponly=True,
            samesite="Strict",
        )

    def _guard(self, session: Session) -> str:
        return self._signer("guard").get_signature(session.name).decode("ascii")

    def _guard_of_request(self) -> str:
        """The anti-forgery word for the forms of this page; empty where nobody is let in yet."""
        session: Session | None = flask.g.get("session")
        return self._guard(session) if session else ""

    # The pages of the sign-in

    def _door_page(self) -> flask.Response:
        if flask.g.session:
            return _redirect(own_path(flask.request.args.get("next", "")))
        return self._locked_page(own_path(flask.request.args.get("next", "")), status=200)

    def _unlock(self) -> flask.Response:
        flask.request.max_content_length = _LOCKED_BYTES + 4096
        form = flask.request.form
        next_path, kept_to = own_path(form.get("next", "")), own_path(form.get("kept_to", ""), "")
        kept = [
            (name.removeprefix(_KEPT), text)
            for name, text in form.items(multi=True)
            if name.startswith(_KEPT)
        ][:_LOCKED_FIELDS]
        earlier = self._signed_session()
        sender = earlier.name if earlier else flask.request.remote_addr or ""
        wait = self._throttle.take(sender, known=earlier is not None)
        if wait:
            seconds = math.ceil(wait)
            refusal = self._locked_page(
                next_path,
                kept=kept,
                kept_to=kept_to,
                message=f"Too many wrong passcodes. Wait {_duration_words(seconds)}, then try again.",
                status=429,
            )
            refusal.headers["Retry-After"] = str(seconds)
            return refusal
        try:
            known = self._passcode()
            typed = form.get("passcode", "")
            is_right = len(typed) <= LONGEST and known.fits(typed)
        except PasscodeError as error:
            log.error("%s", error)
            message = (
                "The passcode cannot be read on the machine that serves these screens; its terminal says why."
            )
            return self._locked_page(next_path, kept=kept, kept_to=kept_to, message=message, status=503)
        if not is_right:
            return self._locked_page(
                next_path, kept=kept, kept_to=kept_to, message="That is not the passcode."
            )
        self._throttle.forgive(sender, known=earlier is not None)
        if known.drawn:
            fault = self._fault_of_own(known, form.get("own", ""), form.get("again", ""))
            if fault:
                return self._locked_page(next_path, kept=kept, kept_to=kept_to, message=fault)
        # A name of its own for each unlocking, and the session that this browser had before is over (ASVS
        # 7.2.4). Other devices stay where they are.
        if earlier:
            self._end(earlier)
        now = int(self.now())
        session = Session(name=secrets.token_urlsafe(16), since=now, last_used=now)
        flask.g.session = session
        answer = (
            self._resend_page(kept, kept_to, whole=True, back=next_path)
            if kept and kept_to
            else _redirect(next_path)
        )
        self._set_cookie(answer, session)
        return answer

    def _fault_of_own(self, drawn: PasscodeHash, own: str, again: str) -> str:
        """Why a passcode cannot take the place of the drawn one; empty once it has (ASVS 5.0, 6.4.1)."""
        if not 0 <= self.now() - drawn.drawn <= DRAWN_FOR:
            return (
                "That passcode was for one day. Draw another on the machine that serves these screens:"
                " corekit work --reset-passcode"
            )
        if drawn.fits(own):
            return "Choose a passcode of your own, another than the one that was drawn."
        if own != again:
            return "The two were not the same."
        try:
            set_passcode(self.shop, own)
        except PasscodeError as error:
            return str(error)
        return ""

    def _lock_now(self) -> flask.Response:
        self._end(flask.g.session)
        flask.g.session = None
        return _redirect("/door")

    def _end(self, session: Session) -> None:
        # A session that is still to come was begun before the clock was set back.
        self._revoked.revoke(session.name, max(0.0, session.since - self.now()) + LONGEST_SESSION)

    def _state(self) -> flask.Response:
        """Whether this device is let in, and the word for its forms.

        Asking is no use, so it keeps nothing open.
        """
        session: Session | None = flask.g.session
        if session is None:
            return _json({"unlocked": False}, 200)
        left = min(session.last_used + self.lock_after * 60, session.since + LONGEST_SESSION) - self.now()
        return _json(
            {"unlocked": True, "guard": self._guard(session), "seconds": max(0, math.floor(left))}, 200
        )

    def _locked_page(
        self,
        next_path: str,
        *,
        kept: Collection[tuple[str, str]] = (),
        kept_to: str = "",
        message: str = "",
        lost: bool = False,
        status: int = 401,
    ) -> flask.Response:
        if _wants_json():
            answer = _json({"locked": True, "text": message}, status)
        else:
            fields = [(_KEPT + name, text) for name, text in kept]
            is_numeric, is_drawn = self._known_of_passcode()
            page = flask.render_template(
                "door.html",
                next=own_path(next_path),
                kept=fields,
                kept_to=kept_to,
                said=message,
                lost=lost,
                digits=is_numeric,
                is_drawn=is_drawn,
                shortest=SHORTEST,
            )
            answer = flask.make_response(page, status)
        if status == 401:
            answer.headers["WWW-Authenticate"] = (
                "Passcode"  # RFC 9110, 15.5.2 wants one; no browser has a dialog for this
            )
        return answer

    def _resend_page(
        self, fields: Collection[tuple[str, str]], to: str, *, whole: bool, back: str = "/", status: int = 200
    ) -> flask.Response:
        """What was typed before the lock fell, ready to be sent again with the word of the session that holds
        now.
        """
        return flask.make_response(
            flask.render_template("again.html", fields=fields, to=to, whole=whole, back=back), status
        )


def _form_screen() -> str:
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


def _is_this_device(address: str | None) -> bool:
    try:
        return ipaddress.ip_address(address or "").is_loopback
    except ValueError:
        return False


def _wants_json() -> bool:
    return flask.request.accept_mimetypes.best_match(["text/html", "application/json"]) == "application/json"


def _redirect(path: str) -> flask.Response:
    return (
        flask.jsonify(next=path) if _wants_json() else flask.Response(status=303, headers={"Location": path})
    )


def _json(content: dict[str, object], status: int) -> flask.Response:
    answer = flask.jsonify(content)
    answer.status_code = status
    return answer


def _refusal(words: str, status: int) -> flask.Response:
    """For somebody who is at the wrong place: words and nothing of ours, not even a style."""
    return flask.Response(f"{words}\n", status=status, mimetype="text/plain")


def _duration_words(seconds: int) -> str:
    return f"{seconds} s" if seconds < 90 else f"{math.ceil(seconds / 60)} minutes"
