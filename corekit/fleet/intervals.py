"""Counts, shares and their 95 % intervals as ibis expressions of plain arithmetic, alike on every engine."""

from __future__ import annotations

import math

import ibis
from ibis.expr.types import NumericValue

#: Of the normal distribution, for 95 %.
Z = 1.959963984540054


def wilson(hits: NumericValue, of: NumericValue) -> tuple[NumericValue, NumericValue]:
    """The interval of a share (E. B. Wilson 1927, from memory), also of weighted counts."""
    count = of.cast("float64")
    share = hits.cast("float64") / count
    middle = (share + Z * Z / (2 * count)) / (1 + Z * Z / count)
    inside = share * (1 - share) / count + Z * Z / (4 * count * count)
    half = Z * ibis.greatest(inside, 0.0).sqrt() / (1 + Z * Z / count)
    return middle - half, middle + half


def bits(value: NumericValue) -> NumericValue:
    """The binary logarithm; the natural one is the same on every engine to the last digits but one."""
    return value.ln() / math.log(2)
