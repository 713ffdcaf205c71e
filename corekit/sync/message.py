"""What goes over the line between a van and its hub: bodies that are packed, and who signed them.

A body is canonical JSON, deflated. A van signs each request with its device key, together with a challenge
that the hub gave it a moment before, so that no clock of a van matters. Who repeats what a van sent adds
nothing: each entry is taken in once.
"""

from __future__ import annotations

import base64
import hashlib
import json
import zlib
from typing import Any

from ..errors import CorekitError
from ..model.canonical import canonical

#: A body is at most so large before it is packed: one parcel with a few photos.
LARGEST = 64 * 1024 * 1024
#: How packed bodies are called.
CONTENT_TYPE = "application/x-corekit-parcel"
#: What the office is called among the devices: it writes in a chain of its own, and no job goes on there.
OFFICE = "OFFICE"
#: Whole numbers from here on are no doubles of their own; see `store.rows`.
_SAFE = 2**53


class SyncError(CorekitError):
    """A van and its hub cannot be brought together now; the text says why and what to do.

    Attributes:
        later: Nothing is wrong but the line; it is tried again by itself.
    """

    def __init__(self, text: str, *, later: bool = False) -> None:
        super().__init__(text)
        self.later = later


def packed(data: Any) -> bytes:
    return zlib.compress(canonical(data), 6)


def unpacked(body: bytes) -> Any:
    """Plain data of a packed body.

    Raises:
        SyncError: it is none, or too large.
    """
    unpack = zlib.decompressobj()
    try:
        text = unpack.decompress(body, LARGEST)
        if not unpack.eof:
            raise SyncError("What came is cut or too large. Nothing was taken in.", later=True)
        return json.loads(text, parse_int=_whole, parse_constant=_no_number)
    except (zlib.error, ValueError, RecursionError) as error:
        raise SyncError(f"What came cannot be read ({error}). Nothing was taken in.", later=True) from error


def _whole(digits: str) -> int | float:
    number = int(digits)
    return number if -_SAFE < number < _SAFE else float(digits)


def _no_number(text: str) -> Any:
    raise ValueError(f"{text} is no number")


def signed_text(method: str, path: str, letters: str, challenge: str, body: bytes) -> bytes:
    """What a device signs of a request."""
    return canonical(["corekit sync 1", method, path, letters, challenge, hashlib.sha256(body).hexdigest()])


def base32(data: bytes) -> str:
    return base64.b32encode(data).decode("ascii").rstrip("=")


def from_base32(text: str) -> bytes:
    """Raises: ValueError: the text is no base 32."""
    return base64.b32decode(text + "=" * (-len(text) % 8))
