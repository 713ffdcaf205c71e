"""The store: a job's journal, the books, and the persons apart, in one SQLite file.

Reading is done by questions; writing has one door, `Store.transaction`.
"""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from ..model.canonical import canonical
from ..model.entry import BOOKS, Draft, Entry
from ..model.job import Job
from ..model.personal import PICTURE_KINDS, Personal
from . import exchange, links, persons, queries, requests, rows, seals, vans, verification
from .database import lineage_name
from .errors import StoreError
from .exchange import Parcel, TakenIn
from .links import Link
from .lists import Lists
from .mark import random_id
from .reconcile import SINGLE, Reconciled, additions, reconcile
from .requests import Request, RequestOutcome
from .transaction import Transaction

JOB_LETTERS = 12


def _two_letters() -> str:
    """Two letters that nobody takes for figures."""
    return "".join(secrets.choice("ABCDEFGHJKLMNPRSTUVWXYZ") for _ in range(2))


class Store(Lists):
    """One store file, open.

    Make one with `Store.create` or `Store.open`; close it, or use it in a `with` statement. Every method may
    raise StoreError when the file is locked, damaged or has no room; nothing is written then.
    """

    @contextlib.contextmanager
    def transaction(self, *jobs: str, request: Request | None = None) -> Iterator[Transaction]:
        """Write: everything said in the `with` block is on the disk when it ends, or, if it raises, nothing
        is. Meanwhile nobody else can write, and what is read from this store is as it stands.

            with store.transaction(job, request=Request(id=…, content=…)) as transaction:
                if transaction.known is None:
                    transaction.append(drafts_for(transaction.job))

        Args:
            jobs: The jobs that are written about, by id; the first is the transaction's own. A new one
                (`new_job`) begins with an `opened` draft.
            request: What asks for it. One that came before is `known` with what became of it.

        Raises:
            StoreError: what is written does not fit; there is no such job; this is within another write.
            RequestConflictError: the request's id is another's.
        """
        with self._writing() as connection:
            transaction = Transaction(
                connection,
                jobs,
                request,
                where=str(self.path),
                lineage=self.lineage,
                demo=self.demo,
                now=self._now,
                door=self.door,
            )
            yield transaction
            transaction.finish()

    @contextlib.contextmanager
    def snapshot(self) -> Iterator[None]:
        """Everything read in the `with` block is read from one unchanging view of the file."""
        with self._reading():
            yield

    # ── jobs ────────────────────────────────────────────────────────────────────────────────────────────────

    def new_job(self) -> str:
        """An id for a new job: 12 letters drawn at random. The job exists from its first entry on."""
        with self._reading() as connection:
            while True:
                name = random_id(JOB_LETTERS)
                if not connection.execute("SELECT 1 FROM entry WHERE job = ? LIMIT 1", (name,)).fetchone():
                    return name

    def has(self, job: str) -> bool:
        """True when there is a job of this id."""
        with self._reading() as connection:
            return queries.has_job(connection, job)

    def find(self, text: str) -> str:
        """Id of the job that a person means: by its id, by the name its file or screen gives it, or by the
        beginning of its id.

        Raises:
            StoreError: nothing or more than one job fits; the text lists what there is.
        """
        with self._reading() as connection:
            return queries.job_meant(connection, text, str(self.path))

    def job(self, job: str) -> Job:
        """The job as its journal tells it.

        Raises:
            StoreError: there is no such job, or an entry of it was changed after it was written.
        """
        with self._reading() as connection:
            return queries.folded(connection, job, self.journal(job))

    def journal(self, job: str) -> list[Entry]:
        """All entries of a job's journal, chain by chain.

        Raises:
            StoreError: as `job`.
        """
        with self._reading() as connection:
            entries = queries.journal(connection, job)
            if not entries:
                raise StoreError(f"There is no job {job} in {self.path}. {queries.overview(connection)}")
            return entries

    # ── what requests and rows say anew ─────────────────────────────────────────────────────────────────────

    def outcome(self, request: Request) -> RequestOutcome | None:
        """What became of a request that came before; None when its id is new.

        Raises:
            StoreError: its id cannot be one.
            RequestConflictError: the id is that of a request that said something else.
        """
        with self._reading() as connection:
            return requests.outcome(connection, request)

    def by_requests(self, job: str) -> frozenset[str]:
        """Ids of the job's entries that requests became."""
        with self._reading() as connection:
            return requests.entry_ids(connection, job)

    def rows_key(self, job: Job | None, name: str) -> str:
        """What the rows of a job's file of this name stand under; it says nothing of the name."""
        with self._reading() as connection:
            return persons.rows_key(connection, job, rows.composed(name))

    def file_additions(
        self, job: Job | None, origin: str, drafts: Sequence[Draft], called: str = ""
    ) -> Reconciled:
        """What the rows of a file add to a job, held against what was taken in from it before.

        Args:
            job: The job as it stands, or None for one that does not exist yet.
            origin: What the rows of the file stand under (`rows_key`).
            drafts: The file's rows, in order.
            called: The file's own name for the job, for messages.

        Returns:
            Drafts for `Transaction.append`, or every fault (see `corekit.store.reconcile`).
        """
        entries = job.entries if job is not None else ()
        # No file says a picture, and they are long.
        texts = self.texts(
            ref
            for entry in entries
            for ref in persons.references(entry.body)
            if ref.kind not in PICTURE_KINDS
        )
        on_screens: Collection[str] = self.by_requests(job.id) if job is not None else ()
        return reconcile(entries, texts, origin, drafts, on_screens, called)

    def screen_additions(
        self, job: Job | None, origin: str, drafts: Sequence[Draft], corrects: Entry | None = None
    ) -> Reconciled:
        """What the rows of a screen add to a job; see `corekit.store.reconcile.additions`."""
        # Only what the rows may say anew is compared; other texts, photos among them, would be read for
        # nothing with every request.
        standing = job.standing if job is not None else ()
        compared = [
            noted.entry for noted in standing if noted.entry.kind in SINGLE or noted.entry == corrects
        ]
        texts = self.texts(ref for entry in compared for ref in persons.references(entry.body))
        return additions(job.entries if job is not None else (), texts, origin, drafts, corrects)

    # ── persons ─────────────────────────────────────────────────────────────────────────────────────────────

    def text(self, hash: str) -> str | None:  # noqa: A002
        """The personal text under a hash; None if it was destroyed or never was here.

        Raises:
            StoreError: the text was changed after it was written.
        """
        with self._reading() as connection:
            return persons.text(connection, hash)

    def texts(self, refs: Iterable[Personal]) -> dict[str, str]:
        """Hash → text of those references whose text is here, each read once.

        Raises:
            StoreError: as `text`.
        """
        with self._reading() as connection:
            texts = {hash_: persons.text(connection, hash_) for hash_ in {ref.hash: None for ref in refs}}
        return {hash_: text for hash_, text in texts.items() if text is not None}

    def forgotten(self, hash: str, *jobs: str) -> bool:  # noqa: A002
        """True when an entry of one of these jobs refers to this personal text and it was destroyed after
        that.
        """
        with self._reading() as connection:
            return persons.was_forgotten(connection, hash, jobs)

    def forget(self, job: str, because: str = "") -> dict[str, int]:
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
        with self.transaction(job) as transaction:
            counts = transaction.destroy_persons(because)
        self._sweep(job)
        return counts

    # ── books and links ─────────────────────────────────────────────────────────────────────────────────────

    def books(self, chain: str | None = None) -> list[Entry]:
        """All entries of the books, or of one chain of them, in their order."""
        with self._reading() as connection:
            return queries.books(connection, chain)

    def invoice(self, number: str) -> Entry:
        """The books entry of an invoice, by its printed number.

        Raises:
            StoreError: there is none; the text lists the last ones.
        """
        with self._reading() as connection:
            return queries.invoice(connection, number, str(self.path))

    def waiting_invoices(self, job: str | None = None) -> list[str]:
        """Ids of the books entries of invoices whose page was neither published nor withdrawn, in their
        order; of one job, where one is named.
        """
        with self._reading() as connection:
            return queries.waiting_invoices(connection, job)

    def books_entry(self, id_: str) -> Entry:
        """An entry of the books, by its id.

        Raises:
            StoreError: there is none, or it was changed after it was written.
        """
        with self._reading() as connection:
            found = rows.entries(connection, "WHERE id = ? AND journal = ?", id_, BOOKS)
        if not found:
            raise StoreError(f"The books in {self.path} have no entry {id_[:12]}. Run `corekit verify`.")
        return found[0]

    def entry(self, id_: str) -> Entry:
        """An entry, by its id, of whatever journal.

        Raises:
            StoreError: there is none, or it was changed after it was written.
        """
        with self._reading() as connection:
            found = rows.entries(connection, "WHERE id = ?", id_)
        if not found:
            raise StoreError(f"There is no entry {id_[:12]} in {self.path}. Run `corekit verify`.")
        return found[0]

    def texts_of(self, entry: Entry) -> dict[str, str]:
        """Hash → text of those personal texts that an entry refers to and that are here."""
        return self.texts(persons.references(entry.body))

    def owed(self, books_entry: str) -> tuple[int, str] | None:
        """What is still to be paid for the jobs on an invoice, in minor units, and its currency; None where
        there is no such invoice.
        """
        with self._reading() as connection:
            return queries.amount_due(connection, books_entry)

    def links(self, document_id: str | None = None) -> list[Link]:
        """All links, or those of one document, by document and number."""
        with self._reading() as connection:
            if document_id is None:
                return links.links(connection, "ORDER BY document_id, link")
            return links.links(connection, "WHERE document_id = ? ORDER BY link", document_id)

    def times_since_last_number(self) -> list[str]:
        """When the last invoice was recorded, and then every entry written after it; RFC 3339 UTC."""
        with self._reading() as connection:
            return queries.times_since_last_number(connection)

    # ── other vans ──────────────────────────────────────────────────────────────────────────────────────────

    def take_in(self, parcel: Parcel) -> TakenIn:
        """Take in entries of other vans; what is here already stays as it is. All of the parcel or nothing.

        Raises:
            ForkError: a chain does not go on where it ends here. StoreError: an entry names what is not here.
        """
        with self.transaction() as transaction:
            return transaction.take_in(parcel)

    def parcel_behind(self, heads: Mapping[str, int]) -> Parcel:
        """What this device wrote behind these places of its chains, as much as one parcel holds."""
        with self._reading() as connection:
            return exchange.parcel_behind(connection, heads)

    def own_heads(self) -> dict[str, int]:
        """Chain → place of its last entry, of the chains that this device writes."""
        with self._reading() as connection:
            return exchange.own_heads(connection)

    @property
    def arrived(self) -> int:
        """How far the hub's entries are here."""
        return int(self._noted(vans.ARRIVED) or 0)

    @property
    def arrived_at(self) -> str:
        """Id of the entry that the hub counted as the last that came; empty where it said none."""
        return self._noted(vans.ARRIVED_AT)

    @property
    def hub(self) -> str:
        """The address of the hub that this van syncs with; empty where it has none."""
        return self._noted(vans.HUB)

    def join(self, address: str, letters: str, was: Iterable[str] = ()) -> None:
        """Sync with a hub from now on, under the letters that it gave this device.

        Args:
            was: Letters of lost devices in whose place it comes.
        """
        with self.transaction() as transaction:
            transaction.change_device(letters)
            transaction.note(vans.HUB, address)
            for lost in was:
                transaction.note(vans.WAS + lost, "1")

    def note_vans(self, names: Mapping[str, str]) -> None:
        """Keep how the devices of the shop are called."""
        if names != self.vans:
            with self.transaction() as transaction:
                transaction.note(vans.NAMES, canonical(dict(names)).decode())

    @property
    def vans(self) -> Mapping[str, str]:
        """Letters → name of every device, as the hub said last."""
        return dict(rows.data_of(self._noted(vans.NAMES) or "{}"))

    def to_sweep(self) -> list[str]:
        """Jobs whose persons were destroyed because another van said so, and whose papers may be here
        still.
        """
        with self._reading() as connection:
            return exchange.to_sweep(connection)

    def sweep(self, job: str) -> None:
        """Rewrite the file, so that nothing is left of a job's destroyed persons, and note that it is
        done.
        """
        self._sweep(job)
        with self.transaction() as transaction:
            transaction.drop_note(vans.TO_SWEEP + job)

    def is_here(self, job: str) -> bool:
        """True for a job of this van: something was written here in it, or it was handed here."""
        with self._reading() as connection:
            return vans.is_here(connection, job)

    def _noted(self, key: str) -> str:
        with self._reading() as connection:
            row = connection.execute(seals.select("meta", "WHERE key = ?"), (key,)).fetchone()
        return "" if row is None else str(seals.columns_without_seal("meta", row)[1])

    # ── trust ───────────────────────────────────────────────────────────────────────────────────────────────

    def heads(self) -> list[str]:
        """Ids of the last entry of every chain, sorted: what a record mark is made of."""
        with self._reading() as connection:
            return sorted(head for head, _ in rows.heads(connection).values())

    def has_entry(self, id_: str) -> bool:
        """True when there is an entry of this id, in a job's journal or in the books."""
        with self._reading() as connection:
            return connection.execute("SELECT 1 FROM entry WHERE id = ?", (id_,)).fetchone() is not None

    def entries_of(self, *kinds: str) -> Iterator[Entry]:
        """Every entry of these kinds in the order of writing, one at a time; the view stays open until the
        last is taken.

        Raises:
            StoreError: one was changed after it was written.
        """
        with self._reading() as connection:
            yield from rows.streamed(connection, f"WHERE kind IN ({', '.join('?' * len(kinds))})", *kinds)

    def verify(self) -> list[str]:
        """Everything that is wrong with the store, one sentence each; empty when every row is as it was
        written.
        """
        try:
            with self._reading() as connection:
                return verification.faults(connection)
        except StoreError as error:
            return [str(error)]

    def continue_restored(self) -> tuple[str, str]:
        """Go on in a chain of a new name and under new letters, as a restored copy must: two copies may never
        go on in one chain, nor count invoices under the same letters.

        The old chains stay and are read as before. The letters are drawn, so that two copies of one backup
        differ as well.

        Returns:
            The chain's new name, and the letters.
        """
        with self.transaction() as transaction:
            generation = int(transaction.lineage.partition("-")[0]) + 1
            name = lineage_name(generation)
            transaction.change_lineage(name)
            used = {chain.split("/")[1] for chain in transaction.chains if chain.startswith("books/")}
            letters = next(drawn for drawn in iter(_two_letters, "") if drawn not in used)
            transaction.change_device(letters)
            # The hub knows the other copy; this one is enrolled anew, in its place.
            if self.hub:
                transaction.note(vans.HUB, "")
        return name, letters
