"""Conformity: a value and a limit in, a verdict out (JCGM 106).

The verdict compares the margin (value − limit, both with their doubt, shared sources cancelling) with 1.645 times its standard
uncertainty, so a one-sided limit is passed wrongly in at most 5 % of cases even when the truth lies exactly on it.

Source: JCGM 106:2012 clauses 7.3, 7.4 and 8.3 (from memory); the quantile is `statistics.NormalDist().inv_cdf(0.95)`.
"""

from __future__ import annotations

import math

import attrs

from .model.finding import Verdict
from .model.limit import Limit
from .model.value import Value

Z = 1.6448536269514722  # standard normal quantile of 95 %
PASS_AT, FAIL_AT = 0.95, 0.05
RULE = "pass when the reading lies inside the limit with at least 95 % probability, fail at 5 % or less, undecided between"


@attrs.frozen(kw_only=True)
class Judged:
    """The outcome of one comparison.

    Attributes:
        verdict: `pass`, `fail`, `undecided`; `advice` when the limit is too weak to decide anything.
        leans: What the numbers alone say, whatever the limit is worth; never `advice`.
        probability: That the true value conforms, 0 … 1.
        unfit: The doubt is so wide against a two-sided limit that no reading could ever pass, not even one in its middle.
    """

    verdict: Verdict
    leans: Verdict
    probability: float
    unfit: bool = False


def conform(value: Value, limit: Limit) -> Judged:
    """Does the value conform to the limit?

    Errors:
        ValueError: value and limit are of different kinds.
    """
    margins = []
    if limit.low is not None:
        margins.append(value - limit.low)
    if limit.high is not None:
        margins.append(limit.high - value)
    chances = [_chance(margin) for margin in margins]
    probability = min(1.0, max(0.0, sum(chances) - (len(chances) - 1)))
    if len(margins) == 1:
        leans = _one_sided(margins[0])
    elif probability >= PASS_AT:
        leans = Verdict.PASS
    elif probability <= FAIL_AT:
        leans = Verdict.FAIL
    else:
        leans = Verdict.UNDECIDED
    return Judged(
        verdict=leans if limit.decides else Verdict.ADVICE,
        leans=leans,
        probability=probability,
        unfit=_unfit(limit, margins),
    )


def _one_sided(margin: Value) -> Verdict:
    guard = Z * margin.u
    if margin.number >= guard:
        return Verdict.PASS
    if margin.number <= -guard:
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


def normal(z: float) -> float:
    """Cumulative standard normal distribution."""
    return 0.5 * math.erfc(-z / math.sqrt(2))
