"""Entries and the chain they stand in."""

from __future__ import annotations

from typing import Any

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.model.entry import Entry, broken, seal

ENTRY = Entry(
    journal="job",
    job="j1",
    chain="van",
    n=3,
    prev="p",
    kind="measured",
    subject="s",
    body={"number": 12.6},
    recorded="2026-07-01T10:00:00Z",
    seen=("h1",),
    taken="2026-07-01T09:00:00Z",
    replaces=("r1",),
    reason="because",
)

OTHER: dict[str, Any] = {
    "journal": "books",
    "job": "j2",
    "chain": "copy",
    "n": 4,
    "prev": "q",
    "kind": "seen",
    "subject": "t",
    "body": {"number": 12.7},
    "recorded": "2026-07-01T10:00:01Z",
    "seen": ("h1", "h2"),
    "taken": "",
    "replaces": (),
    "reason": "",
}


def chain(length: int) -> list[Entry]:
    entries: list[Entry] = []
    for n in range(length):
        prev = entries[-1].id if entries else ""
        entries.append(seal(attrs.evolve(ENTRY, n=n, prev=prev, subject=f"s{n}", body={"number": n})))
    return entries


@pytest.mark.parametrize("field", [field.name for field in attrs.fields(Entry) if field.name != "id"])
def test_the_id_changes_with_every_field(field: str) -> None:
    assert seal(attrs.evolve(ENTRY, **{field: OTHER[field]})).id != seal(ENTRY).id


def test_the_id_says_nothing_of_itself() -> None:
    assert seal(attrs.evolve(ENTRY, id="something")).id == seal(ENTRY).id == seal(seal(ENTRY)).id


def test_an_entry_whose_body_cannot_be_written_down_has_no_id() -> None:
    with pytest.raises(ValueError, match="cannot be written down"):
        seal(attrs.evolve(ENTRY, body={"number": float("nan")}))


@given(st.integers(0, 12))
def test_a_whole_chain_verifies(length: int) -> None:
    assert list(broken(chain(length))) == []


@given(st.integers(2, 12), st.data())
def test_an_entry_removed_from_within_is_named_once_where_it_is_missed(
    length: int, data: st.DataObject
) -> None:
    entries = chain(length)
    gone = data.draw(st.integers(0, length - 2))
    (fault,) = broken(entries[:gone] + entries[gone + 1 :])
    assert fault.startswith(f"entry {gone + 1} of chain van: ")
    assert "removed" in fault


@given(st.integers(1, 12), st.data())
def test_a_changed_entry_is_named(length: int, data: st.DataObject) -> None:
    entries = chain(length)
    place = data.draw(st.integers(0, length - 1))
    field = data.draw(
        st.sampled_from(["job", "kind", "subject", "body", "recorded", "seen", "taken", "replaces", "reason"])
    )
    entries[place] = attrs.evolve(entries[place], **{field: OTHER[field]})
    (fault,) = broken(entries)
    assert fault.startswith(f"entry {place} of chain van: its content no longer matches")


@given(st.integers(2, 12), st.data())
def test_a_changed_entry_that_was_sealed_again_gives_itself_away_behind_it(
    length: int, data: st.DataObject
) -> None:
    entries = chain(length)
    place = data.draw(st.integers(0, length - 2))
    entries[place] = seal(attrs.evolve(entries[place], body={"number": -1}))
    (fault,) = broken(entries)
    assert fault.startswith(f"entry {place + 1} of chain van: ")


@given(st.integers(1, 12), st.data())
def test_an_inserted_entry_is_named(length: int, data: st.DataObject) -> None:
    entries = chain(length)
    place = data.draw(st.integers(0, length - 1))
    prev = entries[place - 1].id if place else ""
    entries.insert(place, seal(attrs.evolve(ENTRY, n=place, prev=prev, subject="slipped in")))
    assert any(fault.startswith(f"entry {place} of chain van: ") for fault in broken(entries))


@given(st.integers(1, 12), st.data())
def test_a_place_that_was_counted_wrongly_is_named(length: int, data: st.DataObject) -> None:
    entries = chain(length)
    place = data.draw(st.integers(0, length - 1))
    entries = entries[:place]
    for n in range(place + 1, length + 1):  # sealed again and linked, as if one more had stood there
        entries.append(
            seal(attrs.evolve(ENTRY, n=n, prev=entries[-1].id if entries else "", subject=f"s{n}"))
        )
    (fault,) = broken(entries)
    assert fault.startswith(f"entry {place + 1} of chain van: ")


@given(st.integers(2, 12), st.data())
def test_two_entries_that_changed_places_are_named(length: int, data: st.DataObject) -> None:
    entries = chain(length)
    place = data.draw(st.integers(0, length - 2))
    entries[place], entries[place + 1] = entries[place + 1], entries[place]
    assert len(list(broken(entries))) >= 2
