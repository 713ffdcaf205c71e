"""The points of the complaint: which faults answer them, and a row for each that none of them settles."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..assess.hypotheses import speaks_for
from ..billing.waiver import did_not_fix
from ..complaints import CHECK_UP, SOMETHING_ELSE, symptoms
from ..model.finding import Finding, Verdict
from ..model.job import Job
from ..model.personal import Personal
from .faults import Told, customers_words, read_as
from .row import STAYED, STILL_THERE, FaultRow, PointRow, Row, Shown, still_fails
from .state import State

OWN_WORDS = "What you told us, in your own words"


@attrs.frozen(kw_only=True)
class Point:
    """One thing that the customer came with: a symptom of the list, or own words alone."""

    key: str
    words: str


def points_of(job: Job) -> tuple[Point, ...]:
    """Every point of the complaint; none where nobody complained."""
    told, known = job.complained, symptoms().symptoms
    if told is not None and told.symptoms:
        return tuple(Point(key=key, words=known[key].words if key in known else key) for key in told.symptoms)
    return (Point(key="", words=OWN_WORDS),) if isinstance(job.opened.words, Personal) else ()


def answered_rows(faults: Sequence[FaultRow], told: Told) -> list[Row]:
    """All rows: faults with the points that they answer, in the order of the complaint; a row of its own for
    each point that is not settled by them; then what was found besides.
    """
    job, points = told.job, points_of(told.job)
    persists = told.assessment.job.repairs and _again(job) in STILL_THERE
    of = {n: set[str]() for n in range(len(faults))}
    own: list[tuple[Point, list[FaultRow]]] = []
    for point in points:
        answering = [n for n, row in enumerate(faults) if not row.did_not_fix and _answers(row, point, told)]
        counted = [faults[n] for n in answering if not faults[n].is_superseded] or [
            faults[n] for n in answering
        ]
        if not persists:
            for n in answering:
                of[n].add(point.words)
        if persists or not counted or _needs_own_row(point, counted, told):
            own.append((point, counted))
    words = [point.words for point in points]
    placed = [
        attrs.evolve(row, points=tuple(one for one in words if one in of[n])) for n, row in enumerate(faults)
    ]
    first = {point: place for place, point in enumerate(words)}
    rows: list[Row] = sorted((row for row in placed if row.points), key=lambda row: first[row.points[0]])
    rows += [_point_row(point, told) for point, _ in own]
    return rows + [row for row in placed if not row.points]


def _answers(row: FaultRow, point: Point, told: Told) -> bool:
    """Whether a symptom is told plainly oftener under a fault that this work cures; a check-up is answered by
    whatever was found.
    """
    if point.key == CHECK_UP:
        return True
    if not point.key:
        return _is_the_wish(row, told)
    usual = symptoms().symptoms.get(point.key)
    system = told.plugins.systems.get(row.operation.partition(".")[0])
    if usual is None or point.key == SOMETHING_ELSE or system is None or system.faults is None:
        return False
    told_under = system.faults.symptoms.get(point.key, {})
    return any(
        fault.calls_for == row.operation and speaks_for(told_under.get(key, 0.0), usual.none)
        for key, fault in system.faults.faults.items()
    )


def _is_the_wish(row: FaultRow, told: Told) -> bool:
    """Whether own words without a symptom can only have been the wish for this work: the shop's own work was
    asked for, and nothing was looked for.
    """
    return (
        row.is_service
        and not told.assessment.findings
        and any(
            noted.record.operation == row.operation and noted.record.ground in _WISHES
            for noted in told.job.requested
        )
    )


#: Grounds of work that is wanted for its own sake.
_WISHES = ("customer", "scheduled")


def _needs_own_row(point: Point, rows: Sequence[FaultRow], told: Told) -> bool:
    """A lamp that the vehicle's own codes speak for is settled by reading these again."""
    return all(row.state is State.SHOWN for row in rows) and _codes_left(point, told.job) is not None


def _codes_left(point: Point, job: Job) -> tuple[str, ...] | None:
    """The stored codes of a lamp at the last reading, where there were some on arrival and work was done
    since; None where the codes say nothing of this point.
    """
    symptom = symptoms().symptoms.get(point.key)
    if symptom is None or not symptom.codes or not job.repairs:
        return None
    stored = [(stage, job.codes_by_list(stage).get("stored")) for stage in job.stages]
    read = [(stage, codes) for stage, codes in stored if codes is not None]
    return read[-1][1] if read and any(codes for _, codes in read) else None


def _again(job: Job) -> str:
    """What was last said of the complaint, while nothing was done since."""
    said = [noted.record.result for noted in job.retold if noted.record.stage == job.stage]
    return said[-1] if said else ""


def _nothing_helped(job: Job) -> bool:
    """All the work that was done is said not to have been the cure."""
    done = {noted.record.operation for noted in job.repairs}
    return bool(done) and done <= did_not_fix(job)


def _point_row(point: Point, told: Told) -> PointRow:
    job = told.job
    left = _codes_left(point, job)
    read_again = left is not None and "stored" in job.codes_by_list(job.stage)
    now = _close_calls(point, told) if left is None else ()
    fine = _in_order(told) if point.key == CHECK_UP and not now else ()
    ended = job.ended.record if job.ended is not None else None
    return PointRow(
        point=point.words,
        key=point.key,
        is_check_up=point.key == CHECK_UP,
        was_looked_at=_was_looked_at(point, told) or (ended is not None and ended.how == "no fault found"),
        again=_again(job) or (STAYED if _nothing_helped(job) else ""),
        was_worked=bool(job.repairs),
        needs_codes=left is not None and not read_again,
        codes_are_clear=read_again and not left,
        is_asked=told.is_proposal and any(not line.operation for line in told.lines),
        is_put_off=job.left_open is not None and ended is None,
        is_ended=ended is not None and ended.how == "declined",
        now=now,
        readings=_codes(job) if left is not None else _close(now, told) or _read_well(fine, told),
        cause=customers_words(now[0]) if now else _looked_well(fine),
    )


def _codes(job: Job) -> tuple[Shown, ...]:
    """What the codes said on arrival and say now."""
    lists = [(stage, job.codes_by_list(stage).get("stored")) for stage in job.stages]
    read = [(stage, ", ".join(codes) or "none") for stage, codes in lists if codes is not None]
    if not read:
        return ()
    first, last = read[0], read[-1]
    now = f"now: {last[1]}" if last[0] == job.stage > first[0] else "not read again after the work"
    return (Shown(name="Trouble codes", seen=f"on arrival: {first[1]}; {now}"),)


def _was_looked_at(point: Point, told: Told) -> bool:
    """Something of a system that this symptom concerns was judged; of own words, anything."""
    usual = symptoms().symptoms.get(point.key)
    looked = {finding.system for finding in told.assessment.findings}
    if usual is None or point.key in (CHECK_UP, SOMETHING_ELSE):
        return bool(looked)
    return any(
        key in looked
        and system.faults is not None
        and any(
            speaks_for(chance, usual.none) for chance in system.faults.symptoms.get(point.key, {}).values()
        )
        for key, system in told.plugins.systems.items()
    )


def _close_calls(point: Point, told: Told) -> tuple[Finding, ...]:
    """What was read about it and is too close to call."""
    return tuple(
        finding
        for finding in told.assessment.current
        if finding.verdict is Verdict.UNDECIDED
        and finding.calls_for
        and (not point.key or _answers(_bare(finding.calls_for), point, told))
    )


#: So many strips and sentences a check-up shows at most; all of them stand behind.
STRIPS, SENTENCES = 4, 3


def _in_order(told: Told) -> tuple[Finding, ...]:
    """What was found as it should be."""
    return tuple(
        finding
        for finding in told.assessment.current
        if not still_fails(finding) and finding.verdict is not Verdict.UNDECIDED
    )


def _read_well(fine: Sequence[Finding], told: Told) -> tuple[Shown, ...]:
    """The readings of a check-up, each thing that was read once."""
    shown: dict[str, Shown] = {}
    for finding in fine:
        if finding.value is not None and finding.limits:
            shown.setdefault(finding.of or finding.code, Shown(name=read_as(finding, told), now=finding))
    return tuple(shown.values())[:STRIPS]


def _looked_well(fine: Sequence[Finding]) -> str:
    """What was looked at in a check-up, in the customer's words."""
    said = [str(finding.customer_text) for finding in fine if finding.value is None and finding.customer_text]
    return " ".join(list(dict.fromkeys(said))[:SENTENCES])


def _bare(operation: str) -> FaultRow:
    return FaultRow(operation=operation, what="")


def _close(now: Sequence[Finding], told: Told) -> tuple[Shown, ...]:
    return tuple(
        Shown(name=read_as(finding, told), now=finding)
        for finding in now
        if finding.value is not None and finding.limits
    )[:1]
