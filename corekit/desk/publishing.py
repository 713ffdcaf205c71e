"""Publishing: the link behind a paper's code, and sending the masked paper to where that link leads."""

from __future__ import annotations

from pathlib import Path

from ..model.document import from_data
from ..model.entry import jobs_of
from ..model.records import InvoiceIssued
from ..share import link
from ..store.links import Link
from .context import ShopContext
from .errors import DeskError
from .settings import PAGE_KEY_FILE


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
        PublishError: the target refuses or cannot be reached; what was sent before stays sent.
    """
    from ..share.published import publish_to, seal_envelope

    if not shop.settings.page:
        return []
    only = shop.store.find(job) if job is not None else None
    target, bearer = _target(shop)
    sent = []
    for waiting in shop.store.waiting_invoices(only):
        entry = shop.store.books_entry(waiting)
        record = InvoiceIssued(**entry.body)
        token_hash = noted_link(shop, record.document_id).token_hash
        publish_to(
            target, token_hash, seal_envelope(from_data(record.document), published=shop.clock()), bearer
        )
        with shop.store.transaction(*jobs_of(entry)) as transaction:
            transaction.mark_published(token_hash)
        sent.append(record.number)
    return sent


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

    target, bearer = _target(shop)
    withdraw_from(target, known.token_hash, bearer)
    with shop.store.transaction() as transaction:
        transaction.revoke_link(known.token_hash)


def _target(shop: ShopContext) -> tuple[str | Path, str | None]:
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
