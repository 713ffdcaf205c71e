"""A small chart: two scales, and a way from readings to places on paper."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..model.figure import Dot, Figure, Label, Mark, Polyline

WIDTH, HEIGHT, LEFT, RIGHT, FOOT, HEAD = 160.0, 62.0, 13.0, 4.0, 14.0, 4.0


@attrs.frozen
class Chart:
    """Spans of both scales, in the units printed beside them."""

    x: tuple[float, float]
    y: tuple[float, float]

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A point on paper; what lies outside a scale is drawn at its end.

        >>> Chart(x=(0.0, 10.0), y=(0.0, 1.0)).at(0.0, 0.0)
        (13.0, 14.0)
        """
        across = min(max((x - self.x[0]) / (self.x[1] - self.x[0]), 0.0), 1.0)
        up = min(max((y - self.y[0]) / (self.y[1] - self.y[0]), 0.0), 1.0)
        return LEFT + across * (WIDTH - LEFT - RIGHT), FOOT + up * (HEIGHT - FOOT - HEAD)

    def line(
        self, points: Sequence[tuple[float, float]], weight: float = 0.8, dashed: bool = False
    ) -> Polyline:
        """A line through points of both scales; dashed for what is expected and not measured."""
        return Polyline(tuple(self.at(*point) for point in points), weight, dashed)

    def dot(self, x: float, y: float, uncertainty: float) -> tuple[Polyline, Dot]:
        """A reading with its whisker of `uncertainty` to both sides; two standard uncertainties as a rule."""
        return self.line([(x, y - uncertainty), (x, y + uncertainty)], 0.6), Dot(*self.at(x, y))

    def words(self, x: float, y: float, text: str, anchor: str = "start", lift: float = 0.0) -> Label:
        """Words at a point; `lift` moves them up on paper, so that they lie beside it."""
        left, foot = self.at(x, y)
        return Label(left, foot + lift, text, anchor)

    def scales(
        self, xs: Sequence[float], ys: Sequence[float], x_words: str, y_words: str
    ) -> tuple[Polyline | Label, ...]:
        """Both axes with their ticks and names."""
        (left, foot), (right, head) = self.at(self.x[0], self.y[0]), self.at(self.x[1], self.y[1])
        marks: list[Polyline | Label] = [Polyline(((left, head), (left, foot), (right, foot)), 0.5)]
        for x in xs:
            there, _ = self.at(x, self.y[0])
            marks += [
                Polyline(((there, foot), (there, foot - 1)), 0.4),
                Label(there, foot - 5.5, _tick(x), "middle", 6.5),
            ]
        for y in ys:
            _, there = self.at(self.x[0], y)
            marks += [
                Polyline(((left - 1, there), (left, there)), 0.4),
                Label(left - 2, there - 0.9, _tick(y), "end", 6.5),
            ]
        return (
            *marks,
            Label(right, 2.5, x_words, "end", 6.5),
            Label(left + 1.5, head + 1.2, y_words, "start", 6.5),
        )

    def figure(self, marks: Sequence[Mark], title: str, description: str) -> Figure:
        """The finished picture. `description` says the same for somebody who cannot see it."""
        return Figure(
            width=WIDTH,
            height=HEIGHT,
            height_mm=36.0,
            title=title,
            description=description,
            marks=tuple(marks),
        )


def _tick(value: float) -> str:
    return f"{value:g}".replace("-", "−")
