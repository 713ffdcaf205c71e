"""Case: the only view of a job that a check gets, at one stage."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import ROUND_DOWN, Decimal
from enum import Enum
from typing import Protocol

import attrs

from .. import units
from ..judge import RULE, conform
from ..model.figure import Figure
from ..model.finding import Finding, Gap, Reason, Says, Text, Urgency, Verdict
from ..model.limit import Limit, Scope
from ..model.measurand import Measurand, Observation, Operation, Trait
from ..model.source import Basis, Source, Status
from ..model.value import Value
from .faults import FaultTable
from .reading import Reading


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
    def faults(self) -> FaultTable | None: ...

    def checked_code(self, code: str) -> str: ...


class Missing(Exception):
    """Raised by `case[…]` inside a check: the host turns it into a gap that names what to measure."""

    def __init__(self, wanted: Measurand | Observation | Trait) -> None:
        super().__init__(wanted.key)
        self.wanted = wanted


@attrs.frozen
class Sight:
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
        readings: (measurand key, place) → Reading. sights: (observation or measurand key, place) → Sight.
        fitted: Trait key → member of its closed answers, or Value; what is unknown is absent.
        fitted_by: Trait key → id of the entry that says so.
        specified: Measurand key → this vehicle's own limit.
        codes: Trouble code → where it stands, for every code read at this stage.
        code_lists: `stored`, `pending`, `permanent` → id of the entry that gives this list, also an empty
            one; empty when nothing was read.
        repairs: Operation key → the latest stage, up to this one, that begins with it: what was done just
            before has this stage's number.
    """

    system: Owner
    check: str
    stage: int = 0
    readings: Mapping[tuple[str, str], Reading] = attrs.field(factory=dict)
    sights: Mapping[tuple[str, str], Sight] = attrs.field(factory=dict)
    fitted: Mapping[str, Enum | Value] = attrs.field(factory=dict)
    fitted_by: Mapping[str, str] = attrs.field(factory=dict)
    specified: Mapping[str, Limit] = attrs.field(factory=dict)
    codes: Mapping[str, CodeSet] = attrs.field(factory=dict)
    code_lists: Mapping[str, str] = attrs.field(factory=dict)
    repairs: Mapping[str, int] = attrs.field(factory=dict)

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

    def judge(
        self,
        judged: Reading | Value,
        limit: Limit,
        *,
        code: str,
        says: Says,
        of: Measurand | None = None,
        unit: str = "",
        place: str = "",
        calls_for: Operation | None = None,
        urgency: Urgency = Urgency.THIS_VISIT,
        evidence: Iterable[Reading | str] = (),
        next_test: Measurand | Observation | None = None,
        figure: Figure | None = None,
        values: Mapping[str, str] | None = None,
    ) -> Finding:
        """A finding from the margin between a value and a limit.

        Args:
            of: The measurand that a bare Value speaks of; a Reading brings its own.
            unit: To print a bare Value in; a Reading brings its own.
            calls_for: What it speaks for when it fails; dropped when it passes.
            urgency: When it fails; a pass is `nothing to do here`.
            evidence: Readings or entry ids beyond those the value itself rests on.
            next_test: What would settle it, when undecided.
            values: More places for the sentences.
        """
        value = judged.value if isinstance(judged, Reading) else judged
        unit = unit or (judged.measurand.unit if isinstance(judged, Reading) else "")
        if not unit:
            raise ValueError(f"{code}: say in which unit the judged value is printed.")
        place = place or (judged.place if isinstance(judged, Reading) else "")
        outcome = conform(value, limit)
        verdict, leans, probability = outcome.verdict, outcome.leans, outcome.probability
        apart = isinstance(judged, Reading) and judged.disagrees
        if apart and isinstance(judged, Reading):
            # Nobody knows which of them is right, so each counts alike, and nothing is decided by whichever
            # came last.
            several = [probability, *(conform(other, limit).probability for other in judged.others)]
            probability, leans = sum(several) / len(several), Verdict.UNDECIDED
            verdict = Verdict.UNDECIDED if limit.decides else Verdict.ADVICE
        template = {Verdict.PASS: says.passes, Verdict.FAIL: says.fails, Verdict.UNDECIDED: says.undecided}[
            leans
        ]
        if verdict is Verdict.ADVICE and says.advises:
            template = says.advises
        if apart:
            # A sentence about the last reading alone ("too close to call") would be false of the others.
            template = (
                "{title}: the {count} readings, from {least} to {most}, disagree by more than their uncertainty;"
                " read it again. Asked for: {limit}."
            )
        if outcome.unfit and leans is Verdict.UNDECIDED and not apart:
            template += " This instrument cannot decide it at all: its uncertainty is as wide as the limit."
            template += (
                " It takes one that is known to {needed} (k = 2)."
                if outcome.needed
                else " Nor could any: the limit itself is known no better."
            )
        places = {
            "value": units.show(value, unit),
            "limit": limit_words(limit, unit),
            "place": place,
            **(values or {}),
        }
        if outcome.unfit and outcome.needed:
            places["needed"] = uncertainty_at_most(outcome.needed, unit)
        if isinstance(judged, Reading):
            taken = sorted((value, *judged.others), key=lambda one: one.number)
            least, most = (units.show(one, unit, uncertainty=False) for one in (taken[0], taken[-1]))
            places |= {
                "count": str(judged.count),
                "title": judged.measurand.title,
                "least": least,
                "most": most,
            }
        return Finding(
            system=self.system.key,
            code=self.system.checked_code(code),
            check=self.check,
            verdict=verdict,
            urgency=Urgency.NOTHING if leans is Verdict.PASS else urgency,
            text=Text(template, places),
            stage=self.stage,
            place=place,
            of=_of(of, judged),
            part=_part(of, judged),
            probability=probability,
            value=value,
            unit=unit,
            limits=(limit,) if limit.beaten is None else (limit, limit.beaten),
            evidence=_evidence(value, evidence, limit, judged),
            calls_for=calls_for.key if calls_for and leans is not Verdict.PASS else "",
            next_test=next_test.key if next_test and verdict is Verdict.UNDECIDED else "",
            rule=RULE,
            figure=figure,
        )

    def advise(
        self,
        *,
        code: str,
        says: str,
        value: Value | Reading | None = None,
        of: Measurand | None = None,
        unit: str = "",
        place: str = "",
        evidence: Iterable[Reading | str] = (),
        urgency: Urgency = Urgency.PLAN_IT,
        calls_for: Operation | None = None,
        figure: Figure | None = None,
        limits: Sequence[Limit] = (),
        **values: str,
    ) -> Finding:
        """A computed statement without a limit: it advises and never decides."""
        return self._plain(
            verdict=Verdict.ADVICE,
            code=code,
            says=says,
            value=value,
            of=of,
            unit=unit,
            place=place,
            evidence=evidence,
            urgency=urgency,
            calls_for=calls_for,
            figure=figure,
            limits=limits,
            values=values,
        )

    def open(
        self,
        *,
        code: str,
        says: str,
        value: Value | Reading | None = None,
        of: Measurand | None = None,
        unit: str = "",
        place: str = "",
        evidence: Iterable[Reading | str] = (),
        urgency: Urgency = Urgency.THIS_VISIT,
        next_test: Measurand | Observation | None = None,
        probability: float | None = None,
        figure: Figure | None = None,
        limits: Sequence[Limit] = (),
        **values: str,
    ) -> Finding:
        """An undecided finding of a check that was barred (*too empty to judge*), with the test that comes
        next.
        """
        plain = self._plain(
            verdict=Verdict.UNDECIDED,
            code=code,
            says=says,
            value=value,
            of=of,
            unit=unit,
            place=place,
            evidence=evidence,
            urgency=urgency,
            next_test=next_test.key if next_test else "",
            figure=figure,
            limits=limits,
            values=values,
        )
        return attrs.evolve(plain, probability=probability)

    def _plain(
        self,
        *,
        verdict: Verdict,
        code: str,
        says: str,
        value: Value | Reading | None,
        of: Measurand | None,
        unit: str,
        place: str,
        evidence: Iterable[Reading | str],
        urgency: Urgency,
        figure: Figure | None,
        limits: Sequence[Limit],
        values: Mapping[str, str],
        calls_for: Operation | None = None,
        next_test: str = "",
    ) -> Finding:
        bare = value.value if isinstance(value, Reading) else value
        unit = unit or (value.measurand.unit if isinstance(value, Reading) else "")
        place = place or (value.place if isinstance(value, Reading) else "")
        shown = {"value": units.show(bare, unit)} if bare is not None else {}
        return Finding(
            system=self.system.key,
            code=self.system.checked_code(code),
            check=self.check,
            verdict=verdict,
            urgency=urgency,
            text=Text(says, {**shown, "place": place, **values}),
            stage=self.stage,
            place=place,
            of=_of(of, value),
            part=_part(of, value),
            value=bare,
            unit=unit,
            limits=tuple(limits),
            evidence=_evidence(bare, evidence, None, value),
            calls_for=calls_for.key if calls_for else "",
            next_test=next_test,
            figure=figure,
        )

    def looked(
        self,
        at: Observation,
        *,
        passed: bool,
        code: str,
        says: str,
        place: str = "",
        urgency: Urgency = Urgency.THIS_VISIT,
        calls_for: Operation | None = None,
        **values: str,
    ) -> Finding:
        """What eyes decide is decided: a verdict without a limit, on the entry that noted it.

        Args:
            passed: Pass or fail; a pass has nothing to do here and calls for nothing.
            place: Of several like things the one it speaks of; without it the finding speaks of all that were
                looked at.
        """
        noted = [
            sight for (key, there), sight in self.sights.items() if key == at.key and place in ("", there)
        ]
        seen = self._plain(
            verdict=Verdict.PASS if passed else Verdict.FAIL,
            code=code,
            says=says,
            value=None,
            of=None,
            unit="",
            place=place,
            evidence=[sight.entry for sight in noted if sight.entry],
            urgency=Urgency.NOTHING if passed else urgency,
            calls_for=None if passed else calls_for,
            figure=None,
            limits=(),
            values=values,
        )
        return attrs.evolve(seen, part=at.part)

    def gap(
        self, wanted: Measurand | Observation | Trait, why: str, reason: Reason = Reason.NOT_MEASURED
    ) -> Gap:
        """What could not be said, naming what would close it."""
        return Gap(
            system=self.system.key,
            check=self.check,
            reason=reason,
            text=why,
            stage=self.stage,
            wants=wanted.key,
        )

    def does_not_apply(self, why: str) -> Gap:
        return Gap(
            system=self.system.key, check=self.check, reason=Reason.DOES_NOT_APPLY, text=why, stage=self.stage
        )

    def pairs(self, readings: Sequence[Reading], *places: str) -> Iterator[tuple[Reading, ...] | Gap]:
        """The readings at the places named, together, or a gap for each place that is missing."""
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
            )
        if not missing:
            yield tuple(found[place] for place in places)

    def seen(self, observation: Observation, place: str = "") -> Enum | None:
        sight = self.sights.get((observation.key, place))
        return sight.answer if sight else None

    def seen_everywhere(self, observation: Observation) -> dict[str, Enum]:
        """Place → answer, in the order in which the observation declares its places; where nothing could be
        seen is left out.
        """
        noted = {
            place: sight.answer
            for (key, place), sight in self.sights.items()
            if key == observation.key and sight.answer is not None
        }
        return {
            place: noted[place]
            for place in sorted(
                noted,
                key=lambda place: observation.places.index(place) if place in observation.places else -1,
            )
        }


def limit_words(limit: Limit, unit: str) -> str:
    """`at least 9.3 V`, `at most 50 mA`, `14.2 V to 14.9 V`."""
    low = units.show(limit.low, unit, uncertainty=False) if limit.low is not None else ""
    high = units.show(limit.high, unit, uncertainty=False) if limit.high is not None else ""
    if low and high:
        return f"{low} to {high}"
    return f"at least {low}" if low else f"at most {high}"


def uncertainty_at_most(u: float, unit: str) -> str:
    """A standard uncertainty that must not be exceeded, as printed at k = 2: rounded down, so that what is
    printed is enough.
    """
    step = abs(units.from_coherent(u, unit) - units.from_coherent(0.0, unit))
    spread = Decimal(
        repr(2 * step * (1 + 1e-9))
    )  # what a scale's offset took of the last digits must not cost a whole one
    place = spread.adjusted() - (0 if spread.as_tuple().digits[0] >= 3 else 1)
    down = float(spread.quantize(Decimal(1).scaleb(place), ROUND_DOWN))
    return units.show_uncertainty((units.to_coherent(down, unit) - units.to_coherent(0.0, unit)) / 2, unit)


def _of(measurand: Measurand | None, judged: Reading | Value | None) -> str:
    if measurand is not None:
        return measurand.key
    return judged.measurand.key if isinstance(judged, Reading) else ""


def _part(measurand: Measurand | None, judged: Reading | Value | None) -> str:
    if measurand is not None:
        return measurand.part
    return judged.measurand.part if isinstance(judged, Reading) else ""


def own_limit(key: str, low: Value | None, high: Value | None, where_from: str, entry: str) -> Limit:
    """This vehicle's specification of a measurand as a limit; `entry` is the entry that says so."""
    source = Source(
        key=f"specification.{entry[:12]}",
        title=f"This vehicle's own figure, {where_from}",
        basis=Basis.MAKER,
        status=Status.READ,
    )
    return Limit(key=key, low=low, high=high, source=source, scope=Scope.THIS_VEHICLE)


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
