"""Sheets of paper: boxes that stand below each other, how they fall onto pages, and the pen that draws them.

A box never breaks unless it is higher than a page. A heading stays with what follows; a table's head is
repeated.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from functools import cached_property
from typing import Any

import attrs

from ..model.figure import Band, Dot, Figure, Label, Polyline
from .fonts import Face, Line, set_line

A4 = (595.276, 841.890)  # points
MM = 72 / 25.4
#: How dark the three voices are, 0 is black: what is said, what explains it, rules.
TEXT, QUIET, RULE = 0.0, 0.32, 0.72
#: Stands for the theme's ink in place of a grey.
INK = -1.0


@attrs.frozen
class Voice:
    """How words are set: the face's style, size of letters and of lines in points, how dark."""

    style: str
    size: float
    leading: float
    colour: float = TEXT

    @property
    def lead(self) -> float:
        """From the top of a line down to its baseline."""
        return self.size * 0.74 + (self.leading - self.size) / 2


_NUMBERS = "regular"


class Pen:
    """Draws on one page of a reportlab canvas; origin at the lower left, points.

    Lines and areas go to the canvas at once, words are gathered and set last, in the order they came: that
    order is the order in which a reader program speaks them.
    """

    def __init__(self, canvas: Any, ink: tuple[float, float, float]) -> None:
        self._ink = ink
        # Operators as they are: reportlab's own drawing and its text objects take three times as long.
        self._say: Callable[[str], None] = canvas.addLiteral
        self._document = canvas._doc
        self._state: dict[str, str] = {}
        self._words: list[str] = []
        self._colour: float | None = None
        self._font: tuple[Face, int, float] | None = None

    def write(self, line: Line, x: float, y: float, voice: Voice) -> None:
        if not line.runs:
            return
        say = self._words.append
        if voice.colour != self._colour:
            say(
                "{:.3f} {:.3f} {:.3f} rg".format(*self._ink)
                if voice.colour == INK
                else f"{voice.colour:.3g} g"
            )
            self._colour = voice.colour
        say(f"1 0 0 1 {x:.2f} {y:.2f} Tm")
        for used, text in line.runs:
            for subset, codes in used.font.splitString(text, self._document):
                if (used, subset, voice.size) != self._font:
                    say(f"{used.font.getSubsetInternalName(subset, self._document)} {voice.size:g} Tf")
                    self._font = used, subset, voice.size
                say(f"<{codes.hex()}> Tj")

    def rule(
        self, x0: float, y0: float, x1: float, y1: float, *, weight: float = 0.4, colour: float = RULE
    ) -> None:
        self._stroke(weight, colour)
        self._say(f"{x0:.2f} {y0:.2f} m {x1:.2f} {y1:.2f} l S")

    def figure(self, figure: Figure, x: float, y: float, width: float, height: float) -> None:
        """The figure into the room whose lower left is (x, y); lines keep their weight, words their size."""
        across, up = width / figure.width, height / figure.height
        for mark in figure.marks:
            if isinstance(mark, Band):
                self._set("fill", f"{1 - mark.shade:.3g} g")
                at = (
                    f"{x + mark.x0 * across:.2f} {y + mark.y0 * up:.2f} {(mark.x1 - mark.x0) * across:.2f}"
                    f" {(mark.y1 - mark.y0) * up:.2f}"
                )
                self._say(f"{at} re f")
            elif isinstance(mark, Polyline):
                self._stroke(mark.weight, TEXT, dashed=mark.dashed)
                steps = [
                    f"{x + px * across:.2f} {y + py * up:.2f} {'l' if nth else 'm'}"
                    for nth, (px, py) in enumerate(mark.points)
                ]
                self._say(" ".join(steps) + " S")
            elif isinstance(mark, Dot):
                self._dot(x + mark.x * across, y + mark.y * up, mark)
            else:
                self._label(mark, x + mark.x * across, y + mark.y * up)

    def _dot(self, x: float, y: float, dot: Dot) -> None:
        # A line of no length with round ends is a disc (ISO 32000-1, 8.5.3.2): a tenth of what four curves
        # take.
        disc = f"{x:.2f} {y:.2f} m {x:.2f} {y:.2f} l S"
        self._stroke(dot.size, TEXT, cap=1)
        self._say(disc)
        if not dot.filled:
            self._stroke(dot.size - 1.8, 1.0, cap=1)
            self._say(disc)

    def _label(self, label: Label, x: float, y: float) -> None:
        line = set_line([(label.text, True)], _NUMBERS, label.size)
        shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[label.anchor]
        self.write(line, x - shift * line.width, y, Voice(_NUMBERS, label.size, label.size, QUIET))

    def _set(self, what: str, operator: str) -> None:
        if self._state.get(what) != operator:
            self._say(operator)
            self._state[what] = operator

    def _stroke(self, weight: float, colour: float, *, cap: int = 0, dashed: bool = False) -> None:
        self._set("weight", f"{weight:.4g} w")
        self._set(
            "stroke", "{:.3f} {:.3f} {:.3f} RG".format(*self._ink) if colour == INK else f"{colour:.3g} G"
        )
        self._set("cap", f"{cap} J")
        self._set("dash", "[2.2 1.8] 0 d" if dashed else "[] 0 d")

    def dark_squares(
        self, runs: Iterable[tuple[int, int, int]], x: float, y_top: float, module: float
    ) -> None:
        """The dark modules of a code as one path, first module's upper left at (x, y_top)."""
        squares = " ".join(f"{column} {-row - 1} {length} 1 re" for row, column, length in runs)
        self._say(f"q 0 g {module:.6f} 0 0 {module:.6f} {x:.3f} {y_top:.3f} cm {squares} f Q")

    def done(self) -> None:
        """Sets the words."""
        self._say(f"BT {' '.join(self._words)} ET")


@attrs.frozen(eq=False)
class Text:
    """One set line in a cell."""

    line: Line
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
    texts: tuple[Text, ...] = ()
    figure: Figure | None = None
    below: tuple[Text, ...] = ()


@attrs.define(eq=False)
class Box:
    """A row of cells. All first lines share one baseline.

    Attributes:
        cells: From left to right, in the order they are read.
        gap: White above, left out at the top of a page.
        pad: White inside, above and below.
        keep: Must not be the last thing on a page.
        head: What is repeated above it when it opens a page. opens: What stands in its place then.
        rule: Weight of a line across the top; 0 for none. rule_colour: its colour.
        side: A line beside it on the left: weight, or 0. frame: Which sides of a frame it carries.
        mark: (words, level) of a bookmark. draw: Draws more, given pen, x of the left margin, y of the box's
            top.
        least: The height it has at least.
    """

    cells: tuple[Cell, ...] = ()
    gap: float = 0.0
    pad: float = 0.0
    keep: bool = False
    head: Box | None = None
    opens: Box | None = None
    rule: float = 0.0
    rule_colour: float = RULE
    side: float = 0.0
    frame: str = ""
    mark: tuple[str, int] | None = None
    draw: Callable[[Pen, float, float], None] | None = None
    least: float = 0.0

    @cached_property
    def lead(self) -> float:
        """From the top of the content down to the first baseline."""
        return max((cell.texts[0].voice.lead for cell in self.cells if cell.texts), default=0.0)

    @cached_property
    def height(self) -> float:
        return max([self.least, *map(self._tall, self.cells)]) + 2 * self.pad

    def _words_tall(self, cell: Cell) -> float:
        if not cell.texts:
            return 0.0
        first = cell.texts[0].voice
        return self.lead - first.lead + sum(text.voice.leading for text in cell.texts)

    def _tall(self, cell: Cell) -> float:
        tall = self._words_tall(cell)
        if cell.figure is not None:
            tall += (_ABOVE_FIGURE if cell.texts else 0.0) + cell.figure.height_mm * MM
        if cell.below:
            tall += _BELOW_FIGURE + sum(text.voice.leading for text in cell.below)
        return tall

    def parted(self, room: float) -> tuple[Box, Box]:
        """The box in two, the first no higher than `room`: only for one that is higher than a page."""
        upper, lower = [], []
        for cell in self.cells:
            used, count = self.lead + 2 * self.pad, 0
            for text in cell.texts:
                used += text.voice.leading
                if used > room:
                    break
                count += 1
            upper.append(attrs.evolve(cell, texts=cell.texts[: max(count, 1)]))
            lower.append(attrs.evolve(cell, texts=cell.texts[max(count, 1) :], figure=None, below=()))
        frame = self.frame
        return (
            attrs.evolve(self, cells=tuple(upper), keep=False, frame=frame.replace("b", ""), least=0.0),
            attrs.evolve(
                self,
                cells=tuple(lower),
                gap=0.0,
                rule=0.0,
                frame=frame.replace("t", ""),
                mark=None,
                draw=None,
                least=0.0,
            ),
        )

    def onto(self, pen: Pen, x: float, top: float, width: float) -> None:
        """Draws the box with its upper left at (x, top)."""
        if self.rule:
            pen.rule(x, top, x + width, top, weight=self.rule, colour=self.rule_colour)
        if self.side:
            pen.rule(x + self.side / 2, top, x + self.side / 2, top - self.height, weight=self.side)
        if self.frame:
            self._framed(pen, x, top, width, self.height)
        base = top - self.pad - self.lead
        for cell in self.cells:
            self._write(pen, x, base, cell, cell.texts)
            if cell.figure is not None:
                tall = cell.figure.height_mm * MM
                foot = top - self.pad - self._words_tall(cell) - (_ABOVE_FIGURE if cell.texts else 0.0) - tall
                pen.figure(cell.figure, x + cell.x, foot, cell.width, tall)
                if cell.below:
                    self._write(pen, x, foot - _BELOW_FIGURE - cell.below[0].voice.lead, cell, cell.below)
        if self.draw is not None:
            self.draw(pen, x, top - self.pad)

    @staticmethod
    def _write(pen: Pen, x: float, y: float, cell: Cell, texts: Sequence[Text]) -> None:
        for nth, text in enumerate(texts):
            y -= text.voice.leading if nth else 0.0
            shift = {
                "left": 0.0,
                "right": cell.width - text.line.width,
                "middle": (cell.width - text.line.width) / 2,
            }[text.align]
            pen.write(text.line, x + cell.x + shift, y, text.voice)

    def _framed(self, pen: Pen, x: float, top: float, width: float, height: float) -> None:
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
        if used + _tall(group, bool(pages[-1])) > room and pages[-1]:
            turn(group[0].head)
            group = [group[0].opens or group[0], *group[1:]]
        for box in group:
            rest = box
            # A group higher than a page is broken where it must be; a box higher than a page likewise.
            while used + (rest.gap if pages[-1] else 0.0) + rest.height > room:
                opens = len(pages[-1]) <= (1 if rest.head is not None else 0)
                if not opens:
                    turn(rest.head)
                    continue
                upper, lower = rest.parted(room - used - (rest.gap if pages[-1] else 0.0))
                place(upper)
                if not any(cell.texts for cell in lower.cells):
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


def _tall(group: Sequence[Box], after_something: bool) -> float:
    return math.fsum(box.height for box in group) + math.fsum(
        box.gap for box in (group if after_something else group[1:])
    )
