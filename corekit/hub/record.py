"""The hub's record: the union of what all devices wrote, each entry once, each chain whole.

An entry is accepted only from the device whose chain it stands in, and only behind the one before it. Nothing
that was accepted is ever written anew. Where two devices said different things of one, both stand, and the
job's list says that there is a dispute.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import attrs
import psycopg
from psycopg import sql

from ..model.entry import BOOKS, JOB, Draft, Entry, broken, jobs_of
from ..model.records import with_kept_words
from ..store import rows
from ..store.database import lineage_name
from ..store.exchange import (
    MOST_BYTES,
    MOST_ENTRIES,
    TAKEN,
    Parcel,
    SentPerson,
    new_entries,
    texts_beside,
)
from ..store.persons import Person, references, with_references
from ..sync.message import OFFICE
from .database import HubDatabase, Line
from .errors import HubError
from .lists import now_of, refresh
from .sealing import HubKey

#: What an entry's row holds, after the number it arrived as.
_COLUMNS = sql.SQL(", ").join(map(sql.Identifier, rows.COLUMNS))
#: Rows are counted up in the order they are sent in.
_COPY = sql.SQL("COPY entry ({}) FROM STDIN").format(_COLUMNS)
SELECT = sql.SQL("SELECT {} FROM entry ").format(_COLUMNS)
_SELECT_ARRIVED = sql.SQL("SELECT arrived, {} FROM entry ").format(
    sql.SQL(", ").join(sql.Identifier("entry", name) for name in rows.COLUMNS)
)


@attrs.frozen
class _There:
    """What the hub has, for `store.exchange.new_entries`."""

    line: Line

    def head(self, chain: str) -> tuple[str, int, str]:
        found = self.line.execute("SELECT head, n, journal FROM chain WHERE name = %s", (chain,)).fetchone()
        return (str(found[0]), int(found[1]), str(found[2])) if found else ("", -1, "")

    def jobs_of(self, ids: Iterable[str]) -> Mapping[str, str]:
        found = self.line.execute("SELECT id, job FROM entry WHERE id = ANY(%s)", (list(ids),))
        return {str(id_): str(job) for id_, job in found}


def accepted(database: HubDatabase, key: HubKey, device: str, parcel: Parcel) -> int:
    """Take in what a device wrote; gives how many entries were new. All of the parcel or nothing.

    Raises:
        HubError: an entry stands in a chain of another device, or takes a number that is taken; the device
            was revoked.
        ForkError, StoreError: as `new_entries`.
    """
    with database.writing() as line:
        known = line.execute("SELECT revoked FROM device WHERE letters = %s", (device,)).fetchone()
        if known is None or known[0]:
            raise HubError(f"Device {device} was revoked. Nothing was taken in.")
        return len(_taken_in(line, key, device, parcel))


def _taken_in(line: Line, key: HubKey, device: str, parcel: Parcel) -> list[Entry]:
    beside = texts_beside(parcel, parcel.entries)
    new = new_entries(_There(line), parcel.entries)
    _must_be_its_jobs(line, device, new)
    _may_write(line, device, new)
    try:
        with line.cursor() as cursor, cursor.copy(_COPY) as copy:
            for entry in new:
                copy.write_row(rows.sealed_row(entry)[1])
    except psycopg.errors.UniqueViolation as error:
        numbers = ", ".join(str(one.body.get("number")) for one in new if one.kind == "invoice")
        raise HubError(TAKEN.format(numbers=numbers)) from error
    for entry in new:
        if entry.kind == "forgotten":
            forget(line, entry.job)
    referred = {ref.hash for entry in new for ref in references(entry.body)}
    with line.cursor() as cursor:
        cursor.executemany(
            "INSERT INTO person (hash, job, kind, sealed) VALUES (%s, %s, %s, %s) ON CONFLICT DO NOTHING",
            [(one.hash, one.job, one.kind, key.sealed(one)) for one in beside if one.hash in referred],
        )
    refresh(line, key, new)
    return new


def _must_be_its_jobs(line: Line, device: str, new: Sequence[Entry]) -> None:
    """A device writes in jobs that it began or that were handed to it, as its own store has it
    (`store.exchange.must_go_on_here`). Else one phone in the wrong hands could hand every job to itself, and
    read of whom each is. Only that somebody is forgotten is said from anywhere.
    """
    jobs = {
        job: entry
        for entry in new
        if entry.kind != "forgotten"
        for job in jobs_of(entry)
        if job or entry.journal != BOOKS  # the cash drawer is of no job
    }
    found = line.execute(
        "SELECT DISTINCT job FROM entry WHERE job = ANY(%s)"
        " EXCEPT SELECT job FROM job_device WHERE device = %s",
        (list(jobs), device),
    ).fetchall()
    for (job,) in found if device != OFFICE else ():
        raise HubError(
            f"Entry {jobs[job].n} of chain {jobs[job].chain} is of job {job}, which is not a job of device"
            f" {device}. Have it handed to this van. Nothing was taken in."
        )


#: Letters within the number of an invoice, such as those of the device that gives it.
_LETTERS = re.compile("[A-Z]+")


def _must_be_its_number(line: Line, letters: str, number: str) -> None:
    """A number that names another device and not this one is that one's, which else could never sync."""
    named = set(_LETTERS.findall(number))
    found = line.execute(
        "SELECT letters FROM device WHERE letters = ANY(%s) AND letters <> %s", (sorted(named), OFFICE)
    ).fetchone()
    if letters not in named and found is not None:
        raise HubError(
            f"Invoice {number} has the letters of device {found[0]} in its number, and stands in the books of"
            f" {letters}. Nothing was taken in."
        )


def _may_write(line: Line, device: str, new: Sequence[Entry]) -> None:
    """Each chain is written by one device alone, and the invoices in it count up from 1."""
    for chain, of_chain in _by_chain(new).items():
        found = line.execute("SELECT device, place FROM chain WHERE name = %s", (chain,)).fetchone()
        owner, place = (str(found[0]), int(found[1])) if found else (device, 0)
        parts = chain.split("/")
        if of_chain[0].journal == BOOKS and not (len(parts) == 3 and parts[0] == "books"):
            raise HubError(f"Books are called books/LETTERS/YEAR; got {chain}. Nothing was taken in.")
        if found is None and parts[0] == "books":
            # Letters are one device's for good: what it issued under them stands in its books.
            of_letters = line.execute(
                "SELECT device FROM chain WHERE name LIKE %s LIMIT 1", (f"books/{parts[1]}/%",)
            ).fetchone()
            named = line.execute("SELECT 1 FROM device WHERE letters = %s", (parts[1],)).fetchone()
            owner = str(of_letters[0]) if of_letters else parts[1] if named else device
        if owner != device:
            raise HubError(
                f"Chain {chain} is written by device {owner}, and {device} sent an entry of it. Nothing was"
                " taken in."
            )
        for entry in of_chain:
            if entry.kind == "invoice":
                _must_be_its_number(line, parts[1], str(entry.body.get("number")))
            if (told := rows.place_of(entry.kind, entry.body)) is not None and entry.journal == BOOKS:
                place += 1
                if told != place:
                    raise HubError(
                        f"Entry {entry.n} of chain {chain} has number {told}, and {place} comes next. Nothing"
                        " was taken in."
                    )
        last = of_chain[-1]
        line.execute(
            "INSERT INTO chain (name, device, journal, head, n, place) VALUES (%s, %s, %s, %s, %s, %s)"
            " ON CONFLICT (name) DO UPDATE SET head = EXCLUDED.head, n = EXCLUDED.n, place = EXCLUDED.place",
            (chain, device, last.journal, last.id, last.n, place),
        )


def _by_chain(entries: Iterable[Entry]) -> dict[str, list[Entry]]:
    found: dict[str, list[Entry]] = {}
    for entry in entries:
        found.setdefault(entry.chain, []).append(entry)
    return found


def forget(line: Line, job: str) -> None:
    """Destroy what the hub holds of the persons of a job."""
    line.execute("DELETE FROM person WHERE job = %s", (job,))
    line.execute("DELETE FROM job_word WHERE job = %s", (job,))


# ── what a device is given ──────────────────────────────────────────────────────────────────────────────────


def chains_of(line: Line, device: str) -> dict[str, tuple[int, str]]:
    """Chain → place and id of its last entry, of the chains that a device writes."""
    found = line.execute("SELECT name, n, head FROM chain WHERE device = %s", (device,))
    return {str(name): (int(n), str(head)) for name, n, head in found}


def must_have_counted(database: HubDatabase, arrived: int, at: str) -> None:
    """Return when this hub counted an entry of this id as that many, as a van says it did.

    A database that came back from a backup would count other entries up to where the van has come, and the
    van would never be given them.

    Raises:
        HubError: it did not.
    """
    if not at:
        return
    with database.line() as line:
        if not line.execute("SELECT 1 FROM entry WHERE arrived = %s AND id = %s", (arrived, at)).fetchone():
            raise HubError(
                "The hub's database is an older copy: this van has had more from it than is there. Bring the"
                " newest backup back, with what was archived since; the van works on meanwhile, and keeps"
                " everything."
            )


def parcel_for(
    database: HubDatabase, key: HubKey, device: str, arrived: int, own: Sequence[str] = ()
) -> Parcel:
    """What others wrote and arrived behind a number, as much as one parcel holds; texts of persons of those
    jobs alone that the device writes in or that were handed to it.

    Args:
        own: Chains of the device itself of which it lacks something, as a restored copy does.
    """
    with database.line() as line:
        line.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        top = line.execute("SELECT coalesce(max(arrived), 0) FROM entry").fetchone()
        assert top is not None
        found = line.execute(
            _SELECT_ARRIVED + sql.SQL("JOIN chain ON chain.name = entry.chain WHERE arrived > %s AND"
            " (device <> %s OR chain.name = ANY(%s)) ORDER BY arrived LIMIT %s"),
            (arrived, device, list(own), MOST_ENTRIES + 1),
        )  # fmt: skip
        entries: list[Entry] = []
        size, reached, is_last = 0, int(top[0]), True
        for number, *row in found:
            if entries and (len(entries) >= MOST_ENTRIES or size > MOST_BYTES):
                is_last = False
                break
            entries.append(rows.entry_of(tuple(row)))
            size += len(row[11]) + 1000
            reached = int(number)
        if is_last:
            reached = max(int(top[0]), arrived)
        texts = _texts_for(line, key, device, entries)
        owners = line.execute(
            "SELECT name, device FROM chain WHERE name = ANY(%s) AND device <> %s",
            (list({entry.chain for entry in entries}), device),
        ).fetchall()
        at = line.execute("SELECT id FROM entry WHERE arrived = %s", (reached,)).fetchone()
    return Parcel(
        entries=tuple(entries),
        persons=tuple(texts.values()),
        owners={str(chain): str(letters) for chain, letters in owners},
        arrived=reached,
        at=str(at[0]) if at else "",
        is_last=is_last,
    )


def _texts_for(line: Line, key: HubKey, device: str, entries: Sequence[Entry]) -> dict[str, SentPerson]:
    """The texts that entries bring to a device: those of its jobs, and of a job that is handed to it all
    there are.
    """
    jobs = {job for entry in entries for job in jobs_of(entry)}
    found = line.execute(
        "SELECT job FROM job_device WHERE job = ANY(%s) AND device = %s", (list(jobs), device)
    )
    theirs = {str(job) for (job,) in found}
    # A text is given with the job it is of: else who names the hash of another's would be told it.
    refs = {
        (ref.hash, job)
        for entry in entries
        if not theirs.isdisjoint(jobs_of(entry))
        for ref in references(entry.body)
        for job in jobs_of(entry)
    }
    handed = {
        entry.job
        for entry in entries
        if entry.kind == "handed" and now_of(line, str(entry.body.get("to"))) == device
    }
    hashes = list({hash_ for hash_, _ in refs})
    beside = _opened(line, key, "hash = ANY(%s)", hashes) if refs else []
    beside = [one for one in beside if (one.hash, one.job) in refs]
    beside += _opened(line, key, "job = ANY(%s)", list(handed)) if handed else []
    return {one.hash: one for one in beside}


def texts(line: Line, key: HubKey, hashes: Iterable[str], jobs: Iterable[str] | None) -> dict[str, str]:
    """Hash → text of those that are there, of these jobs: who names the hash of another's is not shown it.
    None: of all jobs, for what the hub itself reads.
    """
    known = None if jobs is None else set(jobs)
    found = _opened(line, key, "hash = ANY(%s)", list(hashes))
    return {one.hash: one.text for one in found if known is None or one.job in known}


def _opened(line: Line, key: HubKey, where: Any, value: Any) -> list[SentPerson]:
    found = line.execute(
        sql.SQL("SELECT hash, job, kind, sealed FROM person WHERE ") + sql.SQL(where), (value,)
    )
    return [key.opened(*row) for row in found.fetchall()]


# ── trust ───────────────────────────────────────────────────────────────────────────────────────────────────


def faults(database: HubDatabase, key: HubKey) -> list[str]:
    """Everything that is wrong with the hub's record, one sentence each; nothing when every chain is whole,
    every text fits its hash, and the lists say what follows from the entries.
    """
    from ..store.persons import salted_hash
    from .lists import differences

    found: list[str] = []
    with database.line() as line:
        line.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        heads = {
            str(name): (str(head), int(n))
            for name, head, n in line.execute("SELECT name, head, n FROM chain")
        }
        for chain, (head, n) in sorted(heads.items()):
            last = Entry(
                journal="", job="", chain=chain, n=-1, prev="", kind="", subject="", body={}, recorded=""
            )
            entries = [
                rows.parsed(row)
                for row in line.execute(SELECT + sql.SQL("WHERE chain = %s ORDER BY n"), (chain,))
            ]
            found += list(broken(entries))
            last = entries[-1] if entries else last
            if (last.id, last.n) != (head, n):
                found.append(f"chain {chain}: it ends with entry {last.n}, and {n} was the last that came")
            found += _unknown_names(line, entries)
        for hash_, job, kind, sealed in line.execute("SELECT hash, job, kind, sealed FROM person"):
            try:
                person = key.opened(str(hash_), str(job), str(kind), sealed)
                if salted_hash(person.salt, person.kind, person.text) != hash_:
                    found.append(f"personal text {hash_[:12]}: it no longer matches its hash")
            except HubError as error:
                found.append(str(error))
        found += differences(line, key)
    return found


def _unknown_names(line: Line, entries: Sequence[Entry]) -> Iterable[str]:
    named = {id_ for entry in entries for id_ in entry.seen}
    there = set(_There(line).jobs_of(named))
    for entry in entries:
        for id_ in set(entry.seen) - there:
            where = f"entry {entry.n} of chain {entry.chain}"
            yield f"{where}: it was written after {id_[:12]}, which is not there"


# ── what the office writes ──────────────────────────────────────────────────────────────────────────────────


def written(hub_key: HubKey, line: Line, job: str, drafts: Sequence[Draft], now: str) -> list[Entry]:
    """Write what the office says of a job, in a chain of its own, as a van would. Runs inside `writing`.

    Raises:
        HubError: something of it cannot be kept.
    """
    found = line.execute(
        "SELECT name FROM chain WHERE device = %s AND journal = %s", (OFFICE, JOB)
    ).fetchone()
    chain = str(found[0]) if found else lineage_name(1)
    prev, n, _ = _There(line).head(chain)
    heads = [str(one) for (one,) in line.execute("SELECT head FROM chain WHERE name <> %s", (chain,))]
    of_job = line.execute(
        "SELECT DISTINCT ON (chain) id FROM entry WHERE job = %s AND journal = %s AND chain <> %s"
        " ORDER BY chain, n DESC",
        (job, JOB, chain),
    )
    seen = tuple(sorted({*heads, *(str(one) for (one,) in of_job)}))
    entries: list[Entry] = []
    texts: list[Person] = []
    for draft in drafts:
        try:
            body = with_references(with_kept_words(draft.kind, draft.body), texts)
            n += 1
            entry, _ = rows.sealed_row(
                Entry(
                    journal=JOB,
                    job=job,
                    chain=chain,
                    n=n,
                    prev=prev,
                    kind=draft.kind,
                    subject=draft.subject,
                    body=body,
                    recorded=now,
                    seen=seen,
                    replaces=draft.replaces,
                )
            )
        except (ValueError, TypeError) as error:
            raise HubError(f"The statement {draft.kind!r} cannot be kept: {error}.") from error
        prev = entry.id
        entries.append(entry)
    beside = tuple(
        SentPerson(hash=one.hash, job=job, kind=one.kind, salt=one.salt, text=one.text) for one in texts
    )
    return _taken_in(line, hub_key, OFFICE, Parcel(entries=tuple(entries), persons=beside))
