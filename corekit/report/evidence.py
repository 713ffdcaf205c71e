"""The sheets behind an account: every reading with a wide strip, on a common scale for each unit."""

from __future__ import annotations

import re
from collections.abc import Sequence

import attrs

from ..model.document import Block, Pairs, ReadingRow, Readings
from ..model.figure import Strip
from .account_table import add_scale, spoken_values
from .layout import Box, Cell
from .panel import Column, panel
from .pen import BLACK, INK, MM
from .strip import on_common_scales
from .typesetter import Typesetter, bold

STRIP_MM = 90.0
_BETWEEN = 11.0
_NOTE = re.compile(r"\[\d+\]")


def common_scales(blocks: Sequence[object]) -> dict[Strip, Strip]:
    """Each strip of these blocks → the same on the scale that it shares with others of its unit."""
    strips = [
        row.strip
        for block in blocks
        if isinstance(block, Readings)
        for row in block.rows
        if row.strip is not None
    ]
    return dict(zip(strips, on_common_scales(strips), strict=True))


def readings(setter: Typesetter, block: Readings, scales: dict[Strip, Strip], *, says_key: bool) -> list[Box]:
    """A row for each quantity: its name and conditions, its strip, its limit."""
    if not block.rows:
        return []
    words, measures = setter.wording["readings"], setter.measures
    strip = STRIP_MM * MM
    name = (setter.width - strip - 2 * _BETWEEN) * 0.5
    columns = (
        (0.0, name),
        (name + _BETWEEN, strip),
        (name + strip + 2 * _BETWEEN, setter.width - name - strip - 2 * _BETWEEN),
    )
    titles = (words["name"], words["shown"], words["limit"])
    head = Box(
        cells=tuple(
            Cell(*column, setter.own(title, measures.table_head, column[1]))
            for title, column in zip(titles, columns, strict=True)
        ),
        gap=3.0,
        pad=2.0,
        keep=True,
        decoration=lambda pen, x, top: pen.rule(
            x,
            top - measures.table_head.leading - 2.0,
            x + setter.width,
            top - measures.table_head.leading - 2.0,
            weight=0.9,
            colour=INK,
        ),
    )
    rows = [_reading(setter, row, columns, scales) for row in block.rows]
    for nth, row in enumerate(rows):
        row.head = head
        row.rule = 0.4 if nth else 0.0
    key: list[Box] = []
    if says_key and any(row.strip is not None for row in block.rows):
        lines = setter.own(words["wide_key"], measures.small, setter.width)
        key = [Box(cells=(Cell(0, setter.width, lines),), keep=True)]
    return [*key, head, *rows]


def _reading(
    setter: Typesetter,
    row: ReadingRow,
    columns: Sequence[tuple[float, float]],
    scales: dict[Strip, Strip],
) -> Box:
    measures = setter.measures
    (name_x, name_width), (strip_x, strip_width), (limit_x, limit_width) = columns
    name = Column(name_x, name_width)
    name.add(setter.own(row.name, bold(measures.row), name_width, balanced=True))
    shown = Column(strip_x, strip_width)
    if row.strip is not None:
        add_scale(
            setter,
            shown,
            scales.get(row.strip, row.strip),
            row.name,
            before=row.before,
            now=row.after,
            voice=measures.small,
            numbered=True,
        )
    else:
        shown.add(setter.own(spoken_values(setter, row.before, row.after), measures.row, strip_width))
    if row.note:
        shown.skip(1.5)
        shown.add(setter.typed(row.note, measures.small, strip_width))
    limit = Column(limit_x, limit_width)
    if row.limit:
        limit.add(setter.own(row.limit, attrs.evolve(measures.small, colour=BLACK), limit_width))
    if row.source:
        limit.add(setter.own(row.source, measures.small, limit_width))
    return panel(name, shown, limit, pad=4.0)


def are_notes(block: Pairs) -> bool:
    """Whether these pairs are sources by their numbers."""
    return all(_NOTE.fullmatch(name) for name, _ in block.rows)


def is_set_here(block: Block) -> bool:
    """Whether a block behind an account is set by this module."""
    return isinstance(block, Readings) or (isinstance(block, Pairs) and are_notes(block))


def notes(setter: Typesetter, block: Pairs) -> list[Box]:
    """Numbered sources, one below the other."""
    small, label = attrs.evolve(setter.measures.small, colour=BLACK), 24.0
    return [
        Box(
            cells=(
                Cell(0.0, label - 4.0, setter.own(name, small, label - 4.0)),
                Cell(
                    label,
                    setter.width - label,
                    setter.lines(setter.pieces(words), small, setter.width - label),
                ),
            ),
            gap=1.5,
        )
        for name, words in block.rows
    ]
