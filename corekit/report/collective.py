"""Build one invoice over several vehicles of one customer: a section for each vehicle, then what all of it
costs.

The sections answer a customer's questions in the order of a single invoice; only the money is added up at the
end.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import attrs

from ..assess.assessment import Assessment
from ..billing.line import Line
from ..billing.totals import BillTotals, Payable
from ..model.document import Block, Code, Document, Heading, Pairs, Paragraph, Totals, Words
from ..model.job import Job
from ..model.money import Money, total
from ..model.personal import Personal
from . import cost, sections
from .findings import CODES_SAY, in_short, what_was_found
from .papers import issued_document
from .readings import how_read
from .sheet import ApprovalRow, Sheet


@attrs.frozen(kw_only=True)
class InvoicedJob:
    """What one job brings to the paper; as for a single invoice (see `papers.invoice`)."""

    job: Job
    assessment: Assessment
    lines: Sequence[Line]
    approvals: Sequence[ApprovalRow]
    payments: Sequence[tuple[str, Money]]


def collective(
    parts: Sequence[InvoicedJob],
    sheet: Sheet,
    *,
    number: str,
    totals: BillTotals,
    payable: Payable,
    link: int,
    record_mark: str,
) -> Document:
    """The one invoice over all these jobs.

    Args:
        parts: In the order in which they are told of; the customer is the same in all.
        totals, payable: Over all lines; tax is worked out once for the document, so a part has a net
            sub-total only.
        link, record_mark: As for a single invoice; the mark is over all the journals.
    """
    numbered = list(enumerate(parts, 1))
    customer = (
        *sections.parties(parts[0].job, sheet),
        ("Vehicles", (f"{len(parts)}, described one after the other",)),
    )
    payments = [(f"vehicle {nth}, {how}", amount) for nth, part in numbered for how, amount in part.payments]
    blocks: list[Block] = [
        Pairs(rows=customer),
        Heading(text="Summary"),
        *(block for nth, part in numbered for block in _in_short(nth, part)),
        *_sections_once(numbered, sheet),
        Heading(text="What we did"),
        *(block for nth, part in numbered for block in _lines(nth, part, totals, sheet)),
        Heading(text="What it costs"),
        *cost.sums(totals, payable, sheet, payments),
        Heading(text="For all vehicles"),
        *sections.closing([(part.assessment, part.lines) for part in parts], sheet),
        Code(document_id=sheet.document_id, link=link, record_mark=record_mark),
    ]
    return issued_document(sheet, number=number, payable=payable, blocks=blocks)


def _named(nth: int, job: Job) -> Words:
    description = job.vehicle.description
    return (f"Vehicle {nth}, ", description) if isinstance(description, Personal) else (f"Vehicle {nth}",)


def _identification(job: Job) -> list[Block]:
    """By what the customer knows it from the others, beside the lines that are paid for it."""
    known = [words for words in (job.vehicle.description, job.vehicle.plate) if isinstance(words, Personal)]
    return (
        [Paragraph(words=tuple(run for words in known for run in (", ", words))[1:], tone="small")]
        if known
        else []
    )


def _in_short(nth: int, part: InvoicedJob) -> list[Block]:
    short = [block for block in in_short(part.assessment) if isinstance(block, Paragraph)]
    return [attrs.evolve(block, words=(*_named(nth, part.job), ": ", *block.words)) for block in short]


def _section(nth: int, part: InvoicedJob, sheet: Sheet) -> list[Block]:
    """Everything about one vehicle but the money."""
    about: list[Block] = [
        *sections.complaint(part.job),
        *what_was_found(part.assessment, sheet),
        *sections.approvals(part.approvals, sheet),
        *sections.retest_results(part.assessment),
        *sections.to_watch(part.assessment, sheet),
    ]
    return [
        Heading(text=f"Vehicle {nth}"),
        Pairs(rows=tuple(sections.vehicle(part.job))),
        *map(_deeper, about),
    ]


def _deeper(block: Block) -> Block:
    return attrs.evolve(block, level=block.level + 1) if isinstance(block, Heading) else block


def _sections_once(parts: Sequence[tuple[int, InvoicedJob]], sheet: Sheet) -> Iterator[Block]:
    """The sections; how readings were taken and judged is said again only where it was another way."""
    printed: set[str] = set()
    for nth, part in parts:
        yield from (
            block
            for block in _section(nth, part, sheet)
            if not (isinstance(block, Paragraph) and block.words[0] in printed)
        )
        printed |= {CODES_SAY, how_read(part.assessment)}


def _lines(nth: int, part: InvoicedJob, totals: BillTotals, sheet: Sheet) -> list[Block]:
    net = total((line.net for line in part.lines), sheet.currency)
    return [
        Heading(text=f"Vehicle {nth}", level=2),
        *_identification(part.job),
        *(
            block
            for block in sections.work_done(part.job, part.lines, totals, sheet)
            if not isinstance(block, Heading)
        ),
        Totals(rows=((f"Net, vehicle {nth}", str(net), False),), currency=sheet.currency),
    ]
