"""The sections that papers share: who and which vehicle, what was approved and done, and all that stands
behind the first sheet.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

from ..assess.assessment import Assessment
from ..assess.proof import RepairProof
from ..billing.line import Line
from ..billing.totals import BillTotals
from ..billing.waiver import did_not_fix
from ..model.cancellation import CancellationAnswer
from ..model.document import (
    Block,
    Evidence,
    FindingRow,
    Findings,
    Heading,
    Pairs,
    Paragraph,
    PhotoRow,
    Photos,
    Words,
)
from ..model.job import Job, Noted
from ..model.money import Money
from ..model.personal import KeptWords, Personal, joined_runs, run_of
from ..model.records import (
    Announced,
    Approved,
    ApprovedMore,
    Arrived,
    Charged,
    Customer,
    Discounted,
    Estimated,
    Issued,
    Left,
    OldParts,
    Paid,
    PhotoChosen,
    Photographed,
    Receipted,
    Remarked,
    Reminded,
    Waived,
    WrittenOff,
)
from .cost import priced_lines
from .dates import day_words, distance_words
from .findings import what_asks_for, what_was_found
from .readings import stage_words
from .sheet import WHO_APPROVES, ApprovalRow, Sheet

#: Where the sheets behind begin.
BEHIND = "How we know"
#: In its place where nothing was looked at yet.
IN_DETAIL = "In detail"


def parties_and_vehicle(job: Job, sheet: Sheet) -> list[Block]:
    """Who issues the paper, for whom, and which vehicle it is about, in few rows."""
    return [Pairs(rows=(*parties(job, sheet), ("Vehicle", vehicle_in_short(job))))]


def parties(job: Job, sheet: Sheet, *, order_number: bool = True) -> list[tuple[str, Words]]:
    """Who issues the paper, and for whom; the customer's order number stands elsewhere where each vehicle has
    its own.
    """
    rows: list[tuple[str, Words]] = []
    issuer = ", ".join(
        part for part in (sheet.issuer.name, *sheet.issuer.address, sheet.issuer.contact) if part
    )
    rows.append(("From", (issuer,)))
    if sheet.issuer.tax_id:
        rows.append(("Tax number", (sheet.issuer.tax_id,)))
    rows += [
        (title, (text,))
        for title, text in (
            ("Registration", sheet.issuer.registration),
            ("Mechanic", sheet.issuer.mechanic),
            ("In place of invoice", sheet.corrects),
        )
        if text
    ]
    customer = job.customer
    rows.append(("For", _join(customer.name, customer.address, customer.phone) or ("no name given",)))
    if isinstance(customer.tax_number, Personal):
        rows.append(("Your tax number", (customer.tax_number,)))
    if order_number and isinstance(customer.order_number, Personal):
        rows.append(("Your order number", (customer.order_number,)))
    return rows


def vehicle_in_short(job: Job) -> Words:
    """By what the customer knows it: as told, plate (without one the VIN), odometer."""
    vehicle = job.vehicle
    known = vehicle.plate if isinstance(vehicle.plate, Personal) else vehicle.vin
    words = _join(vehicle.description, known) or ("not described",)
    return (
        (*words, f", {distance_words(vehicle.odometer_typed, vehicle.odometer)}")
        if vehicle.odometer_typed
        else words
    )


def vehicle(job: Job) -> list[tuple[str, Words]]:
    """Which vehicle, in full: as told, plate, VIN, odometer."""
    vehicle = job.vehicle
    rows: list[tuple[str, Words]] = [("Vehicle", _join(vehicle.description) or ("not described",))]
    if isinstance(vehicle.plate, Personal):
        rows.append(("Plate", (vehicle.plate,)))
    if isinstance(vehicle.vin, Personal):
        rows.append(("VIN", (vehicle.vin, _vin_remark(vehicle.vin_check))))
    elif vehicle.why_no_vin:
        rows.append(("VIN", joined_runs("none: ", run_of(vehicle.why_no_vin))))
    if vehicle.odometer_typed:
        rows.append(("Odometer", (distance_words(vehicle.odometer_typed, vehicle.odometer),)))
    return rows


def _vin_remark(check: str) -> str:
    return (
        " (its check digit differs; that matters only where check digits are required)"
        if check == "differs"
        else ""
    )


def _join(*parts: object) -> Words:
    run: list[str | Personal] = []
    for part in parts:
        if isinstance(part, Personal):
            run += [", ", part] if run else [part]
    return tuple(run)


def evidence(
    job: Job,
    assessment: Assessment,
    sheet: Sheet,
    lines: Sequence[Line],
    totals: BillTotals,
    approvals: Sequence[ApprovalRow],
) -> list[Block]:
    """Everything behind an invoice's first sheet: the vehicle in full, what was found and how, what the work
    rests on, what was approved.

    Args:
        approvals: Every approval that stands.
    """
    return [
        Evidence(title=BEHIND),
        Pairs(rows=(*vehicle(job), *_supply_rows(job, sheet))),
        *_remarks(job),
        *what_was_found(assessment, sheet),
        *_photos(job, sheet),
        *retest_results(assessment),
        *work_in_full(job, lines, totals, sheet),
        *_own_reasons(job, sheet),
        *approval_rows(approvals, sheet),
        *prescribed_words(sheet),
    ]


def _supply_rows(job: Job, sheet: Sheet) -> list[tuple[str, Words]]:
    """The day of supply, and what becomes of the old parts."""
    done = [noted for noted in job.standing if not isinstance(noted.record, _NO_SUPPLY)]
    rows: list[tuple[str, Words]] = [("Day of supply", (_day(done[-1], sheet),))] if done else []
    return [*rows, ("Old parts", (job.old_parts,))] if job.old_parts else rows


#: What may be said after the work; the day of supply is that of the last thing besides.
_NO_SUPPLY = (
    Announced,
    Approved,
    ApprovedMore,
    Charged,
    Customer,
    Discounted,
    Estimated,
    Issued,
    OldParts,
    Paid,
    PhotoChosen,
    Receipted,
    Reminded,
    Waived,
    WrittenOff,
)


def prescribed_words(sheet: Sheet) -> list[Block]:
    """The words that the law prescribes, as the shop supplied them."""
    return [Paragraph(words=(text,), tone="small") for text in sheet.statements]


#: What the customer may say on the right to cancel → as a line to tick, and as it is noted.
CANCELLATION: dict[str, tuple[str, str]] = {
    CancellationAnswer.URGENT_REPAIR: (
        "I asked for this visit because of an urgent repair, and this is the work that I asked for.",
        "the visit was asked for because of an urgent repair, and the work is what was asked for",
    ),
    CancellationAnswer.BEGIN_AT_ONCE: (
        "Please begin before the time for cancelling is over. I know that the right to cancel ends once the"
        " work is done in full.",
        "the work was to begin before the time for cancelling was over",
    ),
    CancellationAnswer.BEGIN_LATER: (
        "Please begin once the time for cancelling is over.",
        "the work was to begin once the time for cancelling was over",
    ),
    CancellationAnswer.FOR_A_BUSINESS: (
        "The work is for my trade, business or profession.",
        "the work is for a business",
    ),
}


def right_to_cancel(sheet: Sheet) -> list[Block]:
    """The shop's own words on the right to cancel, and what the customer ticks; nothing where the law of the
    place gives none.
    """
    if sheet.cancellation is None:
        return []
    return [
        Heading(text="Your right to cancel"),
        Paragraph(words=(sheet.cancellation_words,)),
        Paragraph(words=("Please tick what holds. It is noted with your approval.",)),
        *(
            Paragraph(words=(CANCELLATION[answer][0],), tone="choice")
            for answer in sheet.cancellation.answers
        ),
    ]


def grounds(
    job: Job, assessment: Assessment, sheet: Sheet, lines: Sequence[Line], totals: BillTotals
) -> list[Block]:
    """Everything behind an estimate's first sheet: the vehicle in full, what asks for the work, and the work
    line by line.
    """
    known = what_asks_for({line.operation for line in lines if line.ground.finding_code}, assessment)
    return [
        Evidence(title=BEHIND if known else IN_DETAIL),
        Pairs(rows=tuple(vehicle(job))),
        *_remarks(job),
        *known,
        *_photos(job, sheet),
        *work_in_full(job, lines, totals, sheet),
        *_own_reasons(job, sheet),
        *prescribed_words(sheet),
    ]


def _remarks(job: Job) -> list[Block]:
    """What was noted about the vehicle."""
    blocks: list[Block] = []
    for noted in job.all(Remarked):
        remark, stage = noted.record.words, noted.record.stage
        when = "on arrival" if stage == 0 else "after the work" if stage == job.stage else "between the work"
        if isinstance(remark, Personal):
            blocks.append(Paragraph(words=(f"Noted {when}: ", remark)))
    return blocks


def _photos(job: Job, sheet: Sheet) -> list[Block]:
    """The photos that were chosen for the paper, with what they show and when."""
    rows = tuple(
        PhotoRow(
            image=(chosen.image,) if isinstance(chosen.image, Personal) else (),
            width=chosen.width,
            height=chosen.height,
            what=_shown_on(noted.record, sheet),
            when=_photographed(noted, sheet),
        )
        for noted, chosen in job.photos_for_paper
    )
    return [Heading(text="Photos"), Photos(rows=rows)] if rows else []


def _shown_on(photo: Photographed, sheet: Sheet) -> Words:
    """What a photo shows: what it was said to be of, and the mechanic's own words."""
    of = ", ".join(filter(None, (sheet.titles.get(photo.of, photo.of), photo.place)))
    if isinstance(photo.what, Personal):
        return (f"{of}: ", photo.what) if of else (photo.what,)
    return (of or "The vehicle",)


def _photographed(noted: Noted[Photographed], sheet: Sheet) -> str:
    return f"{'After the work' if noted.record.stage else 'On arrival'}, {_day(noted, sheet)}"


def approval_rows(approvals: Sequence[ApprovalRow], sheet: Sheet) -> list[Block]:
    """Every approval that stands: to what, how much, by whom and how, and what was declined with it."""
    rows: list[tuple[str, Words]] = []
    for row in approvals:
        approval = row.approval
        estimated = Money(approval.total, approval.currency)
        total = f"{row.approved} of {estimated}" if row.approved != estimated else str(estimated)
        by = f"{total} {approval.currency}, approved by {_whom(approval.by)}, "
        if approval.declined and not row.approved.minor and estimated.minor:
            by = f"Declined as a whole by {_whom(approval.by)}, "
        day = f", {day_words(row.day)}" if row.day else ""
        text = (", signed" if approval.signature is not None else "") + day
        if approval.declined:
            text += f". Declined: {', '.join(_title(key, sheet) for key in approval.declined)}"
        why = (": ", run_of(row.because)) if row.because else ()
        rows.append((approval.estimate.capitalize(), joined_runs(by, run_of(approval.how), *why, text)))
        if approval.cancellation in CANCELLATION:
            rows.append(("Right to cancel", (CANCELLATION[approval.cancellation][1],)))
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


def work_in_full(job: Job, lines: Sequence[Line], totals: BillTotals, sheet: Sheet) -> list[Block]:
    """Every line with its ground, quantity and unit price; before it, over which visits the work went."""
    return [
        Heading(text="The work, line by line"),
        *(Paragraph(words=(sentence,)) for sentence in _visits(job, sheet)),
        priced_lines(lines, totals, sheet),
    ]


def _visits(job: Job, sheet: Sheet) -> list[str]:
    """One sentence for each time that the work was interrupted and taken up again."""
    sentences: list[str] = []
    left: Noted[Left | Arrived] | None = None
    for noted in job.visits:
        record = noted.record
        if isinstance(record, Arrived) and left is not None and isinstance(left.record, Left):
            odometer = (
                f", odometer {distance_words(record.odometer_typed, record.odometer)}"
                if record.odometer_typed
                else ""
            )
            sentences.append(
                f"Interrupted on {_day(left, sheet)}, {left.record.because}; taken up again on"
                f" {_day(noted, sheet)}{odometer}."
            )
        left = noted
    return sentences


def _day(noted: Noted[Any], sheet: Sheet) -> str:
    return day_words(sheet.day_of(noted.entry.taken or noted.entry.recorded))


def _own_reasons(job: Job, sheet: Sheet) -> list[Block]:
    """Why work took more or less than estimated or costs less, where that is said in own words: a priced line
    says only what anybody may read.
    """
    said: list[tuple[str, str, str]] = [
        *((noted.record.operation, noted.record.part, noted.record.because) for noted in job.charged),
        *((noted.record.operation, "discount", noted.record.because) for noted in job.discounted),
    ]
    rows = [
        (
            ", ".join(filter(None, (_title(operation, sheet) if operation else "", what))).capitalize(),
            (run_of(because),),
        )
        for operation, what, because in said
        if isinstance(because, KeptWords)
    ]
    return [Heading(text="Reasons noted"), Pairs(rows=tuple(rows))] if rows else []


def retest_results(assessment: Assessment) -> list[Block]:
    """What the retest says of each repair."""
    if not assessment.repairs:
        return []
    rows = [
        FindingRow(
            text=_retest_words(repair, assessment.job),
            verdict=_after_other_work(repair, assessment),
            urgency=repair.title,
        )
        for repair in assessment.repairs
    ]
    return [Heading(text="Result of the repair"), Findings(rows=tuple(rows))]


def _after_other_work(repair: RepairProof, assessment: Assessment) -> str:
    """When it was shown, where that is told by the name of other work: its own stands beside it already."""
    said = stage_words(repair.stage, assessment)
    return "" if said.endswith(f": {repair.title[:1].lower()}{repair.title[1:]}") else said


def _retest_words(repair: RepairProof, job: Job) -> str:
    """What the retest says; of work that did not fix, that it did not: how well its part reads now is beside
    the point.
    """
    return (
        "Did not fix what you came with; not charged."
        if repair.operation in did_not_fix(job)
        else f"{str(repair.proof).capitalize()}. {repair.why}"
    )


def cautions(operations: Iterable[str], sheet: Sheet) -> str:
    """The cautions of all the work on the paper; what several kinds of work share is said once."""
    texts = [sheet.operations[key].hazard for key in sorted(operations) if key in sheet.operations]
    sentences = dict.fromkeys(
        sentence for text in texts for sentence in re.split(r"(?<=[.!?]) ", text) if sentence
    )
    return " ".join([*sentences, "Local codes and licensed practice come first."]) if sentences else ""
