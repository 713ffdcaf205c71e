"""A form's fields as rows of a visit file: a field's name is its place in the file, so a fault finds its
field by itself.

`step[0].setup."brakes.temperature"` is a key of a table in the first step; behind a bar stands what is done
with the text:

- `…|unit`  the unit key that was pressed: joined to a number without a unit.
- `…|list`  words between spaces or commas, as a list.
- `…|yes`   anything written there means true.
- `…|table` anything written there means that the table is there, be it empty: somebody came.
- `…|none`  anything written there means an empty list: it was looked at, and there is nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from ..errors import CorekitError

Place = tuple[str | int, ...]

_PART = re.compile(
    r"""(?P<mark>\.?)(?:(?P<plain>[A-Za-z0-9_-]+)|"(?P<quoted>[^"]{1,80})")|\[(?P<index>[0-9]{1,3})\]"""
)
_LONGEST = 200  # characters of a field's name
_MOST_ROWS = 200


class FieldError(CorekitError, ValueError):
    """A field whose name is no place in a visit file; only a form that is not ours has one."""


def place_of(name: str) -> Place:
    """The place that a field's name says, as keys and indices.

    Raises:
        FieldError: it is none.

    >>> place_of('step[0].setup."brakes.temperature"')
    ('step', 0, 'setup', 'brakes.temperature')
    """
    place: list[str | int] = []
    at = 0
    while at < len(name) <= _LONGEST:
        part = _PART.match(name, at)
        if part is None or (part["index"] is None and bool(part["mark"]) != bool(place)):
            break
        place.append(int(part["index"]) if part["index"] is not None else part["plain"] or part["quoted"])
        at = part.end()
    if at != len(name) or not place:
        raise FieldError(f"{name[:60]!r} is no place in a visit file.")
    return tuple(place)


def rows_of(fields: Iterable[tuple[str, str]]) -> dict[str, Any]:
    """The rows that the fields of a form make; what was left empty is not in them.

    Raises:
        FieldError: a field's name is no place, or two fields want to be at one place.

    >>> first = 'step[0].readings[0]'
    >>> names = [f'{first}.of', f'{first}.is', f'{first}.is|unit']
    >>> rows_of(zip(names, ['brakes.pedal_force', '120', 'N'], strict=True))
    {'step': [{'readings': [{'of': 'brakes.pedal_force', 'is': '120 N'}]}]}
    """
    texts: dict[str, Any] = {}
    unit_keys: dict[str, str] = {}
    tables: list[str] = []
    for name, text in fields:
        field, _, how = name.partition("|")
        if not text.strip():
            continue
        if how == "unit":
            unit_keys[field] = text
        elif how == "list":
            texts[field] = [*texts.get(field, []), *re.split(r"[\s,;]+", text.strip())]
        elif how == "table":
            tables.append(field)
        elif how == "none":
            texts.setdefault(field, [])
        elif how in ("", "yes"):
            if field in texts:
                raise FieldError(f"{field!r} was given twice.")
            texts[field] = True if how == "yes" else text
        else:
            raise FieldError(f"{name[:60]!r}: |{how[:20]} is not known.")
    rows: dict[str | int, Any] = {}
    for field, text in texts.items():
        if field in unit_keys and isinstance(text, str) and text.strip()[-1].isdigit():
            text = f"{text.strip()} {unit_keys[field]}"
        _put(rows, place_of(field), text)
    for field in tables:
        _table_at(rows, place_of(field))
    made = _lists_of(rows)
    assert isinstance(made, dict)
    return made


def _table_at(rows: dict[str | int, Any], place: Place) -> dict[str | int, Any]:
    here: Any = rows
    for part in place:
        here = here.setdefault(part, {})
        if not isinstance(here, dict):
            raise FieldError(f"{place!r} is both a value and a table.")
    made: dict[str | int, Any] = here
    return made


def _put(rows: dict[str | int, Any], place: Place, text: Any) -> None:
    here = _table_at(rows, place[:-1])
    if place[-1] in here:
        raise FieldError(f"{place!r} is both a value and a table.")
    here[place[-1]] = text


def _lists_of(item: Any) -> Any:
    """Tables whose keys are numbers as lists, in the order of the numbers."""
    if not isinstance(item, dict):
        return item
    numbers = [key for key in item if isinstance(key, int)]
    if not numbers:
        return {key: _lists_of(value) for key, value in item.items()}
    if len(numbers) < len(item):
        raise FieldError("A place is both a list and a table.")
    if sorted(numbers) != list(range(len(numbers))) or len(numbers) > _MOST_ROWS:
        raise FieldError("The rows of a list must be counted from 0, without a gap.")
    return [_lists_of(item[number]) for number in sorted(numbers)]
