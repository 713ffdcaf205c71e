"""What references to personal text become when a Document is rendered: the text, a mask, or *removed*."""

from __future__ import annotations

from collections.abc import Mapping

from ..model.personal import Personal
from .text import Resolve
from .wording import wording


def mask(reference: Personal) -> str:
    """For the copy that others may see: says which kind of text stands on the customer's own paper."""
    return _words("mask", reference)


def removal_note(reference: Personal) -> str:
    """For a Document whose personal text was destroyed: says which kind of text it was."""
    return _words("removed", reference)


def _words(what: str, reference: Personal) -> str:
    """Another van may keep a kind of text that this program has no word for: it is a note here."""
    words = wording()[what]
    found: str = words.get(reference.kind, words["note"])
    return found


def resolver(texts: Mapping[str, str]) -> Resolve:
    """For the paper in the customer's hand: `texts` maps hash → text; what is not there was removed."""

    def resolve(reference: Personal) -> str:
        text = texts.get(reference.hash)
        return removal_note(reference) if text is None else text

    return resolve
