"""The record mark over a document's own content."""

from __future__ import annotations

import base64
import hashlib
import json

import attrs

from corekit.model.document import Code, Document, DocumentKind, Pairs, Paragraph, from_data, to_data
from corekit.model.mark import (
    UNMARKED,
    as_marked,
    content_mark,
    document_with_mark,
    hash_of_heads,
    mark_of_heads,
)
from corekit.model.personal import Personal

RFC_4648 = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
OURS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
HEADS = ["ab" * 32, "cd" * 32]

PAPER = Document(
    id="d",
    kind=DocumentKind.INVOICE,
    title="Invoice 2026-0001",
    shop="Example Mobile Repairs",
    issued="1 July 2026",
    currency="EUR",
    total="378.60",
    blocks=(
        Pairs(rows=(("For", (Personal("name", "ef" * 32),)), ("Record mark", (UNMARKED,)))),
        Paragraph(words=("10.3 V under load",)),
        Code(document_id="d", link=1, record_mark=UNMARKED),
    ),
    form=2,
)


def test_the_mark_is_eighty_bits_of_sha_256_over_all_that_the_document_says_but_the_mark_itself() -> None:
    """The same by the standard library's JSON and base 32, from the text that the issue describes."""
    kept = json.dumps(to_data(document_with_mark(PAPER, HEADS)), ensure_ascii=False)
    found = document_with_mark(PAPER, HEADS).mark
    content = {"document": json.loads(kept.replace(found, "")), "mark": 2}
    text = json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    letters = base64.b32encode(hashlib.sha256(text.encode()).digest()[:10]).decode()
    assert found.replace("-", "") == letters.translate(str.maketrans(RFC_4648, OURS))


def test_the_mark_stands_wherever_it_is_printed_and_does_not_move_itself() -> None:
    paper = document_with_mark(PAPER, HEADS)
    assert UNMARKED not in json.dumps(to_data(paper), ensure_ascii=False)
    assert [block.record_mark for block in paper.blocks if isinstance(block, Code)] == [paper.mark]
    assert content_mark(paper) == paper.mark
    assert as_marked(paper) == paper


def test_a_changed_word_an_amount_a_reading_or_a_head_each_moves_the_mark() -> None:
    paper = document_with_mark(PAPER, HEADS)
    text = json.dumps(to_data(paper), ensure_ascii=False)
    changes = {"378.60": "478.60", "10.3 V": "11.3 V", "1 July": "2 July", "ef" * 32: "ee" * 32}
    for old, new in changes.items():
        changed = from_data(json.loads(text.replace(old, new)))
        assert content_mark(changed) != paper.mark, old
        assert as_marked(changed).mark == content_mark(changed)
        assert paper.mark not in json.dumps(to_data(as_marked(changed)))
    assert document_with_mark(PAPER, ["ab" * 32]).mark != paper.mark
    assert document_with_mark(PAPER, HEADS[::-1]) == paper  # the order of the heads does not matter


def test_what_was_issued_before_stays_the_same_data_and_keeps_its_mark() -> None:
    before = attrs.evolve(PAPER, blocks=(Code(document_id="d", link=1, record_mark=mark_of_heads(HEADS)),))
    assert "mark" not in to_data(before)
    assert "rests_on" not in to_data(before)
    assert as_marked(before) == before
    assert hash_of_heads(HEADS) == hash_of_heads(HEADS[::-1])
