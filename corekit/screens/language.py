"""The screens in the language that the shop says: whatever is answered, in HTML or for the script, is put
into it on its way out.

What a script says itself is in the file of the script, as `inWords("…")`; each such file is sent with the
same in the language.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from pathlib import Path

import attrs
import flask

from ..languages import ENGLISH
from ..report.tongue import Tongue, in_tongue, script_in_tongue, tongue_of
from .context import note_own_texts, own_texts_seen


@attrs.frozen
class Spoken:
    """The language of the screens, as it is now.

    Attributes:
        language: Its code by ISO 639. folders: Of the systems. names: What the shop calls things by, which
            nobody translates. titles: Of the documents that are cited. All are asked with every answer.
    """

    language: Callable[[], str]
    folders: Callable[[], Iterable[Path]]
    names: Callable[[], Iterable[str]] = tuple
    titles: Callable[[], Iterable[str]] = tuple

    @property
    def tongue(self) -> Tongue | None:
        """What says it; None for English."""
        language = self.language()
        return tongue_of(language, self.folders(), self.titles()) if language != ENGLISH else None

    def install(self, app: flask.Flask) -> None:
        """Put all answers of an application into the language."""
        app.after_request(self._in_language)
        app.jinja_env.globals["screen_language"] = self.language

    def script(self, source: str) -> str:
        """A script with its own texts in the language."""
        tongue = self.tongue
        if tongue is None:
            return source
        return script_in_tongue(source, tongue).replace(
            '<html lang="en">', f'<html lang="{tongue.language}">'
        )

    def _in_language(self, reply: flask.Response) -> flask.Response:
        if (
            reply.mimetype not in ("text/html", "application/json")
            or reply.is_streamed
            or 300 <= reply.status_code < 400
        ):
            return reply
        tongue = self.tongue
        if tongue is None:
            return reply
        note_own_texts((), self.names())
        if reply.mimetype == "text/html":
            reply.set_data(in_tongue(reply.get_data(as_text=True), tongue, own_texts_seen()))
        else:
            reply.set_data(_told(reply.get_data(as_text=True), tongue))
        return reply


def _told(reply: str, tongue: Tongue) -> str:
    """What is told to the script: faults, and what came of a photo."""
    content = json.loads(reply)
    if not isinstance(content, dict) or not {"faults", "words"} & content.keys():
        return reply
    own = own_texts_seen()
    if "words" in content:
        content["words"] = tongue.said(content["words"], own)
    for fault in content.get("faults", ()):
        fault["text"] = tongue.said(fault["text"], own)
    return json.dumps(content, ensure_ascii=False)
