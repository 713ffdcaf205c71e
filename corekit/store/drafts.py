"""What a draft must be before it is written."""

from __future__ import annotations

from typing import Any

from ..model.canonical import digest
from ..model.entry import Draft, Entry
from ..model.records import RECORDS, with_kept_words


def checked_body(draft: Draft) -> dict[str, Any]:
    """The draft's body, if a record can be made of it: a journal that cannot be folded would be lost.

    Raises:
        ValueError, TypeError: it cannot.
    """
    if draft.kind not in RECORDS:
        raise ValueError(f"its kind must be one of {', '.join(RECORDS)}")
    if not draft.subject:
        raise ValueError("it says nothing about what it is")
    return with_kept_words(draft.kind, draft.body)


def check_document(entry: Entry) -> None:
    if "document" in entry.body and digest(entry.body["document"]) != entry.body.get("document_hash"):
        raise ValueError("the document in it does not have the hash that stands beside it")
