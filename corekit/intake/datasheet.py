"""An instrument as somebody describes it, in a visit file or in the shop's own: what does not make sense in
it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import attrs

from .. import units
from ..fault import Place, quotation
from ..model import calibration
from ..model.records import Instrument
from ..units import TypedError

Odd = tuple[
    Place, str, str, str
]  # where in the description, then the three parts of a fault: got, expected, write


@attrs.frozen(kw_only=True)
class Datasheet:
    """What is said of one instrument; texts as typed, empty where nothing is.

    Attributes:
        ranges: Range → step of its display. step: That of a display with one range.
        reads: Declared units of what was read with it; where nothing was, it must make sense for some kind of
            quantity.
    """

    accuracy: str = ""
    ranges: Mapping[str, str] = attrs.field(factory=dict)
    step: str = ""
    interval: str = ""
    reads: Sequence[str] = ()

    @classmethod
    def of(cls, instrument: Instrument, reads: Sequence[str] = ()) -> Datasheet:
        return cls(
            accuracy=instrument.accuracy,
            ranges=instrument.ranges,
            step=instrument.step,
            interval=instrument.interval,
            reads=reads,
        )

    def faults(self) -> Iterator[Odd]:
        """Everything that is wrong, in the order in which it is usually written."""
        for label, step in self.ranges.items():
            yield from self._range(label, step)
        if self.accuracy:
            yield from self._accuracy()
        if self.step:
            yield from self._step()
        try:
            calibration.months(self.interval)
        except ValueError as error:
            yield ("interval",), str(error), "how long a calibration holds", '"12 months"'

    @property
    def _any_kind(self) -> list[str]:
        return [kind.unit for kind in units.kinds().values()]

    def _accuracy(self) -> Iterator[Odd]:
        """An accuracy must make sense for everything that was read with the instrument; for at least one kind
        if nothing was.
        """
        problems: list[tuple[str, TypedError]] = []
        for unit in self.reads or self._any_kind:
            try:
                units.parse_accuracy(self.accuracy, unit)
            except TypedError as error:
                problems.append((unit, error))
            else:
                if not self.reads:
                    return
        if problems:
            unit, first = problems[0]
            of = f", and {units.declared_text(unit)} was read with it" if self.reads else ""
            yield ("accuracy",), f"{first.got}{of}", first.expected, first.write

    def _step(self) -> Iterator[Odd]:
        first: TypedError | None = None
        for unit in [*self.reads, *self._any_kind]:
            try:
                width = units.read_quantity(self.step, [unit])
            except TypedError as error:
                first = first or error
                continue
            if width.number <= 0:
                yield (
                    ("step",),
                    f"{quotation(self.step)} is no step of a display",
                    "a step above 0",
                    '"0.01 V"',
                )
            return
        assert first is not None
        yield ("step",), first.got, "one step of the display with its unit", '"0.01 V"'

    def _range(self, label: str, step: str) -> Iterator[Odd]:
        place: Place = ("ranges", label)
        first: TypedError | None = None
        for unit in dict.fromkeys([*self.reads, *self._any_kind]):
            try:
                widest = units.read_quantity(label, [unit])
            except TypedError as error:
                first = first or error
                continue
            try:
                least = units.read_quantity(step, [unit])
            except TypedError as error:
                if widest.unit in units.BARE and first is not None:
                    continue  # a range without a unit is a ratio or a count only where its step is one
                yield place, f"the step {error.got}", error.expected, error.write
                return
            if not 0 < least.number < abs(widest.number):
                yield (
                    place,
                    f"the step {quotation(step)} does not fit the range {quotation(label)}",
                    "a step above 0 and below the range",
                    '"0.01 V" for "20 V"',
                )
            return
        assert first is not None
        yield place, f"the range {first.got}", "a range with its unit, such as 20 V", ""
