"""Who is signed in to the office.

A session is a row of the database, found by a digest of what the browser carries: whoever signs out, is
dismissed or gets a new passcode has none any more, wherever a copy of the cookie lies.
"""

from __future__ import annotations

import hashlib
import secrets

from .app import Hub
from .people import COLUMNS, LET_IN, Person, person_of

#: Seconds after which a session ends: from its beginning, and from its last page.
LONGEST, UNUSED = 12 * 3600, 3600
#: That it is in use is written down at most so often, [s].
_NOTED = 60


def begun(hub: Hub, name: str, earlier: str = "") -> str:
    """Begin a session of somebody; gives what the browser is to carry.

    Args:
        earlier: What it carried before, whose session ends with that.
    """
    token, now = secrets.token_urlsafe(32), seconds(hub)
    with hub.database.line() as line:
        line.execute(
            "DELETE FROM office_session WHERE mark = %s OR since <= %s", (_mark(earlier), now - LONGEST)
        )
        line.execute("INSERT INTO office_session VALUES (%s, %s, %s, %s)", (_mark(token), name, now, now))
    return token


def ended(hub: Hub, token: str) -> None:
    with hub.database.line() as line:
        line.execute("DELETE FROM office_session WHERE mark = %s", (_mark(token),))


def who_carries(hub: Hub, token: str) -> Person | None:
    """Whose session it is; None for nobody's, and for one that is over."""
    now = seconds(hub)
    with hub.database.line() as line:
        found = line.execute(
            f"SELECT {COLUMNS}, used FROM office_session JOIN person_in_charge ON name = person WHERE mark ="
            f" %s AND since > %s AND used > %s AND since <= %s AND {LET_IN}",
            (_mark(token), now - LONGEST, now - UNUSED, now),
        ).fetchone()
        if found is not None and now - int(found[-1]) >= _NOTED:
            line.execute("UPDATE office_session SET used = %s WHERE mark = %s", (now, _mark(token)))
    return person_of(found) if found is not None else None


def seconds(hub: Hub) -> int:
    """The hub's time, in seconds since 1970."""
    return int(hub.clock().timestamp())


def _mark(token: str) -> str:
    return hashlib.sha256(f"corekit office {token}".encode("utf-8", "replace")).hexdigest()
