"""The record mark: what a reader can compute from a document's own content and compare with the paper.

Two forms exist. The first is over the journal heads alone, so only the shop could compute it. The second is
over everything the masked Document says and over the heads; a Document that has it names its heads'
hash in `rests_on`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any

import attrs

from .canonical import canonical, digest
from .document import Document, from_data, to_data

#: Crockford's base 32: of the pairs that look alike only 0 and 1 are there, never I, L or O (nor U). Source:
#: from memory.
LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

MARK_BITS = 80
LETTER_BITS = 5
#: Stands in a Document where its mark will, until the mark is computed.
UNMARKED = "····-····-····-····"
_FORM = 2


def letters(summary: bytes) -> str:
    """The first 80 bits of a hash, in four groups of four letters."""
    number = int.from_bytes(summary, "big") >> (len(summary) * 8 - MARK_BITS)
    signs = "".join(
        LETTERS[(number >> shift) & (2**LETTER_BITS - 1)]
        for shift in range(MARK_BITS - LETTER_BITS, -1, -LETTER_BITS)
    )
    return "-".join(signs[start : start + 4] for start in range(0, len(signs), 4))


def mark_of_heads(heads: Sequence[str]) -> str:
    """The mark of the first form: over the canonical list of the journal heads, in whatever order.

    >>> mark_of_heads([])
    '9X9W-V8CC-5EN0-R0TM'
    """
    return letters(bytes.fromhex(hash_of_heads(heads)))


def hash_of_heads(heads: Sequence[str]) -> str:
    """SHA-256 of the canonical list of the journal heads, in whatever order they are given."""
    return digest(sorted(set(heads)))


def content_mark(document: Document) -> str:
    """The mark of the second form: over `document` itself, its mark left empty wherever it stands.

    Personal text is a reference in it and stays one, so the mark of the masked Document and of the one with
    names is one mark.
    """
    content = {"document": _with_replacement(to_data(document), document.mark, ""), "mark": _FORM}
    return letters(hashlib.sha256(canonical(content)).digest())


def document_with_mark(document: Document, heads: Sequence[str]) -> Document:
    """The Document with its mark wherever `UNMARKED` stands in it."""
    unmarked = attrs.evolve(document, mark=UNMARKED, rests_on=hash_of_heads(heads))
    return from_data(_with_replacement(to_data(unmarked), UNMARKED, content_mark(unmarked)))


def as_marked(document: Document) -> Document:
    """The Document with the mark that its content leads to, whichever it states; one of the first form stays
    as it is.
    """
    if not document.rests_on or not document.mark:
        return document
    return from_data(_with_replacement(to_data(document), document.mark, content_mark(document)))


def _with_replacement(data: Any, old: str, new: str) -> Any:
    if isinstance(data, str):
        return new if data == old else data
    if isinstance(data, dict):
        return {key: _with_replacement(item, old, new) for key, item in data.items()}
    if isinstance(data, (list, tuple)):
        return [_with_replacement(item, old, new) for item in data]
    return data
