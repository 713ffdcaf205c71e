"""What is not charged, and how paper says so: work that did not fix, that is under a guarantee, that makes
good earlier work, or as goodwill.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

import attrs

from ..model.job import Job
from ..model.money import Money
from ..model.records import Waived
from .line import Line

#: What a mechanic says of work that was not the cure, one of `records.WAIVED_BECAUSE`.
DID_NOT_FIX = "did not fix"


def waivers(job: Job) -> dict[str, str]:
    """What a job does not charge for → the note that is printed.

    Keys are those of operations, or kinds of line (`call-out`, `diagnosis`).

    The latest word on one thing counts.
    """
    rework = {
        noted.record.operation: f"rework of invoice {noted.record.invoice}; not charged"
        for noted in job.requested
        if noted.record.ground == "rework"
    }
    return {
        **rework,
        **{noted.record.operation or noted.record.charge: _note(noted.record) for noted in job.waived},
    }


def _note(waived: Waived) -> str:
    return f"{waived.because}{f' on invoice {waived.invoice}' if waived.invoice else ''}; not charged"


def did_not_fix(job: Job) -> frozenset[str]:
    """Operations that were done, did not fix what they were for, and are not charged for that reason.

    Nothing is to show any more that such work helped.
    """
    return frozenset(noted.record.operation for noted in job.waived if noted.record.because == DID_NOT_FIX)


def waive(lines: Iterable[Line], notes: Mapping[str, str]) -> tuple[Line, ...]:
    """The same lines, those of waived things at no charge and with the reason on them; the quantity
    stays, because it was done.
    """
    return tuple(_at_nothing(line, notes[line.what]) if line.what in notes else line for line in lines)


def _at_nothing(line: Line, note: str) -> Line:
    return attrs.evolve(line, price=Decimal(0), net=Money(0, line.net.currency), waived=note)


def charged_lines(lines: Iterable[Line]) -> tuple[Line, ...]:
    """The lines that are not waived."""
    return tuple(line for line in lines if not line.waived)
