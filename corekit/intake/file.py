"""From the bytes of a visit file to plain data.

TOML and JSON say the same; what only one of them can say is refused.

Nothing that came from outside is trusted: size, encoding, nesting, keys given twice and numbers that are none
are each one clear fault.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from ..datafile import refuse, text_of, toml_of
from ..fault import DataFileError, Faults, Place
from ..signs import LONGEST, steering
from .fault import VisitError

DEEPEST = 12  # the form itself is seven deep
_DEEPEST_OF_ALL = 60  # from here on nothing else of a file is looked at
#: Of a visit: steps, rows and tables in all, keys of one table. A long one has a few dozen of each.
MOST_STEPS, MOST_TABLES, MOST_KEYS = 2000, 6000, 1000
#: Pieces of repair work: after each of them everything is judged anew. A long visit has five.
MOST_REPAIRS = 25


def read_data(source: Path | bytes) -> dict[str, Any]:
    """The tables of a visit file.

    Raises:
        VisitError: it cannot be read, is too large, not UTF-8, neither TOML nor JSON (with line and
            column), or holds what no visit file holds; every such fault at once where the file can be read at
            all.
    """
    data = parsed(source)
    try:
        return looked_over(data)
    except VisitError as error:
        raise VisitError(error.faults, source.name if isinstance(source, Path) else "") from error


def folder_of(source: Path | bytes) -> Path | None:
    """The folder that a visit file stands in, in which the files lie that it names; None for mere content."""
    return source.parent if isinstance(source, Path) else None


def parsed(source: Path | bytes) -> dict[str, Any]:
    """The same before anything in it was looked over.

    Raises:
        VisitError: it cannot be read, is too large, not UTF-8, or neither TOML nor JSON.
    """
    try:
        text = text_of(source, "a visit file")
        as_json = (isinstance(source, Path) and source.suffix.lower() == ".json") or text.lstrip()[:1] == "{"
        return _bounded(_json(text) if as_json else toml_of(text))
    except DataFileError as error:
        raise VisitError(error.faults, source.name if isinstance(source, Path) else "") from error


def _bounded(data: dict[str, Any]) -> dict[str, Any]:
    """The same, where it is neither too deep nor too long for whatever looks at it.

    Raises:
        DataFileError: it is.
    """
    level: list[Any] = [data]
    tables = 0
    for _ in range(_DEEPEST_OF_ALL):
        for item in level:
            if isinstance(item, Mapping) and len(item) > MOST_KEYS:
                refuse("file", f"has a table of {len(item)} keys", f"at most {MOST_KEYS} in one")
        tables += sum(isinstance(item, Mapping) for item in level)
        level = [
            inner
            for item in level
            for inner in (item.values() if isinstance(item, Mapping) else item)
            if isinstance(inner, (dict, list))
        ]
        if not level:
            break
    else:
        refuse("file", "is nested too deeply", "the form of a visit file")
    steps = data.get("step")
    if isinstance(steps, list) and len(steps) > MOST_STEPS:
        refuse("step", f"has {len(steps)} rows", f"at most {MOST_STEPS} steps", "a file for each visit")
    repairs = (
        sum(isinstance(step, Mapping) and "repaired" in step for step in steps)
        if isinstance(steps, list)
        else 0
    )
    if repairs > MOST_REPAIRS:
        refuse(
            "step", f"has {repairs} repairs", f"at most {MOST_REPAIRS} in one visit", "a file for each visit"
        )
    if tables > MOST_TABLES:
        refuse("file", f"has {tables} rows", f"at most {MOST_TABLES}", "a file for each visit")
    return data


def looked_over(data: dict[str, Any]) -> dict[str, Any]:
    """The same data, if it holds nothing that no visit file holds, however it came in.

    Raises:
        VisitError: every text that is too long or cannot be printed, number that is none, null, key given
            twice, and what is nested too deeply.
    """
    faults = Faults()
    look_over(data, faults)
    if faults.found:
        raise VisitError(faults.in_order_of(data))
    return data


def look_over(data: dict[str, Any], faults: Faults) -> None:
    """Add every fault of the kind that `looked_over` refuses."""
    for path, item in _walk(data):
        _look_at(path, item, faults)


class _Table(dict[str, Any]):
    """A JSON object that remembers which keys it was given twice."""

    twice: tuple[str, ...] = ()


def _json(text: str) -> dict[str, Any]:
    try:
        data = json.loads(text, object_pairs_hook=_table)
    except json.JSONDecodeError as error:
        refuse(f"line {error.lineno}, column {error.colno}", error.msg, "JSON")
    except RecursionError:
        refuse("file", "is nested too deeply", "the form of a visit file")
    except ValueError as error:
        refuse("file", f"holds a value that nobody writes by hand ({error})", "JSON")
    if not isinstance(data, dict):
        refuse("file", "is not one JSON object", "an object with job, vehicle, step …")
    return data


def _table(pairs: list[tuple[str, Any]]) -> _Table:
    table = _Table(pairs)
    if len(table) != len(pairs):
        keys = [key for key, _ in pairs]
        table.twice = (
            tuple(dict.fromkeys(key for key in keys if keys.count(key) > 1))
            if len(keys) < 1000
            else ("one of its many keys",)
        )
    return table


def _walk(data: dict[str, Any]) -> Iterator[tuple[Place, Any]]:
    """Every item with its place, without recursion; what is too deep is given once and not entered."""
    waiting: list[tuple[Place, Any]] = [((), data)]
    while waiting:
        path, item = waiting.pop()
        yield path, item
        if len(path) >= DEEPEST:
            continue
        if isinstance(item, Mapping):
            waiting.extend(((*path, key), value) for key, value in reversed(list(item.items())))
        elif isinstance(item, list):
            waiting.extend(((*path, place), value) for place, value in reversed(list(enumerate(item))))


def _look_at(path: Place, item: Any, faults: Faults) -> None:
    if isinstance(item, _Table):
        for key in item.twice:
            faults.add((*path, key), "is given twice", "each key once", "it once")
    if len(path) >= DEEPEST and isinstance(item, (dict, list)):
        faults.add(path, "is nested too deeply", "the form of a visit file")
    elif item is None:
        faults.add(path, "null says nothing", "a value", "a value, or omit the key")
    elif isinstance(item, float) and not math.isfinite(item):
        faults.add(path, f"{item} is not a number", "text in quotes")
    elif isinstance(item, str):
        _look_at_text(path, item, faults)
    if path and isinstance(path[-1], str) and (strange := steering(path[-1])):
        faults.add(path, f"the key has the character {strange} in it", "a plain key")


def _look_at_text(path: Place, text: str, faults: Faults) -> None:
    if len(text) > LONGEST:
        faults.add(path, f"has {len(text)} characters", f"at most {LONGEST} characters")
    if strange := steering(text.replace("\n", "").replace("\r", "").replace("\t", "")):
        faults.add(path, f"has the character {strange} in it", "text that can be printed")
