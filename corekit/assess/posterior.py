"""Bayes' rule over a fault table, exactly: every fault alone, and every pair of faults that the
table names.
"""

from __future__ import annotations

import math
import random
from collections.abc import Collection, Iterator, Mapping, Sequence

from ..plugin.faults import FaultTable, FaultTest
from .outcome import Outcome

#: By how much a number of a table may be wrong.
WRONG_BY = 1.5

#: A number of the table and the factor it is moved by: ("weight", hypothesis) or ("p", test, hypothesis,
#: outcome).
Moved = Mapping[tuple[str, ...], float]


def posterior(table: FaultTable, shown: Sequence[Outcome], moved: Moved | None = None) -> dict[str, float]:
    """Probability of each hypothesis given the outcomes: each fault alone, `none` and `outside` included, and
    each pair. They sum to 1.
    """
    return normal(
        {
            key: log_weight(table, key, moved or {}) + sum(_terms(table, key, shown, moved or {}))
            for key in hypotheses(table)
        }
    )


def hypotheses(table: FaultTable) -> tuple[str, ...]:
    return (*table.faults, *table.pairs)


def marginals(table: FaultTable, chances: Mapping[str, float]) -> dict[str, float]:
    """Probability that each fault is there, alone or with another.

    Where two at once are likely these sum to more than 1.
    """
    found = dict.fromkeys(table.faults, 0.0)
    for key, chance in chances.items():
        for fault in table.of(key):
            found[fault] += chance
    return found


def share(table: FaultTable, chances: Mapping[str, float], faults: Collection[str]) -> float:
    """Probability that at least one of these faults is there."""
    return sum(chances[key] for key in hypotheses_with(table, faults))


def hypotheses_with(table: FaultTable, faults: Collection[str]) -> tuple[str, ...]:
    """The hypotheses that hold at least one of these faults."""
    return tuple(key for key in hypotheses(table) if any(fault in faults for fault in table.of(key)))


def log_weight(table: FaultTable, hypothesis: str, moved: Moved) -> float:
    weight = table.pairs[hypothesis].weight if hypothesis in table.pairs else table.faults[hypothesis].weight
    return math.log(weight * moved.get(("weight", hypothesis), 1.0))


def _terms(table: FaultTable, hypothesis: str, shown: Sequence[Outcome], moved: Moved) -> list[float]:
    return [_term(table, hypothesis, outcome, moved) for outcome in shown]


def _term(table: FaultTable, hypothesis: str, outcome: Outcome, moved: Moved) -> float:
    """Logarithm of the chance of what was shown; an uncertain outcome counts by its weights."""
    row = _row(table, outcome.test, hypothesis, moved) if moved else table.chances(outcome.test, hypothesis)
    return _log_of(outcome, row)


def _log_of(outcome: Outcome, row: Sequence[float]) -> float:
    return math.log(sum(weight * p for weight, p in zip(outcome.weights, row, strict=True)))


def _row(table: FaultTable, test: FaultTest, hypothesis: str, moved: Moved) -> tuple[float, ...]:
    """The chances of a test's outcomes with some numbers moved, each row summing to 1 again."""
    if hypothesis in table.pairs and hypothesis not in test.given:
        return test.together([_row(table, test, fault, moved) for fault in table.of(hypothesis)])
    return _scaled_row(
        test.likelihood(hypothesis),
        [moved.get(("p", test.key, hypothesis, name), 1.0) for name in test.outcomes],
    )


def _scaled_row(row: Sequence[float], factors: Sequence[float]) -> tuple[float, ...]:
    scaled = [p * factor for p, factor in zip(row, factors, strict=True)]
    whole = sum(scaled)
    return tuple([p / whole for p in scaled])


def normal(logs: Mapping[str, float]) -> dict[str, float]:
    """Probabilities that sum to 1, from logarithms of their ratios."""
    highest = max(logs.values())
    parts = {key: math.exp(log - highest) for key, log in logs.items()}
    whole = sum(parts.values())
    return {key: part / whole for key, part in parts.items()}


# ---- how far a wrong number could move it


def lowest_share(table: FaultTable, shown: Sequence[Outcome], faults: Collection[str]) -> float:
    """The least these faults hold with the table as it is, or with any one number that matters moved by the
    factor, one at a time.
    """
    terms = {key: _terms(table, key, shown, {}) for key in hypotheses(table)}
    logs = {key: log_weight(table, key, {}) + sum(terms[key]) for key in terms}
    held = hypotheses_with(table, faults)
    lowest = sum(map(normal(logs).__getitem__, held))
    for number, place, touched in _numbers(table, shown):
        for factor in (WRONG_BY, 1 / WRONG_BY):
            changed = dict(logs)
            for key in touched:
                if place is None:
                    changed[key] += math.log(factor)
                else:
                    changed[key] += _term(table, key, shown[place], {number: factor}) - terms[key][place]
            lowest = min(lowest, sum(map(normal(changed).__getitem__, held)))
    return lowest


def _numbers(
    table: FaultTable, shown: Sequence[Outcome]
) -> Iterator[tuple[tuple[str, ...], int | None, Sequence[str]]]:
    """Every number that matters: its name, the outcome it belongs to (None for a weight), the hypotheses that
    it touches.

    A fault without a row has a copy of `otherwise`: for it alone that may be wrong as well.
    """
    with_pairs = {
        fault: [fault, *(key for key, pair in table.pairs.items() if fault in pair.of)]
        for fault in table.faults
    }
    for key in hypotheses(table):
        yield ("weight", key), None, (key,)
    for place, outcome in enumerate(shown):
        test = outcome.test
        for name in test.outcomes:
            for fault, touched in with_pairs.items():
                yield ("p", test.key, fault, name), place, touched
            for key in table.pairs:
                if key in test.given:
                    yield ("p", test.key, key, name), place, (key,)


def perturbations(
    table: FaultTable, shown: Sequence[Outcome], times: int, seed: int = 20260701
) -> Iterator[dict[str, float]]:
    """Posteriors with every number of the table moved up or down by the factor at once, at random; the same
    at every run.
    """
    draw = random.Random(seed)
    factors = (WRONG_BY, 1 / WRONG_BY)
    weights = {key: log_weight(table, key, {}) for key in hypotheses(table)}
    plain = [_without_row(table, outcome.test) for outcome in shown]
    for _ in range(times):
        logs = {key: weight + math.log(draw.choice(factors)) for key, weight in weights.items()}
        for outcome, unmarked in zip(shown, plain, strict=True):
            test = outcome.test
            otherwise = _scaled_row(test.otherwise, draw.choices(factors, k=len(test.outcomes)))
            rows = {
                key: _scaled_row(row.p, draw.choices(factors, k=len(test.outcomes)))
                for key, row in test.given.items()
            }
            usual = _log_of(outcome, otherwise)
            for key in logs:
                if key in unmarked:
                    logs[key] += usual
                elif key in rows:
                    logs[key] += _log_of(outcome, rows[key])
                else:
                    logs[key] += _log_of(
                        outcome,
                        test.together([rows.get(fault, otherwise) for fault in table.of(key)], otherwise),
                    )
        yield normal(logs)


def _without_row(table: FaultTable, test: FaultTest) -> frozenset[str]:
    """The hypotheses under which a test shows what it shows otherwise: no row is theirs or one of their
    faults'.
    """
    return frozenset(
        key
        for key in hypotheses(table)
        if key not in test.given and not any(fault in test.given for fault in table.of(key))
    )
