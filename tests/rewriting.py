"""A dishonest shop: its store rewritten with the product's own modules, so that all of it verifies."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

from corekit.model.document import document_hash, from_data
from corekit.store import listing, rows, seals
from corekit.store.seen import note_seen

Change = Callable[[str, dict[str, Any]], dict[str, Any]]


def rewrite(store: Path, change: Change) -> None:
    """Every entry's body as `change(kind, body)` makes it; ids, links between entries, seals and tallies are
    made to fit.
    """
    new_ids: dict[str, str] = {}

    def renamed(text: str) -> str:
        for old, new in new_ids.items():
            text = text.replace(old, new)
        return text

    with sqlite3.connect(store) as connection:
        old_rows = connection.execute(f"{rows.SELECT_ENTRY} ORDER BY rowid").fetchall()
        new_rows = []
        for row in old_rows:
            values = [renamed(value) if isinstance(value, str) else value for value in row]
            body = json.loads(values[11])
            changed = change(row[9], body)
            if "document" in changed:
                fitting = document_hash(from_data(changed["document"]))
                new_ids |= {changed["document_hash"]: fitting} if fitting != changed["document_hash"] else {}
                changed["document_hash"] = fitting
            values[11] = json.dumps(changed)
            _, sealed = rows.sealed_row(rows.parsed(tuple(values)))
            new_ids |= {row[0]: sealed[0]} if sealed[0] != row[0] else {}
            new_rows.append(sealed)
        connection.execute("DELETE FROM entry")
        connection.executemany(rows.INSERT_ENTRY, new_rows)
        for table in ("answer", "meta"):
            for values in connection.execute(seals.select(table)).fetchall():
                found = [renamed(value) if isinstance(value, str) else value for value in values[:-1]]
                if found != list(values[:-1]):
                    seals.change(connection, table, found)
        seals.tally(
            connection, "entry", added=[row[0] for row in new_rows], removed=[row[0] for row in old_rows]
        )
        for table in ("job", "job_name", "invoice", "money", "drawer"):
            connection.execute(f"DELETE FROM {table}")
        listing.fill(connection)
        note_seen(connection, store)


def in_texts(old: str, new: str, *, kinds: tuple[str, ...] = ()) -> Change:
    """Everywhere in the bodies (of these kinds), `new` for `old`."""

    def change(kind: str, body: dict[str, Any]) -> dict[str, Any]:
        text = json.dumps(body, ensure_ascii=False)
        return json.loads(text.replace(old, new)) if not kinds or kind in kinds else body  # type: ignore[no-any-return]

    return change
