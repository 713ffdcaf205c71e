"""The screens' application: what every page shares, and the one place where answers come in.

Each step of a visit has a module under `screens`; it adds its pages with `add(app, van)`. What it asks is
made from declarations.
"""

from __future__ import annotations

import gzip
import json
import logging
import re
from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Protocol

import attrs
import flask
import jinja2
from markupsafe import Markup
from werkzeug.exceptions import HTTPException

from ..desk.rows import add_rows
from ..desk.shown_units import in_units_of
from ..errors import CorekitError
from ..languages import screen_language
from ..model.job import Job
from ..reference import data_path
from ..report.page import page_css
from ..report.wording import theme
from ..visit import fields
from ..visit.progress import TITLES, Step, standing
from ..visit.unit_keys import shop_first
from ..web.address import own_path
from . import forms
from .all import add_screens
from .arrive import hazards_first
from .context import Van
from .forms import Wrong, form_with_faults, redirect
from .language import Spoken
from .repair import repaired_place
from .shop import FirstRun, first_app

log = logging.getLogger("corekit.screens")

LARGEST = 12 * 1024 * 1024  # bytes of one request: a photo as a phone takes it
_FIELDS_BYTES = 256 * 1024  # of everything typed in one form, a drawn signature among it
_FACES = {"regular": "FiraSans-Regular.ttf", "semibold": "FiraSans-SemiBold.ttf"}
_KEPT_FILES = {
    "work.css": "text/css",
    "work.js": "text/javascript",
    "queue.js": "text/javascript",
    "sw.js": "text/javascript",
    "mark.svg": "image/svg+xml",
}


class Auth(Protocol):
    """Who may come in; see `corekit.web.auth`."""

    def install(self, app: flask.Flask) -> None:
        """Add its pages and its guards to the application, and give templates `guard()`, the session's
        anti-forgery word.
        """


@attrs.frozen(kw_only=True)
class NoAuth:
    """Nobody is asked anything; for tests of the screens alone."""

    def install(self, app: flask.Flask) -> None:
        app.jinja_env.globals["guard"] = lambda: ""


def work_app(van: Van, auth: Auth, *, templates: Path | None = None) -> flask.Flask:
    """The application that serves the mechanic's screens."""
    spoken = Spoken(
        lambda: van.shop.settings.screen_language,
        folders=lambda: van.folders,
        names=lambda: van.names,
        titles=lambda: van.titles,
    )
    app = _frame(auth, van.shop.settings.issuer.name, van.shop.demo, templates, spoken)
    app.jinja_env.globals["practising"] = van.practice is not None
    _units(app, van)
    _answers(app, van)
    add_screens(app, van)
    _trouble(app)
    return app


def _units(app: flask.Flask, van: Van) -> None:
    """Every screen shows quantities, and offers units to tap, as the shop wants them."""
    app.jinja_env.globals["distances"] = lambda: shop_first(("km", "mi"))

    @app.before_request
    def enter() -> None:
        flask.g.units = ExitStack()
        flask.g.units.enter_context(in_units_of(van.shop.plugins))

    @app.teardown_request
    def leave(_: BaseException | None) -> None:
        if (entered := flask.g.pop("units", None)) is not None:
            entered.close()


def first_run_app(folder: Path, auth: Auth, shop_app: Callable[[], flask.Flask]) -> FirstRun:
    """What serves a folder without a shop: the screen that sets one up, then the shop's own.

    Args:
        shop_app: Opens the shop once it is written, and gives its screens.
    """
    spoken = Spoken(lambda: screen_language(flask.request.values.get("screen_language", "")), lambda: ())
    app = _frame(auth, "New shop", False, None, spoken)
    run = first_app(app, folder, shop_app)
    _trouble(app)
    return run


def _frame(auth: Auth, shop_name: str, demo: bool, templates: Path | None, spoken: Spoken) -> flask.Flask:
    """An application with what every screen rests on, and no screen yet."""
    app = flask.Flask(
        "corekit.screens",
        static_folder=None,
        template_folder=str(templates or data_path("templates/screens")),
    )
    app.config.update(MAX_CONTENT_LENGTH=LARGEST, MAX_FORM_MEMORY_SIZE=_FIELDS_BYTES, MAX_FORM_PARTS=400)
    app.url_map.strict_slashes = False
    app.jinja_env.undefined = jinja2.StrictUndefined
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    _words(app, shop_name, demo)
    spoken.install(app)  # before the rest: what is installed first has an answer last
    _files(app, spoken)
    auth.install(app)
    return app


def _words(app: flask.Flask, shop_name: str, demo: bool) -> None:
    """What templates can ask."""

    def given(place: str, otherwise: str = "") -> str:
        """What was typed into a field before the form came back."""
        form: Any = flask.g.get("given")
        return otherwise if form is None else str(form.get(place, otherwise))

    def ticked(place: str, otherwise: Sequence[str] = ()) -> Sequence[str]:
        """What was ticked of several before the form came back."""
        form: Any = flask.g.get("given")
        return otherwise if form is None else form.getlist(place)

    def faults(place: str) -> list[Wrong]:
        return [fault for fault in flask.g.get("faults", ()) if fault.place == place]

    def other_faults(places: list[str]) -> list[Wrong]:
        """The faults that stand beside none of these fields."""
        return [fault for fault in flask.g.get("faults", ()) if fault.place not in places]

    def screen() -> str:
        return str(flask.g.get("screen") or flask.request.full_path.rstrip("?"))

    app.jinja_env.filters.update(
        bound=bound,
        plain=lambda text: text.replace("`", ""),  # a declaration may be written as code is
        repaired_place=repaired_place,
    )
    app.jinja_env.globals.update(
        given=given,
        ticked=ticked,
        faults=faults,
        other_faults=other_faults,
        screen=screen,
        fresh_answer=forms.fresh_request_id,
        steps=list(Step),
        titles=TITLES,
        shop_name=shop_name,
        demo=demo,
        practising=False,
    )


_BEFORE_UNIT = re.compile(r"(?<=[0-9]) (?=[^\W\d]{1,3}\b|[°%Ω±])")


def bound(text: str) -> str:
    """A text whose numbers are not parted from their units at the end of a line.

    >>> bound("a load of 360 A; at 5 °C")
    'a load of 360\\xa0A; at 5\\xa0°C'
    """
    return _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", text)


def _answers(app: flask.Flask, van: Van) -> None:
    @app.post("/job/<job>/answer")
    def answer(job: str) -> flask.Response:
        """Rows of a visit file from a form; whatever they are, they are read by the reader of visit files."""
        try:
            recorded = add_rows(
                van.shop,
                job,
                fields.rows_of(forms.fields()),
                request_id=forms.request_id(),
                waited=forms.waiting_time(),
            )
        except CorekitError as error:
            return form_with_faults(error)
        # a button may lead on to somewhere else than its form does, and comes after it
        wanted = next(iter(flask.request.form.getlist("next")[::-1]), "")
        onward = own_path(wanted, f"/job/{recorded.job}")
        if any(entry.kind == "complaint" for entry in recorded.entries):
            onward = hazards_first(van, recorded.job, onward)
        return redirect(onward)

    @app.get("/job/<job>")
    def where(job: str) -> flask.Response:
        """On to where the visit stands."""
        record = van.job(job)
        found = standing(record, van.assessed(record), van.to_find_out)
        return redirect(f"/job/{job}/back" if found.away else step_path(record, found.step))


def step_path(job: Job, step: Step) -> str:
    """The address of a step's screen."""
    return f"/job/{job.id}/{step.value}"


def _files(app: flask.Flask, spoken: Spoken) -> None:
    folder = Path(str(app.template_folder))

    @app.get("/queue")
    def queue() -> str:
        """What the phone keeps until it can be sent; the server knows nothing of it."""
        return flask.render_template("queue.html")

    # What has no passcode before it answers these names and no others: what is not there is a screen too.
    @app.get(f"/<any({_quoted(_KEPT_FILES)}):name>")
    def kept(name: str) -> flask.Response:
        data = (folder / name).read_bytes()
        if name == "work.css":
            data = f":root {{ --ink: {theme().ink_text}; }}\n".encode() + data + page_css().encode()
        if name.endswith(".js"):
            data = spoken.script(data.decode("utf-8")).encode()
        return kept_file(data, _KEPT_FILES[name])

    @app.get("/work.webmanifest")
    def manifest() -> flask.Response:
        """How the screens are installed on a phone.

        It names the shop, so it is no file for everybody; a browser asks for it with its cookie, as the page
        says (`crossorigin="use-credentials"`).
        """
        data = (folder / "work.webmanifest").read_bytes()
        name = json.dumps(app.jinja_env.globals["shop_name"]).encode()
        return kept_file(data.replace(b'"<name>"', name), "application/manifest+json")

    def kept_file(data: bytes, mimetype: str) -> flask.Response:
        reply = flask.Response(data, mimetype=mimetype)
        reply.headers["Cache-Control"] = "no-cache"
        reply.add_etag()
        reply.make_conditional(flask.request)
        return reply

    @app.get(f"/face/<any({_quoted(_FACES)}):name>.ttf")
    def face(name: str) -> flask.Response:
        reply = flask.Response(
            _face(name), mimetype="font/ttf", headers={"Content-Encoding": "gzip", "Vary": "Accept-Encoding"}
        )
        reply.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return reply


def _quoted(names: Iterable[str]) -> str:
    """Names as a rule of addresses takes them."""
    return ",".join(f'"{name}"' for name in names)


@lru_cache(maxsize=len(_FACES))
def _face(name: str) -> bytes:
    return gzip.compress(
        (resources.files("fontpkg_fira_sans") / "files" / _FACES[name]).read_bytes(), 9, mtime=0
    )


def _trouble(app: flask.Flask) -> None:
    @app.errorhandler(Exception)
    def trouble(error: Exception) -> flask.Response:
        if isinstance(error, CorekitError):
            return _message("That is not there.", str(error), 404)
        if isinstance(error, HTTPException):
            heading, words = _WORDS.get(error.code or 500, _WORDS[400])
            return _message(heading, words, error.code or 500)
        log.exception("failed")
        return _message(*_WORDS[500], 500)

    def _message(heading: str, words: str, status: int) -> flask.Response:
        if forms.wants_json():
            return flask.Response(
                json.dumps({"faults": [{"place": "", "text": words, "asked": False, "guesses": []}]}),
                status,
                mimetype="application/json",
            )
        return flask.Response(
            flask.render_template("trouble.html", heading=heading, words=Markup.escape(words)), status
        )


_WORDS = {
    400: ("That could not be read.", "Go back and try again; nothing was changed."),
    404: ("There is nothing here.", "Go back to the list of jobs."),
    405: ("This does not work here.", "Go back to the list of jobs."),
    413: ("That is too large.", "A photo may have 12 MB. Nothing was changed."),
    500: (
        "Something went wrong here.",
        (
            "The fault is ours, and nothing that was saved is lost. Go back and look; if it happens again,"
            " the terminal helps to find the cause."
        ),
    ),
}
