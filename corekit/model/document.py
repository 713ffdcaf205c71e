"""A Document: what is handed over, as a value. Renderers take it and nothing else.

Personal text is a reference in it; whoever renders says what the references become (the text, a mask,
*removed*). All numbers are already text, as printed.
"""

from __future__ import annotations

from enum import StrEnum
from functools import lru_cache
from typing import Any

import attrs

from .canonical import digest
from .figure import Band, Dot, Figure, Label, Mark, Polyline, Strip
from .personal import Personal

#: A run of words: plain text, and references to personal text.
Words = tuple[str | Personal, ...]


class DocumentKind(StrEnum):
    ESTIMATE = "estimate"
    INVOICE = "invoice"
    RECEIPT = "receipt"


@attrs.frozen(kw_only=True)
class Heading:
    """A section's name. The order of sections is the order of the questions a customer asks."""

    text: str
    level: int = 1


@attrs.frozen(kw_only=True)
class Paragraph:
    """Running text. `tone` is `plain`, `small`, `strong`, or `quote` for a person's own words."""

    words: Words
    tone: str = "plain"


@attrs.frozen(kw_only=True)
class Pairs:
    """Label and words, one pair a row: who, which vehicle, when."""

    rows: tuple[tuple[str, Words], ...]


@attrs.frozen(kw_only=True)
class FindingRow:
    """One finding: the sentence, when it is due, and what it rests on.

    `verdict` is the word printed; `basis` names limit, source, rule and number of readings in one or two
    sentences.
    """

    text: str
    verdict: str
    urgency: str
    basis: str = ""
    stage: str = ""


@attrs.frozen(kw_only=True)
class Findings:
    rows: tuple[FindingRow, ...]


@attrs.frozen(kw_only=True)
class ReadingRow:
    """One quantity: what it is, before and after as printed, its limit with source, and its strip.

    `before` is the arrival reading, `after` the latest later one ("" when there is none). `note` carries the
    conditions it was read under, the instrument, and how many readings were taken.
    """

    name: str
    before: str
    after: str = ""
    limit: str = ""
    source: str = ""
    note: str = ""
    strip: Strip | None = None


@attrs.frozen(kw_only=True)
class Readings:
    rows: tuple[ReadingRow, ...]


@attrs.frozen(kw_only=True)
class Picture:
    figure: Figure


@attrs.frozen(kw_only=True)
class PricedRow:
    """One priced line: what, its one ground in words, quantity and unit price and net as
    printed, tax rate.
    """

    text: str
    ground: str
    quantity: str
    price: str
    net: str
    tax: str
    note: str = ""


@attrs.frozen(kw_only=True)
class PricedLines:
    rows: tuple[PricedRow, ...]
    currency: str


@attrs.frozen(kw_only=True)
class Totals:
    """Label and amount, one a row; `strong` rows are the ones to read."""

    rows: tuple[tuple[str, str, bool], ...]
    currency: str


@attrs.frozen(kw_only=True)
class Statement:
    """A caution or a declaration that must stand out: DEMO, DRAFT, what was not looked at, hazards.

    `title` in a few words.
    """

    title: str
    words: Words


@attrs.frozen(kw_only=True)
class Code:
    """Where the code stands: document id and link number, never the link itself.

    `record_mark` is printed beside it.
    """

    document_id: str
    link: int
    record_mark: str


Block = Heading | Paragraph | Pairs | Findings | Readings | Picture | PricedLines | Totals | Statement | Code


@attrs.frozen(kw_only=True)
class Document:
    """What is handed over.

    Attributes:
        id: Drawn at random before the Document is built.
        number: Of the invoice; empty on estimates and drafts.
        title: As printed (`Invoice 2026-0001`). issued: date as printed.
        draft, demo: Papers say DRAFT or DEMO on every page.
        shop: The issuer's name, for the running head.
        currency, total: As printed, so that page and code can show them; of a receipt what was received.
    """

    id: str
    kind: DocumentKind
    title: str
    shop: str
    issued: str
    currency: str
    total: str
    blocks: tuple[Block, ...]
    number: str = ""
    draft: bool = False
    demo: bool = False
    language: str = "en"


_UNION: dict[str, type] = {
    kind.__name__: kind
    for kind in (
        Heading,
        Paragraph,
        Pairs,
        Findings,
        Readings,
        Picture,
        PricedLines,
        Totals,
        Statement,
        Code,
        Polyline,
        Band,
        Dot,
        Label,
    )
}


@lru_cache(maxsize=1)
def _converter() -> Any:
    import cattrs

    converter = cattrs.Converter(forbid_extra_keys=True)

    def tagged(item: Any) -> dict[str, Any]:
        return {"is": type(item).__name__, **plain(item)}

    def plain(item: Any) -> dict[str, Any]:
        return {
            field.name: converter.unstructure(getattr(item, field.name), field.type)
            for field in attrs.fields(type(item))
        }

    def untagged(data: Any, _: Any) -> Any:
        rest = dict(data)
        return converter.structure(rest, _UNION[rest.pop("is")])

    def as_it_stands(data: Any, kind: Any) -> Any:
        """Nothing is turned into text or into yes and no: what is hashed is what is shown."""
        if kind is float and type(data) is int:
            return float(data)
        if type(data) is not kind:
            raise TypeError(f"{data!r} is not of type {kind.__name__}")
        return data

    for simple in (str, int, float, bool):
        converter.register_structure_hook(simple, as_it_stands)
    converter.register_structure_hook(DocumentKind, lambda data, _: DocumentKind(data))
    for union in (Block, Mark):
        converter.register_unstructure_hook(union, tagged)
        converter.register_structure_hook(union, untagged)
    converter.register_unstructure_hook(
        str | Personal, lambda run: run if isinstance(run, str) else {"personal": run.kind, "hash": run.hash}
    )
    converter.register_structure_hook(
        str | Personal,
        lambda data, _: data if isinstance(data, str) else Personal(data["personal"], data["hash"]),
    )
    return converter


def to_data(document: Document) -> dict[str, Any]:
    """The Document as plain JSON data; `from_data` gives an equal Document back."""
    attrs.resolve_types(Document)
    for kind in (*_UNION.values(), FindingRow, ReadingRow, PricedRow, Strip, Figure):
        attrs.resolve_types(kind)
    return _converter().unstructure(document, Document)  # type: ignore[no-any-return]


def from_data(data: dict[str, Any]) -> Document:
    """The Document that plain JSON data describes.

    Raises:
        ValueError: the data does not describe a Document.
    """
    for kind in (Document, *_UNION.values(), FindingRow, ReadingRow, PricedRow, Strip, Figure):
        attrs.resolve_types(kind)
    try:
        return _converter().structure(data, Document)  # type: ignore[no-any-return]
    except Exception as error:
        raise ValueError(f"This is not a document of corekit: {error}") from error


def document_hash(document: Document) -> str:
    """SHA-256 of the Document's canonical text: what an approval names."""
    return digest(to_data(document))
