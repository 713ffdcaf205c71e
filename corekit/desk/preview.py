"""What rows of a visit file would show, while they are still being typed; nothing is written."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

import attrs

from .. import units
from ..account.noted import is_noted
from ..assess.assessment import Assessment
from ..fault import DataFault
from ..intake.fault import VisitError
from ..model.document import FindingRow, ReadingRow
from ..model.figure import Strip
from ..model.finding import Finding, Gap
from ..model.job import Job
from ..model.records import Measured, Seen
from ..plugin.host import Plugins
from ..plugin.reading import Reading
from ..report.findings import finding_row
from ..report.readings import row_of, strip_of_finding
from .assessing import assessment_of
from .context import ShopContext
from .rows import job_with


@attrs.frozen(kw_only=True)
class UnderstoodReading:
    """One reading as it was understood: with its uncertainty in `row.before` (and `row.after`, where it was
    read at an earlier stage too).
    """

    reading: Reading
    row: ReadingRow


@attrs.frozen(kw_only=True)
class ShownFinding:
    """One finding that rests on the rows, as paper words it; `strip` where something was held against a
    limit.
    """

    finding: Finding
    row: FindingRow
    strip: Strip | None


@attrs.frozen(kw_only=True)
class Preview:
    """What rows would show.

    Attributes:
        readings: As understood, those that others were read with behind them.
        found: The findings that rest on the rows, most urgent first.
        gaps: What the checks that these rows are meant for still lack, and why.
        faults: What is wrong with the rows; then there is nothing else. One with `asked` is a question about
            an unusual value.
        remarks: What is odd but no fault.
        assessment: All that would be made of the job; None where nothing was said or something is wrong.
    """

    readings: tuple[UnderstoodReading, ...] = ()
    found: tuple[ShownFinding, ...] = ()
    gaps: tuple[Gap, ...] = ()
    faults: tuple[DataFault, ...] = ()
    remarks: tuple[str, ...] = ()
    assessment: Assessment | None = None


def preview_of(shop: ShopContext, job: str | None, rows: Mapping[str, Any]) -> Preview:
    """What these rows would show if they were the next of a job.

    Args:
        job, rows: As `rows.add_rows` takes them.

    Raises:
        DeskError, StoreError: there is no such job. Whatever is wrong with the rows stands in the result.
    """
    try:
        would_be = job_with(shop, job, rows)
    except VisitError as error:
        return Preview(faults=error.faults)
    if not would_be.new:
        return Preview(remarks=would_be.remarks)
    assessment = assessment_of(shop, would_be.job.in_words(would_be.texts))
    new = frozenset(would_be.new)
    found = [finding for finding in assessment.findings if not new.isdisjoint(finding.evidence)]
    return Preview(
        readings=tuple(
            UnderstoodReading(reading=reading, row=row_of(reading, assessment))
            for reading in _new_readings(assessment, new)
        ),
        found=tuple(
            ShownFinding(
                finding=finding,
                row=finding_row(finding, assessment),
                strip=strip_of_finding(finding, assessment),
            )
            for finding in found
        ),
        gaps=tuple(_gaps_of(would_be.job, assessment, new, shop.plugins)),
        remarks=would_be.remarks,
        assessment=assessment,
    )


def _new_readings(assessment: Assessment, new: Collection[str]) -> Iterator[Reading]:
    """The readings that are new, each once; what they were read with comes last, since it was mostly said
    before.
    """
    now = assessment.readings[-1]
    yield from (reading for reading in now if reading.entry in new)
    beside = {
        (key, setup.entry): setup
        for reading in now
        for key, setup in reading.setup.items()
        if setup.entry in new
    }
    yield from beside.values()


def _gaps_of(job: Job, assessment: Assessment, new: Collection[str], plugins: Plugins) -> Iterator[Gap]:
    """The gaps of the checks that ask for what was said."""
    said = {noted.record.of for noted in job.all(Measured) if noted.id in new} | {
        noted.record.of for noted in job.all(Seen) if noted.id in new
    }
    asking = {
        (system.key, check.title)
        for system in plugins.systems.values()
        for check in system.checks.values()
        if not said.isdisjoint(parameter.of.key for parameter in check.parameters)
    }
    for gap in assessment.gaps:
        asked = (gap.system, gap.check) in asking or gap.wants in said
        if gap.stage == job.stage and asked and not is_noted(gap, job):
            yield gap


def reason_not_a_number(shop: ShopContext, measurand: str, text: str) -> str:
    """Why a meter shows something that is no number (`OL`), in the words to save; empty otherwise."""
    declared = shop.plugins.measurands.get(measurand)
    if declared is None or not text.strip():
        return ""
    try:
        units.read_reading(text.strip(), [declared.unit], shop.settings.decimal)
    except units.NotAValue as error:
        return error.noted
    except units.TypedError:
        return ""
    return ""
