"""A customer's own answer to an estimate, given on the page behind its link, kept until the shop fetches it.

The answer names the estimate by its hash and is sealed with the link's token, which the page server does not
keep: nobody without the code can write one that fits. The shop can draw the token again, so an answer proves
nothing against the shop itself.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Sequence
from datetime import datetime
from typing import Any

import attrs

from ..model.canonical import canonical
from ..model.document import ApprovalForm, Document, document_hash
from ..model.entry import utc_text
from .published import PublishError, strict_json

#: An answer is short: a hash, a moment, and one letter for each piece of work.
LARGEST_ANSWER = 10_000
_FIELDS = {"document", "given", "words", "seal"}


@attrs.frozen(kw_only=True)
class CustomerAnswer:
    """What a customer said of an estimate.

    Attributes:
        document: Hash of the Document that was shown.
        given: When, by the page server's clock, RFC 3339 UTC.
        words: For each piece of work of the estimate, in its order: `yes` or `no`.
    """

    document: str
    given: str
    words: tuple[str, ...]


def pieces_of(document: Document) -> tuple[tuple[str, str], ...]:
    """What an estimate asks about: (what, price), in its order; nothing for any other document."""
    return next((block.works for block in document.blocks if isinstance(block, ApprovalForm)), ())


def sealed_answer(document: Document, token: str, words: Sequence[str], now: datetime) -> bytes:
    """An answer as it is kept.

    Raises:
        ValueError: a piece of work has no answer, or another than yes and no.
    """
    if not words or len(words) != len(pieces_of(document)) or not set(words) <= {"yes", "no"}:
        raise ValueError("Each piece of work is answered with yes or no.")
    content = {"document": document_hash(document), "given": utc_text(now), "words": list(words)}
    return canonical({**content, "seal": _seal(token, content)})


def open_answer(data: bytes, token: str) -> CustomerAnswer:
    """The answer, if it was sealed with this token.

    Raises:
        PublishError: it was not, or is no answer.
    """
    if len(data) > LARGEST_ANSWER:
        raise PublishError("An answer to an estimate is longer than any can be.")
    content = strict_json(data)
    if not isinstance(content, dict) or set(content) != _FIELDS:
        raise PublishError("What is kept as an answer to an estimate is none.")
    seal = content.pop("seal")
    if not isinstance(seal, str) or not hmac.compare_digest(seal, _seal(token, content)):
        raise PublishError("An answer to an estimate was not given by somebody with its link.")
    words = content["words"]
    if not isinstance(words, list) or not set(map(str, words)) <= {"yes", "no"}:
        raise PublishError("What is kept as an answer to an estimate is none.")
    return CustomerAnswer(
        document=str(content["document"]), given=str(content["given"]), words=tuple(map(str, words))
    )


def _seal(token: str, content: dict[str, Any]) -> str:
    message = canonical({"for": "corekit answer 1", **content})
    return hmac.new(token.encode("ascii"), message, hashlib.sha256).hexdigest()
