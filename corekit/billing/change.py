"""Approved work that took another quantity than estimated: the same lines, with what it really took."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

import attrs

from ..model.records import Charged
from .errors import ConsentError
from .line import PIECE, Line, LineKind, line_net


def with_changes(lines: Iterable[Line], changes: Iterable[Charged]) -> tuple[Line, ...]:
    """The lines, each with the quantity that was said of it last, and the reason on it.

    What is said of work that is on no line waits until that work is done.

    Raises:
        ConsentError: a change names hours where there is no labour, or a part that is on no line of the
            work.
    """
    changed = tuple(lines)
    for change in changes:
        own = [line for line in changed if line.operation == change.operation]
        if not own:
            continue
        fitting = [line for line in own if _is_meant(line, change)]
        if len(fitting) != 1:
            raise ConsentError(_no_line(change, own))
        changed = tuple(_changed_line(line, change) if line is fitting[0] else line for line in changed)
    return changed


def _is_meant(line: Line, change: Charged) -> bool:
    if change.part:
        return line.kind is LineKind.PART and line.text.casefold() == change.part.strip().casefold()
    return line.kind is LineKind.LABOUR


def _changed_line(line: Line, change: Charged) -> Line:
    quantity = Decimal(change.quantity if change.part else change.hours)
    if quantity == line.quantity:
        return line
    return attrs.evolve(
        line,
        quantity=quantity,
        net=line_net(quantity, line.price, line.net.currency, line.per),
        changed=(
            f"{_amount(quantity, line.unit)} instead of {_amount(line.quantity, line.unit)}: {change.because}"
        ),
    )


def _amount(quantity: Decimal, unit: str) -> str:
    number = f"{quantity.normalize():f}"
    return number if unit == PIECE else f"{number} {unit}"


def _no_line(change: Charged, own: Sequence[Line]) -> str:
    what = f"the part {change.part!r}" if change.part else "hours"
    there = ", ".join(line.text if line.kind is LineKind.PART else f"{line.text} (hours)" for line in own)
    return (
        f"{change.operation}: {what} cannot be charged otherwise, for it was approved with: {there}. Correct"
        " or withdraw what was said of it."
    )
