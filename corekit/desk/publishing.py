"""Publishing: the link behind a paper's code, and sending the masked paper to where that link leads."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..model.document import from_data
from ..model.entry import jobs_of
from ..model.records import InvoiceIssued
from ..share import link
from .problem import DeskError
from .settings import PAGE_KEY_FILE

if TYPE_CHECKING:
    from .shop import Shop


def link_of(shop: Shop, document_id: str, number: int) -> str:
    """The link that the code of a document holds; empty for a shop without a page address."""
    return link.link(shop.settings.page, token(shop, document_id, number)) if shop.settings.page else ""


def token(shop: Shop, document_id: str, number: int) -> str:
    return link.token(shop.link_key, document_id, number)


def publish(shop: Shop, job: str | None = None) -> list[str]:
    """Send the masked Documents of issued invoices, each once, to where the page server finds them; gives
    their numbers.

    Raises:
        PublishError: the target refuses or cannot be reached; what was sent before stays sent.
    """
    from ..share.published import publish_to, seal_envelope

    if not shop.settings.page:
        return []
    only = shop.find(job) if job is not None else None
    target, bearer = _target(shop)
    there = {known.token_hash for known in shop.store.links() if known.published_at or known.revoked}
    sent = []
    for entry in shop.store.books():
        if entry.kind != "invoice" or (only is not None and only not in jobs_of(entry)):
            continue
        record = InvoiceIssued(**entry.body)
        token_hash = link.token_hash(token(shop, record.document_id, 1))
        if token_hash in there:
            continue
        shop.store.note_link(token_hash, record.document_id, 1)
        publish_to(
            target, token_hash, seal_envelope(from_data(record.document), published=shop.now()), bearer
        )
        shop.store.mark_published(token_hash, *jobs_of(entry))
        sent.append(record.number)
    return sent


def withdraw(shop: Shop, number: str) -> None:
    """Take the page of an invoice down, for good: its code opens nothing any more, and publishing never sends
    it again.

    Raises:
        StoreError: there is no such invoice. PublishError: the page server cannot be reached; nothing is
            noted then.
    """
    from ..share.published import withdraw_from

    document = InvoiceIssued(**shop.store.invoice(number).body).document_id
    if not shop.settings.page:
        raise DeskError("This shop has no page address, so no page was ever published.")
    token_hash = link.token_hash(token(shop, document, 1))
    target, bearer = _target(shop)
    withdraw_from(target, token_hash, bearer)
    shop.store.note_link(token_hash, document, 1)
    shop.store.revoke_link(token_hash)


def _target(shop: Shop) -> tuple[str | Path, str | None]:
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
