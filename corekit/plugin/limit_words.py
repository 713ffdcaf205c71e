"""Limits in words, wherever one is printed: in sentences, on screens and on paper."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from decimal import ROUND_DOWN, Decimal
from enum import Enum

import attrs

from .. import units
from ..judge_unknown import Together
from ..model.finding import Verdict
from ..model.limit import Limit, Scope
from ..model.measurand import Measurand
from ..model.possible import Unknown
from ..model.source import BASIS_WORDS
from ..model.value import Value, exact

#: So many different limits are named one by one.
FEW = 3


def limit_words(limit: Limit, unit: str) -> str:
    """`at least 9.6 V ± 0.6 V`, `at most 50 mA`, `13.5 V to 14.8 V ± 0.3 V`: how well it is known stands with
    it, at k = 2.
    """
    low, high = (("", "") if end is None else _end_words(end, unit) for end in (limit.low, limit.high))
    if low[0] and high[0]:
        return (
            f"{low[0]} to {high[0]}{high[1]}" if low[1] == high[1] else f"{''.join(low)} to {''.join(high)}"
        )
    return f"at least {''.join(low)}" if low[0] else f"at most {''.join(high)}"


def _end_words(end: Value, unit: str) -> tuple[str, str]:
    """An end as printed, and the ± behind it."""
    number, mark, width = units.show(end, unit).partition(" ± ")
    return number, f"{mark}{width}".removesuffix(" (k = 2)")


def limit_with_basis(limit: Limit, unit: str) -> str:
    """`common practice, at least 9.6 V ± 0.6 V`: whose figure it is stands before it."""
    whose = "this vehicle" if limit.scope is Scope.THIS_VEHICLE else BASIS_WORDS[limit.source.basis]
    return f"{whose}, {limit_words(limit, unit)}"


def possible_limit_words(together: Together, unit: str) -> str:
    """The limits that may hold: each, where there are few and they say different things; else their common
    part for what passes, and all that any of them allows for the rest.
    """
    if len(together.candidates) == 1:
        return limit_words(together.limit, unit)
    limits = [limit for _, limit in together.candidates]
    words = list(dict.fromkeys(limit_words(limit, unit) for limit in limits))
    if len(words) <= FEW:
        return " or ".join(words)
    return _joined_words(limits, unit, inner=together.judged.leans is Verdict.PASS)


def limit_by_answer(together: Together, unit: str) -> str:
    """The limits, each with the answers under which it holds."""
    asked = together.depends_on
    assert asked is not None
    groups: dict[Hashable, list[Limit]] = {}
    for given, limit in together.candidates:
        groups.setdefault(given.get(asked.key), []).append(limit)
    by_words: dict[str, list[str]] = {}
    for answer, limits in groups.items():
        words = _joined_words(limits, unit)
        by_words.setdefault(words, []).append(_answer_words(answer, asked))
    if len(by_words) == 1:
        return next(iter(by_words))
    return "; ".join(f"{words} ({', '.join(answers)})" for words, answers in by_words.items())


def _answer_words(answer: Hashable, asked: Unknown) -> str:
    if isinstance(asked, Measurand) and isinstance(answer, float):
        return units.show(exact(asked.kind, answer), asked.unit)
    return str(answer.value) if isinstance(answer, Enum) else "any other"


def _joined_words(limits: Sequence[Limit], unit: str, *, inner: bool = False) -> str:
    """One limit in place of several: what all allow (`inner`), or what any of them allows."""
    lows = [limit.low for limit in limits if limit.low is not None]
    highs = [limit.high for limit in limits if limit.high is not None]
    if not inner:  # an end that one of them has not got is open
        lows, highs = (ends if len(ends) == len(limits) else [] for ends in (lows, highs))
    if not lows and not highs:
        return " or ".join(dict.fromkeys(limit_words(limit, unit) for limit in limits))
    least, most = (max, min) if inner else (min, max)
    low = least(lows, key=lambda end: end.number) if lows else None
    high = most(highs, key=lambda end: end.number) if highs else None
    return limit_words(attrs.evolve(limits[0], low=low, high=high), unit)


def uncertainty_at_most(u: float, unit: str) -> str:
    """A standard uncertainty that must not be exceeded, as printed at k = 2: rounded down, so that what is
    printed is enough.
    """
    unit = units.shown_unit(unit)
    step = abs(units.from_coherent(u, unit) - units.from_coherent(0.0, unit))
    spread = Decimal(
        repr(2 * step * (1 + 1e-9))
    )  # what a scale's offset took of the last digits must not cost a whole one
    place = spread.adjusted() - (0 if spread.as_tuple().digits[0] >= 3 else 1)
    down = float(spread.quantize(Decimal(1).scaleb(place), ROUND_DOWN))
    return units.show_uncertainty((units.to_coherent(down, unit) - units.to_coherent(0.0, unit)) / 2, unit)
