"""Build the papers: an estimate and an invoice as Documents, from what the steps before have made.

The order is that of a customer's questions: who and which vehicle; what you told us; what we found and how we
know; what you approved; what we did; whether it worked; what it costs; what to watch; the code.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..assess.assessment import Assessment
from ..billing.line import Line
from ..billing.totals import BillTotals, Payable
from ..model.document import Block, Code, Document, DocumentKind, Findings, Heading, Paragraph, Statement
from ..model.job import Job
from ..model.money import Money
from . import cost, sections
from .findings import finding_row, in_short, what_was_found
from .sheet import ApprovalRow, Sheet


def estimate_document(
    job: Job,
    assessment: Assessment,
    sheet: Sheet,
    *,
    name: str,
    stage: str,
    lines: Sequence[Line],
    totals: BillTotals,
    cap: Money | None = None,
) -> Document:
    """The paper a customer approves: what it is about, on what ground, at which price, and what an approval
    covers.

    Args:
        cap: The most that call-out and diagnosis may come to before tax, where the shop has set one.
    """
    blocks: list[Block] = [*sections.parties_and_vehicle(job, sheet), *sections.complaint(job)]
    estimated = {line.operation for line in lines if line.ground.finding_code}
    grounds = [finding for finding in assessment.current if finding.calls_for in estimated]
    if grounds:
        blocks += [
            Heading(text="What we found"),
            Findings(rows=tuple(finding_row(finding, assessment) for finding in grounds)),
        ]
    blocks += [
        Heading(text="Proposed work"),
        cost.priced_lines(lines, totals, sheet),
        *cost.sums(totals, None, sheet),
    ]
    blocks += [Heading(text="What you are approving"), Paragraph(words=(_COVERS[stage],))]
    if cap is not None and stage == "diagnosis":
        blocks.append(
            Paragraph(
                words=(f"{_CAPPED} {cap} {sheet.currency} before tax without a new approval from you.",)
            )
        )
    blocks += sections.as_described(job, stage)
    hazards = sections.cautions({line.operation for line in lines}, sheet)
    if hazards:
        blocks.append(Statement(title="Cautions", words=(hazards,)))
    return Document(
        id=sheet.document_id,
        kind=DocumentKind.ESTIMATE,
        title=f"Estimate: {name}",
        shop=sheet.issuer.name,
        issued=sheet.issued,
        currency=sheet.currency,
        total=str(totals.gross),
        blocks=tuple(blocks),
        draft=sheet.draft,
        demo=sheet.demo,
    )


_CAPPED = "However long the diagnosis takes: call-out, travel and diagnosis together never cost more than"
_COVERS = {
    "diagnosis": (
        "The work above and nothing more. Taking readings changes nothing on your vehicle; any repair gets"
        " its own estimate. The invoice for this work does not exceed the total without"
        " a new approval from you."
    ),
    "repair": (
        "The work above and nothing more. You may decline any single piece of work. The invoice does not"
        " exceed the total without a new approval from you; local law may give you more rights than this"
        " estimate states."
    ),
}


def invoice_document(
    job: Job,
    assessment: Assessment,
    sheet: Sheet,
    *,
    number: str,
    lines: Sequence[Line],
    totals: BillTotals,
    payable: Payable,
    approvals: Sequence[ApprovalRow],
    payments: Sequence[tuple[str, Money]],
    link: int,
    record_mark: str,
) -> Document:
    """The paper the customer keeps.

    Args:
        number: The invoice's number; empty on a draft.
        approvals: Every approval that stands.
        payments: How and how much.
        link, record_mark: For the code; a draft carries neither code nor link.
    """
    blocks: list[Block] = [
        *sections.parties_and_vehicle(job, sheet),
        *sections.complaint(job),
        *in_short(assessment),
        *what_was_found(assessment, sheet),
        *sections.approvals(approvals, sheet),
        *sections.work_done(job, lines, totals, sheet),
        *sections.retest_results(assessment),
        Heading(text="What it costs"),
        *cost.sums(totals, payable, sheet, payments),
        *sections.watch(assessment, lines, sheet),
        Code(document_id=sheet.document_id, link=link, record_mark=record_mark),
    ]
    return issued_document(sheet, number=number, payable=payable, blocks=blocks)


def issued_document(sheet: Sheet, *, number: str, payable: Payable, blocks: Sequence[Block]) -> Document:
    """An invoice with these blocks; without a number it is a draft's."""
    return Document(
        id=sheet.document_id,
        kind=DocumentKind.INVOICE,
        title=f"Invoice {number}" if number else "Invoice",
        shop=sheet.issuer.name,
        issued=sheet.issued,
        currency=sheet.currency,
        total=str(payable.gross + payable.rounding),
        blocks=tuple(blocks),
        number=number,
        draft=sheet.draft,
        demo=sheet.demo,
    )
