"""Papers in another language: a Document that was built in English, with every text of ours in the language
of the customer, and its days and amounts as people there write them (Unicode CLDR, by babel).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from pathlib import Path
from typing import Any

import attrs

from ..languages import ENGLISH
from ..model.document import Document
from ..model.figure import Strip
from ..model.personal import Personal
from .catalogue import Speaker, catalogue

#: Fields that hold no text of ours: keys, hashes, numbers of documents, how something is drawn.
_NO_TEXT = frozenset(
    {
        *("id", "kind", "number", "language", "mark", "rests_on", "carried", "carried_mark", "carried_key"),
        *("transfer", "record_mark", "document_id", "currency", "prices", "tone", "shop", "state_key"),
        *("anchor", "points"),
    }
)


@attrs.frozen(kw_only=True)
class Translated:
    """A Document in another language, and the texts that stayed in English."""

    document: Document
    missing: tuple[str, ...]


def in_language(
    document: Document, language: str, known: Collection[str] = (), folders: Iterable[Path] = ()
) -> Translated:
    """The Document with its texts in a language.

    Args:
        known: Texts of the shop's or the customer's own.
        folders: Of the systems whose texts stand in it; see `catalogue`.

    Raises:
        InputError: there is no such language.
    """
    if language == ENGLISH:
        return Translated(document=document, missing=())
    own = {
        text.casefold(): text for text in (document.shop, document.number, document.currency, *known) if text
    }
    speaker, missing = Speaker(catalogue(language, folders), own), dict[str, None]()
    spoken = attrs.evolve(_mapped(document, speaker, missing), language=language)
    return Translated(document=spoken, missing=tuple(missing))


def _mapped(item: Any, speaker: Speaker, missing: dict[str, None]) -> Any:
    if isinstance(item, str):
        return speaker.said(item, missing)
    if isinstance(item, tuple):
        return tuple(_mapped(one, speaker, missing) for one in item)
    if isinstance(item, (Strip, Personal)) or not attrs.has(type(item)):
        return item
    changed = dict(_changed_fields(item, speaker, missing))
    return attrs.evolve(item, **changed) if changed else item


def _changed_fields(item: Any, speaker: Speaker, missing: dict[str, None]) -> Iterator[tuple[str, Any]]:
    for field in attrs.fields(type(item)):
        value = getattr(item, field.name)
        if field.name in _NO_TEXT or not (isinstance(value, (str, tuple)) or attrs.has(type(value))):
            continue
        changed = _mapped(value, speaker, missing)
        if changed != value:
            yield field.name, changed
