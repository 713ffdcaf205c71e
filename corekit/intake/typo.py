"""What was probably meant by a number that is odd. It is proposed, never applied."""

from __future__ import annotations

from collections.abc import Iterator

import attrs

from .. import numerals, units
from ..fault import quotation
from ..model.limit import Span
from ..units import Typed

#: Pa; the standard atmosphere (ISO 2533, from memory). Only to tell that gauge and absolute pressure were
#: probably exchanged.
ATMOSPHERE = 101_325.0
MOST = 2  # more guesses are no help
# where a span reaches zero, every small enough unit would fit it; a guess this much below its larger end is
# none
_FAR = 300
_POINTS = (10, 0.1, 100, 0.01, 1000, 0.001)


@attrs.frozen
class Slip:
    """One guess: what to write, and where it is not plain, what would have happened."""

    write: str
    how: str = ""

    @property
    def asked(self) -> str:
        return f"{self.write}{self._how}?"

    @property
    def suggestion(self) -> str:
        return f"{quotation(self.write)}{self._how}"

    @property
    def _how(self) -> str:
        return f" ({self.how})" if self.how else ""


def slips(read: Typed, usual: Span, decimal: str = "") -> list[Slip]:
    """What a reading outside `usual` was probably meant to be: gauge for absolute pressure or the reverse,
    the same number in another unit of its kind (mV for V, kΩ for Ω, °F for °C, hPa for kPa); else the point
    at another place (1.26 V for 12.6 V); else tips that were exchanged.

    Args:
        usual: In the coherent unit; a guess lies within it. decimal: The shop's decimal mark.
    """
    if usual.low is None and usual.high is None:
        return []
    found = [*_other_zero(read, usual, decimal), *unit_slips(read, usual)]
    return found or list(_other_point(read, usual, decimal))[:MOST] or list(_other_sign(read, usual, decimal))


def unit_slips(read: Typed, usual: Span) -> list[Slip]:
    """The same digits in another unit of their kind, where `usual` holds that."""
    return [] if usual.low is None and usual.high is None else list(_other_unit(read, usual))[:MOST]


def _other_unit(read: Typed, usual: Span) -> Iterator[Slip]:
    typed = units.unit(read.unit)
    number = units.from_coherent(read.number, read.unit)
    largest = max(abs(end) for end in (usual.low, usual.high) if end is not None)
    least = largest / _FAR if usual.holds(0.0) else 0.0
    there = set()
    for other in units.units():
        meant = (
            units.to_coherent(number, other.text) if other.kind == read.kind and other is not typed else None
        )
        if meant is None or not usual.holds(meant) or meant in there or abs(meant) < least or not read.shown:
            continue
        there.add(meant)  # hPa and mbar are one guess
        yield Slip(f"{read.shown} {other.text if units.kinds()[other.kind].strict else other.bare}")


def _other_zero(read: Typed, usual: Span, decimal: str) -> Iterator[Slip]:
    """A gauge shows zero where the air around has its full pressure."""
    shift = {"pressure absolute": ATMOSPHERE, "pressure gauge": -ATMOSPHERE}.get(read.kind)
    if shift is None or read.loosely or not usual.holds(read.number + shift):
        return
    bare = units.unit(read.unit).bare
    what = "gauge" if shift > 0 else "absolute"
    yield Slip(
        f"{_mark_slip(units.decimal_text(read.number + shift, read.unit, 3), decimal)} {bare}",
        f"if that was {what} pressure, with {units.decimal_text(ATMOSPHERE, read.unit, 3)} {bare} around",
    )


def _other_point(read: Typed, usual: Span, decimal: str) -> Iterator[Slip]:
    if read.loosely:
        return
    number = units.from_coherent(read.number, read.unit)
    for by in _POINTS:
        if usual.holds(units.to_coherent(number * by, read.unit)):
            yield Slip(_quantity(number * by, read.unit, decimal))


def _other_sign(read: Typed, usual: Span, decimal: str) -> Iterator[Slip]:
    if read.kind in ("voltage", "current") and not read.loosely and usual.holds(-read.number):
        yield Slip(
            _quantity(-units.from_coherent(read.number, read.unit), read.unit, decimal),
            "if the tips were exchanged",
        )


def _quantity(number: float, unit: str, decimal: str) -> str:
    shown = _mark_slip(numerals.decimal_text(number, 10), decimal)
    return shown if unit == "1" else f"{shown} {units.declared_text(unit)}"


def _mark_slip(number: str, decimal: str) -> str:
    return number.replace(".", decimal or ".")
