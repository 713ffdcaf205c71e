"""How a form comes in and what goes back: an answer is taken and leads on, or the same screen comes again
with every fault beside its field.

A browser without our script gets pages; the script asks for JSON and gets `next`, or `faults`.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import urlsplit

import attrs
import flask
from werkzeug.exceptions import HTTPException

from ..desk.errors import DataFault, RequestConflictError, VisitError
from ..model.entry import REQUEST_ID
from ..visit.fields import FieldError
from ..web.address import own_path

#: Fields of a form that are about the form itself and no rows.
OWN_FIELDS = frozenset({"answer", "guard", "screen", "next", "kept"})


@attrs.frozen(kw_only=True)
class Wrong:
    """One fault of a form: the field's name ("" for the form as a whole), what is wrong and what to do.

    Attributes:
        asked: It is odd and may be right all the same: `confirmed` makes it so. guesses: What was probably
            meant.
    """

    place: str
    text: str
    asked: bool = False
    guesses: tuple[str, ...] = ()


def fresh_request_id() -> str:
    """An id for a request, for a form that no script gives one."""
    return secrets.token_urlsafe(18)


def request_id() -> str:
    """The id of the request that the form brought.

    Raises:
        FieldError: it is none.
    """
    id_ = flask.request.form.get("answer", "")
    if not REQUEST_ID.fullmatch(id_):
        raise FieldError(
            "The form came without its id, so a second copy of it could not be recognised. Load the page"
            " again and answer once more."
        )
    return id_


def waiting_time() -> float:
    """How long the form waited on the phone, [s]; 0 where nothing sensible is said."""
    said = flask.request.form.get("kept", "")
    return float(said) if re.fullmatch(r"[0-9]{1,7}", said) else 0.0


def fields() -> Iterator[tuple[str, str]]:
    """The fields of the form that are rows."""
    for name, text in flask.request.form.items(multi=True):
        if name not in OWN_FIELDS:
            yield name, text


def wants_json() -> bool:
    return flask.request.accept_mimetypes.best_match(["text/html", "application/json"]) == "application/json"


def redirect(path: str) -> flask.Response:
    """On to the next screen."""
    if wants_json():
        return flask.jsonify(next=path)
    return flask.Response(status=303, headers={"Location": path})


def form_with_faults(error: Exception) -> flask.Response:
    """The same screen again, every fault beside its field, with everything that was typed."""
    status = 409 if isinstance(error, RequestConflictError) else 422
    faults = wrongs(error)
    if wants_json():
        reply = flask.jsonify(
            faults=[
                {
                    "place": fault.place,
                    "text": fault.text,
                    "asked": fault.asked,
                    "guesses": list(fault.guesses),
                }
                for fault in faults
            ]
        )
        reply.status_code = status
        return reply
    flask.g.given = flask.request.form
    flask.g.faults = faults
    made = flask.make_response(screen_again())
    made.status_code = status
    return made


def wrongs(error: Exception) -> list[Wrong]:
    """What is wrong, each with its field."""
    if not isinstance(error, VisitError):
        return [Wrong(place="", text=str(error))]
    return [
        Wrong(place=_field_at(fault.path), text=_words_of(fault), asked=fault.asked, guesses=fault.guesses)
        for fault in error.faults
    ]


def _field_at(place: str) -> str:
    """The field that a fault belongs to: a value that may need more than its text stands one step further in,
    a list in one field.
    """
    form = flask.request.form
    several = re.sub(r"\[[0-9]+\]$", "", place) + "|list"
    return next((name for name in (place, f"{place}.is", several) if name in form), place)


def _words_of(fault: DataFault) -> str:
    """As a file's fault, but for what is only asked (a key says that it really is so), and without cures in
    the language of files.
    """
    if fault.asked:
        return f"{fault.got} Usual: {fault.expected}."
    text = (
        f"{fault.got}; expected {fault.expected}"
        if fault.expected and any(sign in fault.write for sign in "={[")
        else fault.text
    )
    return f"{text[:1].upper()}{text[1:]}"


def screen_again() -> Any:
    """Call the view of the screen that the form stood on."""
    path = own_path(flask.request.form.get("screen", ""), "/")
    adapter = flask.current_app.url_map.bind("")
    try:
        endpoint, arguments = adapter.match(urlsplit(path).path, method="GET")
    except HTTPException:
        endpoint, arguments = "jobs", {}
    flask.g.screen = path
    view: Callable[..., Any] = flask.current_app.view_functions[endpoint]
    return view(**arguments)
