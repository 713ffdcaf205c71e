"""Who may see what in the office: a name, a role, a passcode that is kept as scrypt makes it."""

from __future__ import annotations

import hashlib
import hmac
import os
from collections.abc import Sequence
from enum import StrEnum

import attrs

from ..sync.message import OFFICE
from ..web.passcode import DRAWN_FOR, LONGEST, passcode_fault, random_passcode
from . import devices
from .app import Hub
from .database import Line
from .errors import HubError

_N, _R, _P = 2**15, 8, 3  # as web.passcode
#: What nobody's passcode comes to, so that an unknown name takes as long.
_NOBODY = f"{bytes(16).hex()}.{bytes(32).hex()}"

#: Of table person_in_charge, as `person_of` takes them; and who of them is let in: no mechanic of a van that
#: was revoked.
COLUMNS = "name, role, person_in_charge.device, drawn"
LET_IN = (
    "(person_in_charge.device = '' OR EXISTS (SELECT 1 FROM device d WHERE d.letters ="
    " person_in_charge.device AND d.revoked = ''))"
)


class Role(StrEnum):
    """What somebody sees: all jobs; those of one van; money alone."""

    OFFICE = "office"
    MECHANIC = "mechanic"
    BOOKKEEPER = "bookkeeper"


@attrs.frozen(kw_only=True)
class Person:
    """Somebody who signed in.

    Attributes:
        device: Letters of the van, of a mechanic.
        drawn: Seconds since 1970 when the hub drew the passcode; 0 where the person chose it.
    """

    name: str
    role: Role
    device: str = ""
    drawn: int = 0


def let_in(hub: Hub, name: str, role: str, device: str = "", passcode: str = "") -> str:
    """Let somebody in, or give them a new passcode; gives it. One that is drawn opens the office for a day,
    to choose an own one (OWASP ASVS 5.0, 6.4.1). Whoever had a passcode before is signed out.

    Raises:
        HubError: a mechanic has no van that is let in, or the passcode is too plain.
    """
    code = passcode or random_passcode()
    if fault := passcode_fault(code):
        raise HubError(fault)
    drawn = 0 if passcode else int(hub.clock().timestamp())
    with hub.database.writing() as line:
        known = {one.letters for one in devices.devices(line) if not one.revoked} - {OFFICE}
        if not name.strip() or (role == Role.MECHANIC) != bool(device) or (device and device not in known):
            raise HubError(
                "A mechanic needs the letters of a van that is enrolled (--van), and nobody else has one."
            )
        line.execute(
            "INSERT INTO person_in_charge (name, role, device, passcode, drawn) VALUES (%s, %s, %s, %s, %s)"
            " ON CONFLICT (name) DO UPDATE SET role = EXCLUDED.role, device = EXCLUDED.device, passcode ="
            " EXCLUDED.passcode, drawn = EXCLUDED.drawn",
            (name.strip(), str(Role(role)), device, _hashed(code), drawn),
        )
        _sign_out(line, name.strip())
    return code


def dismiss(hub: Hub, name: str) -> None:
    """Let somebody in no more, and end their sessions.

    Raises:
        HubError: nobody of this name is let in.
    """
    with hub.database.writing() as line:
        gone = line.execute("DELETE FROM person_in_charge WHERE name = %s RETURNING name", (name.strip(),))
        if gone.fetchone() is None:
            known = [str(one) for (one,) in line.execute("SELECT name FROM person_in_charge ORDER BY name")]
            raise HubError(
                f"Nobody signs in to the office as {name!r}. Who does: {', '.join(known) or 'nobody'}."
            )


def mechanics_of(line: Line, device: str) -> list[str]:
    """Names of those who see the jobs of this van."""
    found = line.execute("SELECT name FROM person_in_charge WHERE device = %s ORDER BY name", (device,))
    return [str(name) for (name,) in found]


def signed_in(hub: Hub, name: str, passcode: str) -> Person | None:
    """Who has this name and passcode; None for nobody. Takes as long for an unknown name."""
    with hub.database.line() as line:
        found = line.execute(
            f"SELECT {COLUMNS}, passcode FROM person_in_charge WHERE name = %s AND {LET_IN}", (name.strip(),)
        ).fetchone()
    is_right = _fits(str(found[-1]) if found else _NOBODY, passcode)
    return person_of(found) if found and is_right else None


def is_too_old(hub: Hub, person: Person) -> bool:
    """True for a passcode that was drawn more than a day ago and never exchanged for an own one."""
    return person.drawn != 0 and not 0 <= hub.clock().timestamp() - person.drawn <= DRAWN_FOR


def chosen_fault(hub: Hub, person: Person, present: str, own: str, again: str) -> str:
    """Why somebody's new passcode cannot take the place of the present one; empty once it has, and every
    session of theirs is over.
    """
    if signed_in(hub, person.name, present) is None:
        return "That is not your present passcode."
    if own == present:
        return "Choose another passcode than the present one."
    if own != again:
        return "The two were not the same."
    if fault := passcode_fault(own):
        return fault
    with hub.database.writing() as line:
        line.execute(
            "UPDATE person_in_charge SET passcode = %s, drawn = 0 WHERE name = %s",
            (_hashed(own), person.name),
        )
        _sign_out(line, person.name)
    return ""


def _sign_out(line: Line, name: str) -> None:
    """End every session of somebody."""
    line.execute("DELETE FROM office_session WHERE person = %s", (name,))


def person_of(found: Sequence[object]) -> Person:
    """The person of a row that begins with `COLUMNS`."""
    return Person(
        name=str(found[0]), role=Role(str(found[1])), device=str(found[2]), drawn=int(str(found[3]))
    )


def _hashed(code: str, salt: bytes = b"") -> str:
    """As it was typed (OWASP ASVS 5.0, 6.2.8)."""
    salt, typed = salt or os.urandom(16), code.encode("utf-8", "surrogatepass")
    made = hashlib.scrypt(typed, salt=salt, n=_N, r=_R, p=_P, maxmem=2**27, dklen=32)
    return f"{salt.hex()}.{made.hex()}"


def _fits(kept: str, code: str) -> bool:
    """Takes as long for a wrong one; what is longer than any passcode is none."""
    salt = bytes.fromhex(kept.partition(".")[0])
    return hmac.compare_digest(kept, _hashed(code[: LONGEST + 1], salt))
