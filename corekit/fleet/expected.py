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


class Expected:
    """What these tables expect, over all systems at once; what was asked once is kept.

    Attributes:
        faults: System → its table. everything: All of them as one.
        works: Fault → the work that ends it, of those that work is sold for. cured_by: The other way round.
    """

    def __init__(self, faults: Mapping[str, FaultTable]) -> None:
        self.faults = faults
        self.everything: Tables = joint(faults, None, {}, faults)
        self.works = {
            f"{system}.{key}": fault.calls_for
            for system, table in faults.items()
            for key, fault in table.faults.items()
            if fault.calls_for
        }
        self.cured_by: dict[str, tuple[str, ...]] = {}
        for fault, operation in self.works.items():
            self.cured_by[operation] = (*self.cured_by.get(operation, ()), fault)
        declared = (fault for table in faults.values() for fault in table.faults.values())
        self._hangs_on = {trait for fault in declared for trait in fault.only}
        self.told_by = lru_cache(maxsize=None)(self._told_by)
        self.shares = lru_cache(maxsize=None)(self._shares)
        self.own_states = lru_cache(maxsize=None)(self._own_states)
        self.row = lru_cache(maxsize=None)(self._row)

    def chance_told(self, fault: str, symptom: str) -> float:
        """The chance that a symptom is told under a fault alone."""
        if fault == OUTSIDE:
            return symptoms().symptoms[symptom].outside
        system, _, key = fault.partition(".")
        return self.faults[system].symptoms.get(symptom, {}).get(key, symptoms().symptoms[symptom].none)

    def fitted(self, answers: Sequence[tuple[str, str]]) -> Fitted:
        """Of what a vehicle is fitted with that on which a fault hangs."""
        return tuple((trait, answer) for trait, answer in answers if trait in self._hangs_on)

    def is_possible(self, fault: str, fitted: Fitted) -> bool:
        """Whether a vehicle that is fitted so can have this fault."""
        system, _, key = fault.partition(".")
        return fault == OUTSIDE or applies(self.faults[system].faults[key].only, dict(fitted))

    def _told_by(self, symptom: str) -> dict[str, list[tuple[Hypothesis, float]]]:
        """Fault → every state with it, and how often the symptom is told in that state and by that fault:
        each tells it in proportion to its own chance.
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
        told = self.told_by(symptom)
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
        table = self.faults[system]
        declared = table.tests[test]
        sums = [0.0] * len(declared.outcomes)
        for own, weight in self.own_states(system, fault, symptom):
            for at, p in enumerate(table.row(declared, own)):
                sums[at] += weight * p
        return tuple(sums)

    def _own_states(self, system: str, fault: str, symptom: str) -> list[tuple[frozenset[str], float]]:
        """What a system's tests can see of the states in which this fault is the cause, with their shares."""
        found: dict[frozenset[str], float] = {}
        for state, weight in self.told_by(symptom)[fault]:
            own = self.everything.own(system, state)
            found[own] = found.get(own, 0.0) + weight
        whole = math.fsum(found.values())
        return [(own, weight / whole) for own, weight in found.items()]

    def paired(self, fault: str, symptom: str) -> float:
        """Of the states in which this fault is the cause, the share in which another is there with it that is
        met with it more often than by chance: that is a number of its own, and stays.
        """
        system, _, _ = fault.partition(".")
        named = {
            frozenset(f"{system}.{one}" for one in pair.of) for pair in self.faults[system].pairs.values()
        }
        states = self.told_by(symptom)[fault]
        together = math.fsum(weight for state, weight in states if state in named)
        return together / math.fsum(weight for _, weight in states)

    def row_key(self, system: str, test: str, fault: str) -> str:
        """Which row of a test's table is the fault's."""
        own, _, key = fault.partition(".")
        if own != system:
            return NONE
        return key if key in self.faults[system].tests[test].given else OTHERWISE
