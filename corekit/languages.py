"""The languages that papers and screens can be in: English, and each that has a catalogue in
templates/language, or in the folder screens there.
"""

from __future__ import annotations

from functools import lru_cache

from .reference import data_path

#: The language that papers are built in.
ENGLISH = "en"
FOLDER = "templates/language"
SCREENS = f"{FOLDER}/screens"


@lru_cache(maxsize=1)
def languages() -> tuple[str, ...]:
    """Their codes by ISO 639, English first."""
    found = sorted(path.stem for path in data_path(FOLDER).iterdir() if path.suffix == ".toml")
    return (ENGLISH, *(code for code in found if code != ENGLISH))


@lru_cache(maxsize=1)
def screen_languages() -> tuple[str, ...]:
    """The same of screens; each of them papers can be in as well."""
    return tuple(code for code in languages() if code == ENGLISH or _has_screens(code))


def screen_language(code: str) -> str:
    """The language, if screens can be in it; else English."""
    return code if code in screen_languages() else ENGLISH


def _has_screens(code: str) -> bool:
    return (data_path(SCREENS) / f"{code}.toml").is_file()


def name_of(code: str) -> str:
    """What speakers of a language call it, `Deutsch`; by babel (Unicode CLDR)."""
    from babel import Locale

    name = Locale.parse(code).get_display_name(code) or code
    return f"{name[:1].upper()}{name[1:]}"
