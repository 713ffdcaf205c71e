"""The words that a job is found by: what a text of vehicle or customer becomes, and what somebody typed."""

from __future__ import annotations

import re
import unicodedata
from datetime import date

#: Digits of a phone number that are compared, from its end: with and without the country's code it is one.
PHONE_TAIL = 8
_SHORTEST, _LONGEST = 2, 60
_WORD = re.compile(r"\w+")
_ISO_DAY = re.compile(r"[0-9]{4}-[0-9]{2}(-[0-9]{2})?")
_DOTTED = re.compile(r"(?P<day>[0-9]{1,2})[./](?P<month>[0-9]{1,2})[./](?P<year>[0-9]{4})")
_NAMED = re.compile(r"(?P<day>[0-9]{1,2})\.? (?P<month>[a-z]{3})[a-z]*\.?(?: (?P<year>[0-9]{4}))?")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def folded(text: str) -> str:
    """A text as it is compared: small letters without their marks.

    >>> folded("Łódź, Grün")
    'łodz, grun'
    """
    parted = unicodedata.normalize("NFKD", text.casefold())
    return "".join(char for char in parted if not unicodedata.combining(char))


def compact(text: str) -> str:
    """The letters and digits of a text alone: a plate is one, however it is parted.

    >>> compact("DEMO-1 X")
    'demo1x'
    """
    return "".join(char for char in folded(text) if char.isalnum())


def search_words(kind: str, text: str) -> set[str]:
    """The words of a text by its kind: a plate or a VIN is one word, a phone number its last digits, anything
    else its words.
    """
    if not text.strip():
        return set()
    if kind in ("plate", "vin"):
        return {compact(text)[:_LONGEST]} - {""}
    if kind == "phone":
        digits = "".join(char for char in text if char.isdecimal())
        return {digits[-PHONE_TAIL:]} - {""}
    return {word[:_LONGEST] for word in _WORD.findall(folded(text)) if len(word) >= _SHORTEST}


def asked_words(text: str, today: date) -> list[tuple[str, ...]]:
    """What somebody typed, as it may be meant: each way the words that all must be there, the whole as one
    first.

    >>> asked_words("DEMO 1", date(2026, 11, 29))
    [('demo1',), ('demo 1',)]
    >>> asked_words("3 May", date(2026, 11, 29))[-1]
    ('2026-05-03',)
    """
    typed = " ".join(text.split())[: _LONGEST * 2]
    ways: list[tuple[str, ...]] = []
    whole, digits = compact(typed), "".join(char for char in typed if char.isdecimal())
    if len(whole) >= _SHORTEST:
        ways.append((whole,))
    if len(digits) >= PHONE_TAIL and re.fullmatch(r"[+0-9 ()/.-]+", typed):
        ways.append((digits[-PHONE_TAIL:],))
    if len(typed) >= _SHORTEST:
        ways.append((typed.casefold(),))
    words = tuple(word for word in _WORD.findall(folded(typed)) if len(word) >= _SHORTEST)
    if len(words) > 1:
        ways.append(words)
    ways += [(day,) for day in [asked_day(typed, today)] if day]
    return list(dict.fromkeys(ways))


def asked_day(typed: str, today: date) -> str:
    """A day as it may be written, or a month in figures, in ISO 8601; empty where it is none. Without a year
    the last such day.
    """
    typed = typed.casefold()
    if _ISO_DAY.fullmatch(typed):
        return typed
    found = _DOTTED.fullmatch(typed) or _NAMED.fullmatch(typed)
    if found is None:
        return ""
    month = found["month"]
    number = int(month) if month.isdecimal() else _MONTHS.index(month) + 1 if month in _MONTHS else 0
    try:
        day = date(int(found["year"] or today.year), number, int(found["day"]))
        if not found["year"] and day > today:
            day = day.replace(year=today.year - 1)
    except ValueError:
        return ""
    return day.isoformat()
