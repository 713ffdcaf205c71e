"""The devices of a hub: invited by a code, known by their key, revoked by their letters."""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import time
from datetime import UTC, datetime
from typing import Any

import attrs

from ..model.entry import utc_text
from ..share.signing import is_signed_by
from ..store.mark import normalise_id, random_id
from ..sync.message import OFFICE, from_base32, signed_text
from .database import HubDatabase, Line
from .errors import HubError, UnknownDeviceError
from .sealing import HubKey

#: A code is typed once, within so long: 12 letters of 5 bits, of which one in 10^18 is right.
CODE_LETTERS, CODE_HOURS = 12, 24
#: Seconds that a challenge is good for.
_CHALLENGE = 300
_LETTERS = re.compile(r"[A-Z]{1,3}")


@attrs.frozen(kw_only=True)
class Device:
    """A device as the hub knows it: its letters, what it is called, when it was enrolled, revoked and last
    heard.
    """

    letters: str
    name: str
    enrolled: str
    revoked: str
    synced: str


def devices(line: Line) -> list[Device]:
    """All devices, also those that were revoked."""
    found = line.execute("SELECT letters, name, enrolled, revoked, synced FROM device ORDER BY letters")
    return [
        Device(letters=letters, name=name, enrolled=enrolled, revoked=revoked, synced=synced)
        for letters, name, enrolled, revoked, synced in found
    ]


def invited(database: HubDatabase, name: str, *, instead_of: str = "") -> str:
    """A code by which one device is enrolled, once and within a day.

    Args:
        instead_of: Letters of a lost device in whose place it comes: that one is revoked, and its chains are
            the new one's.

    Raises:
        HubError: the name is empty, or there is no device of these letters.
    """
    if not name.strip():
        raise HubError('A device needs a name, such as the van\'s: --invite "Van 2".')
    code = random_id(CODE_LETTERS)
    with database.writing() as line:
        if instead_of and not _has(line, instead_of):
            raise HubError(f"There is no device {instead_of} here. `corekit hub --devices` lists them.")
        line.execute("DELETE FROM invitation WHERE expires < now()")
        line.execute(
            "INSERT INTO invitation VALUES (%s, %s, %s, now() + make_interval(hours => %s))",
            (_hash(code), name.strip(), instead_of, CODE_HOURS),
        )
    return "-".join(code[n : n + 4].upper() for n in range(0, CODE_LETTERS, 4))


def enrolled(
    database: HubDatabase, code: str, public_key: str, *, wish: str, books: list[str], now: datetime
) -> tuple[str, str, tuple[str, ...]]:
    """Enrol the device that has a code; gives its letters, its name, and the letters of those in whose place
    it comes.

    Args:
        public_key: Of the device, base 32. wish: Letters that it numbers its invoices with now.
        books: Letters under which it has issued invoices.

    Raises:
        HubError: the code is unknown, used or over; or it has issued under letters of another device.
    """
    try:
        if len(from_base32(public_key)) != 32:
            raise ValueError
    except ValueError as error:
        raise HubError("The device sent no key. Bring it up to date.") from error
    told = _hash(normalise_id(re.sub(r"[\s-]", "", code)))
    with database.line() as line:  # whoever guesses keeps no writer waiting
        _must_be_invited(
            line.execute(
                "SELECT 1 FROM invitation WHERE code_hash = %s AND expires > now()", (told,)
            ).fetchone()
        )
    with database.writing() as line:
        found = _must_be_invited(
            line.execute(
                "DELETE FROM invitation WHERE code_hash = %s AND expires > now() RETURNING name, instead_of",
                (told,),
            ).fetchone()
        )
        name, instead_of = str(found[0]), str(found[1])
        taken = _taken_letters(line, besides=instead_of)
        for letters in books:
            if letters in taken:
                raise HubError(
                    f"This device has issued invoices as {letters}, and those letters are another device's"
                    " here."
                    " Its old shop stays as it is; set up a new folder with `corekit init`, and enrol that."
                )
        letters = wish if _LETTERS.fullmatch(wish) and wish not in taken | {instead_of} else ""
        if not letters:
            letters = next(one for one in _all_letters() if one not in taken | {instead_of})
        line.execute(
            "INSERT INTO device (letters, name, public_key, enrolled) VALUES (%s, %s, %s, %s)",
            (letters, name, public_key, utc_text(now)),
        )
        if instead_of:
            line.execute(
                "UPDATE device SET revoked = %s, successor = %s WHERE letters = %s",
                (utc_text(now), letters, instead_of),
            )
            line.execute("UPDATE device SET successor = %s WHERE successor = %s", (letters, instead_of))
            line.execute("UPDATE job SET device = %s WHERE device = %s", (letters, instead_of))
            line.execute("UPDATE invoice SET device = %s WHERE device = %s", (letters, instead_of))
            line.execute("UPDATE chain SET device = %s WHERE device = %s", (letters, instead_of))
            line.execute("UPDATE person_in_charge SET device = %s WHERE device = %s", (letters, instead_of))
            line.execute(
                "INSERT INTO job_device SELECT job, %s FROM job_device WHERE device = %s ON CONFLICT DO"
                " NOTHING",
                (letters, instead_of),
            )
            line.execute("DELETE FROM job_device WHERE device = %s", (instead_of,))
        lost = line.execute("SELECT letters FROM device WHERE successor = %s ORDER BY letters", (letters,))
        was = tuple(str(one) for (one,) in lost)
    return letters, name, was


def _must_be_invited(found: tuple[Any, ...] | None) -> tuple[Any, ...]:
    if found is None:
        raise UnknownDeviceError(
            "This code is unknown, used or over. Ask for another one: `corekit hub --invite NAME` prints it."
        )
    return found


def revoke(database: HubDatabase, letters: str, now: datetime) -> None:
    """Let a device in no more; what it wrote stays.

    Raises:
        HubError: there is none of these letters.
    """
    with database.writing() as line:
        if not _has(line, letters):
            raise HubError(f"There is no device {letters} here. `corekit hub --devices` lists them.")
        line.execute(
            "UPDATE device SET revoked = %s WHERE letters = %s AND revoked = ''", (utc_text(now), letters)
        )


def _has(line: Line, letters: str) -> bool:
    found = line.execute("SELECT 1 FROM device WHERE letters = %s AND letters <> %s", (letters, OFFICE))
    return found.fetchone() is not None


def _taken_letters(line: Line, besides: str) -> set[str]:
    """Letters of every device there was, and those that books were written under."""
    used = {str(letters) for (letters,) in line.execute("SELECT letters FROM device")}
    books = line.execute(
        "SELECT split_part(name, '/', 2) FROM chain WHERE journal = 'books' AND device <> %s", (besides,)
    )
    return (used | {str(letters) for (letters,) in books}) - ({besides} if besides else set())


def _all_letters() -> list[str]:
    """Letters that nobody takes for figures, one first."""
    one = "ABCDEFGHJKLMNPRSTUVWXYZ"
    return [*one, *(a + b for a in one for b in one), *(a + b + c for a in one for b in one for c in one)]


def _hash(code: str) -> str:
    return hashlib.sha256(f"corekit invitation {code}".encode()).hexdigest()


# ── who asks ────────────────────────────────────────────────────────────────────────────────────────────────


def challenge(key: HubKey, letters: str, now: float | None = None) -> str:
    """What a device signs with its next request; kept nowhere, and good for a few minutes."""
    told = f"{int(now if now is not None else time.time()) + _CHALLENGE}.{secrets.token_hex(8)}"
    return f"{told}.{_challenge_mac(key, letters, told)}"


def _challenge_mac(key: HubKey, letters: str, told: str) -> str:
    text = f"challenge {letters} {told}".encode()
    return hmac.new(key.session_secret(), text, hashlib.sha256).hexdigest()


def device_of(
    database: HubDatabase,
    key: HubKey,
    *,
    letters: str,
    given: str,
    signature: str,
    path: str,
    body: bytes,
    now: float | None = None,
) -> str:
    """Letters of the device that signed a request.

    Raises:
        UnknownDeviceError: none that is known here and was not revoked.
    """
    until, _, rest = given.partition(".")
    told, _, mac = given.rpartition(".")
    is_ours = hmac.compare_digest(mac.encode(), _challenge_mac(key, letters, told).encode()) and rest
    if not is_ours or not until.isdecimal() or int(until) < (now if now is not None else time.time()):
        raise UnknownDeviceError("The request was signed too long ago. It is sent again by itself.")
    with database.line() as line:
        found = line.execute(
            "SELECT public_key FROM device WHERE letters = %s AND revoked = ''", (letters,)
        ).fetchone()
    try:
        public, signed = from_base32(str(found[0])) if found else b"", bytes.fromhex(signature)
    except ValueError:
        public = signed = b""
    if not is_signed_by(public, signed_text("POST", path, letters, given, body), signed):
        raise UnknownDeviceError(
            f"The hub does not know this device ({letters}), or it was revoked. Enrol it with a new code."
        )
    with database.line() as line:
        line.execute(
            "UPDATE device SET synced = %s WHERE letters = %s", (utc_text(datetime.now(UTC)), letters)
        )
    return letters
