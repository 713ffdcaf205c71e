"""Letters that survive being read aloud: ids drawn at random, and the record mark."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence

from ..model.canonical import canonical

#: Crockford's base 32: of the pairs that look alike only 0 and 1 are there, never I, L or O (nor U). Source:
#: from memory.
LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

MARK_BITS = 80
LETTER_BITS = 5


def random_id(length: int) -> str:
    """An id drawn at random, in small letters, five bits each."""
    return "".join(secrets.choice(LETTERS) for _ in range(length)).lower()


def normalise_id(text: str) -> str:
    """A drawn id as it was drawn, whatever case it was typed in and whichever look-alike was taken for 0 or
    1.

    >>> normalise_id("7OIL")
    '7011'
    """
    return text.lower().translate(str.maketrans("oil", "011"))


def record_mark(heads: Sequence[str]) -> str:
    """80 bits of SHA-256 over the canonical list of the journal heads, in four groups of four letters.

    The order in which the heads are given does not matter. Printed on paper it fixes every entry that the
    heads rest on.

    >>> record_mark([])
    '9X9W-V8CC-5EN0-R0TM'
    """
    summary = hashlib.sha256(canonical(sorted(set(heads)))).digest()
    number = int.from_bytes(summary, "big") >> (len(summary) * 8 - MARK_BITS)
    letters = "".join(
        LETTERS[(number >> shift) & (2**LETTER_BITS - 1)]
        for shift in range(MARK_BITS - LETTER_BITS, -1, -LETTER_BITS)
    )
    return "-".join(letters[start : start + 4] for start in range(0, len(letters), 4))
