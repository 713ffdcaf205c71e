"""Days and distances as a paper prints them; data keeps them as they were written down."""

from __future__ import annotations

import re
from datetime import date

from .. import units

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_DISTANCE = re.compile(r"(\d{5,9})(\s*[A-Za-z]+)?")
#: Between groups of three digits, so that no line is broken there.
GROUP = "\u00a0"


def day_words(day: str) -> str:
    """A day as people write it; what is no day stays as it is.

    >>> day_words("2026-11-28"), day_words("today")
    ('28 Nov 2026', 'today')
    """
    if not _DAY.fullmatch(day[:10]):
        return day
    try:
        on = date.fromisoformat(day[:10])
    except ValueError:
        return day
    return f"{on.day} {MONTHS[on.month - 1]} {on.year}"


def days_in(text: str) -> str:
    """The same of every day that stands in a text."""
    return _DAY.sub(lambda match: day_words(match[0]), text)


def distance_words(typed: str, metres: float | None = None) -> str:
    """A distance with its digits in groups of three from five digits on (ISO 80000-1, 7.3.1); anything else
    stays as it was typed. Where the shop wants another unit, in that first, to the whole one.

    Args:
        metres: The same distance, where it is known.

    >>> distance_words("98400 km").replace(GROUP, " "), distance_words("4300 km")
    ('98 400 km', '4300 km')
    """
    if metres is not None and (unit := units.shown_unit("km")) != "km" and not typed.strip().endswith(unit):
        return (
            f"{distance_words(f'{units.from_coherent(metres, unit):.0f} {unit}')} ({distance_words(typed)})"
        )
    match = _DISTANCE.fullmatch(typed.strip())
    if match is None:
        return typed
    return f"{int(match[1]):,}".replace(",", GROUP) + (match[2] or "")
