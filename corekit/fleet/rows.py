"""The rows of the published tables that one job gives; nothing of a person is asked for here but what tells
one vehicle from another, and that leaves as the id of a job.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from datetime import datetime
from typing import Any

import attrs

from ..assess.assessment import Assessment
from ..assess.proof import Proof
from ..assess.timeline import GONE
from ..complaints import CHECK_UP, SOMETHING_ELSE, symptoms, trials
from ..model.entry import Entry
from ..model.finding import Verdict
from ..model.job import Job, Noted
from ..model.measurand import answers_of
from ..model.own_work import is_own_work
from ..model.records import Approved, Estimated, InvoiceIssued, Repaired
from ..plugin.host import Plugins
from .outcomes import shown_outcomes
from .schema import Known

#: A row of a table of this name.
Row = tuple[str, dict[str, Any]]


def known_names(plugins: Plugins, ids: Set[str]) -> Known:
    """What the columns may name: all that the installed systems and the shared lists declare."""
    keys: set[str] = {*plugins.systems, *symptoms().symptoms, *trials().ways}
    answers: set[str] = set()
    for system in plugins.systems.values():
        keys |= {*system.parts, *system.measurands, *system.operations, *system.traits}
        for trait in system.traits.values():
            answers |= set(answers_of(trait.answers)) if trait.answers else set()
        for measurand in system.measurands.values():
            answers |= set(measurand.places)
        if system.faults is not None:
            keys |= {f"{system.key}.{name}" for name in (*system.faults.faults, *system.faults.tests)}
            answers |= {name for test in system.faults.tests.values() for name in test.outcomes}
    return Known(ids=ids, keys=frozenset(keys), answers=frozenset(answers))


@attrs.frozen(kw_only=True)
class Cause:
    """The work after which the complaint was gone."""

    noted: Noted[Repaired]
    share: float
    shown_by: str

    @property
    def stage(self) -> int:
        return self.noted.record.stage


def causes_of(assessment: Assessment) -> tuple[Cause, ...]:
    """The work after which the complaint was gone and stayed gone, looked at again; else, where nobody looked
    again, the work that its own reading shows to have put right what called for it, where each does.
    """
    job = assessment.job
    if job.retold:
        last = len(job.retold)
        while last and job.retold[last - 1].record.result in GONE:
            last -= 1
        if last == len(job.retold):
            return ()
        first = job.retold[last].record.stage
        since = job.retold[last - 1].record.stage if last else 0
        works = [noted for noted in job.repairs if since < noted.record.stage <= first]
        return tuple(Cause(noted=noted, share=1 / len(works), shown_by="complaint") for noted in works)
    shown = [one for one in assessment.repairs if one.proof is Proof.SHOWN]
    if not shown or len(shown) != len(job.repairs):
        return ()
    return tuple(Cause(noted=noted, share=1 / len(shown), shown_by="reading") for noted in job.repairs)


def sound_from(assessment: Assessment, causes: Sequence[Cause]) -> int | None:
    """The stage from which on the vehicle was shown to be sound; None where it never was."""
    job = assessment.job
    if causes:
        return max(cause.stage for cause in causes)
    if job.repairs or (job.ended is not None and job.ended.record.how != "no fault found"):
        return None
    told = job.complained.symptoms if job.complained is not None else []
    return 0 if job.ended is not None or list(told) == [CHECK_UP] else None


@attrs.define(kw_only=True)
class Past:
    """What later jobs of the same vehicle are held against."""

    job: str
    vehicle: str
    opened: datetime
    told: frozenset[str]
    works: frozenset[str]
    made_good: frozenset[str]
    repairs: list[tuple[dict[str, Any], datetime]] = attrs.field(factory=list)


def moment_of(entry: Entry) -> datetime:
    """When it was observed, or else written down."""
    return datetime.fromisoformat(entry.taken or entry.recorded)


def past_of(job: Job, vehicle: str) -> Past:
    """What the later jobs are held against, without its repairs' rows."""
    told = job.complained.symptoms if job.complained is not None else []
    made_good = {noted.record.operation for noted in job.waived if noted.record.because != "goodwill"} | {
        noted.record.operation for noted in job.requested if noted.record.ground == "rework"
    }
    return Past(
        job=job.id,
        vehicle=vehicle,
        opened=moment_of(job.entries[0]),
        told=frozenset(told) - {CHECK_UP, SOMETHING_ELSE},
        works=frozenset(noted.record.operation for noted in job.repairs),
        made_good=frozenset(made_good) - {""},
    )


def rows_of(
    assessment: Assessment, plugins: Plugins, past: Past, store: str, invoices: Mapping[str, InvoiceIssued]
) -> Iterator[Row]:
    """Every row that a job gives but those of its repairs, which hang on later jobs and go into `past`."""
    job, vehicle = assessment.job, past.vehicle
    both = {"job": job.id, "vehicle": vehicle}
    month = past.opened.strftime("%Y-%m")
    causes = causes_of(assessment)
    after = [noted.record.result for noted in job.retold if noted.record.stage > 0]
    ended = job.ended.record.how if job.ended is not None else ""
    yield (
        "jobs",
        {
            **both,
            "store": store,
            "month": month,
            "ended": ended,
            "retested": after[-1] if after else "",
            "invoiced": bool(job.issued),
        },
    )
    told, shows = (job.complained.symptoms, job.complained.shows) if job.complained is not None else ([], "")
    seen = symptoms().shows[shows].share if shows in symptoms().shows else 1.0
    for symptom in told:
        yield "complaints", {**both, "symptom": symptom, "share": 1 / len(told), "shows": seen}
    for trait, noted in job.fitted(job.stage).items():
        if noted.record.answer:
            yield "fitted", {"job": job.id, "trait": trait, "answer": noted.record.answer}
    for cause in causes:
        yield "causes", {**both, **_cause_row(cause, assessment, plugins)}
    for shown in shown_outcomes(assessment, plugins):
        test = shown.outcome.test
        for outcome, weight in zip(test.outcomes, shown.outcome.weights, strict=True):
            if weight > 0:
                yield (
                    "tests",
                    {
                        **both,
                        "system": shown.system,
                        "test": shown.key,
                        "stage": shown.stage,
                        "outcome": outcome,
                        "weight": weight,
                        "minutes": float(test.minutes),
                    },
                )
    yield from _price_rows(job, invoices, both)
    yield from _reading_rows(assessment, sound_from(assessment, causes), both)
    past.repairs += _repair_rows(job, plugins, both)


def _work_row(operation: str, plugins: Plugins) -> dict[str, Any]:
    declared = plugins.operations.get(operation)
    return {
        "system": operation.partition(".")[0],
        "operation": operation,
        "part": declared.replaces or None if declared is not None else None,
    }


def _cause_row(cause: Cause, assessment: Assessment, plugins: Plugins) -> dict[str, Any]:
    operation = cause.noted.record.operation
    named = [call.fault for call in assessment.calls_at(cause.stage - 1) if call.operation == operation]
    return {
        **_work_row(operation, plugins),
        "fault": next(filter(None, named), None),
        "stage": cause.stage,
        "share": cause.share,
        "shown_by": cause.shown_by,
    }


def _repair_rows(
    job: Job, plugins: Plugins, both: Mapping[str, str]
) -> Iterator[tuple[dict[str, Any], datetime]]:
    for noted in job.repairs:
        stage, done = noted.record.stage, moment_of(noted.entry)
        again = [one.record.result for one in job.retold if one.record.stage == stage]
        row = {
            **both,
            **_work_row(noted.record.operation, plugins),
            "month": done.strftime("%Y-%m"),
            "retested": again[-1] if again else "",
        }
        yield row, done


def comebacks(pasts: Sequence[Past], now: datetime) -> Iterator[Row]:
    """The rows of all repairs, each with how long it held: later jobs of the same vehicle are looked through
    for the first that comes back for it.
    """
    of_vehicle: dict[str, list[Past]] = {}
    for past in sorted(pasts, key=lambda one: (one.opened, one.job)):
        of_vehicle.setdefault(past.vehicle, []).append(past)
    for past in pasts:
        for row, done in past.repairs:
            later = [one for one in of_vehicle[past.vehicle] if one.opened > past.opened]
            back, how = next(
                ((one.opened, how) for one in later if (how := _came_back(row["operation"], past, one))),
                (now, ""),
            )
            yield "repairs", {**row, "days": max(0, (back - done).days), "came_back": how}


def _came_back(operation: str, past: Past, later: Past) -> str:
    if operation in later.made_good:
        return "guarantee"
    if operation in later.works:
        return "same work"
    return "same complaint" if past.told & later.told else ""


def _price_rows(job: Job, invoices: Mapping[str, InvoiceIssued], both: Mapping[str, str]) -> Iterator[Row]:
    """What the job's invoices say together beside what was approved; one over several jobs does not say which
    of its work is whose.
    """
    found = [invoices.get(noted.record.books_entry) for noted in job.issued]
    own = [invoice for invoice in found if invoice is not None and not invoice.jobs and invoice.lines]
    if not own or len(own) < len(found):
        return
    charged = _net_by_work([line for invoice in own for line in invoice.lines or ()])
    estimated = _approved_by_work(job.estimates, job.approvals)
    for work in sorted(charged):  # what was approved and not done is no difference in price
        yield (
            "prices",
            {
                **both,
                "operation": work or None,
                "currency": own[-1].currency,
                "estimated": estimated.get(work, 0),
                "invoiced": charged.get(work, 0),
            },
        )


def _approved_by_work(
    estimates: Sequence[Noted[Estimated]], approvals: Sequence[Noted[Approved]]
) -> dict[str, int]:
    declined = {noted.record.estimate: noted.record.declined for noted in approvals}
    found: dict[str, int] = {}
    for noted in estimates:
        if noted.record.name in declined:
            gone = declined[noted.record.name]
            lines = [line for line in noted.record.lines if (line["operation"] or line["kind"]) not in gone]
            sums = _net_by_work(lines)
            rest = sums.pop("", 0)
            found |= sums
            found[""] = found.get("", 0) + rest
    return found


def _net_by_work(lines: Sequence[Mapping[str, Any]]) -> dict[str, int]:
    """Work → net in minor units; call-out, travel, diagnosis and work of the shop's own together under ""."""
    found: dict[str, int] = {}
    for line in lines:
        operation = line["operation"]
        work = "" if is_own_work(operation) else operation
        found[work] = found.get(work, 0) + int(line["net"]["minor"])
    return found


def _reading_rows(assessment: Assessment, sound: int | None, both: Mapping[str, str]) -> Iterator[Row]:
    for stage, readings in enumerate(assessment.readings):
        failing = [
            (one.system, one.of)
            for one in assessment.findings
            if one.stage == stage and one.verdict is Verdict.FAIL
        ]
        for reading in readings:
            key = reading.measurand.key
            system = key.partition(".")[0]
            # A reading is never left out for its own verdict: a limit would then confirm itself.
            others = any(of != key for failed, of in failing if failed == system)
            yield (
                "readings",
                {
                    **both,
                    "measurand": key,
                    "place": reading.place or None,
                    "stage": stage,
                    "number": reading.number,
                    "uncertainty": reading.value.u,
                    "sound": sound is not None and stage >= sound and not others,
                },
            )
