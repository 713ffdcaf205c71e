"""Requests: what a phone or a program asks for under an id of its own, so that the same one sent again adds
nothing.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import sqlite3
from collections.abc import Sequence
from typing import Any

import attrs

from ..model.canonical import canonical
from ..model.entry import Entry
from . import rows, seals
from .errors import RequestConflictError, refusal

#: What an id is; it is made where something is asked for.
_ID = re.compile(r"[A-Za-z0-9_-]{16,64}")


@attrs.frozen(kw_only=True)
class Request:
    """What is asked for.

    Attributes:
        id: 16 to 64 letters, digits, `-` and `_`; the same request sent again has the same.
        content: All that it says, as plain data. Only its salted hash is kept, and that goes with the job's
            persons.
    """

    id: str
    content: Any = None


@attrs.frozen(kw_only=True)
class RequestOutcome:
    """What became of a request: its job, and the entries that it became or found standing."""

    job: str
    entries: tuple[Entry, ...]


def outcome(connection: sqlite3.Connection, request: Request) -> RequestOutcome | None:
    """What became of a request that came before; None when its id is new.

    Raises:
        StoreError: its id cannot be one.
        RequestConflictError: the id is that of a request that said something else.
    """
    if not _ID.fullmatch(request.id):
        raise refusal(
            f"{request.id[:64]!r} cannot be the id of an answer: it has 16 to 64 letters, digits, - and _."
        )
    row = connection.execute(seals.select("answer", "WHERE id = ?"), (request.id,)).fetchone()
    if row is None:
        return None
    _, job, salt, kept, ids, _ = seals.columns_without_seal("answer", row)
    # Once the persons are destroyed nobody can tell any more what the request said; it is taken for the one
    # that came then.
    if kept and _content_hash(salt, request.content) != kept:
        raise RequestConflictError(
            f"The answer {request.id} was given before and said something else. Nothing was written; answer"
            " again on a fresh page."
        )
    entries = [entry for id_ in rows.data_of(ids) for entry in rows.entries(connection, "WHERE id = ?", id_)]
    return RequestOutcome(job=job, entries=tuple(entries))


def keep(
    connection: sqlite3.Connection, request: Request, job: str, entries: Sequence[Entry], recorded: str
) -> None:
    """Note what a request became."""
    salt = secrets.token_hex(16)
    ids = canonical([entry.id for entry in entries]).decode()
    values = (request.id, job, salt, _content_hash(salt, request.content), ids, recorded)
    seals.insert(connection, "answer", values)


def entry_ids(connection: sqlite3.Connection, job: str) -> frozenset[str]:
    """Ids of the job's entries that requests became."""
    kept = connection.execute(seals.select("answer", "WHERE job = ?"), (job,)).fetchall()
    return frozenset(
        entry for row in kept for entry in rows.data_of(seals.columns_without_seal("answer", row)[4])
    )


def _content_hash(salt: str, content: Any) -> str:
    """The hash a request is known by. A date is taken as it is written."""
    return hashlib.sha256(json.dumps([salt, content], sort_keys=True, default=str).encode()).hexdigest()
