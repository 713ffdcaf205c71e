"""Figure: a small vector picture as a value, which PDF, page and terminal each draw in their own way."""

from __future__ import annotations

import attrs


@attrs.frozen
class Polyline:
    """A line through points [(x, y), …] in user units; `weight` in points of print; `dashed` for what is
    expected, not measured.
    """

    points: tuple[tuple[float, float], ...]
    weight: float = 0.8
    dashed: bool = False


@attrs.frozen
class Band:
    """A filled area from (x0, y0) to (x1, y1): the allowed span, a range. `shade` 0 is white, 1 is black."""

    x0: float
    y0: float
    x1: float
    y1: float
    shade: float = 0.15


@attrs.frozen
class Dot:
    """A reading: full or hollow."""

    x: float
    y: float
    filled: bool = True
    size: float = 4.0


@attrs.frozen
class Label:
    """Words at a point; `anchor` is start, middle or end."""

    x: float
    y: float
    text: str
    anchor: str = "middle"
    size: float = 7.0


Mark = Polyline | Band | Dot | Label


@attrs.frozen(kw_only=True)
class Figure:
    """A picture in user units, origin at the lower left.

    Attributes:
        width, height: The picture's extent in user units; a renderer scales it to the room it has, keeping
            `height_mm`.
        height_mm: How tall it stands on paper.
        title: What it shows. description: The same for somebody who cannot see it; a terminal prints it.
    """

    width: float
    height: float
    height_mm: float
    title: str
    description: str
    marks: tuple[Mark, ...] = ()


@attrs.frozen(kw_only=True)
class Strip:
    """A limit strip: a thin scale, the allowed span on it, the reading as a dot with its uncertainty as a
    whisker.

    Numbers are in `unit`, as printed. `before` is the arrival reading, drawn hollow when there is a later
    one.
    """

    unit: str
    low_end: float
    high_end: float
    allowed_low: float | None = None
    allowed_high: float | None = None
    reading: float
    uncertainty: float
    before: float | None = None
    before_uncertainty: float = 0.0
