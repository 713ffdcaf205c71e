"""The answer to what a customer came with, in one sentence, and the sentence that shows it."""

from __future__ import annotations

from collections.abc import Sequence

from ..model.finding import Verdict
from ..model.own_work import is_own_work
from .faults import Told
from .row import FaultRow, PointRow, Row
from .state import State

#: So many faults are named in one sentence; more are counted.
NAMED = 3
#: Of so many faults one says what it read after the work; of more that goes without saying which.
TOLD_AGAIN = 2
_COUNTED = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
#: In this order the answer says how things stand.
_FAULTS = (
    (State.SHOWN, "Put right"),
    (State.SERVICED, "Done"),
    (State.DONE, "Done, not shown yet"),
    (State.NOT_RIGHT, "Not put right"),
    (State.PROPOSED, "Found"),
    (State.FOUND, "Found, no work proposed"),
    (State.APPROVED, "Found, work approved"),
    (State.PUT_OFF, "Put off"),
    (State.DECLINED, "Found, work declined"),
)
#: The same of work that somebody asked for while nothing that was found calls for it.
_ASKED_FOR = {State.APPROVED: "Approved", State.DECLINED: "Declined by you", State.PROPOSED: "Proposed"}
#: Said where the mechanic looked for it until the visit was over: nothing more is to come.
NO_FAULT = "Looked for, no fault found"
_POINTS = (
    (State.SHOWN, "Gone"),
    (State.NOT_RIGHT, "Still there"),
    (State.DONE, "Not shown yet"),
    (State.NOT_FOUND, "Cause not found yet"),
    (State.PROPOSED, "To be looked for"),
    (State.PUT_OFF, "Put off"),
    (State.DECLINED, "Not looked for any further"),
    (State.NOT_LOOKED_AT, "Not checked"),
)


def answer_of(rows: Sequence[Row], told: Told) -> str:
    """The answer in one sentence or two: faults first, then what of the complaint they leave."""
    faults = [row for row in rows if isinstance(row, FaultRow) and not _is_old(row, rows)]
    points = [row for row in rows if isinstance(row, PointRow) and not row.is_check_up]
    parts = []
    no_cure = [f"“{row.what}”" for row in faults if row.did_not_fix]
    for is_found, noun in ((True, "faults"), (False, "pieces of work")):
        for state, words in _FAULTS:
            said = words if is_found else _ASKED_FOR.get(state, words)
            group = [
                row
                for row in faults
                if row.state is state and row.is_found is is_found and not row.did_not_fix
            ]
            if group:
                parts.append(f"{said}: {_names(group, noun)}.")
    if no_cure:
        parts.append(f"Done, but not the cure: {joined_words(no_cure)}.")
    was_looked_for = told.job.ended is not None and told.job.ended.record.how == "no fault found"
    for state, words in _POINTS:
        words = NO_FAULT if state is State.NOT_FOUND and was_looked_for else words
        quoted = [_quotation(row, told) for row in points if row.state is state]
        if quoted:
            parts.append(f"{words}: {joined_words(quoted)}.")
    if parts:
        return " ".join(parts)
    return _nothing_wrong(rows, told)


def _is_old(row: FaultRow, rows: Sequence[Row]) -> bool:
    """Work that another took the place of, where that was the cure."""
    return row.is_superseded and any(
        isinstance(other, FaultRow) and other is not row and other.state is State.SHOWN for other in rows
    )


def _nothing_wrong(rows: Sequence[Row], told: Told) -> str:
    if told.is_proposal:
        return "To be looked at, at the price below."
    if not told.assessment.findings:
        return "Nothing was read or looked at."
    if any(finding.verdict is Verdict.UNDECIDED for finding in told.assessment.current):
        return "Nothing found that is wrong; one thing is still open."
    return "Nothing found that is wrong, in what we looked at."


def _quotation(row: PointRow, told: Told) -> str:
    return f"“{row.point}”" if row.key else "what you told us"


def _names(rows: Sequence[FaultRow], noun: str) -> str:
    """Each once, or how many there are; work of the shop's own is called as the shop calls it."""
    names = list(
        dict.fromkeys(row.what if is_own_work(row.operation) else lower_first(row.what) for row in rows)
    )
    if len(names) > NAMED:
        return f"{_COUNTED[len(names)] if len(names) < len(_COUNTED) else len(names)} {noun}"
    return joined_words(names)


def joined_words(names: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def lower_first(text: str) -> str:
    """Begun small; an abbreviation keeps its capitals."""
    return text if text[1:2].isupper() else f"{text[:1].lower()}{text[1:]}"


def proof_of(rows: Sequence[Row]) -> str:
    """That what was put right was measured again, and one thing that this says to the customer; empty where
    nothing was.
    """
    shown = [
        row
        for row in rows
        if isinstance(row, FaultRow) and row.state is State.SHOWN and any(one.now for one in row.shown)
    ]
    if not shown:
        return ""
    said = [words for row in shown if (words := _everyday(row))]
    counted = [words for words in said if any(map(str.isdigit, words))]
    who = {1: "It was", 2: "Both were"}.get(len(shown), f"All {_COUNTED[min(len(shown), 10)]} were")
    one = counted[0] if counted else said[0] if len(shown) == len(said) == 1 else ""
    if one and len(shown) <= TOLD_AGAIN:
        return f"Measured again after the work. {one}"
    now = "is as it should be" if len(shown) == 1 else "are as they should be"
    return f"{who} measured again after the work and {now}."


def _everyday(row: FaultRow) -> str:
    """What a fault's retest says to the customer: a quantity of every day, where one of them has one."""
    retests = [one.now for one in row.shown if one.now is not None]
    since = max(finding.stage for finding in retests)
    told = [
        str(finding.customer_text)
        for finding in (*retests, *row.now)
        if finding.customer_text is not None and finding.stage >= since
    ]
    return next((words for words in told if any(map(str.isdigit, words))), told[0] if told else "")
