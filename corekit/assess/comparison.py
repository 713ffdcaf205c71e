"""Before and after: one quantity's first reading held against its latest."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import StrEnum

import attrs

from ..model.finding import Finding
from ..model.limit import Limit
from ..model.value import Value
from ..plugin.reading import Reading


class Change(StrEnum):
    """A later reading held against the arrival reading, with both uncertainties."""

    IMPROVED = "improved"
    WORSE = "worse"
    UNCHANGED = "unchanged"
    CHANGED = "changed"
    CANNOT_TELL = "too close to tell apart"


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
    judged = _findings_of_both(before, after, findings)
    held = (before.value, after.value) if judged is None else (_value(judged[0]), _value(judged[1]))
    gap = held[1] - held[0]
    if abs(gap.number) <= 2 * gap.u:
        narrow = gap.number == 0 or abs(held[0].number) > 20 * gap.u
        return Change.UNCHANGED if narrow else Change.CANNOT_TELL
    if judged is None:
        return Change.CHANGED
    first, last = judged
    assert first.probability is not None and last.probability is not None
    if abs(first.probability - last.probability) >= 0.01:
        return Change.IMPROVED if last.probability > first.probability else Change.WORSE
    (side, short), (other_side, still_short) = (
        _shortfall(first, first.limits[0]),
        _shortfall(last, last.limits[0]),
    )
    if not side or side != other_side:
        return Change.CHANGED  # inside both times, or out at one end and then at the other: neither is better
    return Change.IMPROVED if still_short < short else Change.WORSE


def _findings_of_both(
    before: Reading, after: Reading, findings: Sequence[Finding]
) -> tuple[Finding, Finding] | None:
    """The findings by which some check held these very readings against a limit; else those of one code that
    held against it what they formed of them and of others: a rise of pressure, of its two readings.
    """
    first, last = _finding_of(before, findings), _finding_of(after, findings)
    if first and last:
        return first, last
    codes = {one.code: one for one in _findings_of(after, findings)}
    pairs = [(one, codes[one.code]) for one in _findings_of(before, findings) if one.code in codes]
    return next((pair for pair in pairs if _value(pair[0]).kind == _value(pair[1]).kind), None)


def _finding_of(reading: Reading, findings: Sequence[Finding]) -> Finding | None:
    return next((one for one in _with_limit(findings) if one.value == reading.value), None)


def _findings_of(reading: Reading, findings: Sequence[Finding]) -> list[Finding]:
    about = (reading.measurand.key, reading.place, reading.stage)
    return [
        one
        for one in _with_limit(findings)
        if (one.of, one.place, one.stage) == about and reading.entry in one.evidence
    ]


def _with_limit(findings: Sequence[Finding]) -> list[Finding]:
    return [one for one in findings if one.value is not None and one.probability is not None and one.limits]


def _value(finding: Finding) -> Value:
    assert finding.value is not None
    return finding.value


def _shortfall(finding: Finding, limit: Limit) -> tuple[str, float]:
    """Beyond which end of its limit a judged value lies (`low`, `high`, or neither) and how far."""
    number = _value(finding).number
    if limit.low is not None and number < limit.low.number:
        return "low", limit.low.number - number
    if limit.high is not None and number > limit.high.number:
        return "high", number - limit.high.number
    return "", 0.0
