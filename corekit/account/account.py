"""The account of a job as one value: one row for every point of the complaint and every fault found besides.

It is a function of what was assessed and priced; paper, page and screens draw it.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from .. import units
from ..assess.assessment import Assessment
from ..billing.book import PriceBook
from ..billing.line import Line
from ..errors import InputError
from ..model.job import Job
from ..plugin.host import Plugins
from .answer import answer_of, proof_of
from .faults import Told, fault_rows, work_of
from .points import answered_rows, points_of
from .prices import prices_in_words
from .row import Row, Work
from .steps import Step, steps_of


@attrs.frozen(kw_only=True)
class Account:
    """What the customer is told of a job.

    Attributes:
        points: Words of every point of the complaint.
        rows: In the order of the complaint, then what was found besides.
        charges: Call-out, travel and diagnosis, which belong to no row.
        answer: The answer in one sentence. proof: What shows it, in one more; empty where nothing does.
        steps: What is left to do and to know; never empty.

    Raises:
        InputError: a point of the complaint has no row.
    """

    points: tuple[str, ...]
    rows: tuple[Row, ...]
    charges: tuple[Work, ...] = ()
    answer: str = ""
    proof: str = ""
    steps: tuple[Step, ...] = ()

    def __attrs_post_init__(self) -> None:
        told = {point for row in self.rows for point in row.points}
        if missing := [point for point in self.points if point not in told]:
            raise InputError(f"An account answers every point of the complaint; without a row: {missing}.")


def account_of(
    job: Job,
    assessment: Assessment,
    plugins: Plugins,
    *,
    lines: Sequence[Line] = (),
    is_proposal: bool = False,
    book: PriceBook | None = None,
) -> Account:
    """The account of a job.

    Args:
        lines: The priced lines that it is to show.
        is_proposal: They are proposed, not charged.
        book: What the next step would cost; without one no price is said.
    """
    with units.shown_in(plugins.units):
        return _told(job, assessment, plugins, lines, is_proposal, book)


def _told(
    job: Job,
    assessment: Assessment,
    plugins: Plugins,
    lines: Sequence[Line],
    is_proposal: bool,
    book: PriceBook | None,
) -> Account:
    told = Told(
        job=job,
        assessment=assessment,
        plugins=plugins,
        lines=lines,
        is_proposal=is_proposal,
        prices=prices_in_words(book) if book is not None else {},
    )
    rows = tuple(answered_rows(fault_rows(told), told))
    return Account(
        points=tuple(point.words for point in points_of(job)),
        rows=rows,
        charges=tuple(work_of(line, plugins) for line in lines if not line.operation),
        answer=answer_of(rows, told),
        proof=proof_of(rows),
        steps=steps_of(rows, told),
    )
