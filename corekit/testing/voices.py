"""What the customer is told by a system, wherever it says something: for tests of the words."""

from __future__ import annotations

import random
from collections.abc import Iterator
from enum import StrEnum

import attrs

from .. import units
from ..model.finding import Finding, Gap, Reason
from ..model.limit import Span
from ..model.measurand import Measurand, Observation, Trait
from ..model.sampling import Sampling
from ..model.value import exact
from ..plugin.check import run
from ..plugin.system import System
from .bench import Bench

#: How often something stands on a random bench, and how far its reading goes: mostly within what is usual.
_FITTED, _SEEN, _READ, _AT_A_PLACE, _EVERYWHERE, _USUAL, _AGAIN, _REPAIRED = (
    0.6,
    0.5,
    0.7,
    0.6,
    0.4,
    0.7,
    0.1,
    0.3,
)


class Kind(StrEnum):
    """Where the customer reads it."""

    NAME = "name"
    ANSWER = "answer"
    OPERATION = "operation"
    CAUSE = "cause"
    FAULT = "fault"
    FINDING = "finding"
    GAP = "gap"


@attrs.frozen
class Told:
    """One text that a customer reads.

    Attributes:
        of: What it stands for: the key of what is declared, or the code of a finding.
        is_own: It was written for the customer, and is no trade's text that stands in for one. Names and gaps
            are made up from declarations where nothing was written.
        template: Before values were filled in; the text itself where there are none.
    """

    kind: Kind
    of: str
    text: str
    is_own: bool
    template: str = ""

    @property
    def words(self) -> int:
        return len(self.text.split())


def told_by_declarations(system: System) -> Iterator[Told]:
    """Names, answers, operations and faults of a system, in the customer's words."""
    named: tuple[Measurand | Sampling | Observation | Trait, ...] = (
        *system.measurands.values(),
        *system.records.values(),
        *system.observations.values(),
        *system.traits.values(),
    )
    for one in named:
        yield Told(Kind.NAME, one.key, one.for_customer, True)
    for seen in system.observations.values():
        for member in seen.answers:
            answer = str(member.value)
            yield Told(Kind.ANSWER, f"{seen.key}: {answer}", seen.told(answer), answer in seen.tells_each)
    for own in system.symptoms.values():
        yield Told(Kind.NAME, own.symptom.key, own.symptom.words, True)
    for work in system.operations.values():
        yield Told(Kind.OPERATION, work.key, work.for_customer, bool(work.tells))
    for fault in system.faults.faults.values() if system.faults else ():
        key = f"{system.key}.{fault.key}"
        yield Told(Kind.CAUSE, key, fault.headline, bool(fault.cause))
        yield Told(Kind.FAULT, key, fault.for_customer, bool(fault.tells))


def told_by_checks(system: System, *benches: Bench) -> Iterator[Told]:
    """What the checks say to the customer over what lies on these benches.

    A gap that does not apply to the vehicle is told to nobody. A check that fails says nothing here: the
    product makes a gap of it, and its own tests are there to find out.
    """
    for bench in benches:
        for check in system.checks.values():
            try:
                results = run(check, bench.case(check.title))
            except Exception:
                continue
            for result in results:
                if isinstance(result, Finding):
                    text = result.for_customer
                    yield Told(
                        Kind.FINDING, result.code, str(text), result.customer_text is not None, text.template
                    )
                elif isinstance(result, Gap) and result.reason is not Reason.DOES_NOT_APPLY:
                    told = result.for_customer
                    yield Told(Kind.GAP, f"{system.key}: {check.title}", told, bool(result.tells), told)


def random_bench(system: System, seed: int) -> Bench:
    """A bench with something of everything that the system declares, the same for the same seed."""
    chance, bench = random.Random(seed), Bench(system)
    for trait in system.traits.values():
        if chance.random() < _FITTED:
            bench.fitted[trait.key] = _trait_answer(trait, chance)
    for seen in system.observations.values():
        if chance.random() < _SEEN:
            _see(bench, seen, chance)
    for measurand in system.measurands.values():
        if chance.random() < _READ:
            _add_reading(bench, measurand, chance)
    if system.operations and chance.random() < _REPAIRED:
        bench.repaired(_short(chance.choice(list(system.operations))))
    return bench


def _short(key: str) -> str:
    return key.split(".", 1)[1]


def _trait_answer(trait: Trait, chance: random.Random) -> object:
    if trait.answers is not None:
        return chance.choice(list(trait.answers))
    kind = units.unit(chance.choice(trait.units)).kind
    return exact(kind, _number(trait.possible, trait.possible, chance), [f"fitted-{_short(trait.key)}"])


def _see(bench: Bench, seen: Observation, chance: random.Random) -> None:
    for place in seen.places or ("",):
        if not place or chance.random() < _AT_A_PLACE:
            bench.see(_short(seen.key), str(chance.choice(list(seen.answers)).value), place)


def _add_reading(bench: Bench, measurand: Measurand, chance: random.Random) -> None:
    everywhere = chance.random() < _EVERYWHERE
    for place in measurand.places or ("",):
        if place and not everywhere and chance.random() > _AT_A_PLACE:
            continue
        span = measurand.usual if chance.random() < _USUAL else measurand.possible
        number = _number(span, measurand.possible, chance)
        typed = units.show(exact(measurand.kind, number), measurand.unit, uncertainty=False)
        bench.read(_short(measurand.key), typed, place=place)
        if chance.random() < _AGAIN:
            bench.read_also(_short(measurand.key), typed, place=place)


def _number(span: Span, possible: Span, chance: random.Random) -> float:
    """A number of the span; where an end is open that of what is possible, else 0 or something large."""
    low = next((end for end in (span.low, possible.low) if end is not None), 0.0)
    high = next((end for end in (span.high, possible.high) if end is not None), low + 100.0)
    return chance.uniform(low, high)
