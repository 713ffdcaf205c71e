"""Build one invoice over several vehicles of one customer: one account and one bill over all of them on the
first sheet, then the evidence of each.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import attrs

from ..account.account import Account
from ..assess.assessment import Assessment
from ..billing.line import Line
from ..billing.totals import BillTotals, Payable
from ..model import document as blocks
from ..model.document import (
    Answer,
    Block,
    Code,
    Document,
    Evidence,
    Heading,
    NextSteps,
    Pairs,
    Paragraph,
    Totals,
    Words,
)
from ..model.job import Job
from ..model.money import Money, total
from ..model.personal import Personal
from . import cost, sections
from .account_blocks import account_rows, guarantee, next_steps
from .findings import CODES_SAY
from .papers import approved_sum, issued_document
from .readings import how_read
from .sheet import ApprovalRow, Sheet, in_units_of_sheet


@attrs.frozen(kw_only=True)
class InvoicedJob:
    """What one job brings to the paper; as for a single invoice (see `papers.invoice_document`)."""

    job: Job
    assessment: Assessment
    account: Account
    lines: Sequence[Line]
    approvals: Sequence[ApprovalRow]
    payments: Sequence[tuple[str, Money]]


@in_units_of_sheet
def collective(
    parts: Sequence[InvoicedJob],
    sheet: Sheet,
    *,
    number: str,
    totals: BillTotals,
    payable: Payable,
    link: int,
    record_mark: str,
    is_one_order: bool = True,
) -> Document:
    """The one invoice over all these jobs.

    Args:
        parts: In the order in which they are told of; the customer is the same in all.
        totals, payable: Over all lines; tax is worked out once for the document, so a part has a net
            sub-total only.
        is_one_order: One order number of the customer's, or none, holds for all of it.
        link, record_mark: As for a single invoice; the mark is over all the journals.
    """
    numbered = list(enumerate(parts, 1))
    payments = [(f"vehicle {nth}, {how}", amount) for nth, part in numbered for how, amount in part.payments]
    lines = [line for part in parts for line in part.lines]
    approvals = [row for part in parts for row in part.approvals]
    paper: list[Block] = [
        Pairs(
            rows=(
                *sections.parties(parts[0].job, sheet, order_number=is_one_order),
                *(row for nth, part in numbered for row in _vehicle(nth, part.job, is_one_order)),
            )
        ),
        _answer(numbered, payable, sheet),
        blocks.Account(
            rows=tuple(
                row
                for nth, part in numbered
                for row in account_rows(part.account, part.assessment, _number_words(nth))
            ),
            currency=sheet.currency,
        ),
        NextSteps(
            rows=(
                *(row for nth, part in numbered for row in _steps(nth, part, sheet)),
                *guarantee(sheet),
            )
        ),
        *cost.sums(lines, totals, payable, sheet, payments, approved_sum(approvals, sheet)),
        Code(document_id=sheet.document_id, link=link, record_mark=record_mark),
        Evidence(title=sections.BEHIND),
        *_evidence(numbered, totals, sheet),
    ]
    return issued_document(sheet, number=number, payable=payable, lines=lines, blocks=paper)


def _vehicle(nth: int, job: Job, is_one_order: bool) -> Iterator[tuple[str, Words]]:
    yield f"Vehicle {nth}", sections.vehicle_in_short(job)
    if not is_one_order and isinstance(job.customer.order_number, Personal):
        yield f"Your order number, vehicle {nth}", (job.customer.order_number,)


def _number_words(nth: int) -> str:
    return f"Vehicle {nth}: "


def _answer(numbered: Sequence[tuple[int, InvoicedJob]], payable: Payable, sheet: Sheet) -> Answer:
    """What was told of each vehicle, and the answer for each."""
    said: list[str | Personal] = []
    for nth, part in numbered:
        words = part.job.opened.words
        if isinstance(words, Personal):
            said += [" " if said else "", _number_words(nth), words]
    symptoms = [
        _number_words(nth) + "; ".join(part.account.points) for nth, part in numbered if part.job.complained
    ]
    return Answer(
        said=tuple(said),
        symptoms=" ".join(symptoms),
        text=" ".join(_number_words(nth) + part.account.answer for nth, part in numbered),
        facts=cost.facts(payable, sheet),
    )


def _steps(nth: int, part: InvoicedJob, sheet: Sheet) -> Iterator[tuple[str, Words]]:
    yield from next_steps(part.account, sheet, _number_words(nth)).rows[: len(part.account.steps)]


def _evidence(
    numbered: Sequence[tuple[int, InvoicedJob]], totals: BillTotals, sheet: Sheet
) -> Iterator[Block]:
    """The evidence of each vehicle; how readings were taken and judged is said again only where it was
    another way.
    """
    printed: set[str] = set()
    for nth, part in numbered:
        behind = sections.evidence(part.job, part.assessment, sheet, part.lines, totals, part.approvals)
        yield Heading(text=f"Vehicle {nth}")
        yield from (
            _deeper(block)
            for block in behind
            if not isinstance(block, Evidence)
            and not (isinstance(block, Paragraph) and block.words[0] in printed)
        )
        net = total((line.net for line in part.lines), sheet.currency)
        basis = "With tax" if cost.price_basis(part.lines) else "Net"
        yield Totals(rows=((f"{basis}, vehicle {nth}", str(net), False),), currency=sheet.currency)
        printed |= {CODES_SAY, how_read(part.assessment)}


def _deeper(block: Block) -> Block:
    return attrs.evolve(block, level=block.level + 1) if isinstance(block, Heading) else block
