"""What is left to do and to know after a visit, in the order in which it matters."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import attrs

from ..assess.suspect import NextTest
from ..billing.line import PIECE, LineKind
from ..model.document import Words
from ..model.finding import Finding, Reason, Urgency, Verdict
from .answer import joined_words, lower_first
from .faults import Told, customers_words, price_note
from .noted import is_noted, unanswered_words
from .prices import DIAGNOSIS
from .row import FaultRow, PointRow, Row, still_fails
from .state import OPEN, State

#: So many things that nobody looked at are named on the first sheet; all of them stand behind it.
NAMED = 3
#: Under this label stands what must be known or done before the vehicle drives.
BEFORE_YOU_DRIVE = "Before you drive"
#: So many tests are named as the next step.
TESTS = 2


@attrs.frozen(kw_only=True)
class Step:
    """One thing that is left, under its label; `short`: in so few words that it stands beside the total."""

    label: str
    words: Words
    short: str = ""

    @classmethod
    def of(cls, label: str, text: str) -> Step:
        return cls(label=label, words=(text,))


def steps_of(rows: Sequence[Row], told: Told) -> tuple[Step, ...]:
    """Everything that is left open; where nothing is, that, and of what."""
    steps = [
        *_warnings(told),
        *_open_work_steps(told),
        *_open(rows, told),
        *_declined_steps(rows),
        *_next(rows, told),
    ]
    if told.is_proposal:
        steps.insert(0, Step.of("What next", "Your answer to this estimate."))
    if not steps:
        steps = [Step.of("What next", "Nothing is open, of what we looked at.")]
    return (*steps, *_not_looked_at(rows, told), *_parts_steps(rows, told))


def _warnings(told: Told) -> Iterable[Step]:
    texts = [
        customers_words(finding)
        for finding in told.assessment.current
        if finding.urgency is Urgency.BEFORE_DRIVING and finding.verdict is not Verdict.PASS
    ]
    if texts:
        yield Step.of(BEFORE_YOU_DRIVE, " ".join(dict.fromkeys(texts)))


def _open_work_steps(told: Told) -> Iterable[Step]:
    job = told.job
    if job.left_open is not None and job.ended is None:
        left = job.left_open.record
        back = f"; next visit on {left.back}" if left.back else ""
        yield Step.of("Not finished", f"{left.because}{back}.".capitalize())
    if job.ended is not None:
        because = job.ended.record.because
        text = because if because.endswith((".", "!", "?")) else f"{because}."
        if job.ended.record.how == "no fault found":
            text += " The diagnosis is not charged."
        yield Step.of(_ENDS[job.ended.record.how], text)


#: How a job ended without (further) repair.
_ENDS = {
    "no fault found": "No fault found",
    "declined": "You decided against a repair",
    "referred": "Referred to somebody else",
}
#: Under which label rows of a state stand; what is approved and not done stands under its own.
_OPEN = (
    (State.NOT_RIGHT, "Not put right"),
    (State.FOUND, "No work proposed"),
    (State.PUT_OFF, "Put off"),
    (State.DONE, "To be shown"),
)
APPROVED = "Approved, not done yet"


def _open(rows: Sequence[Row], told: Told) -> Iterable[Step]:
    to_do = told.job.approval.open
    for state, label in _OPEN:
        left = [row for row in rows if row.state is state and _operation(row) not in to_do]
        # Work that was not the cure is not what is left to do, unless nothing else is known.
        left = [row for row in left if not _was_no_cure(row)] or left
        names = [_row_name(row) for row in left]
        if names:
            nexts = [row.next for row in left if row.next]
            short = f"{nexts[0]}." if len(left) == len(nexts) == 1 else ""
            yield Step(label=label, words=(f"{'; '.join(dict.fromkeys(names))}.",), short=short)
    if to_do and not told.is_proposal:
        titles = [told.plugins.title(key) for key in to_do]
        yield Step.of(APPROVED, f"{'; '.join(titles)}; not charged.")
    covered = {id(finding) for row in rows for finding in row.now}
    put_right = bool(rows) and not any(row.state in OPEN for row in rows)
    texts = [
        customers_words(finding)
        for finding in told.assessment.current
        if id(finding) not in covered
        and finding.urgency is not Urgency.BEFORE_DRIVING
        and _is_open(finding)
        and not (put_right and _only_pointed(finding, told))
    ]
    said = [
        lower_first(told.plugins.title(one.of)) if one.of else "a remark"
        for one in unanswered_words(told.assessment)
    ]
    noted = [f"Noted in words, not followed up yet: {of}." for of in said]
    if texts or noted:
        yield Step.of("Still open", " ".join(dict.fromkeys((*texts, *noted))))


def _free_words(of: str, told: Told) -> str:
    return lower_first(told.plugins.for_customer(of)) if of else "a remark"


def _is_open(finding: Finding) -> bool:
    return finding.verdict is Verdict.UNDECIDED or still_fails(finding)


def _only_pointed(finding: Finding, told: Told) -> bool:
    """True of advice from before the last work that names no part and no work: it said where to look."""
    return (
        finding.verdict is Verdict.ADVICE
        and not finding.part
        and not finding.calls_for
        and finding.stage < told.job.stage
    )


def _was_no_cure(row: Row) -> bool:
    return isinstance(row, FaultRow) and row.did_not_fix


def _operation(row: Row) -> str:
    return row.operation if isinstance(row, FaultRow) else ""


def _row_name(row: Row) -> str:
    if isinstance(row, PointRow):
        return row.point
    if not row.next or row.next.startswith(row.what):
        return row.next or row.what
    return f"{row.what}: {lower_first(row.next)}"


def _declined_steps(rows: Sequence[Row]) -> Iterable[Step]:
    names = [
        row.next or row.what for row in rows if isinstance(row, FaultRow) and row.state is State.DECLINED
    ]
    if names:
        yield Step.of("Declined by you", f"{'; '.join(dict.fromkeys(names))}.")


def _next(rows: Sequence[Row], told: Told) -> Iterable[Step]:
    """The next step where something was looked for and not found, with its price."""
    job, assessment = told.job, told.assessment
    if job.ended is not None or told.is_proposal:
        return
    sought = [
        row
        for row in rows
        if isinstance(row, PointRow)
        and not row.is_check_up
        and row.state in (State.NOT_FOUND, State.NOT_RIGHT, State.NOT_LOOKED_AT)
    ]
    undecided = any(finding.verdict is Verdict.UNDECIDED for finding in assessment.current)
    if not sought and not undecided:
        return
    tests = _tests(told)
    if tests and tests[0].operation:
        work = tests[0].operation
        yield Step.of("Next step", f"{told.plugins.title(work)}{price_note(work, told)}.")
        return
    if tests:
        asked = [lower_first(_test_words(test, told)) for test in tests]
        price = price_note(DIAGNOSIS, told)
        yield Step(
            label="Next step",
            words=(f"Check: {'; '.join(asked)}{price}.",),
            short=f"{'One more test' if len(asked) == 1 else 'Two more tests'}{price}.",
        )
        return
    if any(row.state is State.NOT_LOOKED_AT and row.readings for row in sought):
        yield Step.of("Next step", f"Read the codes again{price_note(DIAGNOSIS, told)}.")
    elif sought:
        yield Step.of("Next step", f"Look further for it{price_note(DIAGNOSIS, told)}.")


def _tests(told: Told) -> list[NextTest]:
    """The next tests of what was looked at: a system that was only asked about is not what is left open."""
    looked = {finding.system for finding in told.assessment.findings}
    made: dict[str, NextTest] = {}
    for test in told.assessment.next_tests:
        if test.key and test.question.strip() and not test.is_question and test.system in looked:
            made.setdefault(test.operation or _test_words(test, told), test)
    first = list(made.values())[:TESTS]
    return [test for test in first if bool(test.operation) == bool(first[0].operation)]


def _test_words(test: NextTest, told: Told) -> str:
    """What a test reads or looks at, in the customer's words."""
    return told.plugins.for_customer(test.wants) if test.wants else test.question.rstrip("?.")


def _not_looked_at(rows: Sequence[Row], told: Told) -> Iterable[Step]:
    points = [row.point for row in rows if row.state is State.NOT_LOOKED_AT and isinstance(row, PointRow)]
    gaps = [
        lower_first(told.plugins.for_customer(gap.wants) if gap.wants else gap.about)
        for gap in told.assessment.open_gaps
        if gap.reason in (Reason.NOT_MEASURED, Reason.COULD_NOT_REACH)
        and gap.about
        and not is_noted(gap, told.job)
        and not told.assessment.was_looked_at_before(gap)
    ]
    names = list(dict.fromkeys(gaps))
    if len(names) > NAMED:  # what comes first of many says nothing of the rest
        names = [f"{len(names)} more things, each named further on"]
    if points or names:
        yield Step.of("Not looked at", f"{'; '.join((*points, *names))}.")
    looked = dict.fromkeys(finding.system for finding in told.assessment.findings)
    titles = [lower_first(told.plugins.systems[key].title) for key in looked if key in told.plugins.systems]
    if titles:
        yield Step.of("We looked at", f"{', '.join(titles)}, and at nothing else on the vehicle.")


def _parts_steps(rows: Sequence[Row], told: Told) -> Iterable[Step]:
    """Parts that were taken out and replaced: the customer says what becomes of them."""
    parts: dict[str, str] = {}
    for noted in told.job.repairs:
        operation = told.plugins.operations.get(noted.record.operation)
        part = told.plugins.parts.get(operation.replaces) if operation is not None else None
        if operation is not None and part is not None:
            many = _pieces(operation.key, told)
            parts[operation.key] = f"{lower_first(part.title)}{f' ({many} pieces)' if many > 1 else ''}"
    names = list(dict.fromkeys(parts.values()))
    if names and not told.is_proposal:
        them = "it" if len(names) == 1 and not names[0].endswith("pieces)") else "them"
        yield Step.of("Removed parts", f"{joined_words(names)}: yours, unless you leave {them} with us.")


def _pieces(operation: str, told: Told) -> int:
    """How many of a part went in, where its line says so; else one."""
    lines = [line for line in told.lines if line.operation == operation and line.kind is LineKind.PART]
    whole = len(lines) == 1 and lines[0].unit == PIECE and lines[0].quantity == int(lines[0].quantity)
    return int(lines[0].quantity) if whole else 1
