"""Personal text, kept apart from everything that is hashed, printed masked or published."""

from __future__ import annotations

import attrs

#: Kinds that are pictures, written down as text: long, so they are loaded only where somebody asks to see
#: one.
PICTURE_KINDS = ("photo", "signature")
#: The kinds of personal text there are; an entry names only these and a hash.
PERSONAL_KINDS = (
    "name",
    "phone",
    "address",
    "plate",
    "vin",
    "description",
    "words",
    "note",
    "tax_number",
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
