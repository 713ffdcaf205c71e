"""What goes over the line between a van and its hub: bodies that are packed, and who signed them.

A body is canonical JSON, deflated. A van signs each request with its device key, together with a challenge
that the hub gave it a moment before, so that no clock of a van matters. Who repeats what a van sent adds
nothing: each entry is taken in once.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
import zlib
from typing import Any

from ..errors import CorekitError
from ..model.canonical import canonical

#: A body is at most so large before it is packed: one parcel with a few photos. No more than the server holds
#: of one client (`web.wsgi`), so that nothing which is allowed waits for ever.
LARGEST = 32 * 1024 * 1024
#: The same of what somebody says whom the hub does not know yet.
SMALL = 64 * 1024
#: Values in a body. A parcel has a third of it at most; a few packed kibibytes could say millions, and each
#: takes some hundred bytes once it is read.
MOST_VALUES = 500_000
#: How packed bodies are called.
CONTENT_TYPE = "application/x-corekit-parcel"
#: What the office is called among the devices: it writes in a chain of its own, and no job goes on there.
OFFICE = "OFFICE"
#: Whole numbers from here on are no doubles of their own; see `store.rows`.
_SAFE = 2**53
#: A text in JSON, to its end or to that of the body; never looked at twice, however it is cut.
_QUOTED = re.compile(rb'"(?:[^"\\]++|\\.?)*+"?', re.DOTALL)
#: Half of a surrogate pair, or a text that looks like it.
_HALF = re.compile(rb"\\u[dD][89a-fA-F]")


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


def unpacked(body: bytes, largest: int = LARGEST) -> Any:
    """Plain data of a packed body.

    Raises:
        SyncError: it is none, or too large.
    """
    unpack = zlib.decompressobj()
    try:
        text = unpack.decompress(body, largest) if len(body) <= largest else b""
        if not unpack.eof:
            raise SyncError("What came is cut or too large. Nothing was taken in.", later=True)
        if _values(text) >= MOST_VALUES and _values(_QUOTED.sub(b"", text)) >= MOST_VALUES:
            raise ValueError("it has too many values")
        data = json.loads(text, parse_int=_whole, parse_constant=_no_number)
        if _HALF.search(text):
            json.dumps(data, ensure_ascii=False).encode()  # raises where a text can be written nowhere
        return data
    except (zlib.error, ValueError, RecursionError) as error:
        raise SyncError(f"What came cannot be read ({error}). Nothing was taken in.", later=True) from error


def _values(text: bytes) -> int:
    return text.count(b",") + text.count(b"[") + text.count(b"{")


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
