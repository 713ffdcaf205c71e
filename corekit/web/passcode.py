"""The passcode of the screens, kept as an scrypt hash; the secret that signs sessions; and the sessions that
were locked by hand.

All of it stands in the shop's `keys` folder, readable by its owner alone: `work.toml` (the hash), `work.key`
(the secret) and `work.locked` (sessions that were ended before their time).
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import threading
import time
import tomllib
import unicodedata
from collections.abc import Callable
from pathlib import Path

import attrs

from ..errors import CorekitError
from ..files import write_once, write_over
from ..reference import data_path

PASSCODE_FILE, SECRET_FILE, LOCKED_FILE = "keys/work.toml", "keys/work.key", "keys/work.locked"
SHORTEST, LONGEST = 8, 128  # characters; the shortest by ASVS 5.0, 6.2.1
#: Seconds for which a passcode that the machine drew opens the screens to choose an own one (ASVS 6.4.1).
DRAWN_FOR = 24 * 3600

# Cost of one look, 32 MiB and three passes. N, r, p as in RFC 7914, section 2; this set is one of the equally
# strong ones of the OWASP Password Storage Cheat Sheet, from memory (2^17/8/1 is the first of them; a phone
# that serves itself has no 128 MiB to spare for it).
_N, _R, _P = 2**15, 8, 3
_HASH_BYTES, _SALT_BYTES, _SECRET_BYTES = 32, 16, 32
_MOST_MEMORY = 512 * 1024 * 1024  # bytes; a file that asks for more was not written by us

_WORD = "corekit-work-1"


class PasscodeError(CorekitError, ValueError):
    """A passcode that cannot be one, or a file of the sign-in that cannot be used; the message says which and
    what to do.
    """


@attrs.frozen(kw_only=True)
class PasscodeHash:
    """A passcode as it is kept: never itself, only what scrypt makes of it.

    Attributes:
        is_numeric: It is made of digits, so the locked page brings up the keys for them. Whoever sees that
            page learns no more than what everybody is advised to take.
        drawn: Seconds since 1970 when the machine drew it; 0 where somebody chose it.
    """

    n: int
    r: int
    p: int
    salt: bytes
    hash: bytes
    is_numeric: bool = False
    drawn: int = 0

    def fits(self, typed: str) -> bool:
        """True when this is the passcode. Takes as long for a wrong one."""
        return hmac.compare_digest(self.hash, _scrypt(typed, self))


_one_at_a_time = threading.Lock()


def _scrypt(typed: str, cost: PasscodeHash) -> bytes:
    # One at a time, or many wrong codes at one moment would take the machine's memory.
    password = typed.encode("utf-8", "surrogatepass")  # as it was typed (ASVS 6.2.8)
    with _one_at_a_time:
        if not hasattr(hashlib, "scrypt"):  # Python may be built without it
            from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

            return Scrypt(salt=cost.salt, length=len(cost.hash), n=cost.n, r=cost.r, p=cost.p).derive(
                password
            )
        return hashlib.scrypt(
            password,
            salt=cost.salt,
            n=cost.n,
            r=cost.r,
            p=cost.p,
            maxmem=_memory(cost) + 2**20,
            dklen=len(cost.hash),
        )


def _memory(cost: PasscodeHash) -> int:
    """Bytes that one look takes; RFC 7914, section 5: 128 r (N + p), and two blocks to work in."""
    return 128 * cost.r * (cost.n + cost.p + 2)


def passcode_fault(typed: str) -> str | None:
    """Why this cannot be a passcode, in a sentence; None when it can."""
    if not SHORTEST <= len(typed) <= LONGEST:
        return (
            f"A passcode has at least {SHORTEST} characters (and at most {LONGEST}); digits are quickest with"
            " dirty hands."
        )
    if typed != typed.strip() or not typed.isprintable():
        return "A passcode neither begins nor ends with a space, which nobody sees; take another."
    if not unicodedata.is_normalized("NFC", typed):
        return "A letter in it is made of two signs, which other keyboards make of one; take another."
    if _is_plain(typed.lower()):
        return (
            "Whoever tries would try that one first; take another: no piece again and again, no digits in a"
            " row, nothing that many take."
        )
    return None


def _is_plain(code: str) -> bool:
    """One of the 5000 that people take most, or nothing but a row or a short piece again and again."""
    is_repeated = any(code == (code[:long] * len(code))[: len(code)] for long in range(1, len(code) // 2 + 1))
    is_row = code in "0123456789" * 14 or code in "9876543210" * 14
    return is_repeated or is_row or len(set(code)) < 3 or _fingerprint(code) in _common()


def _fingerprint(code: str) -> str:
    return hashlib.sha256(code.encode("utf-8", "surrogatepass")).hexdigest()[:12]


def _common() -> frozenset[str]:
    return frozenset(data_path("shared/common-passcodes.txt").read_text("ascii").split("\n")) - {""}


def random_passcode() -> str:
    """Eight digits from the machine's own randomness, for a shop that has no terminal to ask at. They open
    the screens once, to choose an own one.
    """
    while passcode_fault(code := f"{secrets.randbelow(10**8):08}"):
        pass
    return code


def set_passcode(shop: Path, typed: str, *, drawn: float = 0) -> None:
    """Keep a new passcode. Every session that the old one opened is over with it.

    Args:
        drawn: Seconds since 1970 when the machine drew it; 0 where somebody chose it.

    Raises:
        PasscodeError: it is too short or too plain, or the file cannot be written.
    """
    fault = passcode_fault(typed)
    if fault:
        raise PasscodeError(fault)
    cost = PasscodeHash(n=_N, r=_R, p=_P, salt=secrets.token_bytes(_SALT_BYTES), hash=bytes(_HASH_BYTES))
    text = (
        "# The passcode of the screens, as scrypt keeps it. Another one: corekit work --new-passcode\n"
        f'made = "{_WORD}"\nn = {cost.n}\nr = {cost.r}\np = {cost.p}\nsalt = "{cost.salt.hex()}"\nhash ='
        f' "{_scrypt(typed, cost).hex()}"\n'
        f"digits = {str(typed.isdecimal() and typed.isascii()).lower()}\n"
        f"drawn = {int(drawn)}\n"
    )
    path = shop / PASSCODE_FILE
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_over(path, text.encode("ascii"))
    except OSError as error:
        raise PasscodeError(
            f"{path}: the passcode could not be written ({error.strerror or error}); nothing was changed."
        ) from error


def has_passcode(shop: Path) -> bool:
    return (shop / PASSCODE_FILE).exists()


def read_passcode(shop: Path) -> PasscodeHash:
    """The passcode as it is kept.

    Raises:
        PasscodeError: there is none, others may read it, or the file was not written by us.
    """
    path = shop / PASSCODE_FILE
    cure = "Set a new one with `corekit work --reset-passcode`."
    data = owners_file(path, f"There is no passcode yet. {cure}")
    try:
        table = tomllib.loads(data.decode("ascii"))
        passcode = PasscodeHash(
            n=table["n"],
            r=table["r"],
            p=table["p"],
            salt=bytes.fromhex(table["salt"]),
            hash=bytes.fromhex(table["hash"]),
            is_numeric=table["digits"] is True,
            drawn=int(table.get("drawn", 0)),
        )
        is_ours = (
            table["made"] == _WORD
            and all(type(number) is int and number > 0 for number in (passcode.n, passcode.r, passcode.p))
            and passcode.n & (passcode.n - 1) == 0
            and passcode.n > 1
            and len(passcode.hash) >= _HASH_BYTES
            and _memory(passcode) <= _MOST_MEMORY
        )
    except (ValueError, KeyError, TypeError):
        is_ours = False
    if not is_ours:
        raise PasscodeError(f"{path}: this is not a passcode as corekit keeps it. {cure}")
    return passcode


def read_secret(shop: Path) -> bytes:
    """The secret that signs sessions; drawn where there is none yet, so that a restart of the server locks
    nobody out.

    Raises:
        PasscodeError: it cannot be read or written, others may read it, or it is damaged.
    """
    path = shop / SECRET_FILE
    if not path.exists():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_once(path, f"{_WORD} {secrets.token_hex(_SECRET_BYTES)}\n".encode("ascii"))
        except FileExistsError:
            pass  # somebody else drew one at this very moment; theirs holds
        except OSError as error:
            raise PasscodeError(
                f"{path}: the secret of the sessions could not be written ({error.strerror or error})."
            ) from error
    word, _, text = owners_file(path, "It is gone.").decode("ascii", "replace").strip().partition(" ")
    try:
        secret = bytes.fromhex(text)
    except ValueError:
        secret = b""
    if word != _WORD or len(secret) != _SECRET_BYTES:
        raise PasscodeError(
            f"{path}: the secret of the sessions is damaged. Delete the file; a new one is drawn, and phones"
            " ask for the passcode once."
        )
    return secret


def owners_file(path: Path, missing: str, error: type[Exception] = PasscodeError) -> bytes:
    """The bytes of a small file that its owner alone may read.

    Raises:
        error: it is not there (`missing` says what to do), cannot be read, or others may read it.
    """
    try:
        with path.open("rb") as file:
            mode = os.fstat(file.fileno()).st_mode
            data = file.read(16_384)
    except FileNotFoundError:
        raise error(f"{path}: {missing}") from None
    except OSError as why:
        raise error(f"{path}: cannot be read ({why.strerror or why}).") from why
    if os.name == "posix" and mode & 0o077:
        raise error(
            f"{path}: other people on this machine can read it (mode {mode & 0o777:03o}); run: chmod 600"
            f" {path}"
        )
    return data


@attrs.define
class RevokedLogins:
    """Sessions that were ended before their time: locked by hand, or followed by another in the same browser.

    Each is kept until its cookie could not be used any more anyway; a restart forgets none.

    Attributes:
        path: The file. clock: Seconds since 1970.
    """

    path: Path
    clock: Callable[[], float] = time.time
    _until: dict[str, int] = attrs.field(init=False)
    _lock: threading.Lock = attrs.field(init=False, factory=threading.Lock, repr=False)

    def __attrs_post_init__(self) -> None:
        try:
            lines = self.path.read_text("ascii", "replace").split("\n")
        except FileNotFoundError:
            lines = []
        pairs = [line.split(" ") for line in lines if line]
        self._until = {pair[0]: int(pair[1]) for pair in pairs if len(pair) == 2 and pair[1].isdigit()}

    def revoke(self, session: str, seconds: float) -> None:
        """From now on the session opens nothing; `seconds` is how long its cookie could have
        been good for.
        """
        with self._lock:
            now = self.clock()
            self._until = {hashed: until for hashed, until in self._until.items() if until > now}
            self._until[_hash(session)] = int(now + seconds) + 1
            write_over(
                self.path,
                "".join(f"{hashed} {until}\n" for hashed, until in self._until.items()).encode("ascii"),
            )

    def __contains__(self, session: str) -> bool:
        return _hash(session) in self._until


def _hash(session: str) -> str:
    return hashlib.sha256(session.encode()).hexdigest()
