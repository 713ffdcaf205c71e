"""Explaining: the account as it stands, for the customer's own eyes, and folded below it every finding in the
trade's words; nothing about causes and their chances, which have a screen of their own for the mechanic.
"""

from __future__ import annotations

import attrs
import flask
from markupsafe import Markup

from ..account.noted import own_words
from ..desk.assessing import Assessment
from ..desk.causes import likely_causes
from ..desk.complaint import not_covered, not_covered_words
from ..desk.offerable import requested_work
from ..model.finding import Finding, Urgency, Verdict
from ..report.figure_svg import figure_svg
from ..report.findings import finding_row, not_looked_at, story
from ..report.readings import strip_of_finding
from ..report.statements import code_sentences
from ..report.strip import strip_figure
from .approve import ahead_of_repair
from .context import Van
from .page import job_page, personal_words
from .told import told_now

#: How plainly it is said, where it is not said plainly.
_HOW_SURE = {Verdict.ADVICE: "advice", Verdict.UNDECIDED: "not decided yet"}


@attrs.frozen(kw_only=True)
class Explanation:
    """One finding as the customer reads it: when, how sure where that is not plain, the sentence, the limit
    in words, the limit strip, a figure.
    """

    when: str
    how_sure: str
    text: str
    basis: str
    strip: Markup
    figure: Markup


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/job/<job>/explain")
    def explain(job: str) -> str:
        record = van.job(job)
        assessment = van.assessed(record)
        findings = story(assessment)
        to_do = [finding for finding in findings if not _in_order(finding, assessment)]
        texts = van.texts(record)
        ahead, _ = ahead_of_repair(van, record)
        return job_page(
            "explain.html",
            record,
            van,
            told=told_now(van, record, assessment, ahead) if findings else "",
            explanations=[explanation(finding, assessment, n) for n, finding in enumerate(to_do)],
            in_order=[str(finding.text) for finding in findings if _in_order(finding, assessment)],
            codes=code_sentences(record),
            noted=[
                (van.shop.plugins.title(one.of), one.place, one.text(texts) or "removed")
                for one in own_words(record)
                if one.of
            ],
            not_said=not_looked_at(assessment),
            words=personal_words(record.opened.words, texts),
            estimates=bool(requested_work(record, assessment, van.shop.plugins)),
        )

    @app.get("/job/<job>/causes")
    def causes(job: str) -> str:
        """What it could be, for the mechanic alone."""
        record = van.job(job)
        return job_page(
            "likely.html",
            record,
            van,
            causes=likely_causes(van.assessed(record), van.shop.plugins),
            not_covered=[not_covered_words(one) for one in not_covered(record, van.shop.plugins)],
        )


def _in_order(finding: Finding, assessment: Assessment) -> bool:
    return finding.urgency is Urgency.NOTHING or assessment.is_dealt_with(finding)


def explanation(finding: Finding, assessment: Assessment, n: int) -> Explanation:
    """A finding for the customer's eyes; `n` keeps the drawings of one page apart."""
    row, strip = finding_row(finding, assessment), strip_of_finding(finding, assessment)
    drawn = (
        Markup(figure_svg(strip_figure(strip, finding.check), f"explained-{n}"))
        if strip is not None
        else Markup()
    )
    figure = Markup(figure_svg(finding.figure, f"figure-{n}")) if finding.figure is not None else Markup()
    return Explanation(
        when=row.urgency,
        how_sure=_HOW_SURE.get(finding.verdict, ""),
        text=row.text,
        basis=row.basis,
        strip=drawn,
        figure=figure,
    )
