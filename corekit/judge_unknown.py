"""Conformity while something is unknown: the rule of `judge` for every candidate, and what all say together.

A trait that is not known leaves several limits: outside all of them fails, inside all passes, otherwise it
is undecided. A condition that was not read leaves both ends of its usual span: the same verdict at both, or
undecided. Between the two ends of a condition everything is possible as well, so a value that lies below the
limit at one end and above it at the other may lie inside; between two answers of a trait there is nothing.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence

import attrs

from .judge import FAIL_AT, PASS_AT, Judged, Side, conform, side
from .model.finding import Verdict
from .model.limit import Limit
from .model.measurand import Measurand
from .model.possible import Possible, Unknown, for_each
from .model.value import Value


@attrs.frozen(kw_only=True)
class Together:
    """What all candidates say together.

    Attributes:
        judged: As for one value and one limit; its probability is the least of what passes, the greatest of
            what fails, and the mean where they do not agree.
        value, limit: Of the candidate that decides: the one that lies nearest to saying something else.
        candidates: The answers and the limit of every candidate. values: Theirs, from the least to the most.
        depends_on: What to find out where the candidates do not agree; None where they do, also where each is
            too close to call.
    """

    judged: Judged
    value: Value
    limit: Limit
    candidates: tuple[tuple[Mapping[str, Hashable], Limit], ...]
    values: tuple[Value, ...]
    depends_on: Unknown | None = None


@attrs.frozen
class _Row:
    given: Mapping[str, Hashable]
    value: Value
    limit: Limit
    judged: Judged
    side: Side


def conform_together(value: Value | Possible[Value], limit: Limit | Possible[Limit]) -> Together:
    """Does the value conform to the limit, whatever is unknown?

    It passes where one of the limits that it lies inside decides, and fails only where all decide: a limit
    that only advises cannot fail a car, and not knowing whether it is the one that holds cannot either. What
    depends on something unknown is undecided, whatever the limits are worth.

    Raises:
        ValueError: a value and a limit are of different kinds.
    """
    if not isinstance(value, Possible) and not isinstance(limit, Possible):
        return Together(
            judged=conform(value, limit), value=value, limit=limit, candidates=(({}, limit),), values=(value,)
        )
    unknown, rows = _rows(value, limit)
    leans = _together(rows, unknown)
    decides = [row.limit.decides for row in rows]
    ruled = all(decides) if leans is Verdict.FAIL else any(decides)
    chances = [row.judged.probability for row in rows]
    if leans is Verdict.PASS:
        probability = min(chances)
    elif leans is Verdict.FAIL:
        probability = max(chances)
    else:
        # Nobody knows which holds, so each counts alike, and what is open does not look decided.
        probability = min(max(math.fsum(chances) / len(chances), FAIL_AT), PASS_AT)
    close = all(row.judged.leans is Verdict.UNDECIDED for row in rows)
    first = rows[chances.index(max(chances) if leans is Verdict.FAIL else min(chances))]
    one = first.judged if leans is first.judged.leans else None
    depends_on = _most_decisive(rows, unknown) if leans is Verdict.UNDECIDED and not close else None
    return Together(
        judged=Judged(
            verdict=leans if ruled or depends_on is not None else Verdict.ADVICE,
            leans=leans,
            probability=probability,
            unfit=one.unfit if one else False,
            needed=one.needed if one else None,
        ),
        value=first.value,
        limit=first.limit,
        candidates=tuple((row.given, row.limit) for row in rows),
        values=tuple(sorted((row.value for row in rows), key=lambda value: value.number)),
        depends_on=depends_on,
    )


def side_together(value: Value | Possible[Value], limit: Limit | Possible[Limit]) -> Side:
    """On which side the value lies, whatever is unknown; undecided where that depends on it."""
    if not isinstance(value, Possible) and not isinstance(limit, Possible):
        return side(value, limit)
    sides = {row.side for row in _rows(value, limit)[1]}
    return sides.pop() if len(sides) == 1 else Side.UNDECIDED


def _rows(
    value: Value | Possible[Value], limit: Limit | Possible[Limit]
) -> tuple[tuple[Unknown, ...], list[_Row]]:
    pairs = for_each(lambda one, other: (one, other), value, limit)
    if not isinstance(pairs, Possible):
        pairs = Possible((), (({}, pairs),))
    return pairs.unknown, [
        _Row(given, one, other, conform(one, other), side(one, other))
        for given, (one, other) in pairs.candidates
    ]


def _together(rows: Sequence[_Row], unknown: Sequence[Unknown]) -> Verdict:
    verdicts = {row.judged.leans for row in rows}
    if verdicts == {Verdict.PASS}:
        return Verdict.PASS
    conditions = {one.key for one in unknown if isinstance(one, Measurand)}
    sides: dict[Hashable, set[Side]] = {}
    for row in rows:
        traits = frozenset((key, answer) for key, answer in row.given.items() if key not in conditions)
        sides.setdefault(traits, set()).add(row.side)
    if verdicts == {Verdict.FAIL} and all(len(found) == 1 for found in sides.values()):
        return Verdict.FAIL
    return Verdict.UNDECIDED


def _most_decisive(rows: Sequence[_Row], unknown: Sequence[Unknown]) -> Unknown | None:
    """The unknown of whose answers most would decide; of equals the first."""

    def decided(one: Unknown) -> float:
        answers = list(dict.fromkeys(row.given[one.key] for row in rows if one.key in row.given))
        left = [[row for row in rows if row.given.get(one.key, answer) == answer] for answer in answers]
        return sum(_together(some, unknown) is not Verdict.UNDECIDED for some in left) / len(answers)

    return max(unknown, key=decided, default=None)
