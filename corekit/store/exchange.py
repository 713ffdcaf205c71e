"""Entries and persons on their way between stores: how they are said, what is checked before any is taken in.

Journals of several devices are the union of their entries. An entry is taken in only behind the one before it
in its chain, and only when everything it names is there: so whatever a store has taken in is whole, wherever
the line was cut.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Protocol

import attrs

from ..model.canonical import digest
from ..model.entry import BOOKS, JOB, Draft, Entry, jobs_of
from ..model.job import fold
from ..model.record_types import misfit
from ..model.records import RECORDS
from . import listing, persons, queries, rows, seals, vans
from .errors import ForkError, refusal
from .persons import Person

#: Entries and bytes of one parcel, about; a single entry may be larger.
MOST_ENTRIES, MOST_BYTES = 200, 1_000_000

#: What is said of a number that two vans gave.
TAKEN = (
    "An invoice number is taken by another van ({numbers}). Every van needs {{device}} in `number` of its"
    " shop.toml. Nothing was taken in."
)

#: What a job or the books may be called: these names stand in messages, subjects and file names.
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._/-]{0,63}")

_TEXTS = ("id", "journal", "job", "chain", "prev", "taken", "recorded", "kind", "subject", "reason")
_FIELDS = {*_TEXTS, "n", "seen", "body", "replaces"}
_PERSON = ("hash", "job", "kind", "salt", "text")


@attrs.frozen(kw_only=True)
class SentPerson(Person):
    """A personal text on its way, with the job it belongs to."""

    job: str


@attrs.frozen(kw_only=True)
class Parcel:
    """Entries in an order in which each comes behind all that it names, and personal texts beside them.

    Attributes:
        owners: Chain → letters of the device that writes it, for every chain of another device in it.
        arrived: How far the hub's entries are here with this parcel; None where it is no matter.
        at: The id of the entry that the hub counts as that many; empty where it says none.
        is_last: Nothing was there behind it.
    """

    entries: tuple[Entry, ...] = ()
    persons: tuple[SentPerson, ...] = ()
    owners: Mapping[str, str] = attrs.field(factory=dict)
    arrived: int | None = None
    at: str = ""
    is_last: bool = True

    def data(self) -> dict[str, Any]:
        """As plain data."""
        return {
            "entries": [{**entry.content(), "id": entry.id} for entry in self.entries],
            "persons": [[getattr(person, name) for name in _PERSON] for person in self.persons],
            "owners": dict(self.owners),
            "arrived": self.arrived,
            "at": self.at,
            "last": self.is_last,
        }

    @classmethod
    def of(cls, data: Any) -> Parcel:
        """The parcel that plain data says.

        Raises:
            StoreError: it says none, or an entry or a text of it is not what its hash says.
        """
        try:
            return cls(
                entries=tuple(_entry(one) for one in data["entries"]),
                persons=tuple(_person(one) for one in data["persons"]),
                owners={_told(chain): _told(letters) for chain, letters in data["owners"].items()},
                arrived=data["arrived"] if isinstance(data["arrived"], int) else None,
                at=_told(data.get("at", "")),
                is_last=data["last"] is True,
            )
        except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
            raise refusal(f"What came is no parcel of entries ({error}).") from error


def _told(text: Any) -> str:
    if not isinstance(text, str):
        raise TypeError(f"{text!r:.40} is no text")
    return text


def _entry(data: Any) -> Entry:
    if set(data) != _FIELDS or type(data["n"]) is not int or not isinstance(data["body"], dict):
        raise ValueError("an entry has other fields than entries have")
    told = Entry(
        **{name: _told(data[name]) for name in _TEXTS},
        n=data["n"],
        body=data["body"],
        seen=tuple(map(_told, data["seen"])),
        replaces=tuple(map(_told, data["replaces"])),
    )
    sealed, _ = rows.sealed_row(told)
    if sealed.id != told.id:
        raise ForkError(
            f"Entry {told.n} of chain {told.chain} was changed on its way or before: it does not match its"
            " id. Nothing was taken in."
        )
    return sealed


def _person(data: Any) -> SentPerson:
    person = SentPerson(**dict(zip(_PERSON, map(_told, data), strict=True)))
    if persons.salted_hash(person.salt, person.kind, person.text) != person.hash:
        raise ForkError(f"Personal text {person.hash[:12]} does not match its hash. Nothing was taken in.")
    return person


# ── what is checked ─────────────────────────────────────────────────────────────────────────────────────────


class Known(Protocol):
    """What a store that takes something in already has."""

    def head(self, chain: str) -> tuple[str, int, str]:
        """Id, place and journal of the last entry of a chain; ("", -1, "") where it has none."""

    def jobs_of(self, ids: Iterable[str]) -> Mapping[str, str]:
        """Id → job of those entries that are there."""


def new_entries(known: Known, entries: Sequence[Entry]) -> list[Entry]:
    """Those entries that are not there yet, when all of them may be taken in.

    Raises:
        ForkError: a chain does not go on where it ends here, or goes on in two ways.
        StoreError: an entry names something that is not there, or is of a kind that is not known here.
    """
    named = {id_ for entry in entries for id_ in (entry.id, *entry.seen, *entry.replaces)}
    there = dict(known.jobs_of(named))
    heads: dict[str, tuple[str, int, str]] = {}
    new = []
    for entry in entries:
        if entry.id in there:
            continue
        where = f"Entry {entry.n} of chain {entry.chain}"
        head, n, journal = heads.get(entry.chain) or known.head(entry.chain)
        if entry.n <= n:
            raise ForkError(
                f"{where} is another one here: two stores went on in one chain, so one of them is an older"
                " copy of the other. Say `corekit restored` in the copy. Nothing was taken in."
            )
        if entry.n != n + 1 or entry.prev != head or (journal and journal != entry.journal):
            raise ForkError(f"{where} does not follow entry {n}, the last one here. Nothing was taken in.")
        _must_be_readable(entry, where)
        for id_ in entry.seen:
            if id_ not in there:
                raise refusal(f"{where} was written after {id_[:12]}, which is not here yet.")
        for id_ in entry.replaces:
            if there.get(id_) != entry.job:
                raise refusal(f"{where} replaces {id_[:12]}, which is no entry of its job.")
        there[entry.id] = entry.job
        heads[entry.chain] = (entry.id, entry.n, entry.journal)
        new.append(entry)
    return new


def _must_be_readable(entry: Entry, where: str) -> None:
    if entry.journal not in (JOB, BOOKS) or entry.kind not in RECORDS:
        raise refusal(
            f"{where} is a statement of the kind {entry.kind!r:.40}, which this program does not know. Bring"
            " it up to date."
        )
    if not all(map(NAME.fullmatch, (entry.chain, *([entry.job] if entry.job else ())))):
        raise refusal(f"{where} has a name that no job and no chain has.")
    try:
        if wrong := misfit(RECORDS[entry.kind](**entry.body)):
            raise TypeError(wrong)
    except (TypeError, ValueError, KeyError, AttributeError) as error:
        raise refusal(f"{where} cannot be read as {entry.kind}: {error}.") from error
    if "document" in entry.body and digest(entry.body["document"]) != entry.body.get("document_hash"):
        raise refusal(f"{where} holds a document that does not have the hash beside it.")


def texts_beside(parcel: Parcel, entries: Iterable[Entry]) -> list[SentPerson]:
    """The texts of a parcel that one of these entries refers to in the job they are said to belong to.

    Raises:
        StoreError: a text stands beside entries that do not refer to it.
    """
    referred = {
        (ref.hash, job) for one in entries for ref in persons.references(one.body) for job in jobs_of(one)
    }
    for person in parcel.persons:
        if (person.hash, person.job) not in referred:
            raise refusal(f"Personal text {person.hash[:12]} belongs to no entry that came with it.")
    return list(parcel.persons)


# ── a store that takes in and gives ─────────────────────────────────────────────────────────────────────────


@attrs.frozen
class _Here:
    connection: sqlite3.Connection

    def head(self, chain: str) -> tuple[str, int, str]:
        found = self.connection.execute(
            "SELECT id, n, journal FROM entry WHERE chain = ? ORDER BY n DESC LIMIT 1", (chain,)
        ).fetchone()
        return found or ("", -1, "")

    def jobs_of(self, ids: Iterable[str]) -> Mapping[str, str]:
        found = (
            self.connection.execute("SELECT id, job FROM entry WHERE id = ?", (id_,)).fetchone()
            for id_ in ids
        )
        return dict(row for row in found if row is not None)


@attrs.frozen(kw_only=True)
class TakenIn:
    """What a parcel brought: new entries, jobs that were handed here, jobs whose persons are to be destroyed,
    jobs in which two things are said of one.
    """

    entries: tuple[Entry, ...] = ()
    handed: tuple[str, ...] = ()
    forgotten: tuple[str, ...] = ()


def take_in(connection: sqlite3.Connection, parcel: Parcel, destroy: Callable[[str], object]) -> TakenIn:
    """Take in what came from the hub. Runs inside a transaction.

    Args:
        destroy: Destroys the persons of a job and says so in its journal.

    Raises:
        ForkError, StoreError: as `new_entries`.
    """
    own = vans.own_letters(connection)
    new = new_entries(_Here(connection), parcel.entries)
    known = vans.others(connection)
    owned = {chain: letters for chain, letters in parcel.owners.items() if letters not in own}
    seals.insert(
        connection,
        "meta",
        *((vans.CHAIN + chain, letters) for chain, letters in owned.items() if chain not in known),
    )
    for entry in new:
        taken = "SELECT 1 FROM entry WHERE subject = ? AND kind = 'invoice'"
        if entry.kind == "invoice" and connection.execute(taken, (entry.subject,)).fetchone():
            raise ForkError(TAKEN.format(numbers=entry.body["number"]))
        connection.execute(rows.INSERT_ENTRY, rows.sealed_row(entry)[1])
    seals.tally(connection, "entry", added=[entry.id for entry in new])
    forgotten = tuple(dict.fromkeys(entry.job for entry in new if entry.kind == "forgotten"))
    for job in forgotten:
        destroy(job)
        _note(connection, vans.TO_SWEEP + job, "1")
    # Behind the destroying: what the hub still has was said later.
    for person in parcel.persons:
        there = connection.execute("SELECT 1 FROM person WHERE hash = ?", (person.hash,)).fetchone()
        if there is None:
            seals.insert(connection, "person", [getattr(person, name) for name in _PERSON])
    for entry in new:
        if entry.journal == BOOKS:
            listing.insert_booked(connection, entry.id)
            if entry.kind == "invoice":
                listing.insert_invoice(connection, entry.id)
    touched = dict.fromkeys(
        [job for entry in new for job in jobs_of(entry)] + [person.job for person in parcel.persons]
    )
    for job in touched:
        listing.refresh_job(connection, job)
    if parcel.arrived is not None:
        before = connection.execute("SELECT value FROM meta WHERE key = ?", (vans.ARRIVED,)).fetchone()
        if parcel.arrived >= (int(before[0]) if before else 0):
            _note(connection, vans.ARRIVED, str(parcel.arrived))
            _note(connection, vans.ARRIVED_AT, parcel.at)
    handed = tuple(dict.fromkeys(one.job for one in new if one.kind == "handed" and one.body["to"] in own))
    return TakenIn(entries=tuple(new), handed=handed, forgotten=forgotten)


def _note(connection: sqlite3.Connection, key: str, value: str) -> None:
    """Write a row of table meta, new or in place of another."""
    there = connection.execute("SELECT 1 FROM meta WHERE key = ?", (key,)).fetchone()
    (seals.change if there else seals.insert)(connection, "meta", (key, value))


#: What is written in a job wherever it goes on: neither says anything about the vehicle.
_WRITTEN_ANYWHERE = ("forgotten", "published")


def must_go_on_here(connection: sqlite3.Connection, job: str, drafts: Iterable[Draft]) -> None:
    """Return when these may be written in a job here: two vans that write in one job say two things about one
    vehicle.

    Raises:
        StoreError: it was handed on, or never was this van's.
    """
    own = vans.own_letters(connection)
    says_nothing = all(draft.kind in _WRITTEN_ANYWHERE for draft in drafts)
    if not own or says_nothing or not queries.has_job(connection, job):
        return
    handed = fold(job, rows.entries(connection, "WHERE job = ? AND kind = 'handed'", job)).handed_to
    if handed not in ("", *own):
        raise refusal(f"Job {job} was handed to van {handed}, and goes on there. Ask for it back.")
    if not vans.is_here(connection, job):
        raise refusal(f"Job {job} is another van's. Ask for it to be handed to this one, {own[0]}, and sync.")


def own_heads(connection: sqlite3.Connection) -> dict[str, int]:
    """Chain → place of its last entry, of the chains that this device writes."""
    others = vans.others(connection)
    return {chain: n for chain, (_, n) in rows.heads(connection).items() if chain not in others}


def parcel_behind(connection: sqlite3.Connection, heads: Mapping[str, int]) -> Parcel:
    """What this device wrote behind these places of its chains, in the order of writing, as much as one
    parcel holds, with the texts that are still here.
    """
    firsts = [
        connection.execute(
            "SELECT rowid FROM entry WHERE chain = ? AND n = ?", (chain, heads.get(chain, -1) + 1)
        ).fetchone()
        for chain in own_heads(connection)
    ]
    first = min((row[0] for row in firsts if row is not None), default=None)
    if first is None:
        return Parcel()
    entries: list[Entry] = []
    texts: dict[str, SentPerson] = {}
    size, is_last = 0, True
    found = connection.execute(
        f"{rows.SELECT_ENTRY} WHERE rowid >= ? AND {vans.own_chains(connection)} ORDER BY rowid", (first,)
    )
    for row in found:
        if row[4] <= heads.get(row[3], -1):
            continue
        if entries and (len(entries) >= MOST_ENTRIES or size > MOST_BYTES):
            is_last = False
            break
        entry = rows.entry_of(row)
        entries.append(entry)
        beside = [one for one in persons_of(connection, entry) if one.hash not in texts]
        texts |= {one.hash: one for one in beside}
        size += len(row[11]) + 1000 + sum(len(one.text) for one in beside)
    return Parcel(entries=tuple(entries), persons=tuple(texts.values()), is_last=is_last)


def persons_of(connection: sqlite3.Connection, entry: Entry) -> list[SentPerson]:
    """The texts that an entry refers to, as far as they are here."""
    found = (
        connection.execute(seals.select("person", "WHERE hash = ?"), (ref.hash,)).fetchone()
        for ref in persons.references(entry.body)
    )
    return [
        SentPerson(**dict(zip(_PERSON, seals.columns_without_seal("person", row), strict=True)))
        for row in found
        if row is not None
    ]


def to_sweep(connection: sqlite3.Connection) -> list[str]:
    """Jobs of which something may lie about, though their persons are destroyed."""
    length = len(vans.TO_SWEEP)
    found = connection.execute(
        f"SELECT substr(key, {length + 1}) FROM meta WHERE substr(key, 1, {length}) = ?", (vans.TO_SWEEP,)
    )
    return [job for (job,) in found]
