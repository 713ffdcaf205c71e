"""The faults of a job, one row each: what was repaired, what is called for, and what else plainly fails."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import attrs

from ..assess.assessment import Assessment
from ..assess.proof import RepairProof
from ..billing.line import GroundKind, Line, LineKind
from ..billing.waiver import did_not_fix
from ..model.approval import operations_of
from ..model.finding import Finding, Urgency, Verdict
from ..model.job import Job
from ..model.own_work import is_own_work
from ..plugin.faults import Fault
from ..plugin.host import Plugins
from .quantity import quantity_words
from .row import FaultRow, Shown, Work, still_fails
from .state import Progress

#: How many readings show one row at most; all of them stand behind.
READINGS = 2


@attrs.frozen(kw_only=True)
class Told:
    """What the rows are made from.

    Attributes:
        lines: The priced lines of the paper.
        is_proposal: The lines are proposed; on an invoice they are charged.
        prices: Key of an operation → what it would cost, in words; what is not priced is not in it.
    """

    job: Job
    assessment: Assessment
    plugins: Plugins
    lines: Sequence[Line] = ()
    is_proposal: bool = False
    prices: Mapping[str, str] = attrs.field(factory=dict)


def fault_rows(told: Told) -> list[FaultRow]:
    """Every fault that was repaired, is called for or plainly fails: in the order of the journal, then the
    most urgent first.
    """
    rows = [_of_work(key, told) for key in _operations(told)]
    covered = {id(finding) for row in rows for finding in row.now}
    return rows + _without_work(told, covered)


def _operations(told: Told) -> list[str]:
    """Keys of all the work that the account speaks of."""
    job, assessment = told.job, told.assessment
    keys = [*job.works_done]
    keys += [line.operation for line in told.lines if line.operation]
    keys += [
        finding.calls_for for finding in assessment.current if finding.calls_for and _is_called(finding, told)
    ]
    keys += [call.operation for call in assessment.calls_at(job.stage) if call.met]
    keys += [*job.approval.open, *job.approval.declined, *_waiting_operations(job)]
    return list(dict.fromkeys(keys))


def _is_called(finding: Finding, told: Told) -> bool:
    """A fault that was found, not one that may be there."""
    return finding.verdict is Verdict.FAIL or told.assessment.may_propose(finding.calls_for, finding.stage)


def _waiting_operations(job: Job) -> list[str]:
    waiting = set(job.approval.pending)
    return [
        key for noted in job.estimates if noted.record.name in waiting for key in operations_of(noted.record)
    ]


def _of_work(key: str, told: Told) -> FaultRow:
    job, assessment = told.job, told.assessment
    called = [finding for finding in assessment.findings if finding.calls_for == key]
    progress, repairs = _progress(key, told), [one for one in assessment.repairs if one.operation == key]
    last = repairs[-1] if repairs else None
    fault = _fault(key, told)
    typed = next(
        (
            noted.record.cause
            for noted in reversed(job.repairs)
            if noted.record.operation == key and noted.record.cause
        ),
        "",
    )
    no_cure = key in did_not_fix(job)
    is_found = bool(called or typed or fault)
    is_work_alone = no_cure or (progress is Progress.PROPOSED and not is_found)
    return FaultRow(
        operation=key,
        what=told.plugins.title(key) if is_work_alone else typed or _name(key, fault, told),
        cause=NO_CURE
        if no_cure
        else _cause(called, last.stage if last else job.stage + 1) or _reason_of_work(key, told),
        is_found=is_found,
        progress=progress,
        proof=last.proof if last else None,
        did_not_fix=no_cure,
        now=tuple(_speaking_now(key, called, last, told)),
        readings=tuple(_readings(called, last, told)) or tuple(_still_read(key, last, told)),
        works=tuple(_works(key, told)),
        again=_again(last, job),
        is_superseded=last is not None and _is_superseded(last, assessment),
        is_put_off=job.left_open is not None and job.ended is None,
        is_ended=job.ended is not None and job.ended.record.how == "declined",
        since=last.stage if last else 0,
        next=_next(key, progress, last, told),
        is_service=is_own_work(key),
    )


def _progress(key: str, told: Told) -> Progress:
    approval = told.job.approval
    if told.is_proposal and any(line.operation == key for line in told.lines):
        return Progress.PROPOSED
    if key in approval.done:
        return Progress.DONE
    if key in approval.declined:
        return Progress.DECLINED
    if key in approval.open:
        return Progress.APPROVED
    if key in _waiting_operations(told.job) and told.job.ended is None:  # an end answers what had no answer
        return Progress.PROPOSED
    return Progress.NONE


def _fault(key: str, told: Told) -> Fault | None:
    """The fault that the work cures, where one stands out: as it was believed when the work was called for
    last.
    """
    named = [call.fault for call in told.assessment.calls if call.operation == key and call.fault]
    for full in reversed(named):
        name, _, fault = full.partition(".")
        system = told.plugins.systems.get(name)
        if system is not None and system.faults is not None and fault in system.faults.faults:
            return system.faults.faults[fault]
    return None


def _name(key: str, fault: Fault | None, told: Told) -> str:
    """What was wrong as a name: the fault's, else that of the part that is renewed, else that of the work."""
    if fault is not None:
        return _capital(fault.headline)
    operation = told.plugins.operations.get(key)
    part = told.plugins.parts.get(operation.replaces) if operation is not None else None
    return part.title if part is not None else told.plugins.title(key)


#: Between these chances of being within its limit something is too close to call.
OUT, IN = 0.05, 0.95
#: Said of work that nothing found calls for.
OUR_JUDGEMENT, ASKED_FOR = "By our judgement, not by a reading.", "You asked for it."
SCHEDULED = "It was due."
#: Said of work that was not the cure, in place of the fault that it was meant for.
NO_CURE = "It did not fix what you came with."


def customers_words(finding: Finding) -> str:
    """What the customer is told of a finding; what is not decided and has no words of its own is called so,
    because the trade's words say how to decide it.
    """
    chance = finding.probability
    too_close = chance is not None and OUT < chance < IN
    if finding.customer_text is None and (finding.verdict is Verdict.UNDECIDED or too_close):
        return f"{finding.check}: not decided yet."
    return str(finding.for_customer)


def _cause(called: Sequence[Finding], until: int) -> str:
    """What was found before the work, in the customer's words: the plainest finding that called for it."""
    before = [finding for finding in called if finding.stage < until] or list(called)
    plain = sorted(before, key=lambda finding: (finding.verdict is not Verdict.FAIL, finding.stage))
    return customers_words(plain[0]) if plain else ""


def _reason_of_work(key: str, told: Told) -> str:
    """Why work is done that nothing found calls for: the customer asked for it, or the mechanic judges so."""
    for line in told.lines:
        if line.operation == key and line.ground.kind is GroundKind.JUDGEMENT:
            return f"{OUR_JUDGEMENT} {line.ground.text}"
        if line.operation == key and line.ground.kind is GroundKind.CUSTOMER:
            return ASKED_FOR
        if line.operation == key and line.ground.kind is GroundKind.SCHEDULED:
            return SCHEDULED
    return ""


def _speaking_now(
    key: str, called: Sequence[Finding], last: RepairProof | None, told: Told
) -> Iterable[Finding]:
    """What is found of it as the vehicle stands now: by the checks that called for the work at any place, and
    by whatever reads what shows, or will show, that it helped.
    """
    codes = {finding.code for finding in called}
    operation = told.plugins.operations.get(key)
    retest = last.retest if last else operation.shown_by if operation is not None else ""
    for finding in told.assessment.current:
        if finding.calls_for not in ("", key):
            continue
        if finding.calls_for == key or finding.code in codes or (retest and finding.of == retest):
            yield finding


def _readings(called: Sequence[Finding], last: RepairProof | None, told: Told) -> Iterable[Shown]:
    """What shows it: the retest beside what the same check judged first; without one what called for it."""
    if last is not None and last.finding is not None and last.finding.value is not None:
        now = last.finding
        yield Shown(name=read_as(now, told), before=_first(now, told), now=now)
        return
    judged = [finding for finding in called if finding.value is not None and finding.limits]
    judged.sort(key=lambda finding: (not still_fails(finding), -finding.stage))
    for finding in judged[:1]:
        if last is None:
            yield Shown(name=read_as(finding, told), before=_first(finding, told), now=finding)
        else:
            yield Shown(name=read_as(finding, told), before=finding)


def _still_read(key: str, last: RepairProof | None, told: Told) -> Iterable[Shown]:
    """Of work that was not done: what shall show it one day and speaks against the vehicle now."""
    operation = told.plugins.operations.get(key)
    if last is not None or operation is None:
        return
    for finding in told.assessment.current:
        if finding.of == operation.shown_by and finding.limits and still_fails(finding):
            yield Shown(name=read_as(finding, told), before=_first(finding, told), now=finding)
            return


def _first(finding: Finding, told: Told) -> Finding | None:
    """What the same check judged at the earliest stage before."""
    earlier = [
        other
        for other in told.assessment.findings
        if (other.code, other.place, other.unit) == (finding.code, finding.place, finding.unit)
        and other.stage < finding.stage
        and other.value is not None
    ]
    return min(earlier, key=lambda other: other.stage, default=None)


def read_as(finding: Finding, told: Told) -> str:
    """What a finding judged: a reading by its name, what was computed from several by that of the check."""
    judged = [
        reading for stage in told.assessment.readings for reading in stage if reading.value == finding.value
    ]
    name = finding.name or (_capital(judged[0].measurand.for_customer) if judged else finding.check)
    return f"{name}, {finding.place}" if finding.place else name


def _works(key: str, told: Told) -> Iterable[Work]:
    lines = [line for line in told.lines if line.operation == key]
    for line in lines:
        yield work_of(line, told.plugins)
    if not lines and not told.is_proposal and key in told.job.approval.done:
        why = (
            "not approved by you, so not charged"
            if key in told.job.approval.unapproved
            else "on an earlier invoice"
            if told.job.issued
            else "not charged here"
        )
        yield Work(text=work_words(key, told.plugins), reason=why)


def work_words(key: str, plugins: Plugins) -> str:
    """What a piece of work is, in the customer's words."""
    return plugins.for_customer(key).removesuffix(".")


def work_of(line: Line, plugins: Plugins) -> Work:
    """A line as a row of an account shows it."""
    is_work = bool(line.operation) and line.kind in (LineKind.LABOUR, LineKind.LUMP_SUM)
    text = work_words(line.operation, plugins) if is_work else line.text
    detail = quantity_words(line.quantity, line.unit)
    if line.kind is LineKind.PART:
        detail = f"{line.condition}, {detail}"
    elif line.unit == "flat":
        detail = ""
    if line.waived:
        return Work(text=text, detail=detail, reason=line.waived)
    return Work(text=text, detail=detail, net=line.net)


def _again(last: RepairProof | None, job: Job) -> str:
    """The complaint, looked at again after this work and before any other."""
    if last is None:
        return ""
    said = [noted.record.result for noted in job.retold if noted.record.stage == last.stage]
    return said[-1] if said else ""


def _is_superseded(last: RepairProof, assessment: Assessment) -> bool:
    return bool(last.retest) and any(
        other.retest == last.retest and other.stage > last.stage for other in assessment.repairs
    )


def _next(key: str, progress: Progress, last: RepairProof | None, told: Told) -> str:
    if progress in (Progress.DONE, Progress.PROPOSED):
        return ""
    return f"{told.plugins.title(key)}{price_note(key, told)}"


def price_note(key: str, told: Told) -> str:
    """What a piece of work would cost, in brackets; empty where the shop has no price for it."""
    return f" ({told.prices[key]})" if key in told.prices else ""


def _without_work(told: Told, covered: set[int]) -> list[FaultRow]:
    """What plainly fails and no work is sold for, one row for each check."""
    found: dict[tuple[str, str], list[Finding]] = {}
    for finding in told.assessment.current:
        fails = finding.verdict is Verdict.FAIL or finding.urgency is Urgency.BEFORE_DRIVING
        if fails and not finding.calls_for and id(finding) not in covered:
            found.setdefault((finding.system, finding.check), []).append(finding)
    return [
        FaultRow(
            operation="",
            what=findings[0].check,
            cause=customers_words(findings[0]),
            is_before_work=told.is_proposal and not told.job.repairs,
            now=tuple(findings),
            readings=tuple(
                Shown(name=read_as(finding, told), before=_first(finding, told), now=finding)
                for finding in findings
                if finding.value is not None and finding.limits
            )[:READINGS],
        )
        for findings in found.values()
    ]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
