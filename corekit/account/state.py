"""How a point of the complaint or a fault stands, and what became of the work on it."""

from __future__ import annotations

from enum import StrEnum


class State(StrEnum):
    """How one row of an account stands."""

    SHOWN = "put right and shown"
    DONE = "done, not shown yet"
    NOT_RIGHT = "not put right"
    NOT_FOUND = "not found"
    DECLINED = "declined"
    NOT_LOOKED_AT = "not looked at"
    PUT_OFF = "put off"
    PROPOSED = "proposed"
    FOUND = "found, no work proposed"
    APPROVED = "approved, not done yet"
    SERVICED = "done"


class Progress(StrEnum):
    """What became of a piece of work so far; the latest word on it counts."""

    NONE = "nobody was asked"
    PROPOSED = "proposed"
    APPROVED = "approved"
    DECLINED = "declined"
    DONE = "done"


#: States after which something is still to be done or to be known.
OPEN = frozenset(State) - {State.SHOWN, State.SERVICED}
