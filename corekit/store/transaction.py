"""The one door by which anything comes into a store: everything that is said in a transaction is written, or
nothing is.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import attrs

from ..model.entry import BOOKS, JOB, Draft, Entry, jobs_of, own_subject
from ..model.job import Job, fold
from ..model.personal import Personal, PersonalText
from ..model.records import (
    DrawerNoted,
    Forgotten,
    InvoiceIssued,
    Issued,
    PaymentTaken,
    Published,
    body_of,
    with_kept_reason,
)
from . import exchange, links, listing, persons, queries, requests, rows, schema, seals
from .door import Door
from .drafts import check_document, checked_body
from .errors import StoreError, refusal
from .links import Link
from .requests import Request, RequestOutcome

#: What the journal of the first job alone says of a credit note over several.
_OF_FIRST = ("credited", "because")


class Transaction:
    """A writer's view of the store, while nobody else can write. `Store.transaction` makes it.

    Attributes:
        known: What became of the request when it came before; then there is nothing left to write, and
            nothing can be. None for a new one, and where there is no request.
        lineage: Name of the chain that jobs are written in.
    """

    def __init__(
        self,
        connection: sqlite3.Connection,
        jobs: Sequence[str],
        request: Request | None,
        *,
        where: str,
        lineage: str,
        demo: bool,
        now: Callable[[], str],
        door: Door | None = None,
    ) -> None:
        self._connection, self._jobs, self._request = connection, tuple(jobs), request
        self._where, self._demo, self._now = where, demo, now
        self._door = door or Door()
        self.lineage = lineage
        self.known: RequestOutcome | None = (
            requests.outcome(connection, request) if request is not None else None
        )
        self._folded: dict[str, Job | None] = {}
        self._written: list[Entry] = []
        self._relisted: set[str] = set()
        self._standing: list[Entry] = []
        self._unbooked_before: int | None = None
        self._is_over = self.known is not None
        if len(set(self._jobs)) != len(self._jobs):
            raise refusal(f"Each job is named once; got {', '.join(self._jobs)}.")

    # ── the job as it stands ────────────────────────────────────────────────────────────────────────────────

    @property
    def job(self) -> Job | None:
        """The (first) job as it stood when this transaction began; None for a new one. Folded once."""
        return self.job_of(self._jobs[0])

    def job_of(self, job: str) -> Job | None:
        """As `job`, for any job."""
        if job not in self._folded:
            own = {entry.id for entry in self._written}
            entries = [entry for entry in queries.journal(self._connection, job) if entry.id not in own]
            self._folded[job] = queries.folded(self._connection, job, entries) if entries else None
        return self._folded[job]

    def has_grown(self, job: Job) -> bool:
        """True when something was written in a job since it was read."""
        return queries.length(self._connection, job.id) != len(job.entries)

    # ── what is written ─────────────────────────────────────────────────────────────────────────────────────

    def append(self, drafts: Iterable[Draft]) -> list[Entry]:
        """Write drafts into the (first) job's journal; a new job begins with an `opened` one.

        Returns:
            The entries that they became, in order.

        Raises:
            StoreError: a draft does not fit its kind, replaces or refers to something that is not here, holds
                an empty personal text, or is a demo's in a real store.
        """
        drafts = list(drafts)
        if not drafts:
            return []
        job = self._jobs[0]
        self._must_have_begun(job, drafts)
        if any(draft.kind in ("paid", "withdrawn") for draft in drafts):
            self._count_money()
        return self._append_to(job, drafts)

    def append_payment(self, chain: str, taken: PaymentTaken) -> Entry:
        """Write a payment (or, below zero, a correction of one) into the books; the job's own journal says
        the same by the end of the transaction.

        Raises:
            StoreError: there is no such job, or the books cannot have that name.
        """
        self._count_money()
        self._may_hold_books(chain)
        subject = own_subject("payment", f"{chain}/{queries.next_n(self._connection, chain)}")
        draft = Draft(kind="payment", subject=subject, body=body_of(taken))
        return self._insert_drafts(BOOKS, self._jobs[0], chain, [draft], self._jobs[:1])[0]

    def append_drawer(self, chain: str, noted: DrawerNoted) -> Entry:
        """Write into the books what was put into the cash drawer, taken out or counted; it is no job's.

        Raises:
            StoreError: the books cannot have that name.
        """
        self._may_hold_books(chain)
        subject = own_subject("drawer", f"{chain}/{queries.next_n(self._connection, chain)}")
        draft = Draft(kind="drawer", subject=subject, body=body_of(noted))
        return self._insert_drafts(BOOKS, "", chain, [draft], ())[0]

    def next_number(self, chain: str) -> int:
        """The running number, from 1, that the next invoice of a books chain takes.

        Raises:
            StoreError: the books cannot have that name.
        """
        self._may_hold_books(chain)
        return queries.next_number(self._connection, chain)

    def issue(self, chain: str, record: InvoiceIssued) -> Entry:
        """Write an invoice over this transaction's jobs into the books, and into the journal of each that it
        was issued.

        Over several jobs the books entry names them all and belongs to none alone.

        Returns:
            The books entry.

        Raises:
            StoreError: there is no such job, one of several is issued already, or the record does not fit its
                place or its jobs, or its printed number is taken.
        """
        jobs, several = self._jobs, len(self._jobs) > 1
        for job in jobs:
            self._must_have_begun(job, ())
            if several and not record.credits and (number := queries.number_of(self._connection, job)):
                raise refusal(f"Job {job} is on invoice {number} already.")
        place = self.next_number(chain)
        if record.place != place:
            raise refusal(
                f"The invoice was to be number {place} of books {chain}, and says it is {record.place}."
            )
        if list(record.jobs) != (list(jobs) if several else []):
            raise refusal(
                f"The invoice was to be over {', '.join(jobs)}, and says it is over"
                f" {', '.join(record.jobs) or 'one job'}."
            )
        subject = own_subject("invoice", rows.composed(record.number))
        taken = "SELECT 1 FROM entry WHERE subject = ? AND kind = 'invoice'"
        if not record.number or self._connection.execute(taken, (subject,)).fetchone():
            raise refusal(f"The invoice number {record.number!r} is empty or taken.")
        draft = Draft(kind="invoice", subject=subject, body=body_of(record))
        (entry,) = self._insert_drafts(BOOKS, "" if several else jobs[0], chain, [draft], jobs)
        listing.insert_invoice(self._connection, entry.id)
        issued = Issued(
            number=record.number,
            document_id=record.document_id,
            document_hash=record.document_hash,
            books_entry=entry.id,
            date_said=record.date_said,
            credits=record.credits,
            whole=record.whole,
            credited=-record.total if record.credits else 0,
            because=record.because,
            shared=several,
        )
        draft = Draft(kind="issued", subject=own_subject("issued", record.number), body=body_of(issued))
        for job in jobs:
            self._append_to(job, [draft])
            draft = attrs.evolve(draft, body={k: v for k, v in draft.body.items() if k not in _OF_FIRST})
        return entry

    def keep_words(self, said: PersonalText) -> Personal:
        """Keep a personal text of the (first) job before the entry that refers to it: a Document must name
        the reference already when its hash is taken.

        Raises:
            StoreError: the text is empty, or there is no such job.
        """
        self._must_be_open()
        job = self._jobs[0]
        self._must_have_begun(job, ())
        self._door.words(said)
        try:
            kept = persons.person(said)
        except ValueError as error:
            raise refusal(f"The words cannot be kept: {error}.") from error
        seals.insert(self._connection, "person", (kept.hash, job, kept.kind, kept.salt, kept.text))
        return Personal(kept.kind, kept.hash)

    def note_link(self, token_hash: str, document_id: str, link: int, expires: str = "") -> Link:
        """Keep a link by its token's hash. Noting the same link again gives what is known of it.

        Raises:
            StoreError: this hash, or this document's link of that number, is another link's.
        """
        self._must_be_open()
        noted = Link(token_hash=token_hash, document_id=document_id, link=link, expires=expires)
        known = links.same_link(self._connection, noted)
        if known is not None:
            return known
        links.insert(self._connection, noted)
        listing.refresh_waiting(self._connection, document_id)
        return noted

    def mark_published(self, token_hash: str, at: str = "") -> Link:
        """Note that the page server has the document of this link, and say so in the journals of this
        transaction's jobs; a link keeps its first time.

        Args:
            at: When, RFC 3339 UTC; now if empty.

        Raises:
            StoreError: no such link is known, or no such job.
        """
        self._must_be_open()
        link = links.link_of(self._connection, token_hash)
        if link.published_at:
            return link
        link = attrs.evolve(link, published_at=at or self._now())
        links.change(self._connection, link)
        listing.refresh_waiting(self._connection, link.document_id)
        record = Published(document_id=link.document_id, link=link.link, token_hash=token_hash)
        subject = own_subject("published", f"{link.document_id}/{link.link}")
        for job in self._jobs:
            self._must_have_begun(job, ())
            self._append_to(job, [Draft(kind="published", subject=subject, body=body_of(record))])
        return link

    def revoke_link(self, token_hash: str, at: str = "") -> Link:
        """Note that a link no longer opens anything; a link keeps its first time.

        Raises:
            StoreError: no such link is known.
        """
        self._must_be_open()
        link = links.link_of(self._connection, token_hash)
        if not link.revoked:
            link = attrs.evolve(link, revoked=at or self._now())
            links.change(self._connection, link)
            listing.refresh_waiting(self._connection, link.document_id)
        return link

    def destroy_persons(self, because: str = "", job: str = "") -> dict[str, int]:
        """Destroy the personal texts of a job, the first where none is named, and say in its journal how many
        of which kind.

        Raises:
            StoreError: there is no such job.
        """
        job = job or self._jobs[0]
        self._must_have_begun(job, ())
        counts = persons.counts(self._connection, job)
        if counts:
            schema.destroy(self._connection, job)
            n = queries.next_n(self._connection, self.lineage)
            subject = own_subject("forgotten", f"{self.lineage}/{n}")
            body = body_of(Forgotten(counts=counts, because=because))
            self._append_to(job, [Draft(kind="forgotten", subject=subject, body=body)])
        return counts

    def change_lineage(self, name: str) -> None:
        """Go on in a chain of another name."""
        self._must_be_open()
        seals.change(self._connection, "meta", ("lineage", name))
        self.lineage = name

    @property
    def chains(self) -> frozenset[str]:
        """Names of all chains that something was written in."""
        return frozenset(rows.heads(self._connection))

    def change_device(self, letters: str) -> None:
        """Number invoices under other letters from now on, whatever the shop's own file says."""
        self.note("device", letters)

    def note(self, key: str, value: str) -> None:
        """Write down of the store itself what is no entry."""
        self._must_be_open()
        known = self._connection.execute("SELECT 1 FROM meta WHERE key = ?", (key,)).fetchone()
        (seals.change if known else seals.insert)(self._connection, "meta", (key, value))

    def drop_note(self, key: str) -> None:
        """What was noted holds no more."""
        seals.remove(self._connection, "meta", key)

    def take_in(self, parcel: exchange.Parcel) -> exchange.TakenIn:
        """Take in entries of other vans; see `exchange.take_in`."""
        self._must_be_open()
        return exchange.take_in(self._connection, parcel, lambda job: self.destroy_persons(job=job))

    # ── how it ends ─────────────────────────────────────────────────────────────────────────────────────────

    def note_standing(self, *entries: Entry) -> None:
        """What was asked for stands already: the request came to these entries, and nothing is written."""
        self._standing += entries

    def cancel(self) -> None:
        """End the transaction without writing anything; the request stays new."""
        if not self._is_over:
            self._is_over = True
            self._connection.execute("ROLLBACK")

    def finish(self) -> None:
        """Hold job and books against each other, list the jobs anew and note the request; `Store.transaction`
        calls it last.
        """
        if self._is_over:
            return
        self._check_money()
        for job in sorted(self._relisted):
            listing.refresh_job(self._connection, job)
        if self._request is not None:
            job = self._jobs[0]
            self._must_have_begun(job, ())
            became = [entry for entry in self._written if job in jobs_of(entry)]
            requests.keep(self._connection, self._request, job, [*became, *self._standing], self._now())
        self._is_over = True

    # ── inside ──────────────────────────────────────────────────────────────────────────────────────────────

    def _must_be_open(self) -> None:
        if self._is_over:
            raise StoreError(
                f"Something tried to write to {self._where} in a transaction that is over: it was cancelled,"
                " or its request came before."
            )

    def _must_have_begun(self, job: str, drafts: Sequence[Draft]) -> None:
        if queries.has_job(self._connection, job):
            return
        if not job or not any(draft.kind == "opened" for draft in drafts):
            raise refusal(
                f"There is no job {job!r} in {self._where}, and a new one begins with an `opened` statement."
                f" {queries.overview(self._connection)}"
            )
        if not exchange.NAME.fullmatch(job):
            raise refusal(f"{job!r} cannot be the id of a job; take one from new_job.")

    def _may_hold_books(self, chain: str) -> None:
        if not exchange.NAME.fullmatch(chain):
            raise refusal(
                f"The books cannot be called {chain!r}: take letters, digits, dots, dashes and strokes, 64 at"
                " most."
            )
        first = "SELECT journal FROM entry WHERE chain = ? ORDER BY n LIMIT 1"
        if chain == self.lineage or self._connection.execute(first, (chain,)).fetchone() == (JOB,):
            raise refusal(
                f"The books cannot be kept in chain {chain!r}, which holds jobs. Give them a name of their"
                " own."
            )

    def _count_money(self) -> None:
        """Before the first thing that may move money: by how much job and books differ already."""
        if self._unbooked_before is None:
            self._unbooked_before = self._unbooked_amount(self.job)

    def _check_money(self) -> None:
        if self._unbooked_before is None:
            return
        job = self._jobs[0]
        after = fold(job, queries.journal(self._connection, job))
        difference = self._unbooked_amount(after) - self._unbooked_before
        if difference:
            raise refusal(
                "A payment must be the same in the job and in the books; the job says"
                f" {difference:+} more than the books (in the smallest unit of the money)."
            )

    def _unbooked_amount(self, job: Job | None) -> int:
        """What the job says was paid, less what the books received for it."""
        if job is None:
            return 0
        of_job = "WHERE job = ? AND journal = ? AND kind = 'payment'"
        booked = rows.entries(self._connection, of_job, job.id, BOOKS)
        return sum(noted.record.amount for noted in job.payments) - sum(
            int(entry.body["amount"]) for entry in booked
        )

    def _append_to(self, job: str, drafts: Sequence[Draft]) -> list[Entry]:
        exchange.must_go_on_here(self._connection, job, drafts)
        return self._insert_drafts(JOB, job, self.lineage, drafts, (job,))

    def _insert_drafts(
        self, journal: str, job: str, chain: str, drafts: Sequence[Draft], whose: Sequence[str]
    ) -> list[Entry]:
        """Give each draft its place in the chain, its references and its id, and insert it.

        `whose` are the jobs whose entries and persons it may refer to.
        """
        self._must_be_open()
        heads = rows.heads(self._connection)
        prev, n = heads.pop(chain, ("", -1))
        of_job = queries.heads_of_job(self._connection, job, chain) if journal == JOB else []
        seen = tuple(sorted({*(head for head, _ in heads.values()), *of_job}))
        recorded = self._now()
        latest: dict[str, tuple[str]] = {}
        written: list[Entry] = []
        new: list[tuple[str, ...]] = []
        for draft in drafts:
            self._door.drafts(draft)
            texts: list[persons.Person] = []
            try:
                said, reason = with_kept_reason(draft.kind, checked_body(draft), draft.reason)
                body = persons.with_references(said, texts)
                replaces = tuple(dict.fromkeys((*draft.replaces, *latest.get(draft.subject, ()))))
                self._must_be_here(whose, replaces, body, {text.hash for text in texts})
                if draft.kind == "opened" and body.get("demo") and not self._demo:
                    raise ValueError(
                        "it belongs to a demo, and this is a real store; use a demo store for it"
                    )
                n += 1
                entry, row = rows.sealed_row(
                    Entry(
                        journal=journal,
                        job=job,
                        chain=chain,
                        n=n,
                        prev=prev,
                        kind=draft.kind,
                        subject=draft.subject,
                        body=body,
                        recorded=recorded,
                        seen=seen,
                        taken=draft.taken,
                        replaces=replaces,
                        reason=reason,
                    )
                )
                check_document(entry)
            except (ValueError, TypeError) as error:
                raise refusal(
                    f"The statement {draft.kind!r} about {draft.subject!r} cannot be kept: {error}."
                ) from error
            self._connection.execute(rows.INSERT_ENTRY, row)
            new += [(text.hash, job, text.kind, text.salt, text.text) for text in texts]
            prev, latest[draft.subject] = entry.id, (entry.id,)
            written.append(entry)
        seals.insert(self._connection, "person", *new)
        seals.tally(self._connection, "entry", added=[entry.id for entry in written])
        self._written += written
        if journal == BOOKS:
            for entry in written:
                listing.insert_booked(self._connection, entry.id)
        if journal == JOB and not listing.KINDS.isdisjoint(entry.kind for entry in written):
            self._relisted.add(job)
        return written

    def _must_be_here(self, jobs: Sequence[str], replaces: Sequence[str], body: Any, new: set[str]) -> None:
        """What a draft replaces and whom it refers to must be of this job; of an invoice over several jobs,
        of one of them.
        """
        of_these = f"job IN ({', '.join('?' * len(jobs))})"
        for old in replaces:
            known = f"SELECT 1 FROM entry WHERE id = ? AND {of_these}"
            if not self._connection.execute(known, (old, *jobs)).fetchone():
                raise ValueError(f"it replaces {old[:12]}, which is no entry of this job")
        for ref in persons.references(body):
            known = f"SELECT 1 FROM person WHERE hash = ? AND {of_these}"
            if ref.hash in new or self._connection.execute(known, (ref.hash, *jobs)).fetchone():
                continue
            if not persons.was_forgotten(self._connection, ref.hash, jobs):
                raise ValueError(
                    f"it refers to personal text {ref.hash[:12]} ({ref.kind}), which this job does not have"
                )
