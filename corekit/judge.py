"""Conformity: a value and a limit in, a verdict out (JCGM 106).

The verdict compares the margin (value − limit, both with their uncertainty, shared sources cancelling) with
1.645 times its standard uncertainty, so a one-sided limit is passed wrongly in at most 5 % of cases even when
the truth lies exactly on it. Half of a limit's width is its standard uncertainty. A two-sided limit whose far
end is out of reach is judged like a one-sided one; where both ends are in reach, by the probability of lying
between them. The same rule over columns of numbers stands in `judge_columns`; both do the same operations in
the same order. What is judged while something is unknown stands in `judge_unknown`.

Source: JCGM 106:2012 clauses 7.3, 7.4 and 8.3 (from memory); the quantile is
`statistics.NormalDist().inv_cdf(0.95)`.
"""

from __future__ import annotations

import math
from enum import Enum

import attrs

from .model.finding import Verdict
from .model.limit import Limit
from .model.value import Value

Z = 1.6448536269514722  # standard normal quantile of 95 %
PASS_AT, FAIL_AT = 0.95, 0.05
#: An end of a limit that lies this many standard uncertainties away is out of reach: beyond it is nothing
#: that a float could hold.
REACH = 9.0
# standard normal quantile of 97.5 %: the middle of a limit passes when half its width is this many u
MIDDLE = 1.9599639845400545
RULE = (
    "pass when the reading lies inside the limit with at least 95 % probability, fail at 5 % or less,"
    " undecided between; the uncertainty of the reading and of the limit both count"
)


@attrs.frozen(kw_only=True)
class Judged:
    """The outcome of one comparison.

    Attributes:
        verdict: `pass`, `fail`, `undecided`; `advice` when the limit only advises.
        leans: What the numbers alone say, whatever the limit is worth; never `advice`.
        probability: That the true value conforms, 0 … 1.
        unfit: The uncertainty is so wide against a two-sided limit that no reading could ever pass, not even
            one in its middle.
        needed: Of what is not decided the standard uncertainty of the reading that could decide it, in its
            coherent unit: where unfit for a reading in the middle, else for this very reading. None when it
            is decided, or when no instrument could: the reading lies on the limit itself, or the limit is
            known no better.
    """

    verdict: Verdict
    leans: Verdict
    probability: float
    unfit: bool = False
    needed: float | None = None


def conform(value: Value, limit: Limit) -> Judged:
    """Does the value conform to the limit?

    Raises:
        ValueError: value and limit are of different kinds.
    """
    low = value - limit.low if limit.low is not None else None
    high = limit.high - value if limit.high is not None else None
    margins = [margin for margin in (low, high) if margin is not None]
    leans = lean(*_plain(low), *_plain(high))
    chances = [_chance(margin) for margin in margins]
    unfit = _unfit(limit, margins)
    return Judged(
        verdict=leans if limit.decides else Verdict.ADVICE,
        leans=leans,
        probability=min(1.0, max(0.0, math.fsum(chances) - (len(chances) - 1))),
        unfit=unfit,
        needed=_needed_uncertainty(value, limit, margins, unfit)
        if leans is Verdict.UNDECIDED or unfit
        else None,
    )


class Side(Enum):
    """Where a value lies against a limit, the uncertainty of both counted in."""

    BELOW = "below"
    INSIDE = "inside"
    ABOVE = "above"
    UNDECIDED = "undecided"


def side(value: Value, limit: Limit) -> Side:
    """On which side of a limit a value lies, by the rule of `conform`.

    What fails at neither end by itself, because the limit is narrower than the uncertainty, is undecided.

    Raises:
        ValueError: value and limit are of different kinds.
    """
    low = _plain(value - limit.low if limit.low is not None else None)
    high = _plain(limit.high - value if limit.high is not None else None)
    leans = lean(*low, *high)
    if leans is Verdict.PASS:
        return Side.INSIDE
    if leans is Verdict.FAIL and _one_sided(*low) is Verdict.FAIL:
        return Side.BELOW
    if leans is Verdict.FAIL and _one_sided(*high) is Verdict.FAIL:
        return Side.ABOVE
    return Side.UNDECIDED


def _plain(margin: Value | None) -> tuple[float, float]:
    return (math.inf, 0.0) if margin is None else (margin.number, margin.u)


def lean(above: float, u_above: float, below: float, u_below: float) -> Verdict:
    """What the numbers say: how far the value lies above the low end and below the high end, each with its
    standard uncertainty.

    An end that is not there lies infinitely far away (`math.inf`, without uncertainty).
    """
    # Beyond REACH the far end's chance is 1.0 to the last bit, and the near margin alone decides.
    if below >= REACH * u_below:
        return _one_sided(above, u_above)
    if above >= REACH * u_above:
        return _one_sided(below, u_below)
    probability = (
        max(0.0, normal(above / u_above) + normal(below / u_below) - 1) if u_above and u_below else 0.0
    )
    if probability >= PASS_AT:
        return Verdict.PASS
    return Verdict.FAIL if probability <= FAIL_AT else Verdict.UNDECIDED


def _one_sided(margin: float, u: float) -> Verdict:
    guard = Z * u
    if margin >= guard:
        return Verdict.PASS
    if margin <= -guard:
        return Verdict.FAIL
    return Verdict.UNDECIDED


def _chance(margin: Value) -> float:
    if margin.u == 0.0:
        return 1.0 if margin.number >= 0.0 else 0.0
    return normal(margin.number / margin.u)


def _unfit(limit: Limit, margins: list[Value]) -> bool:
    if limit.low is None or limit.high is None:
        return False
    widest = max(margin.u for margin in margins)
    half = (limit.high.number - limit.low.number) / 2
    return widest > 0.0 and 2 * normal(half / widest) - 1 < PASS_AT


def _needed_uncertainty(value: Value, limit: Limit, margins: list[Value], unfit: bool) -> float | None:
    """The reading's own uncertainty with which the margin's would be small enough; what the limit
    brings in stays.
    """
    if unfit and limit.low is not None and limit.high is not None:
        margin, whole = (
            max(margins, key=lambda margin: margin.u),
            (limit.high.number - limit.low.number) / 2 / MIDDLE,
        )
    else:
        margin = min(margins, key=lambda margin: abs(margin.number))
        whole = abs(margin.number) / Z
        if any(abs(other.number) < REACH * whole for other in margins if other is not margin):
            whole = abs(margin.number) / MIDDLE  # the other end is in reach as well
    rest = max(0.0, margin.u**2 - value.u**2)  # of the limit; where both share sources it only helps
    room = whole**2 - rest
    return math.sqrt(room) if room > 0.0 else None


def passes_nothing(limit: Limit) -> bool:
    """True when the limit is known so badly that not even an exact reading could pass.

    Of a limit with a high end only, what passes must not lie below nothing: drops, currents and
    spreads are not negative.
    """
    low, high = limit.low, limit.high
    if low is not None and high is not None:
        return high.number - low.number < MIDDLE * (low.u + high.u)
    return low is None and high is not None and high.u > 0.0 and 0.0 < high.number <= Z * high.u


def normal(z: float) -> float:
    """Cumulative standard normal distribution."""
    return 0.5 * math.erfc(-z / math.sqrt(2))
