"""What a shop may restyle: the words that renderers add, and the theme. Both stand in templates/."""

from __future__ import annotations

import re
import string
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import attrs

from ..model.personal import PERSONAL_KINDS
from ..reference import DataError, data_path, load_toml

#: Section → word → what must be filled in. A wording file has these and no others.
_WORDS: dict[str, dict[str, frozenset[str]]] = {
    "running": {"page": frozenset({"page", "pages"}), "draft": frozenset(), "demo": frozenset()},
    "opening": {
        "issued": frozenset({"date"}),
        "total": frozenset({"currency"}),
        "received": frozenset({"currency"}),
    },
    "readings": {word: frozenset() for word in ("name", "before", "after", "scale", "limit", "key")},
    "strip": {
        "title": frozenset({"name"}),
        **{word: frozenset() for word in ("inside", "below", "above", "across", "bare")},
        "reading": frozenset({"where"}),
        "both": frozenset({"before", "after"}),
    },
    "lines": {
        **{word: frozenset() for word in ("text", "quantity", "price", "tax")},
        "net": frozenset({"currency"}),
    },
    "code": {
        word: frozenset() for word in ("scan", "link", "opened", "mark", "mark_what", "no_link", "draft")
    },
    "mask": {kind: frozenset() for kind in PERSONAL_KINDS},
    "removed": {kind: frozenset() for kind in PERSONAL_KINDS},
}

Wording = Mapping[str, Mapping[str, str]]


@attrs.frozen(kw_only=True)
class Theme:
    """The ink as red, green, blue in 0…1 and as typed; margins of the A4 sheet in mm."""

    ink: tuple[float, float, float]
    ink_text: str
    left: float
    right: float
    top: float
    bottom: float


@lru_cache(maxsize=1)
def wording() -> Wording:
    """The words of templates/wording.toml.

    Raises:
        DataError: a word is missing, unknown, empty, or asks for something that is not filled in; all of
            them at once.
    """
    return read_wording(data_path("templates/wording.toml"))


@lru_cache(maxsize=1)
def theme() -> Theme:
    """The theme of templates/theme.toml.

    Raises:
        DataError: an entry is missing, unknown or unfit to print; all of them at once.
    """
    return read_theme(data_path("templates/theme.toml"))


def read_wording(path: Path) -> Wording:
    """A wording file, checked; see `wording`."""
    data = load_toml(path)
    faults = [f"{path}: [{section}] is not known here." for section in data if section not in _WORDS]
    for section, words in _WORDS.items():
        given = data.get(section)
        if not isinstance(given, dict):
            faults.append(f"{path}: section [{section}] is missing.")
            continue
        faults += [f"{path}: {section}.{word} is not known here." for word in given if word not in words]
        faults += [
            f"{path}: {section}.{word}: {fault}"
            for word, fields in words.items()
            for fault in _word_faults(given.get(word), fields)
        ]
    if faults:
        raise DataError(faults)
    return data


def _word_faults(word: Any, fields: frozenset[str]) -> list[str]:
    if not isinstance(word, str) or not word.strip():
        return [f"a text must stand here; got {word!r}."]
    try:
        asked = {name for _, name, _, _ in string.Formatter().parse(word) if name is not None}
    except ValueError as error:
        return [f"{error}; a brace that shall be printed is written twice."]
    return [
        f"{{{name}}} is not filled in here; there is {_listed(fields)}." for name in sorted(asked - fields)
    ]


def _listed(fields: frozenset[str]) -> str:
    return ", ".join(f"{{{name}}}" for name in sorted(fields)) or "nothing to fill in"


def read_theme(path: Path) -> Theme:
    """A theme file, checked; see `theme`."""
    data = load_toml(path)
    margins = data.get("margins")
    faults = [f"{path}: {name} is not known here." for name in data if name not in ("ink", "margins")]
    ink = data.get("ink")
    if not isinstance(ink, str) or not re.fullmatch(r"#[0-9a-fA-F]{6}", ink):
        faults.append(f'{path}: ink must be written "#rrggbb"; got {ink!r}.')
        ink = "#000000"
    elif contrast_with_white(ink) < 4.5:
        faults.append(
            f"{path}: ink {ink} stands at {contrast_with_white(ink):.1f} to 1 against white; 4.5 is the least"
            " that reads well. Take a darker one."
        )
    if not isinstance(margins, dict):
        faults.append(f"{path}: section [margins] is missing.")
        margins = {}
    sides = ("left", "right", "top", "bottom")
    faults += [f"{path}: margins.{name} is not known here." for name in margins if name not in sides]
    for side in sides:
        margin = margins.get(side)
        if isinstance(margin, bool) or not isinstance(margin, (int, float)) or not 8 <= margin <= 40:
            faults.append(f"{path}: margins.{side} is 8 to 40 mm; got {margin!r}.")
    if faults:
        raise DataError(faults)
    red, green, blue = (int(ink[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return Theme(
        ink=(red, green, blue), ink_text=ink.lower(), **{side: float(margins[side]) for side in sides}
    )


def contrast_with_white(ink: str) -> float:
    """Contrast of `#rrggbb` with white, 1…21; source: WCAG 2.2, contrast ratio and relative luminance."""
    channels = (int(ink[at : at + 2], 16) / 255 for at in (1, 3, 5))
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in channels
    )
    return 1.05 / (0.2126 * red + 0.7152 * green + 0.0722 * blue + 0.05)
