"""An assessment as plain data, for `corekit check --json` and other programs."""

from __future__ import annotations

from typing import Any

from .. import units
from ..account.noted import is_noted, own_words, unanswered_words
from ..assess.suspect import NextTest
from ..model.finding import Finding
from ..model.job import Job, stage_name
from ..model.limit import Limit
from ..model.value import Value
from ..plugin.limit_words import limit_words
from ..plugin.reading import Reading
from ..plugin.record import record_words
from ..plugin.uncertainty import shares
from ..report.records import records_of
from .brought import brought_lines
from .causes import chance_words, pair_of, visits_behind, visits_behind_finding
from .check import CheckView
from .complaint import complaint_data
from .next_step import again_words


def as_data(seen: CheckView) -> dict[str, Any]:
    """Everything as plain data: what was set aside, remarks, what was noted in words and what another shop's
    papers say, findings, gaps, contradictions, suspects, next_tests, readings, records, repairs, calls;
    numbers also as printed (`shown`).
    """
    assessment = seen.assessment
    return {
        "job": assessment.job.name,
        "set_aside": [fault.data for fault in seen.set_aside],
        "complaint": complaint_data(assessment.job, seen.plugins),
        "remarks": list(seen.remarks),
        "noted": _noted_data(seen),
        "brought": list(brought_lines(assessment.job)),
        "findings": [_finding_data(finding, seen) for finding in assessment.findings],
        "records": [
            {
                "of": record.sampling.key,
                "place": record.place,
                "stage": stage_name(record.stage),
                "text": record_words(record),
                "entry": record.entry,
            }
            for record in records_of(assessment.job, seen.plugins.records)
        ],
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
                "chance": chance_words(suspect.probability),
                "calls_for": suspect.calls_for,
                "refer": suspect.refer,
                "speaks_for": list(suspect.speaks_for),
                "speaks_against": list(suspect.speaks_against),
            }
            for suspect in assessment.suspects
        ],
        "pair": [
            {"system": one.system, "fault": one.fault, "name": one.name}
            for one in pair_of(assessment.suspects)
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
        "next_tests": [_test_data(test, seen) for test in seen.to_make(assessment.next_tests)],
        "too_long": [_test_data(test, seen) for test in seen.to_make(assessment.too_long)],
        "calls": [
            {
                "operation": call.operation,
                "met": call.met,
                "why": call.why,
                "chance": round(call.chance, 4),
                "learned": visits_behind(call.operation, seen.plugins),
                "stage": stage_name(call.stage),
            }
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
    waiting = {one.entry for one in unanswered_words(seen.assessment)}
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


def _test_data(test: NextTest, seen: CheckView) -> dict[str, Any]:
    return {
        "system": test.system,
        "test": test.key,
        "question": test.question,
        "minutes": test.minutes,
        "waits": test.waits,
        "bits": test.bits,
        "opens": test.opens,
        "wants": test.wants,
        "place": test.place,
        "repeat": test.repeat,
        "again": again_words(test, seen.assessment.job, seen.plugins),
        "spoiled_by": test.spoiled_by,
        "operation": test.operation,
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
        "learned": visits_behind_finding(finding, seen.plugins),
        "next_test": finding.next_test,
        "rule": finding.rule,
    }


def _value_data(value: Value, unit: str, seen: CheckView) -> dict[str, Any]:
    rows = shares(value, seen.readings, records_of(seen.assessment.job, seen.plugins.records))
    budget = [{"source": row.source, "u": row.u, "part": row.part, "words": row.words} for row in rows]
    return {
        "kind": value.kind,
        "number": value.number,
        "u": value.u,
        "shown": units.show(value, unit, as_typed=True),
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
