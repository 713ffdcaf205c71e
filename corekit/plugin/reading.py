"""A reading as a check sees it, made from the journal and the declarations."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache

import attrs

from .. import numerals, units
from ..model import calibration
from ..model.entry import Entry
from ..model.job import Job, Noted
from ..model.measurand import Accuracy, Measurand
from ..model.records import Instrument, Left, Measured, Tried
from ..model.value import Value
from ..unit_table import OwnUnit, own_units

#: How a reading says that no instrument's sheet stands behind its uncertainty.
WORST = "the worst ordinary instrument is assumed"


@attrs.frozen(kw_only=True)
class Reading:
    """One reading with its uncertainty.

    Attributes:
        measurand: What was measured. value: The quantity, with budget and evidence.
        typed: As it was typed. place, stage: Where and when in the visit.
        entry: Id of the journal entry that says so.
        sheet: In words, what its uncertainty is taken from: the instrument's sheet, or the worst ordinary
            instrument.
        notes: What else bears on the uncertainty, one phrase each: it was typed as a range, the instrument's
            calibration had run out.
        overdue: `meter, whose calibration had run out on 2025-01-05`; empty when it held, or nothing is known
            of it.
        setup: Measurand key → the reading it was read with.
        others: Its repeats: earlier readings of the same measurand, place and stage, under the same
            conditions and with nothing done in between.
        apart: Earlier readings of the same under other conditions, oldest first: the rest of its series.
        before: Earlier readings of the same with something done in between, oldest first; they speak of the
            vehicle as it was then.
        trials: What had been tried on its system, in this job, when it was taken, oldest first.
    """

    measurand: Measurand
    value: Value
    typed: str
    place: str = ""
    stage: int = 0
    entry: str = ""
    sheet: str = ""
    notes: tuple[str, ...] = ()
    overdue: str = ""
    setup: Mapping[str, Reading] = attrs.field(factory=dict)
    others: tuple[Value, ...] = ()
    apart: tuple[Reading, ...] = ()
    before: tuple[Reading, ...] = ()
    trials: tuple[Tried, ...] = ()

    @property
    def uncertainty_from(self) -> str:
        """Where the uncertainty comes from, in words."""
        return "; ".join(part for part in (self.sheet, *self.notes) if part)

    @property
    def number(self) -> float:
        return self.value.number

    @property
    def count(self) -> int:
        """How many readings were taken under these conditions."""
        return 1 + len(self.others)

    @property
    def disagrees(self) -> bool:
        """True when repeated readings lie further apart than their uncertainty (k = 2) explains."""
        return any(abs(gap.number) > 2 * gap.u for gap in (self.value - other for other in self.others))

    @property
    def shown(self) -> str:
        return units.show(self.value, self.measurand.unit)

    @property
    def with_series(self) -> tuple[Reading, ...]:
        """Itself last, and before it all that was read of it under other conditions, or before something was
        done.
        """
        return (*self.before, *self.apart, self)

    def condition(self, measurand: Measurand) -> Reading | None:
        """The reading of another measurand that this one was taken with."""
        return self.setup.get(measurand.key)

    def is_alike(self, other: Reading) -> bool:
        """Whether nothing shows that the two were taken under different conditions: each condition that
        either measurand names and both were read with is the same within both uncertainties (k = 2).

        A condition that only one of them was read with shows no difference.
        """
        named = dict.fromkeys((*self.measurand.conditions, *other.measurand.conditions))
        return not any(
            _differ(self.setup[key], other.setup[key])
            for key in named
            if key in self.setup and key in other.setup
        )


def _differ(one: Reading, other: Reading) -> bool:
    """Beyond both uncertainties. What an instrument does to both alike is not taken off: a difference smaller
    than it can be trusted to makes no other condition.
    """
    apart = abs(one.number - other.number)
    return one.measurand.kind == other.measurand.kind and apart > 2 * math.hypot(one.value.u, other.value.u)


def readings_at(job: Job, stage: int, measurands: Mapping[str, Measurand]) -> dict[tuple[str, str], Reading]:
    """Every reading that stands at a stage: (measurand key, place) → the latest, with the earlier ones beside
    it.

    Readings of measurands that no installed system declares are left out here; the assessment names them as
    gaps.
    """
    instruments = job.instruments
    found: dict[tuple[str, str], dict[int, list[Reading]]] = {}
    for happened, trials, noted in _after_events(job, stage):
        measurand = measurands.get(noted.record.of)
        if measurand is not None:
            reading = _reading(noted, measurand, job, measurands, instruments)
            reading = attrs.evolve(reading, trials=trials)
            place = found.setdefault((measurand.key, reading.place), {})
            place.setdefault(happened, []).append(reading)
    return {key: latest_of(list(by_event.values())) for key, by_event in found.items()}


def _after_events(job: Job, stage: int) -> Iterator[tuple[int, tuple[Tried, ...], Noted[Measured]]]:
    """Every reading of a stage, with how much had happened before it that may have changed what it reads, and
    with all that had been tried on its system by then.

    The end of a visit may change anything, a trial what belongs to the system of the part it was made on; a
    repair begins a stage of its own.
    """
    visits, here, tried = 0, Counter[str](), dict[str, tuple[Tried, ...]]()
    for noted in job.standing:
        record = noted.record
        if isinstance(record, Left):
            visits += 1
        elif isinstance(record, Tried) and not record.before:
            system = _system(record.part)
            here[system] += record.stage == stage
            tried[system] = (*tried.get(system, ()), record)
        elif isinstance(record, Measured) and record.stage == stage:
            system = _system(record.of)
            yield visits + here[system], tried.get(system, ()), Noted(noted.entry, record)


def _system(key: str) -> str:
    return key.partition(".")[0]


def latest_of(taken: Sequence[Sequence[Reading]]) -> Reading:
    """The latest of several readings of one measurand at one place, with the others beside it.

    Args:
        taken: Oldest first, apart wherever something was done in between; none of them empty.
    """
    *before, now = taken
    *apart, latest = _under_conditions(now)
    earlier = tuple(reading for several in before for reading in _under_conditions(several))
    return attrs.evolve(latest, apart=tuple(apart), before=earlier)


def _under_conditions(readings: Sequence[Reading]) -> list[Reading]:
    """Of each set of conditions the latest reading with its repeats, oldest first."""
    found: list[Reading] = []
    left = list(readings)
    while left:
        latest = left.pop()
        repeats = [reading.value for reading in left if reading.is_alike(latest)]
        left = [reading for reading in left if not reading.is_alike(latest)]
        found.append(attrs.evolve(latest, others=tuple(repeats)))
    return found[::-1]


@attrs.frozen(kw_only=True)
class Series:
    """All readings of one measurand at one place under all its conditions, with nothing done in between.

    Attributes:
        readings: Oldest first, each with the conditions it was read with and standing for its repeats.
        before: What was read of it before something was done (a repair, a trial, the end of a visit), oldest
            first.
    """

    readings: tuple[Reading, ...] = attrs.field(validator=attrs.validators.min_len(1))
    before: tuple[Reading, ...] = ()

    @classmethod
    def of(cls, reading: Reading) -> Series:
        """The series that a reading is the latest of."""
        return cls(readings=(*reading.apart, reading), before=reading.before)

    @property
    def latest(self) -> Reading:
        """The reading that was taken last."""
        return self.readings[-1]

    @property
    def values(self) -> tuple[Value, ...]:
        """Everything that was read, repeats too."""
        return tuple(value for reading in self.readings for value in (*reading.others, reading.value))

    @property
    def highest(self) -> Value:
        """The highest of them."""
        return max(self.values, key=lambda value: value.number)

    @property
    def lowest(self) -> Value:
        """The lowest of them."""
        return min(self.values, key=lambda value: value.number)

    @property
    def disagrees(self) -> bool:
        """True when repeats under the same conditions do not agree."""
        return any(reading.disagrees for reading in self.readings)

    def over(self, condition: Measurand) -> list[Reading]:
        """Those that were read with this condition, the lowest value of it first."""
        placed = [(found.number, reading) for reading, found in _conditions(self.readings, condition)]
        return [reading for _, reading in sorted(placed, key=lambda pair: pair[0])]

    def at_greatest(self, condition: Measurand) -> Reading:
        """The latest of those that were read at the greatest value of a condition; the latest of all where it
        was read with none.
        """
        known = list(_conditions(self.readings, condition))
        if not known:
            return self.latest
        _, greatest = max(known, key=lambda pair: pair[1].number)
        return [reading for reading, found in known if not _differ(found, greatest)][-1]


def _conditions(readings: Iterable[Reading], condition: Measurand) -> Iterator[tuple[Reading, Reading]]:
    for reading in readings:
        found = reading.condition(condition)
        if found is not None and found.measurand.kind == condition.kind:
            yield reading, found


def _reading(
    noted: Noted[Measured],
    measurand: Measurand,
    job: Job,
    measurands: Mapping[str, Measurand],
    instruments: Mapping[str, Instrument],
) -> Reading:
    record = noted.record
    setup: dict[str, Reading] = {}
    step = job.setup(record.setup) if record.setup else None
    if step is not None:
        for key, body in step.record.values.items():
            if key in measurands:
                setup[key] = _reading_of(
                    Measured(**body),
                    measurands[key],
                    f"{step.id}.{key}",
                    step.entry,
                    instruments,
                    record.stage,
                )
    return attrs.evolve(
        _reading_of(record, measurand, noted.id, noted.entry, instruments, record.stage), setup=setup
    )


def _reading_of(
    record: Measured,
    measurand: Measurand,
    own: str,
    entry: Entry,
    instruments: Mapping[str, Instrument],
    stage: int,
) -> Reading:
    value, sheet = with_uncertainty(record, measurand, own, entry.id, instruments)
    instrument = instruments.get(record.instrument)
    ended = (
        calibration.overdue(instrument.calibrated, instrument.interval, entry.taken or entry.recorded)
        if instrument is not None
        else ""
    )
    notes = []
    if instrument is not None and record.usual:
        notes.append(f"no instrument named, {instrument.name} is the usual one for this")
    if instrument is not None and ended:
        stated = "" if instrument.interval else f" ({calibration.USUAL_MONTHS} months, no interval is stated)"
        notes.append(
            f"the calibration of {instrument.name} of {instrument.calibrated} had run out on {ended}{stated}:"
            " its sheet no longer promises this"
        )
    if record.loosely:
        notes.append(numerals.LOOSELY[record.loosely])
    return Reading(
        measurand=measurand,
        value=value,
        typed=record.typed,
        place=record.place,
        stage=stage,
        entry=entry.id,
        sheet=sheet,
        notes=tuple(notes),
        overdue=f"{record.instrument}, whose calibration had run out on {ended}" if ended else "",
    )


def with_uncertainty(
    record: Measured, measurand: Measurand, own: str, entry: str, instruments: Mapping[str, Instrument]
) -> tuple[Value, str]:
    """The recorded number with the budget that its instrument's sheet gives it.

    An instrument's gain error is shared by all readings on one range; the digits are each reading's own. The
    sheet's half-width a is taken as evenly likely: u = a / √3 (JCGM 100:2008, 4.3.7).
    """
    instrument = instruments.get(record.instrument)
    if instrument is None:
        accuracy, step, shared = measurand.accuracy, 0.0, own
        missing = f"{record.instrument} is not described" if record.instrument else "no instrument named"
        words = f"{missing}; {WORST}: ± ({accuracy.text})"
    else:
        accuracy = units.parse_accuracy(instrument.accuracy, measurand.unit)
        span, step = _range_of(instrument, record, measurand)
        if accuracy.digits and not step:
            accuracy, shared = measurand.accuracy, own
            words = f"{instrument.name} names no range that holds this reading; {WORST}: ± ({accuracy.text})"
        else:
            shared = f"{instrument.name}-{span or measurand.unit}"
            words = f"{instrument.name}, ± ({accuracy.text})" + (f" on the {span} range" if span else "")
    return (
        Value(
            record.kind,
            record.number,
            budget(accuracy, step, record.number, shared, own, record.half_width),
            frozenset({entry}),
        ),
        words,
    )


def budget(
    accuracy: Accuracy, step: float, number: float, shared: str, own: str, half_width: float = 0.0
) -> dict[str, float]:
    """Named contributions of an accuracy statement to one reading, in the coherent unit.

    A sheet adds its parts up: half-width a = |x| · p/100 + n · step + amount, and u = a / √3 in all. Digits
    and amount are the reading's own; all the rest of u goes with the gain, which is common to all readings on
    one range. So a drop read with one meter keeps the digits of both readings and next to nothing else.

    A sheet of percent alone leaves out what the display rounds away: half a step to both sides (JCGM
    100:2008, F.2.2.1). `half_width` is what the way of typing allows for (a range, *about*), evenly likely as
    well.
    """
    gain = number * accuracy.percent / 100
    rest = accuracy.digits * step + accuracy.amount
    shared_part = math.copysign(math.sqrt(gain**2 + 2 * abs(gain) * rest), gain)
    rounded = 0.0 if rest else step / 2
    parts = {
        f"{shared}.gain": shared_part,
        f"{own}.rest": rest,
        f"{own}.step": rounded,
        f"{own}.typed": half_width,
    }
    return {source: part / math.sqrt(3) for source, part in parts.items() if part}


def _range_of(instrument: Instrument, record: Measured, measurand: Measurand) -> tuple[str, float]:
    """The range a reading was taken on (as named, else the smallest that holds it) and its step.

    When none fits: no range, and the step of a display that has only one; 0.0 when that is not given either.
    """
    fitting: list[tuple[float, str, float]] = []
    for label, step in instrument.ranges.items():
        end, width = _quantity_of(label, measurand.unit), _step(step, measurand.unit)
        if end is None or not width:
            continue
        if record.span == label:
            return label, width
        if end.number >= abs(record.number):
            fitting.append((end.number, label, width))
    if record.span or not fitting:
        return "", 0.0 if record.span else _step(instrument.step, measurand.unit)
    _, label, width = min(fitting)
    return label, width


def _step(text: str, unit: str) -> float:
    """One step of a display in the coherent unit, 0.0 for none.

    It is a difference, also on a scale that does not begin at zero: 0.1 °C is 0.1 K.
    """
    width = _quantity_of(text, unit)
    return width.number - units.to_coherent(0.0, width.unit) if width is not None else 0.0


def _quantity_of(text: str, unit: str) -> units.Typed | None:
    """A range or step as a quantity of the measurand's kind, or None when it belongs to another kind."""
    return _read_range(text, unit, own_units())


@lru_cache(maxsize=1024)  # a meter has a dozen ranges, and each is looked at for every reading
def _read_range(text: str, unit: str, own: tuple[OwnUnit, ...]) -> units.Typed | None:
    """With these units beside those of the shared table."""
    try:
        return units.read_quantity(text, [unit])
    except units.TypedError:
        return None
