"""Which device this store belongs to, and which chains and jobs are those of other vans.

A van that syncs has the chains of all of them, so that each can be verified; it has the persons of its own
jobs, of those handed to it, and of no other.
"""

from __future__ import annotations

import sqlite3

from ..model.entry import JOB

#: Before the name of a chain that another device writes, in table meta; the letters of that device are its
#: value.
CHAIN = "chain/"
#: How far the hub's entries are here; the address it is found at; before a job whose persons are destroyed
#: here while something of them may still lie about.
ARRIVED, HUB, TO_SWEEP = "hub/arrived", "hub/address", "sweep/"
#: The id of the entry that the hub counts as so many, so that an older copy of its database is known for one.
ARRIVED_AT = "hub/arrived at"
#: How the devices are called.
NAMES = "hub/vans"
#: Before letters of a lost device in whose place this one came.
WAS = "was/"

_OWN = (
    "SELECT value FROM meta WHERE key = 'device' UNION ALL"
    f" SELECT substr(key, {len(WAS) + 1}) FROM meta WHERE key >= '{WAS}' AND key < 'was0'"
)
_OTHERS = f"SELECT substr(key, {len(CHAIN) + 1}) FROM meta WHERE key >= '{CHAIN}' AND key < 'chain0'"


def own_letters(connection: sqlite3.Connection) -> tuple[str, ...]:
    """Letters of this device, where the store says so, and of those in whose place it came."""
    return tuple(letters for (letters,) in connection.execute(_OWN))


def others(connection: sqlite3.Connection) -> dict[str, str]:
    """Chain → letters of the other device that writes it."""
    found = connection.execute(_OTHERS.replace(" FROM", ", value FROM"))
    return dict(found.fetchall())


def is_others(connection: sqlite3.Connection, chain: str) -> bool:
    """True for a chain that another device writes."""
    return connection.execute("SELECT 1 FROM meta WHERE key = ?", (CHAIN + chain,)).fetchone() is not None


def is_here(connection: sqlite3.Connection, job: str) -> bool:
    """True for a job of this van: something was written here in it, or it was handed here."""
    own = f"SELECT 1 FROM entry WHERE job = ? AND journal = ? AND chain NOT IN ({_OTHERS}) LIMIT 1"
    if connection.execute(own, (job, JOB)).fetchone():
        return True
    handed = (
        "SELECT 1 FROM entry WHERE job = ? AND kind = 'handed' AND json_extract(body, '$.to') IN"
        f" ({_OWN}) LIMIT 1"
    )
    return connection.execute(handed, (job,)).fetchone() is not None


def own_chains(connection: sqlite3.Connection) -> str:
    """A condition on table entry: what this device wrote."""
    return f"chain NOT IN ({_OTHERS})"
