"""The shop's signing key (Ed25519, RFC 8032): made once, its old public halves kept.

A signature shows that whoever holds the key wrote these bytes, and nothing of whether they are true.
"""

from __future__ import annotations

import base64
import hashlib
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

from ..files import write_once
from ..model.mark import letters
from .keys import LinkKeyError

if TYPE_CHECKING:  # loaded where something is signed or verified: most commands do neither
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

_WORD, _PUBLIC_WORD = "corekit-signing-key-1", "corekit-public-key-1"
_LINE = re.compile(rf"{_WORD} ([A-Z2-7]{{52}}) ([0-9a-f]{{8}})\n?")
_PUBLIC = re.compile(rf"{_PUBLIC_WORD} ([A-Z2-7]{{52}})\n?")
PUBLIC_SUFFIX = ".public"


@attrs.frozen
class SigningKey:
    """A private key of 32 bytes."""

    secret: bytes = attrs.field(repr=False)

    @property
    def public(self) -> bytes:
        return self._key.public_key().public_bytes_raw()

    @property
    def name(self) -> str:
        return fingerprint(self.public)

    def sign(self, message: bytes) -> bytes:
        """64 bytes."""
        return self._key.sign(message)

    @property
    def _key(self) -> Ed25519PrivateKey:
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

        return Ed25519PrivateKey.from_private_bytes(self.secret)


def is_signed_by(public: bytes, message: bytes, signature: bytes) -> bool:
    """Whether a public key verifies the signature."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def fingerprint(public: bytes) -> str:
    """80 bits of SHA-256 of a public key, in four groups of four letters: what paper and page print."""
    return letters(hashlib.sha256(public).digest())


def create_signing_key(path: Path) -> SigningKey:
    """Draw a key and write it, mode 0600, with its public half beside it; a file is never written over.

    Raises:
        LinkKeyError: there is one, or it cannot be written.
    """
    key = SigningKey(os.urandom(32))
    text = base64.b32encode(key.secret).decode("ascii").rstrip("=")
    check = hashlib.sha256(text.encode("ascii")).hexdigest()[:8]
    public = base64.b32encode(key.public).decode("ascii").rstrip("=")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_once(path, f"{_WORD} {text} {check}\n".encode("ascii"))
        name = f"{key.name.lower()}{PUBLIC_SUFFIX}"
        write_once(path.parent / name, f"{_PUBLIC_WORD} {public}\n".encode("ascii"))
    except FileExistsError as error:
        raise LinkKeyError(f"{path}: there is a key already, and a key is never written over.") from error
    except OSError as error:
        raise LinkKeyError(f"{path}: the key could not be written ({error.strerror or error}).") from error
    return key


def read_signing_key(path: Path) -> SigningKey:
    """The key in a file.

    Raises:
        LinkKeyError: there is none, others may read it, or it is damaged.
    """
    try:
        mode, data = path.stat().st_mode, path.read_bytes()[:1024]
    except OSError as error:
        raise LinkKeyError(
            f"{path}: the signing key cannot be read ({error.strerror or error}); bring it back from the"
            " backup, or from the line that was printed."
        ) from error
    if os.name == "posix" and mode & 0o077:
        raise LinkKeyError(f"{path}: other people on this machine can read the key; run: chmod 600 {path}")
    found = _LINE.fullmatch(data.decode("ascii", "replace"))
    if found is None or hashlib.sha256(found[1].encode("ascii")).hexdigest()[:8] != found[2]:
        raise LinkKeyError(f"{path}: this is no whole signing key; bring it back from the backup.")
    return SigningKey(base64.b32decode(found[1] + "===="))


def public_keys(folder: Path) -> dict[str, bytes]:
    """Fingerprint → public key of every key that this shop has signed with."""
    found: dict[str, bytes] = {}
    for path in sorted(folder.glob(f"*{PUBLIC_SUFFIX}")):
        line = _PUBLIC.fullmatch(path.read_text("ascii", "replace"))
        if line is None:
            raise LinkKeyError(f"{path}: this is no public key; bring it back from the backup.")
        public = base64.b32decode(line[1] + "====")
        found[fingerprint(public)] = public
    return found
