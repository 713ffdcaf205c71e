"""Readings as a paper or a screen shows them: what was read, the limit it was held against, and the limit
strip.
"""

from __future__ import annotations

import re

from .. import units
from ..account.answer import lower_first
from ..assess.assessment import Assessment
from ..assess.comparison import Change, Comparison, first_and_latest
from ..judge import RULE
from ..model.document import ReadingRow
from ..model.figure import Strip
from ..model.finding import Finding
from ..model.job import stage_name
from ..model.limit import Limit
from ..model.measurand import Measurand
from ..model.value import Value
from ..plugin.limit_words import limit_with_basis
from ..plugin.reading import WORST, Reading


def reading_rows(assessment: Assessment) -> list[ReadingRow]:
    """One row for every quantity and place: its first reading, its latest later one, limit,
    source and strip.
    """
    compared = {(pair.before.measurand.key, pair.before.place): pair for pair in assessment.comparisons}
    rows, last_conditions = [], ""
    for key, (before, latest) in first_and_latest(assessment.readings).items():
        pair = compared.get(key)
        conditions = _conditions(before, pair.after if pair else None)
        rows.append(
            _row(
                before,
                pair,
                judging_finding(latest, assessment),
                "as above" if conditions == last_conditions != "" else conditions,
                late=f"read {stage_words(before.stage, assessment)}" if before.stage else "",
            )
        )
        last_conditions = conditions
    return rows


def row_of(reading: Reading, assessment: Assessment) -> ReadingRow:
    """The row of one reading of an assessment, as a screen shows it while it is being typed.

    Where the quantity was read at an earlier stage too, that reading stands before it, on the strip as the
    hollow dot.
    """
    pair = next((pair for pair in assessment.comparisons if _is_same_reading(pair.after, reading)), None)
    before, after = (pair.before, pair.after) if pair else (reading, None)
    late = f"read {stage_words(before.stage, assessment)}" if before.stage else ""
    return _row(before, pair, judging_finding(reading, assessment), _conditions(before, after), late=late)


def stage_words(stage: int, assessment: Assessment) -> str:
    """When in the visit: on arrival, or after which work."""
    done = [repair.title for repair in assessment.repairs if repair.stage == stage]
    if stage == 0 or not done:
        return "on arrival" if stage == 0 else stage_name(stage)
    return f"after: {done[0][:1].lower()}{done[0][1:]}"


def _row(
    before: Reading, pair: Comparison | None, finding: Finding | None, conditions: str, *, late: str
) -> ReadingRow:
    """A row; `late` says when it was read first, where that was not on arrival."""
    after = pair.after if pair else None
    measurand = before.measurand
    limit = finding.limits[0] if finding else None
    series = [_series(reading) for reading in (before, after) if reading is not None]
    return ReadingRow(
        name=f"{measurand.title}, {before.place}" if before.place else measurand.title,
        before="" if before.stage and after is None else _reading_text(before),
        after=_reading_text(after) if after else _reading_text(before) if before.stage else "",
        limit=limit_with_basis(limit, measurand.unit) if limit else "",
        source=limit.source.named if limit else "",
        note="; ".join(
            part for part in (late, conditions, *series, _repeats(before, after), _change(pair)) if part
        ),
        strip=strip_of(measurand, before, after, limit) if limit else None,
    )


def _reading_text(reading: Reading) -> str:
    """As it is printed in a row; for what probability its ± stands, `how_read` says once."""
    return reading.shown.replace(" (k = 2)", "")


def _is_same_reading(first: Reading, other: Reading) -> bool:
    return (first.measurand.key, first.place, first.stage) == (other.measurand.key, other.place, other.stage)


def judging_finding(reading: Reading, assessment: Assessment) -> Finding | None:
    """The finding that held this very reading, or another of its series, against a limit, not something
    computed from it.
    """
    values = [one.value for one in reading.with_series[::-1]]
    judged = [finding for finding in assessment.findings if finding.limits]
    return next((finding for value in values for finding in judged if finding.value == value), None)


def _conditions(before: Reading, after: Reading | None) -> str:
    texts = [_setup(before)]
    if after is not None and _setup(after) != texts[0]:
        texts.append(f"after: {_setup(after)}")
    return "; ".join(text for text in texts if text)


def _setup(reading: Reading) -> str:
    return ", ".join(
        f"{lower_first(beside.measurand.title)}"
        f" {units.show(beside.value, beside.measurand.unit, uncertainty=False)}"
        for beside in reading.setup.values()
        if beside.measurand.key != reading.measurand.key
    )


def _series(reading: Reading) -> str:
    """What else was read of it, under other conditions or before something was done."""
    return "; ".join(
        f"also read{f', {when}' if when else ''}: {_reading_text(one)}"
        + (f" at {_setup(one)}" if one.setup else "")
        for when, several in (("before something was done", reading.before), ("", reading.apart))
        for one in several
        if one.stage == reading.stage
    )


def _repeats(before: Reading, after: Reading | None) -> str:
    counts = [reading.count for reading in (before, after) if reading is not None]
    return f"{' and '.join(str(count) for count in counts)} readings taken" if max(counts) > 1 else ""


def _change(pair: Comparison | None) -> str:
    """Towards the limit or away from it; that a reading is another one than before can be seen without a
    word.
    """
    return "" if pair is None or pair.change is Change.CHANGED else str(pair.change)


def strip_of(measurand: Measurand, before: Reading, after: Reading | None, limit: Limit) -> Strip:
    """The limit strip of a reading, in the unit it is printed in."""
    return _strip(measurand.unit, before.value, after.value if after else None, limit, measurand.possible.low)


def strip_of_finding(finding: Finding, assessment: Assessment) -> Strip | None:
    """The limit strip of what a finding judged, be it a reading or computed from several; None where there
    was nothing to hold against a limit.

    What the same check judged at the earliest stage before stands on it as the hollow dot.
    """
    if finding.value is None or not finding.limits:
        return None
    same = [
        other
        for other in assessment.findings
        if (other.code, other.place, other.unit) == (finding.code, finding.place, finding.unit)
    ]
    first = min(
        (other for other in same if other.stage < finding.stage and other.value is not None),
        key=lambda other: other.stage,
        default=None,
    )
    judged = [reading for stage in assessment.readings for reading in stage if reading.value == finding.value]
    floor = judged[0].measurand.possible.low if judged else None
    if first is None or first.value is None:
        return _strip(finding.unit, finding.value, None, finding.limits[0], floor)
    return _strip(finding.unit, first.value, finding.value, finding.limits[0], floor)


def _strip(unit: str, before: Value, after: Value | None, limit: Limit, least: float | None) -> Strip:
    """The strip of one value or two.

    Args:
        least: What is possible at least, in the coherent unit, where that is known: no scale goes below.
    """
    latest, unit = after or before, units.shown_unit(unit)

    def in_unit(number: float) -> float:
        return units.from_coherent(number, unit)

    def half_width(value: Value) -> float:
        return abs(in_unit(value.number + 2 * value.u) - in_unit(value.number))

    low = in_unit(limit.low.number) if limit.low else None
    high = in_unit(limit.high.number) if limit.high else None
    points = [
        in_unit(value.number) + sign * half_width(value)
        for value in {id(latest): latest, id(before): before}.values()
        for sign in (-1, 1)
    ]
    points += [end for end in (low, high) if end is not None]
    room = 0.25 * ((max(points) - min(points)) or abs(max(points)) or 1.0)
    floor = in_unit(least) if least is not None else None
    low_end, high_end = min(points) - room, max(points) + room
    read = [in_unit(value.number) for value in (before, latest)] + [
        end for end in (low, high) if end is not None
    ]
    return Strip(
        unit=units.declared_text(unit),
        low_end=low_end if floor is None else max(floor, low_end),
        # A share of a whole ends at the whole, unless something beyond it was read: nothing is fuller than
        # full.
        high_end=min(high_end, 100.0) if unit == "%" and max(read) <= 100.0 else high_end,
        allowed_low=low,
        allowed_high=high,
        reading=in_unit(latest.number),
        uncertainty=half_width(latest),
        before=in_unit(before.number) if after else None,
        before_uncertainty=half_width(before) if after else 0.0,
    )


def how_read(assessment: Assessment) -> str:
    """The rule, and where the uncertainty of the readings comes from: once, not at every reading."""
    readings = [reading for stage in assessment.readings for reading in stage]
    sheets = dict.fromkeys(re.sub(r" on the .* range$", "", reading.sheet) for reading in readings)
    named = [sheet for sheet in sheets if WORST not in sheet]
    sources = [f"from the data sheet of {'; '.join(named)}"] if named else []
    sources += ["from the worst ordinary instrument where none is named"] if len(named) < len(sheets) else []
    uncertainty = f"± gives the uncertainty of a reading at k = 2 (about 95 %), {' and '.join(sources)}."
    notes = dict.fromkeys(
        note for reading in readings for part in (reading, *reading.setup.values()) for note in part.notes
    )
    uncertainty += f" In addition: {'; '.join(notes)}." if notes else ""
    return f"{uncertainty} Rule: {RULE}. A limit from practice, memory or an estimate only advises."
