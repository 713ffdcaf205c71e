"""Signs that steer a machine or that nobody sees: refused where text comes in, shown by their code where it
goes out.
"""

from __future__ import annotations

import re

#: Fills a place and is drawn as nothing, though no category of Unicode says so: fillers, the grapheme joiner,
#: the empty pattern of braille (Unicode, property Default_Ignorable_Code_Point, and U+2800; from memory).
_BLANK = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0")
_JOINERS = ("\u200c", "\u200d")
#: Writing whose letters a joiner parts or joins: Arabic and its neighbours, and the scripts of India.
_JOINING = re.compile(
    "[\u0600-\u07bf\u0840-\u08ff\u0900-\u0dff\u1000-\u109f\u1780-\u17ff\ufb50-\ufdff\ufe70-\ufeff]"
)
_PICTURES = re.compile("[\u200d\u2190-\u2bff\u3030\u303d\u3297\u3299\ufe0f\U0001f000-\U0001faff]")

#: Characters of one text that somebody typed.
LONGEST = 4000


def steering(text: str) -> str:
    """The first sign that no text has, by its code (`U+001B`): a control character, half of a pair, or one
    that turns the writing round; empty where there is none. Line ends and tabs are control characters too.
    """
    if text.isprintable():
        return ""
    for sign in text:
        code = ord(sign)
        if (
            code < 0x20
            or 0x7F <= code < 0xA0
            or 0xD800 <= code <= 0xDFFF
            or 0x202A <= code <= 0x202E
            or 0x2066 <= code <= 0x2069
        ):
            return f"U+{code:04X}"
    return ""


def text_fault(text: str) -> str:
    """What is wrong with a text that somebody typed, completing *it …*; empty where nothing is."""
    if len(text) > LONGEST:
        return f"has {len(text)} characters; at most {LONGEST} are taken"
    sign = steering(text.translate(_LINE_ENDS))
    return (
        f"has the character {sign} in it, which is no text that can be printed; take it out" if sign else ""
    )


_LINE_ENDS = dict.fromkeys(map(ord, "\n\r\t"))


def visible(text: str, keep: str = "\n") -> str:
    """The text with every sign that steers a machine or that nobody sees shown by its code.

    Joiners stay where the writing needs them, spaces of any width and marks on letters always do.

    Args:
        keep: Signs that stay although they are of that kind.

    >>> visible("a\\x1b[2Jb\\u200bc")
    'a[U+001B][2Jb[U+200B]c'
    """
    if text.isascii() and (text.isprintable() or (text.replace("\n", "").isprintable() and "\n" in keep)):
        return text
    return "".join(
        sign if sign in keep or is_visible(text, place) else f"[U+{ord(sign):04X}]"
        for place, sign in enumerate(text)
    )


def has_blank(text: str) -> bool:
    """True where a sign in it fills a place and is drawn as nothing."""
    return not _BLANK.isdisjoint(text)


def is_visible(text: str, place: int) -> bool:
    """True for a sign that is seen, is a space, or joins or parts the letters beside it as their writing
    asks.
    """
    sign = text[place]
    if sign.isprintable() or (sign.isspace() and sign > "\x9f" and sign not in "\u2028\u2029"):
        return sign not in _BLANK
    if sign in _JOINERS and 0 < place < len(text) - 1:
        before, after = text[place - 1], text[place + 1]
        return any(kind.match(before) and kind.match(after) for kind in (_JOINING, _PICTURES))
    return False
