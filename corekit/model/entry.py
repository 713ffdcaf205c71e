"""The journal's entries: written once, never changed, each sealed by the hash of all it says."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime
from typing import Any

import attrs

from .canonical import digest

#: The journals there are: a job's own, and the books.
JOB, BOOKS = "job", "books"
#: Before the row of what is kept as it was typed, because its system did not load.
AS_TYPED = "as typed/"
#: What the id of a request may be; whoever asks makes it, and the same request sent again has the same.
REQUEST_ID = re.compile(r"[A-Za-z0-9_-]{16,64}")


def utc_text(moment: datetime) -> str:
    """A moment as entries hold it: RFC 3339 in UTC, to the second.

    >>> from datetime import timedelta, timezone
    >>> utc_text(datetime(2026, 3, 5, 13, 0, 7, 999999, timezone(timedelta(hours=1))))
    '2026-03-05T12:00:07Z'
    """
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@attrs.frozen(kw_only=True)
class Draft:
    """An entry to be: what was typed or decided, before the store gives it a place in a chain.

    Attributes:
        kind: Name of the record class in `corekit.model.records`.
        body: The record as plain data; a `PersonalText` or a `Personal` may stand where a person's words go.
        row: Of what a file or a screen says, the row's place in its origin, `stage/of/place`.
        subject: What it is about; two entries of one subject are versions of each other. Rows of one place
            are numbered to a subject each (`corekit.store.reconcile`), empty until then.
        taken: When it was observed, RFC 3339, if known.
        replaces: Ids of the heads whose place it takes. Of two drafts about one subject that are appended
            together the later replaces the earlier by itself.
        reason: Why it replaces or withdraws another.
        at: Where it stands in its file (`step[3].readings[0]`), for messages; not kept.
        withdrawn: The row is still in the file, but marked as withdrawn with `reason`.
    """

    kind: str
    body: Mapping[str, Any]
    row: str = ""
    subject: str = ""
    taken: str = ""
    replaces: tuple[str, ...] = ()
    reason: str = ""
    at: str = ""
    withdrawn: bool = False


def own_subject(kind: str, name: str) -> str:
    """Subject of what the program says by itself.

    Its origin is empty, which no file's is, so they never meet.
    """
    return f":{kind}/{name}"


@attrs.frozen(kw_only=True)
class Entry:
    """One sealed statement.

    Attributes:
        journal: `job` or `books`.
        job: Id of the job (of the books: of the job the document belongs to; empty where it belongs to
            several, see `jobs_of`).
        chain: Name of the chain; one per store lineage, or one of the books per device and year.
        n, prev: Place in the chain from 0, and the id of the entry before it ("" at 0).
        seen: Heads of other chains known when this was written, and of each other chain the last entry in
            this job, so that a journal alone tells its order.
        taken, recorded: When it was observed and when it was written, RFC 3339 UTC; neither gives the order.
        kind, subject: What sort of statement about what; two entries of one subject are versions of each
            other.
        body: Plain JSON data; personal text is a reference.
        replaces: Ids of all the heads that this entry takes the place of.
        reason: Why.
        id: SHA-256 over all of the above (RFC 8785); computed, and compared on reading.
    """

    journal: str
    job: str
    chain: str
    n: int
    prev: str
    kind: str
    subject: str
    body: Mapping[str, Any]
    recorded: str
    seen: tuple[str, ...] = ()
    taken: str = ""
    replaces: tuple[str, ...] = ()
    reason: str = ""
    id: str = ""

    def content(self) -> dict[str, Any]:
        """All that the id is the hash of."""
        return {
            "journal": self.journal,
            "job": self.job,
            "chain": self.chain,
            "n": self.n,
            "prev": self.prev,
            "seen": list(self.seen),
            "taken": self.taken,
            "recorded": self.recorded,
            "kind": self.kind,
            "subject": self.subject,
            "body": dict(self.body),
            "replaces": list(self.replaces),
            "reason": self.reason,
        }


def jobs_of(entry: Entry) -> tuple[str, ...]:
    """Ids of the jobs that an entry belongs to: its own, or those that an invoice over several jobs names."""
    named = entry.body.get("jobs") if entry.journal == BOOKS and isinstance(entry.body, Mapping) else None
    return tuple(map(str, named)) if isinstance(named, (list, tuple)) and named else (entry.job,)


def seal(entry: Entry) -> Entry:
    """The same entry with its id: the hash of everything else in it."""
    return attrs.evolve(entry, id=digest(entry.content()))


def broken(entries: Iterable[Entry]) -> Iterator[str]:
    """What is wrong with a chain, one sentence each, in the chain's order; nothing when it verifies. Each
    entry is looked at once and let go.

    A cut tail cannot be seen from inside; the record mark on paper is what shows it.
    """
    previous, expected = "", 0
    for entry in entries:
        if digest(entry.content()) != entry.id:
            yield (
                f"entry {entry.n} of chain {entry.chain}: its content no longer matches its id"
                f" {entry.id[:12]}"
            )
        if entry.n != expected or entry.prev != previous:
            yield (
                f"entry {entry.n} of chain {entry.chain}: it does not follow the entry before it; one was"
                " removed, added or changed"
            )
        previous, expected = entry.id, entry.n + 1  # one gap is one fault, not one for every entry behind it
