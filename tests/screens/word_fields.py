"""The fields of a template into which somebody can type words: read from the template itself, so that a field
is found whether or not a screen of a test happens to show it.
"""

from __future__ import annotations

import re
from pathlib import Path

import attrs
import jinja2
from jinja2 import nodes

#: Macros of form.html that make a field of words. Those of quantities take a number and its unit.
_OF_WORDS = ("line", "words")
_NO_WORDS = ("decimal", "numeric", "date", "time", "search")
#: Fields in plain markup that take no words of anybody.
_NO_TEXT = ("hidden", "radio", "checkbox", "submit", "button", "file", "date", "time", "password")
_MARKUP = re.compile(r"<(input|textarea)\b((?:[^>{]|\{\{.*?\}\}|\{%.*?%\}|\{)*)>", re.DOTALL)
_ATTRIBUTE = r'\b{}="((?:[^"{{]|\{{\{{.*?\}}\}}|\{{%.*?%\}})*)"'


@attrs.frozen
class WordField:
    """A field: in which template, and how its name ends; empty where all of the name is filled in."""

    template: str
    ending: str

    def is_met_by(self, names: set[str]) -> bool:
        """Whether one of these names of fields is its."""
        return any(bare(name).endswith(self.ending) for name in names)


def bare(name: str) -> str:
    """A field's name without the numbers of rows."""
    return re.sub(r"\[\d+\]", "", name)


def fields_of_words(source: str, template: str) -> set[WordField]:
    """Every field of words in a template."""
    found = set()
    for call in jinja2.Environment(autoescape=True).parse(source).find_all(nodes.Call):
        made = getattr(call.node, "attr", "") or getattr(call.node, "name", "")
        modes = [str(one.value.as_const()) for one in call.kwargs if one.key in ("mode", "type")]
        if made in _OF_WORDS and call.args and not set(modes) & set(_NO_WORDS):
            found.add(WordField(template, bare(_ending(call.args[0]))))
    for element, inside in _MARKUP.findall(source):
        kind, mode, name = (_attribute(one, inside) for one in ("type", "inputmode", "name"))
        if name and mode not in _NO_WORDS and (element == "textarea" or kind not in _NO_TEXT):
            found.add(WordField(template, bare(name.rpartition("}}")[2])))
    return found


def _ending(place: nodes.Expr) -> str:
    """What is known of a field's name: its last part, where that is written down."""
    last = place.nodes[-1] if isinstance(place, nodes.Concat) else place
    return str(last.value) if isinstance(last, nodes.Const) else ""


def _attribute(name: str, inside: str) -> str:
    found = re.search(_ATTRIBUTE.format(name), inside)
    return found[1] if found else ""


def all_fields_of_words(folder: Path, *, but: tuple[str, ...] = ()) -> set[WordField]:
    """Every field of words in the templates of a folder, but for those that are macros of others."""
    return {
        field
        for path in folder.glob("*.html")
        if path.name not in but
        for field in fields_of_words(path.read_text("utf-8"), path.name)
    }
