"""A visit to a practice car, driven by the program's own next steps: what it came to, and what it said on the
way that the car contradicts.

Nobody decides here: the first next step is made, the first piece of work that may be proposed is done, and
the complaint is looked at again after each. The visit stands as the text of a visit file, so that whatever
went wrong can be looked at with `corekit check`.
"""

from __future__ import annotations

import json
import random
from collections.abc import Mapping, Sequence
from typing import Any

import attrs

from .. import units
from ..assess.assessment import Assessment, assess
from ..assess.suspect import NextTest
from ..desk.in_memory import scratch_job
from ..intake.declared import Declared
from ..intake.visit import read_visit
from ..model.measurand import Measurand
from ..plugin.host import Plugins
from .car import At, Car, Hidden, invented, wanted_operations
from .declared import practices
from .statements import NAMED_AT, Untrue, added, is_there, untrue_statements

MINUTES = 150.0  # of a visit, hands-on; an estimate of ours
MOST_STEPS = 60
LABEL_READ = 0.8  # share of labels that are read on arrival; an estimate of ours
CODES_TAKE = 3.0  # minutes
LOOKS = 3  # times that the complaint is looked for after work; an estimate of ours
_TOLD_AGAIN = {False: "gone", True: "stayed"}


@attrs.frozen(kw_only=True)
class Driven:
    """One visit to a practice car.

    Attributes:
        how: *right*: all that was needed was done, or passed on to whom it belongs, and nothing else; *in
            vain*: the same, after work that was not needed; *left over*: the complaint is gone and something
            needed is not done; *wrong*: passed on to somebody whose work it is not; *undecided*.
        wrong_parts: Parts exchanged that were sound. in_vain: other work that was not needed.
        minutes: Hands-on. untrue: Each statement once.
        visit: The visit file.
    """

    seed: int
    hidden: tuple[Hidden, ...]
    how: str
    wrong_parts: tuple[str, ...]
    in_vain: tuple[str, ...]
    minutes: float
    untrue: tuple[Untrue, ...]
    visit: str


@attrs.define(kw_only=True)
class Visit:
    """The visit as it goes: the car, the systems that somebody asks about, the rows of its file, and whether
    the complaint was there when it was last looked for.
    """

    car: Car
    plugins: Plugins
    draw: random.Random
    about: Sequence[str] = ()
    told: tuple[str, ...] = ()
    steps: list[str] = attrs.field(factory=list)
    traits: dict[str, str] = attrs.field(factory=dict)
    minutes: float = 0.0
    wrong_parts: list[str] = attrs.field(factory=list)
    in_vain: list[str] = attrs.field(factory=list)
    untrue: dict[tuple[str, str], Untrue] = attrs.field(factory=dict)
    made: set[tuple[str, str, str]] = attrs.field(factory=set)
    still: bool = True

    @property
    def text(self) -> str:
        """The visit file."""
        head = [
            'job = "practice"',
            "demo = true",
            'reason = "PRACTICE"',
            f"complaint = {{ symptoms = {json.dumps(list(self.told))}{self._seldom} }}",
            'vehicle = { description = "practice car", no_vin = "practice" }',
            "",
            "[traits]",
            *(f"{json.dumps(key)} = {_toml_string(answer)}" for key, answer in self.traits.items()),
        ]
        return "\n".join([*head, "", *(f"[[step]]\n{step}\n" for step in self.steps)])

    @property
    def _seldom(self) -> str:
        return ', shows = "often"' if self.car.calm else ""

    @property
    def met(self) -> Car:
        """The car as it is met now."""
        return self.car.at_moment(str(len(self.steps)))

    def assessment(self) -> Assessment:
        """What is made of it so far."""
        file = read_visit(self.text.encode(), Declared.of(self.plugins, currency="EUR"))
        job, _ = scratch_job(file)
        return assess(job, self.plugins, about=self.about)

    def read_labels(self) -> None:
        """What the vehicle is fitted with, as far as somebody asks on arrival: of most cars, not of all."""
        for system in self.car.practices.values():
            for key in system.system.traits:
                answer = self.car.fitted(key)
                if answer is not None and self.draw.random() < LABEL_READ:
                    self.traits[key] = answer

    def read_codes(self) -> None:
        """The trouble codes, where a system of the car stores any; a few minutes with the scan tool."""
        codes = self.met.codes
        if codes is not None:
            self.minutes += CODES_TAKE
            self.steps.append(f"codes = {{ stored = {json.dumps(list(codes))} }}")

    def make(self, test: NextTest) -> bool:
        """Make a test; False where the car cannot answer it, and that is said."""
        self.minutes += test.minutes
        if test.operation:
            self.work(test.operation, count=False)
        key = test.wants
        self.made.add((key, test.place, str(len(self.car.done))))
        if key in self.plugins.traits:
            self.traits[key] = self.car.fitted(key) or "don't know"
            return True
        if key in self.plugins.observations:
            return self._look(key, test.place)
        if key in self.plugins.measurands:
            return self._read(self.plugins.measurands[key], test.place)
        system = self.plugins.systems.get(key.partition(".")[0])
        if system is not None and key in system.records:
            return self._log(key, test.place)
        return False

    def _places(self, declared: Any, place: str) -> Sequence[str]:
        return (place,) if place else declared.places or ("",)

    def _read(self, measurand: Measurand, place: str) -> bool:
        car = self.met
        setup: dict[str, str] = {}
        numbers: dict[str, float] = {}
        for key in measurand.conditions:
            other = self.plugins.measurands.get(key)
            if other is None:
                continue
            shown = car.shown(other, At(place, numbers), self.draw)
            if shown:
                sure = "" if _is_usual(shown, other) else ", confirmed = true"
                setup[key] = f"{{ is = {_toml_string(shown)}{sure} }}"
                numbers[key] = car.number(other, At(setup=numbers)) or 0.0
        rows = []
        for one in self._places(measurand, place):
            shown = car.shown(measurand, At(one, numbers), self.draw)
            if shown:
                at = f", place = {_toml_string(one)}" if one else ""
                sure = "" if _is_usual(shown, measurand) else ", confirmed = true"
                rows.append(f'{{ of = "{measurand.key}"{at}, is = {_toml_string(shown)}{sure} }}')
        if not rows:
            return self._cannot(measurand.key, place)
        beside = (
            [f"setup = {{ {', '.join(f'{_toml_string(key)} = {text}' for key, text in setup.items())} }}"]
            if setup
            else []
        )
        self.steps.append("\n".join([*beside, f"readings = [ {', '.join(rows)} ]"]))
        return True

    def _look(self, key: str, place: str) -> bool:
        declared = self.plugins.observations[key]
        car, rows = self.met, []
        for one in self._places(declared, place):
            seen = car.seen(key, At(one))
            if seen is not None:
                at = f", place = {_toml_string(one)}" if one else ""
                rows.append(f'{{ of = "{key}"{at}, is = {_toml_string(seen)} }}')
        if not rows:
            return self._cannot(key, place)
        self.steps.append(f"seen = [ {', '.join(rows)} ]")
        return True

    def _log(self, key: str, place: str) -> bool:
        system = self.plugins.systems[key.partition(".")[0]]
        points = self.met.points(system.records[key], At(place))
        if not points:
            return self._cannot(key, place)
        at = f", place = {_toml_string(place)}" if place else ""
        listed = ", ".join(f'["{x}", "{y}"]' for x, y in points)
        self.steps.append(f'records = [ {{ of = "{key}"{at}, points = [ {listed} ] }} ]')
        return True

    def _cannot(self, key: str, place: str) -> bool:
        at = f", place = {_toml_string(place)}" if place else ""
        self.steps.append(f'seen = [ {{ of = "{key}"{at}, cannot = "no tool for it here" }} ]')
        return False

    def work(self, operation: str, *, count: bool = True) -> None:
        """Do a piece of work, and look at the complaint again."""
        needed = self.car.needs(operation)
        declared = self.plugins.operations[operation]
        if count and needed is False:
            (self.wrong_parts if declared.replaces else self.in_vain).append(operation)
        self.car = self.car.after(operation)
        self.steps.append(f'repaired = {{ operation = "{operation}" }}')
        self.still = any(
            set(self.told) & set(self.car.at_moment(f"{len(self.steps)}/{look}").complaints)
            for look in range(LOOKS)
        )
        self.steps.append(f'complaint_again = {{ is = "{_TOLD_AGAIN[self.still]}" }}')

    def hear(self, assessment: Assessment) -> None:
        """Keep what was said and is not so."""
        added(self.untrue, untrue_statements(assessment, self.car))


def _is_usual(shown: str, measurand: Measurand) -> bool:
    number = units.read_quantity(shown, [measurand.unit]).number
    low, high = measurand.usual.low, measurand.usual.high
    return (low is None or low <= number) and (high is None or number <= high)


def _toml_string(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def visited(
    car: Car, plugins: Plugins, *, minutes: float = MINUTES, about: Sequence[str] | None = None
) -> Driven:
    """One visit to a car, driven to its end by the program's own next steps.

    Args:
        about: Keys of systems that somebody asks about, whatever is told; without a word those that this car
            has. None of them: the complaint alone says where to look.
    """
    visit = Visit(
        car=car,
        plugins=plugins,
        draw=random.Random(f"meters/{car.seed}"),
        told=car.complaints,
        about=sorted(car.practices) if about is None else about,
    )
    visit.read_labels()
    visit.read_codes()
    how = _drive(visit, minutes)
    return Driven(
        seed=car.seed,
        hidden=car.hidden,
        how=how,
        wrong_parts=tuple(visit.wrong_parts),
        in_vain=tuple(visit.in_vain),
        minutes=visit.minutes,
        untrue=tuple(visit.untrue.values()),
        visit=visit.text,
    )


def _drive(visit: Visit, minutes: float) -> str:
    for _ in range(MOST_STEPS):
        assessment = visit.assessment()
        visit.hear(assessment)
        offered = _offered_work(visit, assessment)
        if offered:
            visit.work(offered)
            continue
        first = assessment.suspects[0] if assessment.suspects else None
        tests = [test for test in assessment.next_tests if not _is_made(visit, test)]
        quick = bool(tests) and tests[0].bits >= 0.1 and tests[0].minutes <= 10
        if first is not None and first.refer and first.probability >= NAMED_AT and not quick:
            return _end(visit, "right" if is_there(first, visit.car) else "wrong")
        gone = bool(visit.car.done) and not visit.still
        if not tests or visit.minutes + tests[0].minutes > minutes:
            if gone:
                break
            return "undecided"
        visit.make(tests[0])
    else:
        return "undecided"
    return _end(visit, "right" if visit.car.is_mended else "left over")


def _end(visit: Visit, how: str) -> str:
    return "in vain" if how == "right" and (visit.wrong_parts or visit.in_vain) else how


def _offered_work(visit: Visit, assessment: Assessment) -> str:
    """The first piece of work that may be proposed now and was not done yet."""
    done = [noted.record.operation for noted in assessment.job.repairs]
    speaking = [finding.calls_for for finding in assessment.current if finding.calls_for]
    calls = [call.operation for call in assessment.calls_at(assessment.job.stage) if call.met]
    for operation in dict.fromkeys([*(one for one in speaking if one in calls), *calls]):
        if done.count(operation) < 1:
            return operation
    return ""


def _is_made(visit: Visit, test: NextTest) -> bool:
    return (test.wants, test.place, str(len(visit.car.done))) in visit.made and not test.operation


def drive(
    n: int,
    seed: int,
    plugins: Plugins,
    *,
    systems: Sequence[str] = (),
    system: str = "",
    faults: int = 1,
    hard: bool = False,
) -> list[Driven]:
    """So many visits to invented cars, each with its own seed: `seed`, `seed + 1`, …

    Args:
        systems: Systems that the cars have, and that are asked about; all with a practice vehicle where none
            is named, and then the complaint alone says where to look.
        system: The faults are of this one alone. faults: How many each car has. hard: As `invented`.

    Raises:
        PracticeError: a system has no practice vehicle.
    """
    parts = practices(plugins, systems)
    return [
        visited(
            invented(parts, one, faults=faults, system=system, hard=hard),
            plugins,
            about=None if systems else (),
        )
        for one in range(seed, seed + n)
    ]


def repaired_as_needed(car: Car) -> Car:
    """The car after all the work that ends its faults, and whatever they left behind."""
    for operation in wanted_operations(car.hidden):
        car = car.after(operation)
    for operation in car.needed:
        car = car.after(operation)
    return car


def counts(driven: Sequence[Driven]) -> Mapping[str, int]:
    """How the visits ended, and how many exchanged a sound part or said something untrue."""
    found = dict.fromkeys(("right", "in vain", "left over", "wrong", "undecided"), 0)
    for one in driven:
        found[one.how] += 1
    return {
        **found,
        "wrong part": sum(bool(one.wrong_parts) for one in driven),
        "said something untrue": sum(bool(one.untrue) for one in driven),
    }
