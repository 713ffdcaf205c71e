"""A system's fault table at work: outcomes in, chances, calls for a part and the next test out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import attrs

from ..assess.hypotheses import Complaint, joint
from ..assess.inference import Shown as ShownStep
from ..assess.inference import now, start, step
from ..assess.outcome import Outcome, outcomes
from ..assess.suspect import Evidence, NextTest, call_for_part, next_tests, suspects
from ..assess.timeline import StageOutcome
from ..model.finding import Finding
from ..plugin.case import Case
from ..plugin.faults import FaultTable
from ..plugin.system import System


@attrs.frozen(kw_only=True)
class Shown:
    """What the tests of a fault table have shown so far.

    `symptoms` are those the customer told; empty: a complaint in words only; None: no complaint.
    """

    system: System
    table: FaultTable
    outcomes: tuple[Outcome, ...] = ()
    symptoms: Sequence[str] | None = ()

    @property
    def tests(self) -> list[str]:
        """Keys of the tests that count."""
        return [outcome.test.key for outcome in self.outcomes]

    @property
    def chances(self) -> dict[str, float]:
        """Fault, `none` or `outside` → its probability, alone or with another, given all that was shown."""
        return {suspect.fault: suspect.probability for suspect in suspects(self._evidence)}

    @property
    def together(self) -> dict[frozenset[str], float]:
        """Faults that are there together → the probability of just these; of the empty set, that of none."""
        mark = f"{self.system.key}."
        return {
            frozenset(fault.removeprefix(mark) for fault in state): chance
            for state, chance in now(self._evidence.beliefs).items()
        }

    def calls_for(self, operation: str) -> bool:
        """Whether this is enough to call for the operation's part; its key with or without the system's."""
        key = operation if "." in operation else f"{self.system.key}.{operation}"
        return call_for_part(self._evidence, key, 0).met

    @property
    def next_tests(self) -> list[NextTest]:
        """What is worth testing next, the best first."""
        return next_tests(self._evidence)

    @property
    def _evidence(self) -> Evidence:
        complaint = None if self.symptoms is None else Complaint(symptoms=tuple(self.symptoms))
        tables = joint(
            {self.system.key: self.table},
            complaint,
            {},
            {self.system.key},
            [f"{self.system.key}.{fault}" for fault in self.table.faults],
        )
        beliefs = start(tables)
        latest = {}
        for outcome in self.outcomes:
            found = StageOutcome(system=self.system.key, stage=0, outcome=outcome)
            latest[found.key] = found
            beliefs = step(
                beliefs, ShownStep(system=self.system.key, test=outcome.test, weights=outcome.weights)
            )
        return Evidence(
            beliefs=beliefs,
            events=(),
            latest=latest,
            current=frozenset(latest),
            made=frozenset(latest),
            barred=frozenset(),
            fitted={},
        )


def shown(
    system: System,
    table: FaultTable | None = None,
    symptoms: Sequence[str] | None = (),
    /,
    **results: str | tuple[float, ...],
) -> Shown:
    """What follows when each of these tests of the fault table came out so.

    Args:
        table: Another table than the system's own, say with some of its faults.
        symptoms: What the customer told; empty: something in words only; None: nothing.
        results: Test → its outcome, or the chance of each outcome where it was left open.

    Raises:
        KeyError: no such test. ValueError: no such outcome.
    """
    own = table or system.faults
    if own is None:
        raise ValueError(f"{system.key} has no fault table.")
    made = []
    for key, result in results.items():
        test = own.tests[key]
        if isinstance(result, str) and result not in test.outcomes:
            raise ValueError(f"{key} comes out as {', '.join(test.outcomes)}; got {result!r}.")
        weights = (
            tuple(float(name == result) for name in test.outcomes) if isinstance(result, str) else result
        )
        made.append(Outcome(test=test, weights=weights, evidence=()))
    return Shown(system=system, table=own, outcomes=tuple(made), symptoms=symptoms)


def shown_by(system: System, case: Case, findings: Iterable[Finding]) -> Shown:
    """What the readings and findings of a case show."""
    if system.faults is None:
        raise ValueError(f"{system.key} has no fault table.")
    made = outcomes(system.faults, case, list(findings))
    return Shown(system=system, table=system.faults, outcomes=tuple(made))
