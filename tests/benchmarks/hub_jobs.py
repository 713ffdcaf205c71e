"""Invented jobs for the hub: written on a van as any other, or copied on the hub as often as one likes."""

from __future__ import annotations

import hashlib
import json
import random
from collections.abc import Iterator
from typing import Any

import attrs
from psycopg import sql

from corekit.hub import lists, record
from corekit.hub.app import Hub
from corekit.hub.database import Line
from corekit.model.canonical import canonical, digest
from corekit.model.entry import Draft
from corekit.model.personal import PersonalText
from corekit.model.records import (
    Approved,
    Customer,
    Estimated,
    InvoiceIssued,
    Measured,
    Opened,
    Repaired,
    Vehicle,
    body_of,
)
from corekit.store import rows
from corekit.store.exchange import SentPerson
from corekit.store.listing import derived_words
from corekit.store.persons import salted_hash
from corekit.store.store import Store

#: Of an estimate's or an invoice's Document: as many bytes of text as the demo's have (9.7 kB), and packed by
#: zlib to two fifths, as they are.
_LETTERS = random.Random(20261129)
_WORDS = ["".join(_LETTERS.choices("abcdefghilmnoprstu", k=_LETTERS.randint(2, 9))) for _ in range(900)]
FILLING = " ".join(_LETTERS.choices(_WORDS, k=1400))


def document(name: str) -> dict[str, str]:
    return {"id": name, "title": name, "text": FILLING}


def job_drafts(name: str, n: int) -> list[Draft]:
    paper = document(f"estimate-{name}")
    volts = [
        Measured(of="battery.open_circuit_voltage", typed=f"12.{at + 40} V", kind="voltage", number=12.5)
        for at in range(4)
    ]
    words = PersonalText("words", f"Cranks slowly, since day {n:07}.")
    plate, vehicle = PersonalText("plate", f"DEMO-{n:07}"), PersonalText("description", "van")
    who, phone = PersonalText("name", f"Person{n:07} Example"), PersonalText("phone", f"000 {n:07}")
    estimated = Estimated(
        name="repair 1",
        stage="repair",
        lines=[],
        total=12000,
        currency="EUR",
        document_id=paper["id"],
        document=paper,
        document_hash=digest(paper),
        versions={},
        heads=[],
    )
    approved = Approved(
        estimate="repair 1",
        document_hash=digest(paper),
        total=12000,
        currency="EUR",
        by="customer",
        how="in person",
    )
    told: list[tuple[str, object]] = [
        ("opened", Opened(origin=name, demo=True, words=words)),
        ("vehicle", Vehicle(plate=plate, description=vehicle)),
        ("customer", Customer(name=who, phone=phone)),
        *(("measured", reading) for reading in volts),
        ("estimated", estimated),
        ("approved", approved),
        ("repaired", Repaired(operation="battery.replace", stage=1)),
    ]
    return [
        Draft(kind=kind, subject=f"{name}:{kind}#{at}", body=body_of(record_))
        for at, (kind, record_) in enumerate(told)
    ]


def write_jobs(store: Store, first: int, last: int) -> None:
    """Jobs as a van writes them, twelve entries each, with an estimate and an invoice."""
    chain = f"books/{store.device}/2026"
    for n in range(first, last):
        with store.transaction(store.new_job()) as transaction:
            transaction.append(job_drafts(f"job-{store.device}-{n:07}", n))
            place = transaction.next_number(chain)
            paper = document(f"invoice-{store.device}-{place:07}")
            transaction.issue(
                chain,
                InvoiceIssued(
                    place=place,
                    number=f"2026-{store.device}{place:07}",
                    document_id=paper["id"],
                    document=paper,
                    document_hash=digest(paper),
                    total=12000,
                    currency="EUR",
                    versions={},
                    heads=[],
                    job_name="job",
                    day="2026-03-01",
                    due_on="2026-03-15",
                ),
            )


# ── copied on the hub ───────────────────────────────────────────────────────────────────────────────────────

#: Rows that are copied at a time, of jobs.
_BATCH = 2000
_TABLES = ("job", "job_device", "job_word", "invoice")


@attrs.define
class Copies:
    """Makes more jobs on a hub out of the second one that a device sent: the same statements with another
    number, other persons and other ids, chained and listed as if the device had gone on. Each is spelled by
    putting other texts in the place of that one's, which is what saves the time.
    """

    #: The numbers of the two jobs that the device sends, whose digits stand nowhere else.
    FIRST = 9_000_001

    hub: Hub
    device: str
    entries: list[tuple[Any, ...]] = attrs.field(init=False)
    derived: dict[str, list[tuple[Any, ...]]] = attrs.field(init=False)
    persons: list[SentPerson] = attrs.field(init=False)
    words: list[tuple[str, str]] = attrs.field(init=False)
    documents: dict[str, str] = attrs.field(init=False)
    heads: dict[str, tuple[str, int]] = attrs.field(init=False)
    first: int = attrs.field(init=False)
    job: str = attrs.field(init=False)

    def __attrs_post_init__(self) -> None:
        with self.hub.database.line() as line:
            self.heads = {
                chain: (head, n) for chain, (n, head) in record.chains_of(line, self.device).items()
            }
            (self.job,) = line.execute(
                "SELECT job FROM entry WHERE kind = 'invoice' ORDER BY arrived DESC LIMIT 1"
            ).fetchone() or ("",)
            columns = ", ".join(rows.COLUMNS)
            asked = f"SELECT arrived, {columns} FROM entry WHERE job = %s ORDER BY arrived".encode()
            placed = line.execute(asked, (self.job,)).fetchall()
            self.derived = {name: self._rows(line, name) for name in _TABLES}
            sealed = line.execute("SELECT hash, job, kind, sealed FROM person WHERE job = %s", (self.job,))
            self.persons = [self.hub.key.opened(*row) for row in sealed]
            journal = lists.journal(line, self.job)
        self.first = int(placed[0][0])
        self.entries = [tuple(row[1:]) for row in placed]
        texts = {one.hash: one.text for one in self.persons}
        self.words = list(derived_words(self.job, journal, lambda hash_: texts.get(hash_, "")))
        self.documents = {}
        for row in self.entries:
            body = json.loads(row[11])
            if "document" in body:
                self.documents[body["document_hash"]] = canonical(body["document"]).decode()

    def _rows(self, line: Line, table: str) -> list[tuple[Any, ...]]:
        column = "id" if table == "job" else "job"
        asked = sql.SQL("SELECT * FROM {} WHERE {} = %s")
        return line.execute(
            asked.format(sql.Identifier(table), sql.Identifier(column)), (self.job,)
        ).fetchall()

    def make(self, first: int, last: int) -> None:
        """Jobs of these numbers, behind the last that is there."""
        for begin in range(first, last, _BATCH):
            self._batch(range(begin, min(begin + _BATCH, last)))

    def _batch(self, numbers: range) -> None:
        found: dict[str, list[Any]] = {"entry": [], "person": [], **{name: [] for name in _TABLES}}
        with self.hub.database.writing() as line:
            top = line.execute("SELECT max(arrived) FROM entry").fetchone()
            assert top is not None
            arrived = int(top[0])
            for n in numbers:
                self._one(n, arrived, found)
                arrived += len(self.entries)
            for name, of_table in found.items():
                columns = rows.COLUMNS if name == "entry" else ()
                told = (
                    [sql.SQL("({})").format(sql.SQL(", ").join(map(sql.Identifier, columns)))]
                    if columns
                    else []
                )
                copy_to = sql.SQL(" ").join(
                    [sql.SQL("COPY"), sql.Identifier(name), *told, sql.SQL("FROM STDIN")]
                )
                with line.cursor() as cursor, cursor.copy(copy_to) as copy:
                    for row in of_table:
                        copy.write_row(row)
            for chain, (head, n) in self.heads.items():
                place = numbers[-1] if chain.startswith("books/") else 0
                line.execute(
                    "UPDATE chain SET head = %s, n = %s, place = %s WHERE name = %s", (head, n, place, chain)
                )

    def _one(self, n: int, arrived: int, found: dict[str, list[Any]]) -> None:
        job = hashlib.sha256(f"job {n}".encode()).hexdigest()[:12]
        # The second job has the second invoice; job n has invoice n.
        other = {str(self.FIRST + 1): f"{n:07}", f"{2:07}": f"{n:07}", self.job: job}
        for one in self.persons:
            text = _told(one.text, other)
            salt = hashlib.sha256(f"{one.salt} {n}".encode()).hexdigest()[:32]
            hash_ = salted_hash(salt, one.kind, text)
            person = SentPerson(hash=hash_, job=job, kind=one.kind, salt=salt, text=text)
            found["person"].append((hash_, job, one.kind, self.hub.key.sealed(person)))
            other[one.hash] = hash_
        for hash_, text in self.documents.items():
            other[hash_] = hashlib.sha256(_told(text, other).encode()).hexdigest()
        # The heads that the first one saw are those before it, and its own; each is known when it is named.
        for chain, of_chain in self._by_chain():
            other[of_chain[0][5]] = self.heads[chain][0]
        for row in self.entries:
            head, at = self.heads[row[3]]
            subject, body, seen = _told(row[10], other), _told(row[11], other), _told_sorted(row[6], other)
            if row[14] is not None:
                body = body.replace(f'"place":{row[14]}', f'"place":{n}')
            rest = canonical(
                {
                    "chain": row[3],
                    "job": _told(row[2], other),
                    "journal": row[1],
                    "kind": row[9],
                    "n": at + 1,
                    "prev": head,
                    "reason": row[13],
                    "recorded": row[8],
                    "replaces": json.loads(row[12]),
                    "seen": json.loads(seen),
                    "subject": subject,
                    "taken": row[7],
                }
            )
            id_ = hashlib.sha256(b'{"body":' + body.encode() + b"," + rest[1:]).hexdigest()
            other[row[0]] = id_
            self.heads[row[3]] = (id_, at + 1)
            found["entry"].append(
                (
                    *(id_, row[1], job, row[3], at + 1, head, seen, row[7], row[8], row[9], subject, body),
                    *(row[12], row[13], n if row[14] is not None else None),
                )
            )
        shift = arrived + 1 - self.first
        for name in ("job", "job_device", "invoice"):
            for row in self.derived[name]:
                found[name].append(tuple(_moved(value, other, shift, self.first) for value in row))
        key = self.hub.key
        told = {
            spelled
            for word, kind in self.words
            for spelled in (
                {key.word(_told(word, other))} if kind == "day" else key.beginnings(_told(word, other))
            )
        }
        found["job_word"] += [(word, job) for word in told]

    def _by_chain(self) -> Iterator[tuple[str, list[tuple[Any, ...]]]]:
        for chain in dict.fromkeys(row[3] for row in self.entries):
            yield chain, [row for row in self.entries if row[3] == chain]


def _told(text: str, other: dict[str, str]) -> str:
    for old, new in other.items():
        if old in text:
            text = text.replace(old, new)
    return text


def _told_sorted(text: str, other: dict[str, str]) -> str:
    return canonical(sorted(other.get(id_, id_) for id_ in json.loads(text))).decode()


def _moved(value: Any, other: dict[str, str], shift: int, first: int) -> Any:
    """A value of a derived row: what it names is another one's, and where it stands is further on."""
    if isinstance(value, str):
        return other.get(value) or _told(value, other)
    return value + shift if isinstance(value, int) and first <= value < first + 12 else value
