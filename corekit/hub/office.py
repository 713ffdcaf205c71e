"""The office in a browser: jobs, search, day plan, debts and papers over all vans, by role.

Who signs in has a session of half a day in a cookie that no script reads and no other site sends
(SameSite=Strict); what changes something carries the session's own word besides. No page has a script.
Pages are made in English and said in the hub's language on their way out; what people typed stays.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Callable
from typing import Any

import attrs
import flask
import itsdangerous
import jinja2

from ..languages import ENGLISH
from ..reference import data_path
from ..report.dates import day_words
from ..report.tongue import Tongue, in_tongue, own_words, tongue_of
from ..sync.message import OFFICE
from ..web.rate_limit import LoginThrottle
from . import desk, devices, people
from .app import Hub, language_of
from .errors import HubError
from .people import Person, Role

_COOKIE = "corekit-office"
_LONGEST = 12 * 3600  # s
_THIS_DEVICE = ("127.0.0.1", "localhost", "[::1]")


def add_office(app: flask.Flask, hub: Hub, clock: Callable[[], float]) -> None:
    """Add the office's pages to the hub's application."""
    pages = jinja2.Environment(
        loader=jinja2.FileSystemLoader(data_path("templates/office")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    pages.filters["day"] = day_words
    style = (data_path("templates/office") / "office.css").read_text("utf-8")
    signer = itsdangerous.TimestampSigner(hub.key.session_secret(), salt="office")
    throttle = LoginThrottle(clock)

    def page(name: str, person: Person | None, status: int = 200, **values: Any) -> flask.Response:
        text = pages.get_template(name).render(
            person=person,
            guard=_guard(hub) if person else "",
            role=str(person.role) if person else "",
            **values,
        )
        return flask.Response(text, status=status, mimetype="text/html")

    def who(*roles: Role) -> Person:
        """Who asks, if they have one of these roles; else the door is shown, or that there is nothing."""
        person = _person(hub, signer)
        if person is None:
            flask.abort(flask.redirect("/office/door", 303))
        if roles and person.role not in roles:
            flask.abort(page("trouble.html", person, 403, words="Your role shows nothing here."))
        return person

    def changing(*roles: Role) -> Person:
        person = who(*roles)
        if not hmac.compare_digest(flask.request.form.get("guard", "").encode(), _guard(hub).encode()):
            flask.abort(
                page("trouble.html", person, 403, words="This page was too old. Go back and try again.")
            )
        return person

    @app.after_request
    def in_language(answer: flask.Response) -> flask.Response:
        if not flask.request.path.startswith("/office") or not (answer.mimetype or "").startswith("text/"):
            return answer
        tongue = None if answer.mimetype == "text/css" else _tongue(hub)
        if tongue is None:
            return answer
        typed, text = own_words(flask.request.form.values()), answer.get_data(as_text=True)
        is_page = answer.mimetype == "text/html"
        answer.set_data(in_tongue(text, tongue, typed) if is_page else tongue.said(text, typed))
        return answer

    @app.get("/office/style.css")
    def office_style() -> flask.Response:
        return flask.Response(style, mimetype="text/css")

    @app.get("/favicon.ico")
    def icon() -> flask.Response:
        """Browsers ask for one of their own accord; there is none."""
        return flask.Response(status=204)

    @app.get("/")
    def root() -> flask.Response:
        return flask.Response(status=302, headers={"Location": "/office"})

    @app.get("/office/door")
    def door() -> flask.Response:
        return page("door.html", None, fault="")

    @app.post("/office/door")
    def sign_in() -> flask.Response:
        name = flask.request.form.get("name", "")[:200]
        sender = f"{flask.request.remote_addr} {name.strip().casefold()}"
        if wait := throttle.take(sender, known=False):
            return page("door.html", None, 429, fault=f"Too many tries. Wait {wait:.0f} s.")
        person = people.signed_in(hub, name, flask.request.form.get("passcode", "")[:200])
        if person is None:
            return page("door.html", None, 403, fault="This name and passcode do not belong together.")
        throttle.forgive(sender, known=False)
        answer = flask.Response(status=303, headers={"Location": "/office"})
        value = signer.sign(f"{people.mark_of_person(hub, person.name)}|{person.name}".encode()).decode()
        answer.set_cookie(
            _COOKIE,
            value,
            max_age=_LONGEST,
            httponly=True,
            samesite="Strict",
            secure=flask.request.host.partition(":")[0] not in _THIS_DEVICE,
            path="/office",
        )
        return answer

    @app.post("/office/leave")
    def leave() -> flask.Response:
        changing()
        answer = flask.Response(status=303, headers={"Location": "/office/door"})
        answer.delete_cookie(_COOKIE, path="/office")
        return answer

    @app.get("/office")
    def jobs() -> flask.Response:
        person = who()
        if person.role is Role.BOOKKEEPER:
            return flask.Response(status=303, headers={"Location": "/office/debts"})
        return page(
            "jobs.html",
            person,
            open_ones=desk.open_jobs(hub, person),
            closed=desk.closed_jobs(hub, person),
            disputed=desk.disputed_jobs(hub, person),
        )

    @app.get("/office/find")
    def find() -> flask.Response:
        person = who(Role.OFFICE, Role.MECHANIC)
        asked = flask.request.args.get("q", "").strip()[:120]
        found = desk.found_jobs(hub, person, asked, hub.clock().date()) if asked else []
        return page("find.html", person, asked=asked, found=found)

    @app.get("/office/day")
    def day() -> flask.Response:
        person = who(Role.OFFICE, Role.MECHANIC)
        now, later = desk.day_plan(hub, person, hub.clock().date())
        return page("day.html", person, now=now, later=later)

    @app.get("/office/debts")
    def debts() -> flask.Response:
        person = who(Role.OFFICE, Role.BOOKKEEPER)
        return page("money.html", person, title="Not paid yet", found=desk.debts(hub, person))

    @app.get("/office/papers")
    def papers() -> flask.Response:
        person = who(Role.OFFICE, Role.BOOKKEEPER)
        return page("money.html", person, title="Invoices", found=desk.invoices(hub, person))

    @app.get("/office/paper/<entry>")
    def paper(entry: str) -> flask.Response:
        person = who()
        number, drawn = _or_nothing(lambda: desk.paper(hub, person, entry))
        answer = flask.Response(drawn, mimetype="application/pdf")
        name = "".join(
            char if char.isascii() and (char.isalnum() or char in "-_") else "_" for char in number
        )
        answer.headers["Content-Disposition"] = f'attachment; filename="{name}.pdf"'
        return answer

    @app.get("/office/job/<id_>")
    def job(id_: str) -> flask.Response:
        person = who(Role.OFFICE, Role.MECHANIC)
        return page("job.html", person, job=_or_nothing(lambda: desk.job(hub, person, id_)), vans=_vans(hub))

    @app.post("/office/job/<id_>/hand")
    def hand(id_: str) -> flask.Response:
        person = changing(Role.OFFICE)
        desk.hand(hub, person, id_, flask.request.form.get("van", ""))
        return flask.Response(status=303, headers={"Location": f"/office/job/{id_}"})

    @app.get("/office/call")
    def call() -> flask.Response:
        person = who(Role.OFFICE)
        return page("call.html", person, said=desk.Call(), vans=_vans(hub), fault="")

    @app.post("/office/call")
    def take_call() -> flask.Response:
        person = changing(Role.OFFICE)
        said = desk.Call(**{name: flask.request.form.get(name, "") for name in attrs.fields_dict(desk.Call)})
        try:
            id_ = desk.take_call(hub, person, said)
        except HubError as error:
            return page("call.html", person, 422, said=said, vans=_vans(hub), fault=str(error))
        return flask.Response(status=303, headers={"Location": f"/office/job/{id_}"})


def _tongue(hub: Hub) -> Tongue | None:
    """What says the office's pages; None for English, and where the database cannot say which language."""
    try:
        language = language_of(hub)
    except HubError:
        return None
    return tongue_of(language) if language != ENGLISH else None


def _or_nothing(ask: Callable[[], Any]) -> Any:
    """What is there and may be seen; one answer for what is not there and what may not be seen."""
    try:
        return ask()
    except HubError:
        flask.abort(404)


def _vans(hub: Hub) -> list[tuple[str, str]]:
    with hub.database.line() as line:
        known = devices.devices(line)
    return [(one.letters, one.name) for one in known if not one.revoked and one.letters != OFFICE]


def _person(hub: Hub, signer: itsdangerous.TimestampSigner) -> Person | None:
    try:
        told = signer.unsign(flask.request.cookies.get(_COOKIE, ""), max_age=_LONGEST).decode()
    except (itsdangerous.BadSignature, UnicodeDecodeError):
        return None
    mark, _, name = told.partition("|")
    return people.person_named(hub, name, mark)


def _guard(hub: Hub) -> str:
    """The word that a form of this session carries."""
    cookie = flask.request.cookies.get(_COOKIE, "")
    return hmac.new(hub.key.session_secret(), f"guard {cookie}".encode(), hashlib.sha256).hexdigest()[:32]
