"""One reader of data files: TOML becomes a declared attrs class, and every fault is found at once.

A file's form is an attrs class; `structured` fills it through cattrs. What does not fit is a fault with its
place and then absent from the form, so that everything else, the meaning included, is still looked at:

    faults = Faults()
    data = read_toml(path)
    form = structured(data, LimitFile, faults)
    ...                                   # what the rows mean; faults.add((…), got, expected, write)
    faults.refuse(data, str(path))

A field without a default must be there; a row that lacks one is None. A field made by `needed` must be there
too, and where it is at fault its default stands in for it.
"""

from __future__ import annotations

import copy
import datetime
import math
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache
from pathlib import Path
from typing import Any, NewType, NoReturn, TypeVar, dataclass_transform, get_args, get_origin

import attrs
import cattrs
from cattrs.errors import (
    AttributeValidationNote,
    BaseValidationError,
    ClassValidationError,
    ForbiddenExtraKeysError,
    IterableValidationNote,
)

from .fault import DataFault, DataFileError, Faults, Place, any_of, near, quotation

T = TypeVar("T")

#: When it was read, RFC 3339 in UTC. A calendar day, YYYY-MM-DD. A number with its unit, as typed.
Moment = NewType("Moment", str)
Day = NewType("Day", str)
Quantity = NewType("Quantity", str)
#: A number above 0.
Positive = NewType("Positive", float)
#: One text, or a list of several that mean the same.
Words = NewType("Words", tuple[str, ...])
#: A decimal number in quotes, or a whole number without them. `Decimal` itself is in quotes always.
Count = NewType("Count", Decimal)

LARGEST = 1 << 20  # bytes: a season of visits; a real file has a few thousand
#: A key of more parts is one that a parser takes minutes for; files of ours are at most seven deep.
MOST_PARTS = 16
#: Headings and commas of a file: more of them keep the parser busy for seconds, and nobody writes them.
MOST_HEADINGS, MOST_COMMAS = 20_000, 250_000
_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_DEEP_KEY = re.compile(rf"(?<![\w-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{MOST_PARTS}}}")


# ---- from bytes to plain data


def read_toml(source: Path | bytes, where: str = "") -> dict[str, Any]:
    """The tables of a TOML file.

    Args:
        where: Its name in messages; the path when left out.

    Raises:
        DataFileError: it cannot be read, is too large, not UTF-8, or not TOML (with line and column).
    """
    try:
        return toml_of(text_of(source))
    except DataFileError as error:
        raise DataFileError(
            error.faults, where or (str(source) if isinstance(source, Path) else "")
        ) from error


def text_of(source: Path | bytes, what: str = "a data file") -> str:
    """The text of a file, or of its content.

    Raises:
        DataFileError: it cannot be read, is too large, or is not plain UTF-8 text.
    """
    content = _bytes(source, what)
    expected = "UTF-8 text without a byte order mark"
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        refuse("file", "is UTF-16 text, not UTF-8", expected, "it again as UTF-8")
    if content.startswith(b"\xef\xbb\xbf"):
        refuse("file", "begins with a byte order mark", expected, "it again as UTF-8 without one")
    if b"\x00" in content:
        got = "is a NUL byte (UTF-16, or no text at all)"
        refuse(_position(content, content.index(b"\x00")), got, expected, "it again as UTF-8")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        got = f"the byte {content[error.start]:#04x} is not UTF-8"
        refuse(_position(content, error.start), got, expected, "it again as UTF-8")


def toml_of(text: str) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises:
        DataFileError: it is not TOML (with line and column), or nobody wrote it by hand.
    """
    deep = _DEEP_KEY.search(text)
    if deep is not None:
        content = text.encode()
        place = _position(content, len(text[: deep.start()].encode()))
        refuse(
            place, f"is nested too deeply: more than {MOST_PARTS} words joined by dots", "keys of a few parts"
        )
    for sign, most, what in (("\n[", MOST_HEADINGS, "headings"), (",", MOST_COMMAS, "commas")):
        if (count := text.count(sign)) > most:
            refuse("file", f"has {count} {what}", f"at most {most}")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        words = str(error)
        match = _AT.search(words)
        place = f"line {match['line']}, column {match['column']}" if match and match["line"] else ""
        content = text.encode()
        refuse(place or _position(content, len(content)), _AT.sub("", words), "TOML")
    except RecursionError:
        refuse("file", "is nested too deeply", "tables of a few levels")
    except ValueError as error:  # a number too long for Python to read
        refuse("file", f"holds a value that nobody writes by hand ({error})", "TOML")


def refuse(path: str, got: str, expected: str, write: str = "") -> NoReturn:
    """Give a file up for one fault that lets nothing else of it be read.

    Raises:
        DataFileError: always.
    """
    raise DataFileError([DataFault(path, expected, got, write)])


_AT = re.compile(r" \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)$")


def _bytes(source: Path | bytes, what: str) -> bytes:
    if isinstance(source, bytes):
        content = source
    else:
        try:
            if source.is_dir():
                refuse(str(source), "is a folder", what)
            with source.open("rb") as file:
                content = file.read(LARGEST + 1)
        except (OSError, ValueError) as error:
            if isinstance(error, DataFileError):
                raise
            reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            refuse(quotation(str(source), 200), f"cannot be read ({reason})", what)
    if len(content) > LARGEST:
        refuse("file", "is larger than 1 MiB", f"{what} of at most 1 MiB", "less into one file")
    return content


def _position(content: bytes, place: int) -> str:
    line, column = content.count(b"\n", 0, place) + 1, place - content.rfind(b"\n", 0, place)
    return f"line {line}, column {column}"


# ---- from plain data to a form


def required_field(expected: str, write: str = "", *, default: Any = None, factory: Any = None) -> Any:
    """A field that must be there; the default stands in for it where it is not, or is at fault.

    Args:
        expected: What belongs there. write: An example.
    """
    metadata = {"expected": expected, "write": write}
    if factory is not None:
        return attrs.field(factory=factory, metadata=metadata)
    return attrs.field(default=default, metadata=metadata)


def alone(*, default: Any = None) -> Any:
    """A field that may stand alone in place of its table, as text."""
    return attrs.field(default=default, metadata={"alone": True})


@dataclass_transform(kw_only_default=True, field_specifiers=(attrs.field, required_field, alone))
def table(form: type[T]) -> type[T]:
    """An attrs class for a table of a file; nobody compares or prints one, so it is quick to make."""
    return attrs.define(kw_only=True, eq=False, repr=False)(form)


class _Misfit(Exception):
    """A value of the wrong type, in the three parts of a fault."""

    def __init__(self, got: str, expected: str, write: str = "") -> None:
        self.got, self.expected, self.write = got, expected, write
        super().__init__(got)


#: Stands in the data where something was at fault, or was set aside, and is taken as absent.
ABSENT: Any = type("_Absent", (), {"__repr__": lambda _: "absent", "__deepcopy__": lambda self, _: self})()


def structured(data: Any, form: type[T], faults: Faults, at: Place = ()) -> T:
    """The form in the data. What does not fit is added to `faults` and absent from the form.

    Args:
        form: An attrs class; or a list of such, for a part of a file that stands at `at`.
    """
    structure = _converter().structure
    rest = data
    for _ in range(4):
        try:
            return structure(rest, form)
        except _Misfit as error:
            faults.add(at, error.got, error.expected, error.write)
            rest = dict.fromkeys(map(_key, attrs.fields(form)), ABSENT) if attrs.has(form) else []
        except BaseValidationError as group:
            rest = copy.deepcopy(data) if rest is data else rest
            for path, leaf in _leaves(group, ()):
                _report(path, leaf, rest, faults, at)
    raise AssertionError("A form that was cleared of its faults still has some.")  # pragma: no cover


def _leaves(group: BaseValidationError, path: Place) -> Iterator[tuple[Place, Exception]]:
    for error in group.exceptions:
        inner = path
        for note in getattr(error, "__notes__", ()):
            if isinstance(note, IterableValidationNote):
                inner = (*path, note.index)
                break
            if isinstance(note, AttributeValidationNote):
                inner = (*path, note.name)
                break
        if isinstance(error, BaseValidationError):
            yield from _leaves(error, inner)
        elif isinstance(error, Exception):
            yield inner, error


def _report(path: Place, error: Exception, rest: Any, faults: Faults, at: Place) -> None:
    if isinstance(error, ForbiddenExtraKeysError):
        keys = [_key(field) for field in attrs.fields(error.cl)]
        owner = _item(rest, path)
        for key in [key for key in owner if key in error.extra_fields]:
            meant = near(key, keys)
            known = f"one of {', '.join(keys)}"
            write = f"{known} (perhaps {any_of(map(quotation, meant))})" if meant else ""
            faults.add((*at, *path, key), "is not a key here", known, write)
            del owner[key]
        return
    if not isinstance(error, _Misfit):  # pragma: no cover - a hook that raises something else is a defect
        raise error
    faults.add((*at, *path), error.got, error.expected, error.write)
    _item(rest, path[:-1])[path[-1]] = ABSENT


def _item(data: Any, path: Place) -> Any:
    for part in path:
        data = data[part]
    return data


def _key(field: attrs.Attribute[Any]) -> str:
    """A key of the file; where Python keeps the word for itself the field has a `_` after it."""
    return field.name.rstrip("_")


@lru_cache(maxsize=1)
def _converter() -> cattrs.Converter:
    converter = cattrs.Converter()
    for kind, hook in _HOOKS.items():
        converter.register_structure_hook(kind, hook)
    converter.register_structure_hook_factory(attrs.has, _record)
    converter.register_structure_hook_factory(_is_a(list), _container(list, "a list [ … ]"))
    converter.register_structure_hook_factory(_is_a(dict), _container(dict, "a table { … }"))
    return converter


def _record(kind: Any, converter: cattrs.Converter) -> Callable[[Any, Any], Any]:
    """As cattrs would generate it, but nothing is compiled for the many forms of which a file has one row."""
    fields = {_key(field): field for field in attrs.fields(attrs.resolve_types(kind))}
    lone = next((key for key, field in fields.items() if "alone" in field.metadata), "")
    bare = {field.alias for field in fields.values() if field.default is attrs.NOTHING}

    def structure(raw: Any, _: Any) -> Any:
        if lone and isinstance(raw, str):
            raw = {lone: raw}
        _must_be(raw, dict, "a table { … }")
        values: dict[str, Any] = {}
        errors: list[Exception] = []
        for key, field in fields.items():
            try:
                if key not in raw:
                    _may_be_missing(field)
                elif raw[key] is not ABSENT:
                    values[field.alias] = converter.get_structure_hook(field.type)(raw[key], field.type)
            except Exception as error:
                error.add_note(AttributeValidationNote("", key, field.type))
                errors.append(error)
        if extra := set(raw) - set(fields):
            errors.append(ForbiddenExtraKeysError("", kind, extra))
        if errors:
            raise ClassValidationError("", errors, kind)
        return kind(**values) if bare <= set(values) else None

    return structure


def _may_be_missing(field: attrs.Attribute[Any]) -> None:
    if field.default is attrs.NOTHING or "expected" in field.metadata:
        expected = field.metadata.get("expected") or _EXPECTED.get(field.type, "a value")
        raise _Misfit("is missing", expected, field.metadata.get("write", ""))


def _container(kind: type, name: str) -> Callable[[Any, cattrs.Converter], Callable[[Any, Any], Any]]:
    def factory(wanted: Any, converter: cattrs.Converter) -> Callable[[Any, Any], Any]:
        item = get_args(wanted)[-1]
        keeps_place = type(None) in get_args(item)
        rows = kind is list and any(map(attrs.has, get_args(item)))
        expected = "a list of tables, each [[ … ]] or { … }" if rows else name

        def structure(raw: Any, _: Any) -> Any:
            _must_be(raw, kind, expected)
            hook = converter.get_structure_hook(item)
            done, errors = [], []
            for key, value in list(raw.items() if kind is dict else enumerate(raw)):
                try:
                    if value is not ABSENT:
                        done.append((key, hook(value, item)))
                    elif keeps_place:
                        done.append((key, None))
                except Exception as error:
                    error.add_note(IterableValidationNote("", key, item))
                    errors.append(error)
            if errors:
                raise cattrs.IterableValidationError(name, errors, kind)
            return dict(done) if kind is dict else [value for _, value in done]

        return structure

    return factory


def _is_a(kind: type) -> Callable[[Any], bool]:
    def holds(wanted: Any) -> bool:
        origin: Any = get_origin(wanted)
        return origin is kind

    return holds


# ---- single values


def _must_be(raw: Any, kind: type, name: str) -> None:
    if not isinstance(raw, kind):
        raise _Misfit(f"is {_key_text(raw)}", name)


def _key_text(raw: Any) -> str:
    if isinstance(raw, bool):
        return f"{str(raw).lower()}, a yes or no"
    if isinstance(raw, (int, float)):
        return f"the number {raw}"
    if isinstance(raw, str):
        return f"the text {quotation(raw)}"
    if isinstance(raw, (datetime.date, datetime.time)):
        return f"the date {raw}"
    return (
        "a list" if isinstance(raw, list) else "a table" if isinstance(raw, Mapping) else type(raw).__name__
    )


def _is_number(raw: Any) -> bool:
    return isinstance(raw, (int, float)) and not isinstance(raw, bool)


def _text(raw: Any, wanted: Any) -> str:
    if wanted is not str:  # cattrs finds a StrEnum under the class that it rests on
        return _word(raw, wanted)
    if isinstance(raw, str):
        return raw
    raise _Misfit(f"is {_key_text(raw)}", _EXPECTED[str], quotation(str(raw)) if _is_number(raw) else "")


def _quantity(raw: Any, _: Any) -> Quantity:
    if isinstance(raw, str):
        return Quantity(raw)
    write = f'"{raw} …" in quotes and with its unit' if _is_number(raw) else ""
    raise _Misfit(f"is {_key_text(raw)}", _EXPECTED[str], write)


def _word(raw: Any, wanted: type[StrEnum]) -> StrEnum:
    """One of a closed list. All are listed, never the nearest: it may mean the opposite."""
    if isinstance(raw, str) and raw in tuple(wanted):
        return wanted(raw)
    raise _Misfit(f"is {_key_text(raw)}", f"one of {', '.join(map(quotation, wanted))}")


def _claim(raw: Any, _: Any) -> bool:
    if isinstance(raw, bool):
        return raw
    word = str(raw).casefold() if isinstance(raw, (str, int)) else ""
    yes, no = word in ("true", "yes", "1"), word in ("false", "no", "0")
    write = f"{str(yes).lower()}, without quotes" if yes or no else ""
    raise _Misfit(f"is {_key_text(raw)}", any_of(["true", "false"]), write)


def _number(raw: Any, _: Any) -> float:
    if not _is_number(raw):
        raise _Misfit(f"is {_key_text(raw)}", _EXPECTED[float])
    if not math.isfinite(raw):
        raise _Misfit(f"is {raw}", "a finite number, without quotes")
    return float(raw)


def _positive(raw: Any, _: Any) -> Positive:
    if not _is_number(raw) or not 0 < raw < math.inf:
        raise _Misfit(f"is {_key_text(raw)}", _EXPECTED[Positive])
    return Positive(float(raw))


def _words(raw: Any, _: Any) -> Words:
    words = (raw,) if isinstance(raw, str) else tuple(raw) if isinstance(raw, list) else ()
    if not words or not all(isinstance(word, str) and word for word in words):
        raise _Misfit(f"is {_key_text(raw)}", _EXPECTED[Words])
    return Words(words)


#: A number as we write it. ASCII digits only: `Decimal` would take any script's.
_PLAIN = re.compile(r"([0-9]+)(?:\.[0-9]+)?")
_DIGITS = 8


def _decimal(raw: Any, _: Any) -> Decimal:
    if not isinstance(raw, str):
        plain = _is_number(raw) and _PLAIN.fullmatch(str(raw))
        got = f"is {_key_text(raw)}"
        if isinstance(raw, float):
            got = f"is {_key_text(raw)}, which is not exact"
        raise _Misfit(got, _EXPECTED[Decimal], f'"{raw}" in quotes' if plain else "")
    match = _PLAIN.fullmatch(raw)
    if match is None:
        likely = raw.strip().rstrip("%").strip().replace(",", ".")
        if likely.startswith("-") and _PLAIN.fullmatch(likely[1:]):
            raise _Misfit(f"{quotation(raw)} is below zero", "zero or more")
        write = quotation(likely) if _PLAIN.fullmatch(likely) else ""
        raise _Misfit(f"{quotation(raw)} is not a plain decimal number", _EXPECTED[Decimal], write)
    if len(match[1]) > _DIGITS:
        raise _Misfit(f"{quotation(raw)} is too large", f"at most {_DIGITS} digits before the point")
    return Decimal(raw)


def _count(raw: Any, _: Any) -> Count:
    whole = isinstance(raw, int) and not isinstance(raw, bool)
    return Count(_decimal(str(raw) if whole else raw, _))


def _moment_of(raw: Any, _: Any) -> Moment:
    expected = _EXPECTED[Moment]
    read = raw
    if isinstance(raw, str):
        try:
            read = datetime.datetime.fromisoformat(raw)
        except ValueError as error:
            raise _Misfit(f"is {_key_text(raw)}", expected) from error
    if not isinstance(read, datetime.datetime):
        raise _Misfit(f"is {_key_text(raw)}", expected)
    if read.tzinfo is None:
        write = f"{read.isoformat()}+01:00 with your own offset, or …Z for UTC"
        raise _Misfit("says no offset from UTC", expected, write)
    try:
        there = read.astimezone(datetime.UTC)
    except OverflowError as error:
        raise _Misfit(f"is {_key_text(raw)}", expected) from error
    return Moment(there.isoformat().replace("+00:00", "Z"))


def _day(raw: Any, _: Any) -> Day:
    if isinstance(raw, datetime.date) and not isinstance(raw, datetime.datetime):
        return Day(raw.isoformat())
    if isinstance(raw, str):
        try:
            return Day(datetime.date.fromisoformat(raw).isoformat())
        except ValueError:
            pass
    raise _Misfit(f"is {_key_text(raw)}", _EXPECTED[Day])


_HOOKS: dict[Any, Callable[[Any, Any], Any]] = {
    str: _text,
    bool: _claim,
    float: _number,
    Positive: _positive,
    Words: _words,
    Decimal: _decimal,
    Count: _count,
    Moment: _moment_of,
    Day: _day,
    Quantity: _quantity,
}
_EXPECTED: dict[Any, str] = {
    str: "text in quotes",
    float: "a number, without quotes",
    Positive: "a number above 0, without quotes",
    Words: 'text in quotes, or a list of several: ["…", "…"]',
    Decimal: 'a decimal number in quotes, such as "0.60"',
    Moment: "date, time and offset, such as 2026-03-04T10:15:00+01:00",
    Day: "a day such as 2026-03-04",
}
