"""The store: a job's journal, the books, and the persons apart, in one SQLite file.

What a method returned is on the disk: every writer begins IMMEDIATE, commits under WAL and synchronous=FULL,
and returns after the commit. A store may be used from several threads and several processes at once.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import secrets
import sqlite3
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

import attrs

from ..files import name_once
from ..model.canonical import canonical, digest
from ..model.entry import BOOKS, JOB, REQUEST_ID, Draft, Entry, utc_text
from ..model.job import Job, fold
from ..model.personal import PICTURE_KINDS, Personal
from ..model.records import RECORDS, Forgotten, InvoiceIssued, Issued, Paid, PaymentTaken, Published, body_of
from . import persons, rows, schema, seals, verification
from .mark import as_drawn, drawn
from .problem import OtherAnswer, StoreError, told
from .reconcile import SINGLE, Reconciled, answered, reconcile
from .statement import Statement, own_subject

JOB_LETTERS = 12
LINEAGE_LETTERS = 12

#: How many jobs or invoices a message lists before it stops.
LISTED = 20

#: What a job or the books may be called: these names stand in messages, subjects and file names.
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._/-]{0,63}")


def utc_now() -> str:
    """This moment, RFC 3339 UTC."""
    return utc_text(datetime.now(UTC))


def _nothing_changed(what: str) -> StoreError:
    return StoreError(f"{what} Nothing was written.")


@attrs.frozen(kw_only=True)
class Link:
    """One link to a document, known by its token's hash alone.

    Attributes:
        token_hash: SHA-256 of the token, hexadecimal.
        document_id, link: Which document, and the number of the link to it.
        expires, revoked, published_at: RFC 3339 UTC; "" for never, not, and not yet.
    """

    token_hash: str
    document_id: str
    link: int
    expires: str = ""
    revoked: str = ""
    published_at: str = ""


def _nothing_booked(_: Sequence[Statement]) -> Mapping[str, Sequence[PaymentTaken]]:
    return {}


@attrs.frozen(kw_only=True)
class Told:
    """What an answer says, for `Store.add`.

    Attributes:
        origin: What the screens' rows of this job stand under. drafts: Its rows.
        corrects: The standing entry that one of the rows takes the place of.
        statements: What it says beyond rows.
        books: From all that will be written, the payments that go into each books chain in the same stroke.
    """

    origin: str
    drafts: Sequence[Draft] = ()
    corrects: Entry | None = None
    statements: Sequence[Statement] = ()
    books: Callable[[Sequence[Statement]], Mapping[str, Sequence[PaymentTaken]]] = _nothing_booked


@attrs.frozen(kw_only=True)
class Answered:
    """What became of an answer: its job and the entries it became; `again` when it came before and nothing
    was written this time.
    """

    job: str
    entries: tuple[Entry, ...]
    again: bool = False


class Store:
    """One store file, open.

    Make one with `Store.create` or `Store.open`; close it, or use it in a `with` statement. Every method may
    raise StoreError when the file is locked, damaged or has no room; nothing is written then.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, now: Callable[[], str]) -> None:
        self.path = path
        self._connection = connection
        self._now = now
        self._lock = threading.RLock()

    @classmethod
    def create(cls, path: Path, *, demo: bool, now: Callable[[], str] | None = None) -> Store:
        """Make a new store at `path`, readable by its owner only, and open it.

        It is built beside its place and moved there when it is whole, so a cut creation leaves no half store.

        Raises:
            StoreError: something stands at `path` already, or its folder does not exist or may not be
                written.
        """
        path = Path(path)
        if path.exists():
            raise StoreError(
                f"{path} exists already. Open it, or create the new store under another name; nothing was"
                " changed."
            )
        unfinished = path.with_name(f".{path.name}.{drawn(8)}.new")
        try:
            os.close(os.open(unfinished, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
            try:
                _lay(unfinished, demo, (now or utc_now)())
                name_once(unfinished, path)
            finally:
                for rest in ("", "-wal", "-shm"):
                    unfinished.with_name(unfinished.name + rest).unlink(missing_ok=True)
        except sqlite3.Error as error:
            raise told(error, path) from error
        except FileExistsError as error:
            raise StoreError(
                f"{path} exists already. Open it, or create the new store under another name; nothing was"
                " changed."
            ) from error
        except OSError as error:
            raise StoreError(
                f"No store can be made at {path}: {error.strerror}. Its folder must exist, be writable, and"
                " have room."
            ) from error
        return cls.open(path, now=now)

    @classmethod
    def open(
        cls, path: Path, *, now: Callable[[], str] | None = None, patience: float = schema.PATIENCE
    ) -> Store:
        """Open the store at `path`.

        Args:
            now: Gives the time of recording, RFC 3339 UTC; the machine's clock if None.
            patience: How long a writer waits for another one, [s].

        Raises:
            StoreError: there is no file, it is no corekit store, a newer program wrote it, or it cannot be
                opened.
        """
        path = Path(path)
        if not path.exists():
            raise StoreError(f"There is no store at {path}. Check the name, or make one with `corekit init`.")
        if not path.is_file():
            raise StoreError(f"{path} is not a file, so it is no corekit store. Name the store's own file.")
        try:
            connection = schema.connect(path, patience)
            try:
                _admitted(connection, path, now or utc_now)
            except BaseException:
                connection.close()
                raise
        except sqlite3.Error as error:
            raise told(error, path) from error
        except OSError as error:
            raise StoreError(
                f"No copy of {path} could be made before bringing it up to date: {error.strerror}. Make"
                " room beside it."
            ) from error
        return cls(path, connection, now or utc_now)

    def close(self) -> None:
        """Bring everything into the one file and close it. Closing twice is nothing."""
        with self._lock:
            # A reader elsewhere or a full disk may keep the journal file from being folded in; what was
            # acknowledged stands in it all the same.
            with contextlib.suppress(sqlite3.Error):
                self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self._connection.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # ── what the store is ───────────────────────────────────────────────────────────────────────────────────

    @property
    def lineage(self) -> str:
        """Name of the chain that this store's jobs are written in."""
        return self._meta("lineage")

    @property
    def demo(self) -> bool:
        """True in a store for trying things out; its papers say DEMO."""
        value = self._meta("demo")
        if value not in ("0", "1"):
            raise StoreError(
                f"The store {self.path} no longer says whether it is a demo. Run `corekit verify`, and go"
                " back to the last backup."
            )
        return value == "1"

    def names(self) -> dict[str, list[str]]:
        """Job → the names its files or screens gave it, in the order in which jobs began."""
        with self._reading():
            return self._names()

    @property
    def schema_version(self) -> int:
        with self._reading() as connection:
            return schema.version(connection)

    def rename_lineage(self) -> str:
        """Go on in a chain of a new name, as a restored copy must: two copies may never go on in one chain.

        The old chain stays and is read as before. The names count up, so that what is written later also
        sorts later.

        Returns:
            The new name.
        """
        with self._writing() as connection:
            generation = int(self.lineage.partition("-")[0]) + 1
            name = _lineage(generation)
            seals.change(connection, "meta", ("lineage", name))
        return name

    # ── jobs ────────────────────────────────────────────────────────────────────────────────────────────────

    def new_job(self) -> str:
        """An id for a new job: 12 letters drawn at random. The job exists from its first entry on."""
        with self._reading() as connection:
            while True:
                name = drawn(JOB_LETTERS)
                if not connection.execute("SELECT 1 FROM entry WHERE job = ? LIMIT 1", (name,)).fetchone():
                    return name

    def jobs(self) -> list[str]:
        """Ids of all jobs, in the order in which they began."""
        with self._reading() as connection:
            found = connection.execute(
                "SELECT job FROM entry WHERE journal = ? GROUP BY job ORDER BY min(rowid)", (JOB,)
            )
            return [job for (job,) in found]

    def issued(self) -> list[str]:
        """Ids of the jobs that are on an invoice, the latest last."""
        with self._reading() as connection:
            found = connection.execute(
                "SELECT job FROM entry WHERE journal = ? AND kind = 'issued' GROUP BY job ORDER BY"
                " max(rowid)",
                (JOB,),
            )
            return [job for (job,) in found]

    def job(self, job: str) -> Job:
        """The job as its journal tells it.

        Raises:
            StoreError: there is no such job, or an entry of it was changed after it was written.
        """
        return fold(job, self.journal(job))

    def journal(self, job: str) -> list[Entry]:
        """All entries of a job's journal, chain by chain.

        Raises:
            StoreError: as `job`.
        """
        with self._reading() as connection:
            found = rows.entries(connection, "WHERE job = ? AND journal = ? ORDER BY chain, n", job, JOB)
            if not found:
                raise StoreError(f"There is no job {job} in {self.path}. {self._what_there_is()}")
            return found

    def find(self, text: str) -> str:
        """Id of the job that a person means: by its id, by the name its file or screen gives it, or by the
        beginning of its id.

        Raises:
            StoreError: nothing or more than one job fits; the text lists what there is.
        """
        text = text.strip()
        with self._reading():
            names = self._names()
            typed = as_drawn(text)
            if typed in names:
                return typed
            for fits in (
                [job for job, called in names.items() if text in called],
                [job for job in names if text and job.startswith(typed)],
            ):
                if len(fits) == 1:
                    return fits[0]
                if fits:
                    raise StoreError(
                        f"More than one job fits {text!r}: {_listed(fits, names)}. Give more of the id."
                    )
            raise StoreError(f"No job fits {text!r} in {self.path}. {self._what_there_is()}")

    def append(
        self,
        job: str,
        statements: Sequence[Statement],
        *,
        books: Mapping[str, Sequence[PaymentTaken]] | None = None,
        answer: str = "",
        asked: Any = None,
    ) -> list[Entry]:
        """Write statements into a job's journal, all of them or none; what is returned is on the disk.

        Args:
            job: Id of the job; a new one (`new_job`) begins with an `opened` statement.
            statements: In the order in which they are to stand.
            books: Books chain → payments that go into the books in the same stroke.
            answer, asked: Id of the answer that says this, and all that it says, as plain data; see
                `answered`.

        Returns:
            The job's new entries, in order; those of then when this answer is known already.

        Raises:
            StoreError: a statement does not fit its kind, replaces or refers to something that is not here,
                holds an empty personal text, or is a demo's in a real store.
            OtherAnswer: the id is another answer's.
        """
        if not statements and not books and not answer:
            return []
        with self._writing() as connection:
            known = self._answered(connection, answer, asked)
            if known is not None:
                return list(known.entries)
            self._has_begun(connection, job, statements)
            written = self._appended(connection, job, statements)
            for chain, payments in (books or {}).items():
                for record in payments:
                    self._booked(connection, job, chain, record)
            self._note_answer(connection, job, answer, asked, written)
            return written

    def add(self, job: str, tell: Callable[[Job | None], Told], *, answer: str, asked: Any) -> Answered:
        """Write what an answer says into a job's journal, all of it or nothing, once: known by its id, it
        adds nothing.

        Args:
            job: Id of the job; one that is not here begins with the answer.
            tell: Is given the job as it stands (None for a new one) when nobody else can write any more, and
                says what is to be written. It may read this store, not write it; what it raises comes out,
                and nothing is written.
            answer, asked: The answer's id, and all that it says as plain data.

        Raises:
            StoreError: as `append`. OtherAnswer: the id is another answer's.
        """
        _must_be_an_answer(answer)
        with self._writing() as connection:
            known = self._answered(connection, answer, asked)
            if known is not None:
                return known
            statements, books = self._told(job, tell)
            self._has_begun(connection, job, statements)
            written = self._appended(connection, job, statements)
            for chain, payments in books.items():
                for record in payments:
                    self._booked(connection, job, chain, record)
            self._note_answer(connection, job, answer, asked, written)
            return Answered(job=job, entries=tuple(written))

    def trial(self, job: str, tell: Callable[[Job | None], Told]) -> tuple[Job | None, tuple[Statement, ...]]:
        """The job as it stands and what an answer would say in it; nothing is written. As `add`."""
        with self._reading():
            return (self.job(job) if self.has(job) else None), self._told(job, tell)[0]

    def _told(
        self, job: str, tell: Callable[[Job | None], Told]
    ) -> tuple[tuple[Statement, ...], Mapping[str, Sequence[PaymentTaken]]]:
        standing = self.job(job) if self.has(job) else None
        told = tell(standing)
        # Only what the answer may say anew is compared; other texts, photos among them, would be read for
        # nothing with every answer.
        stands = (
            [
                noted.entry
                for noted in standing.standing
                if noted.entry.kind in SINGLE or noted.entry == told.corrects
            ]
            if standing is not None
            else []
        )
        texts = self.texts(ref for entry in stands for ref in persons.references(entry.body))
        result = answered(
            standing.entries if standing is not None else (), texts, told.origin, told.drafts, told.corrects
        )
        if result.faults:
            raise _nothing_changed("\n".join(result.faults))
        statements = (*result.statements, *told.statements)
        return statements, told.books(statements)

    def keep_answer(self, job: str, answer: str, asked: Any, entries: Sequence[Entry]) -> None:
        """Note an answer that asked for what stands already: nothing else is written.

        Raises:
            OtherAnswer: the id is another answer's.
        """
        if not answer:
            return
        with self._writing() as connection:
            if self._answered(connection, answer, asked) is None:
                self._has_begun(connection, job, ())
                self._note_answer(connection, job, answer, asked, entries)

    def answered(self, answer: str, asked: Any) -> Answered | None:
        """What became of an answer that came before; None when its id is new.

        Args:
            asked: All that it says, as plain data. Only its salted hash is kept, and that goes with the job's
                persons.

        Raises:
            OtherAnswer: the id is that of an answer that said something else.
        """
        with self._reading() as connection:
            return self._answered(connection, answer, asked)

    def by_answers(self, job: str) -> frozenset[str]:
        """Ids of the job's entries that answers became."""
        with self._reading() as connection:
            found = connection.execute(seals.select("answer", "WHERE job = ?"), (job,)).fetchall()
            return frozenset(
                entry for row in found for entry in rows.data_of(seals.checked("answer", row)[4])
            )

    def has(self, job: str) -> bool:
        """True when there is a job of this id."""
        with self._reading() as connection:
            return (
                connection.execute(
                    "SELECT 1 FROM entry WHERE job = ? AND journal = ? LIMIT 1", (job, JOB)
                ).fetchone()
                is not None
            )

    def append_once(self, job: str, statement: Statement) -> Entry:
        """Write one statement into a job's journal, unless something stands there under its subject already;
        gives what stands.

        Raises:
            StoreError: as `append`; there is no such job.
        """
        with self._writing() as connection:
            self._has_begun(connection, job, ())
            found = rows.entries(
                connection,
                "WHERE job = ? AND journal = ? AND subject = ? ORDER BY chain, n",
                job,
                JOB,
                statement.subject,
            )
            return found[-1] if found else self._appended(connection, job, [statement])[0]

    def reconcile(self, job: str | None, origin: str, drafts: Sequence[Draft]) -> Reconciled:
        """What the rows of a file add to a job, held against what was taken in from it before; nothing is
        written.

        Args:
            job: Id of the job, or None for one that does not exist yet.
            origin: The file's own name for the job.
            drafts: The file's rows, in order.

        Returns:
            Statements for `append`, or every fault (see `corekit.store.reconcile`).
        """
        with self._reading():
            entries = self.journal(job) if job is not None else []
            # No file says a picture, and they are long.
            texts = self.texts(
                ref
                for entry in entries
                for ref in persons.references(entry.body)
                if ref.kind not in PICTURE_KINDS
            )
            elsewhere = self.by_answers(job) if job is not None else frozenset()
        return reconcile(entries, texts, origin, drafts, elsewhere)

    # ── persons ─────────────────────────────────────────────────────────────────────────────────────────────

    def text(self, hash: str) -> str | None:  # noqa: A002
        """The personal text under a hash; None if it was destroyed or never was here.

        Raises:
            StoreError: the text was changed after it was written.
        """
        with self._reading() as connection:
            found = connection.execute(
                "SELECT kind, salt, text FROM person WHERE hash = ?", (hash,)
            ).fetchone()
        if found is None:
            return None
        kind, salt, text = found
        if persons.salted_hash(salt, kind, text) != hash:
            raise StoreError(
                f"Personal text {hash[:12]} ({kind}) was changed after it was written. Run `corekit verify`,"
                " and go back to the last backup."
            )
        return str(text)

    def texts(self, refs: Iterable[Personal]) -> dict[str, str]:
        """Hash → text of those references whose text is here.

        Raises:
            StoreError: as `text`.
        """
        with self._reading():
            found = {ref.hash: self.text(ref.hash) for ref in refs}
        return {key: text for key, text in found.items() if text is not None}

    def forgotten(self, hash: str) -> bool:  # noqa: A002
        """True when an entry refers to this personal text and it was destroyed after that."""
        with self._reading() as connection:
            if connection.execute("SELECT 1 FROM person WHERE hash = ?", (hash,)).fetchone():
                return False
            holders = connection.execute(
                "SELECT DISTINCT job FROM entry WHERE instr(body, ?)", (hash,)
            ).fetchall()
            return any(
                connection.execute(
                    "SELECT 1 FROM entry WHERE job = ? AND kind = 'forgotten'", holder
                ).fetchone()
                for holder in holders
            )

    def forget(self, job: str) -> dict[str, int]:
        """Destroy the personal texts of a job for good; its entries stay and still verify.

        The file is rewritten afterwards, so that no trace is left in its unused parts. Copies that somebody
        made elsewhere are out of reach. Asking again finishes what could not be finished, and destroys what
        was added since.

        Returns:
            Kind of personal text → how many were destroyed.

        Raises:
            StoreError: there is no such job; or the texts are destroyed but another program keeps an old
                state of the file.
        """
        with self._writing() as connection:
            self._has_begun(connection, job, ())
            counts = dict(
                connection.execute(
                    "SELECT kind, count(*) FROM person WHERE job = ? GROUP BY kind ORDER BY kind", (job,)
                )
            )
            if counts:
                schema.destroy(connection, job)
                subject = own_subject("forgotten", f"{self.lineage}/{self._next(connection, self.lineage)}")
                self._appended(
                    connection,
                    job,
                    [Statement(kind="forgotten", subject=subject, body=body_of(Forgotten(counts=counts)))],
                )
        self._swept(job)
        return counts

    # ── books ───────────────────────────────────────────────────────────────────────────────────────────────

    def issue(
        self,
        job: str,
        chain: str,
        build: Callable[[int], InvoiceIssued],
        *,
        answer: str = "",
        asked: Any = None,
    ) -> Entry:
        """Take the next number of a books chain and issue the invoice that `build` makes under it, all in one
        transaction.

        `build` is given the number's place (from 1) and may read this store, not write it. When it raises,
        nothing is taken, and what it raised comes out.

        Returns:
            The books entry. The job's journal holds an `issued` entry that names it.

        Raises:
            StoreError: there is no such job, or the record does not fit its place, or its printed number is
                taken.
            OtherAnswer: the answer's id is another's; known with the same content, it gives the entry of
                then.
        """
        return self._issued([job], chain, build, answer, asked)

    def issue_together(
        self,
        jobs: Sequence[str],
        chain: str,
        build: Callable[[int], InvoiceIssued],
        *,
        answer: str = "",
        asked: Any = None,
    ) -> Entry:
        """As `issue`, one invoice over several jobs: the books entry names them all and belongs to none
        alone, and the journal of each is told.

        Raises:
            StoreError: as `issue`; these are not two or more jobs, one of them is issued already, or the
                record is over other jobs.
        """
        if len(set(jobs)) < 2 or len(set(jobs)) != len(jobs):
            raise _nothing_changed(
                f"An invoice over several jobs names two or more, each once; got {', '.join(jobs) or 'none'}."
            )
        return self._issued(jobs, chain, build, answer, asked)

    def _issued(
        self, jobs: Sequence[str], chain: str, build: Callable[[int], InvoiceIssued], answer: str, asked: Any
    ) -> Entry:
        several = len(jobs) > 1
        with self._writing() as connection:
            known = self._answered(connection, answer, asked)
            if known is not None:
                return self._in_the_books(connection, known)
            for job in jobs:
                self._has_begun(connection, job, ())
                if several and (number := self._number_of(connection, job)):
                    raise _nothing_changed(f"Job {job} is on invoice {number} already.")
            self._may_hold_books(connection, chain)
            place = 1 + int(
                connection.execute(
                    "SELECT coalesce(max(place), 0) FROM entry WHERE chain = ?", (chain,)
                ).fetchone()[0]
            )
            record = build(place)
            if record.place != place:
                raise _nothing_changed(
                    f"The invoice was to be number {place} of books {chain}, and says it is {record.place}."
                )
            if list(record.jobs) != (list(jobs) if several else []):
                raise _nothing_changed(
                    f"The invoice was to be over {', '.join(jobs)}, and says it is over"
                    f" {', '.join(record.jobs) or 'one job'}."
                )
            entry = self._booked(connection, "" if several else jobs[0], chain, record)
            issued = Issued(
                number=record.number,
                document_id=record.document_id,
                document_hash=record.document_hash,
                books_entry=entry.id,
            )
            said = Statement(
                kind="issued", subject=own_subject("issued", record.number), body=body_of(issued)
            )
            noted = [told for job in jobs for told in self._appended(connection, job, [said])]
            self._note_answer(
                connection, jobs[0], answer, asked, [entry, noted[0]]
            )  # an answer belongs to one job
            return entry

    @staticmethod
    def _number_of(connection: sqlite3.Connection, job: str) -> str:
        """Number of the invoice that a job is on; empty when it is on none."""
        found = rows.entries(
            connection, "WHERE job = ? AND journal = ? AND kind = 'issued' ORDER BY chain, n", job, JOB
        )
        return str(found[-1].body["number"]) if found else ""

    def book(self, record: PaymentTaken, job: str, chain: str) -> Entry:
        """Put a payment into the books alone; `payment` also tells the job.

        Raises:
            StoreError: there is no such job.
        """
        with self._writing() as connection:
            self._has_begun(connection, job, ())
            return self._booked(connection, job, chain, record)

    def payment(
        self, job: str, chain: str, paid: Paid, taken: PaymentTaken, *, answer: str = "", asked: Any = None
    ) -> tuple[Entry, Entry]:
        """Money received: into the job's journal and into the books, in one transaction.

        Returns:
            The job's entry and the books entry; those of then when this answer is known already.

        Raises:
            StoreError: there is no such job, or the two records differ in amount, currency or how.
        """
        if (paid.amount, paid.currency, paid.how) != (taken.amount, taken.currency, taken.how):
            told_twice = (
                f"{paid.amount} {paid.currency} {paid.how} and {taken.amount} {taken.currency} {taken.how}"
            )
            raise _nothing_changed(
                f"A payment must be the same in the job and in the books; got {told_twice}."
            )
        with self._writing() as connection:
            known = self._answered(connection, answer, asked)
            if known is not None:
                return known.entries[0], known.entries[1]
            self._has_begun(connection, job, ())
            booked = self._booked(connection, job, chain, taken)
            said = Statement(
                kind="paid", subject=own_subject("paid", f"{chain}/{booked.n}"), body=body_of(paid)
            )
            (entry,) = self._appended(connection, job, [said])
            self._note_answer(connection, job, answer, asked, [entry, booked])
            return entry, booked

    def books(self, chain: str | None = None) -> list[Entry]:
        """All entries of the books, or of one chain of them, in their order."""
        with self._reading() as connection:
            if chain is None:
                return rows.entries(connection, "WHERE journal = ? ORDER BY chain, n", BOOKS)
            return rows.entries(connection, "WHERE journal = ? AND chain = ? ORDER BY n", BOOKS, chain)

    def invoice(self, number: str) -> Entry:
        """The books entry of an invoice, by its printed number.

        Raises:
            StoreError: there is none; the text lists the last ones.
        """
        with self._reading() as connection:
            found = rows.entries(
                connection,
                "WHERE subject = ? AND kind = 'invoice'",
                own_subject("invoice", rows.composed(number)),
            )
            if found:
                return found[0]
            last = connection.execute(
                "SELECT subject FROM entry WHERE kind = 'invoice' ORDER BY rowid DESC LIMIT ?", (LISTED,)
            ).fetchall()
            prefix = len(own_subject("invoice", ""))
            there = (
                f"The last ones are {', '.join(subject[prefix:] for (subject,) in last)}."
                if last
                else "None was issued yet."
            )
            raise StoreError(f"There is no invoice {number} in {self.path}. {there}")

    # ── links ───────────────────────────────────────────────────────────────────────────────────────────────

    def note_link(self, token_hash: str, document_id: str, link: int, expires: str = "") -> Link:
        """Keep a link by its token's hash. Noting the same link again gives what is known of it.

        Raises:
            StoreError: this hash, or this document's link of that number, is another link's.
        """
        noted = Link(token_hash=token_hash, document_id=document_id, link=link, expires=expires)
        with self._writing() as connection:
            for found in self._links(
                connection,
                "WHERE token_hash = ? OR (document_id = ? AND link = ?)",
                token_hash,
                document_id,
                link,
            ):
                if (found.token_hash, found.document_id, found.link, found.expires) != (
                    token_hash,
                    document_id,
                    link,
                    expires,
                ):
                    raise _nothing_changed(
                        f"Link {link} of document {document_id} cannot be noted: its number or its token is"
                        " another link's."
                    )
                return found
            seals.insert(connection, "link", attrs.astuple(noted))
        return noted

    def links(self, document_id: str | None = None) -> list[Link]:
        """All links, or those of one document, by document and number."""
        with self._reading() as connection:
            if document_id is None:
                return self._links(connection, "ORDER BY document_id, link")
            return self._links(connection, "WHERE document_id = ? ORDER BY link", document_id)

    def mark_published(self, token_hash: str, *jobs: str, at: str = "") -> Link:
        """Note that the page server has the document of this link; a link keeps its first time.

        Args:
            jobs: The jobs whose journals are told (`published`), in the same transaction.
            at: When, RFC 3339 UTC; now if empty.

        Raises:
            StoreError: no such link is known, or no such job.
        """
        with self._writing() as connection:
            link = self._link(connection, token_hash)
            if link.published_at:
                return link
            link = attrs.evolve(link, published_at=at or self._now())
            seals.change(connection, "link", attrs.astuple(link))
            for job in jobs:
                self._has_begun(connection, job, ())
                record = Published(document_id=link.document_id, link=link.link, token_hash=token_hash)
                subject = own_subject("published", f"{link.document_id}/{link.link}")
                self._appended(
                    connection, job, [Statement(kind="published", subject=subject, body=body_of(record))]
                )
            return link

    def revoke_link(self, token_hash: str, at: str = "") -> Link:
        """Note that a link no longer opens anything; a link keeps its first time.

        Raises:
            StoreError: no such link is known.
        """
        with self._writing() as connection:
            link = self._link(connection, token_hash)
            if not link.revoked:
                link = attrs.evolve(link, revoked=at or self._now())
                seals.change(connection, "link", attrs.astuple(link))
            return link

    # ── trust ───────────────────────────────────────────────────────────────────────────────────────────────

    def heads(self) -> list[str]:
        """Ids of the last entry of every chain, sorted: what a record mark is made of."""
        with self._reading() as connection:
            return sorted(head for head, _ in rows.heads(connection).values())

    def verify(self) -> list[str]:
        """Everything that is wrong with the store, one sentence each; empty when every row is as it was
        written.
        """
        try:
            with self._reading() as connection:
                return verification.faults(connection)
        except StoreError as error:
            return [str(error)]

    # ── inside ──────────────────────────────────────────────────────────────────────────────────────────────

    @contextlib.contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        """One unchanging view of the file; inside a writer, the writer's own."""
        with self._lock:
            nested = self._open().in_transaction
            try:
                if not nested:
                    self._connection.execute("BEGIN")
                yield self._connection
            except sqlite3.Error as error:
                raise told(error, self.path) from error
            finally:
                if not nested:
                    self._rolled_back()

    @contextlib.contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: everything written in it is on the disk when it ends, or nothing is."""
        with self._lock:
            if self._open().in_transaction:
                raise StoreError(
                    f"Something tried to write to {self.path} within another write. What builds an invoice"
                    " may read the store, not write it."
                )
            try:
                self._connection.execute("BEGIN IMMEDIATE")
                yield self._connection
                self._commit()
            except sqlite3.Error as error:
                self._rolled_back()
                raise told(error, self.path) from error
            except BaseException:
                self._rolled_back()
                raise

    def _commit(self) -> None:
        self._connection.execute("COMMIT")

    def _rolled_back(self) -> None:
        # A full disk has rolled back by itself already, and a second ROLLBACK would hide the first problem.
        if self._connection.in_transaction:
            with contextlib.suppress(sqlite3.Error):
                self._connection.execute("ROLLBACK")

    def _open(self) -> sqlite3.Connection:
        try:
            _ = self._connection.total_changes
        except sqlite3.ProgrammingError as error:
            raise StoreError(f"The store {self.path} was closed. Open it again.") from error
        return self._connection

    def _meta(self, key: str) -> str:
        with self._reading() as connection:
            found = connection.execute(seals.select("meta", "WHERE key = ?"), (key,)).fetchone()
        if found is None:
            raise StoreError(
                f"The store {self.path} has lost its {key}. Run `corekit verify`, and go back to the last"
                " backup."
            )
        return str(seals.checked("meta", found)[1])

    def _names(self) -> dict[str, list[str]]:
        """Job → the names its files or screens gave it."""
        names: dict[str, list[str]] = {job: [] for job in self.jobs()}
        for entry in rows.entries(
            self._connection, "WHERE kind = 'opened' AND journal = ? ORDER BY rowid", JOB
        ):
            names[entry.job].append(str(entry.body.get("origin", "")))
        return names

    def _what_there_is(self) -> str:
        names = self._names()
        return f"There are: {_listed(list(names), names)}." if names else "There is no job yet."

    def _links(self, connection: sqlite3.Connection, where: str, *values: Any) -> list[Link]:
        names = seals.SEALED["link"]
        found = connection.execute(seals.select("link", where), values).fetchall()
        return [Link(**dict(zip(names, seals.checked("link", row), strict=True))) for row in found]

    def _link(self, connection: sqlite3.Connection, token_hash: str) -> Link:
        for link in self._links(connection, "WHERE token_hash = ?", token_hash):
            return link
        raise _nothing_changed(
            f"No link with token hash {token_hash[:12]} is known in {self.path}. Note it before anything is"
            " said about it."
        )

    def _answered(self, connection: sqlite3.Connection, answer: str, asked: Any) -> Answered | None:
        found = (
            connection.execute(seals.select("answer", "WHERE id = ?"), (answer,)).fetchone()
            if answer
            else None
        )
        if found is None:
            return None
        _, job, salt, kept, written, _ = seals.checked("answer", found)
        # Once the persons are destroyed nobody can tell any more what the answer said; it is taken for the
        # one that came then.
        if kept and _answer_hash(salt, asked) != kept:
            raise OtherAnswer(
                f"The answer {answer} was given before and said something else. Nothing was written; answer"
                " again on a fresh page."
            )
        entries = [
            entry for one in rows.data_of(written) for entry in rows.entries(connection, "WHERE id = ?", one)
        ]
        return Answered(job=job, entries=tuple(entries), again=True)

    def _in_the_books(self, connection: sqlite3.Connection, known: Answered) -> Entry:
        """The books entry of an invoice that was issued under a known answer."""
        names = [
            entry.id if entry.journal == BOOKS else str(entry.body.get("books_entry"))
            for entry in known.entries
        ]
        return rows.entries(connection, "WHERE id = ?", names[0])[0]

    def _note_answer(
        self, connection: sqlite3.Connection, job: str, answer: str, asked: Any, written: Sequence[Entry]
    ) -> None:
        if not answer:
            return
        _must_be_an_answer(answer)
        salt = secrets.token_hex(16)
        ids = canonical([entry.id for entry in written]).decode()
        seals.insert(connection, "answer", (answer, job, salt, _answer_hash(salt, asked), ids, self._now()))

    def _has_begun(self, connection: sqlite3.Connection, job: str, statements: Sequence[Statement]) -> None:
        if connection.execute(
            "SELECT 1 FROM entry WHERE job = ? AND journal = ? LIMIT 1", (job, JOB)
        ).fetchone():
            return
        if not job or not any(statement.kind == "opened" for statement in statements):
            raise _nothing_changed(
                f"There is no job {job!r} in {self.path}, and a new one begins with an `opened` statement."
                f" {self._what_there_is()}"
            )
        if not _NAME.fullmatch(job):
            raise _nothing_changed(f"{job!r} cannot be the id of a job; take one from new_job.")

    def _may_hold_books(self, connection: sqlite3.Connection, chain: str) -> None:
        if not _NAME.fullmatch(chain):
            raise _nothing_changed(
                f"The books cannot be called {chain!r}: take letters, digits, dots, dashes and strokes, 64 at"
                " most."
            )
        if (
            chain == self.lineage
            or connection.execute(
                "SELECT 1 FROM entry WHERE chain = ? AND journal = ? LIMIT 1", (chain, JOB)
            ).fetchone()
        ):
            raise _nothing_changed(
                f"The books cannot be kept in chain {chain!r}, which holds jobs. Give them a name of their"
                " own."
            )

    def _next(self, connection: sqlite3.Connection, chain: str) -> int:
        return int(
            connection.execute(
                "SELECT coalesce(max(n) + 1, 0) FROM entry WHERE chain = ?", (chain,)
            ).fetchone()[0]
        )

    def _booked(
        self, connection: sqlite3.Connection, job: str, chain: str, record: InvoiceIssued | PaymentTaken
    ) -> Entry:
        self._may_hold_books(connection, chain)
        if isinstance(record, InvoiceIssued):
            kind, subject = "invoice", own_subject("invoice", rows.composed(record.number))
            if (
                not record.number
                or connection.execute(
                    "SELECT 1 FROM entry WHERE subject = ? AND kind = 'invoice'", (subject,)
                ).fetchone()
            ):
                raise _nothing_changed(f"The invoice number {record.number!r} is empty or taken.")
        else:
            kind, subject = "payment", own_subject("payment", f"{chain}/{self._next(connection, chain)}")
        whose = tuple(record.jobs) if isinstance(record, InvoiceIssued) and record.jobs else (job,)
        return self._sealed(
            connection,
            BOOKS,
            job,
            chain,
            [Statement(kind=kind, subject=subject, body=body_of(record))],
            whose,
        )[0]

    def _appended(
        self, connection: sqlite3.Connection, job: str, statements: Sequence[Statement]
    ) -> list[Entry]:
        return self._sealed(connection, JOB, job, self.lineage, statements, (job,))

    def _sealed(
        self,
        connection: sqlite3.Connection,
        journal: str,
        job: str,
        chain: str,
        statements: Sequence[Statement],
        whose: Sequence[str],
    ) -> list[Entry]:
        """Give each statement its place in the chain, its references and its id, and insert it.

        Runs inside a writer.

        `whose` are the jobs whose persons it may refer to.
        """
        known = rows.heads(connection)
        prev, n = known.pop(chain, ("", -1))
        seen = tuple(sorted(head for head, _ in known.values()))
        recorded = self._now()
        heads_here: dict[str, str] = {}
        written: list[Entry] = []
        new: list[tuple[str, ...]] = []
        for statement in statements:
            texts: list[persons.Person] = []
            try:
                body = persons.exchanged(_checked_body(statement), texts)
                replaces = _joined(statement.replaces, heads_here.get(statement.subject))
                self._is_here(connection, whose, replaces, body, {text.hash for text in texts})
                if statement.kind == "opened" and body.get("demo") and not self.demo:
                    raise ValueError(
                        "it belongs to a demo, and this is a real store; use a demo store for it"
                    )
                n += 1
                entry, row = rows.settled(
                    Entry(
                        journal=journal,
                        job=job,
                        chain=chain,
                        n=n,
                        prev=prev,
                        kind=statement.kind,
                        subject=statement.subject,
                        body=body,
                        recorded=recorded,
                        seen=seen,
                        taken=statement.taken,
                        replaces=replaces,
                        reason=statement.reason,
                    )
                )
                _checked_document(entry)
            except (ValueError, TypeError) as error:
                raise _nothing_changed(
                    f"The statement {statement.kind!r} about {statement.subject!r} cannot be kept: {error}."
                ) from error
            connection.execute(rows.INSERT_ENTRY, row)
            new += [(text.hash, job, text.kind, text.salt, text.text) for text in texts]
            heads_here[statement.subject] = prev = entry.id
            written.append(entry)
        seals.insert(connection, "person", *new)
        seals.tally(connection, "entry", added=[entry.id for entry in written])
        return written

    def _is_here(
        self,
        connection: sqlite3.Connection,
        jobs: Sequence[str],
        replaces: Sequence[str],
        body: Any,
        new: set[str],
    ) -> None:
        """What a statement replaces and whom it refers to must be of this job; of an invoice over several
        jobs, of one of them.
        """
        of_these = f"job IN ({', '.join('?' * len(jobs))})"
        for old in replaces:
            if not connection.execute(
                f"SELECT 1 FROM entry WHERE id = ? AND {of_these}", (old, *jobs)
            ).fetchone():
                raise ValueError(f"it replaces {old[:12]}, which is no entry of this job")
        for ref in persons.references(body):
            if (
                ref.hash in new
                or connection.execute(
                    f"SELECT 1 FROM person WHERE hash = ? AND {of_these}", (ref.hash, *jobs)
                ).fetchone()
            ):
                continue
            if not self.forgotten(ref.hash):
                raise ValueError(
                    f"it refers to personal text {ref.hash[:12]} ({ref.kind}), which this job does not have"
                )

    def _swept(self, job: str) -> None:
        """Destroy the texts in the copies that migrations made too, and rewrite the file, so that nothing
        deleted is left in it or beside it.
        """
        with self._lock:
            try:
                for backup in schema.backups(self.path):
                    with contextlib.closing(schema.connect(backup)) as copy:
                        copy.execute("BEGIN IMMEDIATE")
                        schema.destroy(copy, job)
                        copy.execute("COMMIT")
                        copy.execute("VACUUM")
                self._open().execute("VACUUM")
                busy, *_ = self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            except sqlite3.Error as error:
                raise told(error, self.path) from error
            if busy:
                raise StoreError(
                    f"The texts are destroyed, but another program that has {self.path} open keeps an old"
                    " state of it on the disk. Close that program and ask again."
                )


def _checked_body(statement: Statement) -> dict[str, Any]:
    """The statement's body, if a record can be made of it: a journal that cannot be folded would be lost.

    Raises:
        ValueError, TypeError: it cannot.
    """
    if statement.kind not in RECORDS:
        raise ValueError(f"its kind must be one of {', '.join(RECORDS)}")
    if not statement.subject:
        raise ValueError("it says nothing about what it is")
    body = dict(statement.body)
    RECORDS[statement.kind](**body)
    return body


def _checked_document(entry: Entry) -> None:
    if "document" in entry.body and digest(entry.body["document"]) != entry.body.get("document_hash"):
        raise ValueError("the document in it does not have the hash that stands beside it")


def _must_be_an_answer(answer: str) -> None:
    if not REQUEST_ID.fullmatch(answer):
        raise _nothing_changed(
            f"{answer[:64]!r} cannot be the id of an answer: it has 16 to 64 letters, digits, - and _."
        )


def _answer_hash(salt: str, asked: Any) -> str:
    """The hash an answer is known by. A date is taken as it is written."""
    return hashlib.sha256(json.dumps([salt, asked], sort_keys=True, default=str).encode()).hexdigest()


def _joined(replaces: Sequence[str], earlier: str | None) -> tuple[str, ...]:
    return tuple(replaces) if earlier is None or earlier in replaces else (*replaces, earlier)


def _listed(jobs: Sequence[str], names: Mapping[str, Sequence[str]]) -> str:
    shown = [f"{job} ({', '.join(names[job])})" if names[job] else job for job in jobs[:LISTED]]
    return ", ".join(shown) + (f" and {len(jobs) - LISTED} more" if len(jobs) > LISTED else "")


def _lineage(generation: int) -> str:
    return f"{generation:03d}-{drawn(LINEAGE_LETTERS)}"


def _lay(path: Path, demo: bool, at: str) -> None:
    connection = schema.connect(path)
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("BEGIN IMMEDIATE")
        schema.lay(connection)
        for number in range(schema.SCHEMA):
            schema.step(connection, number, at)
        seals.insert(connection, "meta", ("lineage", _lineage(1)), ("demo", "1" if demo else "0"))
        connection.execute("COMMIT")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    finally:
        connection.close()


def _admitted(connection: sqlite3.Connection, path: Path, now: Callable[[], str]) -> None:
    """Let a store in that this program can work with, brought to today's schema."""
    if not schema.is_store(connection):
        raise StoreError(
            f"{path} is not a corekit store. Name the store's own file, or create a store somewhere else."
        )
    found = schema.version(connection)
    if found > schema.SCHEMA:
        raise StoreError(
            f"The store {path} was written by a newer corekit (schema {found}; this one knows"
            f" {schema.SCHEMA}). Install the newer program; nothing was changed."
        )
    mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
    if mode != "wal":
        raise StoreError(
            f"The store {path} lies on a file system where a write-ahead log cannot be kept (got {mode})."
            " Move it to a local disk."
        )
    if found < schema.SCHEMA:
        schema.migrate(connection, path, now)
