"""What the tests of the store write, each in a transaction of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from corekit.model.entry import Draft, Entry, own_subject
from corekit.model.records import InvoiceIssued, Paid, PaymentTaken, body_of
from corekit.store.errors import StoreError
from corekit.store.links import Link
from corekit.store.requests import Request
from corekit.store.store import Store


def append(
    store: Store,
    job: str,
    drafts: Iterable[Draft],
    *,
    books: Mapping[str, Sequence[PaymentTaken]] | None = None,
    request: Request | None = None,
) -> list[Entry]:
    with store.transaction(job, request=request) as transaction:
        if transaction.known is not None:
            return list(transaction.known.entries)
        written = transaction.append(drafts)
        for chain, payments in (books or {}).items():
            for taken in payments:
                transaction.append_payment(chain, taken)
        return written


def add(
    store: Store, job: str, *drafts: Draft, corrects: Entry | None = None, request: Request | None = None
) -> list[Entry]:
    """Write what rows of a screen say."""
    with store.transaction(job, request=request) as transaction:
        if transaction.known is not None:
            return list(transaction.known.entries)
        result = store.screen_additions(transaction.job, "visit", drafts, corrects)
        if result.faults:
            raise StoreError("\n".join(result.faults))
        return transaction.append(result.drafts)


def issue(
    store: Store,
    jobs: str | Sequence[str],
    chain: str,
    build: Callable[[int], InvoiceIssued],
    *,
    request: Request | None = None,
) -> Entry:
    """Issue the invoice that `build` makes under the next number; the books entry."""
    with store.transaction(*([jobs] if isinstance(jobs, str) else jobs), request=request) as transaction:
        if transaction.known is not None:
            return transaction.known.entries[0]
        return transaction.issue(chain, build(transaction.next_number(chain)))


def pay(
    store: Store, job: str, chain: str, paid: Paid, taken: PaymentTaken, *, request: Request | None = None
) -> list[Entry]:
    """The job's entry and the one of the books."""
    with store.transaction(job, request=request) as transaction:
        if transaction.known is not None:
            return list(transaction.known.entries)
        subject = own_subject("paid", f"{chain}/{len(store.books(chain))}")
        entries = transaction.append([Draft(kind="paid", subject=subject, body=body_of(paid))])
        return [*entries, transaction.append_payment(chain, taken)]


def note_link(store: Store, token_hash: str, document_id: str, link: int, expires: str = "") -> Link:
    with store.transaction() as transaction:
        return transaction.note_link(token_hash, document_id, link, expires)


def mark_published(store: Store, token_hash: str, *jobs: str, at: str = "") -> Link:
    with store.transaction(*jobs) as transaction:
        return transaction.mark_published(token_hash, at)


def revoke_link(store: Store, token_hash: str, at: str = "") -> Link:
    with store.transaction() as transaction:
        return transaction.revoke_link(token_hash, at)
