"""Publishing: the link behind a paper's code, and sending the masked paper to where that link leads."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

import attrs

from ..files import write_over
from ..model.document import Document, from_data
from ..model.entry import jobs_of, utc_text
from ..model.records import InvoiceIssued
from ..share import link
from ..store.links import Link
from .context import ShopContext
from .errors import DeskError
from .settings import PAGE_ANSWERED_FILE, PAGE_KEY_FILE


def link_of(shop: ShopContext, document_id: str, number: int) -> str:
    """The link that the code of a document holds; empty for a shop without a page address."""
    return link.link(shop.settings.page, token(shop, document_id, number)) if shop.settings.page else ""


def token(shop: ShopContext, document_id: str, number: int) -> str:
    return link.token(shop.link_key, document_id, number)


def noted_link(shop: ShopContext, document_id: str) -> Link:
    """The first link of a document and what is known of its page, noted when it is first asked for."""
    token_hash = link.token_hash(token(shop, document_id, 1))
    known = [one for one in shop.store.links(document_id) if one.token_hash == token_hash]
    if known:
        return known[0]
    with shop.store.transaction() as transaction:
        return transaction.note_link(token_hash, document_id, 1)


def publish(shop: ShopContext, job: str | None = None) -> list[str]:
    """Send the masked Documents of issued invoices, each once, to where the page server finds them; gives
    their numbers.

    Raises:
        NotOpenError: all were sent, and the address does not open some of them yet.
        PublishError: the target refuses or cannot be reached; what was sent before stays sent.
    """
    from ..share.reader import NotOpenError

    if not shop.settings.page:
        return []
    only = shop.store.find(job) if job is not None else None
    sent, missing = [], list[NotOpenError]()
    for waiting in shop.store.waiting_invoices(only):
        entry = shop.store.books_entry(waiting)
        record = InvoiceIssued(**entry.body)
        noted_link(shop, record.document_id)
        unsent = [
            known
            for known in shop.store.links(record.document_id)
            if not (known.published_at or known.revoked)
        ]
        try:
            for known in unsent:
                send(shop, known, from_data(record.document), jobs_of(entry))
        except NotOpenError as error:  # it lies where it is to be served: so may the others
            missing.append(error)
            continue
        if unsent:
            sent.append(record.number)
    if missing:
        more = f" So it is with {len(missing) - 1} more." if len(missing) > 1 else ""
        raise NotOpenError(f"{missing[0]}{more}", later=True)
    return sent


def send(
    shop: ShopContext, known: Link, document: Document, jobs: Sequence[str], *, until: datetime | None = None
) -> None:
    """Publish a document under one link; it counts as published when it was fetched back from the address
    that is printed.

    Args:
        until: When its page goes, where the link itself has no end.

    Raises:
        NotOpenError: it was sent, and the address does not open it yet.
        PublishError: it could not be sent.
    """
    from ..share.published import publish_to, seal_envelope

    target, bearer = target_of(shop)
    expires = datetime.fromisoformat(known.expires) if known.expires else until
    envelope = seal_envelope(document, published=shop.clock(), expires=expires)
    publish_to(target, known.token_hash, envelope, bearer)
    if not shop.demo:  # a demo's address is this machine's own, where nobody need be serving yet
        _fetch_back(shop, token(shop, known.document_id, known.link), document)
    with shop.store.transaction(*jobs) as transaction:
        transaction.mark_published(known.token_hash)


def _fetch_back(shop: ShopContext, code: str, document: Document) -> None:
    from ..share.reader import fetch_back

    fetch_back(shop.settings.page, code, document)
    note_answer(shop.folder, shop.settings.page)


def page_problem(folder: Path, address: str) -> str:
    """Why the codes of a shop's papers open nothing yet, as seen from here; empty where a page answers at the
    address, which is kept in mind.
    """
    from ..share import reader

    problem = reader.page_problem(address)
    if not problem:
        note_answer(folder, address)
    return problem


def note_answer(folder: Path, address: str) -> None:
    """Keep in mind that the page answered at its address."""
    if not _has_answered(folder, address):
        write_over(folder / PAGE_ANSWERED_FILE, address.encode("ascii"))


def _has_answered(folder: Path, address: str) -> bool:
    path = folder / PAGE_ANSWERED_FILE
    return path.is_file() and path.read_text("ascii", "replace").strip() == address


def with_page_note(shop: ShopContext, document: Document) -> Document:
    """The Document, with what it says of its code where nothing ever answered at the page's address."""
    if not shop.settings.page or shop.demo or _has_answered(shop.folder, shop.settings.page):
        return document
    return attrs.evolve(document, no_page=NO_PAGE)


NO_PAGE = (
    "When this was issued nothing answered at this address yet. Until it does, ask the shop for the readings."
)


def add_link(shop: ShopContext, number: str, *, days: int = 0) -> str:
    """Another link to an issued invoice, which can be taken down alone; gives its address.

    Args:
        days: So long it opens the page; 0: as long as any page.

    Raises:
        DeskError: this shop has no page address, or that is no number of days.
        PublishError: it could not be published; it is kept, and `publish` sends it.
    """
    entry = shop.store.invoice(number)
    record = InvoiceIssued(**entry.body)
    if not shop.settings.page:
        raise DeskError("This shop has no page address, so no link leads anywhere. Set page in shop.toml.")
    if not 0 <= days <= LONGEST_LINK:
        raise DeskError(
            f"A link lasts from 1 to {LONGEST_LINK} days, or 0 for as long as any page; got {days}."
        )
    noted_link(shop, record.document_id)
    nth = max(known.link for known in shop.store.links(record.document_id)) + 1
    code = token(shop, record.document_id, nth)
    expires = utc_text(shop.clock() + timedelta(days=days)) if days else ""
    with shop.store.transaction() as transaction:
        known = transaction.note_link(link.token_hash(code), record.document_id, nth, expires)
    send(shop, known, from_data(record.document), jobs_of(entry))
    return link.link(shop.settings.page, code)


def links_of(shop: ShopContext, number: str) -> list[tuple[Link, str]]:
    """The links of an issued invoice with the address each holds."""
    document = InvoiceIssued(**shop.store.invoice(number).body).document_id
    return [(known, link_of(shop, document, known.link)) for known in shop.store.links(document)]


def revoke(shop: ShopContext, number: str, nth: int) -> None:
    """Take one link of an invoice down, for good; the others stay.

    Raises:
        DeskError: it has no such link. PublishError: the page server cannot be reached; nothing is noted.
    """
    known = next((known for known, _ in links_of(shop, number) if known.link == nth), None)
    if known is None:
        raise DeskError(f"Invoice {number} has no link {nth}. `corekit links {number}` lists those it has.")
    take_down(shop, known)


#: Days; ten years.
LONGEST_LINK = 3660


def withdraw(shop: ShopContext, number: str) -> None:
    """Take the page of an invoice down, for good: its code opens nothing any more, and publishing never sends
    it again.

    Raises:
        StoreError: there is no such invoice. PublishError: the page server cannot be reached; nothing is
            noted then.
    """
    document = InvoiceIssued(**shop.store.invoice(number).body).document_id
    if not shop.settings.page:
        raise DeskError("This shop has no page address, so no page was ever published.")
    take_down(shop, noted_link(shop, document))


def take_down(shop: ShopContext, known: Link) -> None:
    """Take the page of one link down, for good.

    Raises:
        PublishError: the page server cannot be reached; nothing is noted then.
    """
    from ..share.published import withdraw_from

    target, bearer = target_of(shop)
    withdraw_from(target, known.token_hash, bearer)
    with shop.store.transaction() as transaction:
        transaction.revoke_link(known.token_hash)


def target_of(shop: ShopContext) -> tuple[str | Path, str | None]:
    """Where published documents go, and the key that a page server asks for."""
    if "://" not in shop.settings.publish:
        return shop.folder / shop.settings.publish, None
    key = shop.folder / PAGE_KEY_FILE
    if not key.is_file():
        raise DeskError(
            f"{shop.settings.publish} asks for its key; put a copy of the file that `corekit serve"
            f" --published` drew there at {key}."
        )
    return shop.settings.publish, key.read_text("utf-8").strip()
