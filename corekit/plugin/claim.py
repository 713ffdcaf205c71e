"""Claim: what a finding is about, in one value that every way of stating something takes alike."""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from ..model.figure import Figure
from ..model.finding import Urgency
from ..model.measurand import Measurand, Observation, Operation, Trait
from .reading import Reading


def _once(items: Iterable[Reading | str]) -> tuple[Reading | str, ...]:
    if isinstance(items, (str, Reading)):
        raise TypeError(
            "The evidence of a claim is a list of readings or entry ids; put the one into a list."
        )
    return tuple(items)


@attrs.frozen
class Claim:
    """What a finding is about; `case.judge`, `advise`, `inconclusive` and `visual` take one.

    Attributes:
        code: The finding's name, which begins with the system's key (`brakes.pressure`).
        of: The measurand that a bare Value speaks of; a Reading brings its own.
        unit: To print a bare Value in; a Reading brings its own.
        place: Which of several like things; a Reading brings its own.
        evidence: Readings or entry ids beyond those that the value itself rests on.
        calls_for: The work it speaks for; dropped when it passes, and while it is inconclusive.
        urgency: Of what does not pass: *this visit* where nothing else is said, *plan it* for advice.
        next_test: What would settle it; kept while it is undecided.
        figure: The picture that makes it plain, if one does.
        grade: How the check itself graded what it saw, in a word of its own; a test of the fault table may
            take it as its outcome.
        name: What was judged, in the customer's words, where that is not the reading itself: *voltage drop at
            the connections*.
    """

    code: str
    of: Measurand | None = attrs.field(default=None, kw_only=True)
    unit: str = attrs.field(default="", kw_only=True)
    place: str = attrs.field(default="", kw_only=True)
    evidence: tuple[Reading | str, ...] = attrs.field(default=(), kw_only=True, converter=_once)
    calls_for: Operation | None = attrs.field(default=None, kw_only=True)
    urgency: Urgency | None = attrs.field(default=None, kw_only=True)
    next_test: Measurand | Observation | Trait | None = attrs.field(default=None, kw_only=True)
    figure: Figure | None = attrs.field(default=None, kw_only=True)
    grade: str = attrs.field(default="", kw_only=True)
    name: str = attrs.field(default="", kw_only=True)
