"""What a shop may restyle: the words that renderers add, and the theme. Both stand in templates/."""

from __future__ import annotations

import re
import string
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from pathlib import Path
from typing import Any

import attrs

from ..datafile import read_toml, required_field, structured
from ..fault import Faults, quotation
from ..kept import kept
from ..model.personal import PERSONAL_KINDS
from ..reference import data_path

#: Section → word → what must be filled in. A wording file has these and no others.
_WORDS: dict[str, dict[str, frozenset[str]]] = {
    "running": {"page": frozenset({"page", "pages"}), "draft": frozenset(), "demo": frozenset()},
    "opening": {
        "issued": frozenset({"date"}),
        "total": frozenset({"currency"}),
        "received": frozenset({"currency"}),
        "overdue": frozenset({"currency"}),
    },
    "readings": {
        word: frozenset()
        for word in ("name", "before", "after", "now", "scale", "shown", "limit", "key", "wide_key")
    },
    "approval": {
        "until": frozenset({"date"}),
        **{word: frozenset() for word in ("tick", "signed", "date", "signature")},
    },
    "strip": {
        "title": frozenset({"name"}),
        **{word: frozenset() for word in ("inside", "below", "above", "across", "bare")},
        "reading": frozenset({"where"}),
        "both": frozenset({"before", "after"}),
    },
    "lines": {
        **{word: frozenset() for word in ("text", "quantity", "price", "tax")},
        **{word: frozenset({"currency"}) for word in ("net", "with_tax", "price_as_noted")},
    },
    "account": {
        **{
            word: frozenset()
            for word in (
                "told",
                "what",
                "found",
                "proof",
                "proof_proposed",
                "work",
                "proposed",
                "next",
            )
        },
        **{word: frozenset({"currency"}) for word in ("net", "with_tax", "price_as_noted")},
        "before": frozenset({"value"}),
        "now": frozenset({"value"}),
        "usual": frozenset({"usual"}),
        "quoted": frozenset({"words"}),
    },
    "code": {
        **{
            word: frozenset()
            for word in (
                *("scan", "link", "opened", "mark", "mark_what", "no_link", "draft"),
                *("see", "compare", "transfer"),
            )
        },
        "typed": frozenset({"code"}),
        "carried": frozenset({"mark", "key"}),
    },
    "page": {
        "before": frozenset({"value"}),
        "now": frozenset({"value"}),
        **{
            word: frozenset()
            for word in (
                "told",
                "shaded",
                "was",
                "is_now",
                "read",
                "seen",
                "measured",
                "source",
                "what_next",
                "bill",
                "costs",
                "answer",
                "valid_until",
                "your_copy",
                "differ",
                "about",
            )
        },
    },
    "mask": {kind: frozenset() for kind in PERSONAL_KINDS},
    "removed": {kind: frozenset() for kind in PERSONAL_KINDS},
}

Wording = Mapping[str, Mapping[str, str]]

LEAST, MOST = 8.0, 40.0  # mm; a margin that printers can keep, and one that leaves room for the text
BLACK = "#000000"
PAPERS = ("A4", "letter")


@attrs.frozen(kw_only=True)
class Theme:
    """The ink as red, green, blue in 0…1 and as typed; the paper's name; margins of the sheet in mm."""

    ink: tuple[float, float, float]
    ink_text: str
    paper: str
    left: float
    right: float
    top: float
    bottom: float


#: The language of the paper that is drawn just now.
_language: ContextVar[str] = ContextVar("language", default="en")


@contextmanager
def words_in(language: str) -> Iterator[None]:
    """Whatever is drawn in the `with` block says its words in this language, where they are there in it."""
    before = _language.set(language)
    try:
        yield
    finally:
        _language.reset(before)


def decimal_mark() -> str:
    """What stands before the decimals in the language of what is drawn just now (Unicode CLDR, by babel)."""
    return _decimal_mark(_language.get())


@lru_cache(maxsize=8)
def _decimal_mark(language: str) -> str:
    if language == "en":
        return "."
    from babel.numbers import get_decimal_symbol

    return str(get_decimal_symbol(language))


def wording() -> Wording:
    """The words of templates/wording.toml, or of the language of what is drawn just now.

    Raises:
        DataFileError: a word is missing, unknown, empty, or asks for something that is not filled in; all of
            them at once.
    """
    return _wording_of(_language.get())


@lru_cache(maxsize=8)
def _wording_of(language: str) -> Wording:
    path = data_path("templates") / f"wording.{language}.toml"
    if not path.is_file():
        path = data_path("templates/wording.toml")
    return kept(path.stem, [path], lambda: read_wording(path), code=Path(__file__).parent)


@lru_cache(maxsize=1)
def theme() -> Theme:
    """The theme of templates/theme.toml.

    Raises:
        DataFileError: an entry is missing, unknown or unfit to print; all of them at once.
    """
    return read_theme(data_path("templates/theme.toml"))


@lru_cache(maxsize=1)
def _wording_file() -> type[Any]:
    """A wording file, a class for each section."""
    sections = {
        section: attrs.make_class(
            section,
            {word: attrs.field(type=str, default="", metadata={"expected": "a text"}) for word in words},
        )
        for section, words in _WORDS.items()
    }
    return attrs.make_class(
        "_WordingFile",
        {
            section: attrs.field(type=form, factory=form, metadata={"expected": f"a section [{section}]"})
            for section, form in sections.items()
        },
    )


def read_wording(path: Path) -> Wording:
    """A wording file, checked; see `wording`."""
    faults = Faults()
    data = read_toml(path)
    words: Wording = attrs.asdict(structured(data, _wording_file(), faults))
    for section, fields in _WORDS.items():
        for word, filled_in in fields.items():
            at = (section, word)
            if not faults.at(at) and not faults.at((section,)):
                for got, expected in _word_faults(words[section][word], filled_in):
                    faults.add(at, got, expected)
    faults.refuse(data, str(path))
    return words


def _word_faults(word: str, filled_in: frozenset[str]) -> Iterator[tuple[str, str]]:
    if not word.strip():
        yield "is empty", "a text"
    try:
        asked = {name for _, name, _, _ in string.Formatter().parse(word) if name is not None}
    except ValueError as error:
        yield str(error), "a brace that shall be printed to be written twice"
        return
    for name in sorted(asked - filled_in):
        yield f"{{{name}}} is not filled in here", _list_of(filled_in)


def _list_of(fields: frozenset[str]) -> str:
    return ", ".join(f"{{{name}}}" for name in sorted(fields)) or "nothing to fill in"


@attrs.define(kw_only=True)
class _Margins:
    left: float = required_field("a number, 8 to 40 mm", default=LEAST)
    right: float = required_field("a number, 8 to 40 mm", default=LEAST)
    top: float = required_field("a number, 8 to 40 mm", default=LEAST)
    bottom: float = required_field("a number, 8 to 40 mm", default=LEAST)


@attrs.define(kw_only=True)
class _ThemeFile:
    ink: str = required_field("a colour", '"#rrggbb"', default=BLACK)
    paper: str = required_field("a size of paper", '"A4" or "letter"', default=PAPERS[0])
    margins: _Margins = required_field("a section [margins]", factory=_Margins)


def read_theme(path: Path) -> Theme:
    """A theme file, checked; see `theme`."""
    faults = Faults()
    data = read_toml(path)
    form = structured(data, _ThemeFile, faults)
    ink = form.ink
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", ink):
        faults.add(("ink",), f"{quotation(ink)} is no colour", "a colour", '"#rrggbb"')
        ink = BLACK
    elif (contrast := contrast_with_white(ink)) < 4.5:
        got = f"{ink} stands at {contrast:.1f} to 1 against white"
        faults.add(("ink",), got, "4.5 or more, the least that reads well", "a darker one")
    if form.paper not in PAPERS:
        faults.add(
            ("paper",),
            f"{quotation(form.paper)} is no size known here",
            "a size of paper",
            '"A4" or "letter"',
        )
    margins: dict[str, float] = attrs.asdict(form.margins)
    for side, margin in margins.items():
        if not LEAST <= margin <= MOST:
            faults.add(("margins", side), f"is {margin:g} mm", f"{LEAST:g} to {MOST:g} mm")
    faults.refuse(data, str(path))
    red, green, blue = (int(ink[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return Theme(ink=(red, green, blue), ink_text=ink.lower(), paper=form.paper, **margins)


def contrast_with_white(ink: str) -> float:
    """Contrast of `#rrggbb` with white, 1…21; source: WCAG 2.2, contrast ratio and relative luminance."""
    channels = (int(ink[at : at + 2], 16) / 255 for at in (1, 3, 5))
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in channels
    )
    return 1.05 / (0.2126 * red + 0.7152 * green + 0.0722 * blue + 0.05)
