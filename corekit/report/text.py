"""Text as it may reach paper, page or terminal: nothing in it that steers a machine or hides
from a reader.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping

from ..errors import InputError
from ..model.personal import Personal
from ..signs import has_blank, is_visible

TYPE_CHECKING = False
if TYPE_CHECKING:  # a check on the terminal makes no document
    from ..model.document import Document, Words

#: What becomes of a reference to personal text.
Resolve = Callable[[Personal], str]

# Marks that turn the direction of what follows: with them a name could make a number read backwards.
_TURNING = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_MINUS = re.compile(r"^-(?=\d)")
_SPACES = frozenset("\t\x0b\x0c\x85\u2028\u2029")


def clean(text: str, *, lines: bool = False) -> str:
    """The text in Unicode NFC without control characters, marks of direction and lone surrogates; whatever
    else nobody sees is shown by its code (`[U+200B]`).

    Line ends become spaces, or stay as `\\n` when `lines` is true. Everything else stays as it is.
    """
    if text.isprintable() and (
        text.isascii() or (unicodedata.is_normalized("NFC", text) and not has_blank(text))
    ):
        return text
    text = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n"))
    chars: list[str] = []
    for place, char in enumerate(text):
        if char == "\n":
            chars.append("\n" if lines else " ")
        elif char in _SPACES:
            chars.append(" ")
        elif char not in _TURNING and unicodedata.category(char) not in ("Cc", "Cs"):
            chars.append(char if is_visible(text, place) else f"[U+{ord(char):04X}]")
    return "".join(chars)


def amount_text(value: str) -> str:
    """An amount as paper and page print it: its minus is as wide as a plus.

    >>> amount_text("-366.60"), amount_text("306.60")
    ('−366.60', '306.60')
    """
    return _MINUS.sub("−", clean(value))


def plain_text(words: Words, resolve: Resolve, *, lines: bool = False) -> str:
    """A run of words as one clean text, personal references resolved."""
    return "".join(clean(run if isinstance(run, str) else resolve(run), lines=lines) for run in words)


def stays_with(before: str, after: str) -> bool:
    """Whether a short word (a unit) shall not be parted from the number before it when lines are broken."""
    return (
        len(after) <= 3
        and not after[:1].isdigit()
        and len(before) <= 9
        and before.lstrip("≤≥<>±−-~")[:1].isdigit()
    )


def amount_words(document: Document, words: Mapping[str, Mapping[str, str]]) -> str:
    """What the amount at the head of a paper is: its total, or what was received or is overdue."""
    from ..model.document import DocumentKind

    word = {DocumentKind.RECEIPT: "received", DocumentKind.REMINDER: "overdue"}.get(document.kind, "total")
    return words["opening"][word].format(currency=clean(document.currency))


def price_word(document: Document) -> str:
    """Which word of the wording heads the prices of a paper's rows."""
    from ..model.document import WITH_TAX

    return {"": "net", WITH_TAX: "with_tax"}.get(document.prices, "price_as_noted")


def refuse_numbered_draft(document: Document) -> None:
    """What every renderer refuses: a number is taken by issuing; a draft that shows one would be taken for an
    invoice.
    """
    if document.draft and document.number:
        raise InputError(
            f"A draft has no number; this one says {document.number!r}. Issue it, or leave the number empty."
        )
