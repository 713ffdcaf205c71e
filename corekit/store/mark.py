"""Letters that survive being read aloud: ids drawn at random, and ids as they were drawn."""

from __future__ import annotations

import secrets

from ..model.mark import LETTERS


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
