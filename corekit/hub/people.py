"""Who may see what in the office: a name, a role, a passcode that is kept as scrypt makes it."""

from __future__ import annotations

import hashlib
import hmac
import os
from enum import StrEnum

import attrs

from ..sync.message import OFFICE
from ..web.passcode import passcode_fault, random_passcode
from . import devices
from .app import Hub
from .errors import HubError

_N, _R, _P = 2**15, 8, 3  # as web.passcode


class Role(StrEnum):
    """What somebody sees: all jobs; those of one van; money alone."""

    OFFICE = "office"
    MECHANIC = "mechanic"
    BOOKKEEPER = "bookkeeper"


@attrs.frozen(kw_only=True)
class Person:
    """Somebody who signed in. `device`: letters of the van, of a mechanic."""

    name: str
    role: Role
    device: str = ""


def let_in(hub: Hub, name: str, role: str, device: str = "", passcode: str = "") -> str:
    """Let somebody in, or give them a new passcode; gives it.

    Raises:
        HubError: a mechanic has no van, or the passcode is too plain.
    """
    code = passcode or random_passcode()
    if fault := passcode_fault(code):
        raise HubError(fault)
    with hub.database.writing() as line:
        known = {one.letters for one in devices.devices(line)} - {OFFICE}
        if not name.strip() or (role == Role.MECHANIC) != bool(device) or (device and device not in known):
            raise HubError(
                "A mechanic needs the letters of a van that is enrolled (--van), and nobody else has one."
            )
        line.execute(
            "INSERT INTO person_in_charge VALUES (%s, %s, %s, %s) ON CONFLICT (name) DO UPDATE SET role ="
            " EXCLUDED.role, device = EXCLUDED.device, passcode = EXCLUDED.passcode",
            (name.strip(), str(Role(role)), device, _hashed(code)),
        )
    return code


def signed_in(hub: Hub, name: str, passcode: str) -> Person | None:
    """Who has this name and passcode; None for nobody. Takes as long for an unknown name."""
    with hub.database.line() as line:
        found = line.execute(
            "SELECT name, role, device, passcode FROM person_in_charge WHERE name = %s", (name.strip(),)
        ).fetchone()
    kept = str(found[3]) if found else _hashed("")
    is_right = _fits(kept, passcode)
    return _person(found) if found and is_right else None


def person_named(hub: Hub, name: str, mark: str) -> Person | None:
    """Who has this name, while the passcode is still the one that `mark` is of."""
    with hub.database.line() as line:
        found = line.execute(
            "SELECT name, role, device, passcode FROM person_in_charge WHERE name = %s", (name,)
        ).fetchone()
    return _person(found) if found and hmac.compare_digest(mark_of(str(found[3])), mark) else None


def mark_of_person(hub: Hub, name: str) -> str:
    """What a session carries of a passcode, so that a new one ends it."""
    with hub.database.line() as line:
        found = line.execute("SELECT passcode FROM person_in_charge WHERE name = %s", (name,)).fetchone()
    return mark_of(str(found[0])) if found else ""


def mark_of(kept: str) -> str:
    return hashlib.sha256(kept.encode()).hexdigest()[:16]


def _person(found: tuple[object, ...]) -> Person:
    return Person(name=str(found[0]), role=Role(str(found[1])), device=str(found[2]))


def _hashed(code: str, salt: bytes = b"") -> str:
    salt = salt or os.urandom(16)
    made = hashlib.scrypt(code.strip().encode(), salt=salt, n=_N, r=_R, p=_P, maxmem=2**27, dklen=32)
    return f"{salt.hex()}.{made.hex()}"


def _fits(kept: str, code: str) -> bool:
    salt = bytes.fromhex(kept.partition(".")[0])
    return hmac.compare_digest(kept, _hashed(code, salt))
