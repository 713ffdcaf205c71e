"""The reference of every public name in DEVELOPERS.md, made from the code's own signatures and docstrings.

Run it after a change: python tests/reference_table.py --write
"""

from __future__ import annotations

import enum
import functools
import inspect
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import corekit
import corekit.testing

GUIDE = Path(__file__).resolve().parents[1] / "DEVELOPERS.md"
BEGIN, END = "<!-- reference -->\n", "<!-- end of reference -->"
#: Of these every public method and property has a row of its own; of other classes their fields are named.
#: What the host asks of a system; it may change any day.
OF_THE_HOST = {
    "without_checks", "fault_table", "places_of_all", "declares", "table_data", "checked_code", "loose_ends",
    "foreign_wants", "found_right",
}  # fmt: skip
WHOLE = ("System", "Case", "Record", "Series", "Chart", "Bench")


def lines() -> Iterator[str]:
    """The reference, line by line."""
    for module, short in ((corekit, "ck"), (corekit.testing, "corekit.testing")):
        yield f"`import {module.__name__}{' as ck' if short == 'ck' else ''}`"
        yield ""
        yield "| name | what it is |"
        yield "|---|---|"
        for name in _public(module):
            yield from _rows(name, getattr(module, name))
        yield ""


def _public(module: ModuleType) -> list[str]:
    return sorted((name for name in module.__all__ if not name.startswith("__")), key=str.casefold)


def _rows(name: str, one: Any) -> Iterator[str]:
    if isinstance(one, type) and issubclass(one, enum.Enum):
        yield _row(name, f"{_first(one)} {', '.join(f'`{member.name}`' for member in one)}")
    elif isinstance(one, type):
        fields = [
            field.name for field in getattr(one, "__attrs_attrs__", ()) if not field.name.startswith("_")
        ]
        if name in WHOLE or not fields:
            yield _row(f"{name}{_signature(one)}" if not fields else name, _first(one))
        else:
            yield _row(name, f"{_first(one)} {', '.join(f'`{field}`' for field in fields)}")
        if name in WHOLE:
            for key, member in vars(one).items():
                if (
                    not key.startswith("_")
                    and key not in OF_THE_HOST
                    and (function := _function(member)) is not None
                ):
                    call = (
                        ""
                        if isinstance(member, (property, functools.cached_property))
                        else _signature(function)
                    )
                    yield _row(f"{name}.{key}{call}", _first(function))
    elif callable(one):
        yield _row(f"{name}{_signature(one)}", _first(one))
    else:
        yield _row(
            name, f"The version of the API that this corekit has: `{one}`." if name == "API_VERSION" else ""
        )


def _row(name: str, words: str) -> str:
    return f"| `{name}` | {words.strip().replace('|', chr(92) + '|')} |"


def _function(member: Any) -> Any:
    if isinstance(member, property):
        return member.fget
    if isinstance(member, functools.cached_property):
        return member.func
    if isinstance(member, (classmethod, staticmethod)):
        return member.__func__
    return member if inspect.isfunction(member) else None


def _signature(one: Any) -> str:
    """Its parameters by name; with `=` those that may be left out."""
    try:
        parameters = list(inspect.signature(one).parameters.values())
    except (TypeError, ValueError):
        return ""
    said, star = [], False
    for parameter in parameters:
        if parameter.name in {"self", "cls"} or parameter.name.startswith("_"):
            continue
        if parameter.kind is parameter.KEYWORD_ONLY and not star:
            said.append("*")
            star = True
        mark = {parameter.VAR_POSITIONAL: "*", parameter.VAR_KEYWORD: "**"}.get(parameter.kind, "")
        star = star or mark == "*"
        said.append(f"{mark}{parameter.name}{'=' if parameter.default is not parameter.empty else ''}")
    return f"({', '.join(said)})"


def _first(one: Any) -> str:
    """The first sentence of its docstring."""
    text = " ".join((inspect.getdoc(one) or "").split("\n\n", 1)[0].split())
    return re.split(r"(?<=[.:])\s+(?=[A-Z`])", text, maxsplit=1)[0].rstrip(":")


def written(guide: str) -> str:
    """The guide with the reference as it is now."""
    before, rest = guide.split(BEGIN)
    return before + BEGIN + "\n".join(lines()) + "\n" + END + rest.split(END, 1)[1]


if __name__ == "__main__":
    if "--write" in sys.argv:
        GUIDE.write_text(written(GUIDE.read_text("utf-8")), "utf-8")
    else:
        print("\n".join(lines()))
