"""A reading as a check sees it, made from the journal and the declarations."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import attrs

from .. import units
from ..model.job import Job, Noted
from ..model.measurand import Accuracy, Measurand
from ..model.records import Instrument, Measured
from ..model.value import Value


@attrs.frozen(kw_only=True)
class Reading:
    """One reading with its doubt.

    Attributes:
        measurand: What was measured. value: The quantity, with budget and evidence.
        typed: As it was typed. place, stage: Where and when in the visit.
        entry: Id of the journal entry that says so.
        doubt_from: In words, where the doubt comes from: the instrument's sheet, or the worst ordinary instrument.
        setup: Measurand key → the reading it was read with.
        others: Earlier readings of the same measurand, place and stage that still stand.
    """

    measurand: Measurand
    value: Value
    typed: str
    place: str = ""
    stage: int = 0
    entry: str = ""
    doubt_from: str = ""
    setup: Mapping[str, Reading] = attrs.field(factory=dict)
    others: tuple[Value, ...] = ()

    @property
    def number(self) -> float:
        return self.value.number

    @property
    def count(self) -> int:
        """How many readings were taken."""
        return 1 + len(self.others)

    @property
    def disagrees(self) -> bool:
        """True when repeated readings lie further apart than their doubt (k = 2) explains."""
        return any(abs(gap.number) > 2 * gap.u for gap in (self.value - other for other in self.others))

    @property
    def shown(self) -> str:
        return units.show(self.value, self.measurand.unit)

    def read_with(self, measurand: Measurand) -> Reading | None:
        """The reading of another measurand that this one was taken with."""
        return self.setup.get(measurand.key)


def readings_at(job: Job, stage: int, measurands: Mapping[str, Measurand]) -> dict[tuple[str, str], Reading]:
    """Every reading that stands at a stage: (measurand key, place) → the latest, with the earlier ones beside it.

    Readings of measurands that no installed system declares are left out here; the assessment names them as gaps.
    """
    instruments = job.instruments
    found: dict[tuple[str, str], list[Reading]] = {}
    for noted in job.measured(stage):
        measurand = measurands.get(noted.record.of)
        if measurand is not None:
            reading = _reading(noted, measurand, job, measurands, instruments)
            found.setdefault((measurand.key, reading.place), []).append(reading)
    return {key: attrs.evolve(several[-1], others=tuple(reading.value for reading in several[:-1])) for key, several in found.items()}


def _reading(noted: Noted[Measured], measurand: Measurand, job: Job, measurands: Mapping[str, Measurand], instruments: Mapping[str, Instrument]) -> Reading:
    record = noted.record
    value, doubt_from = with_doubt(record, measurand, noted.id, noted.id, instruments)
    setup: dict[str, Reading] = {}
    step = job.setup(record.setup) if record.setup else None
    if step is not None:
        for key, body in step.record.values.items():
            if key in measurands:
                setup[key] = _beside(body, measurands[key], step.id, record.stage, instruments)
    return Reading(
        measurand=measurand, value=value, typed=record.typed, place=record.place, stage=record.stage, entry=noted.id, doubt_from=doubt_from, setup=setup
    )


def _beside(body: Mapping[str, Any], measurand: Measurand, entry: str, stage: int, instruments: Mapping[str, Instrument]) -> Reading:
    record = Measured(**body)
    value, doubt_from = with_doubt(record, measurand, f"{entry}.{measurand.key}", entry, instruments)
    return Reading(measurand=measurand, value=value, typed=record.typed, place=record.place, stage=stage, entry=entry, doubt_from=doubt_from)


def with_doubt(record: Measured, measurand: Measurand, own: str, entry: str, instruments: Mapping[str, Instrument]) -> tuple[Value, str]:
    """The recorded number with the budget that its instrument's sheet gives it.

    An instrument's gain error is shared by all readings on one range; the digits are each reading's own. The sheet's
    half-width a is taken as evenly likely: u = a / √3 (JCGM 100:2008, 4.3.7).
    """
    instrument = instruments.get(record.instrument)
    if instrument is None:
        accuracy, step, shared = measurand.accuracy, 0.0, own
        missing = f"{record.instrument} is not described" if record.instrument else "no instrument named"
        words = f"{missing}; the worst ordinary one is assumed: ± ({accuracy.text})"
    else:
        accuracy = units.parse_accuracy(instrument.accuracy, measurand.unit)
        span, step = _range_of(instrument, record, measurand)
        if accuracy.digits and not step:
            accuracy, shared = measurand.accuracy, own
            words = f"{instrument.name} names no range that holds this reading; the worst ordinary instrument is assumed: ± ({accuracy.text})"
        else:
            shared = f"{instrument.name}-{span or measurand.unit}"
            words = f"{instrument.name}, ± ({accuracy.text})" + (f" on the {span} range" if span else "")
    return Value(record.kind, record.number, budget(accuracy, step, record.number, shared, own), frozenset({entry})), words


def budget(accuracy: Accuracy, step: float, number: float, shared: str, own: str) -> dict[str, float]:
    """Named contributions of an accuracy statement to one reading, in the coherent unit.

    A sheet adds its parts up: half-width a = |x| · p/100 + n · step + amount, and u = a / √3 in all. Digits and amount are the
    reading's own; all the rest of u goes with the gain, which is common to all readings on one range. So a drop read with one
    meter keeps the digits of both readings and next to nothing else.
    """
    gain = number * accuracy.percent / 100
    rest = accuracy.digits * step + accuracy.amount
    shared_part = math.copysign(math.sqrt(gain**2 + 2 * abs(gain) * rest), gain)
    parts = {f"{shared}.gain": shared_part, f"{own}.rest": rest}
    return {source: part / math.sqrt(3) for source, part in parts.items() if part}


def _range_of(instrument: Instrument, record: Measured, measurand: Measurand) -> tuple[str, float]:
    """The range a reading was taken on (as named, else the smallest that holds it) and its step; ("", 0.0) when none fits."""
    fitting: list[tuple[float, str, float]] = []
    for label, step in instrument.ranges.items():
        end, least = _typed(label, measurand.unit), _typed(step, measurand.unit)
        if end is None or least is None:
            continue
        # A step is a difference, also on a scale that does not begin at nought: 0.1 °C is 0.1 K.
        size, width = end.number, least.number - units.to_coherent(0.0, least.unit)
        if record.span == label:
            return label, width
        if size >= abs(record.number):
            fitting.append((size, label, width))
    if record.span or not fitting:
        return "", 0.0
    _, label, width = min(fitting)
    return label, width


def _typed(text: str, unit: str) -> units.Typed | None:
    """A range or step as a quantity of the measurand's kind, or None when it belongs to another kind."""
    try:
        return units.read_quantity(text, [unit])
    except units.TypedProblem:
        return None


