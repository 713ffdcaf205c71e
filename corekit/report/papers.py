"""Build the papers: an estimate and an invoice as Documents, from what the steps before have made.

The first sheet answers the customer: who and which vehicle, the answer, the account, what next, what it
costs, the code. Behind it stands how we know.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..account.account import Account
from ..account.row import FaultRow
from ..assess.assessment import Assessment
from ..billing.line import Line
from ..billing.totals import BillTotals, Payable
from ..model.document import FORM, Block, Code, Document, DocumentKind, Heading, Paragraph, Statement
from ..model.job import Job
from ..model.money import Money, total
from . import cost, sections
from .account_blocks import account_block, answer_block, approval_form, next_steps
from .dates import day_words
from .sheet import ApprovalRow, Sheet, in_units_of_sheet


@in_units_of_sheet
def estimate_document(
    job: Job,
    assessment: Assessment,
    account: Account,
    sheet: Sheet,
    *,
    name: str,
    stage: str,
    lines: Sequence[Line],
    totals: BillTotals,
    cap: Money | None = None,
    approved: Money | None = None,
    on_earlier: Money | None = None,
) -> Document:
    """The paper a customer approves: what was found, what is proposed and why, at which price, and what an
    approval covers.

    Args:
        account: With these lines as a proposal.
        cap: The most that call-out and diagnosis may come to, where the shop has set one.
        approved: What was approved in this job before.
        on_earlier: Tax on it that comes with these lines, in their total.
    """
    gross = totals.gross + on_earlier if on_earlier is not None else totals.gross
    until = day_words(sheet.valid_until)
    facts = [("Total", f"{gross} {sheet.currency}", True)]
    if until:
        facts.append(("Valid until", until, False))
    blocks: list[Block] = [
        *sections.parties_and_vehicle(job, sheet),
        answer_block(job, account, facts),
        account_block(account, assessment, sheet.currency),
        *sections.right_to_cancel(sheet),
        approval_form(account, _pieces(lines, account, sheet), until),
        next_steps(account, sheet),
        *cost.sums(lines, totals, None, sheet, approved=approved, on_earlier=on_earlier),
        Paragraph(words=(_covers(stage, cap, sheet, lines),), tone="small"),
        *sections.as_described(job, stage),
        *sections.grounds(job, assessment, sheet, lines, totals),
    ]
    hazards = sections.cautions({line.operation for line in lines}, sheet)
    if hazards:
        blocks += [Heading(text="For whoever does the work"), Statement(title="Cautions", words=(hazards,))]
    return Document(
        id=sheet.document_id,
        kind=DocumentKind.ESTIMATE,
        title=f"Estimate: {name}",
        shop=sheet.issuer.name,
        issued=day_words(sheet.issued),
        currency=sheet.currency,
        total=str(gross),
        prices=cost.price_basis(lines),
        blocks=tuple(blocks),
        draft=sheet.draft,
        demo=sheet.demo,
        form=FORM,
    )


def _pieces(lines: Sequence[Line], account: Account, sheet: Sheet) -> list[tuple[str, Money]]:
    """What is approved or declined as one piece, in the words of the account, and what its lines come to."""
    told = {
        row.operation: row.works[0].text for row in account.rows if isinstance(row, FaultRow) and row.works
    }
    pieces: dict[str, list[Line]] = {}
    for line in lines:
        pieces.setdefault(line.operation, []).append(line)
    return [
        (told.get(key, group[0].text) if key else _CAME, total((line.net for line in group), sheet.currency))
        for key, group in pieces.items()
    ]


_CAME = "Come and look for the cause"
_COVERS = {
    "diagnosis": (
        "Your approval covers the work above and nothing more. Looking changes nothing on your vehicle; any"
        " repair gets its own estimate."
    ),
    "repair": (
        "Your approval covers the work above and nothing more; you may decline any single piece of it."
    ),
}
_NOT_ABOVE = {
    "diagnosis": "The invoice for this work does not exceed the total without a new approval from you.",
    "repair": (
        "The invoice does not exceed this total, with what you approved before, without a new approval from"
        " you; local law may give you more rights."
    ),
}


def _covers(stage: str, cap: Money | None, sheet: Sheet, lines: Sequence[Line]) -> str:
    covers = f"{_COVERS[stage]} {_NOT_ABOVE[stage]}"
    if sheet.exceeds:
        covers = (
            f"{_COVERS[stage]} Without a new approval from you the invoice comes to at most {sheet.exceeds};"
            " before more is done, we ask you."
        )
    if cap is None or stage != "diagnosis":
        return covers
    basis = "with" if cost.price_basis(lines) else "before"
    return (
        f"{covers} However long the diagnosis takes: call-out, travel and diagnosis together never"
        f" cost more than {cap} {sheet.currency} {basis} tax without a new approval from you."
    )


@in_units_of_sheet
def invoice_document(
    job: Job,
    assessment: Assessment,
    account: Account,
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
        account: With these lines as charged.
        number: The invoice's number; empty on a draft.
        approvals: Every approval that stands.
        payments: How and how much.
        link, record_mark: For the code; a draft carries neither code nor link.
    """
    blocks: list[Block] = [
        *sections.parties_and_vehicle(job, sheet),
        answer_block(job, account, cost.facts(payable, sheet)),
        account_block(account, assessment, sheet.currency),
        next_steps(account, sheet),
        *cost.sums(lines, totals, payable, sheet, payments, approved_sum(approvals, sheet)),
        Code(document_id=sheet.document_id, link=link, record_mark=record_mark),
        *sections.evidence(job, assessment, sheet, lines, totals, approvals),
    ]
    return issued_document(sheet, number=number, payable=payable, lines=lines, blocks=blocks)


def approved_sum(approvals: Sequence[ApprovalRow], sheet: Sheet) -> Money | None:
    """What was approved in all; None where nothing was."""
    return total((row.approved for row in approvals), sheet.currency) if approvals else None


def issued_document(
    sheet: Sheet, *, number: str, payable: Payable, lines: Sequence[Line], blocks: Sequence[Block]
) -> Document:
    """An invoice with these blocks; without a number it is a draft's."""
    return Document(
        id=sheet.document_id,
        kind=DocumentKind.INVOICE,
        title=f"Invoice {number}" if number else "Invoice",
        shop=sheet.issuer.name,
        issued=day_words(sheet.issued),
        currency=sheet.currency,
        total=str(payable.gross + payable.rounding),
        prices=cost.price_basis(lines),
        blocks=tuple(blocks),
        number=number,
        draft=sheet.draft,
        demo=sheet.demo,
        form=FORM,
    )
