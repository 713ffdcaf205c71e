"""The layout of a paper: boxes that stand below each other, and how they fall onto pages.

A box never breaks unless it is higher than a page. A heading stays with what follows; a table's head is
repeated.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from functools import cached_property

import attrs

from ..model.figure import Figure
from .fonts import TextLine
from .pen import INK, MM, PALE, Pen, Voice


@attrs.frozen(eq=False)
class CellLine:
    """One set line in a cell."""

    text: TextLine
    voice: Voice
    align: str = "left"


_ABOVE_FIGURE, _BELOW_FIGURE = 3.0, 2.0  # white between a cell's words and its figure


@attrs.frozen(eq=False)
class Cell:
    """Lines below each other in a column that starts at `x` and is `width` points wide, measured from the
    left margin.

    A figure stands below them, and `below` it more lines.
    """

    x: float
    width: float
    lines: tuple[CellLine, ...] = ()
    figure: Figure | None = None
    below: tuple[CellLine, ...] = ()


@attrs.define(eq=False)
class Box:
    """A row of cells. All first lines share one baseline.

    Attributes:
        cells: From left to right, in the order they are read.
        gap: White above, left out at the top of a page.
        pad: White inside, above and below.
        keep: Must not be the last thing on a page.
        head: What is repeated above it when it opens a page. on_new_page: What stands in its place then.
        rule: Weight of a line across the top; 0 for none. rule_colour: its colour.
        side_rule: A line beside it on the left: weight, or 0. frame: Which sides of a frame it carries.
        bookmark: Its (words, level). decoration: Draws more, given pen, x of the left margin, y of the box's
            top.
        min_height: The height it has at least.
    """

    cells: tuple[Cell, ...] = ()
    gap: float = 0.0
    pad: float = 0.0
    keep: bool = False
    head: Box | None = None
    on_new_page: Box | None = None
    rule: float = 0.0
    rule_colour: float = PALE
    side_rule: float = 0.0
    frame: str = ""
    bookmark: tuple[str, int] | None = None
    decoration: Callable[[Pen, float, float], None] | None = None
    min_height: float = 0.0

    @cached_property
    def lead(self) -> float:
        """From the top of the content down to the first baseline."""
        return max((cell.lines[0].voice.lead for cell in self.cells if cell.lines), default=0.0)

    @cached_property
    def height(self) -> float:
        return max([self.min_height, *map(self._cell_height, self.cells)]) + 2 * self.pad

    def _words_height(self, cell: Cell) -> float:
        if not cell.lines:
            return 0.0
        first = cell.lines[0].voice
        return self.lead - first.lead + math.fsum(line.voice.leading for line in cell.lines)

    def _cell_height(self, cell: Cell) -> float:
        tall = self._words_height(cell)
        if cell.figure is not None:
            tall += (_ABOVE_FIGURE if cell.lines else 0.0) + cell.figure.height_mm * MM
        if cell.below:
            tall += _BELOW_FIGURE + math.fsum(line.voice.leading for line in cell.below)
        return tall

    @property
    def is_empty(self) -> bool:
        """Whether no words are left in it."""
        return not any(cell.lines for cell in self.cells)

    def split(self, room: float) -> tuple[Box, Box]:
        """The box in two, the first no higher than `room`: only for one that is higher than a page."""
        upper, lower = [], []
        for cell in self.cells:
            used, count = self.lead + 2 * self.pad, 0
            for line in cell.lines:
                used += line.voice.leading
                if used > room:
                    break
                count += 1
            upper.append(attrs.evolve(cell, lines=cell.lines[: max(count, 1)]))
            lower.append(attrs.evolve(cell, lines=cell.lines[max(count, 1) :], figure=None, below=()))
        frame = self.frame
        return (
            attrs.evolve(self, cells=tuple(upper), keep=False, frame=frame.replace("b", ""), min_height=0.0),
            attrs.evolve(
                self,
                cells=tuple(lower),
                gap=0.0,
                rule=0.0,
                frame=frame.replace("t", ""),
                bookmark=None,
                decoration=None,
                min_height=0.0,
            ),
        )

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        """Draws the box with its upper left at (x, top)."""
        if self.rule:
            pen.rule(x, top, x + width, top, weight=self.rule, colour=self.rule_colour)
        if self.side_rule:
            pen.rule(
                x + self.side_rule / 2, top, x + self.side_rule / 2, top - self.height, weight=self.side_rule
            )
        if self.frame:
            self._draw_frame(pen, x, top, width, self.height)
        base = top - self.pad - self.lead
        for cell in self.cells:
            self._write(pen, x, base, cell, cell.lines)
            if cell.figure is not None:
                tall = cell.figure.height_mm * MM
                foot = (
                    top - self.pad - self._words_height(cell) - (_ABOVE_FIGURE if cell.lines else 0.0) - tall
                )
                pen.figure(cell.figure, x + cell.x, foot, cell.width, tall)
                if cell.below:
                    self._write(pen, x, foot - _BELOW_FIGURE - cell.below[0].voice.lead, cell, cell.below)
        if self.decoration is not None:
            self.decoration(pen, x, top - self.pad)

    @staticmethod
    def _write(pen: Pen, x: float, y: float, cell: Cell, lines: Sequence[CellLine]) -> None:
        for nth, line in enumerate(lines):
            y -= line.voice.leading if nth else 0.0
            shift = {
                "left": 0.0,
                "right": cell.width - line.text.width,
                "middle": (cell.width - line.text.width) / 2,
            }[line.align]
            pen.write(line.text, x + cell.x + shift, y, line.voice)

    def _draw_frame(self, pen: Pen, x: float, top: float, width: float, height: float) -> None:
        for edge in (x, x + width):
            pen.rule(edge, top, edge, top - height, weight=0.7, colour=INK)
        if "t" in self.frame:
            pen.rule(x, top, x + width, top, weight=0.7, colour=INK)
        if "b" in self.frame:
            pen.rule(x, top - height, x + width, top - height, weight=0.7, colour=INK)


Placed = tuple[Box, float]  # a box and how far its top lies below the top of the page's body


def paginate(boxes: Sequence[Box], room: float) -> list[list[Placed]]:
    """The boxes on pages whose body is `room` points high: which box stands where. At least one page."""
    pages: list[list[Placed]] = [[]]
    used = 0.0

    def place(box: Box) -> None:
        nonlocal used
        used += box.gap if pages[-1] else 0.0
        pages[-1].append((box, used))
        used += box.height

    def turn(head: Box | None) -> None:
        nonlocal used
        pages.append([])
        used = 0.0
        if head is not None:
            place(head)

    for group in _groups(boxes):
        if used + _group_height(group, bool(pages[-1])) > room and pages[-1]:
            turn(group[0].head)
            group = [group[0].on_new_page or group[0], *group[1:]]
        for box in group:
            rest = box
            # A group higher than a page is broken where it must be; a box higher than a page likewise.
            while used + (rest.gap if pages[-1] else 0.0) + rest.height > room:
                opens = len(pages[-1]) <= (1 if rest.head is not None else 0)
                if not opens:
                    turn(rest.head)
                    continue
                upper, lower = rest.split(room - used - (rest.gap if pages[-1] else 0.0))
                place(upper)
                if lower.is_empty:
                    break
                rest = lower
                turn(rest.head)
            else:
                place(rest)
    return pages


def _groups(boxes: Iterable[Box]) -> list[list[Box]]:
    groups: list[list[Box]] = []
    open_group = False
    for box in boxes:
        if open_group:
            groups[-1].append(box)
        else:
            groups.append([box])
        open_group = box.keep
    return groups


def _group_height(group: Sequence[Box], after_something: bool) -> float:
    return math.fsum(box.height for box in group) + math.fsum(
        box.gap for box in (group if after_something else group[1:])
    )
