"""What a system says as a whole: the outcomes of its tests, its codes and its pictures."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from ...model.document import Document, DocumentKind, Picture
from ...model.figure import Figure, Label
from ...plugin.faults import FaultTest
from ...plugin.system import System
from ...report.figure_svg import figure_svg
from ...report.fonts import runs
from ...report.pdf import check_glyphs, render_pdf
from ...report.terminal import render_text
from .nonconformity import Nonconformity, error_words
from .said import Said

# ---- the fault table


def nonconforming_table(system: System, said: Said) -> Iterator[Nonconformity]:
    """Tests that nothing can answer, outcomes that nothing leads to, parts without a direct test."""
    table = system.faults
    if table is None:
        return
    for test in table.tests.values():
        of = f"test {test.key}"
        code = test.code or test.graded
        if code and code not in said.codes:
            yield Nonconformity(
                of=of,
                fault=f"asks for {code}, which no check yielded over any bench",
                cure="Correct the code, or let a check yield it for something that can be read.",
            )
            continue
        if missing := said.missing(system, test):
            yield Nonconformity(
                of=of,
                fault=f"no bench led to its outcome {', '.join(map(repr, missing))}",
                cure=_cure_of(test, said),
            )
    yield from _without_direct_test(system)


def _cure_of(test: FaultTest, said: Said) -> str:
    if test.code and test.code not in said.valued:
        return (
            f"{test.code} has no value, as every finding by eye: give its claims a grade, and the test"
            f' grade = {{ check = "{test.code}", answers = […] }}.'
        )
    if test.measurand:
        return f"Its bins lie outside what {test.measurand} can be: move `at`, or widen possible=."
    if test.graded:
        grades = ", ".join(map(repr, test.answers[0]))
        return (
            f"Let the check give that grade, Claim(grade=…), or correct the answers (the first are {grades})."
        )
    return "Move `at`, `beyond` or the limit so that a possible reading leads there, or drop the outcome."


def _without_direct_test(system: System) -> Iterator[Nonconformity]:
    """Work that exchanges a part is called for by the fault table alone, after a direct test."""
    table = system.faults
    assert table is not None
    for fault in table.faults.values():
        work = system.operations.get(fault.calls_for)
        if work is None or not work.replaces:
            continue
        if not any(fault.key in test.given and test.given[fault.key].direct for test in table.tests.values()):
            yield Nonconformity(
                of=f"fault {fault.key}",
                fault=f"calls for {work.key}, which exchanges a part, and no test speaks directly against it",
                cure=f'Give the row given.{fault.key} of the test that shows it direct = "…", or add such a'
                " test: without one the part is never called for.",
            )


def nonconforming_bars(system: System, said: Said) -> Iterator[Nonconformity]:
    """Checks that are barred by a finding of their own system which no check yields."""
    for check in system.checks.values():
        for code in check.not_while:
            if code.startswith(f"{system.key}.") and code not in said.codes:
                yield Nonconformity(
                    of=f"check {check.key}",
                    fault=f"not_while names {code}, which no check yielded over any bench",
                    cure="Correct the code, or let a check yield it.",
                )


def nonconforming_calls(system: System, said: Said) -> Iterator[Nonconformity]:
    """Operations that exchange a part and that no fault calls for: nothing could ever propose them."""
    if system.faults is None:
        return
    called = {fault.calls_for for fault in system.faults.faults.values()}
    for work in system.operations.values():
        if work.replaces and work.key not in called:
            yield Nonconformity(
                of=f"operation {work.key}",
                fault="exchanges a part, and no fault of the table calls for it",
                cure=f'Give the fault that it cures calls_for = "{work.key}", or drop the operation.',
            )


# ---- figures


def nonconforming_figures(said: Said) -> Iterator[Nonconformity]:
    """Every picture is drawn on paper, page and terminal; of each code the first fault alone."""
    for code, figures in said.figures.items():
        fault = next((fault for figure in figures if (fault := _drawing_fault(figure))), "")
        if fault:
            yield Nonconformity(
                of=f"figure of {code}",
                fault=fault,
                cure="A figure has finite places within it, letters of the papers' face, a title and a"
                " description that says the same.",
            )


def _drawing_fault(figure: Figure) -> str:
    if not figure.title.strip() or not figure.description.strip():
        return "has no title or no description"
    try:
        svg = figure_svg(figure, "kit")
        document = _document(figure)
        for label in (one.text for one in figure.marks if isinstance(one, Label)):
            runs(label, "regular", typed=False)
        check_glyphs(document)
        render_pdf(document, lambda reference: reference.kind, None)
        text = render_text(document, lambda reference: reference.kind, None)
    except Exception as error:
        return f"cannot be drawn, {error_words(error)}"
    if "nan" in svg or "inf" in svg:
        return "has a place that is no finite number"
    if figure.title.split()[0] not in text:
        return "says nothing in the terminal"
    return ""


@cache
def _document(figure: Figure) -> Document:
    return Document(
        id="conformance",
        kind=DocumentKind.INVOICE,
        title="Invoice",
        shop="",
        issued="",
        currency="EUR",
        total="0.00",
        blocks=(Picture(figure=figure),),
    )
