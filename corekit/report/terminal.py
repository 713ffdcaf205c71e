"""A Document on the terminal: plain lines, nothing in them that steers the terminal."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence

from ..model.document import (
    Account,
    AccountRow,
    Answer,
    ApprovalForm,
    Block,
    Code,
    Document,
    Evidence,
    Findings,
    Heading,
    NextSteps,
    Pairs,
    Paragraph,
    Photos,
    Picture,
    PricedLines,
    PricedRow,
    ReadingRow,
    Readings,
    Statement,
    Table,
    Totals,
)
from .photos import shown_photo
from .strip import strip_text
from .text import Resolve, amount_words, clean, plain_text, price_word, refuse_numbered_draft, stays_with
from .wording import wording, words_in


def render_text(document: Document, resolve: Resolve, link: str | None, width: int = 80) -> str:
    """The Document as lines of at most `width` columns, ending with a line end.

    Args:
        document: What to print.
        resolve: What references to personal text become.
        link: The page address printed with the record mark; None when none is set. A draft shows none.
        width: Columns there are; at least 40. Wide characters count as two.

    Raises:
        ValueError: a draft has a number.
    """
    refuse_numbered_draft(document)
    with words_in(document.language):
        return _text(document, resolve, link, width)


def _text(document: Document, resolve: Resolve, link: str | None, width: int) -> str:
    lines = list(_opening_lines(document, max(width, 40)))
    for block in document.blocks:
        block_lines = list(_block(block, document, resolve, link, max(width, 40)))
        if block_lines and lines[-1] and not isinstance(block, Totals):
            lines.append("")
        lines += block_lines
    return "\n".join(line.rstrip() for line in lines) + "\n"


def columns(text: str) -> int:
    """Columns a text takes on a terminal: wide characters two, marks that sit on another none."""
    if text.isascii():
        return len(text)
    return sum(map(_columns_of, text))


def _columns_of(char: str) -> int:
    if unicodedata.combining(char) or unicodedata.category(char) == "Cf":
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def wrapped(text: str, width: int) -> list[str]:
    """The text in lines of at most `width` columns; breaks at spaces, and within a word that is too long."""
    lines: list[str] = []
    for paragraph in text.split("\n"):
        current = ""
        for word in _kept_with_units(paragraph.split()):
            longer = f"{current} {word}" if current else word
            if columns(longer) <= width:
                current = longer
                continue
            if current:
                lines.append(current)
            current = word
            while columns(current) > width:
                head = _fitting_part(current, width)
                lines.append(head)
                current = current[len(head) :]
        lines.append(current)
    return lines


def _kept_with_units(words: Sequence[str]) -> list[str]:
    """The words, a number with its unit as one."""
    parts: list[str] = []
    for nth, word in enumerate(words):
        if nth and stays_with(words[nth - 1], word):
            parts[-1] += " " + word
        else:
            parts.append(word)
    return parts


def _fitting_part(word: str, width: int) -> str:
    used = 0
    for at, char in enumerate(word):
        used += columns(char)
        if used > width and at:
            return word[:at]
    return word


def _indented_lines(text: str, width: int, prefix: str) -> list[str]:
    return [prefix + line for line in wrapped(text, width - columns(prefix))]


def _padded(text: str, width: int) -> str:
    return text + " " * max(0, width - columns(text))


def _opening_lines(document: Document, width: int) -> Iterator[str]:
    words = wording()
    yield from wrapped(clean(document.shop), width)
    title = clean(document.title)
    yield from wrapped(title, width)
    yield "=" * min(columns(title), width)
    if document.issued:
        yield from wrapped(words["opening"]["issued"].format(date=clean(document.issued)), width)
    if document.total:
        yield from wrapped(f"{amount_words(document, words)} {clean(document.total)}", width)
    for name, on in (("draft", document.draft), ("demo", document.demo)):
        if on:
            yield from wrapped(words["running"][name], width)
    yield ""


_TICK = "[ ] "


def _block(block: Block, document: Document, resolve: Resolve, link: str | None, width: int) -> Iterator[str]:
    if isinstance(block, Heading):
        yield from wrapped(clean(block.text), width)
        yield ("-" if block.level == 1 else "·") * min(columns(clean(block.text)), width)
    elif isinstance(block, Paragraph):
        text = plain_text(block.words, resolve, lines=True)
        if block.tone == "choice":
            first, *others = wrapped(text, width - len(_TICK))
            yield from (f"{_TICK}{first}", *(" " * len(_TICK) + line for line in others))
        else:
            yield from _indented_lines(text, width, "| " if block.tone == "quote" else "")
    elif isinstance(block, Pairs):
        yield from _pairs(block, resolve, width)
    elif isinstance(block, Findings):
        for nth, row in enumerate(block.rows):
            if nth:
                yield ""
            yield from wrapped(clean(" · ".join(filter(None, (row.urgency, row.verdict, row.stage)))), width)
            yield from _indented_lines(clean(row.text), width, "  ")
            yield from _indented_lines(clean(row.basis), width, "    ") if row.basis else ()
    elif isinstance(block, Readings):
        for nth, reading in enumerate(block.rows):
            if nth:
                yield ""
            yield from _reading(reading, width)
    elif isinstance(block, Picture):
        yield from wrapped(clean(block.figure.title), width)
        yield from _indented_lines(clean(block.figure.description), width, "  ")
    elif isinstance(block, Photos):
        for photo in (shown_photo(row, resolve) for row in block.rows):
            yield from wrapped(": ".join(filter(None, (photo.when, photo.what))), width)
            yield from _indented_lines(photo.instead, width, "  ") if photo.instead else ()
    elif isinstance(block, PricedLines):
        yield from _lines(block, price_word(document), width)
    elif isinstance(block, Totals):
        for label, value, strong in block.rows:
            yield from _across(clean(label), clean(value), width)
            if strong:
                yield "=" * width
    elif isinstance(block, Table):
        yield from _table(block, width)
    elif isinstance(block, Statement):
        yield from _indented_lines(clean(block.title), width, "! ")
        yield from _indented_lines(plain_text(block.words, resolve, lines=True), width, "! ")
    elif isinstance(block, Code):
        yield from _code(block, document, link, width)
    elif isinstance(block, Answer):
        yield from _answer(block, resolve, width)
    elif isinstance(block, Account):
        yield from _account(block, width)
    elif isinstance(block, NextSteps):
        yield from _pairs(Pairs(rows=block.rows), resolve, width)
    elif isinstance(block, ApprovalForm):
        yield from _approval(block, width)
    elif isinstance(block, Evidence):
        yield "=" * width
        yield from wrapped(clean(block.title), width)
    else:
        raise TypeError(f"No way to print a {type(block).__name__} on the terminal.")


def _answer(block: Answer, resolve: Resolve, width: int) -> Iterator[str]:
    if block.said:
        yield from _indented_lines(plain_text(block.said, resolve, lines=True), width, "| ")
    if block.symptoms:
        yield from wrapped(clean(block.symptoms), width)
    yield ""
    yield from _indented_lines(clean(block.text), width, "> ")
    for label, words, _ in block.facts:
        yield from wrapped(f"{clean(label)}: {clean(words)}", width)
    if block.proof:
        yield from wrapped(clean(block.proof), width)


def _account(block: Account, width: int) -> Iterator[str]:
    for nth, row in enumerate(block.rows):
        if nth:
            yield ""
        yield from _account_row(row, width)


def _account_row(row: AccountRow, width: int) -> Iterator[str]:
    head = " · ".join(filter(None, (clean(row.point), clean(row.what))))
    yield from _across(head, f"[{clean(row.state)}]", width) if row.state else wrapped(head, width)
    if row.cause:
        yield from _indented_lines(clean(row.cause), width, "  ")
    words = wording()["readings"]
    for proof in row.proofs:
        values = (
            f"{words['before'].lower()} {clean(proof.before)}" if proof.before else "",
            f"{words['now'].lower()} {clean(proof.now)}" if proof.now else "",
            clean(proof.seen),
            f"({clean(proof.usual)})" if proof.usual else "",
        )
        yield from _indented_lines(f"{clean(proof.name)}: {' '.join(filter(None, values))}", width, "  ")
        if proof.strip is not None:
            yield "  " + strip_text(proof.strip, min(width - 2, 60))
    for work in row.works:
        detail = f", {clean(work.detail)}" if work.detail else ""
        if work.net:
            yield from _across(f"  {clean(work.text)}{detail}", clean(work.net), width)
        else:
            yield from _indented_lines(f"{clean(work.text)}{detail}: {clean(work.reason)}", width, "  ")
    if row.next:
        yield from _indented_lines(clean(row.next), width, "  -> ")


def _approval(block: ApprovalForm, width: int) -> Iterator[str]:
    words = wording()["approval"]
    for text, net in block.works:
        yield from _across(f"[ ] {clean(text)}", clean(net), width)
    if block.valid_until:
        yield from wrapped(words["until"].format(date=clean(block.valid_until)), width)
    if block.otherwise:
        yield from wrapped(clean(block.otherwise), width)
    yield ""
    yield f"{words['signed']} {'_' * max(4, width - columns(words['signed']) - 1)}"


def _pairs(block: Pairs, resolve: Resolve, width: int) -> Iterator[str]:
    label = min(max((columns(clean(name)) for name, _ in block.rows), default=0), width // 3) + 2
    for name, words in block.rows:
        names = wrapped(clean(name), label - 2)
        values = wrapped(plain_text(words, resolve, lines=True), width - label)
        for nth in range(max(len(names), len(values))):
            left = names[nth] if nth < len(names) else ""
            yield _padded(left, label) + (values[nth] if nth < len(values) else "")


def _reading(row: ReadingRow, width: int) -> Iterator[str]:
    words = wording()["readings"]
    yield from wrapped(clean(row.name), width)
    values = [
        f"{words['before'].lower()} {clean(row.before)}" if row.before else "",
        f"{words['after'].lower()} {clean(row.after)}" if row.after else "",
    ]
    yield from _indented_lines(
        ", ".join(filter(None, values)) if row.after else clean(row.before), width, "  "
    )
    if row.note:
        yield from _indented_lines(clean(row.note), width, "  ")
    if row.strip is not None:
        yield "  " + strip_text(row.strip, min(width - 2, 60))
    yield from (
        _indented_lines("; ".join(filter(None, (clean(row.limit), clean(row.source)))), width, "  ")
        if row.limit or row.source
        else ()
    )


def _table(block: Table, width: int) -> Iterator[str]:
    """Each row in words, its last number at the right edge and the others named before it."""
    first = len(block.titles) - block.numbers
    yield from _across(clean(", ".join(block.titles[:first])), clean(block.titles[-1]), width)
    for row in block.rows:
        said = [text for text in row[:first] if text]
        said += [
            f"{title} {text}"
            for title, text in zip(block.titles[first:-1], row[first:-1], strict=True)
            if text
        ]
        yield from _across(clean(", ".join(said)), clean(row[-1]), width)


def _lines(block: PricedLines, price: str, width: int) -> Iterator[str]:
    words = wording()["lines"]
    yield from _across(words["text"], words[price].format(currency=clean(block.currency)), width)
    for row in block.rows:
        yield from _line(row, width)


def _line(row: PricedRow, width: int) -> Iterator[str]:
    words = wording()["lines"]
    counted = (
        f"{clean(row.quantity)} × {clean(row.price)}"
        if row.quantity and row.price
        else clean(row.quantity or row.price)
    )
    taxed = f"{words['tax'].lower()} {clean(row.tax)}" if row.tax else ""
    for text, prefix in ((row.text, ""), (row.ground, "  "), (row.note, "  ")):
        yield from _indented_lines(clean(text), width, prefix) if text else ()
    yield from _across("  " + ", ".join(filter(None, (counted, taxed))), clean(row.net), width)


def _across(left: str, right: str, width: int) -> Iterator[str]:
    """Words at the left, a number at the right edge."""
    room = width - columns(right) - 2
    if room < 12:
        yield from wrapped(left, width)
        yield from wrapped(right, width)
        return
    prefix = left[: len(left) - len(left.lstrip())]
    *full, last = _indented_lines(left, room, prefix) if left.strip() else [""]
    yield from full
    yield _padded(last, width - columns(right)) + right


def _code(block: Code, document: Document, link: str | None, width: int) -> Iterator[str]:
    words = wording()["code"]
    if document.draft:
        yield from wrapped(words["draft"], width)
        return
    texts: Sequence[str] = (words["opened"], clean(link)) if link is not None else (words["no_link"],)
    for text in (*texts, f"{words['mark']} {clean(block.record_mark)}", words["mark_what"]):
        yield from wrapped(text, width)
