"""What no text for a customer says, and where a statement has no words for the customer."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from ..datafile import read_toml
from ..reference import data_path
from .voices import Told

MOST_WORDS = 20

#: Ways of stating something, and by which argument the customer's words are given where no name says so.
_STATES = {"judge": 4, "advise": None, "inconclusive": None, "visual": None}


@cache
def _patterns() -> dict[str, tuple[re.Pattern[str], str]]:
    return {
        term: (_pattern(section, term), instead)
        for section, terms in read_toml(data_path("shared/jargon.toml")).items()
        for term, instead in terms.items()
    }


def _pattern(section: str, term: str) -> re.Pattern[str]:
    edges = rf"(?<![\w/]){re.escape(term)}(?![\w/])"
    if section == "units" and term.isalpha() and term.isascii() and len(term) == 1:
        edges = rf"(?<=\d )(?:{re.escape(term)})(?!\w)"  # a letter by itself is a unit after a number only
    return re.compile(edges, re.IGNORECASE if section == "words" else 0)


def jargon_in(text: str) -> list[str]:
    """One line for each term of shared/jargon.toml that a text says, with the everyday way.

    >>> jargon_in("It draws 380 mA.")[0].split(";")[0]
    '"mA"'
    """
    plain = " ".join(text.split())
    return [
        f'"{term}"; say {instead}'
        for term, (pattern, instead) in _patterns().items()
        if pattern.search(plain)
    ]


def miss_of(told: Told) -> str:
    """What is wrong with a text for the customer; empty where nothing is."""
    found = [] if told.is_own else ["no words of the customer's own"]
    if told.words > MOST_WORDS:
        found.append(f"{told.words} words")
    found += jargon_in(told.text)
    return f"{told.kind} {told.of}: {', '.join(found)}: {told.text}" if found else ""


def _texts(node: ast.AST, names: dict[str, ast.expr], seen: frozenset[str] = frozenset()) -> Iterator[str]:
    """The literals that an expression can come to, through names of the module and f-strings."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.JoinedStr):
        yield "".join(str(part.value) if isinstance(part, ast.Constant) else "…" for part in node.values)
    elif isinstance(node, ast.Name) and node.id in names and node.id not in seen:
        yield from _texts(names[node.id], names, seen | {node.id})
    elif isinstance(node, ast.IfExp):
        yield from _texts(node.body, names, seen)
        yield from _texts(node.orelse, names, seen)
    elif isinstance(node, ast.Dict):
        for value in node.values:
            yield from _texts(value, names, seen)
    elif isinstance(node, ast.Subscript):
        yield from _texts(node.value, names, seen)


def written_in(path: Path) -> tuple[list[str], list[str]]:
    """Of one module: where something is stated without the customer's words, and the words there are."""
    tree = ast.parse(path.read_text("utf-8"))
    names = {
        target.id: node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    silent: list[str] = []
    words: list[str] = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
            continue
        given = {keyword.arg: keyword.value for keyword in node.keywords}
        name = node.func.attr
        if name == "Tells":
            words += [text for value in (*given.values(), *node.args) for text in _texts(value, names)]
            if "undecided" not in given and given.keys() >= {"passes", "fails"}:
                silent.append(f"{path.name}:{node.lineno}: Tells without undecided")
        elif name in _STATES:
            at = _STATES[name]
            told = given.get("tells") or (node.args[at] if at is not None and len(node.args) > at else None)
            if told is None:
                silent.append(f"{path.name}:{node.lineno}: {name} without tells")
            elif not isinstance(told, ast.Call):
                words += list(_texts(told, names))
    return silent, words
