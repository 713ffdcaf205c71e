"""Personal text on its way in and out: exchanged for a salted hash, and found again under it."""

from __future__ import annotations

import secrets
import sqlite3
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import attrs

from ..model.canonical import digest
from ..model.personal import Personal, PersonalText
from .errors import StoreError


@attrs.frozen(kw_only=True)
class Person:
    """One personal text with the salt that its hash was made with."""

    hash: str
    kind: str
    salt: str
    text: str


def salted_hash(salt: str, kind: str, text: str) -> str:
    """The hash under which a personal text stands.

    Without the salt it says nothing about the text, short as a plate is.
    """
    return digest([salt, kind, text])


def person(personal: PersonalText) -> Person:
    """A personal text with a fresh salt, in Unicode NFC like everything that is hashed.

    Raises:
        ValueError: the text is empty.
    """
    text = unicodedata.normalize("NFC", personal.text)
    if not text.strip():
        raise ValueError(f"a personal text ({personal.kind}) is empty; omit it instead")
    salt = secrets.token_hex(16)
    return Person(hash=salted_hash(salt, personal.kind, text), kind=personal.kind, salt=salt, text=text)


def with_references(data: Any, persons: list[Person]) -> Any:
    """The same data with every personal text replaced by its reference; the texts are added to `persons`.

    Raises:
        ValueError: a personal text is empty.
    """
    if isinstance(data, PersonalText):
        persons.append(person(data))
        return {"personal": data.kind, "hash": persons[-1].hash}
    if isinstance(data, Personal):
        return {"personal": data.kind, "hash": data.hash}
    if isinstance(data, Mapping):
        return {key: with_references(item, persons) for key, item in data.items()}
    if isinstance(data, (list, tuple)):
        return [with_references(item, persons) for item in data]
    return data


def references(data: Any) -> Iterator[Personal]:
    """Every reference to personal text in plain data."""
    if isinstance(data, Mapping):
        if set(data) == {"personal", "hash"} and all(isinstance(item, str) for item in data.values()):
            yield Personal(data["personal"], data["hash"])
        else:
            for item in data.values():
                yield from references(item)
    elif isinstance(data, (list, tuple)):
        for item in data:
            yield from references(item)


def text(connection: sqlite3.Connection, hash: str) -> str | None:  # noqa: A002
    """The personal text under a hash; None if it was destroyed or never was here.

    Raises:
        StoreError: the text was changed after it was written.
    """
    row = connection.execute("SELECT kind, salt, text FROM person WHERE hash = ?", (hash,)).fetchone()
    if row is None:
        return None
    kind, salt, kept = row
    if salted_hash(salt, kind, kept) != hash:
        raise StoreError(
            f"Personal text {hash[:12]} ({kind}) was changed after it was written. Run `corekit verify`,"
            " and go back to the last backup."
        )
    return str(kept)


def was_forgotten(connection: sqlite3.Connection, hash: str, jobs: Sequence[str]) -> bool:  # noqa: A002
    """True when an entry of one of these jobs refers to this personal text, destroyed after that."""
    if connection.execute("SELECT 1 FROM person WHERE hash = ?", (hash,)).fetchone():
        return False
    return any(
        connection.execute("SELECT 1 FROM entry WHERE job = ? AND instr(body, ?)", (job, hash)).fetchone()
        and connection.execute("SELECT 1 FROM entry WHERE job = ? AND kind = 'forgotten'", (job,)).fetchone()
        for job in jobs
    )


def counts(connection: sqlite3.Connection, job: str) -> dict[str, int]:
    """Kind of personal text → how many a job has."""
    query = "SELECT kind, count(*) FROM person WHERE job = ? GROUP BY kind ORDER BY kind"
    return dict(connection.execute(query, (job,)))
