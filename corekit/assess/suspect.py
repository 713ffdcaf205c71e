"""From outcomes to suspects, to the next test, to whether a part may be called for. Exact inference over single faults."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise

import attrs

from ..judge import normal
from ..model.finding import Finding, Verdict
from ..model.value import Value
from ..plugin.case import Case
from ..plugin.faults import Fault, FaultTable, FaultTest

#: A part is called for at this probability or more, whichever single number of the table is wrong by this factor.
CALL_AT, WRONG_BY = 0.80, 1.5
#: An outcome counts as plainly shown at this weight.
PLAIN = 0.95
#: Tests that promise less than this many bits are not worth walking to the bonnet for.
WORTHWHILE = 0.01


@attrs.frozen(kw_only=True)
class Outcome:
    """What a test showed: a weight for each of its outcomes, and the entries it rests on.

    `settled` is False where nothing was decided, however far the weights lean: readings that disagree, a limit that only
    advises, two records of which nobody knows which counts. Such an outcome shifts suspicion and plainly shows nothing.
    """

    test: FaultTest
    weights: tuple[float, ...]
    evidence: tuple[str, ...]
    settled: bool = True

    @property
    def plain(self) -> str:
        """The outcome that is plainly shown, or empty."""
        if not self.settled:
            return ""
        best = max(range(len(self.weights)), key=self.weights.__getitem__)
        return self.test.outcomes[best] if self.weights[best] >= PLAIN else ""


@attrs.frozen(kw_only=True)
class Suspect:
    """A fault with its probability given all outcomes so far. For the mechanic; never for the customer's paper."""

    system: str
    fault: str
    name: str
    probability: float
    calls_for: str


@attrs.frozen(kw_only=True)
class NextTest:
    """A test worth making next, with the question it answers."""

    system: str
    key: str
    question: str
    minutes: float
    bits: float
    wants: str


@attrs.frozen(kw_only=True)
class Call:
    """Whether an operation may be offered on what was found, and why or why not yet."""

    operation: str
    met: bool
    why: str
    stage: int


def outcomes(table: FaultTable, case: Case, findings: Sequence[Finding], disputed: Collection[str] = ()) -> list[Outcome]:
    """The outcome of every test of the table that was made at this stage. An uncertain reading shares its weight between outcomes.

    Args:
        disputed: Ids of entries of which two stores say different things.
    """
    found = []
    for test in table.tests.values():
        if test.measurand:
            outcome = _binned(test, case)
        elif test.code:
            outcome = _checked(test, findings)
        elif test.codes:
            outcome = _coded(test, case)
        else:
            outcome = _seen(test, case)
        if outcome is not None:
            found.append(outcome if set(outcome.evidence).isdisjoint(disputed) else attrs.evolve(outcome, settled=False))
    return found


def _binned(test: FaultTest, case: Case) -> Outcome | None:
    reading = case.readings.get((test.measurand, test.place))
    if reading is None:
        return None
    # Of readings that disagree each counts alike; of those that agree the latest speaks.
    several = [reading.value, *reading.others] if reading.disagrees else [reading.value]
    shares = zip(*(_shares(test, value) for value in several), strict=True)
    weights = tuple(sum(share) / len(several) for share in shares)
    return Outcome(test=test, weights=weights, evidence=(reading.entry,), settled=not reading.disagrees)


def _shares(test: FaultTest, value: Value) -> list[float]:
    below = [normal((edge - value.number) / value.u) if value.u > 0 else float(value.number < edge) for edge in test.at]
    return [high - low for low, high in pairwise([0.0, *below, 1.0])]


def _checked(test: FaultTest, findings: Sequence[Finding]) -> Outcome | None:
    """The verdict; of several like things the worst one speaks: one bad lead makes the leads bad."""
    judged = [(finding.probability, finding) for finding in findings if finding.code == test.code and finding.probability is not None and finding.limits]
    if not judged:
        return None
    chance, worst = min(judged, key=lambda pair: pair[0])
    settled = worst.verdict in (Verdict.PASS, Verdict.FAIL)
    return Outcome(test=test, weights=(chance, 1 - chance), evidence=worst.evidence, settled=settled)


def _coded(test: FaultTest, case: Case) -> Outcome | None:
    """Set when a stored or pending list holds one of the codes; not set when the stored list was read and no list holds one.

    A code that is only permanent says neither: it stays until the vehicle itself has run the test again, however well it was repaired.
    """
    found = [case.codes[code] for code in test.codes if code in case.codes]
    now = [one for one in found if set(one.states) & {"stored", "pending"}]
    if now:
        entries = dict.fromkeys(entry for one in now for entry in one.entries)
        return Outcome(test=test, weights=(1.0, 0.0), evidence=tuple(entries))
    if found or "stored" not in case.code_lists:
        return None
    return Outcome(test=test, weights=(0.0, 1.0), evidence=tuple(dict.fromkeys(case.code_lists.values())))


def _seen(test: FaultTest, case: Case) -> Outcome | None:
    """What was seen; of several like things one that is not sound speaks before those that are."""
    noted = [sight for (key, _), sight in case.sights.items() if key == test.seen and sight.answer is not None and sight.answer.value in test.answers]
    if not noted:
        return None
    sound = test.answers[test.outcomes.index(test.sound)]
    sight = next((sight for sight in noted if sight.answer is not None and sight.answer.value != sound), noted[0])
    weights = tuple(float(sight.answer is not None and answer == sight.answer.value) for answer in test.answers)
    return Outcome(test=test, weights=weights, evidence=(sight.entry,))


def posterior(table: FaultTable, shown: Sequence[Outcome], changed: Mapping[tuple[str, ...], float] | None = None) -> dict[str, float]:
    """Probability of each fault, `none` and `outside` included, given the outcomes.

    Args:
        changed: Numbers of the table to replace by a factor: ("weight", fault) or ("p", test, fault, outcome).
    """
    return _normal({key: _log(table, key, shown, changed or {}) for key in table.faults})


def _log(table: FaultTable, fault: str, shown: Sequence[Outcome], changed: Mapping[tuple[str, ...], float]) -> float:
    """Logarithm of weight times chances of all that was shown, under one fault; each fault's rests on its own numbers alone."""
    total = math.log(table.faults[fault].weight * changed.get(("weight", fault), 1.0))
    for outcome in shown:
        names = outcome.test.outcomes
        scaled = [p * changed.get(("p", outcome.test.key, fault, name), 1.0) for p, name in zip(outcome.test.likelihood(fault), names, strict=True)]
        total += math.log(sum(weight * p for weight, p in zip(outcome.weights, scaled, strict=True)) / sum(scaled))
    return total


def _normal(logs: Mapping[str, float]) -> dict[str, float]:
    """Probabilities that sum to 1, from logarithms of their ratios."""
    highest = max(logs.values())
    parts = {key: math.exp(log - highest) for key, log in logs.items()}
    whole = sum(parts.values())
    return {key: part / whole for key, part in parts.items()}


def suspects(system: str, table: FaultTable, shown: Sequence[Outcome]) -> list[Suspect]:
    """All faults of the table, likeliest first."""
    chances = posterior(table, shown)
    ranked = sorted(table.faults.values(), key=lambda fault: -chances[fault.key])
    return [Suspect(system=system, fault=fault.key, name=fault.name, probability=chances[fault.key], calls_for=fault.calls_for) for fault in ranked]


def next_tests(system: str, table: FaultTable, shown: Sequence[Outcome], barred: Mapping[str, str]) -> list[NextTest]:
    """Tests not made yet, by expected information per hands-on minute.

    Faults with the same operation need not be told apart, so the information is about the operation.

    Args:
        barred: Code of a check that cannot be made yet → what must come first; such a test is not offered.
    """
    made = {outcome.test.key for outcome in shown}
    before = posterior(table, shown)
    found = []
    for test in table.tests.values():
        if test.key in made or test.code in barred:
            continue
        bits = _information(table, before, test)
        if bits >= WORTHWHILE:
            wants = test.wants or test.measurand or test.seen
            found.append(NextTest(system=system, key=test.key, question=test.question, minutes=test.minutes, bits=bits, wants=wants))
    return sorted(found, key=lambda test: -test.bits / test.minutes)


def _information(table: FaultTable, before: Mapping[str, float], test: FaultTest) -> float:
    """Mutual information between the operation called for and the test's outcome, in bits; never negative."""
    joint: dict[tuple[str, int], float] = {}
    for key, chance in before.items():
        group = _group(table.faults[key])
        for index, p in enumerate(test.likelihood(key)):
            joint[group, index] = joint.get((group, index), 0.0) + chance * p
    groups: dict[str, float] = {}
    results: dict[int, float] = {}
    for (group, index), p in joint.items():
        groups[group] = groups.get(group, 0.0) + p
        results[index] = results.get(index, 0.0) + p
    return max(0.0, sum(p * math.log2(p / (groups[group] * results[index])) for (group, index), p in joint.items() if p > 0))


def _group(fault: Fault) -> str:
    return fault.calls_for or f"({fault.key})"


def call_for_part(table: FaultTable, shown: Sequence[Outcome], operation: str, stage: int) -> Call:
    """May this part be called for?

    Two things together: a test that speaks directly against it has plainly failed, and its faults hold 0.80 of the
    probability, also when any one number of the table is wrong by a factor of 1.5 either way.
    """
    against = {key for key, fault in table.faults.items() if fault.calls_for == operation}
    direct = [outcome for outcome in shown if any(_speaks_against(outcome, fault) for fault in against)]
    if not direct:
        return Call(operation=operation, met=False, stage=stage, why="No test that speaks directly against the part has plainly failed.")
    lowest = _lowest_share(table, shown, against)
    if lowest < CALL_AT:
        share = _share(posterior(table, shown), against)
        doubted = f"{lowest:.0%} if one number of the fault table is off by {WRONG_BY:g}"
        why = f"Other explanations remain: the part holds {share:.0%}, and {doubted}; {CALL_AT:.0%} is asked for."
        return Call(operation=operation, met=False, stage=stage, why=why)
    return Call(operation=operation, met=True, stage=stage, why=f"{direct[0].test.question} Answer: {direct[0].plain}.")


def _speaks_against(outcome: Outcome, fault: str) -> bool:
    row = outcome.test.given.get(fault)
    return bool(row and row.direct and outcome.plain == row.direct)


def _share(chances: Mapping[str, float], faults: set[str]) -> float:
    return sum(chances[fault] for fault in faults)


def _lowest_share(table: FaultTable, shown: Sequence[Outcome], faults: set[str]) -> float:
    """The least these faults hold with the table as it is, or with any one number that matters moved by the factor, one at a time."""
    logs = {fault: _log(table, fault, shown, {}) for fault in table.faults}
    numbers: list[tuple[str, tuple[str, ...]]] = [(fault, ("weight", fault)) for fault in table.faults]
    numbers += [(fault, ("p", outcome.test.key, fault, name)) for outcome in shown for fault in table.faults for name in outcome.test.outcomes]
    moved = ({**logs, fault: _log(table, fault, shown, {number: factor})} for fault, number in numbers for factor in (WRONG_BY, 1 / WRONG_BY))
    return min(_share(_normal(one), faults) for one in (logs, *moved))

