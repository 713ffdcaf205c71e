"""A panel: words, figures and rules that stand where they were put, for what is no row of cells."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..model.figure import Figure
from .layout import Box, CellLine
from .pen import MM, PALE, Pen


@attrs.frozen(eq=False)
class SetLine:
    """One set line; `down` is from the panel's top to the line's own top."""

    x: float
    width: float
    down: float
    line: CellLine

    @property
    def foot(self) -> float:
        return self.down + self.line.voice.leading

    def raised(self, by: float) -> SetLine:
        return attrs.evolve(self, down=self.down - by)

    def draw(self, pen: Pen, x: float, top: float) -> None:
        spare = self.width - self.line.text.width
        shift = {"left": 0.0, "right": spare, "middle": spare / 2}[self.line.align]
        base = top - self.down - self.line.voice.lead
        pen.write(self.line.text, x + self.x + shift, base, self.line.voice)


@attrs.frozen(eq=False)
class SetFigure:
    """A figure in its room."""

    x: float
    width: float
    down: float
    figure: Figure

    @property
    def foot(self) -> float:
        return self.down + self.figure.height_mm * MM

    def raised(self, by: float) -> SetFigure:
        return attrs.evolve(self, down=self.down - by)

    def draw(self, pen: Pen, x: float, top: float) -> None:
        pen.figure(self.figure, x + self.x, top - self.foot, self.width, self.figure.height_mm * MM)


@attrs.frozen(eq=False)
class SetRule:
    """A straight line from (x, down) to (x_end, foot)."""

    x: float
    down: float
    x_end: float
    foot: float
    weight: float = 0.4
    colour: float = PALE

    def raised(self, by: float) -> SetRule:
        return attrs.evolve(self, down=self.down - by, foot=self.foot - by)

    def draw(self, pen: Pen, x: float, top: float) -> None:
        pen.rule(
            x + self.x,
            top - self.down,
            x + self.x_end,
            top - self.foot,
            weight=self.weight,
            colour=self.colour,
        )


Thing = SetLine | SetFigure | SetRule


@attrs.define
class Column:
    """A column of a panel while it is filled from the top.

    Attributes:
        x, width: Where it stands, from the left margin.
        down: How far it is filled.
        things: What stands in it.
    """

    x: float
    width: float
    down: float = 0.0
    things: list[Thing] = attrs.field(factory=list)

    def add(self, lines: Sequence[CellLine]) -> None:
        for line in lines:
            self.things.append(SetLine(self.x, self.width, self.down, line))
            self.down += line.voice.leading

    def add_figure(self, figure: Figure) -> None:
        self.things.append(SetFigure(self.x, self.width, self.down, figure))
        self.down += figure.height_mm * MM

    def add_at(self, x: float, line: CellLine) -> None:
        """A line whose left end stands `x` points into the column."""
        self.things.append(SetLine(self.x + x, line.text.width, self.down, line))
        self.down += line.voice.leading

    def skip(self, space: float) -> None:
        self.down += space


@attrs.define(eq=False, kw_only=True)
class Panel(Box):
    """A box whose words stand where they were put; it is `min_height` high, and drawn in order."""

    things: tuple[Thing, ...] = ()

    def split(self, room: float) -> tuple[Box, Box]:
        """What ends within `room`, and the rest moved up; a rule across the cut stands on both sides."""
        upper: list[Thing] = []
        lower: list[Thing] = []
        inner = room - 2 * self.pad
        start = min((thing.down for thing in self.things), default=0.0)
        for thing in self.things:
            if isinstance(thing, SetRule) and thing.down < inner < thing.foot:
                upper.append(attrs.evolve(thing, foot=inner))
                lower.append(attrs.evolve(thing, down=inner))
            else:
                # The first line goes on even where nothing fits: else it would never be set.
                fits = thing.foot <= inner or (not isinstance(thing, SetRule) and thing.down <= start)
                (upper if fits else lower).append(thing)
        cut = min((thing.down for thing in lower), default=inner)
        moved = tuple(thing.raised(cut) for thing in lower)
        foot = max((thing.foot for thing in upper), default=0.0)
        return (
            attrs.evolve(self, things=tuple(upper), min_height=foot, keep=False),
            attrs.evolve(
                self,
                things=moved,
                min_height=max(self.min_height - cut, 0.0),
                gap=0.0,
                rule=0.0,
                bookmark=None,
            ),
        )

    @property
    def is_empty(self) -> bool:
        return not any(isinstance(thing, SetLine | SetFigure) for thing in self.things)

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        if self.rule:
            pen.rule(x, top, x + width, top, weight=self.rule, colour=self.rule_colour)
        for thing in self.things:
            thing.draw(pen, x, top - self.pad)
        if self.decoration is not None:
            self.decoration(pen, x, top - self.pad)


def panel(*columns: Column, gap: float = 0.0, pad: float = 0.0, rule: float = 0.0) -> Panel:
    """The columns side by side, drawn and so read one after the other."""
    return Panel(
        things=tuple(thing for column in columns for thing in column.things),
        min_height=max((column.down for column in columns), default=0.0),
        gap=gap,
        pad=pad,
        rule=rule,
    )
