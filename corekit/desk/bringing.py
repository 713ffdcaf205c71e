"""Taking in a paper of another shop that the customer brings: its masked content, with its origin."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError
from ..model.canonical import canonical
from ..model.document import Document, to_data
from ..model.entry import Draft, Entry, own_subject
from ..model.records import Brought, body_of
from ..store.errors import StoreError
from .context import ShopContext, request_of
from .errors import DeskError

if TYPE_CHECKING:
    from .opening import OpenedPaper

NOTHING_TAKEN = "Nothing was taken in."


def bring(shop: ShopContext, job: str, path: Path) -> Entry:
    """Take a paper of another shop into a job; the same one again adds nothing.

    Raises:
        PaperFileError: it is no paper of corekit, or carries nothing.
        InputError: its sheets or its mark do not fit its content; or it is invented, and this shop is not.
        DeskError: it is this shop's own.
    """
    from .opening import open_paper  # what reads a PDF is loaded only here

    opened = open_paper(path)
    document = opened.document
    _refuse_altered(opened, path)
    if document.demo and not shop.demo:
        raise InputError(f"{path}: this document is a demo's, and this shop is a real one. {NOTHING_TAKEN}")
    if _is_own(shop, document):
        raise DeskError(
            f"{path}: {document.title} is this shop's own and stands in its record already. {NOTHING_TAKEN}"
        )
    content = canonical(to_data(document))
    job = shop.store.find(job)
    digest = hashlib.sha256(content).hexdigest()
    request = request_of(f"brought-{job}-{digest[:24]}", {"brought": digest, "job": job})
    with shop.store.transaction(job, request=request) as transaction:
        if transaction.known is not None:
            return transaction.known.entries[0]
        record = Brought(content=content.decode("utf-8"), mark=opened.mark)
        subject = own_subject("brought", digest[:12])
        return transaction.append([Draft(kind="brought", subject=subject, body=body_of(record))])[0]


def _refuse_altered(opened: OpenedPaper, path: Path) -> None:
    if not opened.mark:
        raise InputError(
            f"{path}: this document is of before, and its content leads to no mark. {NOTHING_TAKEN}"
        )
    if opened.differences or not opened.states_its_mark:
        raise InputError(
            f"{path}: sheets, content and mark do not fit each other, so one of them was altered; see"
            f" `corekit open {path}`. {NOTHING_TAKEN}"
        )


def _is_own(shop: ShopContext, document: Document) -> bool:
    """True when an invoice of this number is this document, or a link of this shop leads to it."""
    if shop.store.links(document.id):
        return True
    try:
        return bool(shop.store.invoice(document.number).body["document_id"] == document.id)
    except StoreError:
        return False
