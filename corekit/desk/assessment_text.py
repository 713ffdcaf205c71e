"""An assessment in words for the mechanic, and as data for programs.

Both print each number exactly as paper does.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from typing import Any

from .. import units
from ..assess.suspect import Call, NextTest
from ..billing.waiver import waivers
from ..judge import conform
from ..model.finding import Finding, Gap, Reason, Verdict
from ..model.job import Job, stage_name
from ..model.limit import Limit
from ..model.measurand import Measurand, Observation, Trait
from ..model.records import WAIVED_CHARGES
from ..model.value import Value
from ..plugin.limit_words import limit_with_basis, limit_words, uncertainty_at_most
from ..plugin.reading import Reading
from ..plugin.uncertainty import overdue, shares
from ..report.findings import code_sentences
from ..report.next_tests import asks_for_codes, named_tests
from ..report.noted import OwnWords, is_noted, own_words, unanswered
from .check import CheckView

WIDTH = 100
NEXT_SHOWN = 4  # tests shown with hazard and step; the others by their question
LEAST_SHARE = 0.005  # of an uncertainty; smaller ones are only counted


def as_words(seen: CheckView, *, uncertainty: bool = False) -> str:
    """Findings most urgent first, then gaps, suspects and next tests with hazard before step; with
    `uncertainty` also where theirs comes from.
    """
    assessment = seen.assessment
    many = len(assessment.readings) > 1
    parts = [f"{assessment.job.name}: " + _tally(seen)]
    if seen.set_aside:
        parts.append(
            "Set aside, not judged: settle each before the file is added (correct it, confirm it, or leave"
            " the row out). Rows are counted from 0.\n"
            + "\n".join(_item(str(fault)) for fault in seen.set_aside)
        )
    if seen.remarks:
        parts.append("Warnings\n" + "\n".join(_item(remark) for remark in seen.remarks))
    if assessment.findings:
        now = assessment.current
        before = [finding for finding in assessment.findings if finding not in now]
        parts += ["Findings\n" + "\n".join(_finding(finding, many, seen) for finding in now)] if now else []
        parts += (
            ["Findings of earlier stages\n" + "\n".join(_finding(finding, many, seen) for finding in before)]
            if before
            else []
        )
    if uncertainty:
        parts.append(
            "Where the uncertainty comes from, largest share first\n" + "\n".join(_uncertainties(seen))
        )
    codes = code_sentences(assessment.job)
    if codes:
        parts.append("Trouble codes read\n" + "\n".join(_item(sentence) for sentence in codes))
    noted = own_words(assessment.job)
    if noted:
        parts.append("Noted in words\n" + "\n".join(_item(_own_words(one, seen)) for one in noted))
    stands = _where_it_stands(seen)
    if stands:
        parts.append("Where the job stands\n" + "\n".join(map(_item, stands)))
    if assessment.repairs:
        parts.append(
            "Repairs\n"
            + "\n".join(
                _item(f"{repair.title}: {repair.proof}.", repair.why) for repair in assessment.repairs
            )
        )
    if assessment.open_gaps:
        parts.append("Not evaluated\n" + "\n".join(_gaps(seen)))
    if assessment.not_repeated:
        names = ", ".join(gap.check for gap in assessment.not_repeated)
        parts.append("Not looked at again since the last repair\n" + _item(names))
    if assessment.contradictions:
        parts.append(
            "Conflicting readings\n" + "\n".join(_item(odd.text) for odd in assessment.contradictions)
        )
    if assessment.suspects:
        parts.append(
            "Likely causes, from the fault table and the readings (estimates; for you, not for the customer's"
            " documents)\n" + "\n".join(_suspects(seen))
        )
    calls = assessment.calls_at(assessment.job.stage)
    if calls:
        parts.append("Work that findings call for\n" + "\n".join(_call(seen, call) for call in calls))
    parts += _what_next(seen)
    too_long = _to_make(seen, assessment.too_long)
    if too_long:
        parts.append(
            "Too long for the time left\n"
            + "\n".join(_item(f"{test.question}{_time(test)}") for test in too_long)
        )
    return printable("\n\n".join(parts))


def _what_next(seen: CheckView) -> Iterator[str]:
    """What was noted in words and nobody has answered, then the tests."""
    open_words = unanswered(seen.assessment)
    if open_words:
        yield (
            "Noted in words and not answered yet (answer with a reading or an answer of its list, or write"
            ' cleared = "…" beside the words)\n'
            + "\n".join(_item(_own_words(one, seen)) for one in open_words)
        )
    tests = _to_make(seen, seen.assessment.next_tests)
    if tests:
        shown = [_test(seen, n, test) for n, test in enumerate(tests[:NEXT_SHOWN], 1)]
        later = "; ".join(_plain(test.question) for test in tests[NEXT_SHOWN:])
        yield "Next test\n" + "\n".join([*shown, *([_item(f"After these: {later}.")] if later else [])])


def _to_make(seen: CheckView, tests: Iterable[NextTest]) -> list[NextTest]:
    """The tests without those that name nothing, and those that ask for codes which were read."""
    read = seen.assessment.job.codes_by_list(seen.assessment.job.stage)
    return [
        test for test in named_tests(tests) if not ("stored" in read and asks_for_codes(test, seen.plugins))
    ]


def _own_words(one: OwnWords, seen: CheckView) -> str:
    title = seen.plugins.title(one.of) if one.of else "Remark"
    when = f" ({stage_name(one.stage)})" if seen.assessment.job.stage else ""
    place = f", {one.place}" if one.place else ""
    answer = f" Answered: {one.cleared}" if one.cleared else ""
    return f"{title}{place}{when}: {one.text(seen.texts) or 'removed'}{answer}"


def _where_it_stands(seen: CheckView) -> list[str]:
    """What waits, why the job was left open, how it ended, what is not charged."""
    job = seen.assessment.job
    lines = []
    for noted in job.waiting:
        begun = noted.record
        title = seen.plugins.title(begun.of)
        since = f", begun {noted.entry.taken}" if noted.entry.taken else ""
        lines.append(
            f"Waiting: {title}{f', {begun.place}' if begun.place else ''}, {begun.wait_typed}{since}"
        )
    if job.left_open is not None and job.ended is None:
        left = job.left_open.record
        lines.append(f"Left open: {left.because}{f', back on {left.back}' if left.back else ''}")
    if job.ended is not None:
        lines.append(f"Ended: {job.ended.record.how}, {job.ended.record.because}")
    for what, note in waivers(job).items():
        lines.append(f"{what.capitalize() if what in WAIVED_CHARGES else seen.plugins.title(what)}: {note}")
    return lines


def printable(text: str) -> str:
    """What a terminal may be given: no control characters from anybody's file."""
    return "".join(character if character == "\n" or character.isprintable() else "�" for character in text)


def _tally(seen: CheckView) -> str:
    counts: dict[str, int] = {}
    for finding in seen.assessment.current:
        counts[str(finding.verdict)] = counts.get(str(finding.verdict), 0) + 1
    tally = ", ".join(f"{counts[verdict]} {verdict}" for verdict in map(str, Verdict) if verdict in counts)
    return tally or "no findings yet"


def _finding(finding: Finding, many: bool, seen: CheckView) -> str:
    when = f" ({stage_name(finding.stage)})" if many else ""
    lines = [f"{finding.verdict}{when}, {finding.urgency}: {finding.text}"]
    beside = []
    for limit in finding.limits[:1]:
        weak = "" if limit.decides else "; it only advises"
        beside.append(f"limit {limit_with_basis(limit, finding.unit)} ({limit.source.named}{weak})")
    if finding.probability is not None and finding.limits:
        beside.append(f"{_likely(finding.probability)} likely to conform")
    needed = _needed(finding)
    if needed:
        beside.append(f"read to {needed} (k = 2) or better, the same value would be decided")
    beside += [f"read with {instrument}" for instrument in overdue(finding.evidence, _readings(seen))]
    return _item(*lines, "; ".join(beside))


def _likely(probability: float) -> str:
    """A probability that is never said to be nothing or everything."""
    ends = "less than 0.1 %" if probability < 0.001 else "more than 99.9 %" if probability > 0.999 else ""
    return ends or f"{100 * probability:.1f} %"


def _needed(finding: Finding) -> str:
    """The uncertainty with which an open finding's value would be decided; empty where it is decided, or
    where nothing could.
    """
    if (
        finding.verdict is not Verdict.UNDECIDED
        or finding.value is None
        or not finding.limits
        or finding.probability is None
    ):
        return ""
    judged = conform(finding.value, finding.limits[0])
    return uncertainty_at_most(judged.needed, finding.unit) if judged.needed and not judged.unfit else ""


def _readings(seen: CheckView) -> list[Reading]:
    return [reading for stage in seen.assessment.readings for reading in stage]


def _uncertainties(seen: CheckView) -> Iterator[str]:
    """Of every judged value its budget in plain words, and at last what else bears on the readings."""
    many, readings = len(seen.assessment.readings) > 1, _readings(seen)
    for finding in seen.assessment.findings:
        rows = shares(finding.value, readings) if finding.value is not None else []
        if finding.value is None or not rows:
            continue
        when = f" ({stage_name(finding.stage)})" if many else ""
        rows_shown = [
            f"{row.part:>4.0%}  {units.show_uncertainty(row.u, finding.unit)}  {row.words}"
            for row in rows
            if row.part >= LEAST_SHARE
        ]
        rest = len(rows) - len(rows_shown)
        yield _item(
            f"{finding.check}{when}: {units.show(finding.value, finding.unit)}",
            *rows_shown,
            *([f"      and {rest} smaller"] if rest else []),
        )
    for one in dict.fromkeys(
        (one.measurand.title, one.typed.strip(), one.notes)
        for reading in readings
        for one in (reading, *reading.setup.values())
    ):
        if one[2]:
            yield _item(f"{one[0]}, {one[1]}: {'; '.join(one[2])}.")


def _suspects(seen: CheckView) -> list[str]:
    """Likeliest first, each system by itself: their tables know nothing of each other."""
    rows = []
    for key, system in seen.plugins.systems.items():
        own = [
            suspect
            for suspect in seen.assessment.suspects
            if suspect.system == key and suspect.probability >= 0.01
        ]
        rows += (
            [
                f"  {system.title}",
                *(f"    {100 * suspect.probability:>5.1f} %  {suspect.name}" for suspect in own),
            ]
            if own
            else []
        )
    return rows


def _gaps(seen: CheckView) -> list[str]:
    """Of each system what was not read or looked at, in one list; then whatever has more to say."""
    missing: dict[str, dict[str, None]] = {}
    for gap in seen.assessment.open_gaps:
        if gap.about and not is_noted(gap, seen.assessment.job):
            missing.setdefault(gap.system, {})[gap.about] = None
    rows = [
        _item(f"{seen.plugins.systems[system].title}, not looked at: {', '.join(names)}.")
        for system, names in missing.items()
    ]
    return rows + [_item(_gap(gap)) for gap in seen.assessment.open_gaps if not gap.about]


def _gap(gap: Gap) -> str:
    return gap.text if gap.reason is Reason.NOT_MEASURED else f"{gap.text} ({gap.reason})"


def _call(seen: CheckView, call: Call) -> str:
    return _item(
        f"{seen.plugins.operations[call.operation].title}: "
        + ("ready for an estimate." if call.met else "not yet."),
        call.why,
    )


def _test(seen: CheckView, number: int, test: NextTest) -> str:
    wanted = _wanted(seen, test.wants)
    lines = [f"{number}. {test.question}{_time(test)}"]
    lines += ["Again: the first attempt was inconclusive."] if test.repeat else []
    lines += (
        [f"It may read wrong now, because of an earlier test: {test.spoiled_by}"] if test.spoiled_by else []
    )
    if wanted is not None:
        lines += [f"Caution: {wanted.hazard}"] if not isinstance(wanted, Trait) and wanted.hazard else []
        where = wanted.where if isinstance(wanted, Measurand) else ""
        lines += [" ".join(part for part in (where, wanted.how) if part)] if where or wanted.how else []
        at = f', place = "{test.place}"' if test.place else ""
        lines.append(
            f'Write it down under [traits] as "{wanted.key}".'
            if isinstance(wanted, Trait)
            else f'Write it down as of = "{wanted.key}"{at}.'
        )
    elif asks_for_codes(test, seen.plugins):
        read = seen.assessment.job.codes_by_list(seen.assessment.job.stage)
        lists = ", ".join(f"{state} = [ … ]" for state in ("stored", "pending") if state not in read)
        lines.append(f"Write it down as codes = {{ {lists} }}, an empty list as [].")
    return _item(*lines)


def _plain(question: str) -> str:
    words = question.rstrip("?.")
    return words[:1].lower() + words[1:] if words[1:2].islower() else words


def _time(test: NextTest) -> str:
    if test.waits:
        return (
            f" Start now, read later: about {test.minutes:g} min of work and {test.waits:g} min of waiting."
        )
    return f" About {test.minutes:g} min." if test.minutes else ""


def _wanted(seen: CheckView, key: str) -> Measurand | Observation | Trait | None:
    plugins = seen.plugins
    return plugins.measurands.get(key) or plugins.observations.get(key) or plugins.traits.get(key)


def _item(first: str, *more: str) -> str:
    rows = textwrap.wrap(first, WIDTH, initial_indent="  ", subsequent_indent="    ")
    for line in more:
        rows += textwrap.wrap(line, WIDTH, initial_indent="      ", subsequent_indent="      ")
    return "\n".join(rows)


def as_data(seen: CheckView) -> dict[str, Any]:
    """Everything as plain data: what was set aside, remarks, what was noted in words, findings, gaps,
    contradictions, suspects, next_tests, readings, repairs, calls; numbers also as printed (`shown`).
    """
    assessment = seen.assessment
    return {
        "job": assessment.job.name,
        "set_aside": [fault.data for fault in seen.set_aside],
        "remarks": list(seen.remarks),
        "noted": _noted_data(seen),
        "findings": [_finding_data(finding, seen) for finding in assessment.findings],
        "gaps": [
            {
                "system": gap.system,
                "check": gap.check,
                "reason": str(gap.reason),
                "text": gap.text,
                "stage": stage_name(gap.stage),
                "wants": gap.wants,
            }
            for gap in assessment.gaps
            if not (gap.about and is_noted(gap, assessment.job))
        ],
        "suspects": [
            {
                "system": suspect.system,
                "fault": suspect.fault,
                "name": suspect.name,
                "probability": suspect.probability,
                "calls_for": suspect.calls_for,
            }
            for suspect in assessment.suspects
        ],
        "contradictions": [
            {
                "system": odd.system,
                "stage": stage_name(odd.stage),
                "oddity": str(odd.oddity),
                "text": odd.text,
                "of": odd.of,
                "wants": odd.wants,
                "places": list(odd.places),
                "fit": odd.fit,
                "evidence": list(odd.evidence),
            }
            for odd in assessment.contradictions
        ],
        "next_tests": [_test_data(test) for test in _to_make(seen, assessment.next_tests)],
        "too_long": [_test_data(test) for test in _to_make(seen, assessment.too_long)],
        "calls": [
            {"operation": call.operation, "met": call.met, "why": call.why, "stage": stage_name(call.stage)}
            for call in assessment.calls
        ],
        "repairs": [
            {
                "operation": repair.operation,
                "title": repair.title,
                "stage": stage_name(repair.stage),
                "proof": str(repair.proof),
                "why": repair.why,
            }
            for repair in assessment.repairs
        ],
        "readings": [_reading_data(reading, seen) for stage in assessment.readings for reading in stage],
        "codes": [row for stage in assessment.job.stages for row in _codes_data(assessment.job, stage)],
        "versions": assessment.versions,
    }


def _noted_data(seen: CheckView) -> list[dict[str, Any]]:
    waiting = {one.entry for one in unanswered(seen.assessment)}
    return [
        {
            "of": one.of,
            "place": one.place,
            "stage": stage_name(one.stage),
            "words": one.text(seen.texts),
            "cleared": one.cleared,
            "answered": one.entry not in waiting,
        }
        for one in own_words(seen.assessment.job)
    ]


def _codes_data(job: Job, stage: int) -> list[dict[str, Any]]:
    read = [
        {"stage": stage_name(stage), "state": state, "codes": list(codes), "cannot": ""}
        for state, codes in job.codes_by_list(stage).items()
    ]
    return read or [
        {"stage": stage_name(stage), "state": "", "codes": [], "cannot": noted.record.cannot}
        for noted in job.codes_read(stage)
    ]


def _test_data(test: NextTest) -> dict[str, Any]:
    return {
        "system": test.system,
        "test": test.key,
        "question": test.question,
        "minutes": test.minutes,
        "waits": test.waits,
        "bits": test.bits,
        "wants": test.wants,
        "place": test.place,
        "repeat": test.repeat,
        "spoiled_by": test.spoiled_by,
    }


def _finding_data(finding: Finding, seen: CheckView) -> dict[str, Any]:
    return {
        "system": finding.system,
        "code": finding.code,
        "verdict": str(finding.verdict),
        "probability": finding.probability,
        "urgency": str(finding.urgency),
        "text": str(finding.text),
        "stage": stage_name(finding.stage),
        "place": finding.place,
        "of": finding.of,
        "value": None if finding.value is None else _value_data(finding.value, finding.unit, seen),
        "evidence": list(finding.evidence),
        "limits": [_limit_data(limit, finding.unit) for limit in finding.limits],
        "calls_for": finding.calls_for,
        "next_test": finding.next_test,
        "rule": finding.rule,
    }


def _value_data(value: Value, unit: str, seen: CheckView) -> dict[str, Any]:
    rows = shares(value, _readings(seen))
    budget = [{"source": row.source, "u": row.u, "part": row.part, "words": row.words} for row in rows]
    return {
        "kind": value.kind,
        "number": value.number,
        "u": value.u,
        "shown": units.show(value, unit),
        "budget": budget,
    }


def _limit_data(limit: Limit, unit: str) -> dict[str, Any]:
    return {
        "key": limit.key,
        "shown": limit_words(limit, unit),
        "low": limit.low.number if limit.low else None,
        "high": limit.high.number if limit.high else None,
        "scope": str(limit.scope),
        "decides": limit.decides,
        "width_low": 2 * limit.low.u if limit.low else None,
        "width_high": 2 * limit.high.u if limit.high else None,
        "why": limit.why,
        "source": limit.source.named,
        "basis": str(limit.source.basis),
        "status": str(limit.source.status),
    }


def _reading_data(reading: Reading, seen: CheckView) -> dict[str, Any]:
    return {
        "of": reading.measurand.key,
        "title": reading.measurand.title,
        "place": reading.place,
        "stage": stage_name(reading.stage),
        "typed": reading.typed,
        "entry": reading.entry,
        "uncertainty_from": reading.uncertainty_from,
        "count": reading.count,
        "overdue": reading.overdue,
        "series": [
            {
                "typed": one.typed,
                "entry": one.entry,
                "with": {key: beside.typed for key, beside in one.setup.items()},
                **_value_data(one.value, one.measurand.unit, seen),
            }
            for one in reading.with_series[:-1]
        ],
        **_value_data(reading.value, reading.measurand.unit, seen),
    }
