"""Personal text on its way in and out: exchanged for a salted hash, and found again under it."""

from __future__ import annotations

import contextlib
import os
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import attrs

from ..model.canonical import digest
from ..model.entry import Entry
from ..model.job import Job, name_said
from ..model.personal import Personal, PersonalText
from .errors import StoreError

TYPE_CHECKING = False
if TYPE_CHECKING:
    import sqlite3

#: Behind what the rows of a file stand under: the rows that screens say of its job.
SCREEN = "/screen"
_KEY_LETTERS = 16


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
    salt = os.urandom(16).hex()
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


def name_references(entries: Iterable[Entry]) -> list[Personal]:
    """What the beginnings of jobs among these entries call them, as it is referred to."""
    said = [entry.body for entry in entries if entry.kind == "opened" and isinstance(entry.body, Mapping)]
    return list(references([body.get("origin") for body in said]))


def names(connection: sqlite3.Connection, entries: Iterable[Entry]) -> dict[str, str]:
    """Hash → text of what the beginnings of jobs among these entries call them; one that was changed or
    forgotten is not there, so that its job goes by its id.
    """
    found = {}
    for reference in name_references(entries):
        with contextlib.suppress(StoreError, ValueError):
            name = text(connection, reference.hash)
            if name is not None:
                found[reference.hash] = name
    return found


#: What the rows of the file or screen that began a job stand under.
FIRST_ROWS = "first"


def rows_key(connection: sqlite3.Connection, job: Job | None, name: str) -> str:
    """What the rows of a job's file of this name stand under: it says nothing of the name, which may be
    forgotten, and is the same in every store that knows the job.
    """
    opened = [entry for entry in job.entries if entry.kind == "opened"] if job is not None else []
    texts = names(connection, opened)
    for entry in opened:
        key = entry.subject.partition(":")[0]
        if key and not key.endswith(SCREEN) and name_said(entry.body.get("origin", ""), texts) == name:
            return key
    if not opened:
        return FIRST_ROWS
    salts = [
        connection.execute("SELECT salt FROM person WHERE hash = ?", (reference.hash,)).fetchone()
        for reference in references([entry.body.get("origin") for entry in opened])
    ]
    salt = next((row[0] for row in salts if row is not None), os.urandom(16).hex())
    return salted_hash(salt, "job_name", name)[:_KEY_LETTERS]


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
