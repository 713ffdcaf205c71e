"""Readings that do not go together: with each other, or with the idea that several like parts fail for
reasons of their own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from enum import StrEnum

import attrs

from ..model.finding import Finding
from ..model.limit import Limit
from ..model.value import Value
from ..plugin.faults import OUTSIDE
from .hypotheses import Tables
from .inference import fresh_row, now
from .outcome import Outcome
from .suspect import Evidence

#: Outcomes are called contradictory when every state that is at all likely fits them worse than the first,
#: and when fitting so badly as the best of them would, with as many tests as were made, happen by chance more
#: seldom than the second. Both are estimates of ours. Two to ten outcomes drawn from the chances of a
#: built-in table itself gave a false alarm in 8 of 1000 (2,100 draws).
UNFIT, SELDOM = 0.02, 0.05
#: A state that is less likely than this explains nothing. An estimate of ours.
EXPLAINS = 0.01
#: Steps in which the logarithm of a fit is counted.
GRAIN = 0.02
#: What a finding leans to plainly.
OUT = 0.05


class Oddity(StrEnum):
    UNFIT = "do not fit together"
    ALIKE = "all alike"


@attrs.frozen(kw_only=True)
class Contradiction:
    """Something odd about several readings together, and the one to look at again.

    For the mechanic; never for the customer's paper.

    Attributes:
        wants: Key of the measurand or observation to read again. of: Test or code that it is about.
        places: Of readings that are all alike, where they were taken.
        fit: Of outcomes that do not fit together: their chance under what fits best, over that of its own
            likeliest outcomes.
    """

    system: str
    stage: int
    oddity: Oddity
    text: str
    of: str
    wants: str
    places: tuple[str, ...] = ()
    fit: float | None = None
    evidence: tuple[str, ...] = ()


def misfits(evidence: Evidence) -> list[Contradiction]:
    """The reading that fits worst, where no state of the vehicle explains all that was shown of it as it is
    now.

    Of each outcome: its chance under a state over that of the outcome which this state makes likeliest. Their
    product is 1 where everything is as expected; the likely state with the largest one counts.
    """
    tables = evidence.tables
    shown = [evidence.latest[key] for key in sorted(evidence.current)]
    if len(shown) < 2:
        return []
    states = now(evidence.beliefs)
    fits_of = {
        state: [_fit(fresh_row(tables, one.system, one.outcome.test, state), one.outcome) for one in shown]
        for state, chance in states.items()
        if chance >= EXPLAINS
    }
    best = max(fits_of, key=lambda state: math.prod(fits_of[state]))
    fits, rows = fits_of[best], [fresh_row(tables, one.system, one.outcome.test, best) for one in shown]
    if math.prod(fits) >= UNFIT or _by_chance(rows, math.prod(fits)) >= SELDOM:
        return []
    worst = shown[fits.index(min(fits))]
    test = worst.outcome.test
    named = " and ".join(sorted(_name(tables, fault) for fault in best)) or "no fault"
    text = (
        f"What was read does not fit together. It fits best with: {named}. Fitting worst with that:"
        f" {test.question} Answer: {worst.outcome.likeliest}. Make that test again, on another range or with"
        " another instrument, before relying on it."
    )
    return [
        Contradiction(
            system=worst.system,
            stage=worst.stage,
            oddity=Oddity.UNFIT,
            text=text,
            of=test.key,
            fit=math.prod(fits),
            evidence=worst.outcome.evidence,
            wants=test.asked_for,
        )
    ]


def _name(tables: Tables, fault: str) -> str:
    return "something outside these systems" if fault == OUTSIDE else tables.faults[fault].name


def _fit(row: Sequence[float], outcome: Outcome) -> float:
    return math.fsum(weight * p for weight, p in zip(outcome.weights, row, strict=True)) / max(row)


def _by_chance(rows: Sequence[Sequence[float]], fit: float) -> float:
    """How often tests with these chances fit as badly as this, or worse, though the hypothesis is the true
    one.
    """
    spread, worse = {0: 1.0}, 0.0
    for row in rows:
        steps = [(p, round(math.log(p / max(row)) / GRAIN)) for p in row]
        further: dict[int, float] = {}
        for reached, chance in spread.items():
            for p, step in steps:
                if (reached + step) * GRAIN <= math.log(fit):
                    worse += chance * p
                else:
                    further[reached + step] = further.get(reached + step, 0.0) + chance * p
        spread = further
    return worse


def all_alike(findings: Sequence[Finding], titles: Mapping[str, str]) -> list[Contradiction]:
    """Like things that all lie outside their limit on one side and by one value, within their uncertainty.

    Parts seldom fail alike by themselves: it points to the measurement, or to a cause that they share.

    Args:
        findings: Of one stage. titles: Measurand key → title.
    """
    groups: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        if (
            finding.place
            and finding.of
            and finding.value is not None
            and finding.limits
            and finding.probability is not None
        ):
            groups.setdefault((finding.code, finding.of), []).append(finding)
    found = []
    for (code, of), group in groups.items():
        places = tuple(dict.fromkeys(finding.place for finding in group))
        sides = {_side(finding) for finding in group}
        if (
            len(places) < 2
            or len(sides) != 1
            or "" in sides
            or not _one_value([finding.value for finding in group if finding.value is not None])
        ):
            continue
        text = (
            f"{titles.get(of, of)}: at {', '.join(places)} the same value within uncertainty, and all"
            f" {sides.pop()} the limit. Parts seldom fail alike by themselves: check the instrument, its"
            " leads and what these places share before any of the parts."
        )
        evidence = tuple(dict.fromkeys(entry for finding in group for entry in finding.evidence))
        found.append(
            Contradiction(
                system=group[0].system,
                stage=group[0].stage,
                oddity=Oddity.ALIKE,
                text=text,
                of=code,
                wants=of,
                places=places,
                evidence=evidence,
            )
        )
    return found


def _side(finding: Finding) -> str:
    """`below` or `above` the limit, or empty where it is not plainly outside."""
    limit, value = finding.limits[0], finding.value
    if value is None or finding.probability is None or finding.probability > OUT:
        return ""
    return "below" if _under(limit, value) else "above"


def _under(limit: Limit, value: Value) -> bool:
    return limit.low is not None and value.number < limit.low.number


def _one_value(values: Sequence[Value]) -> bool:
    """True when the outermost two lie no further apart than the uncertainty (k = 2) of either explains."""
    low, high = min(values, key=lambda value: value.number), max(values, key=lambda value: value.number)
    return high.number - low.number <= 2 * max(value.u for value in values)
