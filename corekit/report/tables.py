"""What stands on a paper in columns, as boxes: readings, pictures, priced lines and what they come to."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import attrs

from ..model.document import Block, Picture, PricedLines, PricedRow, ReadingRow, Readings, Table, Totals
from .fonts import TextLine
from .layout import Box, Cell, CellLine
from .measures import HAIRLINE
from .pen import BLACK, INK, Pen
from .text import amount_text, clean, price_word
from .typesetter import Column, Typesetter, bold

#: Shares of the width for name, before, after, scale, limit, by (there are strips, there are later readings).
_READING_SHARES: dict[tuple[bool, bool], Sequence[float]] = {
    (True, True): (25, 12.5, 12.5, 20, 30),
    (True, False): (30, 13, 0, 24, 33),
    (False, True): (34, 14, 14, 0, 38),
    (False, False): (40, 16, 0, 0, 44),
}
_LINE_SHARES = (56, 12, 11, 8, 13)


def readings(setter: Typesetter, block: Readings, *, says_key: bool) -> list[Box]:
    """The table of readings; above it, where it has strips, the key to them if it `says_key`."""
    if not block.rows:
        return []
    words, small = setter.wording["readings"], setter.measures.small
    has_strips = any(row.strip is not None for row in block.rows)
    columns = setter.columns(_READING_SHARES[has_strips, any(row.after for row in block.rows)])
    titles = [words[name] for name in ("name", "before", "after", "scale", "limit")]
    table = setter.table(
        titles, columns, [_reading(setter, row, columns) for row in block.rows], right=(1, 2)
    )
    if not (has_strips and says_key):
        return table
    key = Cell(0, setter.width, setter.own(words["key"], small, setter.width))
    return [Box(cells=(key,), keep=True), *table]


def _reading(setter: Typesetter, row: ReadingRow, columns: Sequence[Column]) -> Box:
    measures, (name, before, after, scale, limit) = setter.measures, columns
    cells = [Cell(*name, setter.own(row.name, measures.row, name[1]))]
    numbers = [(before, row.before, not row.after), (after, row.after, True)]
    cells += [
        Cell(*column, _number(setter, text, column[1], strong=strong))
        for column, text, strong in numbers
        if text
    ]
    if row.note:
        cells.append(_conditions(setter, row.note, cells, columns))
    if row.strip is not None:
        cells.append(Cell(*scale, (), setter.strip(row.strip, clean(row.name))))
    basis = setter.own(row.limit, attrs.evolve(measures.small, colour=BLACK), limit[1]) if row.limit else ()
    if row.source:
        basis += setter.own(row.source, measures.small, limit[1])
    cells.append(Cell(*limit, basis))
    return Box(cells=tuple(cells), pad=measures.reading_pad)


def _conditions(setter: Typesetter, note: str, cells: Sequence[Cell], columns: Sequence[Column]) -> Cell:
    """A reading's note, spoken after its numbers: below the name where it fits on one line, else below
    all of them and across.
    """
    (start, wide), before, after, *_ = columns
    above, lines = cells[0].lines, setter.typed(note, setter.measures.small, wide)
    if len(lines) > 1:
        wide = sum(after if after[1] else before) - start
        above = max((cell.lines for cell in cells), key=_height)
        lines = setter.typed(note, setter.measures.small, wide)
    empty = tuple(attrs.evolve(line, text=TextLine((), 0.0)) for line in above)
    return Cell(start, wide, empty + lines)


def _height(lines: Sequence[CellLine]) -> float:
    return math.fsum(line.voice.leading for line in lines)


def _number(setter: Typesetter, text: str, room: float, *, strong: bool) -> tuple[CellLine, ...]:
    """A reading as printed: the number, and its uncertainty below it."""
    number, mark, uncertainty = text.partition(" ± ")
    row, small = setter.measures.row, setter.measures.small
    below = setter.own(f"± {uncertainty}", small, room, "right") if mark else ()
    return setter.own(number, bold(row) if strong else row, room, "right") + below


def pictures(setter: Typesetter, blocks: Sequence[Block]) -> list[Box]:
    """Pictures that follow each other stand two beside each other; a single one has the whole width."""
    figures = [block.figure for block in blocks if isinstance(block, Picture)]
    boxes: list[Box] = []
    while figures:
        row, figures = figures[:2], figures[2:]
        columns = setter.columns((50, 50) if len(row) > 1 else (100,))
        cells = [
            Cell(
                *column,
                setter.own(figure.title, bold(setter.measures.row), column[1]),
                figure,
                setter.own(figure.description, setter.measures.small, column[1]),
            )
            for figure, column in zip(row, columns, strict=True)
        ]
        boxes.append(Box(cells=tuple(cells), gap=setter.measures.between + 2))
    return boxes


def priced_lines(setter: Typesetter, block: PricedLines, *, totals_follow: bool) -> list[Box]:
    if not block.rows:
        return []
    words = setter.wording["lines"]
    columns = setter.columns(_LINE_SHARES)
    titles = [words[name] for name in ("text", "quantity", "price", "tax")]
    titles.append(words[price_word(setter.document)].format(currency=clean(block.currency)))
    rows = [_priced_line(setter, row, columns) for row in block.rows]
    table = setter.table(titles, columns, rows, right=(1, 2, 3, 4))
    table[-1].keep = totals_follow  # a total never stands alone on the last page
    return table


def _priced_line(setter: Typesetter, row: PricedRow, columns: Sequence[Column]) -> Box:
    measures, (text, *numbers) = setter.measures, columns
    what = setter.typed(row.text, measures.row, text[1])
    about = [setter.typed(below, measures.small, text[1]) for below in (row.ground, row.note) if below]
    beside = what[0].text.width + 7
    if (
        measures.ground_beside
        and len(what) == len(about) == len(about[0]) == 1
        and beside + about[0][0].text.width <= text[1]
    ):
        cells = [Cell(*text, what), Cell(text[0] + beside, text[1] - beside, about[0])]
    else:
        cells = [Cell(*text, sum(about, what))]
    values = zip((row.quantity, row.price, row.tax, row.net), numbers, strict=True)
    cells += [
        Cell(*column, setter.own(amount_text(value), measures.row, column[1], "right"))
        for value, column in values
        if value
    ]
    return Box(cells=tuple(cells), pad=measures.line_pad)


def plain(setter: Typesetter, block: Table) -> list[Box]:
    """Rows of plain cells, the numbers among them at the right edge of their columns."""
    if not block.rows:
        return []
    columns, first = setter.columns(block.shares), len(block.titles) - block.numbers
    measures, right = setter.measures, range(first, len(block.titles))
    rows = [
        Box(
            cells=tuple(
                Cell(
                    *column,
                    setter.own(amount_text(text), measures.row, column[1], "right")
                    if nth in right
                    else setter.typed(text, measures.row, column[1]),
                )
                for nth, (text, column) in enumerate(zip(row, columns, strict=True))
                if text
            ),
            pad=measures.line_pad,
        )
        for row in block.rows
    ]
    return setter.table(block.titles, columns, rows, right=tuple(right))


def totals(setter: Typesetter, block: Totals) -> list[Box]:
    """What the lines come to, in the right half of the sheet."""
    start, amount = setter.width * 0.5, setter.width * 0.2
    wide = setter.width - start - amount
    pad = setter.measures.line_pad - 0.4
    boxes: list[Box] = []
    for nth, (label, value, strong) in enumerate(block.rows):
        voice = setter.measures.total if strong else setter.measures.row
        cells = (
            Cell(start, wide, setter.own(label, voice, wide)),
            Cell(setter.width - amount, amount, setter.own(value, voice, amount, "right")),
        )
        is_last = nth == len(block.rows) - 1
        boxes.append(
            Box(
                cells=cells,
                pad=pad,
                keep=not is_last,
                decoration=_rule(start, setter.width, pad) if strong else None,
                rule=0.0 if nth else HAIRLINE,
            )
        )
    return boxes


def _rule(start: float, end: float, pad: float) -> Callable[[Pen, float, float], None]:
    """A rule across the right part of a box's top."""
    return lambda pen, x, top: pen.rule(x + start, top + pad, x + end, top + pad, weight=0.7, colour=INK)
