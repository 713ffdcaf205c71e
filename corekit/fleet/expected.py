"""What fault tables expect of retested visits: which fault is the cause under a complaint, and what its tests
show beside whatever else may be wrong.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache

import attrs

from ..assess.hypotheses import Complaint, Hypothesis, Tables, joint
from ..assess.outcome import applies
from ..complaints import symptoms
from ..plugin.faults import NONE, OUTSIDE, FaultTable
from ..plugin.learned import OTHERWISE

#: Trait → answer, as far as some fault's or test's being there hangs on it.
Fitted = tuple[tuple[str, str], ...]


@attrs.frozen(eq=False, slots=False)
class Expected:
    """What these tables expect, over all systems at once.

    Attributes:
        faults: System → its table.
    """

    faults: Mapping[str, FaultTable]

    def __attrs_post_init__(self) -> None:
        object.__setattr__(self, "told_by", lru_cache(maxsize=None)(self._told_by))
        object.__setattr__(self, "shares", lru_cache(maxsize=None)(self._shares))
        object.__setattr__(self, "row", lru_cache(maxsize=None)(self._row))
        object.__setattr__(self, "everything", joint(self.faults, None, {}, self.faults))
        named = {
            trait
            for table in self.faults.values()
            for fault in table.faults.values()
            for trait in fault.only
        }
        object.__setattr__(self, "named", named)
        works = {
            f"{system}.{key}": fault.calls_for
            for system, table in self.faults.items()
            for key, fault in table.faults.items()
            if fault.calls_for
        }
        object.__setattr__(self, "works", works)
        cured: dict[str, tuple[str, ...]] = {}
        for fault, operation in works.items():
            cured[operation] = (*cured.get(operation, ()), fault)
        object.__setattr__(self, "cured_by", cured)

    everything: Tables = attrs.field(init=False)
    #: Fault → the work that ends it, and the other way round; a fault that no work is sold for has none.
    works: Mapping[str, str] = attrs.field(init=False)
    cured_by: Mapping[str, tuple[str, ...]] = attrs.field(init=False)
    named: frozenset[str] = attrs.field(init=False)

    def chance_told(self, fault: str, symptom: str) -> float:
        """The chance that a symptom is told under a fault alone."""
        if fault == OUTSIDE:
            return symptoms().symptoms[symptom].outside
        system, _, key = fault.partition(".")
        return self.faults[system].symptoms.get(symptom, {}).get(key, symptoms().symptoms[symptom].none)

    def fitted(self, answers: Sequence[tuple[str, str]]) -> Fitted:
        """Of what a vehicle is fitted with that on which a fault hangs."""
        return tuple((trait, answer) for trait, answer in answers if trait in self.named)

    def is_possible(self, fault: str, fitted: Fitted) -> bool:
        """Whether a vehicle that is fitted so can have this fault."""
        system, _, key = fault.partition(".")
        return fault == OUTSIDE or applies(self.faults[system].faults[key].only, dict(fitted))

    def _told_by(self, symptom: str) -> dict[str, list[tuple[Hypothesis, float]]]:
        """Fault → every state with it, and how often the symptom is told in that state and by that fault: each
        tells it in proportion to its own chance.
        """
        tables = attrs.evolve(self.everything, complaint=Complaint(symptoms=(symptom,)))
        found: dict[str, list[tuple[Hypothesis, float]]] = {}
        for (state, prior), told in zip(tables.prior.items(), tables.told_each, strict=True):
            tells = {fault: self.chance_told(fault, symptom) for fault in state}
            whole = math.fsum(tells.values())
            for fault, chance in tells.items():
                found.setdefault(fault, []).append((state, prior * told * chance / whole))
        return found

    def _shares(self, symptom: str, fitted: Fitted) -> dict[str, float]:
        """Fault → its share of the causes under a complaint that work ended."""
        told: Mapping[str, list[tuple[Hypothesis, float]]] = self.told_by(symptom)  # type: ignore[attr-defined]
        weights = {
            fault: math.fsum(
                weight
                for state, weight in told[fault]
                if not fitted or all(self.is_possible(one, fitted) for one in state)
            )
            for fault in self.works
        }
        whole = math.fsum(weights.values())
        return {fault: weight / whole for fault, weight in weights.items() if weight > 0}

    def _row(self, system: str, test: str, fault: str, symptom: str) -> tuple[float, ...]:
        """What a test shows where this fault is the cause, whatever else may be wrong beside it."""
        told: Mapping[str, list[tuple[Hypothesis, float]]] = self.told_by(symptom)  # type: ignore[attr-defined]
        table = self.faults[system]
        declared = table.tests[test]
        whole, sums = 0.0, [0.0] * len(declared.outcomes)
        for state, weight in told[fault]:
            whole += weight
            row = self.everything.row(system, declared, state)
            for at, p in enumerate(row):
                sums[at] += weight * p
        return tuple(one / whole for one in sums)

    def row_key(self, system: str, test: str, fault: str) -> str:
        """Which row of a test's table is the fault's."""
        own, _, key = fault.partition(".")
        if own != system:
            return NONE
        return key if key in self.faults[system].tests[test].given else OTHERWISE
