"""What each test of a fault table showed at one stage."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from enum import Enum
from itertools import pairwise

import attrs

from ..judge import normal
from ..model.finding import Finding, Verdict
from ..model.limit import Limit
from ..model.value import Value
from ..plugin.case import Case, Sighting
from ..plugin.faults import FaultTable, FaultTest, Only

#: An outcome counts as plainly shown at this weight.
PLAIN = 0.95
#: What a test needs before it must be at least this likely, or the test means nothing.
LIKELY = 0.5


@attrs.frozen(kw_only=True)
class Outcome:
    """What a test showed: a weight for each of its outcomes, and the entries it rests on.

    `settled` is False where nothing was decided, however far the weights lean: readings that disagree, a
    finding that is held open, two records of which nobody knows which counts. Such an outcome shifts
    suspicion and plainly shows nothing.
    """

    test: FaultTest
    weights: tuple[float, ...]
    evidence: tuple[str, ...]
    settled: bool = True

    def share(self, names: Collection[str]) -> float:
        """The weight that these outcomes have together."""
        return math.fsum(
            weight for weight, name in zip(self.weights, self.test.outcomes, strict=True) if name in names
        )

    @property
    def likeliest(self) -> str:
        """The outcome with the most weight."""
        return self.test.outcomes[max(range(len(self.weights)), key=self.weights.__getitem__)]

    @property
    def plain(self) -> str:
        """The outcome that is plainly shown, or empty."""
        return self.likeliest if self.settled and max(self.weights) >= PLAIN else ""

    def plain_among(self, outcomes: Collection[str]) -> str:
        """The likeliest of these, where it is plain that it was one of them; else empty: a reading between
        two outcomes that both speak against a part speaks against it.
        """
        return self.likeliest if self.settled and self.share(outcomes) >= PLAIN else ""


def applies(only: Only, fitted: Mapping[str, object]) -> bool:
    """False where a known trait rules it out; an unknown one bars nothing.

    Args:
        fitted: Trait → member of its closed answers, or a value, which counts by its whole number.
    """
    known = ((fitted[trait], answers) for trait, answers in only.items() if trait in fitted)
    return all(_words_of(answer) in answers for answer, answers in known)


def _words_of(answer: object) -> str:
    if isinstance(answer, Enum):
        return str(answer.value)
    return f"{answer.number:.0f}" if isinstance(answer, Value) else str(answer)


def outcomes(
    table: FaultTable, case: Case, findings: Sequence[Finding], disputed: Collection[str] = ()
) -> list[Outcome]:
    """The outcomes that count as evidence: of all that was made at this stage, what its prerequisites allow
    (see `all_outcomes` and `countable`).
    """
    return countable(table, all_outcomes(table, case, findings, disputed), done=case.repairs)


def all_outcomes(
    table: FaultTable, case: Case, findings: Sequence[Finding], disputed: Collection[str] = ()
) -> list[Outcome]:
    """The outcome of every test of the table that was made at this stage and can be made on this vehicle.

    An uncertain reading shares its weight between outcomes. What breaks a declared relation is as if it had
    not been read.

    Args:
        disputed: Ids of entries of which two stores say different things.
    """
    found = []
    for test in table.tests.values():
        due = applies(test.only, case.fitted) and test.is_due(case.repairs)
        outcome = _outcome(test, case, findings) if due else None
        if outcome is not None:
            if not case.contradicted.keys().isdisjoint(outcome.evidence):
                continue  # of readings that do not fit together none is evidence
            found.append(
                outcome
                if set(outcome.evidence).isdisjoint(disputed)
                else attrs.evolve(outcome, settled=False)
            )
    return found


def _outcome(test: FaultTest, case: Case, findings: Sequence[Finding]) -> Outcome | None:
    if test.measurand:
        return _measured_outcome(test, case)
    if test.code:
        return _check_outcome(test, case, findings)
    if test.graded:
        return _graded_outcome(test, findings)
    if test.codes:
        return _code_outcome(test, case)
    if test.trait:
        return _trait_outcome(test, case)
    return _observation_outcome(test, case)


def allowance(
    table: FaultTable, test: FaultTest, shown: Mapping[str, Outcome], done: Collection[str] = ()
) -> float:
    """How surely what this test needs before it was shown: 1.0 where it needs nothing, 0.0 where that was not
    tested. What is not due after the operations `done` is not needed.
    """
    return min(
        (
            shown[first].share(names) if first in shown else 0.0
            for first, names in test.after.items()
            if table.tests[first].is_due(done)
        ),
        default=1.0,
    )


def countable(
    table: FaultTable,
    found: Sequence[Outcome],
    earlier: Mapping[str, Outcome] | None = None,
    done: Collection[str] = (),
) -> list[Outcome]:
    """Without what was made before something else allowed it (`after`): that means nothing. And of a group
    that asks the same thing only the first in the table's order, and none that was made after it on the same
    vehicle.

    Where what allows it is likely and not plainly shown, it counts and shows nothing plainly either.

    Args:
        earlier: What earlier stages showed and nothing has changed since; it allows as well.
        done: Keys of the operations done before.
    """
    kept = {outcome.test.key: outcome for outcome in found}
    before = {key: outcome for key, outcome in (earlier or {}).items() if key not in kept}
    while early := [
        key
        for key, outcome in kept.items()
        if allowance(table, outcome.test, {**before, **kept}, done) < LIKELY
    ]:
        for key in early:
            del kept[key]
    allowed = {**before, **kept}
    groups = {outcome.test.group: key for key, outcome in (earlier or {}).items() if outcome.test.group}
    for key, outcome in kept.items():
        if outcome.test.group:
            groups.setdefault(outcome.test.group, key)
    return [
        attrs.evolve(outcome, settled=False)
        if allowance(table, outcome.test, allowed, done) < PLAIN
        else outcome
        for key, outcome in kept.items()
        if groups.get(outcome.test.group, key) == key
    ]


def _measured_outcome(test: FaultTest, case: Case) -> Outcome | None:
    reading = case.readings.get((test.measurand, test.place))
    if reading is None:
        return None
    # Of readings that disagree each counts alike; of those that agree the latest speaks.
    several = [reading.value, *reading.others] if reading.disagrees else [reading.value]
    at = _limits_between(test, case)
    shares = zip(*(_shares(at, value.number, value.u) for value in several), strict=True)
    weights = tuple(math.fsum(share) / len(several) for share in shares)
    return Outcome(test=test, weights=weights, evidence=(reading.entry,), settled=not reading.disagrees)


def _limits_between(test: FaultTest, case: Case) -> tuple[float, ...]:
    """The limits between a test's bins on this vehicle, as far as it is known what it is fitted with."""
    for trait, rows in test.at_fitted.items():
        if trait in case.fitted and (at := rows.get(_words_of(case.fitted[trait]))) is not None:
            return at
    return test.at


def _shares(at: Sequence[float], number: float, u: float) -> list[float]:
    """How much of a value with its standard uncertainty lies in each bin."""
    below = [normal((edge - number) / u) if u > 0 else float(number < edge) for edge in at]
    return [high - low for low, high in pairwise([0.0, *below, 1.0])]


def _check_outcome(test: FaultTest, case: Case, findings: Sequence[Finding]) -> Outcome | None:
    """What a finding says of its value: its bins, or how far it lies beyond its limit; of several like things
    the worst one speaks: one bad lead makes the leads bad.
    """
    at = _limits_between(test, case)
    graded = [
        (weights, finding)
        for finding in findings
        if finding.code == test.code
        and _is_at(test, finding.place)
        and (weights := _grades(test, finding, at)) is not None
    ]
    if not graded:
        return None
    sound = test.outcomes.index(test.sound)
    weights, worst = min(graded, key=lambda pair: pair[0][sound])
    decided = worst.verdict in (Verdict.PASS, Verdict.FAIL)
    settled = not worst.disagrees and (decided or bool(at))
    return Outcome(test=test, weights=tuple(weights), evidence=worst.evidence, settled=settled)


def _grades(test: FaultTest, finding: Finding, at: Sequence[float]) -> list[float] | None:
    """The weights of a test's outcomes by one finding, in bins where there are limits `at`; None where it
    says nothing yet.
    """
    value = finding.value
    if value is None or (finding.verdict is Verdict.UNDECIDED and finding.probability is None):
        return None  # the check was barred: it has said nothing yet, whatever value it names
    if at:
        return _shares(at, value.number, value.u)
    if finding.probability is None or not finding.limits:
        return None
    if not test.beyond:
        return [finding.probability, 1 - finding.probability]
    ends = [
        (end, sign) for end, sign in zip(_ends(finding.limits[0]), (-1, 1), strict=True) if end is not None
    ]
    end, sign = max(ends, key=lambda pair: pair[1] * (value.number - pair[0].number))
    per = abs(end.number) if test.relative else 1.0
    if not per:
        return None
    beyond = value - end
    return _shares(test.beyond, sign * beyond.number / per, beyond.u / per)


def _ends(limit: Limit) -> tuple[Value | None, Value | None]:
    return limit.low, limit.high


def _graded_outcome(test: FaultTest, findings: Sequence[Finding]) -> Outcome | None:
    """The grade that the check gave; of several like things the worst speaks, the last of the outcomes."""
    grades = [
        (place, finding)
        for finding in findings
        if finding.code == test.graded and _is_at(test, finding.place) and finding.grade
        for place, words in enumerate(test.answers)
        if finding.grade in words
    ]
    if not grades:
        return None
    sound = test.outcomes.index(test.sound)
    others = [pair for pair in grades if pair[0] != sound]
    place, worst = max(others, key=lambda pair: pair[0]) if others else grades[0]
    return Outcome(
        test=test,
        weights=_only(place, len(test.outcomes)),
        evidence=worst.evidence,
        settled=not worst.disagrees,
    )


def _code_outcome(test: FaultTest, case: Case) -> Outcome | None:
    """Set when a stored or pending list holds one of the codes; not set when the stored list was read and no
    list holds one.

    A code that is only permanent says neither: it stays until the vehicle itself has run the test again,
    however well it was repaired.
    """
    found = [case.codes[code] for code in test.codes if code in case.codes]
    now = [one for one in found if set(one.states) & {"stored", "pending"}]
    if now:
        entries = dict.fromkeys(entry for one in now for entry in one.entries)
        return Outcome(test=test, weights=(1.0, 0.0), evidence=tuple(entries))
    if found or "stored" not in case.code_lists:
        return None
    return Outcome(test=test, weights=(0.0, 1.0), evidence=tuple(dict.fromkeys(case.code_lists.values())))


def _trait_outcome(test: FaultTest, case: Case) -> Outcome | None:
    fitted = case.fitted.get(test.trait)
    if fitted is None:
        return None
    evidence = (case.fitted_by[test.trait],) if test.trait in case.fitted_by else ()
    if isinstance(fitted, Value):
        return Outcome(test=test, weights=tuple(_shares(test.at, fitted.number, fitted.u)), evidence=evidence)
    place = _place_of(test, str(fitted.value))
    return (
        None
        if place is None
        else Outcome(test=test, weights=_only(place, len(test.outcomes)), evidence=evidence)
    )


def _observation_outcome(test: FaultTest, case: Case) -> Outcome | None:
    """What was seen; of several like things one that is not sound speaks before those that are."""
    noted = [
        (place, sighting)
        for (key, at), sighting in case.sightings.items()
        if key == test.seen and _is_at(test, at) and (place := _sighting_row(test, sighting)) is not None
    ]
    if not noted:
        return None
    sound = test.outcomes.index(test.sound)
    place, sighting = next(((place, one) for place, one in noted if place != sound), noted[0])
    return Outcome(test=test, weights=_only(place, len(test.outcomes)), evidence=(sighting.entry,))


def _is_at(test: FaultTest, place: str) -> bool:
    """Whether a test that names a place speaks of this one; a test that names none speaks of all."""
    return not test.place or test.place == place


def _sighting_row(test: FaultTest, sighting: Sighting) -> int | None:
    return None if sighting.answer is None else _place_of(test, str(sighting.answer.value))


def _place_of(test: FaultTest, answer: str) -> int | None:
    """The outcome that an answer means, if it means one."""
    return next((place for place, words in enumerate(test.answers) if answer in words), None)


def _only(place: int, count: int) -> tuple[float, ...]:
    return tuple(float(other == place) for other in range(count))
