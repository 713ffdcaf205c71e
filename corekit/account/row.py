"""The rows of an account. A row is given what is known; how it stands follows from that and cannot be said.

So no row can be put right while a place of it still fails, show a reading for work that did not help, or hold
work that has neither a price nor a reason.
"""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from ..assess.proof import Proof
from ..errors import InputError
from ..model.finding import Finding, Urgency, Verdict
from ..model.money import Money
from .state import Progress, State

#: What was said of the complaint when it was looked at again, where it was still there.
STAYED = "stayed"
STILL_THERE = (STAYED, "less", "worse")
GONE = "gone"


@attrs.frozen(kw_only=True)
class Work:
    """A piece of work or a part with its price before tax; without one it says why it is not charged.

    Attributes:
        text: What was done or is proposed. detail: Hours, or number and condition of a part.

    Raises:
        InputError: it has neither a price nor a reason.
    """

    text: str
    detail: str = ""
    net: Money | None = None
    reason: str = ""

    def __attrs_post_init__(self) -> None:
        if self.net is None and not self.reason.strip():
            raise InputError(f"{self.text}: work has a price, or says why it is not charged; got neither.")


@attrs.frozen(kw_only=True)
class Shown:
    """One thing that shows a row: what was judged before and now, or what was seen.

    Attributes:
        name: What was read or looked at.
        before, now: The findings that judged it; None where it was not read then.
        seen: What was seen before and now, in words, where nothing was read.
    """

    name: str
    before: Finding | None = None
    now: Finding | None = None
    seen: str = ""


def still_fails(finding: Finding) -> bool:
    """True where a finding speaks against the vehicle as it is: by a verdict, or as advice."""
    return finding.verdict is Verdict.FAIL or (
        finding.verdict is Verdict.ADVICE and finding.urgency is not Urgency.NOTHING
    )


def _is_open(findings: Iterable[Finding]) -> bool:
    return any(finding.verdict is Verdict.UNDECIDED for finding in findings)


@attrs.frozen(kw_only=True)
class FaultRow:
    """One fault: what was wrong, what shows it, what was done about it.

    Attributes:
        operation: Key of the work that cures it; empty where no work is sold for it.
        points: Words of the symptoms that it answers; none for what was found besides.
        what: What was wrong, in few words, as a name for it. cause: The same in a sentence.
        progress: What became of the work.
        proof: What the retest says of the work; None while nothing was done.
        did_not_fix: The mechanic says that the work was not the cure.
        is_found: Something that was found, or somebody in words, says what was wrong.
        now: Everything that is found of it as the vehicle stands now.
        readings: What shows it.
        works: The work on it, priced.
        again: What was said of the complaint when it was looked at again after this work and nothing else.
        is_superseded: Later work is judged by the same reading: that speaks for the later one.
        is_put_off: The visit ended with the job open.
        is_ended: The customer decided against (further) repair.
        since: The stage that began with the last work on it: what was found earlier says nothing of the work.
        is_before_work: It stands on an estimate, and nothing was repaired yet: nobody failed to put it right.
        next: What is to be done about it, with its price where it has one.
        is_service: Work of the shop's own, an oil change: done is all that can be said of it.
    """

    operation: str
    points: tuple[str, ...] = ()
    what: str
    cause: str = ""
    progress: Progress = Progress.NONE
    proof: Proof | None = None
    did_not_fix: bool = False
    is_found: bool = True
    now: tuple[Finding, ...] = ()
    readings: tuple[Shown, ...] = ()
    works: tuple[Work, ...] = ()
    again: str = ""
    is_superseded: bool = False
    is_put_off: bool = False
    is_ended: bool = False
    since: int = 0
    is_before_work: bool = False
    next: str = ""
    is_service: bool = False

    @property
    def state(self) -> State:
        if self.progress is Progress.DONE:
            return self._state_of_done_work
        if self.progress is Progress.PROPOSED:
            return State.PROPOSED
        if self.progress is Progress.DECLINED:
            return State.DECLINED
        if self.is_put_off:
            return State.PUT_OFF
        if self.progress is Progress.APPROVED:
            return State.APPROVED
        if self.is_ended:
            return State.DECLINED
        if not any(map(still_fails, self.now)):
            return State.PUT_OFF
        return State.FOUND if self.is_before_work else State.NOT_RIGHT

    @property
    def _state_of_done_work(self) -> State:
        if self.is_service and not self.did_not_fix:
            return State.SERVICED
        fails = [finding for finding in self.now if still_fails(finding)]
        if self.did_not_fix or self.proof is Proof.NOT_YET or any(one.stage >= self.since for one in fails):
            return State.NOT_RIGHT
        if self.again in STILL_THERE and self.proof is not Proof.SHOWN:
            return State.NOT_RIGHT
        shown = self.proof is Proof.SHOWN or self.again == GONE
        return State.SHOWN if shown and not fails and not _is_open(self.now) else State.DONE

    @property
    def shown(self) -> tuple[Shown, ...]:
        """What shows it; nothing where the work was not the cure, however well its part reads."""
        return () if self.did_not_fix else self.readings


@attrs.frozen(kw_only=True)
class PointRow:
    """A point of the complaint that no fault answers, or none of them settles.

    Attributes:
        point: The symptom in the customer's words. key: Its key; empty for own words alone.
        is_check_up: Nothing is the matter, as far as the customer knows.
        was_looked_at: Something that bears on it was read or looked at, or the mechanic looked for it and
            found no fault.
        again: What was said of it when it was looked at again.
        was_worked: Work was done in the job.
        needs_codes: The codes spoke of it on arrival, and were not read again since the work.
        is_asked: The search for it is proposed, and nothing was looked at yet.
        is_put_off, is_ended, now, readings, next: As for a fault.
        cause: What can be said of it.
    """

    point: str
    key: str = ""
    is_check_up: bool = False
    was_looked_at: bool = False
    again: str = ""
    was_worked: bool = False
    needs_codes: bool = False
    codes_are_clear: bool = False
    is_asked: bool = False
    is_put_off: bool = False
    is_ended: bool = False
    now: tuple[Finding, ...] = ()
    readings: tuple[Shown, ...] = ()
    cause: str = ""
    next: str = ""

    @property
    def state(self) -> State:
        if self.was_worked and self.again in STILL_THERE:
            return State.NOT_RIGHT
        if self.was_worked and (self.again == GONE or self.codes_are_clear):
            return State.DONE if any(map(still_fails, self.now)) or _is_open(self.now) else State.SHOWN
        if self.needs_codes:
            return State.NOT_LOOKED_AT
        if self.is_asked:
            return State.PROPOSED
        if self.is_put_off:
            return State.PUT_OFF
        if self.is_ended:
            return State.DECLINED
        if self.was_worked and not self.key:
            return State.DONE  # own words: nobody can say by a list which work answers them
        return State.NOT_FOUND if self.was_looked_at else State.NOT_LOOKED_AT

    @property
    def points(self) -> tuple[str, ...]:
        return (self.point,)

    @property
    def shown(self) -> tuple[Shown, ...]:
        return self.readings

    @property
    def works(self) -> tuple[Work, ...]:
        return ()

    @property
    def what(self) -> str:
        """Few words in the place where a fault would be named."""
        return ""


Row = FaultRow | PointRow
