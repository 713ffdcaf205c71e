"""Entries as rows of a table and back."""

from __future__ import annotations

import hashlib
import json
import unicodedata
from collections.abc import Iterator
from typing import Any

import attrs

from ..model.canonical import canonical
from ..model.entry import Entry
from .errors import StoreError

TYPE_CHECKING = False
if TYPE_CHECKING:
    import sqlite3

#: From here on not every whole number is a double of its own.
_SAFE = 2**53

COLUMNS = (
    "id",
    "journal",
    "job",
    "chain",
    "n",
    "prev",
    "seen",
    "taken",
    "recorded",
    "kind",
    "subject",
    "body",
    "replaces",
    "reason",
    "place",
)

SELECT_ENTRY = f"SELECT {', '.join(COLUMNS)} FROM entry"
#: The same after the entry's place in the file, which counts up as entries are written.
SELECT_PLACED = f"SELECT rowid, {', '.join(COLUMNS)} FROM entry"
INSERT_ENTRY = f"INSERT INTO entry ({', '.join(COLUMNS)}) VALUES ({', '.join('?' * len(COLUMNS))})"


def place_of(kind: str, body: Any) -> int | None:
    """An invoice's number in its books chain; nothing else has a place."""
    place = body.get("place") if kind == "invoice" and isinstance(body, dict) else None
    return place if isinstance(place, int) else None


def sealed_row(entry: Entry) -> tuple[Entry, tuple[Any, ...]]:
    """The entry sealed, as it will be read back (sorted keys, lists, every text in Unicode NFC), and its row.

    Raises:
        ValueError: its body cannot be written down.
    """
    body = canonical(entry.body).decode()
    texts: dict[str, Any] = {
        name: composed(getattr(entry, name)) for name in ("subject", "taken", "recorded", "reason")
    }
    entry = attrs.evolve(entry, body=data_of(body), **texts)
    entry = attrs.evolve(entry, id=_id_of(entry, body))
    return entry, (
        entry.id,
        entry.journal,
        entry.job,
        entry.chain,
        entry.n,
        entry.prev,
        _text(entry.seen),
        entry.taken,
        entry.recorded,
        entry.kind,
        entry.subject,
        body,
        _text(entry.replaces),
        entry.reason,
        place_of(entry.kind, entry.body),
    )


def _id_of(entry: Entry, body: str) -> str:
    """What `seal` gives, from the body's canonical text as it stands: writing it down again is the dearest
    part of saving and reading.

    "body" sorts before every other name of an entry's content, so the canonical text of the whole begins with
    it.
    """
    rest = entry.content()
    del rest["body"]
    return hashlib.sha256(b'{"body":' + body.encode() + b"," + canonical(rest)[1:]).hexdigest()


def data_of(text: str) -> Any:
    """Plain data of a canonical text, such that it is written down as the same text again.

    RFC 8785 knows doubles only and writes 1e16 without a point; a whole number that large is a float, not a
    Python integer.

    Raises:
        ValueError: the text is not JSON.
    """
    return json.loads(text, parse_int=_whole)


def _whole(digits: str) -> int | float:
    number = int(digits)
    return number if -_SAFE < number < _SAFE else float(digits)


def composed(text: str) -> str:
    return unicodedata.normalize("NFC", text)


def entry_of(row: tuple[Any, ...]) -> Entry:
    """The entry that a row holds, its id compared with its content.

    Raises:
        StoreError: the row was changed after it was written.
    """
    try:
        entry = parsed(row)
        found = _id_of(entry, row[11])
    except (ValueError, TypeError, AttributeError, KeyError):
        found = ""
    if found != row[0]:
        raise StoreError(
            f"Entry {row[4]} of chain {row[3]} was changed after it was written. "
            "Run `corekit verify` to see everything that was, and go back to the last backup."
        )
    return entry


def parsed(row: tuple[Any, ...]) -> Entry:
    """The entry that a row says it is, unchecked.

    Raises:
        ValueError, TypeError: a list or the body is not JSON.
    """
    return Entry(
        id=row[0],
        journal=row[1],
        job=row[2],
        chain=row[3],
        n=row[4],
        prev=row[5],
        seen=tuple(data_of(row[6])),
        taken=row[7],
        recorded=row[8],
        kind=row[9],
        subject=row[10],
        body=data_of(row[11]),
        replaces=tuple(data_of(row[12])),
        reason=row[13],
    )


def entries(connection: sqlite3.Connection, where: str, *values: Any) -> list[Entry]:
    """The entries of one question, in the order asked for.

    Raises:
        StoreError: one of them was changed after it was written.
    """
    return list(streamed(connection, where, *values))


def streamed(connection: sqlite3.Connection, where: str, *values: Any) -> Iterator[Entry]:
    """As `entries`, one at a time."""
    for row in connection.execute(f"{SELECT_ENTRY} {where}", values):
        yield entry_of(row)


# A GROUP BY would walk through every entry; this steps from chain to chain along the index.
_HEADS = """
WITH RECURSIVE known (chain) AS (
  SELECT min(chain) FROM entry
  UNION ALL SELECT (SELECT min(chain) FROM entry WHERE chain > known.chain) FROM known
    WHERE known.chain IS NOT NULL)
SELECT chain, (SELECT id FROM entry WHERE entry.chain = known.chain ORDER BY n DESC LIMIT 1),
              (SELECT max(n) FROM entry WHERE entry.chain = known.chain) FROM known WHERE chain IS NOT NULL
"""


def heads(connection: sqlite3.Connection) -> dict[str, tuple[str, int]]:
    """Chain → id and place of its last entry."""
    return {chain: (head, n) for chain, head, n in connection.execute(_HEADS)}


def _text(data: Any) -> str:
    return canonical(data).decode()
