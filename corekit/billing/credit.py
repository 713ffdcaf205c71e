"""What is credited of an invoice: its lines the other way round, all or some."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

import attrs

from ..errors import CorekitError
from .line import Line, LineKind, line_net


class CreditError(CorekitError, ValueError):
    """Why this cannot be credited, and what to do."""


@attrs.frozen(kw_only=True)
class CreditAsked:
    """What of an invoice is to be credited: all of it, a piece of work or a kind (`what`), of it one `part`,
    of that part a `quantity`.
    """

    what: str = ""
    part: str = ""
    quantity: Decimal | None = None


def left_of(lines: Iterable[Line], credited: Iterable[Line]) -> tuple[Line, ...]:
    """The lines of an invoice with what was credited of them taken off; a line that is gone is left out."""
    left = list(lines)
    for taken in credited:
        place = next(n for n, line in enumerate(left) if _same(line, taken))
        left[place] = _of(left[place], left[place].quantity + taken.quantity)
    return tuple(line for line in left if line.quantity)


def credited_lines(left: Sequence[Line], asked: CreditAsked) -> tuple[Line, ...]:
    """The lines of the credit note, their quantities below zero.

    Args:
        left: What is left of the invoice's lines.

    Raises:
        CreditError: it is on no line any more, or so much of it is not.
    """
    fitting = [
        line
        for line in left
        if (not asked.what or line.what == asked.what)
        and (not asked.part or (line.kind is LineKind.PART and _name(line.text) == _name(asked.part)))
    ]
    if not fitting:
        there = ", ".join(dict.fromkeys(f"{line.what} ({line.text})" for line in left)) or "nothing"
        what = " ".join(filter(None, (asked.what, asked.part))) or "it"
        raise CreditError(f"{what}: nothing of it is left to credit on this invoice. Left are: {there}.")
    if asked.quantity is None:
        return tuple(_of(line, -line.quantity) for line in fitting)
    if len(fitting) > 1 or not asked.part:
        raise CreditError("A quantity is of one part; name the work and the part.")
    (line,) = fitting
    if not 0 < asked.quantity <= line.quantity:
        raise CreditError(
            f"{line.text}: from above 0 to {line.quantity} can be credited; got {asked.quantity}."
        )
    return (_of(line, -asked.quantity),)


def _of(line: Line, quantity: Decimal) -> Line:
    net = line_net(quantity, line.price, line.net.currency, line.per)
    return attrs.evolve(line, quantity=quantity, net=net, changed="")


def _same(line: Line, other: Line) -> bool:
    return (line.what, line.kind, line.text, line.price, line.tax, line.condition) == (
        other.what,
        other.kind,
        other.text,
        other.price,
        other.tax,
        other.condition,
    )


def _name(text: str) -> str:
    return text.strip().casefold()
