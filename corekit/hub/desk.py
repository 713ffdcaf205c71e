"""What the office does with the record of all vans: lists, a search, a call taken, a job handed on, papers.

A mechanic is shown the jobs of one van: those that it writes in and those handed to it. A bookkeeper is shown
money and its papers. Who is shown nothing of a job is told that there is none.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any, LiteralString

import attrs
from psycopg import sql

from ..model.document import Document, from_data
from ..model.entry import Draft, Entry, jobs_of, own_subject, utc_text
from ..model.job import Job, fold
from ..model.money import Money
from ..model.personal import PersonalText
from ..model.records import NOT_SEEN, Customer, Handed, Opened, Planned, Vehicle, body_of
from ..model.search_words import asked_words
from ..report.pdf import render_pdf
from ..report.personal_text import resolver
from ..store import rows
from ..store.mark import random_id
from ..store.persons import FIRST_ROWS, references
from ..sync.message import OFFICE
from . import devices, record
from .app import Hub
from .database import Line
from .errors import HubError
from .lists import journal, rows_of
from .people import Person, Role

#: Rows of a list at most.
MOST = 100
_TEXTS = ("name", "description", "plate", "words", "who", "phone", "address", "place", "what")
_HASH = 64
_TIME = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")


@attrs.frozen(kw_only=True)
class OfficeRow:
    """A job as the office's lists show it; texts that were destroyed say so."""

    id: str
    name: str
    state: str
    because: str
    device: str
    disputes: int
    number: str
    day: str
    at: str
    texts: Mapping[str, str]


@attrs.frozen(kw_only=True)
class OfficeInvoice:
    """An invoice as the office's lists show it."""

    entry: str
    number: str
    day: str
    due_on: str
    total: Money
    owed: Money
    device: str
    job: str


def _may_see(person: Person) -> tuple[LiteralString, tuple[Any, ...]]:
    """A condition on table job, and its values."""
    if person.role is Role.MECHANIC:
        return "id IN (SELECT job FROM job_device WHERE device = %s)", (person.device,)
    return ("TRUE", ()) if person.role is Role.OFFICE else ("FALSE", ())


def _jobs(hub: Hub, person: Person, where: LiteralString, *values: Any) -> list[OfficeRow]:
    allowed, own = _may_see(person)
    with hub.database.line() as line:
        asked = sql.SQL("WHERE {} AND {}").format(sql.SQL(allowed), sql.SQL(where))
        found = rows_of(line, asked, (*own, *values))
        hashes = {row[name] for row in found for name in _TEXTS if row[name]}
        texts = record.texts(line, hub.key, hashes, {row["id"] for row in found})
    return [
        OfficeRow(
            **{field: row[field] for field in attrs.fields_dict(OfficeRow) if field not in ("texts", "name")},
            # A plain text in journals of before; else the job goes by its id once its name was forgotten.
            name=texts.get(row["name"], row["id"] if len(row["name"]) == _HASH else row["name"]),
            texts={name: texts.get(row[name], "removed") if row[name] else "" for name in _TEXTS},
        )
        for row in found
    ]


def open_jobs(hub: Hub, person: Person) -> list[OfficeRow]:
    """Jobs that are open, the newest first."""
    return _jobs(hub, person, "closed IS NULL ORDER BY began DESC LIMIT %s", MOST)


def closed_jobs(hub: Hub, person: Person) -> list[OfficeRow]:
    """Jobs that are invoiced or over, the latest first."""
    return _jobs(hub, person, "closed IS NOT NULL ORDER BY closed DESC LIMIT %s", 20)


def disputed_jobs(hub: Hub, person: Person) -> list[OfficeRow]:
    """Jobs in which two vans say different things of one."""
    return _jobs(hub, person, "disputes > 0 ORDER BY began DESC LIMIT %s", MOST)


def day_plan(hub: Hub, person: Person, today: date) -> tuple[list[OfficeRow], list[OfficeRow]]:
    """Whom to go to, of all vans: until today, and later."""
    until = "day <> '' AND day <= %s ORDER BY day, device, at LIMIT %s"
    after = "day <> '' AND day > %s ORDER BY day, device, at LIMIT %s"
    return (
        _jobs(hub, person, until, today.isoformat(), MOST),
        _jobs(hub, person, after, today.isoformat(), MOST),
    )


def found_jobs(hub: Hub, person: Person, asked: str, today: date) -> list[OfficeRow]:
    """Jobs by what is known of one: a plate, a name, a number, a day."""
    found: dict[str, OfficeRow] = {}
    for words in asked_words(asked, today):
        keys = list(dict.fromkeys(hub.key.word(word) for word in words))
        if not keys:
            continue
        has: LiteralString = "EXISTS (SELECT 1 FROM job_word WHERE word = %s AND job_word.job = job.id)"
        together: LiteralString = " AND ".join([has] * len(keys)) + " ORDER BY began DESC LIMIT %s"
        for row in _jobs(hub, person, together, *keys, MOST):
            found.setdefault(row.id, row)
    return list(found.values())[:MOST]


# ── money ───────────────────────────────────────────────────────────────────────────────────────────────────

_INVOICE = "SELECT entry, number, day, due_on, total, owed, currency, device, job FROM invoice "


def _invoices(hub: Hub, person: Person, where: LiteralString, *values: Any) -> list[OfficeInvoice]:
    if person.role is Role.MECHANIC:
        return []
    with hub.database.line() as line:
        found = line.execute(sql.SQL(_INVOICE) + sql.SQL(where), list(values)).fetchall()
    return [
        OfficeInvoice(
            entry=entry,
            number=number,
            day=day,
            due_on=due_on,
            total=Money(int(total), currency),
            owed=Money(int(owed), currency),
            device=device,
            job=job,
        )
        for entry, number, day, due_on, total, owed, currency, device, job in found
    ]


def debts(hub: Hub, person: Person) -> list[OfficeInvoice]:
    """Invoices that are not paid, the one that was to be paid first at the top."""
    return _invoices(hub, person, "WHERE owed > 0 ORDER BY due_on, written LIMIT %s", MOST)


def invoices(hub: Hub, person: Person) -> list[OfficeInvoice]:
    """Invoices and credit notes of all vans, the latest first."""
    return _invoices(hub, person, "ORDER BY written DESC LIMIT %s", MOST)


def paper(hub: Hub, person: Person, entry: str) -> tuple[str, bytes]:
    """Number and PDF of an invoice as it was issued, drawn again from what the record keeps; without a code,
    whose key is the van's.

    Raises:
        HubError: there is none that this person may see.
    """
    with hub.database.line() as line:
        found = line.execute(
            record.SELECT + sql.SQL("WHERE id = %s AND kind = 'invoice'"), (entry,)
        ).fetchone()
        kept = rows.entry_of(tuple(found)) if found else None
        if kept is None or not _may_have(line, person, kept):
            raise HubError("There is no such paper.")
        document: Document = from_data(kept.body["document"])
        hashes = {ref.hash for ref in references(kept.body)}
        texts = record.texts(line, hub.key, hashes, jobs_of(kept))
    return str(kept.body["number"]), render_pdf(document, resolver(texts), None)


def _may_have(line: Line, person: Person, entry: Entry) -> bool:
    if person.role is not Role.MECHANIC:
        return True
    found = line.execute(
        "SELECT 1 FROM job_device WHERE job = ANY(%s) AND device = %s",
        ([entry.job, *map(str, entry.body.get("jobs", ()))], person.device),
    )
    return found.fetchone() is not None


# ── one job ─────────────────────────────────────────────────────────────────────────────────────────────────


@attrs.frozen(kw_only=True)
class Said:
    """One of two statements about one thing: by which van, when, of which kind, and what."""

    device: str
    recorded: str
    kind: str
    text: str


@attrs.frozen(kw_only=True)
class OfficeJob:
    """One job: its row, what two vans say differently, and the invoices it is on."""

    row: OfficeRow
    disputes: Sequence[tuple[str, Sequence[Said]]]
    invoices: Sequence[tuple[str, str]]


def job(hub: Hub, person: Person, id_: str) -> OfficeJob:
    """One job.

    Raises:
        HubError: there is none that this person may see.
    """
    found = _jobs(hub, person, "id = %s", id_)
    if not found:
        raise HubError("There is no such job.")
    with hub.database.line() as line:
        folded = fold(id_, [entry for _, entry in journal(line, id_)])
        owners = {
            str(chain): str(letters) for chain, letters in line.execute("SELECT name, device FROM chain")
        }
        hashes = {ref.hash for entry in folded.entries for ref in references(entry.body)}
        texts = record.texts(line, hub.key, hashes, [id_])
    issued = [noted.record for noted in folded.issued]
    return OfficeJob(
        row=found[0],
        disputes=list(_disputes(folded, owners, texts)),
        invoices=[(one.number, one.books_entry) for one in issued],
    )


def _disputes(
    folded: Job, owners: Mapping[str, str], texts: Mapping[str, str]
) -> Iterable[tuple[str, Sequence[Said]]]:
    entries = {entry.id: entry for entry in folded.entries}
    for dispute in folded.disputes:
        told = [entries[id_] for id_ in dispute.entries]
        yield (
            dispute.subject,
            [
                Said(
                    device=owners.get(entry.chain, ""),
                    recorded=entry.recorded,
                    kind=kind_words(entry.kind),
                    text=_told(entry, texts),
                )
                for entry in told
            ],
        )


def kind_words(kind: str) -> str:
    """A kind of entry in words; two of them are words of some system too, and mean another thing there."""
    return {"charged": "quantity charged", "fitted": "fitted with"}.get(kind, kind.replace("_", " "))


def _told(entry: Entry, texts: Mapping[str, str]) -> str:
    """What an entry says, in the words it was typed in as far as there are."""

    def words(value: Any) -> str:
        if isinstance(value, Mapping):
            if set(value) == {"personal", "hash"}:
                return texts.get(str(value["hash"]), "removed")
            return ", ".join(f"{key} {words(item)}" for key, item in value.items() if item)
        return ", ".join(map(words, value)) if isinstance(value, list) else str(value)

    typed = entry.body.get("typed")
    if typed:
        return str(typed)
    return "; ".join(f"{key} {words(item)}" for key, item in entry.body.items() if item)


# ── what the office writes ──────────────────────────────────────────────────────────────────────────────────


@attrs.frozen(kw_only=True)
class Call:
    """A call that was taken: what was typed, empty where nothing was."""

    who: str = ""
    phone: str = ""
    address: str = ""
    vehicle: str = ""
    plate: str = ""
    words: str = ""
    day: str = ""
    time: str = ""
    van: str = ""


def take_call(hub: Hub, person: Person, call: Call) -> str:
    """Begin a job with what somebody told on the phone, and hand it to a van; gives its id.

    Raises:
        HubError: this person may not, what is said or who says it is missing, or there is no such van or day.
    """
    _must_be_office(person)
    call = Call(**{name: " ".join(str(text).split())[:500] for name, text in attrs.asdict(call).items()})
    if not call.words or not (call.who or call.phone):
        raise HubError("A job needs what the customer says, and a name or a phone number.")
    drafts = [*_call_drafts(call)]
    with hub.database.writing() as line:
        id_ = random_id(12)
        drafts.append(_handing(line, id_, call.van, ()))
        record.written(hub.key, line, id_, drafts, utc_text(hub.clock()))
    return id_


def _call_drafts(call: Call) -> Iterable[Draft]:
    def draft(kind: str, what: Any) -> Draft:
        return Draft(kind=kind, subject=f"{FIRST_ROWS}:arrival/{kind}/#1", body=body_of(what))

    def text(kind: str, said: str) -> PersonalText | None:
        return PersonalText(kind, said) if said else None

    called = PersonalText("job_name", f"call-{random_id(6)}")
    yield draft("opened", Opened(origin=called, words=PersonalText("words", call.words)))
    yield draft(
        "customer",
        Customer(
            name=text("name", call.who),
            phone=text("phone", call.phone),
            address=text("address", call.address),
        ),
    )
    plate, description = text("plate", call.plate), text("description", call.vehicle)
    yield draft("vehicle", Vehicle(plate=plate, description=description, why_no_vin=NOT_SEEN))
    if call.day:
        try:
            day = date.fromisoformat(call.day)
        except ValueError as error:
            raise HubError(f"{call.day!r} is no day; write it like 2026-03-05.") from error
        if call.time and not _TIME.fullmatch(call.time):
            raise HubError(f"{call.time!r} is no time of day; write it like 14:30.")
        planned = Planned(on=day.isoformat(), time=call.time)
        yield Draft(kind="planned", subject=own_subject("planned", FIRST_ROWS), body=body_of(planned))


def hand(hub: Hub, person: Person, id_: str, van: str) -> None:
    """Hand a job to a van, whichever it was at.

    Raises:
        HubError: this person may not, or there is no such job or van.
    """
    _must_be_office(person)
    with hub.database.writing() as line:
        before = [entry.id for _, entry in journal(line, id_) if entry.kind == "handed"]
        if not line.execute("SELECT 1 FROM job WHERE id = %s", (id_,)).fetchone():
            raise HubError("There is no such job.")
        record.written(hub.key, line, id_, [_handing(line, id_, van, before)], utc_text(hub.clock()))


def _handing(line: Line, id_: str, van: str, before: Sequence[str]) -> Draft:
    known = {one.letters for one in devices.devices(line) if not one.revoked} - {OFFICE}
    if van not in known:
        raise HubError(f"There is no van {van!r}. Known are: {', '.join(sorted(known)) or 'none'}.")
    return Draft(
        kind="handed",
        subject=own_subject("handed", id_),
        body=body_of(Handed(to=van)),
        replaces=tuple(before),
    )


def _must_be_office(person: Person) -> None:
    if person.role is not Role.OFFICE:
        raise HubError("Only the office may do that.")
