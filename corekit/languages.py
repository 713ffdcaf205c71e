"""The languages that papers can be in: English, and each that has a catalogue in templates/language."""

from __future__ import annotations

from functools import lru_cache

from .reference import data_path

#: The language that papers are built in.
ENGLISH = "en"
FOLDER = "templates/language"


@lru_cache(maxsize=1)
def languages() -> tuple[str, ...]:
    """Their codes by ISO 639, English first."""
    found = sorted(path.stem for path in data_path(FOLDER).iterdir() if path.suffix == ".toml")
    return (ENGLISH, *(code for code in found if code != ENGLISH))
