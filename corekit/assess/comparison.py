"""Before and after: one quantity's first reading held against its latest."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import StrEnum

import attrs

from ..model.finding import Finding
from ..model.limit import Limit
from ..plugin.reading import Reading


class Change(StrEnum):
    """A later reading held against the arrival reading, with both uncertainties."""

    IMPROVED = "improved"
    WORSE = "worse"
    UNCHANGED = "unchanged"
    CHANGED = "changed"
    CANNOT_TELL = "cannot tell"


@attrs.frozen(kw_only=True)
class Comparison:
    """One quantity before and after: the arrival reading and the latest later one."""

    before: Reading
    after: Reading
    change: Change


def first_and_latest(readings: Iterable[Iterable[Reading]]) -> dict[tuple[str, str], tuple[Reading, Reading]]:
    """(measurand, place) → its first reading and its latest one, the same where it was read at one stage.

    Args:
        readings: Of each stage, the stages in order.
    """
    pairs: dict[tuple[str, str], tuple[Reading, Reading]] = {}
    for stage in readings:
        for reading in stage:
            key = (reading.measurand.key, reading.place)
            pairs[key] = (pairs[key][0] if key in pairs else reading, reading)
    return pairs


def comparisons(readings: Iterable[Iterable[Reading]], findings: Sequence[Finding]) -> list[Comparison]:
    """Every quantity read at one stage and again at a later one: the first against the latest."""
    return [
        Comparison(before=before, after=after, change=_change(before, after, findings))
        for before, after in first_and_latest(readings).values()
        if after.stage > before.stage
    ]


def _change(before: Reading, after: Reading, findings: Sequence[Finding]) -> Change:
    """Did it move by more than both uncertainties explain (k = 2), and towards the limit's inside or
    away from it?
    """
    gap = after.value - before.value
    if abs(gap.number) <= 2 * gap.u:
        narrow = gap.u == 0 or gap.number == 0 or abs(before.number) > 20 * gap.u
        return Change.UNCHANGED if narrow else Change.CANNOT_TELL
    first, last = (_judging(reading, findings) for reading in (before, after))
    if first is None or last is None or first.probability is None or last.probability is None:
        return Change.CHANGED
    if abs(first.probability - last.probability) >= 0.01:
        return Change.IMPROVED if last.probability > first.probability else Change.WORSE
    (side, short), (other_side, still_short) = (
        _shortfall(before, first.limits[0]),
        _shortfall(after, last.limits[0]),
    )
    if not side or side != other_side:
        return Change.CHANGED  # inside both times, or out at one end and then at the other: neither is better
    return Change.IMPROVED if still_short < short else Change.WORSE


def _judging(reading: Reading, findings: Sequence[Finding]) -> Finding | None:
    """The finding by which some check held this very reading against a limit."""
    return next(
        (
            one
            for one in findings
            if one.value == reading.value and one.probability is not None and one.limits
        ),
        None,
    )


def _shortfall(reading: Reading, limit: Limit) -> tuple[str, float]:
    """Beyond which end of its limit a reading lies (`low`, `high`, or neither) and how far."""
    if limit.low is not None and reading.number < limit.low.number:
        return "low", limit.low.number - reading.number
    if limit.high is not None and reading.number > limit.high.number:
        return "high", reading.number - limit.high.number
    return "", 0.0
