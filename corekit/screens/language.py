"""The screens in the language that the shop says: whatever is answered, in HTML or for the script, is put
into it on its way out.

What a script says itself is in the file of the script, as `inWords("…")`; each such file is sent with the
same in the language.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable
from pathlib import Path

import attrs
import flask

from ..languages import ENGLISH, screen_languages
from ..report.tongue import Tongue, in_tongue, tongue_of
from .context import note_own_texts, own_texts_seen

#: What a script says: a text, with {names} for what is filled in.
_SAID_BY_SCRIPT = re.compile(r"inWords\(\s*\"((?:[^\"\\]|\\.)*)\"")
#: Where a script has the same texts in the language of the screens.
_TABLE = "const IN_WORDS = {};"


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
        if tongue is None or _TABLE not in source:
            return source
        said = {text: tongue.said(text) for text in texts_of_script(source)}
        table = json.dumps(said, ensure_ascii=False, sort_keys=True).replace("</", "<\\/")
        return source.replace(_TABLE, f"const IN_WORDS = {table};").replace(
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


def texts_of_script(source: str) -> list[str]:
    """What a script says itself, as it stands in its file.

    >>> texts_of_script('inWords("{count} answers wait", { count }) + inWords("Sent")')
    ['{count} answers wait', 'Sent']
    """
    return list(dict.fromkeys(json.loads(f'"{text}"') for text in _SAID_BY_SCRIPT.findall(source)))


def chosen_language(typed: str) -> str:
    """What somebody chose, if screens can be in it; else English."""
    return typed if typed in screen_languages() else ENGLISH
