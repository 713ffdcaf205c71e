"""The conformance kit: whether a system is what the rest of corekit, a mechanic and a customer rely on.

`conformance(system)` makes one test of each requirement, for a line of a plugin's own tests;
`nonconformities(system)` gives what is found, for `corekit plugins --check`.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property

import attrs

from ...model.measurand import Measurand
from ...plugin.addition import Addition
from ...plugin.system import System
from ..bench import Bench
from .declared import nonconforming_declarations, nonconforming_sources, nonconforming_words
from .driving import nonconforming_calculations, nonconforming_checks
from .nonconformity import Nonconformity
from .practice import nonconforming_practice
from .said import Said, said_by
from .visits import nonconforming_visits
from .whole import (
    nonconforming_bars,
    nonconforming_calls,
    nonconforming_figures,
    nonconforming_table,
)

#: How often each check and each calculation is attacked, and over how many benches a table is looked at.
EXAMPLES = 60
#: Over so many benches for each check a table is looked at, however few examples are asked for.
LEAST_BENCHES = 20
#: How many visits are simulated over a fault table; they leave some ten percent either side.
VISITS = 100
#: How many visits to practice cars are driven at most: each is a whole visit, and takes its time.
PRACTICE_VISITS = 25

__all__ = ["EXAMPLES", "REQUIREMENTS", "Nonconformity", "Subject", "conformance", "nonconformities"]


@attrs.frozen(kw_only=True, slots=False)
class Subject:
    """A system under the kit.

    Attributes:
        examples: How often each check and each calculation is attacked.
        visits: How many visits are simulated over its fault table.
        addition: What is held to the kit, where that is not the system itself.
        benches: Readings laid by hand, for outcomes that take several things at once.
    """

    system: System
    examples: int = EXAMPLES
    visits: int = VISITS
    addition: Addition | None = None
    benches: Sequence[Bench] = ()

    @classmethod
    def of(cls, system: System, examples: int, visits: int, benches: Sequence[Bench] = ()) -> Subject:
        """A system; of an addition what it adds, on the system that it adds to."""
        whole, addition = (
            (_restricted_system(system), system) if isinstance(system, Addition) else (system, None)
        )
        return cls(system=whole, examples=examples, visits=visits, addition=addition, benches=benches)

    @property
    def whole(self) -> System:
        """The system as it is in the product."""
        return self.system if self.addition is None else self.addition.whole

    def judges(self, found: Nonconformity) -> bool:
        """False of what is the system's own and not the addition's."""
        if self.addition is None or found.of.startswith(_OF_ITS_CODE):
            return True
        source = found.of.removeprefix("source ")
        if found.of.startswith("fault table "):
            return f"{self.addition.name}_" in found.fault
        return f"{self.addition.name}_" in found.of or source in self.addition.own_sources

    @cached_property
    def foreign(self) -> Mapping[str, Measurand]:
        """What other systems that are installed declare, where a check wants it."""
        wanted = {one.key for one in self.system.foreign_wants}
        if not wanted:
            return {}
        from ...plugin.host import load

        return {key: one for key, one in load().measurands.items() if key in wanted}

    @cached_property
    def said(self) -> Said:
        return said_by(self.system, max(self.examples, LEAST_BENCHES), self.foreign, self.benches)


#: What is driven or read of an addition alone, so that whatever is told of it is its own.
_OF_ITS_CODE = ("check ", "calculation ", "derived reading ", "statement", "sentence", "system ")


def _restricted_system(addition: Addition) -> System:
    """The whole system with the checks, the calculations and the tests that concern the addition."""
    whole = copy.copy(addition.whole)
    own = f"{addition.name}_"
    whole.folder = addition.folder
    whole.checks = {key: one for key, one in whole.checks.items() if one.plugin == addition.entry_point}
    whole.calculations, whole.derived = addition.calculations, addition.derived
    if whole.faults is not None:
        tests = {
            key: test
            for key, test in whole.faults.tests.items()
            if key.startswith(own) or any(fault.startswith(own) for fault in test.given)
        }
        whole.__dict__["faults"] = attrs.evolve(whole.faults, tests=tests)
    return whole


def _checks(subject: Subject) -> Iterator[Nonconformity]:
    yield from nonconforming_checks(subject.system, subject.examples, subject.foreign)
    if any(check.not_while for check in subject.system.checks.values()):
        yield from nonconforming_bars(subject.system, subject.said)


def _calculations(subject: Subject) -> Iterator[Nonconformity]:
    return nonconforming_calculations(subject.system, subject.examples)


def _table(subject: Subject) -> Iterator[Nonconformity]:
    yield from nonconforming_table(subject.system, subject.said)
    yield from nonconforming_calls(subject.system, subject.said)


#: What is asked of every system, in the order in which an author mends it.
REQUIREMENTS: Mapping[str, Callable[[Subject], Iterator[Nonconformity]]] = {
    "declarations": lambda subject: nonconforming_declarations(subject.system),
    "sources": lambda subject: nonconforming_sources(subject.system),
    "calculations": _calculations,
    "checks": _checks,
    "fault table": _table,
    "simulated visits": lambda subject: nonconforming_visits(subject.whole, subject.visits),
    "practice car": lambda subject: nonconforming_practice(
        subject.whole, min(subject.visits, PRACTICE_VISITS)
    ),
    "figures": lambda subject: nonconforming_figures(subject.said),
    "words": lambda subject: nonconforming_words(subject.system),
}


def nonconformities(
    system: System,
    *,
    examples: int = EXAMPLES,
    visits: int = VISITS,
    without: tuple[str, ...] = (),
    benches: Sequence[Bench] = (),
) -> Iterator[tuple[str, Nonconformity]]:
    """(requirement, what does not fulfil it) of a system; nothing where all of it conforms. `benches` as for
    `conformance`.
    """
    subject = Subject.of(system, examples, visits, benches)
    for name, requirement in REQUIREMENTS.items():
        if name not in without:
            for found in requirement(subject):
                if subject.judges(found):
                    yield name, found


def conformance(
    system: System,
    *,
    examples: int = EXAMPLES,
    visits: int = VISITS,
    known: Mapping[str, str] | None = None,
    benches: Sequence[Bench] = (),
) -> Callable[..., None]:
    """A test for each requirement: `test_conformance = conformance(system)` in a plugin's own tests.

    Args:
        examples: How often each check and each calculation is attacked. visits: How many visits are
            simulated over its fault table.
        known: What is known and stays, by the beginning of its line as the kit prints it, each with the
            reason.
        benches: Readings laid by hand that lead to outcomes of the fault table which take several things at
            once: benches drawn by chance seldom have them together.
    """
    import pytest

    subject = Subject.of(system, examples, visits, benches)
    reasons = dict(known or {})

    @pytest.mark.parametrize("requirement", REQUIREMENTS)
    def test_conformance(requirement: str) -> None:
        lines = [str(found) for found in REQUIREMENTS[requirement](subject) if subject.judges(found)]
        unknown = [line for line in lines if not any(line.startswith(begin) for begin in reasons)]
        assert not unknown, "\n" + "\n".join(unknown)

    return test_conformance
