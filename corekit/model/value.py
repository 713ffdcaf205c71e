"""A number with a kind and a budget of uncertainty."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence

import attrs


@attrs.frozen
class Value:
    """A quantity in its kind's coherent unit, with the uncertainty it carries and the entries it rests on.

    Attributes:
        kind: Key of the table of kinds (`voltage`, `time`, `pressure gauge` …).
        number: The value in the kind's coherent unit.
        budget: Named error source → its signed standard uncertainty, in the same unit. Two values that name
            the same source are correlated through it. Names use entry ids, never running numbers or `id()`.
        rests_on: Ids of every entry that went into the value, also those without a contribution: the
            evidence.

    Source: JCGM 100:2008 clause 5 (law of propagation of uncertainty), from memory; key: gum.
    """

    kind: str
    number: float
    budget: Mapping[str, float] = attrs.field(factory=dict)
    rests_on: frozenset[str] = frozenset()

    def __attrs_post_init__(self) -> None:
        if not math.isfinite(self.number):
            raise ValueError(f"A value must be a finite number; got {self.number!r} for {self.kind}.")
        endless = [source for source, part in self.budget.items() if not math.isfinite(part)]
        if endless:
            raise ValueError(
                f"The uncertainty of a value must be finite; {endless[0]} of this {self.kind} is"
                f" {self.budget[endless[0]]!r}."
            )

    @property
    def u(self) -> float:
        """Standard uncertainty: the root of the squares of the budget."""
        return math.sqrt(math.fsum(part * part for part in self.budget.values()))

    def __sub__(self, other: Value) -> Value:
        """The difference; its slopes are 1 and -1 exactly, so nothing is lost to a finite step."""
        kind = _difference_of(self.kind, other.kind)
        budget = dict(self.budget)
        for source, part in other.budget.items():
            budget[source] = budget.get(source, 0.0) - part
        return Value(kind, self.number - other.number, budget, self.rests_on | other.rests_on)


def exact(kind: str, number: float, rests_on: Iterable[str] = ()) -> Value:
    """A value without uncertainty, for constants and printed limits."""
    return Value(kind, number, {}, frozenset(rests_on))


# Kinds whose difference is a kind of its own: 5 °C less 3 °C is 2 K, not 2 °C.
_DIFFERENCES = {
    "temperature": "temperature difference",
    "pressure gauge": "pressure difference",
    "pressure absolute": "pressure difference",
}


def _difference_of(kind: str, other: str) -> str:
    if kind != other:
        raise ValueError(f"A {other} cannot be taken from a {kind}.")
    return _DIFFERENCES.get(kind, kind)


def propagate(function: Callable[..., float], values: Sequence[Value], kind: str) -> Value:
    """Apply a function of floats to values and carry the uncertainty along.

    The slope by each value is a finite step of one standard uncertainty to both sides (JCGM 100:2008, 5.1.3
    note 2); where one side leaves the function's domain (ValueError, division by zero, overflow) the other
    side is used alone; where both steps change the result the same way (an extremum) the larger change
    counts, because the slope there is blind.

    Raises:
        ValueError: the function refuses the values themselves, or both steps.
    """
    numbers = [value.number for value in values]
    try:
        centre = function(*numbers)
    except ArithmeticError as error:
        raise ValueError(
            f"Nothing can be computed from {', '.join(f'{number:g}' for number in numbers)}: {error}."
        ) from error
    budget: dict[str, float] = {}
    for place, value in enumerate(values):
        if value.u == 0.0:
            continue
        slope = _slope(function, numbers, place, value.u, centre)
        for source, part in value.budget.items():
            budget[source] = budget.get(source, 0.0) + slope * part
    rests_on = frozenset[str]().union(*(value.rests_on for value in values))
    return Value(kind, centre, budget, rests_on)


def _slope(
    function: Callable[..., float], numbers: list[float], place: int, step: float, centre: float
) -> float:
    def moved(by: float) -> float | None:
        shifted = list(numbers)
        shifted[place] += by
        try:
            result = function(*shifted)
        except (ValueError, ArithmeticError):
            return None
        return result if math.isfinite(result) else None

    up, down = moved(step), moved(-step)
    if up is None and down is None:
        raise ValueError(
            "The uncertainty of an input reaches outside the range of the calculation on both sides."
        )
    if up is None:
        assert down is not None
        return (centre - down) / step
    if down is None:
        return (up - centre) / step
    rise, fall = up - centre, centre - down
    if rise * fall < 0:
        return max(abs(rise), abs(fall)) / step
    return (up - down) / (2 * step)
