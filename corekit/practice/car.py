"""One practice car: the state of every system in it, what is wrong and how large, and what a meter shows."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import attrs

from .. import units
from ..model.measurand import Measurand
from ..model.records import Measured
from ..model.sampling import Sampling
from ..plugin.reading import with_uncertainty
from .declared import Defect, Practice, PracticeError, words_of

#: A meter shows steps of this part of its standard uncertainty or finer.
STEP = 0.5


@attrs.frozen
class At:
    """Where and how something is read: the place, and key of each condition → number in its declared unit."""

    place: str = ""
    setup: Mapping[str, float] = attrs.field(factory=dict)


@attrs.frozen(kw_only=True)
class Hidden:
    """A fault of this car with its size."""

    system: str
    defect: Defect[Any]
    size: float

    def __str__(self) -> str:
        return self.defect.told(self.size)


@attrs.frozen(kw_only=True)
class Car:
    """A practice car as it stands now.

    Attributes:
        states: System → its state.
        hidden: What was made wrong with it, and how large. done: Operations done so far.
    """

    seed: int
    practices: Mapping[str, Practice[Any]]
    states: Mapping[str, Any]
    hidden: tuple[Hidden, ...] = ()
    done: tuple[str, ...] = ()

    def _answer(self, kind: str, key: str) -> Callable[..., Any] | None:
        """What answers for a key; None where nothing does, or its system is not practised."""
        practice = self.practices.get(key.partition(".")[0])
        found: Callable[..., Any] | None = None if practice is None else getattr(practice, kind).get(key)
        return found

    def number(self, measurand: Measurand, at: At = At()) -> float | None:
        """What a meter without error would show, in the measurand's declared unit; what the mechanic sets for
        what is set. None where it cannot be had.
        """
        answer = self._answer("setting", measurand.key) or self._answer("reading", measurand.key)
        found = None if answer is None else answer(self, at)
        return None if found is None else float(found)

    def shown(self, measurand: Measurand, at: At, draw: random.Random) -> str:
        """What the worst ordinary meter shows, as one would type it; empty where it cannot be had."""
        number = self.number(measurand, at)
        if number is None:
            return ""
        if self._answer("setting", measurand.key) is not None:
            return typed(number, measurand.unit, abs(number) * 1e-3)
        exact = units.read_quantity(typed(number, measurand.unit, 0.0), [measurand.unit])
        record = Measured(
            of=measurand.key, typed="", kind=exact.kind, number=exact.number, place=at.place, instrument=""
        )
        value, _ = with_uncertainty(record, measurand, "practice", "practice", {})
        near = value.u / abs(exact.number) * abs(number) if exact.number and number else value.u
        off = draw.gauss(0.0, near)
        read = typed(number + max(-2.0 * near, min(2.0 * near, off)), measurand.unit, STEP * near)
        if not _is_possible(read, measurand):  # no meter shows what cannot be
            read = typed(number, measurand.unit, 0.0)
        return read

    def seen(self, key: str, at: At = At()) -> str | None:
        """The answer to an observation; None where it cannot be looked at."""
        answer = self._answer("sight", key)
        found = None if answer is None else answer(self, at)
        return None if found is None else words_of(found)

    def fitted(self, key: str) -> str | None:
        """What the vehicle is fitted with, as typed; None where nobody knows."""
        answer = self._answer("fitting", key)
        found = None if answer is None else answer(self)
        return None if found is None else words_of(found)

    def points(self, record: Sampling, at: At = At()) -> list[tuple[str, str]]:
        """A record's points as one would type them; empty where none can be had."""
        answer = self._answer("recording", record.key)
        found = (answer(self, at) or []) if answer is not None else []
        return [
            (typed(x, record.over_unit, abs(x) * 1e-3), typed(y, record.unit, abs(y) * 1e-3))
            for x, y in found
        ]

    def needs(self, operation: str) -> bool | None:
        """Whether it needs this work; None where nobody could say, or nothing answers for it."""
        answer = self._answer("need", operation)
        found: bool | None = None if answer is None else answer(self)
        return found

    def after(self, operation: str) -> Car:
        """The car after this work; work that its practice vehicle does not know changes nothing."""
        system = operation.partition(".")[0]
        practice = self.practices.get(system)
        if practice is None or operation not in practice.deed:
            return attrs.evolve(self, done=(*self.done, operation))
        changed = practice.deed[operation](self.states[system], operation)
        return attrs.evolve(self, states={**self.states, system: changed}, done=(*self.done, operation))

    @property
    def complaints(self) -> tuple[str, ...]:
        """Keys of the symptoms that its driver notices now, over all its systems."""
        told: dict[str, None] = {}
        for practice in self.practices.values():
            if practice.complaint is not None:
                told |= dict.fromkeys(practice.complaint(self))
        return tuple(told)

    @property
    def codes(self) -> tuple[str, ...] | None:
        """Trouble codes stored now, over all its systems; None where none of them stores any."""
        asked = [one.stored for one in self.practices.values() if one.stored is not None]
        return tuple(dict.fromkeys(code for stored in asked for code in stored(self))) if asked else None

    @property
    def needed(self) -> tuple[str, ...]:
        """The work that it needs now."""
        known = [key for practice in self.practices.values() for key in practice.need]
        return tuple(key for key in known if self.needs(key))

    @property
    def is_mended(self) -> bool:
        """Nothing that was made wrong is left: every fault's work is done, or is not needed any more."""
        return not self.needed


def _is_possible(shown: str, measurand: Measurand) -> bool:
    number = units.read_quantity(shown, [measurand.unit]).number
    low, high = measurand.possible.low, measurand.possible.high
    return (low is None or low <= number) and (high is None or number <= high)


def typed(number: float, unit: str, step: float) -> str:
    """A number as one would type it, in steps no coarser than this, with its unit."""
    places = 12
    if step > 0.0:
        places = next((n for n in range(-3, 12) if 10.0**-n <= step * 1.0001), 12)
    text = f"{round(number, places):.{max(places, 0)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    text = "0" if text in ("-0", "") else text
    return text if unit == "1" else f"{text} {unit}"


def invented(practices: Mapping[str, Practice[Any]], seed: int, *, faults: int = 1, system: str = "") -> Car:
    """A car with so many hidden faults, whose driver notices something; the same for the same seed.

    Args:
        faults: 0 makes a sound car. system: The faults are of this system alone.

    Raises:
        PracticeError: no such system.
    """
    if system and system not in practices:
        raise PracticeError(f"{system}: has no practice vehicle; {', '.join(practices) or 'none'} have one.")
    for attempt in range(1000):
        draw = random.Random(f"{seed}/{attempt}")
        states = {key: practice.sound(draw) for key, practice in practices.items()}
        possible = [
            (key, defect)
            for key, practice in practices.items()
            if system in ("", key)
            for defect in practice.defects.values()
        ]
        hidden = []
        for key, defect in draw.sample(possible, min(faults, len(possible))):
            size = defect.size(draw)
            states[key] = defect.change(states[key], size)
            hidden.append(Hidden(system=key, defect=defect, size=size))
        car = Car(seed=seed, practices=practices, states=states, hidden=tuple(hidden))
        if car.complaints or not faults:
            return car
    raise PracticeError(f"No driver notices anything of {faults} faults in a thousand tries.")


def wanted_operations(hidden: Sequence[Hidden]) -> tuple[str, ...]:
    """The work that ends these faults."""
    return tuple(dict.fromkeys(key for one in hidden for key in one.defect.mends))
