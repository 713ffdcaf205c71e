"""The shop's instruments: which of them fit a reading, and which one is at hand."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import attrs

from .. import units
from ..model.job import Job
from ..model.measurand import Measurand
from ..model.records import Instrument, Measured


@attrs.frozen(kw_only=True)
class InstrumentChoice:
    """An instrument of the shop that fits.

    `ranges`: those of its ranges that the reading can be taken on, when there is a choice.
    """

    name: str
    words: str
    ranges: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class Instruments:
    """What the shop has to measure with: its instruments by name, and measurand → the usual one."""

    instruments: Mapping[str, Instrument] = attrs.field(factory=dict)
    usual: Mapping[str, str] = attrs.field(factory=dict)


def instruments_for(measurand: Measurand, kit: Instruments) -> tuple[InstrumentChoice, ...]:
    """The shop's instruments that this can be read with, the usual one first.

    One fits when its sheet makes sense in the measurand's unit, and one of its ranges (or the step of its
    display) is of its kind.
    """
    found = [_instrument_choice(instrument, measurand) for instrument in kit.instruments.values()]
    usual = kit.usual.get(measurand.key, "")
    return tuple(sorted((tool for tool in found if tool is not None), key=lambda tool: tool.name != usual))


def _instrument_choice(instrument: Instrument, measurand: Measurand) -> InstrumentChoice | None:
    try:
        units.parse_accuracy(instrument.accuracy, measurand.unit)
    except units.TypedError:
        return None
    ranges = tuple(label for label in instrument.ranges if _is_of(label, measurand))
    steps = not instrument.step or _is_of(instrument.step, measurand)
    if (instrument.ranges and not ranges) or not steps:
        return None
    return InstrumentChoice(
        name=instrument.name, words=instrument.kind, ranges=ranges if len(ranges) > 1 else ()
    )


def _is_of(text: str, measurand: Measurand) -> bool:
    """True when a range or step is a quantity of the measurand's kind."""
    try:
        units.read_quantity(text, [measurand.unit])
    except units.TypedError:
        return False
    return True


def instrument_at_hand(job: Job, measurand: Measurand, kit: Instruments, fitting: Collection[str]) -> str:
    """Name of the instrument that was last used for this in this job, else the usual one, else the one last
    used for a reading of this kind.

    Else the only one that fits, if it was in somebody's hand in this job already.
    """
    own, kind = "", ""
    only = (
        "".join(fitting)
        if len(fitting) == 1 and any(noted.record.instrument in fitting for noted in job.all(Measured))
        else ""
    )
    for noted in job.all(Measured):
        record = noted.record
        own = record.instrument if record.of == measurand.key else own
        kind = record.instrument if record.kind == measurand.kind else kind
    return next((name for name in (own, kit.usual.get(measurand.key, ""), kind, only) if name in fitting), "")
