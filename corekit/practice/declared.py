"""What a plugin says of its part of a practice vehicle: a state with units, faults that change it, and what
meters and eyes make of it.

A module `practice` beside the plugin holds one `Practice`. It answers from sizes alone and knows no chance,
no limit, no check and no verdict; an import contract holds it to the declarations of its system.
"""

from __future__ import annotations

import copy
import importlib
import random
from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import Enum
from typing import TYPE_CHECKING, Any, Generic, TypeVar, cast

import attrs

from ..errors import CorekitError
from ..plugin.host import Plugins
from ..plugin.system import System

if TYPE_CHECKING:
    from .car import Car

S = TypeVar("S")
_Any = Callable[..., Any]
_F = TypeVar("_F", bound=_Any)

#: Module beside a plugin in which its practice vehicle stands.
MODULE = "practice"
_ESTIMATE = "estimate of ours"
#: How far every estimate may be moved, and conclusions still have to hold.
THIRD = 4.0 / 3.0


def estimate(default: Any = attrs.NOTHING) -> Any:
    """A field of a state whose size is an estimate of ours: conclusions survive it moved by a third."""
    return attrs.field(default=default, metadata={_ESTIMATE: True})


class PracticeError(CorekitError):
    """A plugin's practice vehicle is declared wrongly, or a practice folder cannot be used."""


@attrs.frozen(kw_only=True)
class Trial:
    """What was changed to see what comes of it; the words are those of a visit file.

    `part`: key; `how`: a way of shared/trials.toml; `place`, `other`: where it is, and where the part it was
    swapped with is.
    """

    part: str
    how: str
    place: str = ""
    other: str = ""


@attrs.frozen(kw_only=True)
class Defect(Generic[S]):
    """One kind of fault of a practice vehicle.

    Attributes:
        key: Its name. words: What the mechanic is told at the end, with the size where `{size}` stands.
        low, high: Its size lies between these, in `unit`.
        mends: Keys of the operations that end it; empty where the work is somebody else's.
        change: The state with a fault of this size.
        faults: Keys of the fault table that name it; used to score what was said, never to answer.
        comes_and_goes: It may show now and then alone.
        is_known: Its size is no estimate of ours (a voltage that a standard names): it is not moved.
    """

    key: str
    words: str
    low: float
    high: float
    unit: str
    mends: tuple[str, ...]
    change: Callable[[S, float], S]
    faults: tuple[str, ...]
    comes_and_goes: bool = False
    is_known: bool = False

    def size(self, draw: random.Random) -> float:
        """A size between its ends, on a scale of ratios where both are above zero."""
        if self.low > 0.0:
            return float(self.low * (self.high / self.low) ** draw.random())
        return self.low + (self.high - self.low) * draw.random()

    def told(self, size: float) -> str:
        return self.words.format(size=f"{size:.3g} {self.unit}".strip())


@attrs.define(eq=False)
class Practice(Generic[S]):
    """A system's part of a practice vehicle.

    `sound` makes a state without a fault; it may vary from car to car by what it draws.
    """

    system: System
    sound: Callable[[random.Random], S]
    defects: dict[str, Defect[S]] = attrs.field(factory=dict, init=False)
    reading: dict[str, _Any] = attrs.field(factory=dict, init=False)
    setting: dict[str, _Any] = attrs.field(factory=dict, init=False)
    sight: dict[str, _Any] = attrs.field(factory=dict, init=False)
    recording: dict[str, _Any] = attrs.field(factory=dict, init=False)
    fitting: dict[str, _Any] = attrs.field(factory=dict, init=False)
    deed: dict[str, _Any] = attrs.field(factory=dict, init=False)
    need: dict[str, _Any] = attrs.field(factory=dict, init=False)
    trial: dict[str, _Any] = attrs.field(factory=dict, init=False)
    shown_at: Callable[[Car, str], Sequence[str]] | None = attrs.field(default=None, init=False)
    complaint: Callable[[Car], Sequence[str]] | None = attrs.field(default=None, init=False)
    stored: Callable[[Car], Sequence[str]] | None = attrs.field(default=None, init=False)
    refused: dict[str, str] = attrs.field(factory=dict, init=False)

    def fault(
        self,
        key: str,
        words: str,
        *,
        size: tuple[float, float] = (1.0, 1.0),
        unit: str = "",
        mends: str | Sequence[str] = (),
        named: str | Sequence[str] = (),
        comes_and_goes: bool = False,
        is_known: bool = False,
    ) -> Callable[[Callable[[S, float], S]], Callable[[S, float], S]]:
        """Declare a fault: `size` its ends, `mends` the work that ends it, `named` the faults of the fault
        table that are this one; `comes_and_goes` and `is_known` as `Defect` has them.

        Raises:
            PracticeError: the key stands twice, or a named fault is not in the fault table.
        """
        done = (mends,) if isinstance(mends, str) else tuple(mends)
        names = (named,) if isinstance(named, str) else tuple(named)
        table = self.system.faults.faults if self.system.faults else {}
        strange = [*(one for one in done if f"{self.system.key}.{one}" not in self.system.operations)]
        strange += [one for one in names if one not in table]
        if strange:
            raise PracticeError(
                f"{self.system.key}: the practice fault {key} names {', '.join(strange)}, which nobody"
                " declared."
            )
        if key in self.defects:
            raise PracticeError(f"{self.system.key}: the practice fault {key} is declared twice.")

        def declared(change: Callable[[S, float], S]) -> Callable[[S, float], S]:
            self.defects[key] = Defect(
                key=key,
                words=words,
                low=size[0],
                high=size[1],
                unit=unit,
                mends=tuple(f"{self.system.key}.{one}" for one in done),
                change=change,
                faults=tuple(f"{self.system.key}.{name}" for name in names),
                comes_and_goes=comes_and_goes,
                is_known=is_known,
            )
            return change

        return declared

    def reads(self, *measurands: str) -> Callable[[_F], _F]:
        """What a meter without error shows: `f(car, at)` → number in the measurand's declared unit, or None
        where it cannot be had on this car.
        """
        return self._answer_decorator(self.reading, self.system.measurands, measurands)

    def sets(self, *measurands: str) -> Callable[[_F], _F]:
        """What the mechanic sets for a test (a load, an engine speed): `f(car, at)` → number, as `reads`."""
        return self._answer_decorator(self.setting, self.system.measurands, measurands)

    def sees(self, *observations: str) -> Callable[[_F], _F]:
        """What is seen, heard or told: `f(car, at)` → one of the answers, or None where it cannot be looked
        at.
        """
        return self._answer_decorator(self.sight, self.system.observations, observations)

    def records(self, *records: str) -> Callable[[_F], _F]:
        """What a logger keeps: `f(car, at)` → points (x, y) in the record's declared units."""
        return self._answer_decorator(self.recording, self.system.records, records)

    def fits(self, *traits: str) -> Callable[[_F], _F]:
        """What the vehicle is fitted with: `f(car)` → an answer, or a text with its unit; None: unknown."""
        return self._answer_decorator(self.fitting, self.system.traits, traits)

    def does(self, *names: str) -> Callable[[_F], _F]:
        """What work does to the state: `f(state, operation)` → the state afterwards; of a part's key what a
        trial of it does: `f(state, trial)` → the state, or None where that way cannot be tried here.
        """

        def kept(answer: _F) -> _F:
            parts = [name for name in names if f"{self.system.key}.{name}" in self.system.parts]
            works = [name for name in names if name not in parts]
            self._answer_decorator(self.trial, self.system.parts, parts)(answer)
            return self._answer_decorator(self.deed, self.system.operations, works)(answer)

        return kept

    def shows_at(self, places: Callable[[Car, str], Sequence[str]]) -> Callable[[Car, str], Sequence[str]]:
        """Where the complaint is, for what can be swapped from place to place: `f(car, part)` → places of
        that part.
        """
        self.shown_at = places
        return places

    def needs(self, *operations: str) -> Callable[[_F], _F]:
        """Whether a vehicle needs this work: `f(car)` → True, False or None where nobody could say."""
        return self._answer_decorator(self.need, self.system.operations, operations)

    def tells(self, complaint: Callable[[Car], Sequence[str]]) -> Callable[[Car], Sequence[str]]:
        """What its driver notices: `f(car)` → keys of symptoms; empty where nothing is noticed."""
        self.complaint = complaint
        return complaint

    def refuses(self, because: str, *names: str) -> None:
        """Name what this vehicle cannot answer, with the reason; asked for, it says *no tool for it here*."""
        self.refused |= {f"{self.system.key}.{name}": because for name in names}

    def codes(self, stored: Callable[[Car], Sequence[str]]) -> Callable[[Car], Sequence[str]]:
        """The trouble codes that its control unit has stored: `f(car)` → codes."""
        self.stored = stored
        return stored

    def _answer_decorator(
        self, answers: dict[str, _Any], declared: Mapping[str, Any], names: Iterable[str]
    ) -> Callable[[_F], _F]:
        def kept(answer: _F) -> _F:
            for name in names:
                key = f"{self.system.key}.{name}"
                if key not in declared:
                    raise PracticeError(f"{key} is not declared, so a practice vehicle cannot answer it.")
                if key in answers:
                    raise PracticeError(f"{key} is answered twice by the practice vehicle.")
                answers[key] = answer
            return answer

        return kept

    def unanswered(self) -> dict[str, str]:
        """Key of each declared thing that this vehicle neither answers nor refuses → what kind it is."""
        open_: dict[str, str] = {}
        system = self.system
        asked: Sequence[tuple[str, Mapping[str, Any], Iterable[str]]] = (
            ("measurand", system.measurands, {*self.reading, *self.setting, *system.derived}),
            ("observation", system.observations, self.sight),
            ("record", system.records, self.recording),
            ("trait", system.traits, self.fitting),
            ("operation", system.operations, self.deed),
            ("need of an operation", system.operations, self.need),
        )
        for kind, declared, answered in asked:
            open_ |= dict.fromkeys(declared.keys() - set(answered) - self.refused.keys(), kind)
        return open_

    @property
    def estimates(self) -> tuple[str, ...]:
        """Names of its estimates: fields of its state, and the sizes of its faults as `size of …`."""
        state = self.sound(random.Random(0))
        fields = [one.name for one in attrs.fields(cast(Any, type(state))) if one.metadata.get(_ESTIMATE)]
        return (*fields, *(f"size of {key}" for key, one in self.defects.items() if _can_be_moved(one)))

    def with_estimate_moved(self, name: str, factor: float = THIRD) -> Practice[S]:
        """The same vehicle with one of its estimates larger by this factor.

        Raises:
            PracticeError: it has no such estimate.
        """
        if name not in self.estimates:
            raise PracticeError(f"{self.system.key}: {name} is no estimate of its practice vehicle.")
        moved = copy.copy(self)
        if name.startswith("size of "):
            key = name.removeprefix("size of ")
            one = self.defects[key]
            moved.defects = self.defects | {
                key: attrs.evolve(one, low=one.low * factor, high=one.high * factor)
            }
            return moved

        def sound(draw: random.Random) -> S:
            made: Any = self.sound(draw)
            return attrs.evolve(made, **{name: _moved(getattr(made, name), factor)})  # type: ignore[no-any-return]

        moved.sound = sound
        return moved

    def own(self, car: Car) -> S:
        """This system's state of a car."""
        return car.states[self.system.key]  # type: ignore[no-any-return]


def _can_be_moved(one: Defect[Any]) -> bool:
    return not one.is_known and one.unit != "" and one.high > 0.0


def _moved(value: Any, factor: float) -> Any:
    """A number, or every number of several."""
    return tuple(each * factor for each in value) if isinstance(value, tuple) else value * factor


def practices(
    plugins: Plugins, systems: Iterable[str] = (), failed: list[str] | None = None
) -> dict[str, Practice[Any]]:
    """System → its part of a practice vehicle, of those that have one; of these systems alone where some are
    named.

    Args:
        failed: Takes a sentence for each whose module fails while it is loaded: that costs its own system.

    Raises:
        PracticeError: a named system has none.
    """
    found: dict[str, Practice[Any]] = {}
    for key, system in plugins.systems.items():
        try:
            practice = practice_of(system)
        except Exception as error:  # a plugin's own code: whatever it raises costs its system alone
            if failed is not None:
                failed.append(f"{key} cannot be practised: {type(error).__name__}: {error}.")
            continue
        if practice is not None and practice.system.key == key:
            found[key] = practice
    missing = sorted(set(systems) - found.keys())
    if missing:
        raise PracticeError(
            f"{', '.join(missing)}: has no practice vehicle; {', '.join(found) or 'no system'} can be"
            " practised."
        )
    return {key: one for key, one in found.items() if not systems or key in set(systems)}


def practice_of(system: System) -> Practice[Any] | None:
    """The practice vehicle that stands beside a system's plugin; None where there is none."""
    name = f"{system.folder.name}.{MODULE}"  # a system is made in its plugin's own package
    try:
        module = importlib.import_module(name)
    except ModuleNotFoundError as error:
        if error.name in (name, system.folder.name):
            return None
        raise
    found: object = getattr(module, MODULE, None)
    return found if isinstance(found, Practice) else None


def words_of(answer: object) -> str:
    """A closed answer or a typed text as a visit file says it."""
    return str(answer.value) if isinstance(answer, Enum) else str(answer)
