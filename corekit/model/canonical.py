"""One way to write data down before it is hashed (RFC 8785), so that the same thing always has
the same hash.
"""

from __future__ import annotations

import hashlib
import unicodedata
from typing import Any

import rfc8785


def canonical(data: Any) -> bytes:
    """RFC 8785 text of plain JSON data, with every string in Unicode NFC.

    Raises:
        ValueError: the data holds something JSON cannot (NaN, a set, an integer of 2^53 or more), or two
            names that differ only in how their letters are composed.
    """
    try:
        return rfc8785.dumps(_composed(data))
    except rfc8785.CanonicalizationError as error:
        raise ValueError(f"This cannot be written down for good: {error}") from error


def digest(data: Any) -> str:
    """SHA-256 of the canonical text, in hexadecimal."""
    return hashlib.sha256(canonical(data)).hexdigest()


def _composed(data: Any) -> Any:
    if isinstance(data, str):
        return unicodedata.normalize("NFC", data)
    if isinstance(data, dict):
        composed = {_composed(key): _composed(item) for key, item in data.items()}
        if len(composed) < len(data):
            raise ValueError(
                f"This cannot be written down for good: of {', '.join(map(repr, data))} two are one name in"
                " Unicode NFC."
            )
        return composed
    if isinstance(data, (list, tuple)):
        return [_composed(item) for item in data]
    return data
