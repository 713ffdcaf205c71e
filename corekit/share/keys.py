"""The link key, in a file of its own outside the store, and the key for publishing.

Who has the store alone cannot draw a code again; who has the key alone has nothing to open. The key is made
once. If it is lost, codes already printed still open (the page server keeps hashes of tokens, not the key),
but none of them can be printed again and no new link of an old document can be made, so a lost key is said
loudly and never replaced by itself.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import os
import re
import secrets
from pathlib import Path

from ..errors import CorekitError
from ..files import write_once
from .link import KEY_BYTES

_WORD = "corekit-link-key-1"
_LINE = re.compile(rf"{_WORD} ([A-Z2-7]{{52}}) ([0-9a-f]{{8}})\n?")
_AT_MOST = 1024


class LinkKeyError(CorekitError, ValueError):
    """The link key cannot be made or read; the message says which file, what is wrong and what to do."""


def create_link_key(path: str | Path) -> bytes:
    """Draw a new link key and write it to `path`, mode 0600. A file that is there is never overwritten.

    Raises:
        LinkKeyError: the file exists, or cannot be written.
    """
    path = Path(path)
    key = secrets.token_bytes(KEY_BYTES)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_once(path, _line(key).encode("ascii"))
    except FileExistsError as error:
        raise LinkKeyError(
            f"{path}: there is a file already, and a link key is never overwritten; use it, or name another"
            " file."
        ) from error
    except OSError as error:
        raise LinkKeyError(
            f"{path}: the link key could not be written ({error.strerror or error}); free some space or"
            " choose another folder."
        ) from error
    return key


def read_link_key(path: str | Path) -> bytes:
    """The link key in `path`.

    Raises:
        LinkKeyError: there is no file, it cannot be read, others may read it, or it is not a whole link key.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            mode = os.fstat(file.fileno()).st_mode
            data = file.read(_AT_MOST + 1)
    except FileNotFoundError as error:
        raise LinkKeyError(
            f"{path}: the link key is not there; bring it back from the backup. Without it no code can be"
            " printed again."
        ) from error
    except OSError as error:
        raise LinkKeyError(f"{path}: the link key cannot be read ({error.strerror or error}).") from error
    if os.name == "posix" and mode & 0o077:
        raise LinkKeyError(
            f"{path}: other people on this machine can read the link key (mode {mode & 0o777:03o}); run:"
            f" chmod 600 {path}"
        )
    found = _LINE.fullmatch(data.decode("ascii", "replace"))
    if found is None:
        raise LinkKeyError(
            f'{path}: this is not a link key; it must be one line that begins with "{_WORD}". Bring it back'
            " from the backup."
        )
    try:
        key = base64.b32decode(found[1] + "=" * 4)
    except (
        binascii.Error
    ) as error:  # pragma: no cover - the pattern above lets through only what base 32 can read
        raise LinkKeyError(f"{path}: this is not a link key.") from error
    if found[0].rstrip("\n") != _line(key).rstrip("\n"):
        raise LinkKeyError(
            f"{path}: the link key is damaged (its check figures do not fit); bring it back from the backup."
        )
    return key


def new_bearer() -> str:
    """A fresh key for publishing: 128 random bits in base 32."""
    return base64.b32encode(secrets.token_bytes(16)).decode("ascii").rstrip("=")


def _line(key: bytes) -> str:
    text = base64.b32encode(key).decode("ascii").rstrip("=")
    return f"{_WORD} {text} {hashlib.sha256(text.encode('ascii')).hexdigest()[:8]}\n"
