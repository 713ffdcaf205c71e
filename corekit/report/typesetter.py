"""The typesetter of one Document: its words in lines that fit the column, its columns, its tables."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import attrs

from ..model.document import Document, Words
from ..model.figure import Figure, Strip
from .fonts import Piece, TextLine, wrap
from .layout import Box, Cell, CellLine
from .measures import HAIRLINE, Measures
from .pen import INK, Voice
from .strip import scale_figure, strip_figure
from .text import Resolve, clean
from .wording import Wording

Column = tuple[float, float]  # where it starts, how wide it is; one that is not shown has no width

_BETWEEN_COLUMNS = 9.0
_BALANCED = 4  # lines at most of a text that is balanced
_SHORT_LAST = 0.4  # of the room: a last line shorter than this is too short


@attrs.frozen(kw_only=True)
class Typesetter:
    """Sets the words of one Document in certain measures.

    Attributes:
        document: What is set.
        resolve: What references to personal text become.
        wording: The words that renderers add.
        measures: Voices and distances.
        width: Of the sheet between its margins, in points.
        strict: Every glyph of our own texts must be in the face; else any may fall back.
    """

    document: Document
    resolve: Resolve
    wording: Wording
    measures: Measures
    width: float
    strict: bool = False
    _strips: dict[tuple[Strip, str], Figure] = attrs.field(factory=dict, repr=False)
    _scales: dict[tuple[Strip, str, float, bool], Figure] = attrs.field(factory=dict, repr=False)

    def pieces(self, words: Words) -> list[Piece]:
        """A run of words for `lines`, personal references resolved; those may always fall back."""
        return [
            (clean(run, lines=True), not self.strict)
            if isinstance(run, str)
            else (clean(self.resolve(run), lines=True), True)
            for run in words
        ]

    def own(
        self, text: str, voice: Voice, room: float, align: str = "left", *, balanced: bool = False
    ) -> tuple[CellLine, ...]:
        """A text that is ours, though a typed word may stand in it: where strictness is asked for, every
        glyph must be in the face.
        """
        return self.lines([(clean(text), not self.strict)], voice, room, align, balanced=balanced)

    def typed(self, text: str, voice: Voice, room: float, *, balanced: bool = False) -> tuple[CellLine, ...]:
        """A text that a person may have typed as a whole."""
        return self.lines([(clean(text), True)], voice, room, balanced=balanced)

    def lines(
        self,
        pieces: Sequence[Piece],
        voice: Voice,
        room: float,
        align: str = "left",
        *,
        balanced: bool = False,
    ) -> tuple[CellLine, ...]:
        """The pieces in lines; of `balanced` ones the last is not short, so that no word stands alone."""
        found = wrap(pieces, voice.style, voice.size, room)
        if balanced and 1 < len(found) <= _BALANCED and found[-1].width < room * _SHORT_LAST:
            found = self._balanced(pieces, voice, room, found)
        return tuple([CellLine(line, voice, align) for line in found])

    @staticmethod
    def _balanced(
        pieces: Sequence[Piece], voice: Voice, room: float, found: list[TextLine]
    ) -> list[TextLine]:
        """As many lines in less room, so that the last is no longer short."""
        narrow, wide = sum(line.width for line in found) / len(found), room
        for _ in range(5):
            between = (narrow + wide) / 2
            tried = wrap(pieces, voice.style, voice.size, between)
            if len(tried) > len(found):
                narrow = between
                continue
            wide, found = between, tried
            if found[-1].width >= room * _SHORT_LAST:
                break
        return found

    def strip(self, strip: Strip, name: str) -> Figure:
        """The limit strip of what `name` says, in the height of these measures."""
        if (strip, name) not in self._strips:
            self._strips[strip, name] = strip_figure(strip, name)
        figure = self._strips[strip, name]
        return attrs.evolve(figure, height_mm=figure.height_mm * self.measures.strip)

    def scale(self, strip: Strip, name: str, room: float, *, numbered: bool) -> Figure:
        """The same as a wide scale, see `scale_figure`."""
        key = strip, name, room, numbered
        if key not in self._scales:
            self._scales[key] = scale_figure(strip, name, room=room, numbered=numbered)
        return self._scales[key]

    def columns(self, shares: Sequence[float]) -> list[Column]:
        """Columns with these shares of the width, white between those that are shown."""
        shown_count = sum(1 for share in shares if share)
        unit = (self.width - _BETWEEN_COLUMNS * (shown_count - 1)) / math.fsum(shares)
        columns: list[Column] = []
        x = 0.0
        for share in shares:
            columns.append((x, share * unit))
            x += share * unit + _BETWEEN_COLUMNS if share else 0.0
        return columns

    def table(
        self,
        titles: Sequence[str],
        columns: Sequence[Column],
        rows: Sequence[Box],
        *,
        right: Sequence[int],
    ) -> list[Box]:
        """The rows under a head that is repeated on a new page.

        Args:
            right: Which titles stand at the right edge of their column, by place.
        """
        head = self._head(titles, columns, right)
        for nth, row in enumerate(rows):
            row.head = head
            row.rule = HAIRLINE if nth else 0.0
        if len(rows) > 1:
            rows[-2].keep = True  # no row alone on the last page
        return [head, *rows]

    def _head(self, titles: Sequence[str], columns: Sequence[Column], right: Sequence[int]) -> Box:
        cells = tuple(
            Cell(
                *column,
                self.own(title, self.measures.table_head, column[1], "right" if nth in right else "left"),
            )
            for nth, (title, column) in enumerate(zip(titles, columns, strict=True))
            if column[1]
        )
        foot = max(len(cell.lines) for cell in cells) * self.measures.table_head.leading + 2.0
        end = self.width
        return Box(
            cells=cells,
            gap=3.0,
            pad=2.0,
            keep=True,
            decoration=lambda pen, x, top: pen.rule(
                x, top - foot, x + end, top - foot, weight=0.7, colour=INK
            ),
        )


@lru_cache(maxsize=64)
def bold(voice: Voice) -> Voice:
    """The same voice in the strong face."""
    return attrs.evolve(voice, style="strong")
