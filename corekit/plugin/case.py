"""Case: the only view of a job that a check gets, at one stage."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from enum import Enum
from typing import TYPE_CHECKING, Protocol, TypeVar, cast, overload

import attrs

from .. import units
from ..judge import RULE, Side
from ..judge_unknown import conform_together, side_together
from ..model.finding import Finding, Gap, Reason, Says, Tells, Text, Urgency, Verdict
from ..model.limit import Limit, Scope, known_to
from ..model.measurand import Measurand, Observation, Operation, Part, Trait, places_counted
from ..model.possible import Possible, for_each, possible
from ..model.sampling import Sampling
from ..model.source import Basis, Source, Status
from ..model.value import Value, exact
from .claim import Claim
from .faults import FaultTable
from .limit_words import limit_by_answer, possible_limit_words, uncertainty_at_most
from .reading import Reading, Series
from .record import Record

if TYPE_CHECKING:
    from .derived import Derivation

E = TypeVar("E", bound=Enum)


class Owner(Protocol):
    """What a case asks of the system it speaks for; `System` is one."""

    @property
    def key(self) -> str: ...

    @property
    def limits(self) -> Mapping[str, Limit]: ...

    @property
    def sources(self) -> Mapping[str, Source]: ...

    @property
    def operations(self) -> Mapping[str, Operation]: ...

    @property
    def observations(self) -> Mapping[str, Observation]: ...

    @property
    def derived(self) -> Mapping[str, Derivation]: ...

    @property
    def faults(self) -> FaultTable | None: ...

    def checked_code(self, code: str) -> str: ...


#: Of readings that disagree nothing else is said.
DISAGREE = (
    "{title}: the {count} readings, from {least} to {most}, disagree by more than their uncertainty; read it"
    " again. Asked for: {limit}."
)
#: Of what is right under one answer and wrong under another nothing else is said.
DEPENDS = (
    "{title} {value}: whether that is right depends on what is not known yet: {unknown}. Asked for: {limit}."
)
DISAGREE_PLAIN = "Read several times, it came out differently, so nothing is decided; it is read again."
DEPENDS_PLAIN = "Whether this is as it should be depends on what is not known yet: {unknown_plain}."
#: What the customer is told of a gap that has no other words.
NOT_CHECKED = "Not checked: {name}."


@attrs.frozen
class _Texts:
    """The two voices of one statement, and what fills their places."""

    says: str
    tells: str
    values: Mapping[str, str]


class Missing(Exception):
    """Raised by `case[…]` inside a check: the host turns it into a gap that names what to measure."""

    def __init__(self, wanted: Measurand | Sampling | Observation | Trait) -> None:
        super().__init__(wanted.key)
        self.wanted = wanted


@attrs.frozen
class Sighting:
    """An observation as noted: the answer, or why it could not be had."""

    answer: Enum | None
    entry: str
    cannot: str = ""


@attrs.frozen
class CodeSet:
    """A trouble code that was read: in which lists (`stored`, `pending`, `permanent`), and by
    which entries.
    """

    states: tuple[str, ...]
    entries: tuple[str, ...]


@attrs.frozen(kw_only=True)
class Case:
    """One system's view of one stage of a job.

    Attributes:
        system: Whose check this is. check: Its title. stage: 0 at arrival.
        readings: (measurand key, place) → Reading.
        records: (key of the record, place) → Record.
        sightings: (observation or measurand key, place) → Sighting.
        fitted: Trait key → member of its closed answers, or Value; what is unknown is absent.
        fitted_by: Trait key → id of the entry that says so.
        specified: Measurand key → this vehicle's own limit.
        codes: Trouble code → where it stands, for every code read at this stage.
        code_lists: `stored`, `pending`, `permanent` → id of the entry that gives this list, also an empty
            one; empty when nothing was read.
        repairs: Operation key → the latest stage, up to this one, that begins with it: what was done just
            before has this stage's number.
        left_out: (measurand, record or observation key, place) → id of the entry, for what was read at a
            place that this vehicle does not have; no check and no cause rests on it.
        contradicted: Id of an entry → title of the declared relation that it does not fit.
        settings: Key of a setting → what the shop says of it.
    """

    system: Owner
    check: str
    stage: int = 0
    readings: Mapping[tuple[str, str], Reading] = attrs.field(factory=dict)
    records: Mapping[tuple[str, str], Record] = attrs.field(factory=dict)
    sightings: Mapping[tuple[str, str], Sighting] = attrs.field(factory=dict)
    fitted: Mapping[str, Enum | Value] = attrs.field(factory=dict)
    fitted_by: Mapping[str, str] = attrs.field(factory=dict)
    specified: Mapping[str, Limit] = attrs.field(factory=dict)
    codes: Mapping[str, CodeSet] = attrs.field(factory=dict)
    code_lists: Mapping[str, str] = attrs.field(factory=dict)
    repairs: Mapping[str, int] = attrs.field(factory=dict)
    left_out: Mapping[tuple[str, str], str] = attrs.field(factory=dict)
    contradicted: Mapping[str, str] = attrs.field(factory=dict)
    settings: Mapping[str, str] = attrs.field(factory=dict)

    def __attrs_post_init__(self) -> None:
        """Set apart what was read at a place that this vehicle does not have."""
        absent = {at: one.entry for at, one in self.readings.items() if self._lacks(one.measurand, at[1])}
        absent |= {
            at: one.entry
            for at, one in self.sightings.items()
            if (seen := self.system.observations.get(at[0])) is not None and self._lacks(seen, at[1])
        }
        absent |= {at: one.entry for at, one in self.records.items() if self._lacks(one.sampling.of, at[1])}
        if absent:
            for name in ("readings", "records", "sightings"):
                kept = {at: one for at, one in getattr(self, name).items() if at not in absent}
                object.__setattr__(self, name, kept)
            object.__setattr__(self, "left_out", {**self.left_out, **absent})

    def _lacks(self, of: Measurand | Observation, place: str) -> bool:
        return bool(of.places_by and place in of.places and place not in self.places(of))

    @property
    def fitted_words(self) -> dict[str, str]:
        """Trait → the words of its answer, of those with closed answers that are known."""
        return {key: str(one.value) for key, one in self.fitted.items() if isinstance(one, Enum)}

    def places(self, of: Measurand | Observation | Part) -> tuple[str, ...]:
        """The places of a thing that this vehicle has, as far as anybody knows."""
        count = self.fitted.get(of.places_by)
        return places_counted(of, count.number if isinstance(count, Value) else None)

    def __getitem__(self, measurand: Measurand) -> Reading:
        """The reading of a measurand that the signature did not name; `Missing` when there is none."""
        reading = self.reading(measurand)
        if reading is None:
            raise Missing(measurand)
        return reading

    def reading(self, measurand: Measurand, place: str = "") -> Reading | None:
        """The reading at one place, or None.

        What is of another kind than asked for is not there: another system may have changed its mind.
        """
        found = self.readings.get((measurand.key, place))
        return found if found is not None and found.measurand.kind == measurand.kind else None

    def everywhere(self, measurand: Measurand) -> list[Reading]:
        """The readings at every place, in the order in which the measurand declares its places."""
        taken = [(place, reading) for (key, place), reading in self.readings.items() if key == measurand.key]
        found = [(place, reading) for place, reading in taken if reading.measurand.kind == measurand.kind]
        order = {place: index for index, place in enumerate(measurand.places)}
        return [reading for _, reading in sorted(found, key=lambda item: order.get(item[0], len(order)))]

    def record(self, sampling: Sampling, place: str = "") -> Record | None:
        """The record at one place, or None; what is of another kind than asked for is not there."""
        found = self.records.get((sampling.key, place))
        return found if found is not None and _alike(found.sampling, sampling) else None

    def records_everywhere(self, sampling: Sampling) -> list[Record]:
        """The records at every place, in the order in which the declaration has its places."""
        places = sampling.places or ("",)
        found = (self.record(sampling, place) for place in places)
        return [record for record in found if record is not None]

    def series(self, measurand: Measurand, place: str = "") -> Series | None:
        """The readings at one place under all conditions, or None."""
        found = self.reading(measurand, place)
        return Series.of(found) if found is not None else None

    def is_contradicted(self, *readings: Reading) -> bool:
        """Whether one of them breaks a relation that a system declares; what rests on it decides nothing."""
        return any(not self.contradicted.keys().isdisjoint(reading.value.rests_on) for reading in readings)

    def limit(self, of: Measurand | str) -> Limit:
        """The limit to judge by: this vehicle's own if there is one (the general one stays visible), else the
        system's.

        Raises:
            KeyError: the system has no limit of that key.
        """
        key = of.key if isinstance(of, Measurand) else of
        general = self.system.limits.get(key)
        own = self.specified.get(key)
        if own is not None:
            return attrs.evolve(own, beaten=general)
        if general is None:
            raise KeyError(
                f"{self.system.key} declares no limit {key!r}; it has"
                f" {', '.join(sorted(self.system.limits)) or 'none'}."
            )
        return general

    def is_specified(self, measurand: Measurand) -> bool:
        """Whether this vehicle's own figure of it is known."""
        return measurand.key in self.specified

    def limit_by(
        self,
        trait: Trait,
        answer: E | None,
        limits: Mapping[E, Measurand | str | Limit | Possible[Limit]],
        otherwise: Measurand | str | Limit | Possible[Limit] | None = None,
    ) -> Limit | Possible[Limit]:
        """The limit for how the vehicle is fitted; while that is unknown, every one that may hold.

        Outside all of them fails, inside all passes, otherwise it is undecided and the trait is asked.

        Args:
            limits: For every answer of the trait its limit, or the key of one on file.
            otherwise: For an answer without a limit of its own; while the trait is unknown, also for what
                none of its answers names.

        Raises:
            ValueError: the trait has no closed answers, or one of them has no limit.
        """
        held: dict[Enum | None, Limit | Possible[Limit]] = {}
        for one in trait.answers or ():
            of = limits.get(cast(E, one), otherwise)
            if of is None:
                raise ValueError(
                    f"{trait.key}: every answer needs its limit; there is none for {one.value!r}."
                )
            held[one] = self.limit(of) if isinstance(of, Measurand | str) else of
        if not held:
            raise ValueError(
                f"{trait.key} has a value and no closed answers; work its limit out of the value."
            )
        if answer is not None:
            return held[answer]
        if otherwise is not None:
            held[None] = self.limit(otherwise) if isinstance(otherwise, Measurand | str) else otherwise
        return possible(trait, held)

    def ends(
        self,
        read: Reading | None,
        of: Measurand,
        *,
        low: float | None = None,
        high: float | None = None,
    ) -> Value | Possible[Value]:
        """A condition as it was read; else both ends of its usual span.

        What is computed from both ends and judged is decided where both lead to the same verdict, and
        otherwise undecided with the condition named. Between the ends it has to rise or fall throughout.

        Args:
            low, high: Other ends, in the coherent unit, where what follows is known only between them.

        Raises:
            ValueError: the measurand's usual span has an open end.
        """
        if read is not None:
            return read.value
        low, high = of.usual.low if low is None else low, of.usual.high if high is None else high
        if low is None or high is None:
            raise ValueError(f"{of.key} needs both ends of its usual span; it has {low} and {high}.")
        return possible(of, {number: exact(of.kind, number) for number in (low, high)})

    @overload
    def computed_limit(
        self,
        key: str,
        source: str,
        *,
        low: Value | None = None,
        high: Value | None = None,
        width: float | None = None,
        why: str = "",
    ) -> Limit: ...

    @overload
    def computed_limit(
        self,
        key: str,
        source: str,
        *,
        low: Value | Possible[Value] | None = None,
        high: Value | Possible[Value] | None = None,
        width: float | None = None,
        why: str = "",
    ) -> Limit | Possible[Limit]: ...

    def computed_limit(
        self,
        key: str,
        source: str,
        *,
        low: Value | Possible[Value] | None = None,
        high: Value | Possible[Value] | None = None,
        width: float | None = None,
        why: str = "",
    ) -> Limit | Possible[Limit]:
        """A limit that a check works out from readings, on the authority of one of the system's sources.

        Args:
            width: How well the rule behind it is known (k = 2), in the coherent unit of a difference; it
                counts beside the uncertainty of the readings. Without one the limit only advises. why: Its
                reason.

        Raises:
            KeyError: the system has no source of that key.
            ValueError: a width without a reason, or a reason without a width; a width of 0 although the
                source is no document that was read.
        """
        found = self.system.sources[source]
        if (width is None) is bool(why):
            raise ValueError(f"{key}: a width and its reason go together; got {width} and {why!r}.")
        if width == 0 and not found.can_be_exact:
            raise ValueError(f"{key}: {source} is {found.basis}, {found.status}; its width cannot be 0.")

        def made(bottom: Value | None, top: Value | None) -> Limit:
            ends = [None if end is None else known_to(end, width or 0.0, key) for end in (bottom, top)]
            return Limit(key=key, low=ends[0], high=ends[1], source=found, why=why)

        return for_each(made, low, high)

    def side(self, judged: Reading | Value | Possible[Value], limit: Limit | Possible[Limit]) -> Side:
        """Where a value lies against a limit: below, inside, above, or too close to an end to say.

        The same rule as `judge`, whatever the limit is worth. Readings that disagree among themselves are
        undecided, and so is what depends on something unknown.
        """
        if isinstance(judged, Reading):
            if judged.disagrees:
                return Side.UNDECIDED
            judged = judged.value
        return side_together(judged, limit)

    def judge(
        self,
        judged: Reading | Value | Possible[Value],
        limit: Limit | Possible[Limit],
        claim: Claim,
        says: Says,
        tells: Tells | None = None,
        values: Mapping[str, str] | None = None,
    ) -> Finding:
        """A finding from the margin between a value and a limit.

        Where either is only possible, because something is unknown, it has to hold for all that is possible;
        else the finding is undecided and names what to find out.

        Args:
            says: In the trade's words. tells: In the customer's; the trade's stand where there are none.
            values: More places for the sentences, beside {value}, {limit} and {place}.
        """
        together = conform_together(judged.value if isinstance(judged, Reading) else judged, limit)
        value, one, outcome = together.value, together.limit, together.judged
        about = judged if isinstance(judged, Reading) else value
        verdict, leans, probability = outcome.verdict, outcome.leans, outcome.probability
        apart = isinstance(judged, Reading) and judged.disagrees
        if apart and isinstance(judged, Reading):
            # Nobody knows which of them is right, so each counts alike, and nothing is decided by whichever
            # came last.
            others = [conform_together(other, limit).judged for other in judged.others]
            several = [probability, *(other.probability for other in others)]
            probability, leans = math.fsum(several) / len(several), Verdict.UNDECIDED
            verdict = Verdict.ADVICE if verdict is Verdict.ADVICE else Verdict.UNDECIDED
        advises = verdict is Verdict.ADVICE
        depends_on = None if apart else together.depends_on
        template, customer_text = says.text(leans, advises), tells.text(leans, advises) if tells else ""
        if apart:
            # A sentence about the last reading alone ("too close to call") would be false of the others.
            template, customer_text = DISAGREE, DISAGREE_PLAIN
        elif depends_on is not None:
            template, customer_text = DEPENDS, DEPENDS_PLAIN
        if outcome.unfit and leans is Verdict.UNDECIDED and not apart and depends_on is None:
            template += " This instrument cannot decide it at all: its uncertainty is as wide as the limit."
            template += (
                " It takes one that is known to {needed} (k = 2)."
                if outcome.needed
                else " Nor could any: the limit itself is known no better."
            )
        unit = self._unit(claim, about)
        places = {"limit": possible_limit_words(together, unit), **(values or {})}
        least, most = together.values[0], together.values[-1]
        if least.number != most.number:
            places["value"] = " to ".join(units.show(end, unit) for end in (least, most))
        if outcome.unfit and outcome.needed:
            places["needed"] = uncertainty_at_most(outcome.needed, unit)
        if isinstance(judged, Reading):
            places |= _repeats(judged, unit)
        if depends_on is not None:
            measurand = claim.of or (judged.measurand if isinstance(judged, Reading) else None)
            places |= {
                "title": measurand.title if measurand else self.check,
                "unknown": _lower_first(depends_on.title),
                "unknown_plain": _lower_first(depends_on.for_customer),
                "limit": limit_by_answer(together, unit),
            }
            claim = attrs.evolve(claim, next_test=depends_on)
        passes = leans is Verdict.PASS
        return attrs.evolve(
            self._finding(claim, verdict, about, _Texts(template, customer_text, places)),
            urgency=Urgency.NOTHING if passes else claim.urgency or Urgency.THIS_VISIT,
            probability=probability,
            disagrees=apart,
            limits=(one,) if one.beaten is None else (one, one.beaten),
            evidence=_evidence(value, claim.evidence, one, about),
            calls_for=claim.calls_for.key if claim.calls_for and not passes else "",
            rule=RULE,
        )

    def advise(
        self,
        claim: Claim,
        says: str,
        value: Value | Reading | None = None,
        *,
        tells: str = "",
        limits: Sequence[Limit] = (),
        values: Mapping[str, str] | None = None,
    ) -> Finding:
        """A computed statement without a limit: it advises and never decides."""
        return attrs.evolve(
            self._finding(claim, Verdict.ADVICE, value, _Texts(says, tells, values or {})),
            urgency=claim.urgency or Urgency.PLAN_IT,
            calls_for=claim.calls_for.key if claim.calls_for else "",
            limits=tuple(limits),
        )

    def inconclusive(
        self,
        claim: Claim,
        says: str,
        value: Value | Reading | None = None,
        *,
        tells: str = "",
        limits: Sequence[Limit] = (),
        values: Mapping[str, str] | None = None,
    ) -> Finding:
        """An undecided finding of a check that was barred (*too discharged to test*), with the test that
        comes next.
        """
        finding = self._finding(claim, Verdict.UNDECIDED, value, _Texts(says, tells, values or {}))
        return attrs.evolve(finding, limits=tuple(limits))

    def visual(
        self,
        at: Observation,
        claim: Claim,
        says: str,
        *,
        passes: bool,
        tells: str = "",
        values: Mapping[str, str] | None = None,
    ) -> Finding:
        """What eyes decide is decided: a verdict without a limit, on the entry that noted it.

        Args:
            passes: A pass has nothing to do and calls for nothing. The claim's place is that of several like
                things; without one the finding speaks of all that were looked at.
        """
        verdict = Verdict.PASS if passes else Verdict.FAIL
        noted = self.noted(at, claim.place) if claim.place else self.noted(at)
        return attrs.evolve(
            self._finding(
                attrs.evolve(claim, evidence=(*noted, *claim.evidence)),
                verdict,
                None,
                _Texts(says, tells, values or {}),
            ),
            urgency=Urgency.NOTHING if passes else claim.urgency or Urgency.THIS_VISIT,
            calls_for=claim.calls_for.key if claim.calls_for and not passes else "",
            part=at.part,
        )

    def _finding(
        self, claim: Claim, verdict: Verdict, about: Reading | Value | None, texts: _Texts
    ) -> Finding:
        value = about.value if isinstance(about, Reading) else about
        unit = self._unit(claim, about)
        place = claim.place or (about.place if isinstance(about, Reading) else "")
        measurand = claim.of or (about.measurand if isinstance(about, Reading) else None)
        shown = {"value": units.show(value, unit)} if value is not None else {}
        places = {**shown, "place": place, **texts.values}
        next_test = claim.next_test if verdict is Verdict.UNDECIDED else None
        return Finding(
            system=self.system.key,
            code=self.system.checked_code(claim.code),
            check=self.check,
            verdict=verdict,
            urgency=claim.urgency or Urgency.THIS_VISIT,
            text=Text(texts.says, places),
            customer_text=Text(texts.tells, places) if texts.tells else None,
            stage=self.stage,
            place=place,
            of=measurand.key if measurand else "",
            part=measurand.part if measurand else "",
            value=value,
            unit=unit,
            evidence=_evidence(value, claim.evidence, None, about),
            next_test=next_test.key if next_test else "",
            figure=claim.figure,
            grade=claim.grade,
            name=claim.name,
        )

    @staticmethod
    def _unit(claim: Claim, about: Reading | Value | None) -> str:
        unit = claim.unit or (about.measurand.unit if isinstance(about, Reading) else "")
        if about is not None and not unit:
            raise ValueError(f"{claim.code}: say in which unit the value is printed (Claim(…, unit=…)).")
        return unit

    def gap(
        self,
        wanted: Measurand | Sampling | Observation | Trait,
        why: str,
        reason: Reason = Reason.NOT_MEASURED,
        *,
        tells: str = "",
    ) -> Gap:
        """What could not be said, naming what would close it.

        Args:
            why: In the trade's words. tells: In the customer's; what would close it is named where there are
                none.
        """
        return Gap(
            system=self.system.key,
            check=self.check,
            reason=reason,
            text=why,
            stage=self.stage,
            wants=wanted.key,
            tells=tells or NOT_CHECKED.format(name=wanted.for_customer),
        )

    def does_not_apply(self, why: str) -> Gap:
        """A gap for what this vehicle does not have."""
        return Gap(
            system=self.system.key, check=self.check, reason=Reason.DOES_NOT_APPLY, text=why, stage=self.stage
        )

    def pairs(self, readings: Sequence[Reading], *places: str) -> Iterator[tuple[Reading, ...] | Gap]:
        """The readings at the places named, together, or a gap for each place that is missing.

        Raises:
            KeyError: the measurand has no such place.
        """
        known = readings[0].measurand.places if readings else places
        strange = [place for place in places if place not in known]
        if strange:
            raise KeyError(
                f"{readings[0].measurand.key} has no place {strange[0]!r}; it has"
                f" {', '.join(known) or 'no places'}."
            )
        found = {reading.place: reading for reading in readings}
        missing = [place for place in places if place not in found]
        for place in missing:
            measurand = readings[0].measurand if readings else None
            title = measurand.title if measurand else "the reading"
            yield Gap(
                system=self.system.key,
                check=self.check,
                reason=Reason.NOT_MEASURED,
                text=f"{title} at {place} is missing.",
                stage=self.stage,
                wants=measurand.key if measurand else "",
                tells=NOT_CHECKED.format(name=measurand.for_customer if measurand else title),
            )
        if not missing:
            yield tuple(found[place] for place in places)

    def seen(self, observation: Observation, place: str = "") -> Enum | None:
        """The answer at one place; None where it was not looked at, or could not be."""
        sighting = self.sightings.get((observation.key, place))
        return sighting.answer if sighting else None

    def noted(self, observation: Observation, *places: str) -> list[str]:
        """Ids of the entries that noted it, for the evidence of a claim; at these places, or wherever it was
        looked at.
        """
        return [
            sighting.entry
            for (key, place), sighting in self.sightings.items()
            if key == observation.key and sighting.entry and (not places or place in places)
        ]

    def seen_everywhere(self, observation: Observation) -> dict[str, Enum]:
        """Place → answer, in the order in which the observation declares its places; where nothing could be
        seen is left out.
        """
        noted = {
            place: sighting.answer
            for (key, place), sighting in self.sightings.items()
            if key == observation.key and sighting.answer is not None
        }
        return {
            place: noted[place]
            for place in sorted(
                noted,
                key=lambda place: observation.places.index(place) if place in observation.places else -1,
            )
        }


def _lower_first(title: str) -> str:
    return title[:1].lower() + title[1:]


def _alike(one: Sampling, other: Sampling) -> bool:
    return (one.of.kind, one.over_kind) == (other.of.kind, other.over_kind)


def _repeats(reading: Reading, unit: str) -> dict[str, str]:
    """The places of a sentence about a reading that was taken several times."""
    taken = sorted((reading.value, *reading.others), key=lambda one: one.number)
    least, most = (units.show(one, unit, uncertainty=False) for one in (taken[0], taken[-1]))
    return {"count": str(reading.count), "title": reading.measurand.title, "least": least, "most": most}


def own_limit(key: str, low: Value | None, high: Value | None, where_from: str, entry: str) -> Limit:
    """This vehicle's specification of a measurand as a limit; `entry` is the entry that says so."""
    source = Source(
        key=f"specification.{entry[:12]}",
        title=f"This vehicle's own figure, {where_from}",
        basis=Basis.MAKER,
        status=Status.READ,
    )
    why = "this vehicle's own figure is exact by what it is"
    return Limit(key=key, low=low, high=high, source=source, scope=Scope.THIS_VEHICLE, why=why)


def _evidence(
    value: Value | None, more: Iterable[Reading | str], limit: Limit | None, judged: Reading | Value | None
) -> tuple[str, ...]:
    """Entry ids, each once: what the value rests on, what the limit was computed from, and what was named
    beside.
    """
    found: dict[str, None] = {}
    for part in (value, limit.low if limit else None, limit.high if limit else None):
        found.update(dict.fromkeys(sorted(part.rests_on)) if part is not None else {})
    if isinstance(judged, Reading):
        for other in judged.others:
            found.update(dict.fromkeys(sorted(other.rests_on)))
    for item in more:
        found.update(dict.fromkeys([item] if isinstance(item, str) else sorted(item.value.rests_on)))
    return tuple(found)
