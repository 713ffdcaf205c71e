"""A system's fault table at work: outcomes in, chances, calls for a part and the next test out."""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from ..assess.outcome import Outcome, outcomes
from ..assess.posterior import posterior
from ..assess.suspect import NextTest, call_for_part, next_tests
from ..model.finding import Finding
from ..plugin.case import Case
from ..plugin.faults import FaultTable
from ..plugin.system import System


@attrs.frozen(kw_only=True)
class Shown:
    """What the tests of a fault table have shown so far."""

    system: System
    table: FaultTable
    outcomes: tuple[Outcome, ...] = ()

    @property
    def tests(self) -> list[str]:
        """Keys of the tests that count."""
        return [outcome.test.key for outcome in self.outcomes]

    @property
    def chances(self) -> dict[str, float]:
        """Fault → its probability, alone or with another, given all that was shown."""
        return posterior(self.table, self.outcomes)

    def calls_for(self, operation: str) -> bool:
        """Whether this is enough to call for the operation's part; its key with or without the system's."""
        key = operation if "." in operation else f"{self.system.key}.{operation}"
        return call_for_part(self.table, self.outcomes, key, 0).met

    @property
    def next_tests(self) -> list[NextTest]:
        """What is worth testing next, the best first."""
        return next_tests(self.system.key, self.table, self.outcomes, {})


def shown(system: System, table: FaultTable | None = None, /, **results: str | tuple[float, ...]) -> Shown:
    """What follows when each of these tests of the fault table came out so.

    Args:
        table: Another table than the system's own, say with some of its faults.
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
    return Shown(system=system, table=own, outcomes=tuple(made))


def shown_by(system: System, case: Case, findings: Iterable[Finding]) -> Shown:
    """What the readings and findings of a case show."""
    if system.faults is None:
        raise ValueError(f"{system.key} has no fault table.")
    made = outcomes(system.faults, case, list(findings))
    return Shown(system=system, table=system.faults, outcomes=tuple(made))
