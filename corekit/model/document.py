"""A Document: what is handed over, as a value. Renderers take it and nothing else.

Personal text is a reference in it; whoever renders says what the references become (the text, a mask,
*removed*). All numbers are already text, as printed.
"""

from __future__ import annotations

from enum import StrEnum
from functools import lru_cache
from typing import Any

import attrs

from ..errors import InputError
from .canonical import digest
from .figure import Band, Dot, Figure, Label, Mark, Polyline, Strip
from .personal import Personal

#: A run of words: plain text, and references to personal text.
Words = tuple[str | Personal, ...]


class DocumentKind(StrEnum):
    ESTIMATE = "estimate"
    INVOICE = "invoice"
    RECEIPT = "receipt"
    REMINDER = "reminder"
    BOOKS = "books"


@attrs.frozen(kw_only=True)
class Heading:
    """A section's name. The order of sections is the order of the questions a customer asks."""

    text: str
    level: int = 1


@attrs.frozen(kw_only=True)
class Paragraph:
    """Running text. `tone` is `plain`, `small`, `strong`, `quote` for a person's own words, or `choice` for
    what somebody may tick.
    """

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
class PhotoRow:
    """A photo: `image` is personal text that holds it, `width` and `height` its pixels, so that a paper has
    the same sheets where it may not be shown; `what` it shows, `when` as printed.
    """

    image: Words
    width: int
    height: int
    what: Words
    when: str


@attrs.frozen(kw_only=True)
class Photos:
    rows: tuple[PhotoRow, ...]


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
class Table:
    """Plain rows under titles; the last `numbers` columns stand at their right edge. `shares` are the widths
    of the columns, in parts of the whole.
    """

    titles: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...]
    numbers: int = 1


@attrs.frozen(kw_only=True)
class Statement:
    """A caution or a declaration that must stand out: DEMO, DRAFT, what was not looked at, hazards.

    `title` in a few words.
    """

    title: str
    words: Words


@attrs.frozen(kw_only=True)
class Answer:
    """What the customer came with, and the answer, at the head of an account.

    Attributes:
        said: The customer's own words; on a page they are masked.
        symptoms: The same as symptoms of the closed list, in words anybody may read.
        text: The answer in one sentence.
        proof: One sentence in everyday quantities that shows it; empty where nothing does.
        facts: What stands directly under it, (label, words, strong): total, paid or still to pay, what is
            next.
    """

    said: Words
    symptoms: str
    text: str
    proof: str = ""
    facts: tuple[tuple[str, str, bool], ...] = ()


@attrs.frozen(kw_only=True)
class ProofRow:
    """What shows a row of the account: a reading before and now with its strip, or what was seen.

    Attributes:
        name: What was read or looked at, in the customer's words.
        before, now: As printed, with unit; empty where it was not read then.
        seen: What was seen, where nothing was read.
        usual: What is usual or allowed, as printed.
    """

    name: str
    before: str = ""
    now: str = ""
    seen: str = ""
    usual: str = ""
    strip: Strip | None = None


@attrs.frozen(kw_only=True)
class WorkRow:
    """A piece of work or a part of an account, with its price.

    Attributes:
        text: What was done or is proposed.
        detail: Hours, or part number and condition.
        net: As printed; empty where it is not charged, and then `reason` says why.
    """

    text: str
    detail: str = ""
    net: str = ""
    reason: str = ""


@attrs.frozen(kw_only=True)
class AccountRow:
    """One point of the complaint, or one fault found besides.

    Attributes:
        point: The symptom that this row answers; empty for what was found besides.
        what: What was wrong, in a few words.
        cause: The same in a sentence.
        proofs, works: What shows it, and what was done about it.
        state: How it stands, in words.
        next: What is to be done about it still, with its price where it has one.
    """

    point: str
    what: str
    cause: str = ""
    proofs: tuple[ProofRow, ...] = ()
    works: tuple[WorkRow, ...] = ()
    state: str = ""
    next: str = ""


@attrs.frozen(kw_only=True)
class Account:
    """The account of a job: findings, proof and bill in one table."""

    rows: tuple[AccountRow, ...]
    currency: str


@attrs.frozen(kw_only=True)
class NextSteps:
    """What is left to do and to know, (label, words), one a row: open, declined, not looked at, guarantee."""

    rows: tuple[tuple[str, Words], ...]


@attrs.frozen(kw_only=True)
class ApprovalForm:
    """Where an estimate is answered by hand: a box for every piece of work, and a line to sign.

    Attributes:
        works: (what, price before tax), one a box.
        valid_until: Day as printed; empty where the estimate has no end.
        otherwise: What happens if nothing is done.
    """

    works: tuple[tuple[str, str], ...]
    valid_until: str = ""
    otherwise: str = ""


@attrs.frozen(kw_only=True)
class Evidence:
    """Where the sheets behind begin: everything after it is how we know."""

    title: str


@attrs.frozen(kw_only=True)
class Code:
    """Where the code stands: document id and link number, never the link itself.

    `record_mark` is printed beside it.
    """

    document_id: str
    link: int
    record_mark: str


Block = (
    Heading
    | Paragraph
    | Pairs
    | Findings
    | Readings
    | Picture
    | Photos
    | PricedLines
    | Totals
    | Table
    | Statement
    | Code
    | Answer
    | Account
    | NextSteps
    | ApprovalForm
    | Evidence
)
#: How documents may be built: 1 is a log in the order of the questions, 2 an account with its evidence.
FORM = 2


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
        form: How it is built; a document that was kept before forms were counted has the first.
        mark: The record mark that it was issued with, see `corekit.model.mark`; empty where the mark was
            computed from the journal heads alone, and on a draft.
        rests_on: Hash of the journal heads that the mark is over.
        carried, carried_mark, carried_key: What the code that carries the readings holds, its own mark, and
            the fingerprint of the key it is signed with; `no_carried` says why there is none where the shop
            prints such codes.
        no_page: Said beside the address where nothing had answered there yet when it was issued.
        transfer: What the code holds from which the customer's bank fills in the transfer (EPC069-12); empty
            where nothing is to be paid, or the shop names no account.
        prices: What the prices of its rows are: empty for net, `with tax`, or `mixed` where each row says it.
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
    form: int = attrs.field(default=1, metadata={"later": True})
    mark: str = attrs.field(default="", metadata={"later": True})
    rests_on: str = attrs.field(default="", metadata={"later": True})
    carried: str = attrs.field(default="", metadata={"later": True})
    carried_mark: str = attrs.field(default="", metadata={"later": True})
    carried_key: str = attrs.field(default="", metadata={"later": True})
    no_carried: str = attrs.field(default="", metadata={"later": True})
    no_page: str = attrs.field(default="", metadata={"later": True})
    transfer: str = attrs.field(default="", metadata={"later": True})
    prices: str = attrs.field(default="", metadata={"later": True})


#: What the prices of a Document's rows are, beside net.
WITH_TAX, MIXED = "with tax", "mixed"
#: Name → class of everything that says in its data what it is.
PARTS: dict[str, type] = {
    kind.__name__: kind
    for kind in (
        Heading,
        Paragraph,
        Pairs,
        Findings,
        Readings,
        Picture,
        Photos,
        PricedLines,
        Totals,
        Table,
        Statement,
        Code,
        Answer,
        Account,
        NextSteps,
        ApprovalForm,
        Evidence,
        Polyline,
        Band,
        Dot,
        Label,
    )
}


_ROWS = (FindingRow, ReadingRow, PhotoRow, PricedRow, ProofRow, WorkRow, AccountRow, Strip, Figure)


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
        return converter.structure(rest, PARTS[rest.pop("is")])

    def personal_of(data: Any) -> Personal:
        kind, hash_ = data["personal"], data["hash"]
        if type(kind) is not str or type(hash_) is not str or len(data) > 2:
            raise ValueError(f"{data!r:.60} is no reference to a personal text")
        return Personal(kind, hash_)

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
        lambda data, _: data if isinstance(data, str) else personal_of(data),
    )
    return converter


def to_data(document: Document) -> dict[str, Any]:
    """The Document as plain JSON data; `from_data` gives an equal Document back."""
    attrs.resolve_types(Document)
    for kind in (*PARTS.values(), *_ROWS):
        attrs.resolve_types(kind)
    data: dict[str, Any] = _converter().unstructure(document, Document)
    for field in attrs.fields(Document):
        # What was kept before a field came stays the same data, and so its hash.
        if field.metadata.get("later") and data[field.name] == field.default:
            del data[field.name]
    return data


def from_data(data: dict[str, Any]) -> Document:
    """The Document that plain JSON data describes.

    Raises:
        InputError: the data does not describe a Document.
    """
    for kind in (Document, *PARTS.values(), *_ROWS):
        attrs.resolve_types(kind)
    try:
        return _converter().structure(data, Document)  # type: ignore[no-any-return]
    except Exception as error:
        raise InputError(f"This is not a document of corekit: {error}") from error


def document_hash(document: Document) -> str:
    """SHA-256 of the Document's canonical text: what an approval names."""
    return digest(to_data(document))
