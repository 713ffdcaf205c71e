"""Quantities as they come in: read, held against what is possible and what is usual, and the likely slip
named.

Readings and printed limits pass the same examination. Nothing is corrected here; what is odd becomes a fault
with its cure.
"""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from .. import numerals, units
from ..fault import Faults, Place, any_of, quotation
from ..model.limit import Span
from ..model.measurand import Measurand
from ..units import NotAValue, Typed, TypedError
from .typo import slips, unit_slips

# a printed limit whose ends lie three decades apart is more likely a misprint; common practice, no source
DECADES = 1000.0


@attrs.frozen
class Examination:
    """Adds to `faults` whatever cannot be taken as typed.

    `decimal` is the shop's decimal mark, empty when both are usual.
    """

    faults: Faults
    decimal: str = ""

    # ---- readings

    def quantity(self, path: Place, text: str, accepts: Iterable[str]) -> Typed | None:
        """Any other quantity; None with a fault when it cannot be read."""
        try:
            return units.read_quantity(text, list(accepts), self.decimal)
        except TypedError as error:
            self.faults.add(path, error.got, error.expected, error.write)
            return None

    def unexamined(self, path: Place, measurand: Measurand, text: str, place: str = "") -> Typed | None:
        """A reading; what is worth noting and no value is refused with the row that says it."""
        try:
            return units.read_reading(text, [measurand.unit], self.decimal)
        except NotAValue as error:
            where = f", place = {quotation(place)}" if place else ""
            row = f"{{ of = {quotation(measurand.key)}{where}, cannot = {quotation(error.noted, 90)} }}"
            instead = "of this row" if path[-1] == "is" else "of this value"
            self.faults.add(
                path,
                error.got,
                error.expected,
                f"{row} under seen instead {instead}, or the number that was read",
            )
        except TypedError as error:
            self.faults.add(path, error.got, error.expected, error.write)
        return None

    def reading(
        self,
        path: Place,
        measurand: Measurand,
        text: str,
        confirmed: bool,
        place: str = "",
        span: str | None = None,
    ) -> Typed | None:
        """A reading, held against what is possible and what is usual, and against the range `span` that it
        was read on.

        None with a fault when it cannot be; one that is only unusual comes back although it is asked about.
        """
        read = self.unexamined(path, measurand, text, place)
        if read is None or not self._is_possible(path, read, measurand, confirmed, "the reading is correct"):
            return None
        self._check_range(path, measurand, read, span)
        return read

    def sample(
        self, path: Place, read: Typed, measurand: Measurand, confirmed: bool, row: Place, span: str | None
    ) -> bool:
        """One sample of a record in this row, as a reading is held; False when it cannot be."""
        if not self._is_possible(path, read, measurand, confirmed, "the record is correct"):
            return False
        self._check_range(row, measurand, read, span)
        return True

    def _is_possible(
        self, path: Place, read: Typed, measurand: Measurand, confirmed: bool, really: str
    ) -> bool:
        """False when the number cannot be.

        An unusual one is asked about once; the likely slip is named, never applied.
        """
        possible, usual = measurand.possible, measurand.usual
        ends = (-read.half_width, read.half_width) if read.loosely == numerals.RANGE else (0.0,)
        if not all(possible.holds(read.number + end) for end in ends):
            self.impossible(path, read, possible, usual)
            return False
        if not confirmed and not usual.holds(read.number):
            meant = slips(read, usual, self.decimal)
            guesses = "".join(f" {slip.asked}" for slip in meant)
            span = _span_text(usual, measurand.unit)
            write = f"If {really}, add confirmed = true ({span} is usual)"
            self.faults.add(
                path,
                f"{read.text.strip()}?{guesses}",
                span,
                write,
                asked=True,
                guesses=[slip.write for slip in meant],
            )
        return True

    def impossible(self, path: Place, read: Typed, possible: Span, usual: Span | None = None) -> None:
        """What is possible, in the unit that was typed; never other digits, which nobody read. Where the same
        digits would be usual in another unit, the unit is asked for.
        """
        span = _span_text(possible, read.unit)
        got = f"{quotation(read.text)} is outside what is possible ({span})"
        meant = (
            [slip.write.removeprefix(f"{read.shown} ") for slip in unit_slips(read, usual)] if usual else []
        )
        unit = f", in its unit ({any_of(meant)} would be usual)" if meant else ""
        self.faults.add(path, got, span, f"what really stands there{unit}")

    def _check_range(self, path: Place, measurand: Measurand, read: Typed, span: str | None) -> None:
        """A reading cannot be larger than the range that it was read on."""
        at = (*(path[:-1] if path[-1] == "is" else path), "range")
        if span is None or self.faults.at(at):
            return
        try:
            widest = units.read_quantity(span, [measurand.unit])
        except TypedError as error:
            self.faults.add(
                at, f"{quotation(span)} is no range for {measurand.key}: {error.got}", error.expected
            )
            return
        if abs(read.number) + (read.half_width if read.loosely == numerals.RANGE else 0.0) > abs(
            widest.number
        ):
            got = f"{quotation(read.text)} is larger than the range it was read on ({span})"
            self.faults.add(
                path,
                got,
                f"a reading of at most {span}",
                "the reading again, or the range that was really set",
            )

    # ---- this vehicle's own limits

    def end(self, path: Place, text: str | None, measurand: Measurand, confirmed: bool) -> Typed | None:
        """One end of a printed limit, held against what is possible and what is usual, as a reading is."""
        if text is None:
            return None
        try:
            read = units.read_quantity(text, [measurand.unit], self.decimal)
        except TypedError as error:
            self.faults.add(
                path, error.got, error.expected, self._both_ends(text, measurand.unit) or error.write
            )
            return None
        self._is_possible(path, read, measurand, confirmed, "it is really printed so")
        return read

    def _both_ends(self, text: str, unit: str) -> str:
        """What to write for a limit that was typed as one range; empty when it is none."""
        try:
            read = units.read_reading(text, [unit], self.decimal)
        except TypedError:
            return ""
        if read.loosely != numerals.RANGE:
            return ""
        low, high = (
            quotation(f"{units.decimal_text(end, unit, 10)} {units.declared_text(unit)}")
            for end in (read.number - read.half_width, read.number + read.half_width)
        )
        return f"low = {low} and high = {high}"

    def apart(self, path: Place, low: Typed, high: Typed, confirmed: bool) -> None:
        """The two ends together: in order, apart, and not so far apart that one of them must be
        misprinted.
        """
        if low.number > high.number:
            self.faults.add(
                (*path, "low"),
                f"{quotation(low.text)} lies above high, {quotation(high.text)}",
                "the lower end",
                "the two the other way round",
            )
            return
        really = "If it is really printed so, add confirmed = true"
        if low.number == high.number and not confirmed:
            got = f"low and high are both {low.text.strip()}, and no reading could show that it conforms?"
            self.faults.add((*path, "low"), got, "room between the two", really, asked=True)
        near, far = sorted(abs(end.number) for end in (low, high))
        if low.number * high.number <= 0 or far < DECADES * near or confirmed:
            return
        meant = [
            f"{end} = {slip.suggestion}?"
            for end, read, span in self._nearer(low, high)
            for slip in slips(read, span, self.decimal)
        ]
        got = f"{low.text.strip()} to {high.text.strip()}, a factor of {far / near:.0f}?" + "".join(
            f" {guess}" for guess in meant
        )
        self.faults.add((*path, "low"), got, "a span of less than three decades", really, asked=True)

    def _nearer(self, low: Typed, high: Typed) -> Iterable[tuple[str, Typed, Span]]:
        """Each end with the span in which the other makes sense of it."""
        if low.number > 0:
            yield "low", low, Span(high.number / DECADES, high.number)
            yield "high", high, Span(low.number, low.number * DECADES)


def _span_text(span: Span, unit: str) -> str:
    label = f" {units.declared_text(unit)}" if unit not in units.BARE else ""

    def end(number: float) -> str:
        return units.decimal_text(number, unit).replace("-", "−") + label

    if span.low is None:
        return f"up to {end(span.high)}" if span.high is not None else "anything"
    return f"{end(span.low)} to {end(span.high)}" if span.high is not None else f"{end(span.low)} or more"
