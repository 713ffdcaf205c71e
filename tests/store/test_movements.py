"""The cash drawer is the same in whatever order entries of several vans arrive."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import attrs
from hypothesis import given
from hypothesis import strategies as st

from corekit.model.entry import BOOKS, Entry
from corekit.model.records import DrawerNoted, PaymentTaken, body_of
from corekit.store import movements

#: Minute, what, amount.
_ROWS = st.lists(
    st.tuples(
        st.integers(0, 20),
        st.sampled_from(["cash", "card", "correction of cash", "put", "counted"]),
        st.integers(-500, 500),
    ),
    max_size=12,
)


def entry_of(n: int, minute: int, what: str, amount: int) -> Entry:
    if what in ("put", "counted"):
        record = body_of(DrawerNoted(amount=abs(amount), currency="EUR", counted=what == "counted"))
    else:
        record = body_of(PaymentTaken(amount=amount, currency="EUR", how=what))
    return Entry(
        journal=BOOKS,
        job="",
        chain="books/A/2026",
        n=n,
        prev="",
        kind="drawer" if what in ("put", "counted") else "payment",
        subject=f":drawer/{n}",
        body=record,
        recorded=f"2026-11-28T10:{minute:02}:00Z",
        id=f"entry-{n:03}",
    )


def in_it(entries: list[tuple[int, Entry]]) -> list[int]:
    """What lies in the drawer after each row that changes or counts it, worked out plainly."""
    lies, found = 0, []
    for _, entry in entries:
        if entry.body.get("counted"):
            lies = entry.body["amount"]
        elif entry.kind == "drawer" or entry.body["how"] != "card":
            lies += entry.body["amount"]
        else:
            continue
        found.append(lies)
    return found


@given(_ROWS, st.randoms())
def test_what_arrives_late_changes_what_lay_in_the_drawer_after_it(
    told: list[tuple[int, str, int]], shuffled: object
) -> None:
    entries = list(enumerate((entry_of(n, *row) for n, row in enumerate(told)), 1))
    ordered = sorted(entries, key=lambda one: (one[1].recorded, one[0]))
    arriving = list(entries)
    shuffled.shuffle(arriving)  # type: ignore[attr-defined]
    with closing(sqlite3.connect(":memory:")) as connection:
        for statement in movements.TABLES:
            connection.execute(statement)
        for place, entry in arriving:
            movements.insert_booked(connection, place, entry)
        kept = list(movements.kept_drawer(connection))
    assert [row[movements.DRAWER_COLUMNS.index("in_it")] for row in kept] == in_it(ordered)
    assert kept == [attrs.astuple(move) for move in movements.drawer_rows(ordered)]
