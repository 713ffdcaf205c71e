"""The office in a browser: jobs, search, day plan, debts and papers over all vans, by role.

Who signs in has a session of half a day, an hour of it unused at most, in a cookie that no script reads and
no other site sends (SameSite=Strict); what changes something is sent by a page of the office alone and
carries the session's own word besides. OWASP ASVS 5.0, chapters 3, 6 and 7; the tests name the items. No page
has a script. Pages are made in English and said in the hub's language on their way out; what people typed
stays.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable, Collection
from typing import Any

import attrs
import flask
import jinja2

from ..languages import ENGLISH
from ..reference import data_path
from ..report.dates import day_words
from ..report.tongue import Tongue, in_tongue, own_words, tongue_of
from ..sync.message import OFFICE
from ..web.address import bare_host, is_from_page_of
from ..web.rate_limit import LoginThrottle
from . import desk, devices, people, sessions
from .app import Hub, language_of
from .errors import HubError
from .people import Person, Role

#: The session; the mark of a browser in which somebody signed in before, kept for a year.
_COOKIE, _BROWSER = "corekit-office", "corekit-office-browser"
_A_YEAR = 365 * 24 * 3600  # s
_LONGEST_NAME = 200


def add_office(
    app: flask.Flask, hub: Hub, clock: Callable[[], float], *, names: Collection[str] = ()
) -> None:
    """Add the office's pages to the hub's application.

    Args:
        clock: For the limit on wrong passcodes. names: Under which a proxy in front answers with TLS; with
            one, browsers send the cookies on such lines only.
    """
    tls = bool(names)
    pages = jinja2.Environment(
        loader=jinja2.FileSystemLoader(data_path("templates/office")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    pages.filters["day"] = day_words
    style = (data_path("templates/office") / "office.css").read_text("utf-8")
    throttle = LoginThrottle(clock)
    session_cookie, browser_cookie = (f"__Host-{name}" if tls else name for name in (_COOKIE, _BROWSER))

    def page(name: str, person: Person | None, status: int = 200, **values: Any) -> flask.Response:
        text = pages.get_template(name).render(
            person=person,
            guard=_guard(hub, carried()) if person else "",
            role=str(person.role) if person else "",
            **values,
        )
        return flask.Response(text, status=status, mimetype="text/html")

    def carried() -> str:
        return flask.request.cookies.get(session_cookie, "")

    def keep(answer: flask.Response, name: str, value: str, seconds: int) -> None:
        answer.set_cookie(
            name, value, max_age=seconds, httponly=True, samesite="Strict", secure=tls, path="/"
        )

    def let_in(answer: flask.Response, person: Person) -> flask.Response:
        """The answer, with a session of its own in place of the one there was (OWASP ASVS 5.0, 7.2.4)."""
        token = sessions.begun(hub, person.name, carried())
        keep(answer, session_cookie, token, sessions.LONGEST)
        keep(answer, browser_cookie, _browser_mark(hub, person.name), _A_YEAR)
        return answer

    def who(*roles: Role, choosing: bool = False) -> Person:
        """Who asks, if they have one of these roles; else the door is shown, or that there is nothing.

        Args:
            choosing: Also somebody who has still to choose a passcode.
        """
        person = sessions.who_carries(hub, carried())
        if person is None:
            flask.abort(flask.redirect("/office/door", 303))
        if person.drawn and not choosing:
            flask.abort(flask.redirect("/office/passcode", 303))
        if roles and person.role not in roles:
            flask.abort(page("trouble.html", person, 403, words="Your role shows nothing here."))
        return person

    def changing(*roles: Role, choosing: bool = False) -> Person:
        person = who(*roles, choosing=choosing)
        word = flask.request.form.get("guard", "").encode("utf-8", "surrogatepass")
        if not hmac.compare_digest(word, _guard(hub, carried()).encode()):
            flask.abort(
                page("trouble.html", person, 403, words="This page was too old. Go back and try again.")
            )
        return person

    def wait_of(name: str) -> tuple[float, Callable[[], None]]:
        """How long this browser has to wait before another passcode of this name is looked at, [s], and what
        to call once one was right. A browser in which the person signed in before waits for its own mistakes
        alone.
        """
        mark = flask.request.cookies.get(browser_cookie, "")
        known = _is_browser_of(hub, mark, name)
        sender = mark if known else f"{flask.request.remote_addr} {name.strip().casefold()}"
        return throttle.take(sender, known=known), lambda: throttle.forgive(sender, known=known)

    @app.before_request
    def from_own_page() -> flask.Response | None:
        request = flask.request
        if request.method in ("GET", "HEAD", "OPTIONS") or not request.path.startswith("/office"):
            return None
        if is_from_page_of(_own_origins(names)):
            return None
        words = "This was not sent from a page of the office, so nothing was done."
        return page("trouble.html", None, 403, words=words)

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
        name, passcode = (flask.request.form.get(key, "") for key in ("name", "passcode"))
        name = name[:_LONGEST_NAME]
        wait, forgive = wait_of(name)
        if wait:
            return page("door.html", None, 429, fault=f"Too many tries. Wait {wait:.0f} s.")
        person = people.signed_in(hub, name, passcode)
        if person is None:
            return page("door.html", None, 403, fault="This name and passcode do not belong together.")
        forgive()
        if people.is_too_old(hub, person):
            fault = "That passcode was for one day. Have another one drawn where the hub is kept."
            return page("door.html", None, 403, fault=fault)
        where = "/office/passcode" if person.drawn else "/office"
        return let_in(flask.Response(status=303, headers={"Location": where}), person)

    @app.get("/office/passcode")
    def passcode() -> flask.Response:
        return page("passcode.html", who(choosing=True), fault="")

    @app.post("/office/passcode")
    def choose() -> flask.Response:
        person = changing(choosing=True)
        wait, forgive = wait_of(person.name)
        if wait:
            return page("passcode.html", person, 429, fault=f"Too many tries. Wait {wait:.0f} s.")
        present, own, again = (flask.request.form.get(key, "") for key in ("present", "own", "again"))
        if fault := people.chosen_fault(hub, person, present, own, again):
            return page("passcode.html", person, 422, fault=fault)
        forgive()
        return let_in(flask.Response(status=303, headers={"Location": "/office"}), person)

    @app.post("/office/leave")
    def leave() -> flask.Response:
        changing(choosing=True)
        sessions.ended(hub, carried())
        answer = flask.Response(status=303, headers={"Location": "/office/door"})
        answer.headers["Clear-Site-Data"] = '"cache"'
        answer.delete_cookie(session_cookie, path="/", secure=tls, httponly=True, samesite="Strict")
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
        return page("find.html", who(Role.OFFICE, Role.MECHANIC), asked="", found=[])

    @app.post("/office/find")
    def look_for() -> flask.Response:
        """Words of customers stand in no address as they are: who keeps the proxy's log reads none of them
        (OWASP ASVS 5.0, 14.2.1).
        """
        changing(Role.OFFICE, Role.MECHANIC)
        asked = flask.request.form.get("q", "").strip()[:120]
        where = f"/office/found/{hub.key.sealed_words(asked)}" if asked else "/office/find"
        return flask.Response(status=303, headers={"Location": where})

    @app.get("/office/found/<sealed>")
    def found(sealed: str) -> flask.Response:
        person = who(Role.OFFICE, Role.MECHANIC)
        asked = _or_nothing(lambda: hub.key.opened_words(sealed))
        rows = desk.found_jobs(hub, person, asked, hub.clock().date())
        return page("find.html", person, asked=asked, found=rows)

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


def _own_origins(names: Collection[str]) -> set[str]:
    """Where a page of the office may lie that sends this request: under one of the names behind TLS, whatever
    host and port the proxy passes on; without one, where the request came to.
    """
    if not names:
        return {f"http://{flask.request.environ.get('HTTP_HOST', '')}"}
    told = flask.request.headers.get("Origin", "")
    return {told} if bare_host(told.removeprefix("https://")) in names else set()


def _guard(hub: Hub, token: str) -> str:
    """The word that a form of this session carries."""
    return _mac(hub, f"guard {token}")


def _browser_mark(hub: Hub, name: str) -> str:
    drawn = secrets.token_urlsafe(16)
    return f"{drawn}.{_mac(hub, f'browser {drawn} {name}')}"


def _is_browser_of(hub: Hub, mark: str, name: str) -> bool:
    drawn, _, mac = mark.partition(".")
    right = _mac(hub, f"browser {drawn} {name.strip()}")
    return hmac.compare_digest(mac.encode("utf-8", "replace"), right.encode())


def _mac(hub: Hub, told: str) -> str:
    text = told.encode("utf-8", "surrogatepass")
    return hmac.new(hub.key.session_secret(), text, hashlib.sha256).hexdigest()[:32]
