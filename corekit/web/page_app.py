"""The page behind the code: a small server of published documents, and of nothing else.

`GET /v` is one page for everybody. Its own script reads the token from the fragment and posts it to
`/v/open`; without scripts a person types the 26 characters, which posts the form to `/v`. `/v/paper` gives
the masked PDF. `PUT /published/<token hash>` takes a document from the shop, `DELETE` takes it down.

Whatever is wrong with a token, the answer is one and the same. Rules from W3C TAG, Good Practices for
Capability URLs, and OWASP ASVS 5.0.0 (chapters 1 to 4, 11, 14 to 16); the tests name the items.
"""

from __future__ import annotations

import gzip
import hashlib
import hmac
import logging
import time
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

import attrs
import flask
import jinja2
from werkzeug.exceptions import HTTPException, MethodNotAllowed, RequestEntityTooLarge

from ..languages import ENGLISH
from ..model.canonical import canonical
from ..reference import data_path
from ..report.tongue import language_asked
from ..share.answer import sealed_answer
from ..share.link import DEMO_BASE, base_problem, is_token_hash, link, read_token, token_hash
from ..share.published import (
    LARGEST,
    FileVersion,
    PublishedFolder,
    PublishedPage,
    PublishError,
    check_bearer,
)
from .address import bare_host
from .finished import Body, Finished, FinishedPages, Front
from .page_templates import PageTemplates, Renderers, language_of, masked_renderers
from .rate_limit import RateLimit, TokenBucket
from .server import ServeError
from .wsgi import ARMOUR

log = logging.getLogger("corekit.share")

#: A form with one code in it, room for what people type between the letters, and an answer to an estimate.
_FORM_BYTES = 1024
_FACES = {"regular": "FiraSans-Regular.ttf", "semibold": "FiraSans-SemiBold.ttf"}
_METHODS = {"GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS"}


def page_app(
    folder: PublishedFolder,
    *,
    bearer: str | None,
    demo: bool,
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
    base: str = "",
    hosts: Iterable[str] = (),
    language: str = ENGLISH,
    templates: Path | None = None,
    renderers: Renderers | None = None,
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
        language: Of what stands around documents, where a browser asks for none that there is.
        templates: A folder with the shop's own `shell.html` and the others; corekit's own when left away.
        renderers: How a Document is shown; as `corekit.report` does it when left away.
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
    renderers = renderers or masked_renderers()
    try:
        pages = PageTemplates(templates or data_path("templates/open"), renderers.css(), demo=demo)
    except (OSError, jinja2.TemplateError) as why:
        raise ServeError(f"A file of the page's templates cannot be used: {why}") from why

    app = flask.Flask("corekit.share", static_folder=None, template_folder=None)
    app.config.update(MAX_CONTENT_LENGTH=LARGEST, MAX_FORM_MEMORY_SIZE=_FORM_BYTES, MAX_FORM_PARTS=64)
    app.url_map.strict_slashes = False
    allowed = {
        "127.0.0.1",
        "localhost",
        "[::1]",
        bare_host(urlsplit(base).netloc),
        *map(bare_host, hosts),
    } - {""}
    armour = app.config[ARMOUR] = _armour(pages.policy, secure=base.startswith("https://"))
    lookup = _Lookup(folder, RateLimit(clock), now, FinishedPages(folder))
    shells = {code: Body.of(text) for code, text in pages.shells.items()}

    def asked() -> str:
        return language_asked(flask.request.headers.get("Accept-Language", ""), language)

    _add_guards(app, pages, allowed, armour, asked)
    _add_readers(app, pages, renderers, base, lookup, asked)

    @app.get("/v")
    def empty_page() -> flask.Response:
        """Stands here so that the application knows of it; what stands in front of it answers."""
        return _body(shells[asked()])

    _add_writers(app, folder, bearer, TokenBucket(20, 1, clock))
    _add_files(app, pages)
    front = Front(
        pages=lookup.finished,
        shell=lambda header: shells[language_asked(header, language)],
        armour=armour,
        now=now,
        hosts=frozenset(allowed),
        noted=lambda *what: log.info("%s %s %d %s", *what),
    )
    app.wsgi_app = front.before(app.wsgi_app)  # type: ignore[assignment, method-assign]
    return app


# What every request goes through


def _armour(policy: str, *, secure: bool) -> list[tuple[str, str]]:
    """The headers that every answer carries."""
    return [
        ("Content-Security-Policy", policy),
        ("X-Content-Type-Options", "nosniff"),
        ("Referrer-Policy", "no-referrer"),
        ("X-Robots-Tag", "noindex, nofollow"),
        ("Cross-Origin-Opener-Policy", "same-origin"),
        ("Cross-Origin-Resource-Policy", "same-origin"),
        *([("Strict-Transport-Security", "max-age=31536000")] if secure else []),
    ]


def _add_guards(
    app: flask.Flask,
    pages: PageTemplates,
    allowed: set[str],
    armour: list[tuple[str, str]],
    asked: Callable[[], str],
) -> None:
    @app.before_request
    def right_host() -> flask.Response | None:
        if bare_host(flask.request.environ.get("HTTP_HOST", "")) in allowed:
            return None
        return _html(
            pages.trouble("Not here.", "This page answers under its own address only.", asked()), 421
        )

    @app.errorhandler(Exception)
    def trouble(error: Exception) -> flask.Response:
        if isinstance(error, HTTPException):
            status = error.code or 500
            heading, words = _WORDS.get(status, _WORDS[400] if status < 500 else _WORDS[500])
            answer = _html(pages.trouble(heading, words, asked()), status)
            if isinstance(error, MethodNotAllowed) and error.valid_methods:
                answer.headers["Allow"] = ", ".join(sorted(error.valid_methods))
            return answer
        # Type and place, never the message: it may hold what was looked at.
        log.error("failed: %s at %s", type(error).__name__, _place_of(error))
        return _html(pages.trouble(*_WORDS[500], asked()), 500)

    @app.after_request
    def security_headers(answer: flask.Response) -> flask.Response:
        for name, value in armour:
            answer.headers[name] = value
        answer.headers.setdefault("Cache-Control", "no-store")
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
class _Lookup:
    """Where codes are looked up, and what was made of what they open."""

    folder: PublishedFolder
    limit: RateLimit
    now: Callable[[], datetime]
    finished: FinishedPages

    def result(
        self, made: Callable[[str, PublishedPage, FileVersion], Finished], besides: str = ""
    ) -> tuple[str, Finished] | Literal["nothing", "busy"]:
        """The code in the request and what is finished under it; `made` of what was published, where that was
        not done yet.

        Whatever is wrong with a code, the result is `nothing`. Only wrong ones are counted, so a flood of
        them keeps nobody with a right one out: of 128 bits nothing is learned by guessing on.
        """
        code = read_token(_form_code(besides))
        if code is not None:
            name = token_hash(code)
            flask.g.hash = name[:8]
            finished = self.finished.get(name, self.now()) or self._finished_page(code, name, made)
            if finished is not None:
                return code, finished
        return "nothing" if self.limit.take(flask.request.remote_addr or "") else "busy"

    def _finished_page(
        self, code: str, name: str, made: Callable[[str, PublishedPage, FileVersion], Finished]
    ) -> Finished | None:
        version = self.folder.version(name)  # before the file is read, so that a newer one is noticed
        published = self.folder.get(name, self.now())
        if published is None or version is None:
            return None
        finished = made(code, published, version)
        self.finished.keep(name, finished)
        return finished


def _add_readers(
    app: flask.Flask,
    pages: PageTemplates,
    renderers: Renderers,
    base: str,
    lookup: _Lookup,
    asked: Callable[[], str],
) -> None:
    def refusal(reason: Literal["nothing", "busy"], *, as_page: bool) -> flask.Response:
        language = asked()
        piece = pages.nothing[language] if reason == "nothing" else pages.busy[language]
        reply = _html(
            pages.page(piece, language=language) if as_page else piece, 404 if reason == "nothing" else 429
        )
        if reason == "busy":
            reply.headers["Retry-After"] = "60"
        return reply

    def made(code: str, published: PublishedPage, version: FileVersion) -> Finished:
        document = published.document
        piece = pages.opened(document, code, renderers.page(document, link(base, code)))
        return Finished(
            version=version,
            expires=published.expires,
            kind=document.kind,
            piece=Body.of(piece),
            page=Body.of(pages.page(piece, document.title, language_of(document))),
        )

    @app.post("/v/open")
    def piece() -> flask.Response:
        result = lookup.result(made)
        return refusal(result, as_page=False) if isinstance(result, str) else _body(result[1].piece)

    @app.post("/v")
    def page() -> flask.Response:
        result = lookup.result(made)
        return refusal(result, as_page=True) if isinstance(result, str) else _body(result[1].page)

    @app.post("/v/answer")
    def answer() -> flask.Response:
        """A customer's own word on an estimate, given once."""
        words = tuple(flask.request.form.getlist("word"))
        result = lookup.result(made, besides="word")
        if isinstance(result, str):
            return refusal(result, as_page=True)
        code = result[0]
        published = lookup.folder.get(token_hash(code), lookup.now())
        if published is None:  # withdrawn or over since it was looked up
            return refusal("nothing", as_page=True)
        language = language_of(published.document)
        try:
            sealed = sealed_answer(published.document, code, words, lookup.now())
        except ValueError:
            words_of = ("That is no answer yet.", "Say yes or no to each piece of work.")
            return _html(pages.trouble(*words_of, language), 400)
        first = lookup.folder.answer(token_hash(code), sealed)
        return _html(pages.trouble(*_ANSWERED[first], language))

    @app.post("/v/paper")
    def paper() -> flask.Response:
        result = lookup.result(made)
        if isinstance(result, str):
            return refusal(result, as_page=True)
        code, finished = result
        if not finished.paper:
            published = lookup.folder.get(token_hash(code), lookup.now())
            if published is None:  # withdrawn or over since it was looked up
                return refusal("nothing", as_page=True)
            finished.paper = renderers.paper(published.document, link(base, code))
            lookup.finished.keep(token_hash(code), finished)
        reply = flask.Response(finished.paper, mimetype="application/pdf")
        # A name of our own making: nothing that was typed reaches a header.
        reply.headers["Content-Disposition"] = (
            f'attachment; filename="{finished.kind.value}-{token_hash(code)[:8]}.pdf"'
        )
        return reply


_ANSWERED = {
    True: ("Your answer is kept.", "The shop fetches it from here. Another one is given to the shop itself."),
    False: (
        "This estimate was answered already.",
        "The first answer stands. Tell the shop yourself if you think otherwise now.",
    ),
}


def _form_code(besides: str = "") -> str:
    """The one `code` of a form. Whatever else was sent, but fields named `besides`, is as good as a wrong
    code.
    """
    request = flask.request
    try:
        form = request.form
        codes = form.getlist("code")
        return codes[0] if len(codes) == 1 and set(form) <= {"code", besides} and not request.files else ""
    except RequestEntityTooLarge:
        return ""


# Publishing


def _add_writers(app: flask.Flask, folder: PublishedFolder, bearer: str | None, tries: TokenBucket) -> None:
    def key_refusal(name: str) -> flask.Response | None:
        if bearer is None:
            flask.abort(404)
        presented = flask.request.headers.get("Authorization", "")
        # Hashes are compared, so that neither the length nor the place of the first wrong letter shows in the
        # time.
        expected_hash, presented_hash = (
            hashlib.sha256(text.encode("utf-8", "surrogateescape")).digest()
            for text in (f"Bearer {bearer}", presented)
        )
        if not hmac.compare_digest(expected_hash, presented_hash):
            # Only wrong keys are counted: a stranger who keeps guessing keeps no shop out.
            if not tries.take():
                reply = _json("busy", 429)
                reply.headers["Retry-After"] = "60"
                return reply
            reply = _json("unknown key", 401)
            reply.headers["WWW-Authenticate"] = "Bearer"
            return reply
        if not is_token_hash(name):
            return _json("no token hash", 400)
        flask.g.hash = name[:8]
        return None

    @app.put("/published/<name>")
    def publish(name: str) -> flask.Response:
        refusal = key_refusal(name)
        if refusal is not None:
            return refusal
        try:
            answer = folder.put(name, flask.request.get_data(cache=False))
        except PublishError as error:
            return _json("refused", 503 if error.later else 409 if error.taken else 400)
        return _json(answer, 201 if answer == "new" else 200)

    @app.get("/published/<name>")
    def answered(name: str) -> flask.Response:
        refusal = key_refusal(name)
        if refusal is not None:
            return refusal
        kept = folder.answer_of(name)
        return flask.Response(
            canonical({"answer": kept.decode("utf-8") if kept else ""}), mimetype="application/json"
        )

    @app.delete("/published/<name>")
    def withdraw(name: str) -> flask.Response:
        refusal = key_refusal(name)
        if refusal is not None:
            return refusal
        folder.withdraw(name)
        return _json("withdrawn", 200)


# The rest


def _add_files(app: flask.Flask, pages: PageTemplates) -> None:
    @app.get("/")
    def root() -> flask.Response:
        return flask.Response(status=302, headers={"Location": "/v"})

    @app.get("/robots.txt")
    def robots() -> flask.Response:
        return flask.Response("User-agent: *\nDisallow: /\n", mimetype="text/plain")

    @app.get("/v/mark.svg")
    @app.get("/favicon.ico")
    def mark() -> flask.Response:
        return _cached_for_a_year(flask.Response(pages.mark, mimetype="image/svg+xml"))

    @app.get("/v/face/<name>.woff2")
    def latin_face(name: str) -> flask.Response:
        if name not in _FACES:
            flask.abort(404)
        return _cached_for_a_year(flask.Response(_latin_face(name), mimetype="font/woff2"))

    @app.get("/v/face/<name>.ttf")
    def face(name: str) -> flask.Response:
        if name not in _FACES:
            flask.abort(404)
        data, compressed = _face(name)
        takes_gzip = flask.request.accept_encodings.quality("gzip") > 0
        reply = flask.Response(compressed if takes_gzip else data, mimetype="font/ttf")
        reply.headers["Vary"] = "Accept-Encoding"
        if takes_gzip:
            reply.headers["Content-Encoding"] = "gzip"
        return _cached_for_a_year(reply)


def _cached_for_a_year(reply: flask.Response) -> flask.Response:
    """A face and the mark say nothing about anybody; a phone may keep them."""
    reply.headers["Cache-Control"] = "public, max-age=31536000, immutable"
    reply.add_etag()
    reply.make_conditional(flask.request)
    return reply


@lru_cache(maxsize=len(_FACES))
def _face(name: str) -> tuple[bytes, bytes]:
    data = (resources.files("fontpkg_fira_sans") / "files" / _FACES[name]).read_bytes()
    return data, gzip.compress(data, 9, mtime=0)


def _html(text: str, status: int = 200) -> flask.Response:
    return flask.Response(text, status=status, mimetype="text/html")


@lru_cache(maxsize=len(_FACES))
def _latin_face(name: str) -> bytes:
    """The Latin letters, figures and signs of a face, without hinting; WOFF2 is packed in itself."""
    return (data_path("templates/open") / f"{name}.woff2").read_bytes()


def _body(body: Body) -> flask.Response:
    data, headers = body.answer(flask.request.headers.get("Accept-Encoding", ""))
    return flask.Response(data, headers=headers)


def _json(answer: str, status: int) -> flask.Response:
    """An answer to a program; of what went wrong a problem as RFC 9457 describes them."""
    if status < 400:
        return flask.Response(f'{{"answer": "{answer}"}}\n', status=status, mimetype="application/json")
    problem = {
        "answer": answer,
        "detail": _PROBLEMS[answer],
        "status": status,
        "title": answer.capitalize(),
        "type": f"/problems/{answer.replace(' ', '-')}",
    }
    return flask.Response(canonical(problem) + b"\n", status=status, mimetype="application/problem+json")


#: What a publishing shop may be told, and what to do about it; DEVELOPERS.md lists them.
_PROBLEMS = {
    "busy": "Too many wrong keys came in. Try again in a minute.",
    "unknown key": "This server does not know the key for publishing. Set the same one on both sides.",
    "no token hash": "A document is published under 64 hexadecimal figures.",
    "refused": "The document cannot be read, its link is in use or was withdrawn, or the disk refuses.",
}


def _place_of(error: BaseException) -> str:
    step = error.__traceback__
    while step is not None and step.tb_next is not None:
        step = step.tb_next
    return f"{Path(step.tb_frame.f_code.co_filename).name}:{step.tb_lineno}" if step is not None else "-"
