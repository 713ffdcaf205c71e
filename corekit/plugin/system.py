"""System: where a plugin declares what it measures, sees, computes and claims."""

from __future__ import annotations

import copy
import re
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import Enum
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

import attrs

from .. import units
from ..complaints import OwnSymptom, Symptom, own_symptoms, set_own_symptoms, symptoms, trials
from ..datafile import read_toml
from ..kept import kept
from ..model.channel import MIDDLE, Channel, FromChannel, LiveValue
from ..model.limit import Limit, Span
from ..model.measurand import Measurand, Observation, Operation, Part, Setting, Trait, answers_of
from ..model.sampling import Sampling
from ..model.source import Source
from ..reference import data_path, sources
from ..unit_table import OwnUnit, own_units
from .api import check_api
from .calculation import Calculation
from .check import Check, Checker, Parameter, closed_list, declare
from .derived import Derivation, Derived, derivation
from .faults import FaultTable
from .found_right import FoundRight
from .from_channel import Spans, declare_from_channel, declare_from_monitor
from .own_channel import declare_channel
from .own_unit import declare_unit
from .relation import Relation, declare_relation
from .sampling import sampling_of
from .setting import setting_value

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .fault_file import Declared

P = ParamSpec("P")
T = TypeVar("T")
#: Data files that have a say in how others of a system are read.
_BESIDE = ("sources.toml", "limits.toml")
_SHARED = ("units.toml", "symptoms.toml", "trials.toml")
#: What a system keeps its declarations in, by key; checks are kept by the names of their functions.
SHELVES = (
    "symptoms", "parts", "measurands", "records", "observations", "traits", "settings", "operations",
    "calculations", "relations", "derived", "channels",
)  # fmt: skip
_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")
_CODE = re.compile(r"[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*")


class System:
    """One system of the vehicle, as a plugin declares it.

    Args:
        key: Short name, lower case; every code of the system begins with it.
        title: What paper calls it.
        folder: Where its limits.toml, faults.toml and sources.toml stand; the folder of the module that makes
            the System when left out. A missing file means: none.
        api: The version of the API that it was written for, as `corekit.API_VERSION` was then.

    Raises:
        ValueError: a key is taken, or is no plain lower-case name. ApiError: this corekit has another API.
    """

    def __init__(self, key: str, title: str, folder: Path | None = None, *, api: str = "") -> None:
        if not _NAME.fullmatch(key):
            raise ValueError(f"A system's key is a short lower-case name; got {key!r}.")
        self.key = key
        self.title = title
        self.api = check_api(key, api)
        self.folder = folder or Path(str(sys._getframe(1).f_globals.get("__file__", "."))).parent
        self.units: tuple[OwnUnit, ...] = ()
        self.added: tuple[str, ...] = ()
        self.symptoms: dict[str, OwnSymptom] = {}
        self.parts: dict[str, Part] = {}
        self.measurands: dict[str, Measurand] = {}
        self.records: dict[str, Sampling] = {}
        self.observations: dict[str, Observation] = {}
        self.traits: dict[str, Trait] = {}
        self.settings: dict[str, Setting] = {}
        self.operations: dict[str, Operation] = {}
        self.calculations: dict[str, Calculation[Any]] = {}
        self.checks: dict[str, Check[Any]] = {}
        self.relations: dict[str, Relation] = {}
        self.derived: dict[str, Derivation] = {}
        self.channels: dict[str, Channel] = {}
        self.from_channels: tuple[FromChannel, ...] = ()

    def __repr__(self) -> str:
        return f"<system {self.key}>"

    @cached_property
    def found_right(self) -> FoundRight:
        """What of its declarations was found right at an earlier start."""
        return FoundRight(self.key, self.folder)

    def without_checks(self) -> System:
        """The same system as one that only declares: what was read of it is shown, and nothing is made of it.
        Its fault table goes with the checks, for half the outcomes would make it suspect the wrong part.
        """
        bare = copy.copy(self)
        bare.checks, bare.derived = {}, {}
        bare.__dict__["faults"] = None
        return bare

    def with_faults(self, faults: FaultTable) -> System:
        """The same system with other numbers in its fault table."""
        other = copy.copy(self)
        other.__dict__["faults"] = faults
        return other

    def unit(
        self,
        text: str,
        *,
        kind: str,
        title: str = "",
        factor: int | float | str | Fraction = 1,
        also: Iterable[str] = (),
    ) -> str:
        """Declare a unit that the shared table lacks, and use its text as any other unit from then on.

        The first unit of a new `kind` is its coherent one and brings the kind's `title`; every other says by
        `factor` how many coherent units it is, exactly (`"1/60"`). `also` is what else people type for it.

        Raises:
            UnitError: it cannot be meant, is taken, or another installed system says something else of it.
        """
        declared = declare_unit(self.key, text, kind, title, factor, also)
        self.units = (*self.units, declared)
        return declared.unit.text

    def symptom(
        self,
        name: str,
        words: str,
        *,
        group: str,
        none: float,
        why: str,
        outside: float,
        first_step: str = "",
        codes: bool = False,
    ) -> Symptom:
        """Declare what a customer may tell and the shared list lacks; the fault table says under which faults
        it is told, [symptoms."system.name"].

        Args:
            words: In a customer's words, as on the button. group: Key of the heading that it stands below.
            none: The chance that somebody tells it whose vehicle has no fault, and why. outside: The chance
                under something that no installed system speaks of.
            first_step: What to do first where no installed system speaks to it. codes: The vehicle's own
                trouble codes speak of it.

        Raises:
            ValueError: the key is taken, or a chance is none. SymptomError: another says the same, or there
                is no such heading.
        """
        key = self._key(name)
        for chance in (none, outside):
            if not 0 < chance < 1:
                raise ValueError(f"{key}: a chance lies between 0 and 1; got {chance}.")
        if not words.strip() or not why.strip():
            raise ValueError(
                f"{key}: say it in a customer's words, and why somebody without a fault tells it."
            )
        symptom = Symptom(
            key=key, words=words, none=none, why=why, outside=outside, first_step=first_step, codes=codes
        )
        own = OwnSymptom(symptom=symptom, group=group)
        set_own_symptoms((*own_symptoms(), own))
        return self._keep(self.symptoms, key, own).symptom

    def part(
        self, name: str, title: str, *, places: Iterable[str] = (), places_by: Trait | None = None
    ) -> Part:
        """Declare what can fail, be renewed or be swapped, with the places where like ones sit; `places_by`
        is the trait that counts them, so that a vehicle has the first so many.
        """
        key, named = self._key(name), tuple(places)
        counted = self._counting_trait(key, named, places_by)
        return self._keep(self.parts, key, Part(key=key, title=title, places=named, places_by=counted))

    def measurand(
        self,
        name: str,
        unit: str,
        title: str,
        *,
        possible: tuple[float | None, float | None],
        usual: tuple[float | None, float | None],
        accuracy: str,
        places: Iterable[str] = (),
        places_by: Trait | None = None,
        conditions: Iterable[Measurand] = (),
        lasting: bool = False,
        stands_until: Iterable[Part] = (),
        only: Mapping[Trait, Iterable[Enum]] | None = None,
        part: Part | None = None,
        where: str = "",
        how: str = "",
        hazard: str = "",
        tells: str = "",
    ) -> Measurand:
        """Declare a quantity; `places_by` as for a part. `only`: the answers of traits under which it can be
        read at all. `stands_until`: it stays true until one of these parts is worked on, so that what is read
        after another repair may be held against it. `tells`: its name for the customer, where the title is
        the trade's.

        `possible` and `usual` are in `unit`; `accuracy` is the worst ordinary instrument's (`2 % + 5 N`).

        Raises:
            ValueError: the key is taken, the unit or the accuracy cannot be meant; digits need a range, which
                no declaration has; what counts the places cannot.
        """
        named = tuple(places)
        try:
            worst, kind = units.parse_accuracy(accuracy, unit), units.unit(unit).kind
        except ValueError as error:
            raise units.UnitError(f"{self._key(name)}: {error}") from error
        if worst.digits:
            raise ValueError(
                f"{self._key(name)}: {accuracy!r} counts digits, and only an instrument's range says how much"
                f" one is; give an amount in {unit}."
            )
        return self._keep(
            self.measurands,
            self._key(name),
            Measurand(
                key=self._key(name),
                unit=unit,
                kind=kind,
                title=title,
                possible=self._span(possible, unit),
                usual=self._span(usual, unit),
                accuracy=worst,
                places=named,
                places_by=self._counting_trait(self._key(name), named, places_by),
                conditions=tuple(measurand.key for measurand in conditions),
                lasting=lasting,
                stands_until=tuple(self._part(self._key(name), one) for one in stands_until),
                only=self._only(self._key(name), only),
                part=self._part(self._key(name), part),
                where=where,
                how=how,
                hazard=hazard,
                tells=tells,
            ),
        )

    def record(
        self,
        name: str,
        title: str,
        *,
        of: Measurand,
        over: Measurand | str = "s",
        over_title: str = "",
        unit: str = "",
        possible: tuple[float | None, float | None] | None = None,
        usual: tuple[float | None, float | None] | None = None,
        over_possible: tuple[float | None, float | None] | None = None,
        settled: tuple[str, str] | None = None,
        places: Iterable[str] | None = None,
        where: str = "",
        how: str = "",
        hazard: str = "",
        tells: str = "",
    ) -> Sampling:
        """Declare a record: samples of a measurand over time, or over another quantity.

        Args:
            of: What is sampled; its accuracy, its part, its hazard, and on which vehicles it is there hold
                here too.
            over: A unit of time, or the measurand that it is sampled over. over_title: `Time` when left out,
                or the measurand's title.
            unit: To print the samples in; the measurand's when left out.
            possible, usual: As of a measurand, in `unit`; those of `of` when left out. A record also holds
                what is on the way to a reading.
            over_possible: In the unit of `over`; that measurand's when left out, from 0 on for a time.
            settled: It counts as settled when to its end it lies within ± the first for the second:
                `("10 mA", "10 min")`.
            places: Those of `of` when left out.
            tells: Its name for the customer, where the title is the trade's.

        Raises:
            ValueError: the key is taken, or a unit or quantity cannot be meant.
        """
        sampling = sampling_of(
            self._key(name),
            title,
            of=of,
            over=over,
            over_title=over_title,
            unit=unit,
            spans=(possible, usual, over_possible),
            settled=settled,
        )
        if places is not None:
            named = attrs.evolve(sampling.of, places=tuple(places), places_by="")
            sampling = attrs.evolve(sampling, of=named)
        sampling = attrs.evolve(
            sampling,
            where=where or of.where,
            how=how or of.how,
            hazard=hazard or of.hazard,
            tells=tells,
        )
        return self._keep(self.records, sampling.key, sampling)

    def derived_reading(
        self,
        name: str,
        unit: str,
        title: str,
        *,
        possible: tuple[float | None, float | None],
        usual: tuple[float | None, float | None],
        accuracy: str,
        places: Iterable[str] = (),
        places_by: Trait | None = None,
        only: Mapping[Trait, Iterable[Enum]] | None = None,
        part: Part | None = None,
        how: str = "",
        tells: str = "",
    ) -> Callable[[Callable[..., Derived]], Measurand]:
        """Decorator for a function that gives a reading which follows from others: a mean of a record, a sum.

        Its signature declares what it takes, as a check's does, without the case. The name then stands for
        a measurand, which checks, limits and fault tables take like any other; a reading of it that was
        taken itself counts before the derived one. The rest is as for a measurand, and `accuracy` that of
        somebody who reads it directly.

        Raises:
            ValueError, TypeError: as for a measurand and a check.
        """

        def declared(function: Callable[..., Derived]) -> Measurand:
            measurand = self.measurand(
                name,
                unit,
                title,
                possible=possible,
                usual=usual,
                accuracy=accuracy,
                places=places,
                places_by=places_by,
                only=only,
                part=part,
                how=how,
                tells=tells,
            )
            self.derived[measurand.key] = derivation(function, measurand)
            return measurand

        return declared

    def observation(
        self,
        name: str,
        title: str,
        answers: type[Enum],
        *,
        places: Iterable[str] = (),
        places_by: Trait | None = None,
        stands_until: Iterable[Part] = (),
        only: Mapping[Trait, Iterable[Enum]] | None = None,
        part: Part | None = None,
        how: str = "",
        hazard: str = "",
        tells: str = "",
        tells_each: Mapping[Any, str] | None = None,
        formerly: Mapping[str, Enum] | None = None,
    ) -> Observation:
        """Declare something to look at, with its closed answers; `places_by` as for a part, `stands_until`,
        `only` and `tells` as for a measurand. `tells_each` has for every answer the customer's sentence.
        `formerly`: words that an answer had in an earlier version, and the answer; jobs of then hold them.

        Raises:
            ValueError: the key is taken, an answer has no sentence where others have one, what counts the
                places cannot, or former words mean no answer.
        """
        named = tuple(places)
        closed_answers = closed_list(answers)
        return self._keep(
            self.observations,
            self._key(name),
            Observation(
                key=self._key(name),
                title=title,
                answers=closed_answers,
                places=named,
                places_by=self._counting_trait(self._key(name), named, places_by),
                stands_until=tuple(self._part(self._key(name), one) for one in stands_until),
                only=self._only(self._key(name), only),
                part=self._part(self._key(name), part),
                how=how,
                hazard=hazard,
                tells=tells,
                tells_each=_told_each(self._key(name), closed_answers, tells_each),
                formerly=_formerly(self._key(name), closed_answers, formerly),
            ),
        )

    def trait(
        self,
        name: str,
        title: str,
        answers: type[Enum] | None = None,
        *,
        units: Iterable[str] = (),
        possible: tuple[float | None, float | None] = (None, None),
        part: Part | None = None,
        how: str = "",
        tells: str = "",
        formerly: Mapping[str, Enum] | None = None,
    ) -> Trait:
        """Declare what a vehicle is fitted with: closed answers, or a value in one of `units`; `tells` as for
        a measurand, `formerly` as for an observation.
        """
        accepted = tuple(units)
        if (answers is None) == (not accepted):
            raise ValueError(f"{self._key(name)}: a trait has closed answers or units, one of the two.")
        span = self._span(possible, accepted[0]) if accepted else Span()
        return self._keep(
            self.traits,
            self._key(name),
            Trait(
                key=self._key(name),
                title=title,
                answers=closed_list(answers) if answers else None,
                units=accepted,
                possible=span,
                part=self._part(self._key(name), part),
                how=how,
                tells=tells,
                formerly=_formerly(self._key(name), answers, formerly),
            ),
        )

    def setting(
        self,
        name: str,
        title: str,
        answers: type[Enum] | None = None,
        *,
        default: Enum | str,
        units: Iterable[str] = (),
        possible: tuple[float | None, float | None] = (None, None),
        how: str = "",
    ) -> Setting:
        """Declare what a shop says once for all its vehicles: closed answers, or a value in one of `units`. A
        check takes it like a trait and always gets one: what stands in shop.toml under [plugins.NAME], or the
        default.

        Args:
            default: A member of the answers, or a text such as "-20 °C". how: What it is for, in one
                sentence.

        Raises:
            ValueError: the key is taken, or the default cannot be meant.
        """
        key, accepted = self._key(name), tuple(units)
        if (answers is None) == (not accepted):
            raise ValueError(f"{key}: a setting has closed answers or units, one of the two.")
        setting = Setting(
            key=key,
            title=title,
            default=str(default.value) if isinstance(default, Enum) else default,
            answers=closed_list(answers) if answers else None,
            units=accepted,
            possible=self._span(possible, accepted[0]) if accepted else Span(),
            how=how,
        )
        try:
            setting_value(setting, {})
        except ValueError as error:
            raise ValueError(f"{key}: its default: {error}.") from error
        return self._keep(self.settings, key, setting)

    def operation(
        self,
        name: str,
        title: str,
        *,
        shown_by: Measurand | None = None,
        or_shown_by: Iterable[Measurand] = (),
        replaces: Part | None = None,
        way: str = "",
        as_test: tuple[float, float] | None = None,
        asks: Sequence[Trait] = (),
        hazard: str = "",
        tells: str = "",
    ) -> Operation:
        """Declare a piece of repair work; `shown_by` shows that it worked, or one of `or_shown_by` where that
        called for it. `replaces` names the part it exchanges and makes it a call for a part. `way` is one of
        the ways of a trial: renewed for a part, else repaired, or cleaned. `as_test`: it is harmless and may
        be done to find out, in so many minutes hands-on and of waiting. `asks`: traits that say how it was
        done and are asked for with it (charged for how long). `tells`: what the work does, in one sentence
        for the customer that is as true of a proposal as of a bill.

        Raises:
            ValueError: the key is taken, or there is no such way.
        """
        way = way or ("renewed" if replaces else "repaired")
        if way not in trials().ways:
            raise ValueError(f"{self._key(name)}: a way of work is {', '.join(trials().ways)}; got {way!r}.")
        return self._keep(
            self.operations,
            self._key(name),
            Operation(
                key=self._key(name),
                title=title,
                shown_by=shown_by.key if shown_by else "",
                or_shown_by=tuple(measurand.key for measurand in or_shown_by),
                replaces=self._part(self._key(name), replaces),
                way=way,
                as_test=as_test,
                asks=tuple(trait.key for trait in asks),
                hazard=hazard,
                tells=tells,
            ),
        )

    def calculation(self, *, source: str) -> Callable[[Callable[P, float]], Calculation[P]]:
        """Decorator for a plain float function in coherent units; `source` is a key of sources.toml."""

        def declared(function: Callable[P, float]) -> Calculation[P]:
            read_before = self.found_right.holds(function)
            calculation = Calculation(function, self._key(function.__name__), source, read_before=read_before)
            self._keep(self.calculations, calculation.key, calculation)
            return calculation

        return declared

    def relation(
        self,
        name: str,
        title: str,
        whole: Measurand | tuple[Measurand, str],
        *parts: Measurand | tuple[Measurand, str],
        at_least: bool = False,
        within: str = "",
        times: float = 1.0,
        why: str = "",
        code: str = "contradiction",
    ) -> Relation:
        """Declare what holds between readings whatever is wrong with the vehicle: a whole is the sum of its
        parts, or no less than them (`at_least`). A measurand with places is named with one. A whole and
        itself as its part: what is recorded twice.

        Args:
            within: By how much it may stay open (k = 2) where the readings' own uncertainty is less. times:
                How many times each other two records of one quantity may be. why: The reason for either.
            code: Of the finding where the relation is broken.

        Raises:
            ValueError: the key is taken, it cannot hold between these, or an allowance has no reason.
        """
        key = self._key(name)
        declared = declare_relation(
            self.key,
            key,
            title,
            [whole, *parts],
            code=code,
            at_least=at_least,
            within=within,
            times=times,
            why=why,
        )
        return self._keep(self.relations, key, declared)

    def channel(
        self,
        name: str,
        unit: str,
        title: str,
        *,
        possible: tuple[float, float],
        names: Iterable[str] = (),
        places: Mapping[str, Iterable[str]] | Iterable[str] = (),
        bare: str = "",
        data: LiveValue | None = None,
    ) -> Channel:
        """Declare a column of loggers, or a live value of the vehicle, that shared/channels.toml lacks.

        Args:
            possible: In `unit`; what lies outside is no reading of it.
            names: What else columns call it, beside its name and title.
            places: Where it is there for several like things; `{"front left": ("fl", "lf")}` with the short
                forms that columns write before or behind the name.
            bare: The unit of a column that names none; left out where several are usual.
            data: How a vehicle sends it in service 01, by the standard.

        Raises:
            ValueError: the key is taken, a name or the parameter is another channel's, or it cannot be meant.
        """
        key = self._key(name)
        declared = declare_channel(key, unit, title, possible, names, places, bare, data)
        return self._keep(self.channels, key, declared)

    def from_channel(
        self,
        of: Measurand | Sampling,
        channel: str | Channel,
        *,
        during: str = "",
        take: str = MIDDLE,
        when: Spans | None = None,
        accuracy: str = "",
        note: str = "",
    ) -> None:
        """Declare that a reading or record comes from a channel of a log or of the vehicle's own data.

        Args:
            channel: Key of one of shared/channels.toml, or a channel that a system declared.
            during: The event in whose longest stretch it is read: `running`, `idling`, `cranking` …; anywhere
                when left out.
            take: `middle` of the steadiest part of that stretch; `lowest`, `highest` or `last` of it; the
                `rise` of a counter; the `turns` of the engine or the `interval` between two samples.
            when: Channels that must lie between two ends all the while, in their own unit:
                `{"coolant_temperature": (75, None)}`.
            accuracy: What such data are worth here, where that is less than the worst ordinary instrument.
            note: What whoever takes the reading should know of it.

        Raises:
            ValueError: there is no such channel or event, or it is of another kind of quantity.
        """
        self._own(of.key)
        made = declare_from_channel(of, channel, during, take, when, accuracy, note)
        self.from_channels = (*self.from_channels, made)

    def from_monitor(
        self, of: Observation, monitor: str, answers: Mapping[bool, Enum], *, note: str = ""
    ) -> None:
        """Declare what an observation is answered with when the vehicle tells that one of its monitors is
        complete (True) or not (False); leave out what neither shows.

        Raises:
            ValueError: there is no such monitor, or an answer is none of the observation's.
        """
        self._own(of.key)
        self.from_channels = (*self.from_channels, declare_from_monitor(of, monitor, answers, note))

    def _own(self, key: str) -> None:
        if key not in {**self.measurands, **self.records, **self.observations}:
            raise ValueError(f"{key}: {self.key} says where its own readings come from, and of no other.")

    def check(
        self,
        title: str,
        *,
        worse_with: Iterable[Measurand] = (),
        better_with: Iterable[Measurand] = (),
        not_while: Iterable[str] = (),
    ) -> Callable[[Checker[P]], Check[P]]:
        """Decorator for a generator of findings whose signature says what it needs.

        Args:
            worse_with, better_with: Of these a larger reading never makes a verdict better, or never worse;
                the conformance kit tries to show otherwise.
            not_while: Codes of findings, this system's or another's. While one of them fails, this check
                means nothing and becomes a gap that says so; while one is undecided, it decides nothing. A
                check that is itself barred and bars another is declared before it.
        """

        def declared(function: Checker[P]) -> Check[P]:
            check = declare(
                function,
                title,
                read_before=self.found_right.holds(function),
                worse_with=tuple(worse_with),
                better_with=tuple(better_with),
                not_while=tuple(not_while),
            )
            if check.key in self.checks:
                raise ValueError(f"{self.key}: there already is a check {check.key}.")
            self.checks[check.key] = check
            return check

        return declared

    @cached_property
    def sources(self) -> Mapping[str, Source]:
        """The system's own sources, by key."""
        path = self.folder / "sources.toml"
        return sources(path) if path.is_file() else {}

    @cached_property
    def limits(self) -> Mapping[str, Limit]:
        """The system's own limits: [[limit]] of limits.toml with key, low, high, unit, source, width and why,
        only_advises, note.
        """
        path = self.folder / "limits.toml"
        if not path.is_file():
            return {}

        def read() -> Mapping[str, Limit]:
            from .limit_file import read_limits  # its forms are wanted when nothing is kept

            return read_limits(path, f"{path.name} of {self.key}", self.sources)

        return self._read_once(path, read)

    @cached_property
    def faults(self) -> FaultTable | None:
        """Its fault table; None where it has none."""
        path = self.folder / "faults.toml"
        where = f"{path.name} of {self.key}"
        if not path.is_file():
            return None
        return self._read_once(path, lambda: self.fault_table(read_toml(path, where), where))

    def _read_once(self, path: Path, make: Callable[[], T]) -> T:
        """What is read of a data file, or was at an earlier start from the same files, code and
        declarations.
        """
        beside = [file for name in _BESIDE if (file := self.folder / name).is_file()]
        shared = [data_path(f"shared/{name}") for name in _SHARED]
        codes = [getattr(check.function, "__code__", None) for check in self.checks.values()]
        modules = {code.co_filename for code in codes if code is not None}
        told = (
            self.key,
            own_units(),
            [sorted(shelf) for shelf in (self.parts, self.measurands, self.observations, self.traits)],
            [sorted(shelf) for shelf in (self.operations, self.checks, self.calculations, self.symptoms)],
            [(name, file.stat().st_mtime_ns) for name in sorted(modules) if (file := Path(name)).is_file()],
        )
        return kept(f"{self.key}-{path.stem}", [path, *beside, *shared], make, code=self.folder, told=told)

    def fault_table(self, data: Mapping[str, Any], where: str) -> FaultTable:
        """A fault table from plain data, checked against this system's declarations."""
        from .fault_file import read_faults

        return read_faults(data, where, self._declarations(), self.key)

    def _declarations(self) -> Declared:
        from .fault_file import Declared

        return Declared(
            to_coherent=self._coherent,
            measurands={key: measurand.places for key, measurand in self.measurands.items()},
            observations={key: answers_of(seen.answers) for key, seen in self.observations.items()},
            traits={
                key: answers_of(trait.answers) if trait.answers else () for key, trait in self.traits.items()
            },
            operations=self.operations,
            parts=self.parts,
            codes=self._codes_named(),
            symptoms=symptoms().symptoms,
            circumstances=symptoms().circumstances,
            places=self.places_of_all,
        )

    @property
    def places_of_all(self) -> dict[str, tuple[str, ...]]:
        """Key of a measurand or an observation → its places."""
        return {
            **{key: measurand.places for key, measurand in self.measurands.items()},
            **{key: seen.places for key, seen in self.observations.items()},
        }

    def _codes_named(self) -> frozenset[str] | None:
        """Every code of this system that a text of its checks' modules names; None where the modules cannot
        be read as text.
        """
        modules = {sys.modules.get(check.function.__module__) for check in self.checks.values()}
        files = [getattr(module, "__file__", None) for module in modules]
        if not files or not all(file and file.endswith(".py") and Path(file).is_file() for file in files):
            return None
        pattern = re.compile(rf"[\"']({self.key}\.[a-z][a-z0-9_]*)[\"']")
        return frozenset(
            code for file in files if file for code in pattern.findall(Path(file).read_text("utf-8"))
        )

    def declares(self, one: Any) -> bool:
        """Whether it is this system's own declaration."""
        return any(getattr(self, shelf).get(one.key) is one for shelf in SHELVES)

    def table_data(self) -> Mapping[str, Any]:
        """The fault table as plain data; empty where there is none."""
        path = self.folder / "faults.toml"
        known: Mapping[str, Any] | None = self.__dict__.get("_data")
        if known is not None:
            return known
        return read_toml(path, f"{path.name} of {self.key}") if path.is_file() else {}

    def checked_code(self, code: str) -> str:
        """A code of its own findings, given back."""
        if not code.startswith(f"{self.key}."):
            raise ValueError(f"A finding's code begins with its system's key: {self.key}.…; got {code!r}.")
        return code

    def loose_ends(self) -> list[str]:
        """Every reference of the declarations that leads nowhere, one sentence each; the host refuses a
        system that has any.
        """
        unsourced = [
            calculation
            for calculation in self.calculations.values()
            if calculation.source not in self.sources
        ]
        wrong = [
            f"calculation {calculation.key}: no source {calculation.source!r}" for calculation in unsourced
        ]
        for check in self.checks.values():
            wrong += [
                f"check {check.key}: not_while names {code!r}, which is no code; write {self.key}.name"
                for code in check.not_while
                if not _CODE.fullmatch(code)
            ]
        for name, parameter in self._asked:
            key = parameter.of.key
            own = (self.measurands, self.records, self.observations, self.traits, self.settings)
            if key.startswith(f"{self.key}.") and not any(key in shelf for shelf in own):
                wrong.append(f"{name}: {parameter.name} asks for {key}, which the system does not declare")
        for relation in self.relations.values():
            for term in (relation.whole, *relation.parts):
                key = term.measurand.key
                if key.startswith(f"{self.key}.") and not self.declares(term.measurand):
                    wrong.append(f"relation {relation.key}: {key} is not what the system declares")
        return wrong

    @property
    def _asked(self) -> list[tuple[str, Parameter]]:
        """What its checks and its derived readings take, each with whose it is."""
        return [
            *(
                (f"check {one.key}", parameter)
                for one in self.checks.values()
                for parameter in one.parameters
            ),
            *(
                (f"derived reading {key}", parameter)
                for key, one in self.derived.items()
                for parameter in one.parameters
            ),
        ]

    @property
    def foreign_wants(self) -> list[Measurand]:
        """What its checks want of other systems, each key once."""
        strangers = [
            of
            for of in (parameter.of for _, parameter in self._asked)
            if isinstance(of, Measurand) and not of.key.startswith(f"{self.key}.")
        ]
        return list({of.key: of for of in strangers}.values())

    def _coherent(self, key: str, text: str) -> float:
        if key in self.measurands:
            return units.read_quantity(text, [self.measurands[key].unit]).number
        if key in self.traits and self.traits[key].units:
            return units.read_quantity(text, self.traits[key].units).number
        raise ValueError(f"no measurand or trait with a value {key!r}")

    def _key(self, name: str) -> str:
        if not _NAME.fullmatch(name):
            raise ValueError(f"{self.key}: a name is short and lower case, like line_pressure; got {name!r}.")
        return f"{self.key}.{name}"

    def _part(self, key: str, part: Part | None) -> str:
        if part is None:
            return ""
        if not isinstance(part, Part) or not self.declares(part):
            raise ValueError(
                f"{key}: its part must be one that {self.key}.part(…) has declared before; got"
                f" {part.key if isinstance(part, Part) else part!r}."
            )
        return part.key

    def _counting_trait(self, key: str, places: tuple[str, ...], by: Trait | None) -> str:
        """Key of the trait that counts the places.

        Raises:
            ValueError: there is nothing to count, or the trait is no count that this system declared before.
        """
        if by is None:
            return ""
        if not places:
            raise ValueError(f"{key}: places_by counts places, and it has none.")
        if not self.declares(by) or not by.units or units.unit(by.units[0]).kind != "count":
            raise ValueError(
                f"{key}: places_by is a trait in count that {self.key}.trait(…) has declared before; got"
                f" {by.key}."
            )
        return by.key

    def _only(self, key: str, only: Mapping[Trait, Iterable[Enum]] | None) -> dict[str, tuple[str, ...]]:
        """Trait → words of the answers under which something applies.

        Raises:
            ValueError: a trait is none that this system declared before, or an answer none of its own.
        """
        found = {}
        for trait, members in (only or {}).items():
            answers = tuple(members)
            own = trait.answers
            if not self.declares(trait) or own is None:
                raise ValueError(
                    f"{key}: only names a trait with closed answers that {self.key}.trait(…) has declared"
                    f" before; got {trait.key}."
                )
            if not answers or not all(isinstance(member, own) for member in answers):
                raise ValueError(f"{key}: only wants answers of {trait.key}: {', '.join(answers_of(own))}.")
            found[trait.key] = tuple(str(member.value) for member in answers)
        return found

    def _span(self, ends: tuple[float | None, float | None], unit: str) -> Span:
        low, high = (None if end is None else units.to_coherent(end, unit) for end in ends)
        return Span(low, high)

    def _keep(self, shelf: dict[str, T], key: str, item: T) -> T:
        asked: tuple[dict[str, Any], ...] = (
            self.measurands,
            self.records,
            self.observations,
            self.traits,
            self.settings,
        )  # one key, one meaning: a visit file names them all alike
        if key in shelf or (any(shelf is one for one in asked) and any(key in one for one in asked)):
            raise ValueError(f"{key} is declared twice.")
        shelf[key] = item
        return item


def _formerly(
    key: str, answers: type[Enum] | None, formerly: Mapping[str, Enum] | None
) -> Mapping[str, Enum]:
    """Former words of answers, as declared.

    Raises:
        ValueError: they mean no answer, or are an answer's words today.
    """
    for words, answer in (formerly or {}).items():
        if answers is None or answer not in set(answers) or words in answers_of(answers):
            raise ValueError(
                f"{key}: formerly has words that no answer has today, each with its answer: {words}"
            )
    return dict(formerly or {})


def _told_each(key: str, answers: type[Enum], tells_each: Mapping[Any, str] | None) -> dict[str, str]:
    """Words of an answer → the customer's sentence.

    Raises:
        ValueError: some answers have a sentence and others have none, or one is no answer.
    """
    if tells_each is None:
        return {}
    if set(tells_each) != set(answers):
        missing = [str(member.value) for member in answers if member not in tells_each]
        strange = [
            str(getattr(member, "value", member)) for member in tells_each if member not in set(answers)
        ]
        raise ValueError(
            f"{key}: tells_each has one sentence for every answer and for nothing else; missing"
            f" {', '.join(missing) or 'none'}, no answer {', '.join(strange) or 'none'}."
        )
    return {str(member.value): sentence for member, sentence in tells_each.items()}
