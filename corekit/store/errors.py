"""What can go wrong with a store, told once and plainly: what, where, what to do."""

from __future__ import annotations

from pathlib import Path

from ..errors import CorekitError

TYPE_CHECKING = False
if TYPE_CHECKING:
    import sqlite3


class StoreError(CorekitError):
    """Something stands in the way of reading or writing a store; the text says what, where, and
    what to do.
    """


class RequestConflictError(StoreError):
    """A request's id is that of another request."""


class ForkError(StoreError):
    """Entries from elsewhere do not go on where a chain ends here."""


def refusal(text: str) -> StoreError:
    """Why something cannot be written; the whole transaction is undone with it."""
    return StoreError(f"{text} Nothing was written.")


def store_error(error: sqlite3.Error, path: Path, *, is_read_only: bool = False) -> StoreError:
    """What an error of the database means for a person.

    The primary result code is the low byte of SQLite's extended code (sqlite.org/rescode.html, from memory).
    """
    import sqlite3

    code = getattr(error, "sqlite_errorcode", None)
    primary = code & 0xFF if isinstance(code, int) else None
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreError(
            f"The store {path} is locked: another program is writing to it and did not finish in time. "
            "Close that program, or wait, and try again; nothing was changed."
        )
    if primary in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return StoreError(
            f"The disk did not take what was to be written to {path} ({error}): it is full, at a size"
            " limit, or failing. Make room (a few megabytes are enough) and do it again; what was"
            " acknowledged before is still there."
        )
    if is_read_only or primary == sqlite3.SQLITE_READONLY:
        return StoreError(
            f"The store {path} may not be written; it can be read, verified and printed from. To write, give"
            " yourself the right to write it and its folder, or copy it elsewhere."
        )
    if primary in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH):
        return StoreError(
            f"The store {path} cannot be opened: its folder must exist and be writable. Check both, or copy"
            " the store elsewhere."
        )
    if primary == sqlite3.SQLITE_NOTADB:
        return StoreError(
            f"{path} is not a corekit store. Name the store's own file, or create a store somewhere else."
        )
    if primary == sqlite3.SQLITE_CORRUPT or "decode" in str(error):
        return StoreError(
            f"The store {path} is damaged ({error}). Leave the file as it is, keep a copy of it, and go"
            " back to the last backup."
        )
    return StoreError(
        f"The store {path} could not do this: {error}. Nothing was changed; try again, and if it stays, run"
        " `corekit verify`."
    )
