"""The record mark and names drawn at random."""

from __future__ import annotations

import base64
import hashlib
import json
import random
import re

from hypothesis import given
from hypothesis import strategies as st

from corekit.model.mark import mark_of_heads
from corekit.store.mark import normalise_id, random_id
from corekit.store.store import Store

from .conftest import fill

RFC_4648 = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
OURS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

heads = st.lists(st.text("0123456789abcdef", min_size=64, max_size=64), max_size=6, unique=True)


@given(heads)
def test_the_mark_is_the_first_eighty_bits_of_sha_256_in_base_32(found: list[str]) -> None:
    """The same by the standard library's base 32 (RFC 4648), its letters exchanged one for one."""
    summary = hashlib.sha256(json.dumps(sorted(found), separators=(",", ":")).encode()).digest()
    letters = base64.b32encode(summary[:10]).decode().translate(str.maketrans(RFC_4648, OURS))
    assert mark_of_heads(found) == "-".join(re.findall("....", letters))


@given(heads, st.integers(0, 1000))
def test_the_order_of_the_heads_does_not_matter_and_nothing_else_is_left_out(
    found: list[str], seed: int
) -> None:
    assert mark_of_heads(random.Random(seed).sample(found, len(found))) == mark_of_heads(found)
    assert mark_of_heads([*found, "f" * 63 + "e"]) != mark_of_heads(found) or "f" * 63 + "e" in found


def test_no_two_letters_look_alike() -> None:
    mark = "".join(mark_of_heads([str(number)]) for number in range(200))
    assert set(mark) == set(OURS) | {"-"}
    assert not set(mark) & set("ILOU")


def test_a_name_is_read_whatever_look_alike_was_typed() -> None:
    name = random_id(12)
    assert normalise_id(name.upper().replace("0", "O").replace("1", "I")) == name


def test_every_entry_moves_the_mark_of_a_store(store: Store) -> None:
    before = mark_of_heads(store.heads())
    fill(store)
    assert mark_of_heads(store.heads()) != before
