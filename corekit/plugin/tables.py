"""Printed tables read between their rows, and only there."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

Rows = Sequence[tuple[float, float]]


def interpolate(x: float, rows: Rows) -> float:
    """Linear between the rows (x, y), which rise in x.

    Raises:
        ValueError: x lies outside the table.

    >>> interpolate(15.0, [(10.0, 1.0), (20.0, 2.0)])
    1.5
    """
    if not rows[0][0] <= x <= rows[-1][0]:
        raise ValueError(f"{x:g} lies outside the table, which runs from {rows[0][0]:g} to {rows[-1][0]:g}.")
    place = max(1, bisect_left(rows, x, key=lambda row: row[0]))
    (x0, y0), (x1, y1) = rows[place - 1], rows[place]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


def interpolate_clamped(x: float, rows: Rows) -> float:
    """Like `interpolate`, with the end rows holding beyond the ends.

    >>> interpolate_clamped(99.0, [(10.0, 1.0), (20.0, 2.0)])
    2.0
    """
    return interpolate(min(max(x, rows[0][0]), rows[-1][0]), rows)
