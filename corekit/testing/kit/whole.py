"""What a system says as a whole, over many benches: the outcomes of its tests, its codes and its pictures."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from functools import cache

import attrs

from ...assess.outcome import all_outcomes
from ...model.document import Document, DocumentKind, Picture
from ...model.figure import Figure, Label
from ...model.finding import Finding
from ...model.measurand import Measurand
from ...plugin.check import Check, run
from ...plugin.faults import FaultTable, FaultTest
from ...plugin.guard import Overrun, time_limit
from ...plugin.system import System
from ...report.figure_svg import figure_svg
from ...report.fonts import runs
from ...report.pdf import check_glyphs, render_pdf
from ...report.terminal import render_text
from .benches import Laid, laid, swept
from .driving import MOST_SECONDS, ShownError, TooSlowError, results_of
from .nonconformity import Nonconformity, error_words
from .side_effects import watched

#: An outcome that once had this weight can be reached; so many pictures of a code are drawn.
_REACHED, _PICTURES = 0.5, 5
#: How long an outcome is searched for: benches, those whose readings are moved, and in how many steps.
_SEARCHES, _SWEEPS, _STEPS = 60, 8, 16


@attrs.define
class Said:
    """Everything that came up.

    Attributes:
        codes: Code of a finding → the checks that yielded it. valued: Codes that once had a value.
        outcomes: (test, outcome) that had weight. figures: A few for each code.
        grades: Code → the grades that its findings had.
    """

    codes: dict[str, dict[str, Check[...]]] = attrs.field(factory=dict)
    valued: set[str] = attrs.field(factory=set)
    outcomes: set[tuple[str, str]] = attrs.field(factory=set)
    figures: dict[str, list[Figure]] = attrs.field(factory=dict)
    grades: dict[str, set[str]] = attrs.field(factory=dict)

    def missing(self, system: System, test: FaultTest) -> list[str]:
        """The outcomes of a test that nothing led to."""
        return [name for name in test.outcomes if not _is_reachable(system, test, name, self)]


def said_by(system: System, benches: int, foreign: Mapping[str, Measurand]) -> Said:
    """What every check says over so many benches laid for it, and what the fault table makes of each; where
    that leaves an outcome of a test out, it is searched for.
    """
    said = Said()
    slow: set[str] = set()  # checks that never ended: told where checks are driven, and not run for ever
    for check in system.checks.values():
        for seed in range(benches):
            before = laid(system, check, random.Random(f"{check.key} {seed}"), foreign=foreign)
            if not _hear(said, system, check, before):
                slow.add(check.key)
                break
    if system.faults is not None:
        for test in system.faults.tests.values():
            code = test.code or test.graded
            alone = attrs.evolve(system.faults, tests={test.key: test})
            for check in list((said.codes.get(code) or system.checks).values()) if code else ():
                if check.key in slow:
                    continue
                with watched():  # what a check does besides is told where checks are driven
                    _search(said, system, check, test, alone, foreign)
    return said


def _search(
    said: Said,
    system: System,
    check: Check[...],
    test: FaultTest,
    alone: FaultTable,
    foreign: Mapping[str, Measurand],
) -> None:
    """Lay usual readings and move one at a time, until the test's outcomes came up or patience is over."""
    for seed in range(_SEARCHES):
        if not said.missing(system, test):
            return
        chance = random.Random(f"{test.key} {check.key} {seed}")
        before = laid(system, check, chance, foreign=foreign, calm=seed % 2 == 0)
        if not _note(said, check, before, _findings(check, before), alone) or seed >= _SWEEPS:
            continue
        for moved in swept(before, _STEPS):
            _note(said, check, moved, _findings(check, moved), alone)
            if not said.missing(system, test):
                return


def _findings(check: Check[...], before: Laid) -> list[Finding]:
    """What the check finds; nothing where it fails, which is told where checks are driven."""
    try:
        with time_limit(MOST_SECONDS):
            return [one for one in run(check, before.case(check)) if isinstance(one, Finding)]
    except (Exception, Overrun, SystemExit):
        return []


def _hear(said: Said, system: System, check: Check[...], before: Laid) -> bool:
    """Note what the check says, alone and watched; False where it never ended."""
    try:
        results = results_of(check, before, system, "")
    except TooSlowError:
        return False
    except ShownError:
        return True  # told where checks are driven
    _note(said, check, before, [one for one in results if isinstance(one, Finding)], system.faults)
    return True


def _note(
    said: Said, check: Check[...], before: Laid, findings: Sequence[Finding], table: FaultTable | None
) -> bool:
    """Keep what these findings are and what a table makes of them; whether there are any."""
    for finding in findings:
        said.codes.setdefault(finding.code, {})[check.key] = check
        said.grades.setdefault(finding.code, set()).add(finding.grade)
        if finding.value is not None:
            said.valued.add(finding.code)
        drawn = said.figures.setdefault(finding.code, [])
        if finding.figure is not None and len(drawn) < _PICTURES:
            drawn.append(finding.figure)
    if table is not None:
        case = attrs.evolve(before.case(check), repairs={})
        for outcome in all_outcomes(table, case, findings):
            for name, weight in zip(outcome.test.outcomes, outcome.weights, strict=True):
                if weight >= _REACHED:
                    said.outcomes.add((outcome.test.key, name))
    return bool(findings)


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


def _is_reachable(system: System, test: FaultTest, name: str, said: Said) -> bool:
    if (test.key, name) in said.outcomes:
        return True
    at = test.outcomes.index(name)
    if test.codes or test.seen or (test.trait and test.answers):
        return True  # the reader refuses answers that do not exist, and codes are read from outside
    if test.measurand:
        measurand = system.measurands[test.measurand]
        low, high = (test.at[at - 1] if at else None), (test.at[at] if at < len(test.at) else None)
        possible = measurand.possible
        return not (
            (low is not None and possible.high is not None and low >= possible.high)
            or (high is not None and possible.low is not None and high <= possible.low)
        )
    if test.graded:
        return bool(said.grades.get(test.graded, set()) & set(test.answers[at]))
    return False


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
