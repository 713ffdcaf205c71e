"""Texts from outside, looked at on their way into the record, whoever brings them: file, screen, command or
program.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..model.entry import Draft
from ..model.personal import PICTURE_KINDS, KeptWords, PersonalText
from ..signs import steering, text_fault
from .errors import DeskError

_LINE_ENDS = dict.fromkeys(map(ord, "\n\r\t"))


def look_over(draft: Draft) -> None:
    """Return when every text of a draft can be printed. A Document is made of texts that were looked at
    before, and of our own.

    Raises:
        DeskError: one is too long, or has a sign in it that no text has.
    """
    for name, text in (("reason", draft.reason), ("row", draft.row), ("subject", draft.subject)):
        _look_at(text, name)
    _look_at(draft.body, draft.kind)


def look_over_words(said: PersonalText) -> None:
    """The same for personal words that are kept before the entry which refers to them.

    Raises:
        DeskError: as `look_over`.
    """
    fault = "" if said.kind in PICTURE_KINDS else text_fault(said.text)
    if fault:
        raise DeskError(f"A text ({said.kind}) {fault}. Nothing was written.")


def _look_at(item: Any, name: str) -> None:
    if isinstance(item, PersonalText):
        look_over_words(item)
    elif isinstance(item, KeptWords) and isinstance(item.said, PersonalText):
        look_over_words(item.said)
    elif isinstance(item, str):
        if sign := steering(item.translate(_LINE_ENDS)):
            raise DeskError(
                f"{name} has the character {sign} in it, which is no text that can be printed; take it out."
                " Nothing was written."
            )
    elif isinstance(item, Mapping):
        for key, value in item.items():
            if key != "document":
                _look_at(key, "a key")
                _look_at(value, str(key))
    elif isinstance(item, (list, tuple)):
        for value in item:
            if not isinstance(value, float):
                _look_at(value, name)
