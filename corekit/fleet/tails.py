"""Tails of the gamma distribution, and with it of Poisson counts and of chi-square."""

from __future__ import annotations

import math

_STEPS = 20_000
_SMALL = 1e-15


def gamma_above(shape: float, x: float) -> float:
    """The chance that a gamma variable of this shape is above x: the regularised upper incomplete gamma
    function (series and continued fraction as in M. Abramowitz and I. A. Stegun 1964, 6.5.29 and 6.5.31, from
    memory).

    >>> round(gamma_above(0.5, 3.841458820694124 / 2), 6)  # chi-square with 1 degree of freedom
    0.05
    """
    if x <= 0:
        return 1.0
    front = math.exp(shape * math.log(x) - x - math.lgamma(shape))
    if x < shape + 1:
        term = total = 1 / shape
        for n in range(1, _STEPS):
            term *= x / (shape + n)
            total += term
            if term < total * _SMALL:
                break
        return max(0.0, 1 - front * total)
    b = x + 1 - shape
    c, d = 1e300, 1 / b
    fraction = d
    for n in range(1, _STEPS):
        a = -n * (n - shape)
        b += 2
        d = 1 / (a * d + b)
        c = b + a / c
        change = c * d
        fraction *= change
        if abs(change - 1) < _SMALL:
            break
    return min(1.0, front * fraction)


def chi_square_above(degrees: int, x: float) -> float:
    """The chance that chi-square with so many degrees of freedom is above x."""
    return gamma_above(degrees / 2, x / 2)


def as_far(count: float, expected: float) -> float:
    """The chance that a Poisson count lies as far from what is expected, to either side, as this one; of
    weighted counts by the same function.
    """
    if expected <= 0:
        return 1.0 if count <= 0 else 0.0
    as_many = 1.0 - gamma_above(count, expected) if count > 0 else 1.0
    as_few = gamma_above(count + 1, expected)
    return min(1.0, 2 * min(as_many, as_few))
