"""While somebody types: what these rows would show, without writing anything.

And the same beside a form that came back.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import attrs
import flask
from markupsafe import Markup

from ..desk import preview
from ..desk.assessing import Assessment
from ..desk.causes import visits_behind_finding
from ..desk.errors import VisitError
from ..desk.preview import reason_not_a_number
from ..errors import CorekitError
from ..model.figure import Strip
from ..model.finding import Finding
from ..report.figure_svg import figure_svg
from ..report.findings import finding_row
from ..report.strip import strip_figure
from ..visit.fields import rows_of
from .context import Van
from .forms import Wrong, fields, wrongs
from .verdict import VerdictWord, verdict_word

_FINDINGS = 3
_READING = "step[0].readings[0]."


@attrs.frozen(kw_only=True)
class Understood:
    """One reading as it was understood: its name, with its uncertainty, where that comes from, its limit, its
    strip.
    """

    name: str
    shown: str
    uncertainty: str
    limit: str
    source: str
    strip: Markup | None


@attrs.frozen(kw_only=True)
class FindingWords:
    """One finding in words: the verdict, the sentence, what it is held against; its strip where the reading's
    own is another.
    """

    verdict: VerdictWord
    text: str
    basis: str
    strip: Markup | None = None


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
    findings: tuple[FindingWords, ...] = ()
    more: int = 0
    wrong: tuple[Wrong, ...] = ()
    noted: str = ""
    missing: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


def trial_of(van: Van, job: str, given: Mapping[str, str], pairs: Iterable[tuple[str, str]]) -> Trial:
    """Try the rows that a form's fields make.

    Raises:
        CorekitError: the fields are no rows, or there is no such job.
    """
    made = preview.preview_of(van.shop, job, rows_of(pairs))
    if made.faults:
        noted = _own_words(van, given)
        faults = [fault for fault in wrongs(VisitError(made.faults)) if given.get(fault.place, "").strip()]
        return Trial(wrong=() if noted else tuple(faults), noted=noted)
    return _trial(made, van)


def _trial(made: preview.Preview, van: Van) -> Trial:
    # What it was read with stands in its own field beside it; here only what was asked for is said again.
    first = [one for one in made.readings if one.reading.measurand == made.readings[0].reading.measurand]
    own_strip = any(one.row.strip is not None for one in first)
    return Trial(
        readings=tuple(_understood(one, n) for n, one in enumerate(first)),
        findings=tuple(
            _finding_words(one, n, own_strip, van) for n, one in enumerate(made.found[:_FINDINGS])
        ),
        more=max(0, len(made.found) - _FINDINGS),
        missing=(
            tuple(dict.fromkeys(gap.about or gap.text.rstrip(".") for gap in made.gaps))
            if not made.found
            else ()
        ),
        remarks=made.remarks,
    )


def _understood(one: preview.UnderstoodReading, n: int) -> Understood:
    row, reading = one.row, one.reading
    return Understood(
        name=row.name,
        shown=reading.shown,
        uncertainty=reading.uncertainty_from,
        limit=row.limit,
        source=row.source,
        strip=_strip_svg(row.strip, row.name, f"trial-{n}"),
    )


def _finding_words(one: preview.ShownFinding, n: int, own_strip: bool, van: Van) -> FindingWords:
    finding = one.finding
    strip = None if own_strip else _strip_svg(one.strip, finding.check, f"trial-found-{n}")
    return FindingWords(
        verdict=verdict_word(finding),
        text=_learned(finding, van),
        basis=one.row.basis,
        strip=strip,
    )


def _learned(finding: Finding, van: Van) -> str:
    """What a finding says, and on how many jobs of the shop it rests how likely what it calls for is."""
    visits = visits_behind_finding(finding, van.shop.plugins)
    return f"{finding.text} How likely what it calls for is: {visits}." if visits else str(finding.text)


def finding_words(finding: Finding, assessment: Assessment, van: Van) -> FindingWords:
    """A finding as the mechanic reads it."""
    return FindingWords(
        verdict=verdict_word(finding),
        text=_learned(finding, van),
        basis=finding_row(finding, assessment).basis,
    )


def _strip_svg(strip: Strip | None, name: str, key: str) -> Markup | None:
    return Markup(figure_svg(strip_figure(strip, name), key)) if strip is not None else None


def _own_words(van: Van, given: Mapping[str, str]) -> str:
    """The reason to save, where the reading shows no number but something all the same (`OL`)."""
    return reason_not_a_number(van.shop, given.get(f"{_READING}of", ""), given.get(f"{_READING}is", ""))


def trial_again(van: Van, job: str) -> Trial | None:
    """The trial beside a form that came back with faults; None on a screen that was only opened."""
    if flask.g.get("given") is None:
        return None
    try:
        trial = trial_of(van, job, flask.request.form, list(fields()))
    except CorekitError:
        return None  # what is wrong with the form itself stands above it already
    return attrs.evolve(trial, wrong=())  # and each fault stands beside its field


def add(app: flask.Flask, van: Van) -> None:
    @app.post("/job/<job>/try")
    def try_rows(job: str) -> tuple[str, int]:
        """The fields of a form as they stand; a piece of page comes back, and nothing is written."""
        try:
            trial = trial_of(van, job, flask.request.form, list(fields()))
        except CorekitError as error:
            trial = Trial(wrong=tuple(wrongs(error)))
        return flask.render_template("trial.html", trial=trial), 200
