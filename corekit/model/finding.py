"""What is claimed, and what honestly cannot be."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

import attrs

from .figure import Figure
from .limit import Limit
from .value import Value


class Verdict(StrEnum):
    """`advice` is what a limit too weak to decide, or a statement without a limit, gives."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    ADVICE = "advice"


class Urgency(StrEnum):
    """When, in words; one list is sorted by it."""

    BEFORE_DRIVING = "before driving"
    THIS_VISIT = "this visit"
    PLAN_IT = "plan it"
    NOTHING = "nothing to do here"


class Reason(StrEnum):
    """Why there is a gap instead of a finding."""

    NOT_MEASURED = "not measured"
    DOES_NOT_APPLY = "does not apply"
    COULD_NOT_REACH = "could not reach"
    PLUGIN_FAILED = "plugin failed"


@attrs.frozen
class Text:
    """A sentence as template and values, so that it can be translated; `str()` gives it in the language it
    was written in.

    Every value is already text. Braces in the values are never read as places.
    """

    template: str
    values: Mapping[str, str] = attrs.field(factory=dict)

    def __str__(self) -> str:
        return self.template.format_map(dict(self.values))


@attrs.frozen(kw_only=True)
class Says:
    """What a check says in each case, in the trade's words.

    Places: {value}, {limit}, {place} and whatever the check gives.

    Attributes:
        passes, fails, undecided: Sentences for the three verdicts.
        advises: For a limit too weak to decide; `fails` is used when it is empty and the reading lies
            outside, `passes` inside.
    """

    passes: str
    fails: str
    undecided: str
    advises: str = ""

    def text(self, leans: Verdict, advises: bool) -> str:
        """The sentence for what the numbers say; `advises` where the limit is too weak to decide."""
        if advises and self.advises:
            return self.advises
        return {Verdict.PASS: self.passes, Verdict.FAIL: self.fails}.get(leans, self.undecided)


@attrs.frozen(kw_only=True)
class Tells(Says):
    """The same in the customer's words, without jargon, with the same places.

    A sentence that is left empty is told in the trade's words.
    """

    undecided: str = ""


@attrs.frozen(kw_only=True)
class Finding:
    """One statement, with all that it rests on.

    Attributes:
        system, code: Which plugin says it, and its checked name (`brakes.pressure`).
        check: Title of the check.
        text, customer_text: In the trade's words, and in the customer's where the check has such.
        stage, place: When in the visit and at which of several like things.
        probability: That the true value conforms to the limit (JCGM 106); None without a limit.
        of: Key of the measurand it speaks of, so that a retest can be held against it.
        part: Key of the part that was read or looked at; once that is exchanged the finding is past.
        value, unit: The judged value and the unit it is printed in; None for a plain statement.
        limits: As used, with source; the first is the one judged against.
        evidence: Ids of the entries it rests on.
        calls_for: Key of the operation it speaks for; whether that is enough to offer it is decided over all
            findings.
        next_test: Key of the measurand, observation or trait that would settle it, when undecided.
        rule: The decision rule in words.
        figure: The picture that makes it plain, if one does.
        grade: How the check itself graded what it saw; outcomes of the fault table may rest on it.
        disagrees: The readings that it rests on do not agree among themselves.
        name: What was judged, in the customer's words, where that is no reading by itself.
    """

    system: str
    code: str
    check: str
    verdict: Verdict
    urgency: Urgency
    text: Text
    customer_text: Text | None = None
    stage: int = 0
    place: str = ""
    of: str = ""
    part: str = ""
    probability: float | None = None
    value: Value | None = None
    unit: str = ""
    limits: tuple[Limit, ...] = ()
    evidence: tuple[str, ...] = ()
    calls_for: str = ""
    next_test: str = ""
    rule: str = ""
    figure: Figure | None = None
    grade: str = ""
    disagrees: bool = False
    name: str = ""

    @property
    def for_customer(self) -> Text:
        """What the customer is told: the trade's words where the check has no others."""
        return self.customer_text or self.text

    def __str__(self) -> str:
        return f"[{self.verdict}] {self.text}"


@attrs.frozen(kw_only=True)
class Gap:
    """What is not a finding, and why.

    `wants` names the measurand, observation or trait that would close it, `about` its title where the text
    says nothing more than that it is missing. `not_here` is the title of a thing that this vehicle does not
    have; the text says the same and why. `tells` is the same in the customer's words.
    """

    system: str
    check: str
    reason: Reason
    text: str
    stage: int = 0
    wants: str = ""
    about: str = ""
    not_here: str = ""
    tells: str = ""

    @property
    def for_customer(self) -> str:
        """What the customer is told: the trade's words where there are no others."""
        return self.tells or self.text

    def __str__(self) -> str:
        return f"[{self.reason}] {self.check}: {self.text}"
