"""The page behind the code: a small server of published documents, and of nothing else.

`GET /v` is one page for everybody. Its own script reads the token from the fragment and posts it to
`/v/open`; without scripts a person types the 26 characters, which posts the form to `/v`. `/v/paper` gives
the masked PDF. `PUT /published/<token hash>` takes a document from the shop, `DELETE` takes it down.

Whatever is wrong with a token, the answer is one and the same. Rules from W3C TAG, Good Practices for
Capability URLs, and OWASP ASVS 5.0 (chapters 2, 3, 11, 14, 15, 16); the tests name the items.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import hmac
import ipaddress
import logging
import re
import threading
import time
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal
from urllib.parse import urlsplit

import attrs
import flask
import jinja2
from markupsafe import Markup
from werkzeug.exceptions import HTTPException, MethodNotAllowed, RequestEntityTooLarge

from ..errors import CorekitError
from ..model.document import Document, PricedLines
from ..reference import data_path
from ..report.text import clean
from ..share.link import DEMO_BASE, base_problem, is_token_hash, link, read_token, token_hash
from ..share.published import LARGEST, PublishedFolder, PublishError, check_bearer

log = logging.getLogger("corekit.share")

#: A form with one code in it, and room for what people type between the letters.
_FORM_BYTES = 512
_HEADER_BYTES = 16_384
_SILENT_SECONDS = 30
_FACES = {"regular": "FiraSans-Regular.ttf", "semibold": "FiraSans-SemiBold.ttf"}
_HOST = re.compile(r"(\[[0-9a-f:.]+\]|[a-z0-9.-]+)(:[0-9]{1,5})?", re.IGNORECASE)
_METHODS = {"GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS"}


class ServeError(CorekitError):
    """The page server cannot be set up or started; the message says why and what to do."""


@attrs.frozen(kw_only=True)
class Show:
    """How a Document becomes what a browser gets: a piece of HTML, the styles it needs, and a PDF, all
    masked. Called from several threads at once.
    """

    page: Callable[[Document, str], str]
    css: Callable[[], str]
    paper: Callable[[Document, str], bytes]


def masked_show() -> Show:
    """The renderers of `corekit.report`, told to leave every personal text out."""
    from ..report.page import page_css, render_page
    from ..report.pdf import render_pdf
    from ..report.say import mask

    return Show(
        page=lambda document, address: render_page(document, mask, address),
        css=page_css,
        paper=lambda document, address: render_pdf(document, mask, address),
    )


@attrs.define
class Bucket:
    """Permits that run out and come back: `burst` at first, then `per_second`.

    Safe to use from several threads.
    """

    burst: float
    per_second: float
    clock: Callable[[], float] = time.monotonic
    _left: float = attrs.field(init=False)
    _looked: float = attrs.field(init=False)
    _lock: threading.Lock = attrs.field(init=False, factory=threading.Lock, repr=False)

    def __attrs_post_init__(self) -> None:
        self._left, self._looked = self.burst, self.clock()

    def take(self) -> bool:
        """Take one permit; False when none is left."""
        with self._lock:
            self._refill()
            if self._left < 1:
                return False
            self._left -= 1
            return True

    def give_back(self) -> None:
        with self._lock:
            self._left = min(self.burst, self._left + 1)

    @property
    def is_full(self) -> bool:
        with self._lock:
            self._refill()
            return self._left >= self.burst

    def _refill(self) -> None:
        now = self.clock()
        self._left = min(self.burst, self._left + max(0.0, now - self._looked) * self.per_second)
        self._looked = now


class Misses:
    """Who may still guess: a permit is taken before a code is looked up, and given back when it was a good
    one.

    One bucket stands for the whole token space, whoever asks; a smaller one for each address keeps one
    guesser from using up what belongs to all. Both are asked *before* the look-up, or the limit would not
    limit what is learned; the price is that a flood of wrong codes makes right ones wait. At ten guesses a
    second and a million documents, 128 bits last some 10^24 years, so the limit is there against load and
    noise, not to make up for a short token.
    """

    _ADDRESSES_AT_MOST = 4096

    def __init__(
        self,
        clock: Callable[[], float],
        *,
        burst: float = 60,
        per_second: float = 10,
        one_burst: float = 20,
        one_per_second: float = 0.2,
    ) -> None:
        self._clock = clock
        self._everybody = Bucket(burst, per_second, clock)
        self._one = (one_burst, one_per_second)
        self._each: dict[str, Bucket] = {}
        self._lock = threading.Lock()

    def take(self, address: str) -> bool:
        one = self._bucket(address)
        return (one is None or one.take()) and self._everybody.take()

    def give_back(self, address: str) -> None:
        one = self._bucket(address)
        if one is not None:
            one.give_back()
        self._everybody.give_back()

    def _bucket(self, address: str) -> Bucket | None:
        whose = _household(address)
        if whose is None:
            return None
        with self._lock:
            while whose not in self._each and len(self._each) >= self._ADDRESSES_AT_MOST:
                del self._each[
                    next(iter(self._each))
                ]  # the one known longest starts afresh; the bucket of everybody still holds
            return self._each.setdefault(whose, Bucket(*self._one, self._clock))


def _household(address: str) -> str | None:
    """What one guesser can hardly change: the address, of IPv6 its first 64 bits.

    None for this machine, where a proxy may speak for many.
    """
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return None
    if parsed.is_loopback:
        return None
    return str(ipaddress.ip_network((parsed, 64), strict=False)) if parsed.version == 6 else str(parsed)


class _Pages:
    """Everything in HTML, made from the files of `templates/open`; what never changes is made once."""

    def __init__(self, templates: Path, css: str, *, demo: bool) -> None:
        self._files = jinja2.Environment(
            loader=jinja2.FileSystemLoader(templates),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            trim_blocks=True,
            keep_trailing_newline=True,
        )
        self._demo = demo
        self._style = _inside("style", (templates / "open.css").read_text("utf-8") + css)
        self._script = _inside("script", (templates / "open.js").read_text("utf-8"))
        self.mark = (templates / "mark.svg").read_bytes()
        self.shell = self.whole("")
        self.nothing = Markup(self._files.get_template("nothing.html").render())
        self.busy = Markup(self._files.get_template("busy.html").render())
        self.policy = "; ".join(
            (
                "default-src 'none'",
                f"script-src {_hash_of(self._script)}",
                f"style-src {_hash_of(self._style)}",
                "font-src 'self'",
                "img-src 'self'",
                "connect-src 'self'",
                "form-action 'self'",
                "base-uri 'none'",
                "object-src 'none'",
                "frame-ancestors 'none'",
            )
        )

    def whole(self, shown: str, title: str = "") -> str:
        """A full page with `shown`, which is HTML already, in its middle."""
        return self._files.get_template("shell.html").render(
            shown=Markup(shown),
            title=title,
            demo=self._demo,
            style=Markup(self._style),
            script=Markup(self._script),
        )

    def opened(self, document: Document, code: str, whole: str) -> str:
        """The piece of HTML for an opened code: what fixes the paper (number, date, total, what was done),
        then `whole`, the paper itself.
        """
        done = [
            clean(row.text)
            for block in document.blocks
            if isinstance(block, PricedLines)
            for row in block.rows
        ]
        total = (
            document.total if document.currency in document.total else f"{document.total} {document.currency}"
        )
        head = {name: clean(getattr(document, name)) for name in ("shop", "title", "number", "issued")}
        return self._files.get_template("opened.html").render(
            **head,
            kind=document.kind.value,
            demo=document.demo,
            total=clean(total),
            done=done,
            code=code,
            whole=Markup(whole),
        )

    def trouble(self, heading: str, words: str) -> str:
        return self.whole(
            self._files.get_template("trouble.html").render(heading=heading, words=words), heading
        )


def page_app(
    folder: PublishedFolder,
    *,
    bearer: str | None,
    demo: bool,
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
    base: str = "",
    hosts: Iterable[str] = (),
    templates: Path | None = None,
    show: Show | None = None,
    clock: Callable[[], float] = time.monotonic,
) -> flask.Flask:
    """The page server's application.

    Args:
        folder: The published documents.
        bearer: The key that a shop publishes with; None: nothing can be published over the network.
        demo: The pages say DEMO, and the page address is the demo's own.
        now: The moment that expiry is held against.
        base: The page address that codes were printed with (`https://…`); not needed for the demo.
        hosts: Names under which the server answers, beside this machine itself and the host of `base`.
        templates: A folder with the shop's own `shell.html` and the others; corekit's own when left away.
        show: The renderers; those of `corekit.report` when left away.
        clock: Seconds that never go back, for the limit on wrong codes.

    Raises:
        ServeError: the page address, the key or a template file cannot be used.
    """
    base = base or (DEMO_BASE if demo else "")
    error = base_problem(base, demo=demo)
    if error:
        raise ServeError(error)
    if bearer is not None:
        try:
            check_bearer(bearer)
        except PublishError as why:
            raise ServeError(str(why)) from why
    show = show or masked_show()
    try:
        pages = _Pages(templates or data_path("templates/open"), show.css(), demo=demo)
    except (OSError, jinja2.TemplateError) as why:
        raise ServeError(f"A file of the page's templates cannot be used: {why}") from why

    app = flask.Flask("corekit.share", static_folder=None, template_folder=None)
    app.config.update(MAX_CONTENT_LENGTH=LARGEST, MAX_FORM_MEMORY_SIZE=_FORM_BYTES, MAX_FORM_PARTS=4)
    app.url_map.strict_slashes = False
    allowed = {
        "127.0.0.1",
        "localhost",
        "[::1]",
        bare_host(urlsplit(base).netloc),
        *map(bare_host, hosts),
    } - {""}
    _guard(app, pages, allowed, secure=base.startswith("https://"))
    _readers(app, pages, show, base, _Desk(folder, Misses(clock), now))
    _writers(app, folder, bearer, Bucket(20, 1, clock))
    _small_things(app, pages)
    return app


def server_for(
    app: flask.Flask, host: str = "127.0.0.1", port: int = 8741, *, proxy: str | None = None
) -> Any:
    """A waitress server, bound but not yet running: `run()` serves, `close()` ends, `effective_port` is
    where.

    Args:
        host: Where to listen; this machine alone unless told otherwise.
        port: 0 takes a free one.
        proxy: Address of the reverse proxy in front (it ends TLS); only its word on who asks is believed.

    Raises:
        ServeError: the address or port cannot be had.
    """
    import waitress

    trust: dict[str, Any] = (
        {"trusted_proxy": proxy, "trusted_proxy_count": 1, "trusted_proxy_headers": {"x-forwarded-for"}}
        if proxy
        else {}
    )
    try:
        return waitress.create_server(
            app,
            host=host,
            port=port,
            ident="",
            threads=4,
            connection_limit=100,
            channel_timeout=_SILENT_SECONDS,
            cleanup_interval=10,
            max_request_header_size=_HEADER_BYTES,
            max_request_body_size=LARGEST + 1,
            clear_untrusted_proxy_headers=True,
            **trust,
        )
    except (OSError, ValueError) as error:
        raise ServeError(
            f"The page cannot be served at {host}, port {port} ({error}); end what is using it, or name"
            " another port."
        ) from error


def serve(app: flask.Flask, host: str = "127.0.0.1", port: int = 8741, *, proxy: str | None = None) -> None:
    """Serve until interrupted. For the arguments see `server_for`."""
    server = server_for(app, host, port, proxy=proxy)
    try:
        server.run()
    finally:
        server.close()


# What every request goes through


def _guard(app: flask.Flask, pages: _Pages, allowed: set[str], *, secure: bool) -> None:
    @app.before_request
    def right_host() -> flask.Response | None:
        if bare_host(flask.request.environ.get("HTTP_HOST", "")) in allowed:
            return None
        return _html(pages.trouble("Not here.", "This page answers under its own address only."), 421)

    @app.errorhandler(Exception)
    def trouble(error: Exception) -> flask.Response:
        if isinstance(error, HTTPException):
            status = error.code or 500
            heading, words = _WORDS.get(status, _WORDS[400] if status < 500 else _WORDS[500])
            answer = _html(pages.trouble(heading, words), status)
            if isinstance(error, MethodNotAllowed) and error.valid_methods:
                answer.headers["Allow"] = ", ".join(sorted(error.valid_methods))
            return answer
        # Type and place, never the message: it may hold what was looked at.
        log.error("failed: %s at %s", type(error).__name__, _place_of(error))
        return _html(pages.trouble(*_WORDS[500]), 500)

    @app.after_request
    def armoured(answer: flask.Response) -> flask.Response:
        headers = answer.headers
        headers["Content-Security-Policy"] = pages.policy
        headers["X-Content-Type-Options"] = "nosniff"
        headers["Referrer-Policy"] = "no-referrer"
        headers["X-Robots-Tag"] = "noindex, nofollow"
        headers["Cross-Origin-Opener-Policy"] = "same-origin"
        headers["Cross-Origin-Resource-Policy"] = "same-origin"
        headers.setdefault("Cache-Control", "no-store")
        if secure:
            headers["Strict-Transport-Security"] = "max-age=31536000"
        rule = flask.request.url_rule.rule if flask.request.url_rule else "-"
        method = flask.request.method if flask.request.method in _METHODS else "-"
        log.info("%s %s %d %s", method, rule, answer.status_code, flask.g.get("hash", "-"))
        return answer


_WORDS = {
    400: ("That could not be read.", "Open the code on the document again."),
    404: ("There is nothing here.", "Codes are opened at /v of this address."),
    405: ("This does not work here.", "Codes are opened at /v of this address."),
    413: ("That is too large.", "Open the code on the document again."),
    500: (
        "Something went wrong here.",
        (
            "The fault is ours, and nothing of yours is lost. Try again later, or ask the shop that gave you"
            " the document."
        ),
    ),
}


# Opening a code


@attrs.frozen
class _Desk:
    """Where codes are looked up."""

    folder: PublishedFolder
    misses: Misses
    now: Callable[[], datetime]

    def look(self) -> tuple[str, Document] | Literal["nothing", "busy"]:
        """The code in the request and the Document under it.

        Whatever is wrong with a code, the answer is `nothing`.
        """
        address = flask.request.remote_addr or ""
        if not self.misses.take(address):
            return "busy"
        code = read_token(_typed())
        if code is None:
            return "nothing"
        name = token_hash(code)
        flask.g.hash = name[:8]
        found = self.folder.get(name, self.now())
        if found is None:
            return "nothing"
        self.misses.give_back(address)
        return code, found.document


def _readers(app: flask.Flask, pages: _Pages, show: Show, base: str, desk: _Desk) -> None:
    def answer(found: Literal["nothing", "busy"], *, whole: bool) -> flask.Response:
        piece = pages.nothing if found == "nothing" else pages.busy
        reply = _html(pages.whole(piece) if whole else piece, 404 if found == "nothing" else 429)
        if found == "busy":
            reply.headers["Retry-After"] = "60"
        return reply

    def opened(code: str, document: Document) -> str:
        return pages.opened(document, code, show.page(document, link(base, code)))

    @app.get("/v")
    def shell() -> flask.Response:
        return _html(pages.shell)

    @app.post("/v/open")
    def piece() -> flask.Response:
        found = desk.look()
        if isinstance(found, str):
            return answer(found, whole=False)
        return _html(opened(*found))

    @app.post("/v")
    def typed() -> flask.Response:
        found = desk.look()
        if isinstance(found, str):
            return answer(found, whole=True)
        return _html(pages.whole(opened(*found), found[1].title))

    @app.post("/v/paper")
    def paper() -> flask.Response:
        found = desk.look()
        if isinstance(found, str):
            return answer(found, whole=True)
        code, document = found
        data = show.paper(document, link(base, code))
        reply = flask.Response(data, mimetype="application/pdf")
        # A name of our own making: nothing that was typed reaches a header.
        reply.headers["Content-Disposition"] = (
            f'attachment; filename="{document.kind.value}-{token_hash(code)[:8]}.pdf"'
        )
        return reply


def _typed() -> str:
    """The one `code` of a form. Whatever else was sent is as good as a wrong code."""
    request = flask.request
    try:
        form = request.form
        codes = form.getlist("code")
        return codes[0] if len(codes) == 1 and len(form) == 1 and not request.files else ""
    except RequestEntityTooLarge:
        return ""


# Publishing


def _writers(app: flask.Flask, folder: PublishedFolder, bearer: str | None, tries: Bucket) -> None:
    def let_in(name: str) -> flask.Response | None:
        if bearer is None:
            flask.abort(404)
        if not tries.take():
            reply = _json("busy", 429)
            reply.headers["Retry-After"] = "60"
            return reply
        given = flask.request.headers.get("Authorization", "")
        # Hashes are compared, so that neither the length nor the place of the first wrong letter shows in the
        # time.
        wanted, came = (
            hashlib.sha256(text.encode("utf-8", "surrogateescape")).digest()
            for text in (f"Bearer {bearer}", given)
        )
        if not hmac.compare_digest(wanted, came):
            reply = _json("unknown key", 401)
            reply.headers["WWW-Authenticate"] = "Bearer"
            return reply
        tries.give_back()
        if not is_token_hash(name):
            return _json("no token hash", 400)
        flask.g.hash = name[:8]
        return None

    @app.put("/published/<name>")
    def publish(name: str) -> flask.Response:
        refusal = let_in(name)
        if refusal is not None:
            return refusal
        try:
            answer = folder.put(name, flask.request.get_data(cache=False))
        except PublishError as error:
            return _json("refused", 503 if error.later else 409 if error.taken else 400)
        return _json(answer, 201 if answer == "new" else 200)

    @app.delete("/published/<name>")
    def withdraw(name: str) -> flask.Response:
        refusal = let_in(name)
        if refusal is not None:
            return refusal
        folder.withdraw(name)
        return _json("withdrawn", 200)


# The rest


def _small_things(app: flask.Flask, pages: _Pages) -> None:
    @app.get("/")
    def root() -> flask.Response:
        return flask.Response(status=302, headers={"Location": "/v"})

    @app.get("/robots.txt")
    def robots() -> flask.Response:
        return flask.Response("User-agent: *\nDisallow: /\n", mimetype="text/plain")

    @app.get("/v/mark.svg")
    @app.get("/favicon.ico")
    def mark() -> flask.Response:
        return _lasting(flask.Response(pages.mark, mimetype="image/svg+xml"))

    @app.get("/v/face/<name>.ttf")
    def face(name: str) -> flask.Response:
        if name not in _FACES:
            flask.abort(404)
        data, small = _face(name)
        packed = flask.request.accept_encodings.quality("gzip") > 0
        reply = flask.Response(small if packed else data, mimetype="font/ttf")
        reply.headers["Vary"] = "Accept-Encoding"
        if packed:
            reply.headers["Content-Encoding"] = "gzip"
        return _lasting(reply)


def _lasting(reply: flask.Response) -> flask.Response:
    """A face and the mark say nothing about anybody; a phone may keep them."""
    reply.headers["Cache-Control"] = "public, max-age=31536000, immutable"
    return reply


@lru_cache(maxsize=len(_FACES))
def _face(name: str) -> tuple[bytes, bytes]:
    data = (resources.files("fontpkg_fira_sans") / "files" / _FACES[name]).read_bytes()
    return data, gzip.compress(data, 9, mtime=0)


def _html(text: str, status: int = 200) -> flask.Response:
    return flask.Response(text, status=status, mimetype="text/html")


def _json(answer: str, status: int) -> flask.Response:
    return flask.Response(f'{{"answer": "{answer}"}}\n', status=status, mimetype="application/json")


def bare_host(header: str) -> str:
    """The name in a Host header, in small letters and without port and final dot; empty when it is none."""
    found = _HOST.fullmatch(header)
    return found[1].lower().removesuffix(".") if found else ""


def _hash_of(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}'"


def _inside(tag: str, text: str) -> str:
    """Style or script as it stands inside its element; a browser hashes the text after making every line end
    a LF.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if f"</{tag}" in text.lower() or "<!--" in text:
        raise ServeError(
            f"The page's {tag} holds </{tag} or <!--, which would end or hide it; write it otherwise."
        )
    return text


def _place_of(error: BaseException) -> str:
    step = error.__traceback__
    while step is not None and step.tb_next is not None:
        step = step.tb_next
    return f"{Path(step.tb_frame.f_code.co_filename).name}:{step.tb_lineno}" if step is not None else "-"
