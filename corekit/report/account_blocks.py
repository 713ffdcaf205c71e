"""The account as blocks: the answer, the table, what next, and the form on which an estimate is answered."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from .. import units
from ..account.account import Account
from ..account.answer import lower_first
from ..account.row import FaultRow, PointRow, Row, Shown, Work, still_fails
from ..account.state import State
from ..account.steps import BEFORE_YOU_DRIVE, Step
from ..assess.assessment import Assessment
from ..model import document as blocks
from ..model.document import Answer, ApprovalForm, NextSteps, Words
from ..model.finding import Finding, Urgency
from ..model.job import Job
from ..model.limit import Limit
from ..model.money import Money
from ..model.personal import Personal
from .dates import days_in
from .readings import strip_of_finding
from .sheet import Sheet

#: Points of a complaint stand beside each other as they are written, each with its capital.
BETWEEN_POINTS = " · "
#: The row of call-out, travel and diagnosis.
CAME = "You asked us to come and look"
#: So long may what is next be to stand directly under the answer; what is longer stands below.
_SHORT = 70


def answer_block(job: Job, account: Account, facts: Sequence[tuple[str, str, bool]]) -> Answer:
    """What the customer came with and the answer; under it the facts and what is next."""
    words = job.opened.words
    return Answer(
        said=(words,) if isinstance(words, Personal) else (),
        symptoms=BETWEEN_POINTS.join(account.points) if job.complained is not None else "",
        text=account.answer,
        proof=account.proof,
        facts=(*facts, ("Next", _next_in_short(account.steps), False)),
    )


def _next_in_short(steps: Sequence[Step]) -> str:
    first = steps[0]
    text = _text_of(first)
    if first.short:
        return first.short
    if first.label == "What next" and any(step.label == BEFORE_YOU_DRIVE for step in steps):
        return f"{text} {BEFORE_YOU_DRIVE}: see below."
    if first.label in ("What next", "Next step"):
        return text if len(text) <= _SHORT else "See below."
    if len(text) <= _SHORT:
        return f"{first.label}: {lower_first(text)}"
    then = steps[1].short or _text_of(steps[1]) if len(steps) > 1 else ""
    return f"{first.label}: see below." + (f" {then}" if 0 < len(then) <= 1.5 * _SHORT else "")


def _text_of(step: Step) -> str:
    return "".join(run for run in step.words if isinstance(run, str))


def account_block(account: Account, assessment: Assessment, currency: str) -> blocks.Account:
    """The account as one table; last what the customer pays for the visit itself."""
    return blocks.Account(rows=tuple(account_rows(account, assessment)), currency=currency)


def account_rows(account: Account, assessment: Assessment, before: str = "") -> Iterable[blocks.AccountRow]:
    """The rows; `before` stands before each point, where a paper is over several vehicles."""
    for row in account.rows:
        yield blocks.AccountRow(
            point=f"{before}{BETWEEN_POINTS.join(row.points)}" if row.points or before else "",
            what=_what(row),
            cause=row.cause if row.cause != row.what else "",
            proofs=tuple(_proof(shown, assessment) for shown in row.shown),
            works=tuple(map(_work, row.works)),
            state=state_words(row),
            next=row.next if isinstance(row, FaultRow) and row.state in _SAY_NEXT else "",
        )
    if account.charges:
        yield blocks.AccountRow(
            point="", what=f"{before}{CAME}", works=tuple(map(_work, account.charges)), state=""
        )


#: Where the row itself says what is to be done about it.
_SAY_NEXT = frozenset({State.NOT_RIGHT, State.PUT_OFF, State.DECLINED})


def _what(row: Row) -> str:
    if isinstance(row, FaultRow):
        return f"{row.what[:1].upper()}{row.what[1:]}"
    if row.is_check_up:
        return "Looked over"
    return {
        State.SHOWN: "Gone, looked at again after the work",
        State.NOT_RIGHT: "Still there after the work",
        State.DONE: "Not looked at again yet",
        State.PROPOSED: "To be looked for",
    }.get(row.state, "")


def state_words(row: Row) -> str:
    """How a row stands, as it is printed."""
    state = row.state
    if isinstance(row, PointRow):
        if row.is_check_up and state is State.NOT_FOUND:
            return "nothing found" if row.was_looked_at else "not looked at"
        if row.needs_codes and state is State.NOT_LOOKED_AT:
            return "not looked at again"
        return str(state)
    if state is State.NOT_RIGHT and row.did_not_fix:
        return "did not fix it"
    return "cause not found yet" if state is State.NOT_FOUND else str(state)


def _proof(shown: Shown, assessment: Assessment) -> blocks.ProofRow:
    judged = shown.now or shown.before
    if judged is None or judged.value is None:
        return blocks.ProofRow(name=shown.name, seen=shown.seen)
    return blocks.ProofRow(
        name=shown.name,
        before=_value(shown.before),
        now=_value(shown.now),
        usual=_usual(judged.limits[0], judged.unit) if judged.limits else "",
        strip=strip_of_finding(judged, assessment),
    )


def _value(finding: Finding | None) -> str:
    if finding is None or finding.value is None:
        return ""
    return units.show(finding.value, finding.unit, uncertainty=False)


def _usual(limit: Limit, unit: str) -> str:
    """What is allowed or usual, without how well it is known: that stands behind."""
    low, high = (
        units.show(end, unit, uncertainty=False) if end is not None else "" for end in (limit.low, limit.high)
    )
    if low and high:
        return f"{low} to {high}"
    return f"at least {low}" if low else f"at most {high}"


def _work(work: Work) -> blocks.WorkRow:
    return blocks.WorkRow(
        text=work.text,
        detail=work.detail,
        net=str(work.net) if work.net is not None else "",
        reason=days_in(work.reason),
    )


def next_steps(account: Account, sheet: Sheet, before: str = "") -> NextSteps:
    """What is left to do and to know, and the guarantee."""
    rows: list[tuple[str, Words]] = [
        (f"{before}{step.label}", tuple(days_in(run) if isinstance(run, str) else run for run in step.words))
        for step in account.steps
    ]
    return NextSteps(rows=(*rows, *guarantee(sheet)))


def guarantee(sheet: Sheet) -> tuple[tuple[str, Words], ...]:
    return (("Guarantee", (sheet.issuer.guarantee or "No terms of guarantee beyond the law are given.",)),)


def approval_form(account: Account, totals: Sequence[tuple[str, Money]], valid_until: str) -> ApprovalForm:
    """A box for every piece of work, with its price before tax.

    Args:
        totals: What each piece of work comes to.
    """
    return ApprovalForm(
        works=tuple((text, str(net)) for text, net in totals),
        valid_until=valid_until,
        otherwise=_otherwise(account),
    )


def _otherwise(account: Account) -> str:
    """What happens if nothing is done."""
    proposed = [row for row in account.rows if row.state is State.PROPOSED]
    urgencies = {finding.urgency for row in proposed for finding in row.now}
    # Whichever row says so: no paper says that work can wait beside a vehicle that must not drive.
    if any(
        finding.urgency is Urgency.BEFORE_DRIVING and still_fails(finding)
        for row in account.rows
        for finding in row.now
    ):
        return "If nothing is done: do not drive the vehicle until it is."
    if not any(isinstance(row, FaultRow) for row in proposed):
        return "If nothing is done: nobody looks for the cause, and you owe nothing for it."
    if Urgency.THIS_VISIT in urgencies:
        return "If nothing is done: the fault stays and may get worse; you owe nothing for this work."
    return "If nothing is done: it can wait, and may get worse; you owe nothing for this work."
