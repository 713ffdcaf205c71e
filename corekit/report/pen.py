"""The pen that draws on a page: words in a voice, rules, figures and the code's dark squares."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

import attrs

from ..model.figure import Band, Dot, Figure, Label, Polyline
from ..model.jpeg import Jpeg
from .fonts import TextLine, Typeface, set_line
from .pdf_file import PdfFile, spoken_instead

PAPERS = {"A4": (595.276, 841.890), "letter": (612.0, 792.0)}  # points
MM = 72 / 25.4
#: How dark the three voices are, 0 is black: what is said, what explains it, rules.
BLACK, GREY, PALE = 0.0, 0.32, 0.72
#: Stands for the theme's ink in place of a grey.
INK = -1.0


@attrs.frozen
class Voice:
    """How words are set: the face's style, size of letters and of lines in points, how dark."""

    style: str
    size: float
    leading: float
    colour: float = BLACK

    @property
    def lead(self) -> float:
        """From the top of a line down to its baseline."""
        return self.size * 0.74 + (self.leading - self.size) / 2


_NUMBERS = "regular"


class Pen:
    """Draws on one page of a file; origin at the lower left, points.

    Lines and areas go to the page at once, words are gathered and set last, in the order they came: that
    order is the order in which a reader program speaks them.
    """

    def __init__(self, file: PdfFile, ink: tuple[float, float, float]) -> None:
        self._file, self._ink = file, ink
        self._draw = file.draw
        self._state: dict[str, str] = {}
        self._line: tuple[float, float, int, bool] | None = None
        self._words: list[str] = []
        self._draw("/Artifact BMC")
        self._colour: float | None = None
        self._font: tuple[Typeface, int, float] | None = None

    def write(self, line: TextLine, x: float, y: float, voice: Voice) -> None:
        if not line.runs:
            return
        add = self._words.append
        if voice.colour != self._colour:
            add(
                "{:.3f} {:.3f} {:.3f} rg".format(*self._ink)
                if voice.colour == INK
                else f"{voice.colour:.3g} g"
            )
            self._colour = voice.colour
        add(f"1 0 0 1 {x:.2f} {y:.2f} Tm")
        if line.text:
            add(spoken_instead(line.text))
        for face, text in line.runs:
            for subset, codes in self._file.subsets_of(face.font, text):
                if (face, subset, voice.size) != self._font:
                    add(f"{self._file.resource_name(face.font, subset)} {voice.size:g} Tf")
                    self._font = face, subset, voice.size
                add(f"<{codes.hex()}> Tj")
        if line.text:
            add("EMC")

    def rule(
        self, x0: float, y0: float, x1: float, y1: float, *, weight: float = 0.4, colour: float = PALE
    ) -> None:
        self._stroke(weight, colour)
        self._draw(f"{x0:.2f} {y0:.2f} m {x1:.2f} {y1:.2f} l S")

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
                self._draw(f"{at} re f")
            elif isinstance(mark, Polyline):
                self._stroke(mark.weight, BLACK, dashed=mark.dashed)
                steps = [f"{x + px * across:.2f} {y + py * up:.2f}" for px, py in mark.points]
                self._draw(" ".join([f"{steps[0]} m", *[f"{step} l" for step in steps[1:]], "S"]))
            elif isinstance(mark, Dot):
                self._dot(x + mark.x * across, y + mark.y * up, mark)
            else:
                self._label(mark, x + mark.x * across, y + mark.y * up, (x, x + width))

    def _dot(self, x: float, y: float, dot: Dot) -> None:
        # A line of no length with round ends is a disc (ISO 32000-1, 8.5.3.2): a tenth of what four curves
        # take.
        disc = f"{x:.2f} {y:.2f} m {x:.2f} {y:.2f} l S"
        self._stroke(dot.size, BLACK, cap=1)
        self._draw(disc)
        if not dot.filled:
            self._stroke(dot.size - 1.8, 1.0, cap=1)
            self._draw(disc)

    def _label(self, label: Label, x: float, y: float, room: tuple[float, float]) -> None:
        """Words at a point, moved inwards where they would leave the figure's room."""
        line = set_line([(label.text, True)], _NUMBERS, label.size)
        shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[label.anchor]
        start, end = room
        at = max(min(x - shift * line.width, end - line.width), start)
        self.write(line, at, y, Voice(_NUMBERS, label.size, label.size, GREY))

    def _set(self, what: str, operator: str) -> None:
        if self._state.get(what) != operator:
            self._draw(operator)
            self._state[what] = operator

    def _stroke(self, weight: float, colour: float, *, cap: int = 0, dashed: bool = False) -> None:
        line = weight, colour, cap, dashed
        if line == self._line:
            return
        self._line = line
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
        self._draw(f"q 0 g {module:.6f} 0 0 {module:.6f} {x:.3f} {y_top:.3f} cm {squares} f Q")

    def photo(self, picture: Jpeg, x: float, y: float, width: float, height: float) -> None:
        """A photo into the room whose lower left is (x, y); what it shows is said in words beside it."""
        name = self._file.photo_name(picture)
        self._draw(f"q {width:.2f} 0 0 {height:.2f} {x:.2f} {y:.2f} cm {name} Do Q")

    @contextmanager
    def element(self, begin: Callable[[], str]) -> Iterator[None]:
        """What is written meanwhile is one element; `begin` gives the operator that begins it, where anything
        was written.
        """
        start = len(self._words)
        yield
        if len(self._words) > start:
            self._words.insert(start, begin())
            self._words.append("EMC")

    def set_words(self) -> None:
        """Sets the words that were gathered, after everything else on the page, which is no text to read."""
        self._draw("EMC")
        self._draw(f"BT {' '.join(self._words)} ET")
