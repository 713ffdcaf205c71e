"""Personal texts at rest on the hub: encrypted with a key that lies in a file outside the database.

Who has the database, or a backup of it, alone has no name, no plate and no word of a customer. AES-256-GCM
(NIST SP 800-38D) with a nonce drawn for each text (96 bits; so many texts stay far below the 2^32 of section
8.3), the row's own columns as what is authenticated beside it. A job is found by words of which only a keyed
hash is kept.
"""

from __future__ import annotations

import hmac
import os
from base64 import b64decode, urlsafe_b64encode
from functools import lru_cache
from pathlib import Path

import attrs
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from ..files import write_once
from ..model.canonical import canonical
from ..store.exchange import SentPerson
from ..store.rows import data_of
from ..web.passcode import owners_file
from .errors import HubError

_WORD = "corekit-hub-key-1"
_NONCE = 12
_WORDS = b"words that are looked for"
#: A word is found by its beginning from so many letters on, and by so many of them at most.
SHORTEST, LONGEST = 3, 9


@attrs.frozen
class HubKey:
    """The key of one hub.

    Attributes:
        secret: 32 bytes.
    """

    secret: bytes = attrs.field(repr=False)

    def sealed(self, person: SentPerson) -> bytes:
        """Text and salt of a person, encrypted."""
        nonce = os.urandom(_NONCE)
        beside = canonical([person.hash, person.job, person.kind])
        return nonce + self._cipher.encrypt(nonce, canonical([person.salt, person.text]), beside)

    def opened(self, hash_: str, job: str, kind: str, sealed: bytes) -> SentPerson:
        """The person as it was said.

        Raises:
            HubError: the key is another one, or the row was changed.
        """
        try:
            text = self._cipher.decrypt(
                bytes(sealed[:_NONCE]), bytes(sealed[_NONCE:]), canonical([hash_, job, kind])
            )
        except InvalidTag as error:
            raise HubError(
                f"Personal text {hash_[:12]} cannot be read: the key of this hub is another one, or the"
                " row was"
                " changed. Bring the key back from its own backup."
            ) from error
        salt, said = data_of(text.decode())
        return SentPerson(hash=hash_, job=job, kind=kind, salt=str(salt), text=str(said))

    def sealed_words(self, words: str) -> str:
        """Words that somebody looks for, encrypted, so that they may stand in an address."""
        nonce = os.urandom(_NONCE)
        sealed = self._cipher.encrypt(nonce, words.encode("utf-8", "replace"), _WORDS)
        return urlsafe_b64encode(nonce + sealed).decode("ascii")

    def opened_words(self, sealed: str) -> str:
        """The words again.

        Raises:
            HubError: nobody's words were encrypted into this with this key.
        """
        try:
            found = b64decode(sealed, b"-_", validate=True)
            return self._cipher.decrypt(found[:_NONCE], found[_NONCE:], _WORDS).decode()
        except (ValueError, InvalidTag) as error:
            raise HubError("This address is not one of the hub's.") from error

    def word(self, word: str) -> bytes:
        """What stands for a word where jobs are looked up."""
        return hmac.digest(self._derived("words"), word.encode(), "sha256")[:10]

    def beginnings(self, word: str) -> set[bytes]:
        """What a word is found by: itself, and its beginnings."""
        return {self.word(word[:n]) for n in range(SHORTEST, min(len(word), LONGEST) + 1)} | {self.word(word)}

    def asked(self, word: str) -> bytes:
        """What a word that somebody typed is looked up by."""
        return self.word(word)

    def session_secret(self) -> bytes:
        """What sessions and challenges are signed with."""
        return self._derived("sessions")

    def _derived(self, what: str) -> bytes:
        return _derived(self.secret, what)

    @property
    def _cipher(self) -> AESGCM:
        return _cipher(self.secret)


@lru_cache(maxsize=16)
def _derived(secret: bytes, what: str) -> bytes:
    return hmac.digest(secret, f"corekit hub {what}".encode(), "sha256")


@lru_cache(maxsize=8)
def _cipher(secret: bytes) -> AESGCM:
    return AESGCM(secret)


def hub_key(path: Path) -> HubKey:
    """The key in a file; drawn where there is none yet.

    Raises:
        HubError: it can be neither read nor written, others may read it, or it is damaged.
    """
    if not path.exists():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_once(path, f"{_WORD} {os.urandom(32).hex()}\n".encode("ascii"))
        except FileExistsError:
            pass  # somebody else drew one at this very moment; theirs holds
        except OSError as error:
            raise HubError(
                f"{path}: the key of the hub could not be written ({error.strerror or error})."
            ) from error
    word, _, text = (
        owners_file(path, "It is gone.", HubError).decode("ascii", "replace").strip().partition(" ")
    )
    try:
        secret = bytes.fromhex(text)
    except ValueError:
        secret = b""
    if word != _WORD or len(secret) != 32:
        raise HubError(f"{path}: this is no key of a hub; bring it back from its backup.")
    return HubKey(secret)
