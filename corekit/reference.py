"""Data files that come with corekit, and their sources: one way to find them, one way to read them."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any

import attrs

from .errors import CorekitError
from .model.source import Basis, Source, Status
from .model.trouble import CodeError, is_generic, read_code

#: The folders that travel with the package: in a wheel inside it, in a checkout beside it.
FOLDERS = ("shared", "templates", "demo")

_PACKAGE = Path(__file__).resolve().parent


class DataError(CorekitError, ValueError):
    """A data file is missing or cannot be used. `faults` holds one sentence each; the text is all of them."""

    def __init__(self, faults: Iterable[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(self.faults))


def data_path(name: str) -> Path:
    """Where a data folder, or a file in it, stands: `data_path("shared")`, `data_path("shared/units.toml")`.

    In an installed package that is inside `corekit/`; in a checkout it is beside `pyproject.toml`.

    Raises:
        DataError: the name is in none of the folders that come with corekit, or is not there.
    """
    parts = name.split("/")
    if parts[0] not in FOLDERS or any(part in ("", ".", "..") for part in parts):
        raise DataError([f"Data files stand in {', '.join(FOLDERS)}; there is no {name!r}."])
    installed = _PACKAGE.joinpath(*parts)
    if installed.exists():
        return installed
    checkout = _PACKAGE.parent
    beside = checkout.joinpath(*parts)
    if (checkout / "pyproject.toml").is_file() and beside.exists():
        return beside
    raise DataError(
        [
            f"corekit's data {name!r} is neither at {installed} nor beside pyproject.toml in {checkout};"
            " install corekit again."
        ]
    )


def load_toml(path: Path) -> dict[str, Any]:
    """The content of one of our own TOML files.

    Raises:
        DataError: the file is missing, is not UTF-8, or is not TOML (with line and column).
    """
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise DataError([f"{path}: cannot be read ({error.strerror or error})."]) from error
    except UnicodeDecodeError as error:
        raise DataError([f"{path}: is not UTF-8 text (byte {error.start}); save it as UTF-8."]) from error
    except tomllib.TOMLDecodeError as error:
        raise DataError([f"{path}: is not TOML: {error}."]) from error


_FIELDS = ("key", "title", "where", "address", "basis", "status", "note")
_NEEDED = ("key", "title", "basis", "status")


@lru_cache(maxsize=64)
def sources(path: Path) -> dict[str, Source]:
    """Key → source, from a `sources.toml` of `[[source]]` tables, in the file's order.

    Each table has `key`, `title`, `basis`, `status` and may have `where`, `address`, `note`. The result is
    read once per path and shared; do not change it.

    Raises:
        DataError: one sentence for every bad entry, all of them at once.
    """
    data = load_toml(path)
    rows = data.get("source", [])
    faults = [
        f"{path}: {key!r} is not known here; the file holds [[source]] tables only."
        for key in data
        if key != "source"
    ]
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise DataError([*faults, f"{path}: write each source as a [[source]] table."])
    found: dict[str, Source] = {}
    for place, row in enumerate(rows):
        wrong = _faults_of(row)
        key = row.get("key")
        if isinstance(key, str) and key in found:
            wrong.append(f"the key {key!r} is taken by an earlier source; give it another")
        if wrong:
            faults += [f"{path}: source[{place}] ({key or 'no key'}): {fault}." for fault in wrong]
        else:
            found[row["key"]] = Source(
                **(row | {"basis": Basis(row["basis"]), "status": Status(row["status"])})
            )
    if faults:
        raise DataError(faults)
    return found


def _faults_of(row: dict[str, Any]) -> list[str]:
    wrong = [f"{name!r} is missing" for name in _NEEDED if not row.get(name)]
    wrong += [
        f"{name!r} is not known; a source has {', '.join(_FIELDS)}" for name in row if name not in _FIELDS
    ]
    wrong += [
        f"{name!r} must be text, got {row[name]!r}"
        for name in _FIELDS
        if name in row and not isinstance(row[name], str)
    ]
    for name, choices in (("basis", Basis), ("status", Status)):
        given = row.get(name)
        if given and isinstance(given, str) and given not in list(choices):
            wrong.append(f"{name} {given!r} is not known; it is one of {', '.join(choices)}")
    return wrong


@attrs.frozen(kw_only=True)
class CodeMeaning:
    """What a generic trouble code means, in our own words, and where that is known from."""

    code: str
    meaning: str
    source: Source


@lru_cache(maxsize=1)
def code_meanings() -> dict[str, CodeMeaning]:
    """Trouble code → meaning, from `shared/trouble-codes.toml`. Read once and shared; do not change it.

    Raises:
        DataError: one sentence for every bad entry, all of them at once.
    """
    path = data_path("shared/trouble-codes.toml")
    known = sources(data_path("shared/sources.toml"))
    found: dict[str, CodeMeaning] = {}
    faults: list[str] = []
    for place, row in enumerate(load_toml(path).get("code", [])):
        code, meaning, source = (
            row.get("code", ""),
            row.get("meaning", ""),
            row.get("source", "trouble-codes"),
        )
        wrong = [f"{name!r} is not known" for name in row if name not in ("code", "meaning", "source")]
        try:
            wrong += [] if read_code(code, raw=False) == code else ["write the code in capitals"]
        except CodeError as error:
            wrong.append(str(error))
        wrong += [] if meaning else ["'meaning' is missing"]
        wrong += [f"no source {source!r} in sources.toml"] if source not in known else []
        wrong += ["the code stands there twice"] if code in found else []
        if wrong:
            faults += [f"{path}: code[{place}] ({code or 'no code'}): {fault}." for fault in wrong]
        else:
            found[code] = CodeMeaning(code=code, meaning=meaning, source=known[source])
    if faults:
        raise DataError(faults)
    return found


def code_in_words(code: str) -> str:
    """A code with its meaning, as paper prints it; where none is on file, that is said.

    >>> code_in_words("P0401")
    'P0401 (exhaust gas recirculation: less flow found than expected)'
    >>> code_in_words("P1401")
    "P1401 (a code of the vehicle maker's own; its meaning is the maker's to say)"
    """
    known = code_meanings().get(code)
    if known is not None:
        meaning = known.meaning[0].lower() + known.meaning[1:]
    else:
        meaning = (
            "a generic code; no meaning is on file here"
            if is_generic(code)
            else "a code of the vehicle maker's own; its meaning is the maker's to say"
        )
    return f"{code} ({meaning})"
