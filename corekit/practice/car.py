"""One practice car: the state of every system in it, what is wrong and how large, and what a meter shows."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import attrs

from .. import units
from ..model.measurand import Measurand, Operation
from ..model.records import Measured
from ..model.sampling import Sampling
from ..plugin.reading import with_uncertainty
from .declared import Defect, Practice, PracticeError, Trial, words_of

#: The result of a trial that says nothing.
NOT_TRIED = "not_tried"
#: Share of the time in which what comes and goes shows; as shared/symptoms.toml has *often*.
OFTEN = 0.5
#: Share of hard cars with two faults.
TWO_FAULTS = 0.75
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
        calm: Its states while what comes and goes does not show; empty where nothing comes and goes.
        shows: Share of the time in which it shows.
    """

    seed: int
    practices: Mapping[str, Practice[Any]]
    states: Mapping[str, Any]
    hidden: tuple[Hidden, ...] = ()
    done: tuple[str, ...] = ()
    calm: Mapping[str, Any] = attrs.field(factory=dict)
    shows: float = 1.0

    def at_moment(self, moment: str) -> Car:
        """The car as it is met at one moment: what comes and goes shows, or does not; the same moment, the
        same car.
        """
        if not self.calm or random.Random(f"{self.seed}/shows/{moment}").random() < self.shows:
            return self
        return attrs.evolve(self, states=self.calm)

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
        return self._changed(
            system, lambda state: practice.deed[operation](state, operation), (*self.done, operation)
        )

    def _changed(self, system: str, change: Callable[[Any], Any], done: tuple[str, ...]) -> Car:
        """The car with one system's state changed, in both of its moods."""
        states = {**self.states, system: change(self.states[system])}
        calm = {**self.calm, system: change(self.calm[system])} if self.calm else self.calm
        return attrs.evolve(self, states=states, calm=calm, done=done)

    def tried(self, trial: Trial, operations: Mapping[str, Operation]) -> tuple[Car, str]:
        """The car after a trial, and what comes of it, in the words of a visit file; *not tried* where this
        way says nothing on this car. A part that is known good comes out again.
        """
        system = trial.part.partition(".")[0]
        practice = self.practices.get(system)
        if practice is None:
            return self, NOT_TRIED
        own = practice.trial.get(trial.part)
        state = None if own is None else own(self.states[system], trial)
        if own is not None and state is not None:
            changed = self._changed(system, lambda state: own(state, trial), self.done)
        else:
            renewing = trial.how in ("renewed", "known_good")
            works = [
                key
                for key in practice.deed
                if renewing and key in operations and operations[key].replaces == trial.part
            ]
            if not works:
                return self, NOT_TRIED
            changed = self.after(works[0])
        result = self._result(changed, trial, practice)
        if trial.how == "known_good":
            return self, "back" if result == "gone" else result
        return changed, result

    def _result(self, changed: Car, trial: Trial, practice: Practice[Any]) -> str:
        """What became of the complaint by a trial."""
        told = set(self.complaints)
        if told and not told & set(changed.complaints):
            return "gone"
        if trial.how == "swapped" and practice.shown_at is not None:
            before, now = (set(practice.shown_at(one, trial.part)) for one in (self, changed))
            if trial.place in before - now and trial.other in now - before:
                return "moved"
        return "stayed"

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


def invented(
    practices: Mapping[str, Practice[Any]],
    seed: int,
    *,
    faults: int = 1,
    system: str = "",
    hard: bool = False,
) -> Car:
    """A car with so many hidden faults, whose driver notices something; the same for the same seed.

    Args:
        faults: 0 makes a sound car. system: The faults are of this system alone.
        hard: Two faults as a rule (three of four cars), and one that can come and go does so.

    Raises:
        PracticeError: no such system.
    """
    if system and system not in practices:
        raise PracticeError(f"{system}: has no practice vehicle; {', '.join(practices) or 'none'} have one.")
    for attempt in range(1000):
        draw = random.Random(f"{seed}/{attempt}")
        sound = {key: practice.sound(draw) for key, practice in practices.items()}
        possible = [
            (key, defect)
            for key, practice in practices.items()
            if system in ("", key)
            for defect in practice.defects.values()
        ]
        count = (2 if draw.random() < TWO_FAULTS else 1) if hard else faults
        hidden = [
            Hidden(system=key, defect=defect, size=defect.size(draw))
            for key, defect in draw.sample(possible, min(count, len(possible)))
        ]
        coming = next((one for one in hidden if one.defect.comes_and_goes), None) if hard else None
        car = Car(
            seed=seed,
            practices=practices,
            states=_with(sound, hidden),
            hidden=tuple(hidden),
            calm=_with(sound, [one for one in hidden if one is not coming]) if coming else {},
            shows=OFTEN if coming else 1.0,
        )
        if car.complaints or not count:
            return car
    raise PracticeError(f"No driver notices anything of {faults} faults in a thousand tries.")


def _with(sound: Mapping[str, Any], hidden: Sequence[Hidden]) -> dict[str, Any]:
    """States with these faults."""
    states = dict(sound)
    for one in hidden:
        states[one.system] = one.defect.change(states[one.system], one.size)
    return states


def wanted_operations(hidden: Sequence[Hidden]) -> tuple[str, ...]:
    """The work that ends these faults."""
    return tuple(dict.fromkeys(key for one in hidden for key in one.defect.mends))
