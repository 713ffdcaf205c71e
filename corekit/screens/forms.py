"""How a form comes in and what goes back: an answer is taken and leads on, or the same screen comes again
with every fault beside its field.

A browser without our script gets pages; the script asks for JSON and gets `next`, or `faults`.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Iterator, Sequence
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
    """The fields of the form that are rows; of several readings on one screen those that were taken."""
    pairs = [pair for pair in flask.request.form.items(multi=True) if pair[0] not in OWN_FIELDS]
    flask.g.taken = taken = taken_readings(pairs)
    shared = [(name.rpartition("].")[2], text) for name, text in pairs if name in _SHARED] if taken else []
    for name, text in pairs:
        row = _READING.match(name)
        if row is None or not taken:
            yield name, text
        elif (at := int(row[1])) in taken and name not in _SHARED:
            yield _reading_row(taken.index(at), row[2]), text
    for at in range(len(taken)):
        for rest, text in shared:
            yield _reading_row(at, rest), text


_READING = re.compile(r"step\[0\]\.readings\[([0-9]{1,3})\]\.(.+)", re.DOTALL)


def _reading_row(at: int, rest: str) -> str:
    return f"step[0].readings[{at}].{rest}"


#: Said once for all readings of one screen, with the first.
_SHARED = frozenset(_reading_row(0, rest) for rest in ("is|unit", "with", "range"))


def taken_readings(pairs: Sequence[tuple[str, str]]) -> list[int]:
    """Which rows of the readings hold one, in order; empty where none does, or where there is one row only.

    >>> taken_readings([("step[0].readings[0].is", ""), ("step[0].readings[1].is", "0.8")])
    [1]
    """
    rows = [(row, text) for name, text in pairs if (row := _READING.match(name))]
    values = {int(row[1]): text for row, text in rows if row[2] == "is"}
    return sorted(at for at, text in values.items() if text.strip()) if len(values) > 1 else []


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
    form, taken = flask.request.form, flask.g.get("taken") or []
    if (row := _READING.match(place)) and int(row[1]) < len(taken):
        place = _reading_row(taken[int(row[1])], row[2])
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
