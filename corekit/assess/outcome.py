"""What each test of a fault table showed at one stage."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise

import attrs

from ..judge import normal
from ..model.finding import Finding, Verdict
from ..model.value import Value
from ..plugin.case import Case
from ..plugin.faults import FaultTable, FaultTest

#: An outcome counts as plainly shown at this weight.
PLAIN = 0.95
#: What a test needs before it must be at least this likely, or the test means nothing.
LIKELY = 0.5


@attrs.frozen(kw_only=True)
class Outcome:
    """What a test showed: a weight for each of its outcomes, and the entries it rests on.

    `settled` is False where nothing was decided, however far the weights lean: readings that disagree, a
    limit that only advises, two records of which nobody knows which counts. Such an outcome shifts suspicion
    and plainly shows nothing.
    """

    test: FaultTest
    weights: tuple[float, ...]
    evidence: tuple[str, ...]
    settled: bool = True

    def share(self, names: Collection[str]) -> float:
        """The weight that these outcomes have together."""
        return sum(
            weight for weight, name in zip(self.weights, self.test.outcomes, strict=True) if name in names
        )

    @property
    def plain(self) -> str:
        """The outcome that is plainly shown, or empty."""
        if not self.settled:
            return ""
        best = max(range(len(self.weights)), key=self.weights.__getitem__)
        return self.test.outcomes[best] if self.weights[best] >= PLAIN else ""


def outcomes(
    table: FaultTable, case: Case, findings: Sequence[Finding], disputed: Collection[str] = ()
) -> list[Outcome]:
    """The outcomes that count as evidence: of all that was made at this stage, what its prerequisites allow
    (see `all_outcomes` and `countable`).
    """
    return countable(all_outcomes(table, case, findings, disputed))


def all_outcomes(
    table: FaultTable, case: Case, findings: Sequence[Finding], disputed: Collection[str] = ()
) -> list[Outcome]:
    """The outcome of every test of the table that was made at this stage.

    An uncertain reading shares its weight between outcomes.

    A test was made once, however often it was repeated: the newest that stands replaces what was there
    before, and is no new evidence.

    Args:
        disputed: Ids of entries of which two stores say different things.
    """
    found = []
    for test in table.tests.values():
        if test.measurand:
            outcome = _measured_outcome(test, case)
        elif test.code:
            outcome = _check_outcome(test, findings)
        elif test.codes:
            outcome = _code_outcome(test, case)
        else:
            outcome = _observation_outcome(test, case)
        if outcome is not None:
            found.append(
                outcome
                if set(outcome.evidence).isdisjoint(disputed)
                else attrs.evolve(outcome, settled=False)
            )
    return found


def allowance(test: FaultTest, shown: Mapping[str, Outcome]) -> float:
    """How surely what this test needs before it was shown: 1.0 where it needs nothing, 0.0 where that was not
    tested.
    """
    return min(
        (shown[first].share(names) if first in shown else 0.0 for first, names in test.after.items()),
        default=1.0,
    )


def countable(found: Sequence[Outcome]) -> list[Outcome]:
    """Without what was made before something else allowed it (`after`): that means nothing.

    Where what allows it is likely and not plainly shown, it counts and shows nothing plainly either.
    """
    kept = {outcome.test.key: outcome for outcome in found}
    while early := [key for key, outcome in kept.items() if allowance(outcome.test, kept) < LIKELY]:
        for key in early:
            del kept[key]
    return [
        attrs.evolve(outcome, settled=False) if allowance(outcome.test, kept) < PLAIN else outcome
        for outcome in kept.values()
    ]


def _measured_outcome(test: FaultTest, case: Case) -> Outcome | None:
    reading = case.readings.get((test.measurand, test.place))
    if reading is None:
        return None
    # Of readings that disagree each counts alike; of those that agree the latest speaks.
    several = [reading.value, *reading.others] if reading.disagrees else [reading.value]
    shares = zip(*(_shares(test, value) for value in several), strict=True)
    weights = tuple(sum(share) / len(several) for share in shares)
    return Outcome(test=test, weights=weights, evidence=(reading.entry,), settled=not reading.disagrees)


def _shares(test: FaultTest, value: Value) -> list[float]:
    below = [
        normal((edge - value.number) / value.u) if value.u > 0 else float(value.number < edge)
        for edge in test.at
    ]
    return [high - low for low, high in pairwise([0.0, *below, 1.0])]


def _check_outcome(test: FaultTest, findings: Sequence[Finding]) -> Outcome | None:
    """The verdict; of several like things the worst one speaks: one bad lead makes the leads bad."""
    judged = [
        (finding.probability, finding)
        for finding in findings
        if finding.code == test.code and finding.probability is not None and finding.limits
    ]
    if not judged:
        return None
    chance, worst = min(judged, key=lambda pair: pair[0])
    settled = worst.verdict in (Verdict.PASS, Verdict.FAIL)
    return Outcome(test=test, weights=(chance, 1 - chance), evidence=worst.evidence, settled=settled)


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


def _observation_outcome(test: FaultTest, case: Case) -> Outcome | None:
    """What was seen; of several like things one that is not sound speaks before those that are."""
    noted = [
        sighting
        for (key, _), sighting in case.sightings.items()
        if key == test.seen and sighting.answer is not None and sighting.answer.value in test.answers
    ]
    if not noted:
        return None
    sound = test.answers[test.outcomes.index(test.sound)]
    sighting = next(
        (sighting for sighting in noted if sighting.answer is not None and sighting.answer.value != sound),
        noted[0],
    )
    weights = tuple(
        float(sighting.answer is not None and answer == sighting.answer.value) for answer in test.answers
    )
    return Outcome(test=test, weights=weights, evidence=(sighting.entry,))
