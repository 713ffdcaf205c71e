"""Data files that come with corekit: where they stand, where figures come from, what trouble codes mean."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import attrs

from .datafile import read_toml, structured, table
from .fault import DataFault, DataFileError, Faults, Place, quotation
from .kept import kept
from .model.source import Source
from .model.trouble import CodeError, is_generic, read_code

#: The folders that travel with the package: in a wheel inside it, in a checkout beside it.
FOLDERS = ("shared", "templates", "demo")

_PACKAGE = Path(__file__).resolve().parent


def data_path(name: str) -> Path:
    """Where a data folder, or a file in it, stands: `data_path("shared")`, `data_path("shared/units.toml")`.

    In an installed package that is inside `corekit/`; in a checkout it is beside `pyproject.toml`.

    Raises:
        DataFileError: the name is in none of the folders that come with corekit, or is not there.
    """
    parts = name.split("/")
    if parts[0] not in FOLDERS or any(part in ("", ".", "..") for part in parts):
        raise DataFileError(
            [DataFault("data", f"a name in {', '.join(FOLDERS)}", f"there is no {quotation(name)}")]
        )
    installed = _PACKAGE.joinpath(*parts)
    if installed.exists():
        return installed
    checkout = _PACKAGE.parent
    beside = checkout.joinpath(*parts)
    if (checkout / "pyproject.toml").is_file() and beside.exists():
        return beside
    got = f"is neither at {installed} nor beside pyproject.toml in {checkout}; install corekit again"
    raise DataFileError([DataFault(name, "", got)], "corekit's data")


@table
class _SourceFile:
    source: list[Source | None] = attrs.field(factory=list)


@lru_cache(maxsize=64)
def sources(path: Path) -> dict[str, Source]:
    """Key → source, from a `sources.toml` of `[[source]]` tables, in the file's order.

    Each table has `key`, `title`, `basis`, `status` and may have `where`, `address`, `note`. The result is
    read once per path and shared; do not change it.

    Raises:
        DataFileError: everything that is wrong, at once.
    """
    return kept("sources", [path], lambda: _read_sources(path))


def _read_sources(path: Path) -> dict[str, Source]:
    faults = Faults()
    data = read_toml(path)
    found: dict[str, Source] = {}
    for n, source in enumerate(structured(data, _SourceFile, faults).source):
        if source is not None and found.setdefault(source.key, source) is not source:
            faults.add(
                ("source", n, "key"),
                f"{quotation(source.key)} is the key of an earlier source",
                "each key once",
            )
    faults.refuse(data, str(path))
    return found


@attrs.frozen(kw_only=True)
class CodeMeaning:
    """What a generic trouble code means, in our own words, and where that is known from.

    `places`: where one looks first, for a code that names a place; systems call their places so.
    """

    code: str
    meaning: str
    source: Source
    places: tuple[str, ...] = ()


@table
class _CodeRow:
    code: str
    meaning: str
    source: str = "trouble-codes"
    places: list[str] = attrs.field(factory=list)


@table
class _CodeFile:
    code: list[_CodeRow | None] = attrs.field(factory=list)


@lru_cache(maxsize=1)
def code_meanings() -> dict[str, CodeMeaning]:
    """Trouble code → meaning, from `shared/trouble-codes.toml`. Read once and shared; do not change it.

    Raises:
        DataFileError: everything that is wrong, at once.
    """
    path = data_path("shared/trouble-codes.toml")
    beside = data_path("shared/sources.toml")
    return kept("trouble-codes", [path, beside], lambda: _read_code_meanings(path))


def _read_code_meanings(path: Path) -> dict[str, CodeMeaning]:
    known = sources(data_path("shared/sources.toml"))
    faults = Faults()
    data = read_toml(path)
    found: dict[str, CodeMeaning] = {}
    for n, row in enumerate(structured(data, _CodeFile, faults).code):
        if row is None:
            continue
        at: Place = ("code", n)
        try:
            if read_code(row.code, raw=False) != row.code:
                faults.add((*at, "code"), f"{quotation(row.code)} has small letters", "capitals")
        except CodeError as error:
            faults.add((*at, "code"), error.got, error.expected, error.write)
        if not row.meaning:
            faults.add((*at, "meaning"), "is empty", "what the code means")
        if row.code in found:
            faults.add((*at, "code"), f"{row.code} is given twice", "each code once")
        if row.source not in known:
            faults.add(
                (*at, "source"), f"there is no source {quotation(row.source)}", "a key of sources.toml"
            )
        else:
            found[row.code] = CodeMeaning(
                code=row.code, meaning=row.meaning, source=known[row.source], places=tuple(row.places)
            )
    faults.refuse(data, str(path))
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
