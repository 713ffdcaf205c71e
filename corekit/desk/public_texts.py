"""Words that are printed and published because their type says so: they name nobody."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ..model.entry import Draft
from ..model.job import Job
from ..model.personal import PersonalText
from .context import ShopContext
from .errors import DeskError

#: Kind of entry → its fields that everybody may read, in the words of whoever typed them.
_PUBLIC = {
    "requested": ("because", "operation"),
    "ended": ("because",),
    "repaired": ("cause",),
    "serviced": ("operation",),
    "priced": ("operation", "parts"),
    "charged": ("part",),
}
#: Kinds of personal text that are looked for in them; what has fewer letters may be there by chance.
_NAMING = ("name", "phone", "email", "plate", "vin")
_FEWEST = 4


def check(shop: ShopContext, job: Job | None, drafts: Sequence[Draft]) -> None:
    """Return when no words that everybody may read hold who the customer is: the whole name, a number or an
    address of e-mail. One word of a name may be there for another reason: people are called Brown and Carter.

    Raises:
        DeskError: some do.
    """
    said = [(field, _parts(text)) for draft in drafts for field, text in _public_words(draft)]
    if not said:
        return
    persons = [
        value
        for draft in drafts
        for value in draft.body.values()
        if isinstance(value, PersonalText) and value.kind in _NAMING
    ]
    if job is not None:
        texts = shop.store.texts(job.persons(*_NAMING))
        persons += [
            PersonalText(ref.kind, texts[ref.hash]) for ref in job.persons(*_NAMING) if ref.hash in texts
        ]
    for person in persons:
        told = _parts(person.text)
        if len("".join(told)) < _FEWEST or (person.kind == "name" and len(told) < 2):
            continue
        for field, words in said:
            if _holds(words, told):
                raise DeskError(
                    f"{field} holds the customer's {person.kind}, and is printed and published for everybody"
                    " to read. Say it without. Nothing was written."
                )


def _public_words(draft: Draft) -> Iterator[tuple[str, str]]:
    for field in _PUBLIC.get(draft.kind, ()):
        yield from ((field, text) for text in _texts(draft.body.get(field)))


def _texts(item: Any) -> Iterator[str]:
    if isinstance(item, str):
        yield item
    elif isinstance(item, Mapping):  # a part: beside its name there are numbers
        yield from _texts(item.get("name"))
    elif isinstance(item, (list, tuple)):
        for value in item:
            yield from _texts(value)


def _parts(text: str) -> list[str]:
    return re.findall(r"[^\W_]+", text.casefold())


def _holds(words: Sequence[str], told: Sequence[str]) -> bool:
    """True when what was told stands in words, with whatever gaps in either: DEMO 77 in demo-77."""
    wanted = "".join(told)
    return any(
        "".join(words[first:last]) == wanted
        for first in range(len(words))
        for last in range(first + 1, min(first + len(wanted), len(words)) + 1)
    )
