"""What of a system reaches a paper, as it stands in its source: for a test that counts what a language
lacks.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import attrs

from ..datafile import read_toml
from ..model.source import PUBLISHED
from ..reference import sources
from ..report.catalogue import Speaker, catalogue, read_catalogue

#: Arguments that reach no paper: how and where to measure, what a form or an error says, why a number is so.
_NOT_PRINTED = re.compile(
    r"^(Input|Output|OwnUnit|calculation|limit|unit|refuses\w*|source|wide|_wide|ValueError|field)[.#]"
    r"|^(part|trait|measurand|derived_reading|record|observation|operation|symptom|setting|System|Claim)#0$"
    r"|^(measurand|derived_reading)#1$"
    r"|\.(how|where|accuracy|note|why|source|unit|kind|grade|urgency|of|calls_for|key|over_title_unit|only)$"
)
#: Modules that drive practice vehicles, or say nothing.
_NO_PAPER = ("practice",)
#: A key, a path, a name of the source.
_NAME = re.compile(r"[a-z0-9_.*/-]*[_./][a-z0-9_.*/-]*")
_BEFORE = re.compile(r"^(?:\{[A-Z][A-Z_]+\} )+(?=[A-Z])")
_BEHIND = re.compile(r"(?<=[.!?])(?: \{[A-Z][A-Z_]+\})+$")
_FILLED = re.compile(r"\{+(\w+)\}+")


@attrs.frozen
class Lack:
    """What is wrong with a language file of a system: texts that it lacks, and those that nothing says."""

    missing: tuple[str, ...]
    spare: tuple[str, ...]


def lack(folder: Path, language: str, not_told: tuple[str, ...] = ()) -> Lack:
    """Of the system in a folder.

    Args:
        not_told: Texts of its source that reach no paper: names of outcomes, words that are compared with.
    """
    said = read_catalogue(folder / "language" / f"{language}.toml").texts
    names = {path.stem for path in folder.glob("*.py")}
    asked = dict.fromkeys(text for text in texts_in(folder) if text not in not_told and text not in names)
    speaker = Speaker(catalogue(language, [folder]), {})
    return Lack(
        missing=tuple(text for text in asked if text not in said and not _is_said(text, speaker)),
        spare=tuple(text for text in said if text not in asked and _words(text) not in _written(folder)),
    )


def _is_said(text: str, speaker: Speaker) -> bool:
    """It is said with what every system shares, such as that a limit is common practice."""
    missing: dict[str, None] = {}
    speaker.said(text, missing)
    return not missing and not _FILLED.search(text)


def _words(text: str) -> str:
    return _FILLED.sub("", text).strip()


@lru_cache(maxsize=8)
def _written(folder: Path) -> str:
    """Every text of the source and of the sources as it stands: parts that are put together count."""
    literals = [
        node.value
        for path in folder.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    ]
    cited = sources(folder / "sources.toml").values() if (folder / "sources.toml").is_file() else ()
    return "\n".join((*literals, *(part for source in cited for part in (source.title, source.where))))


def texts_in(folder: Path) -> list[str]:
    """Every text of a system that may be printed, each once; what is filled in stands as {name}."""
    found: dict[str, None] = {}
    for path in sorted(folder.glob("*.py")):
        if path.stem not in _NO_PAPER:
            found |= dict.fromkeys(_of_module(path))
    found |= dict.fromkeys(_of_tables(folder / "faults.toml"))
    found |= dict.fromkeys(_of_sources(folder))
    return list(found)


def _of_tables(path: Path) -> Iterator[str]:
    if not path.is_file():
        return
    data = read_toml(path)
    for fault in data.get("faults", {}).values():
        if isinstance(fault, dict):
            yield from (fault[field] for field in ("name", "cause", "tells", "refer") if fault.get(field))
    for test in data.get("test", {}).values():
        yield test["question"]


def _of_sources(folder: Path) -> Iterator[str]:
    """What limits are cited by. The title of a document is its name in every language."""
    if not (folder / "limits.toml").is_file():
        return
    cited = {limit["source"] for limit in read_toml(folder / "limits.toml").get("limit", [])}
    for source in sources(folder / "sources.toml").values():
        if source.key in cited and source.basis not in PUBLISHED:
            yield source.title
        if source.key in cited and source.where:
            yield source.where


def _of_module(path: Path) -> Iterator[str]:
    tree = ast.parse(path.read_text("utf-8"))
    quiet = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, (ast.Module, ast.FunctionDef, ast.ClassDef))
        and node.body
        and isinstance(node.body[0], ast.Expr)
        and isinstance(node.body[0].value, ast.Constant)
    }
    for text in _texts(tree, "", quiet):
        bare = _FILLED.sub(r"{\1}", text.strip())
        if _is_text(bare):
            yield bare


def _is_text(text: str) -> bool:
    """Words, not a key or a name of the source."""
    plain = _FILLED.sub("", text)
    return bool(re.search(r"[^\W\d_]{2}", plain)) and not re.fullmatch(
        r"[a-z0-9_.*/-]*[_./][a-z0-9_.*/-]*", text
    )


def _texts(node: ast.AST, at: str, quiet: set[int]) -> Iterator[str]:
    if id(node) in quiet or isinstance(node, (ast.Raise, ast.Compare, ast.Slice, ast.MatchValue)):
        return
    if isinstance(node, ast.Constant):
        if isinstance(node.value, str) and not _NOT_PRINTED.search(at):
            yield node.value
    elif isinstance(node, ast.JoinedStr):
        if not _NOT_PRINTED.search(at):
            yield _own_sentences(template(node))
            for part in node.values:
                if isinstance(part, ast.FormattedValue):
                    yield from _texts(part.value, f"{at}+", quiet)
    elif isinstance(node, ast.Call):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if isinstance(node.func, ast.Attribute):
            yield from _texts(node.func.value, at, quiet)
        for n, argument in enumerate(node.args):
            yield from _texts(argument, f"{name}#{n}", quiet)
        for keyword in node.keywords:
            yield from _texts(keyword.value, f"{name}.{keyword.arg}", quiet)
    elif isinstance(node, ast.Dict):
        for key, value in zip(node.keys, node.values, strict=True):
            if isinstance(key, ast.Constant):  # a name by which something is filled in
                yield from _texts(value, at, quiet)
            else:
                yield from (text for one in (key, value) if one for text in _texts(one, at, quiet))
    elif isinstance(node, ast.Subscript):
        yield from _texts(node.value, at, quiet)
    elif isinstance(node, (ast.Assign, ast.AnnAssign)):
        if node.value is not None:
            yield from _texts(node.value, "=", quiet)
    else:
        for child in ast.iter_child_nodes(node):
            yield from _texts(child, at, quiet)


def _own_sentences(text: str) -> str:
    """Without the sentences of others that stand before and behind, such as cautions that several share."""
    return _BEHIND.sub("", _BEFORE.sub("", text))


def template(node: ast.JoinedStr) -> str:
    """An f-string as a text with {names}."""
    parts, count = [], 0
    for part in node.values:
        if isinstance(part, ast.Constant):
            parts.append(str(part.value))
        elif isinstance(part, ast.FormattedValue):
            if isinstance(part.value, ast.Name):
                parts.append(f"{{{part.value.id}}}")
            else:
                count += 1
                parts.append(f"{{text{count}}}")
    return "".join(parts)
