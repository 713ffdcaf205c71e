"""The basis of a finding on the paper: what a reader must know of a limit before the verdict is believed."""

from __future__ import annotations

from typing import Any

import attrs
import pytest

from corekit.assess.assessment import Assessment
from corekit.judge import conform
from corekit.model.document import Document, DocumentKind, Findings
from corekit.model.finding import Finding, Text, Urgency, Verdict
from corekit.model.job import Job
from corekit.model.limit import Limit, Scope
from corekit.model.source import BASIS_WORDS, Basis, Source, Status
from corekit.model.value import Value
from corekit.report.findings import finding_row
from corekit.report.page import render_page
from corekit.report.pdf import render_pdf
from corekit.report.personal_text import mask
from corekit.report.terminal import render_text

from .readback import page_text, pdf_pages

WEAK = "It only advises."


def limit_from(
    basis: Basis = Basis.HANDBOOK,
    status: Status = Status.READ,
    why: str = "exact",
    **more: Any,
) -> Limit:
    source = Source(key="s", title="A source", basis=basis, status=status)
    return Limit(key="lamp.volts", source=source, low=Value("voltage", 9.6), why=why, **more)


def finding_by(*limits: Limit) -> Finding:
    """What 8.4 V is held against the first of these limits."""
    value = Value("voltage", 8.4)
    return Finding(
        system="lamp",
        code="lamp.volts",
        check="Voltage at the lamp",
        verdict=conform(value, limits[0]).verdict,
        urgency=Urgency.THIS_VISIT,
        text=Text("The lamp has 8.4 V."),
        value=value,
        unit="V",
        limits=limits,
    )


def papers_of(*findings: Finding) -> list[str]:
    """What paper, page and terminal say of these findings."""
    assessment = Assessment(
        job=Job(id="j", entries=(), standing=(), disputes=()),
        findings=findings,
        gaps=(),
        suspects=(),
        next_tests=(),
        calls=(),
        comparisons=(),
        repairs=(),
        readings=(),
        failures=(),
        versions={},
    )
    rows = tuple(finding_row(finding, assessment) for finding in findings)
    document = Document(
        id="d",
        kind=DocumentKind.INVOICE,
        title="Invoice",
        shop="Test Repairs",
        issued="2026-03-05",
        currency="EUR",
        total="1.00",
        blocks=(Findings(rows=rows),),
        number="2026-A0001",
    )
    texts = [
        *pdf_pages(render_pdf(document, mask, None)),
        page_text(render_page(document, mask, None)),
        render_text(document, mask, None),
    ]
    return [" ".join(text.split()) for text in texts]


@pytest.mark.parametrize(
    "limit",
    [
        limit_from(why=""),
        limit_from(basis=Basis.STANDARD, why=""),
        limit_from(only_advises=True),
    ],
    ids=["without a width", "a standard's without a width", "of which its author says so"],
)
def test_beside_an_advice_paper_page_and_terminal_say_that_the_limit_only_advises(limit: Limit) -> None:
    finding = finding_by(limit)
    assert finding.verdict is Verdict.ADVICE
    for text in papers_of(finding):
        assert "advice" in text
        assert text.count(WEAK) == 1, text


@pytest.mark.parametrize(
    "limit",
    [
        limit_from(),
        *(limit_from(basis=basis) for basis in Basis if basis is not Basis.HANDBOOK),
        *(limit_from(status=status) for status in Status if status is not Status.READ),
    ],
)
def test_beside_a_verdict_nothing_says_that_the_limit_only_advises(limit: Limit) -> None:
    finding = finding_by(limit)
    assert finding.verdict is Verdict.FAIL
    for text in papers_of(finding):
        assert "fail" in text
        assert f"Limit: {BASIS_WORDS[limit.source.basis]}, at least 9.6 V." in text
        assert WEAK not in text


def test_the_words_stand_at_the_weak_one_of_two_findings() -> None:
    weak = attrs.evolve(finding_by(limit_from(why="")), text=Text("Weak one."), place="left")
    strong = attrs.evolve(finding_by(limit_from()), text=Text("Strong one."), place="right")
    for text in papers_of(weak, strong):
        assert text.index("Weak one.") < text.index(WEAK) < text.index("Strong one.")
    for text in papers_of(strong, weak):
        assert text.index("Strong one.") < text.index("Weak one.") < text.index(WEAK)


def test_a_weak_general_figure_that_the_vehicles_own_limit_beats_does_not_weaken_it() -> None:
    own = limit_from(scope=Scope.THIS_VEHICLE)
    for text in papers_of(finding_by(own, limit_from(why=""))):
        assert "It replaces the general figure" in text
        assert WEAK not in text
