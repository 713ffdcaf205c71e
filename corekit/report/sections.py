"""The sections that papers share: who and which vehicle, what was told, approved and done, whether it worked,
what to watch.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from ..assess.assessment import Assessment
from ..assess.proof import Proof, RepairProof
from ..billing.line import Line
from ..billing.totals import BillTotals
from ..billing.waiver import did_not_fix
from ..model.document import Block, FindingRow, Findings, Heading, Pairs, Paragraph, Statement, Words
from ..model.finding import Urgency, Verdict
from ..model.job import Job, Noted, stage_name
from ..model.money import Money
from ..model.personal import Personal
from ..model.records import Arrived, Left, Remarked
from .cost import priced_lines
from .findings import checks
from .next_tests import named_tests
from .noted import unanswered
from .sheet import WHO_APPROVES, ApprovalRow, Sheet


def parties_and_vehicle(job: Job, sheet: Sheet) -> list[Block]:
    """Who issues the paper, for whom, and which vehicle it is about."""
    return [Pairs(rows=(*parties(job, sheet), *vehicle(job)))]


def parties(job: Job, sheet: Sheet) -> list[tuple[str, Words]]:
    """Who issues the paper, and for whom."""
    rows: list[tuple[str, Words]] = []
    issuer = ", ".join(
        part for part in (sheet.issuer.name, *sheet.issuer.address, sheet.issuer.contact) if part
    )
    rows.append(("From", (issuer,)))
    if sheet.issuer.tax_id:
        rows.append(("Tax number", (sheet.issuer.tax_id,)))
    customer = job.customer
    rows.append(("For", _joined(customer.name, customer.address, customer.phone) or ("no name given",)))
    return rows


def vehicle(job: Job) -> list[tuple[str, Words]]:
    """Which vehicle: as told, plate, VIN, odometer."""
    vehicle = job.vehicle
    rows: list[tuple[str, Words]] = [("Vehicle", _joined(vehicle.description) or ("not described",))]
    if isinstance(vehicle.plate, Personal):
        rows.append(("Plate", (vehicle.plate,)))
    if isinstance(vehicle.vin, Personal):
        rows.append(("VIN", (vehicle.vin, _vin_remark(vehicle.vin_check))))
    elif vehicle.why_no_vin:
        rows.append(("VIN", (f"none: {vehicle.why_no_vin}",)))
    if vehicle.odometer_typed:
        rows.append(("Odometer", (vehicle.odometer_typed,)))
    return rows


def _vin_remark(check: str) -> str:
    return (
        " (its check digit differs; that matters only where check digits are required)"
        if check == "differs"
        else ""
    )


def _joined(*parts: object) -> Words:
    run: list[str | Personal] = []
    for part in parts:
        if isinstance(part, Personal):
            run += [", ", part] if run else [part]
    return tuple(run)


def complaint(job: Job) -> list[Block]:
    """The complaint in the customer's own words, and what was noted about the vehicle."""
    words = job.opened.words
    blocks: list[Block] = (
        [Heading(text="What you told us"), Paragraph(words=(words,), tone="quote")]
        if isinstance(words, Personal)
        else []
    )
    for noted in job.all(Remarked):
        remark = noted.record.words
        when = (
            "on arrival"
            if noted.record.stage == 0
            else "after the work"
            if noted.record.stage == job.stage
            else "between the work"
        )
        if isinstance(remark, Personal):
            blocks.append(Paragraph(words=(f"Noted {when}: ", remark)))
    return blocks


def approvals(approvals: Sequence[ApprovalRow], sheet: Sheet) -> list[Block]:
    """Every approval that stands: to what, how much, by whom and how, and what was declined with it."""
    rows: list[tuple[str, Words]] = []
    for row in approvals:
        approval = row.approval
        estimated = Money(approval.total, approval.currency)
        total = f"{row.approved} of {estimated}" if row.approved != estimated else str(estimated)
        text = f"{total} {approval.currency}, approved by {_whom(approval.by)}, {approval.how}"
        text += (", signed" if approval.signature is not None else "") + (f", {row.day}" if row.day else "")
        if approval.declined:
            text += f". Declined: {', '.join(_title(key, sheet) for key in approval.declined)}"
        rows.append((approval.estimate.capitalize(), (text,)))
    if not rows:
        rows.append(("Approval", ("none recorded",)))
    return [Heading(text="What you approved"), Pairs(rows=tuple(rows))]


def _whom(by: str) -> str:
    return f"the {by}" if by in WHO_APPROVES else "somebody on the customer's behalf"


def _title(operation: str, sheet: Sheet) -> str:
    declared = sheet.operations.get(operation)
    return declared.title if declared else operation


def as_described(job: Job, stage: str) -> list[Block]:
    """What a price rests on that was made before anybody looked: on what was told, and on
    nothing measured.
    """
    if stage != "repair" or any(job.spoken_of(past) or job.codes_read(past) for past in job.stages):
        return []
    vehicle = job.vehicle
    seen = isinstance(vehicle.plate, Personal) or isinstance(vehicle.vin, Personal)
    about = "the work as you described it" if seen else "the vehicle and the work as you described them"
    unseen = "" if seen else " and the vehicle was not seen"
    text = (
        f"Nothing was measured for this price{unseen}. It holds for {about}; if what we find is otherwise,"
        " you get a new estimate and need not accept it."
    )
    return [Paragraph(words=(text,))]


def work_done(job: Job, lines: Sequence[Line], totals: BillTotals, sheet: Sheet) -> list[Block]:
    """The work done, priced, each line with its ground; before it, over which visits it went."""
    return [
        Heading(text="What we did"),
        *(Paragraph(words=(sentence,)) for sentence in _visits(job)),
        priced_lines(lines, totals, sheet),
    ]


def _visits(job: Job) -> list[str]:
    """One sentence for each time that the work was interrupted and taken up again."""
    sentences: list[str] = []
    left: Noted[Left | Arrived] | None = None
    for noted in job.visits:
        record = noted.record
        if isinstance(record, Arrived) and left is not None and isinstance(left.record, Left):
            odometer = f", odometer {record.odometer_typed}" if record.odometer_typed else ""
            sentences.append(
                f"Interrupted on {_day(left)}, {left.record.because}; taken up again on"
                f" {_day(noted)}{odometer}."
            )
        left = noted
    return sentences


def _day(noted: Noted[Left | Arrived]) -> str:
    return (noted.entry.taken or noted.entry.recorded)[:10]


def retest_results(assessment: Assessment) -> list[Block]:
    """What the retest says of each repair."""
    if not assessment.repairs:
        return []
    rows = [
        FindingRow(
            text=_shown(repair, assessment.job), verdict=stage_name(repair.stage), urgency=repair.title
        )
        for repair in assessment.repairs
    ]
    return [Heading(text="Result of the repair"), Findings(rows=tuple(rows))]


def _shown(repair: RepairProof, job: Job) -> str:
    """What the retest says; of work that did not fix, that it did not: how well its part reads now is beside
    the point.
    """
    return (
        "Did not fix what you came with; not charged."
        if repair.operation in did_not_fix(job)
        else f"{str(repair.proof).capitalize()}. {repair.why}"
    )


#: On a paper that is read after the visit, what was for this visit is what it left open.
_LEFT = {Urgency.THIS_VISIT: "Left open"}
_FIRST = f"{str(Urgency.BEFORE_DRIVING).capitalize()}: "


def watch(assessment: Assessment, lines: Sequence[Line], sheet: Sheet) -> list[Block]:
    """What is left open, declined or still to do, what was looked at at all, cautions, and the guarantee."""
    return [
        *to_watch(assessment, sheet),
        *closing([(assessment, lines)], sheet),
    ]


def to_watch(assessment: Assessment, sheet: Sheet) -> list[Block]:
    """What is left open, declined or still to do, and what was looked at at all."""
    noted = [
        f"Noted in words, and not followed up yet: {sheet.titles.get(one.of, one.of)}."
        for one in unanswered(assessment)
        if one.of
    ]
    sentences = [*_left_to_do(assessment, sheet), *dict.fromkeys(noted)] or ["Nothing, as far as tested."]
    paragraphs = [Paragraph(words=(sentence,)) for sentence in sentences]
    return [
        Heading(text="What to watch"),
        *paragraphs,
        Paragraph(words=(_looked_at(assessment),), tone="small"),
    ]


def closing(over: Iterable[tuple[Assessment, Sequence[Line]]], sheet: Sheet) -> list[Block]:
    """Cautions for the work that is left to do, be it on one vehicle or on several, and the guarantee."""
    operations: set[str] = set()
    for assessment, lines in over:
        if _left_to_do(assessment, sheet):  # with nothing left to do, the work and its dangers are over
            operations |= {line.operation for line in lines} | {
                finding.calls_for for finding in assessment.current
            }
    hazards = cautions(operations, sheet)
    guarantee = sheet.issuer.guarantee or "No terms of guarantee beyond the law are given."
    statement: list[Block] = [Statement(title="Cautions", words=(hazards,))] if hazards else []
    return [*statement, Paragraph(words=(f"Guarantee: {guarantee}",), tone="small")]


def _left_to_do(assessment: Assessment, sheet: Sheet) -> list[str]:
    sentences: list[str] = []
    for finding in assessment.current:
        if finding.urgency is not Urgency.NOTHING and finding.verdict is not Verdict.PASS:
            late = " (On arrival; not measured again.)" if assessment.job.stage > finding.stage == 0 else ""
            sentences.append(
                f"{_LEFT.get(finding.urgency, str(finding.urgency).capitalize())}: {finding.text}{late}"
            )
    for repair in assessment.repairs:
        if repair.proof is not Proof.SHOWN and repair.operation not in did_not_fix(assessment.job):
            why = (
                "" if repair.finding in assessment.current else f" {repair.why}"
            )  # then it stands above already
            sentences.insert(0, f"{repair.title}: {repair.proof}.{why}")
    sentences = _of_the_job(assessment.job, sheet) + sentences
    sentences.sort(key=lambda sentence: not sentence.startswith(_FIRST))  # nothing stands before a warning
    sentences += [f"Declined by you: {_title(key, sheet)}." for key in assessment.job.approval.declined]
    if any(finding.verdict is Verdict.UNDECIDED for finding in assessment.current):
        looked = {
            finding.system for finding in assessment.findings
        }  # a system that was only asked about is not what is left open
        tests = [
            _question(test.question)
            for test in named_tests(assessment.next_tests)
            if test.system in looked and not test.is_question
        ][:2]
        sentences += [f"Next test: {question}" for question in tests]
    return list(dict.fromkeys(sentences))


def _of_the_job(job: Job, sheet: Sheet) -> list[str]:
    """What is still the matter however the readings stand: work not finished, not done, or no cure; a fault
    that was not found.
    """
    sentences = []
    if job.left_open is not None and job.ended is None:
        left = job.left_open.record
        sentences.append(
            f"The work is not finished: {left.because}{f'; next visit on {left.back}' if left.back else ''}."
        )
    failed, last = did_not_fix(job), max((noted.record.stage for noted in job.repairs), default=0)
    for noted in job.repairs:
        if noted.record.operation in failed and noted.record.stage == last:
            sentences.append(
                f"{_title(noted.record.operation, sheet)}: did not fix what you came with, and no work done"
                " since then did."
            )
    if job.ended is not None and job.ended.record.how == "no fault found":
        sentences.append("What you came with was neither found nor repaired.")
    undone = [_title(key, sheet) for key in job.approval.open]
    return sentences + ([f"Approved but not done, so not charged: {', '.join(undone)}."] if undone else [])


def _question(text: str) -> str:
    return text if text.endswith(("?", ".")) else f"{text}."


def _looked_at(assessment: Assessment) -> str:
    looked = checks(assessment.findings) or "nothing"
    return f"This visit looked at: {looked}. It says nothing about anything else on the vehicle."


def cautions(operations: Iterable[str], sheet: Sheet) -> str:
    """The cautions of all the work on the paper; what several kinds of work share is said once."""
    texts = [sheet.operations[key].hazard for key in sorted(operations) if key in sheet.operations]
    sentences = dict.fromkeys(
        sentence for text in texts for sentence in re.split(r"(?<=[.!?]) ", text) if sentence
    )
    return " ".join([*sentences, "Local codes and licensed practice come first."]) if sentences else ""
