"""What stands on a paper in words rather than in columns of numbers, as boxes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import pairwise

import attrs

from ..model.document import Code, FindingRow, Findings, Heading, Pairs, Paragraph, Statement
from .code import MODULE_MM, QUIET, Symbol
from .layout import Box, Cell, CellLine
from .measures import HAIRLINE
from .pen import BLACK, GREY, INK, MM, Pen
from .text import amount_words, clean
from .typesetter import Typesetter, bold


def opening(setter: Typesetter) -> Box:
    """What the paper is, from when, and what it comes to."""
    document, words, measures = setter.document, setter.wording["opening"], setter.measures
    side = setter.width * 0.3
    room = setter.width - side - 12
    quiet = attrs.evolve(measures.body, colour=GREY)
    left = setter.own(document.title, measures.title, room)
    if document.issued:
        left += setter.own(words["issued"].format(date=clean(document.issued)), quiet, room)
    cells = [Cell(0, room, left)]
    if document.total:
        amount = setter.own(document.total, measures.amount, side, "right")
        amount += setter.own(amount_words(document, setter.wording), quiet, side, "right")
        cells.append(Cell(setter.width - side, side, amount))
    return Box(cells=tuple(cells), pad=4)


def heading(setter: Typesetter, block: Heading, outline: int) -> Box:
    """A heading, which stays with what follows; `outline` is its level among the bookmarks."""
    depth = min(max(block.level, 1), 2) - 1
    lines = setter.own(block.text, setter.measures.headings[depth], setter.width)
    return Box(
        cells=(Cell(0, setter.width, lines),),
        gap=setter.measures.above_headings[depth],
        pad=2.0,
        keep=True,
        bookmark=(clean(block.text), outline),
    )


def paragraph(setter: Typesetter, block: Paragraph) -> list[Box]:
    measures = setter.measures
    voice = {"small": measures.small, "strong": bold(measures.body)}.get(block.tone, measures.body)
    if block.tone == "choice":
        indent = _TICK_BOX + 9.0
        lines = setter.lines(setter.pieces(block.words), voice, setter.width - indent)
        return [
            Box(
                cells=(Cell(indent, setter.width - indent, lines),),
                gap=measures.between,
                decoration=tick_box(voice.lead),
            )
        ]
    is_quote = block.tone == "quote"
    indent = 9.0 if is_quote else 0.0
    lines = setter.lines(setter.pieces(block.words), voice, setter.width - indent)
    # Two lines at least stand together at the foot and at the head of a page.
    parts = [lines] if len(lines) <= 3 else [lines[:2], *((line,) for line in lines[2:-2]), lines[-2:]]
    return [
        Box(
            cells=(Cell(indent, setter.width - indent, part),),
            gap=0.0 if nth else measures.between,
            side_rule=1.6 if is_quote else 0.0,
        )
        for nth, part in enumerate(parts)
    ]


_TICK_BOX = 9.0  # pt, each side


def tick_box(lead: float, side: float = _TICK_BOX) -> Callable[[Pen, float, float], None]:
    """An empty box before a line of words."""
    corners = ((0.0, 0.0), (side, 0.0), (side, side), (0.0, side), (0.0, 0.0))

    def draw(pen: Pen, x: float, top: float) -> None:
        foot = top - lead - 0.8
        for (x0, y0), (x1, y1) in pairwise(corners):
            pen.rule(x + x0, foot + y0, x + x1, foot + y1, weight=0.9, colour=BLACK)

    return draw


#: So wide is the column of names at least, and so wide before a name goes over several lines.
_LABEL, _WIDEST_LABEL = 50.0, 86.0


def _widest_word(setter: Typesetter, name: str) -> float:
    return max(
        setter.own(word, setter.measures.small, math.inf)[0].text.width for word in name.split() or [name]
    )


def pairs(setter: Typesetter, block: Pairs) -> Iterator[Box]:
    """Two pairs a row, read from left to right; what is too long for half the sheet has a row of its own."""
    small, body = setter.measures.small, setter.measures.body
    names = [line for name, _ in block.rows for line in setter.own(name, small, setter.width)]
    whole = max((line.text.width + 8.0 for line in names), default=_LABEL)
    unbroken = max((_widest_word(setter, name) + 6.5 for name, _ in block.rows), default=_LABEL)
    label = max(_LABEL, min(whole, _WIDEST_LABEL), unbroken)
    gutter = 16.0
    half = (setter.width - gutter) / 2
    waiting: list[tuple[Cell, Cell]] = []
    for name, words in block.rows:
        pieces, label_lines = setter.pieces(words), setter.own(name, small, label - 6)
        values = setter.lines(pieces, body, half - label)
        if len(values) > 2:
            yield from (Box(cells=pair, gap=1.2) for pair in waiting)
            waiting.clear()
            wide = setter.width - label
            across = Cell(label, wide, setter.lines(pieces, body, wide))
            yield Box(cells=(Cell(0, label - 6, label_lines), across), gap=1.2)
            continue
        start = half + gutter if waiting else 0.0
        pair = Cell(start, label - 6, label_lines), Cell(start + label, half - label, values)
        if waiting:
            yield Box(cells=(*waiting.pop(), *pair), gap=1.2)
        else:
            waiting.append(pair)
    yield from (Box(cells=pair, gap=1.2) for pair in waiting)


def findings(setter: Typesetter, block: Findings) -> list[Box]:
    return [
        _finding(setter, row, before) for before, row in zip([None, *block.rows], block.rows, strict=False)
    ]


def _finding(setter: Typesetter, row: FindingRow, before: FindingRow | None) -> Box:
    """When, what was found, on what it rests.

    When is said once for a run of rows that share it, and again on a new page.
    """
    measures, side = setter.measures, 92.0
    verdict = " · ".join(filter(None, (row.verdict, row.stage)))
    left = setter.own(verdict, measures.small, side - 10)
    when = setter.own(row.urgency, attrs.evolve(bold(measures.row), colour=INK), side - 10)
    right = setter.own(row.text, measures.body, setter.width - side)
    if row.basis:
        right += setter.own(row.basis, measures.small, setter.width - side)

    def box(lines: tuple[CellLine, ...], rule: float) -> Box:
        return Box(
            cells=(Cell(0, side, lines), Cell(side, setter.width - side, right)),
            pad=measures.finding_pad,
            rule=rule,
        )

    if before is None or before.urgency != row.urgency:
        return box(when + left, HAIRLINE if before is not None else 0.0)
    without_when = box(left, HAIRLINE)
    without_when.on_new_page = box(when + left, 0.0)
    return without_when


def statement(setter: Typesetter, block: Statement) -> list[Box]:
    """Words in a frame."""
    measures, wide = setter.measures, setter.width - 20
    lines = setter.own(block.title, bold(measures.body), wide)
    lines += setter.lines(setter.pieces(block.words), measures.body, wide)
    return [Box(cells=(Cell(10, wide, lines),), gap=measures.between + 2, pad=measures.between, frame="tb")]


def code(setter: Typesetter, block: Code, link: str | None, symbol: Symbol | None) -> list[Box]:
    """The code with the link and the record mark beside it; of a draft, that it carries none."""
    measures = setter.measures
    if setter.document.draft:
        lines = setter.own(setter.wording["code"]["draft"], measures.small, setter.width)
        return [Box(cells=(Cell(0, setter.width, lines),), gap=measures.between)]
    module = MODULE_MM * MM
    # The first dark modules stand at the margin: left of them the sheet is empty, as it is to be.
    start = (symbol.side - QUIET) * module + 7 if symbol is not None else 0.0
    room = setter.width - start
    cell = Cell(start, room, _beside_code(setter, block, link, room))
    if symbol is None:
        return [Box(cells=(cell,), gap=measures.between)]
    return [
        Box(
            cells=(cell,),
            gap=measures.between,
            pad=QUIET * module,
            min_height=(symbol.side - 2 * QUIET) * module,
            decoration=lambda pen, x, top: pen.dark_squares(symbol.runs(), x, top, module),
        )
    ]


def _beside_code(setter: Typesetter, block: Code, link: str | None, room: float) -> tuple[CellLine, ...]:
    words, measures = setter.wording["code"], setter.measures
    if link is not None:
        lines = setter.own(words["scan"], attrs.evolve(bold(measures.body), colour=INK), room)
        lines += setter.own(words["link"], measures.small, room)
        lines += setter.typed(link, measures.row, room)
    else:
        lines = setter.own(words["no_link"], measures.body, room)
    lines += setter.own(words["mark"], attrs.evolve(measures.small, leading=15.0), room)
    lines += setter.own(block.record_mark, measures.mark, room)
    return lines + setter.own(words["mark_what"], measures.small, room)
