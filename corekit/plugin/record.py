"""A record as a check sees it: samples over time or over another quantity, made from the journal and the
declarations.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Mapping

import attrs

from .. import units
from ..model import calibration
from ..model.job import Job, Noted
from ..model.records import Instrument, Measured, Recorded
from ..model.sampling import LEAST_SAMPLES, Sampling
from ..model.value import Value
from .reading import with_uncertainty

_ROUNDING = 1 + 1e-9  # what the computer's own rounding may add to a difference just as large as allowed


@attrs.frozen
class Settled:
    """What a record settled to.

    Attributes:
        value: The mean of the settled part; its uncertainty holds the instrument's and how far its samples
            scatter.
        since: Where on its scale the settled part begins; half the step before it is not known.
        lasting: How long it then lasted, to the end of the record, in the coherent unit.
    """

    value: Value
    since: Value
    lasting: float


@attrs.frozen
class Slope:
    """Change of the samples per step of their scale, both in coherent units, with its standard
    uncertainty.
    """

    number: float
    u: float


@attrs.frozen(kw_only=True)
class Record:
    """One record; every value that it gives carries the uncertainty of its instrument.

    What lay between two samples is not known: `lowest` and `highest` are those of the samples.

    Attributes:
        sampling: What was recorded. place, stage: Where and when in the visit.
        over, samples: The samples, `samples[n]` at `over[n]`, in coherent units; `over` rises.
        entry: Id of the journal entry that says so.
        instrument: Its sheet, where it is known. named: The instrument as it was named. span: The range it
            stood on, where that is known.
        sheet: In words, what the uncertainty is taken from.
        overdue: `meter, whose calibration had run out on 2025-01-05`; empty when it held, or nothing is known
            of it.
    """

    sampling: Sampling
    over: tuple[float, ...]
    samples: tuple[float, ...]
    place: str = ""
    stage: int = 0
    entry: str = ""
    instrument: Instrument | None = None
    named: str = ""
    span: str = ""
    overdue: str = ""

    def __attrs_post_init__(self) -> None:
        if len(self.over) != len(self.samples) or len(self.over) < LEAST_SAMPLES:
            raise ValueError(
                f"A record has at least {LEAST_SAMPLES} samples, each with its place; got {len(self.samples)}"
                f" samples at {len(self.over)} places."
            )
        if any(after <= before for before, after in zip(self.over, self.over[1:], strict=False)):
            raise ValueError("The places of a record's samples rise; these do not.")

    @property
    def start(self) -> float:
        """Where it begins, in the coherent unit of what it is over."""
        return self.over[0]

    @property
    def end(self) -> float:
        """Where it ends, in the same unit."""
        return self.over[-1]

    @property
    def length(self) -> float:
        """From its first sample to its last, in the coherent unit of what it is over."""
        return self.end - self.start

    @property
    def count(self) -> int:
        """How many samples it has."""
        return len(self.samples)

    @property
    def sheet(self) -> str:
        """In words, what its uncertainty is taken from."""
        largest = max(range(self.count), key=lambda n: abs(self.samples[n]))
        return self._sample_value(self.samples[largest])[1]

    @property
    def lowest(self) -> Value:
        """The lowest sample."""
        return self._value(min(self.samples))

    @property
    def highest(self) -> Value:
        """The highest sample."""
        return self._value(max(self.samples))

    @property
    def first(self) -> Value:
        """The first sample."""
        return self._value(self.samples[0])

    @property
    def last(self) -> Value:
        """The last sample."""
        return self._value(self.samples[-1])

    @property
    def lowest_at(self) -> float:
        """Where the lowest sample lies; the first of several."""
        return self.over[self.samples.index(min(self.samples))]

    @property
    def highest_at(self) -> float:
        """Where the highest sample lies; the first of several."""
        return self.over[self.samples.index(max(self.samples))]

    def at(self, place: float) -> Value | None:
        """The value at a place of the scale, on the line between two samples; None outside the record.

        Between two samples it may be anything from one to the other, so it carries its distance to the
        farther one as evenly likely (JCGM 100:2008, 4.3.7); on a sample nothing of it.
        """
        if not self.start <= place <= self.end:
            return None
        after = bisect_left(self.over, place)
        if self.over[after] == place:
            return self._value(self.samples[after], self._by_place(max(after, 1)))
        (x0, x1), (y0, y1) = self.over[after - 1 : after + 1], self.samples[after - 1 : after + 1]
        number = y0 + (y1 - y0) * (place - x0) / (x1 - x0)
        between = max(abs(number - y0), abs(y1 - number)) / math.sqrt(3)
        return self._value(number, {**self._by_place(after), f"{self.entry}.between": between})

    def between(self, low: float, high: float) -> Record | None:
        """The part of it from `low` to `high`; None where that holds fewer than two samples."""
        kept = [n for n, place in enumerate(self.over) if low <= place <= high]
        if len(kept) < LEAST_SAMPLES:
            return None
        part = slice(kept[0], kept[-1] + 1)
        return attrs.evolve(self, over=self.over[part], samples=self.samples[part])

    @property
    def settled(self) -> Settled | None:
        """What it settled to by its declaration; None where it did not, or nothing is declared."""
        rule = self.sampling.settling
        return None if rule is None else self.settled_within(rule.within, rule.lasting)

    def settled_within(self, within: float, lasting: float) -> Settled | None:
        """The longest part up to its end whose samples lie within ± `within` of each other's middle; None
        where that lasts less than `lasting`, all in coherent units.

        A single sample outside ends it: what wakes up now and then has not settled.
        """
        low = high = self.samples[-1]
        begin = self.count - 1
        for n in range(self.count - 2, -1, -1):
            low, high = min(low, self.samples[n]), max(high, self.samples[n])
            if high - low > 2 * within * _ROUNDING:
                break
            begin = n
        lasted = self.end - self.over[begin]
        if lasted < lasting or begin == self.count - 1:
            return None
        from statistics import fmean, pstdev  # with `random` behind it; few jobs have a record

        part = self.samples[begin:]
        scatter = pstdev(part)
        step = self.over[begin] - self.over[begin - 1] if begin else 0.0
        # It began somewhere within the step before: the middle of it, half the step to both sides.
        since = Value(
            self.sampling.over_kind,
            self.over[begin] - step / 2,
            _without_nothing({f"{self.entry}.began": step / 2 / math.sqrt(3)}),
            frozenset({self.entry}),
        )
        return Settled(self._value(fmean(part), {f"{self.entry}.scatter": scatter}), since, lasted)

    def change(self, place: float, later: float) -> Value | None:
        """How much it is more at `later` than at `place`; None where either lies outside the record.

        What the instrument gets wrong in proportion is common to both; its digits are each reading's own.
        """
        ends = [self.at(place), self.at(later)]
        first, last = ends
        if first is None or last is None:
            return None
        budget = {
            source if source.endswith(".gain") else f"{source}, first": part
            for source, part in first.budget.items()
        }
        return last - attrs.evolve(first, budget=budget)

    @property
    def slope(self) -> Slope:
        """The straight line of least squares through its samples.

        Neighbouring samples share their errors, so its uncertainty is that of the two ends alone: each with
        the instrument's own part and the scatter about the line, beside what is in proportion.
        """
        from statistics import fmean, pstdev

        x, y = fmean(self.over), fmean(self.samples)
        spread = math.fsum((place - x) ** 2 for place in self.over)
        slope = (
            math.fsum(
                (place - x) * (sample - y) for place, sample in zip(self.over, self.samples, strict=True)
            )
            / spread
        )
        scatter = pstdev(
            sample - slope * place for place, sample in zip(self.over, self.samples, strict=True)
        )
        budget = self._sample_value(max(self.samples, key=abs))[0].budget
        gain = math.fsum(part for source, part in budget.items() if source.endswith(".gain"))
        largest = max(map(abs, self.samples))
        in_proportion = abs(gain) / largest * abs(slope) if largest else 0.0
        own = math.sqrt(math.fsum(part**2 for source, part in budget.items() if not source.endswith(".gain")))
        ends = math.sqrt(2 * (own**2 + scatter**2)) / self.length
        return Slope(slope, math.hypot(in_proportion, ends))

    def _value(self, number: float, more: Mapping[str, float] | None = None) -> Value:
        value, _ = self._sample_value(number)
        budget = {**value.budget, **_without_nothing(more or {})}
        return attrs.evolve(value, budget=budget)

    def _sample_value(self, number: float) -> tuple[Value, str]:
        """A number as one reading of the instrument, and where its uncertainty comes from."""
        record = Measured(
            of=self.sampling.of.key,
            typed="",
            kind=self.sampling.of.kind,
            number=number,
            instrument=self.named,
            span=self.span,
        )
        known = {self.instrument.name: self.instrument} if self.instrument is not None else {}
        return with_uncertainty(record, self.sampling.of, self.entry, self.entry, known)

    def _by_place(self, after: int) -> dict[str, float]:
        """What it adds that the place itself is not known exactly."""
        x0, x1 = self.over[after - 1], self.over[after]
        steep = (self.samples[after] - self.samples[after - 1]) / (x1 - x0)
        return {f"{self.entry}.place": abs(steep) * self.sampling.over_half_width / math.sqrt(3)}


def records_at(job: Job, stage: int, samplings: Mapping[str, Sampling]) -> dict[tuple[str, str], Record]:
    """Every record that stands at a stage: (key, place) → the latest. What no installed system declares is
    left out here; the assessment names it as a gap.
    """
    instruments = job.instruments
    return {
        (noted.record.of, noted.record.place): _record_of(noted, sampling, instruments)
        for noted in job.recorded(stage)
        if (sampling := samplings.get(noted.record.of)) is not None
        and (noted.record.kind, noted.record.over_kind) == (sampling.of.kind, sampling.over_kind)
    }


def _record_of(noted: Noted[Recorded], sampling: Sampling, instruments: Mapping[str, Instrument]) -> Record:
    record, entry = noted.record, noted.entry
    instrument = instruments.get(record.instrument)
    ended = (
        calibration.overdue(instrument.calibrated, instrument.interval, entry.taken or entry.recorded)
        if instrument is not None
        else ""
    )
    return Record(
        sampling=sampling,
        over=tuple(map(float, record.over)),
        samples=tuple(map(float, record.samples)),
        place=record.place,
        stage=record.stage,
        entry=noted.id,
        instrument=instrument,
        named=record.instrument,
        span=record.span,
        overdue=f"{record.instrument}, whose calibration had run out on {ended}" if ended else "",
    )


def record_words(record: Record) -> str:
    """A record in one line: how many samples over what, the lowest, the highest, and what it settled to."""
    sampling, unit = record.sampling, record.sampling.unit
    parts = [
        f"{record.count} samples over {length_words(record)}",
        f"lowest {units.show(record.lowest, unit)}",
        f"highest {units.show(record.highest, unit)}",
    ]
    settled = record.settled
    if settled is not None and sampling.settling is not None:
        since = place_words(settled.since, record)
        parts.append(
            f"settled at {units.show(settled.value, unit)} from {since} on ({sampling.settling.text})"
        )
    elif sampling.settling is not None:
        parts.append(f"not settled ({sampling.settling.text})")
    if record.overdue:
        parts.append(f"read with {record.overdue}")
    return f"{'; '.join(parts)}. Uncertainty: {record.sheet}."


def length_words(record: Record) -> str:
    """How far it reaches: a time as it lasts, anything else from its first place to its last."""
    sampling = record.sampling
    if sampling.over_kind == "time":
        return time_words(record.length)
    ends = (units.decimal_text(end, sampling.over_unit, 4) for end in (record.start, record.end))
    return f"{' to '.join(ends)} {units.declared_text(sampling.over_unit)}, {sampling.over_title.lower()}"


def place_words(place: Value, record: Record) -> str:
    if record.sampling.over_kind == "time":
        return time_words(place.number)
    return units.show(place, record.sampling.over_unit, uncertainty=False)


def time_unit(seconds: float) -> str:
    """The unit in which a time of this size is told; nobody tells 40 minutes in seconds."""
    return next(
        (unit for most, unit in ((0.5, "ms"), (180.0, "s"), (3 * 3600.0, "min")) if abs(seconds) <= most), "h"
    )


def time_words(seconds: float) -> str:
    """A time as it is told.

    >>> time_words(90.0), time_words(2400.0), time_words(0.08)
    ('90 s', '40 min', '80 ms')
    """
    unit = time_unit(seconds)
    return f"{units.decimal_text(seconds, unit, 3)} {unit}"


def _without_nothing(budget: Mapping[str, float]) -> dict[str, float]:
    return {source: part for source, part in budget.items() if part}
