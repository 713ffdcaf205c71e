"""Personal text, kept apart from everything that is hashed, printed masked or published."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs

#: Kinds that are pictures, written down as text: long, so they are loaded only where somebody asks to see
#: one.
PICTURE_KINDS = ("photo", "signature")
#: The kinds of personal text there are; an entry names only these and a hash.
PERSONAL_KINDS = (
    "name",
    "phone",
    "email",
    "address",
    "plate",
    "vin",
    "description",
    "words",
    "note",
    "tax_number",
    "order_number",
    "job_name",
    *PICTURE_KINDS,
)


@attrs.frozen
class PersonalText:
    """The text itself, on its way into the store's table of persons."""

    kind: str
    text: str

    def __attrs_post_init__(self) -> None:
        if self.kind not in PERSONAL_KINDS:
            raise ValueError(f"Personal text is one of {', '.join(PERSONAL_KINDS)}; got {self.kind!r}.")


@attrs.frozen
class Personal:
    """A reference to personal text: its kind and the salted hash under which it stands.

    An entry and a Document hold this; only a renderer given the texts can show more than the kind.
    """

    kind: str
    hash: str


class KeptWords(str):
    """A person's own words where an answer of a closed list would do: they are kept with the persons, and
    everybody else reads what stands for them.

    Attributes:
        said: The words on their way in, or the reference under which they stand.
    """

    said: Personal | PersonalText

    def __new__(cls, instead: str, said: Personal | PersonalText) -> KeptWords:
        words = super().__new__(cls, instead)
        words.said = said
        return words

    def __getnewargs__(self) -> tuple[Any, ...]:
        return str(self), self.said

    def __eq__(self, other: object) -> bool:
        return isinstance(other, KeptWords) and self.said == other.said

    def __ne__(self, other: object) -> bool:
        return not self == other

    def __hash__(self) -> int:
        return hash(self.said)

    def words(self, texts: Mapping[str, str]) -> str:
        """The words themselves, for the shop's own eyes; what stands for them once they are destroyed."""
        if isinstance(self.said, PersonalText):
            return self.said.text
        return texts.get(self.said.hash, str(self))


class SpokenWords(str):
    """Kept words as the shop itself reads them, for its own screens; never for a Document."""


def run_of(words: str) -> str | Personal:
    """What a Document says of such words: the reference, which the customer's own copy resolves and every
    other masks.
    """
    return words.said if isinstance(words, KeptWords) and isinstance(words.said, Personal) else str(words)


def shop_words(words: str, texts: Mapping[str, str]) -> str:
    """Words as the shop itself reads them."""
    return words.words(texts) if isinstance(words, KeptWords) else words


def joined_runs(*runs: str | Personal) -> tuple[str | Personal, ...]:
    """A run of words, neighbouring plain texts as one."""
    joined: list[str | Personal] = []
    for run in runs:
        last = joined[-1] if joined else None
        if isinstance(run, str) and isinstance(last, str):
            joined[-1] = last + run
        elif run:
            joined.append(run)
    return tuple(joined)
