"""What can be wrong with this vehicle, over all systems at once: nothing, one fault, or two; and what each
test would show then.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import cached_property
from itertools import combinations

import attrs

from ..complaints import CHECK_UP, SOMETHING_ELSE, symptoms
from ..plugin.faults import OUTSIDE, Fault, FaultTable, FaultTest
from .outcome import applies

#: A symptom concerns a fault whose chance to show it is this many times that of a sound vehicle.
CONCERNS = 3.0
#: Chances that a customer complains of something the list of symptoms does not hold, or that nobody wrote
#: down as one of its symptoms: under any fault, under something outside, without a fault. Estimates of ours.
UNLISTED, UNLISTED_OUTSIDE, UNLISTED_NONE = 0.30, 0.30, 0.02

#: Faults that are there together, by full keys (`system.fault`, or `outside`); empty: no fault.
Hypothesis = frozenset[str]
SOUND: Hypothesis = frozenset()


@attrs.frozen(kw_only=True)
class Complaint:
    """What the customer told, as evidence.

    Attributes:
        symptoms: Keys; none where something was told in words only.
        circumstances: Keys of when it shows. shows: The share of the time in which it can be seen.
    """

    symptoms: tuple[str, ...] = ()
    circumstances: tuple[str, ...] = ()
    shows: float = 1.0

    @property
    def listed(self) -> tuple[str, ...]:
        """The symptoms that the list knows, without *something else*."""
        return tuple(key for key in self.symptoms if key in symptoms().symptoms and key != SOMETHING_ELSE)


@attrs.frozen(kw_only=True)
class JointTest:
    """A test of one system among the tests of all."""

    system: str
    test: FaultTest

    @property
    def key(self) -> str:
        return f"{self.system}.{self.test.key}"


@attrs.frozen(kw_only=True, eq=False)
class Tables:
    """The fault tables of all systems that matter here, as one.

    Attributes:
        faults: Full key → fault, of those that are let in.
        complaint: None where nothing was told.
    """

    systems: Mapping[str, FaultTable]
    faults: Mapping[str, Fault]
    complaint: Complaint | None = None

    @cached_property
    def hypotheses(self) -> tuple[Hypothesis, ...]:
        """Nothing, every fault alone and every two together; something outside is one fault of all."""
        singles = [*self.faults, OUTSIDE]
        return (
            SOUND,
            *(frozenset((fault,)) for fault in singles),
            *(frozenset(pair) for pair in combinations(singles, 2)),
        )

    @property
    def shows(self) -> float:
        """The share of the time in which what the complaint is about can be seen."""
        return self.complaint.shows if self.complaint is not None else 1.0

    @cached_property
    def tests(self) -> dict[str, JointTest]:
        """Full key → test, of every system."""
        found = [
            JointTest(system=system, test=test)
            for system, table in self.systems.items()
            for test in table.tests.values()
        ]
        return {one.key: one for one in found}

    def row(self, system: str, test: FaultTest, hypothesis: Hypothesis) -> tuple[float, ...]:
        """The probability of each outcome of a system's test under a hypothesis: faults of other systems
        leave it as on a sound vehicle.
        """
        return self.systems[system].row(test, self.own(system, hypothesis))

    def own(self, system: str, hypothesis: Hypothesis) -> frozenset[str]:
        """The faults of a hypothesis that a system's tests can see, by the system's own keys."""
        known = self._own.setdefault(system, {})
        found = known.get(hypothesis)
        if found is None:
            mark = f"{system}."
            found = known[hypothesis] = frozenset(
                fault if fault == OUTSIDE else fault[len(mark) :]
                for fault in hypothesis
                if fault == OUTSIDE or fault.startswith(mark)
            )
        return found

    @cached_property
    def _own(self) -> dict[str, dict[Hypothesis, frozenset[str]]]:
        return {}

    @cached_property
    def kept(self) -> dict[str, object]:
        """What others work out once for these tables, by its name."""
        return {}

    def told(self, hypothesis: Hypothesis) -> float:
        """The chance that a customer tells this complaint under a hypothesis.

        Of several symptoms the mean, as of one of which nobody knows which is meant. Several faults each give
        their chance by themselves. What shows now and then only was seen all the same before it was told: it
        is a reading that may be taken while it hides. It is worked out once for each.
        """
        found = self._told.get(hypothesis)
        if found is None:
            found = self._told[hypothesis] = self._told_by(hypothesis)
        return found

    @cached_property
    def _told(self) -> dict[Hypothesis, float]:
        return {}

    def _told_by(self, hypothesis: Hypothesis) -> float:
        if self.complaint is None:
            return 1.0
        listed = self.complaint.listed
        if not listed:
            return _any_of([self._unlisted_chance(fault) for fault in hypothesis], UNLISTED_NONE)
        chances = [
            _any_of([self._tells(fault, symptom) for fault in hypothesis], symptoms().symptoms[symptom].none)
            for symptom in listed
        ]
        return math.fsum(chances) / len(chances)

    @cached_property
    def told_each(self) -> list[float]:
        """`told` of every hypothesis, in their order: what each fault gives is looked up once."""
        if self.complaint is None:
            return [1.0] * len(self.hypotheses)
        listed = self.complaint.listed
        singles = (*self.faults, OUTSIDE)
        columns = [
            (
                symptoms().symptoms[symptom].none,
                {fault: 1.0 - self._tells(fault, symptom) for fault in singles},
            )
            for symptom in listed
        ] or [(UNLISTED_NONE, {fault: 1.0 - self._unlisted_chance(fault) for fault in singles})]
        found = []
        for hypothesis in self.hypotheses:
            whole = 0.0
            for none, silent in columns:
                left = 1.0
                for fault in hypothesis:
                    left *= silent[fault]
                whole += max(none, 1.0 - left) if hypothesis else none
            found.append(whole / len(columns))
        return found

    @staticmethod
    def _unlisted_chance(fault: str) -> float:
        return UNLISTED_OUTSIDE if fault == OUTSIDE else UNLISTED

    def _tells(self, fault: str, symptom: str) -> float:
        if fault == OUTSIDE:
            return symptoms().symptoms[symptom].outside
        system, _, key = fault.partition(".")
        return self.systems[system].symptoms.get(symptom, {}).get(key, symptoms().symptoms[symptom].none)

    @cached_property
    def prior(self) -> dict[Hypothesis, float]:
        """Prevalence of each hypothesis on a vehicle taken at random: the product of the odds of its faults,
        with those pairs that are met more often, and the factors of the circumstances.
        """
        odds = {fault: self._odds(fault) for fault in (*self.faults, OUTSIDE)}
        named = {
            frozenset(full): pair.per_1000 / 1000 * math.prod(map(self._circumstance_factor, full))
            for system, table in self.systems.items()
            for pair in table.pairs.values()
            if (full := [f"{system}.{fault}" for fault in pair.of])
        }
        weights = {}
        for hypothesis in self.hypotheses:
            weight = 1.0
            for fault in hypothesis:
                weight *= odds[fault]
            weights[hypothesis] = max(weight, named.get(hypothesis, 0.0))
        whole = math.fsum(weights.values())
        return {hypothesis: weight / whole for hypothesis, weight in weights.items()}

    def _odds(self, fault: str) -> float:
        if fault == OUTSIDE:
            per_1000 = symptoms().outside_per_1000
            return per_1000 / (1000 - per_1000)
        per_1000 = self.faults[fault].per_1000
        return per_1000 / (1000 - per_1000) * self._circumstance_factor(fault)

    def _circumstance_factor(self, fault: str) -> float:
        """The factor of the circumstances told on the odds of a fault."""
        system, _, key = fault.partition(".")
        return math.prod(
            self.systems[system].when.get(circumstance, {}).get(key, 1.0)
            for circumstance in (self.complaint.circumstances if self.complaint else ())
        )

    def work(self, hypothesis: Hypothesis) -> frozenset[str]:
        """What a hypothesis calls for: operations, and where none is, whom it is passed on to."""
        found = self._works.get(hypothesis)
        if found is None:
            found = self._works[hypothesis] = frozenset(self._work(fault) for fault in hypothesis)
        return found

    @cached_property
    def _works(self) -> dict[Hypothesis, frozenset[str]]:
        return {}

    def _work(self, fault: str) -> str:
        if fault == OUTSIDE:
            return f"({OUTSIDE})"
        return self.faults[fault].calls_for or f"({self.faults[fault].refer or fault})"

    def of_part(self, part: str) -> frozenset[str]:
        """The faults that a part can have."""
        return frozenset(key for key, fault in self.faults.items() if part and fault.part == part)

    def relieved_by(self, operation: str) -> frozenset[str]:
        """The faults that an operation leaves and whose complaint may go all the same, for a while."""
        system = operation.partition(".")[0]
        table = self.systems.get(system)
        found = table.relieved.get(operation, frozenset()) if table is not None else frozenset()
        return frozenset(f"{system}.{fault}" for fault in found) & self.faults.keys()

    def of_work(self, operation: str) -> frozenset[str]:
        """The faults that an operation cures."""
        return frozenset(key for key, fault in self.faults.items() if fault.calls_for == operation)


def _any_of(chances: Iterable[float], none: float) -> float:
    """The chance that at least one of several faults shows it; without any, that of a sound vehicle."""
    silent, some = 1.0, False
    for chance in chances:
        silent, some = silent * (1.0 - chance), True
    return max(none, 1.0 - silent) if some else none


def joint(
    systems: Mapping[str, FaultTable],
    complaint: Complaint | None,
    fitted: Mapping[str, object],
    about: Collection[str],
    let_in: Collection[str] = (),
    renewed: Mapping[str, float] | None = None,
    asked: Collection[str] = (),
) -> Tables:
    """The tables of the systems that matter, with those faults that can be met on this vehicle and that the
    complaint concerns.

    Args:
        systems: Of every installed system that has a table.
        fitted: Trait → answer. about: Keys of systems of which something was read or asked.
        let_in: Full keys of faults that a failing reading speaks for, whatever the complaint.
        renewed: Key of a part → years since it was renewed: until it has lived as long as such a part lasts
            its faults are the rarer.
        asked: Keys of systems that somebody asks about, whatever the complaint.
    """
    listed = [key for key in complaint.listed if key != CHECK_UP] if complaint is not None else []
    faults = {}
    for system, table in systems.items():
        for key, fault in table.faults.items():
            full = f"{system}.{key}"
            concerned = system in asked or (_concerns(table, key, listed) if listed else system in about)
            if (concerned or full in let_in) and applies(fault.only, fitted):
                faults[full] = _at_age(fault, renewed or {})
    involved = {full.partition(".")[0] for full in faults} | set(about)
    tables = {key: table.after_told(listed) for key, table in systems.items() if key in involved}
    # A job is assessed again after every answer, mostly with the same tables: what follows from them alone is
    # kept. They hold what the name says by its address, so no other can come to stand there.
    name = (
        tuple((system, id(table)) for system, table in tables.items()),
        tuple((full, fault.per_1000) for full, fault in faults.items()),
        complaint,
    )
    found = _KEPT.pop(name, None) or Tables(systems=tables, faults=faults, complaint=complaint)
    _KEPT[name] = found
    while len(_KEPT) > _MOST_KEPT:
        del _KEPT[next(iter(_KEPT))]
    return found


_KEPT: dict[object, Tables] = {}
_MOST_KEPT = 8


def _at_age(fault: Fault, renewed: Mapping[str, float]) -> Fault:
    years = renewed.get(fault.part)
    if years is None or fault.life is None or years >= fault.life:
        return fault
    # A part that is new can be bad as well: never less than a hundredth of what is usual.
    return attrs.evolve(fault, per_1000=fault.per_1000 * max(0.01, years / fault.life))


def _concerns(table: FaultTable, fault: str, listed: Sequence[str]) -> bool:
    return any(
        speaks_for(table.symptoms.get(symptom, {}).get(fault, 0.0), symptoms().symptoms[symptom].none)
        for symptom in listed
    )


def speaks_for(chance: float, none: float) -> bool:
    """Whether something that a fault shows with this chance concerns it: at least three times that of a sound
    vehicle, whatever the last digit of the product.
    """
    return chance >= CONCERNS * none * (1 - 1e-9)
