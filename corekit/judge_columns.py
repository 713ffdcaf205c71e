"""Conformity of whole columns of readings: the rule of `judge`, the same operations in the same order, so
that no verdict differs.

For logs and bench series. numpy comes with the extra `columns` (`pip install corekit[columns]`); nothing else
in corekit imports this.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import attrs

try:
    import numpy as np
except ImportError as error:  # pragma: no cover
    raise ImportError(
        "Columns need numpy, which is not installed; install corekit[columns], or judge each reading by"
        " corekit.judge.conform."
    ) from error

from .judge import REACH, Z, lean
from .model.finding import Verdict
from .model.limit import Limit

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

#: What the numbers of a column of verdicts mean: `VERDICTS[code]`.
VERDICTS = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS)
_CODE = {verdict: code for code, verdict in enumerate(VERDICTS)}
#: Rows worked on at a time, so that what they need stays in the processor's cache.
BLOCK = 16_384


@attrs.frozen(kw_only=True)
class Ends:
    """A limit for columns: ends in the coherent unit, each one number or a column, with its standard
    uncertainty: half the width of a limit on file, and what a computed one rests on.

    The uncertainty of an end is taken as independent of the readings'. Where they share a source, judge the
    margin itself: give value − end as the column, its own uncertainty as `u`, and 0 as the end.
    """

    low: ArrayLike | None = None
    high: ArrayLike | None = None
    u_low: ArrayLike = 0.0
    u_high: ArrayLike = 0.0

    @classmethod
    def of(cls, limit: Limit) -> Ends:
        """The ends of a limit, each with how well it is known."""
        low, high = limit.low, limit.high
        return cls(
            low=None if low is None else low.number,
            high=None if high is None else high.number,
            u_low=0.0 if low is None else low.u,
            u_high=0.0 if high is None else high.u,
        )

    def __attrs_post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise ValueError("A limit needs a low end, a high end or both.")


def leanings(numbers: ArrayLike, u: ArrayLike, ends: Ends) -> NDArray[np.int8]:
    """What the numbers of each row say, as an index into `VERDICTS`.

    Whether the limit decides or only advises is for the caller.

    Args:
        numbers: Values in the coherent unit. u: Their standard uncertainties, one for all or one for each.

    Raises:
        ValueError: a row is not finite, an uncertainty is negative, a low end lies above its high end, or
            lengths differ; the row is named.
    """
    value = np.atleast_1d(np.asarray(numbers, dtype=np.float64))
    if value.ndim != 1:
        raise ValueError(f"Readings come as one column; got an array of {value.ndim} dimensions.")
    columns = [
        _column("u", u, len(value)),
        _column("low", ends.low, len(value)),
        _column("u_low", ends.u_low, len(value)),
    ]
    columns += [_column("high", ends.high, len(value)), _column("u_high", ends.u_high, len(value))]
    found = np.empty(len(value), dtype=np.int8)
    for start in range(0, len(value), BLOCK):
        rows = slice(start, start + BLOCK)
        u_, low, u_low, high, u_high = (
            column if column is None or column.ndim == 0 else column[rows] for column in columns
        )
        assert u_ is not None and u_low is not None and u_high is not None
        _refuse(start, value[rows], u_, low, u_low, high, u_high)
        found[rows] = _block(value[rows], u_, low, u_low, high, u_high)
    return found


def _column(name: str, given: ArrayLike | None, rows: int) -> NDArray[np.float64] | None:
    if given is None:
        return None
    column = np.asarray(given, dtype=np.float64)
    if column.ndim > 1 or (column.ndim == 1 and len(column) != rows):
        raise ValueError(f"{name}: one number, or one for each of the {rows} readings; got {column.shape}.")
    return column


def _refuse(
    start: int,
    value: NDArray[np.float64],
    u: NDArray[np.float64],
    low: NDArray[np.float64] | None,
    u_low: NDArray[np.float64],
    high: NDArray[np.float64] | None,
    u_high: NDArray[np.float64],
) -> None:
    """Refuses what a Value or a Limit would refuse, naming the first row."""
    wrong: list[tuple[str, NDArray[np.bool_]]] = [("a value must be finite", ~np.isfinite(value))]
    for name, uncertainty in (("u", u), ("u_low", u_low), ("u_high", u_high)):
        wrong.append(
            (f"{name} must be finite and not negative", ~((uncertainty >= 0) & (uncertainty < np.inf)))
        )
    for name, end in (("low", low), ("high", high)):
        if end is not None:
            wrong.append((f"{name} must be finite", ~np.isfinite(end)))
    if low is not None and high is not None:
        wrong.append(("the low end must not lie above the high one", low > high))
    for words, rows in wrong:
        if rows.any():
            raise ValueError(f"Row {start + int(np.argmax(np.broadcast_to(rows, value.shape)))}: {words}.")


def _block(
    value: NDArray[np.float64],
    u: NDArray[np.float64],
    low: NDArray[np.float64] | None,
    u_low: NDArray[np.float64],
    high: NDArray[np.float64] | None,
    u_high: NDArray[np.float64],
) -> NDArray[np.int8]:
    if low is None or high is None:
        margin = value - low if low is not None else high - value  # type: ignore[operator]
        return _one_sided(margin, _root(u, u_low if low is not None else u_high))
    above, u_above = value - low, _root(u, u_low)
    below, u_below = high - value, _root(u, u_high)
    far_below = below >= REACH * u_below
    # Where the high end is out of reach the low one decides, else the high one. Of rows that reach both,
    # those go through the scalar rule that come near one of its thresholds: two uncertainties outside an end
    # is a fail (2.3 %) and two inside both a pass (95.4 %) in any case.
    found = np.where(far_below, _one_sided(above, u_above), _one_sided(below, u_below))
    both = np.flatnonzero(~(far_below | (above >= REACH * u_above)))
    if both.size:
        a, ua, b, ub = (
            np.broadcast_to(column, value.shape)[both] for column in (above, u_above, below, u_below)
        )
        outside, inside = (a <= -2 * ua) | (b <= -2 * ub), (a >= 2 * ua) & (b >= 2 * ub)
        found[both] = np.where(outside, 0, 2)
        near = np.flatnonzero(~(outside | inside))
        found[both[near]] = [
            _CODE[lean(*row)]
            for row in zip(
                a[near].tolist(), ua[near].tolist(), b[near].tolist(), ub[near].tolist(), strict=True
            )
        ]
    return found


def _one_sided(margin: NDArray[np.float64], u: NDArray[np.float64]) -> NDArray[np.int8]:
    guard = Z * u
    passes, not_failed = (
        margin >= guard,
        margin > -guard,
    )  # on the limit itself and without uncertainty it passes, though not above -0
    codes: NDArray[np.int8] = np.maximum(passes.view(np.int8) << 1, not_failed.view(np.int8))
    return codes


def _root(u: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    """The uncertainty of a margin, by the same root of squares as a Value's budget (also where a square is
    too small for a float).
    """
    return np.sqrt(u * u) if other.ndim == 0 and other == 0 else np.sqrt(u * u + other * other)
