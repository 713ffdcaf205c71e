"""A statement: what is to become an entry, once the store gives it a place in a chain."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs


@attrs.frozen(kw_only=True)
class Statement:
    """One thing to be said in a job's journal.

    Attributes:
        kind: Name of the record in `corekit.model.records`.
        subject: What it is about; two statements of one subject are versions of each other.
        body: The record as plain data; a `PersonalText` or a `Personal` may stand where a person's words go.
        taken: When it was observed, RFC 3339, if known.
        replaces: Ids of the heads whose place it takes. Of two statements about one subject in one append the
            later replaces the earlier by itself.
        reason: Why it replaces or withdraws another.
    """

    kind: str
    subject: str
    body: Mapping[str, Any]
    taken: str = ""
    replaces: tuple[str, ...] = ()
    reason: str = ""


def own_subject(kind: str, name: str) -> str:
    """Subject of a statement that the program makes by itself.

    Its origin is empty, which no file's is, so they never meet.
    """
    return f":{kind}/{name}"
