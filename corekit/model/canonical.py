"""One way to write data down before it is hashed (RFC 8785), so that the same thing always has
the same hash.

Two writers, one text. Python's own JSON encoder, which is compiled, writes whatever it provably writes as the
standard asks; everything else goes to the library that implements the standard. tests/model/test_canonical.py
holds the two against each other.
"""

from __future__ import annotations

import hashlib
import json
import unicodedata
from typing import Any

import rfc8785

#: From here on not every whole number is a double of its own.
_WHOLE = 2**53
#: Between these the shortest decimal text of a double is written without an exponent, by Python and by
#: ECMAScript alike (repr: 1e-4 to 1e16; ECMA-262, Number::toString: 1e-6 to 1e21; from memory).
_PLAIN_FROM, _PLAIN_TO = 1e-4, 1e16

_encoded = json.JSONEncoder(
    ensure_ascii=False, check_circular=False, allow_nan=False, sort_keys=True, separators=(",", ":")
).encode


def canonical(data: Any) -> bytes:
    """RFC 8785 text of plain JSON data, with every string in Unicode NFC.

    Raises:
        ValueError: the data holds something JSON cannot (NaN, a set, an integer of 2^53 or more), or two
            names that differ only in how their letters are composed.
    """
    text = _plain_text(data)
    if text is not None:
        return text
    data = _plain_data(data)
    text = _plain_text(data)
    if text is not None:
        return text
    try:
        return rfc8785.dumps(data)
    except rfc8785.CanonicalizationError as error:
        raise ValueError(f"This cannot be written down for good: {error}") from error


def digest(data: Any) -> str:
    """SHA-256 of the canonical text, in hexadecimal."""
    return hashlib.sha256(canonical(data)).hexdigest()


def _plain_text(data: Any) -> bytes | None:
    """The canonical text of data that Python's own encoder writes as the standard does; None for any other.

    The order of names is that of their UTF-16 units, which differs from Python's only where a letter beyond
    U+FFFF is. Composed text stays composed when it is cut into its strings (UAX 15: normalised text is closed
    under substrings), so one look at the whole does for all of them.
    """
    if not _is_plain([data]):
        return None
    text = _encoded(data)
    if text.isascii():
        return text.encode()
    try:
        has_pairs = len(text.encode("utf-16-le")) != 2 * len(text)
        return text.encode() if not has_pairs and unicodedata.is_normalized("NFC", text) else None
    except UnicodeEncodeError:  # half of a surrogate pair, which the library refuses
        return None


def _is_plain(values: Any) -> bool:
    """True when these values are made of lists, dicts with names, texts and numbers alone, and no number is
    written otherwise by Python than by ECMAScript: a whole double (1.0), a tiny or a huge one (1e-05).
    """
    for value in values:
        kind = type(value)
        if kind is str or kind is bool or value is None:
            continue
        if kind is int:
            if not -_WHOLE < value < _WHOLE:
                return False
        elif kind is float:
            if value.is_integer() or not _PLAIN_FROM <= abs(value) < _PLAIN_TO:
                return False
        elif kind is dict:
            if any(type(name) is not str for name in value) or not _is_plain(value.values()):
                return False
        elif (kind is not list and kind is not tuple) or not _is_plain(value):
            return False
    return True


def _plain_data(data: Any) -> Any:
    if isinstance(data, str):
        return unicodedata.normalize("NFC", data)
    if isinstance(data, dict):
        composed = {_plain_data(key): _plain_data(item) for key, item in data.items()}
        if len(composed) < len(data):
            raise ValueError(
                f"This cannot be written down for good: of {', '.join(map(repr, data))} two are one name in"
                " Unicode NFC."
            )
        return composed
    if isinstance(data, (list, tuple)):
        return [_plain_data(item) for item in data]
    if isinstance(data, float) and data.is_integer() and -_WHOLE < data < _WHOLE:
        return int(data)  # which both writers write alike
    return data
