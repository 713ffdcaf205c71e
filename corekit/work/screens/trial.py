"""While somebody types: what these rows would show, without writing anything. And the same beside a form that came back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import attrs
import flask
from markupsafe import Markup

from ... import units
from ...assess.assessment import Assessment
from ...desk.answering import Tried
from ...intake.fault import VisitProblem
from ...model.finding import Finding
from ...model.records import Measured
from ...plugin.reading import Reading
from ...report.figure_svg import figure_svg
from ...report.found import finding_row
from ...report.readings import row_of
from ...report.strip import strip_figure
from ..exchange import REFUSALS, Wrong, fields, wrongs
from ..guiding import missing_for, resting_on
from ..rows import FieldProblem, rows_of
from ..van import Van

_FINDINGS = 3
_READING = "step[0].readings[0]."


@attrs.frozen(kw_only=True)
class Understood:
    """One reading as it was understood: its name, with its doubt, where that comes from, its limit, its strip."""

    name: str
    shown: str
    doubt: str
    limit: str
    source: str
    strip: Markup | None


@attrs.frozen(kw_only=True)
class Said:
    """One finding in words: verdict and urgency, the sentence, what it is held against."""

    verdict: str
    urgency: str
    text: str
    basis: str


@attrs.frozen(kw_only=True)
class Trial:
    """What the fields show so far.

    Attributes:
        wrong: Of fields in which something stands; what is still missing is no fault while typing.
        noted: The reading is no value and worth keeping, as a reason why there is none.
        missing: What the checks of this reading still lack, when nothing is said of it yet.
        remarks: What is odd and no fault.
    """

    readings: tuple[Understood, ...] = ()
    findings: tuple[Said, ...] = ()
    more: int = 0
    wrong: tuple[Wrong, ...] = ()
    noted: str = ""
    missing: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        return not (self.readings or self.findings or self.wrong or self.noted or self.remarks)


def trial_of(van: Van, job: str, given: Mapping[str, str], pairs: Iterable[tuple[str, str]]) -> Trial:
    """Try the rows that a form's fields make."""
    noted = _noted(van, given)
    try:
        tried = van.shop.tried(job, rows_of(pairs))
    except VisitProblem as problem:
        faults = [fault for fault in wrongs(problem) if given.get(fault.place, "").strip()]
        return Trial(wrong=() if noted else tuple(faults), noted=noted)
    except FieldProblem:
        raise
    except REFUSALS as problem:
        return Trial(wrong=tuple(wrongs(problem)))
    return _shown(van, tried)


def _shown(van: Van, tried: Tried) -> Trial:
    assessment = van.shop.assessed(tried.job)
    measured = [noted for noted in tried.job.all(Measured) if noted.id in tried.new]
    made = {reading.entry: reading for stage in assessment.readings for reading in stage}
    readings = [made[noted.id] for noted in measured if noted.id in made]
    findings = resting_on(tried.new, assessment)
    missing = [gap.about or gap.text for reading in readings if not findings for gap in missing_for(reading.measurand.key, assessment, van.shop.plugins)]
    return Trial(
        readings=tuple(_understood(reading, assessment, n) for n, reading in enumerate(readings)),
        findings=tuple(said(finding, assessment) for finding in findings[:_FINDINGS]), more=max(0, len(findings) - _FINDINGS),
        missing=tuple(dict.fromkeys(missing)), remarks=tried.remarks,
    )  # fmt: skip


def _understood(reading: Reading, assessment: Assessment, n: int) -> Understood:
    row = row_of(reading, assessment)
    return Understood(
        name=row.name, shown=reading.shown, doubt=reading.doubt_from, limit=row.limit, source=row.source,
        strip=Markup(figure_svg(strip_figure(row.strip, row.name), f"trial-{n}")) if row.strip is not None else None,
    )  # fmt: skip


def said(finding: Finding, assessment: Assessment) -> Said:
    """A finding as the mechanic reads it."""
    row = finding_row(finding, assessment)
    return Said(verdict=str(finding.verdict), urgency=str(finding.urgency), text=str(finding.text), basis=row.basis)


def _noted(van: Van, given: Mapping[str, str]) -> str:
    """The reason to keep, where the reading shows no number but something all the same (`OL`)."""
    measurand = van.shop.plugins.measurands.get(given.get(f"{_READING}of", ""))
    text = given.get(f"{_READING}is", "").strip()
    if measurand is None or not text:
        return ""
    try:
        units.read_reading(text, [measurand.unit], van.shop.settings.decimal)
    except units.NotAValue as problem:
        return problem.noted
    except units.TypedProblem:
        return ""
    return ""


def trial_again(van: Van, job: str) -> Trial | None:
    """The trial beside a form that came back with faults; None on a screen that was only opened."""
    if flask.g.get("given") is None:
        return None
    try:
        return trial_of(van, job, flask.request.form, list(fields()))
    except REFUSALS:
        return None  # what is wrong with the form itself stands above it already


def add(app: flask.Flask, van: Van) -> None:
    @app.post("/job/<job>/try")
    def try_rows(job: str) -> tuple[str, int]:
        """The fields of a form as they stand; a piece of page comes back, and nothing is written."""
        try:
            trial = trial_of(van, job, flask.request.form, list(fields()))
        except REFUSALS as problem:
            trial = Trial(wrong=tuple(wrongs(problem)))
        return flask.render_template("trial.html", trial=trial), 200
