"""The declaration of a record, from what a plugin says of it."""

from __future__ import annotations

import attrs

from .. import units
from ..model.limit import Span
from ..model.measurand import Measurand
from ..model.sampling import Sampling, Settling

_Ends = tuple[float | None, float | None] | None


def sampling_of(
    key: str,
    title: str,
    *,
    of: Measurand,
    over: Measurand | str,
    over_title: str,
    unit: str,
    spans: tuple[_Ends, _Ends, _Ends],
    settled: tuple[str, str] | None,
) -> Sampling:
    """The declaration with the places of its measurand; `spans` are what is possible, what is usual, and what
    is possible of the scale it is sampled over.

    Raises:
        ValueError: a unit or a quantity cannot be meant, or the unit is of another kind than the measurand.
    """
    own = unit or of.unit
    if units.unit(own).kind != of.kind:
        raise ValueError(f"{key}: a record of {of.key} is of its kind, a {of.kind}; {own} is none.")
    if isinstance(over, Measurand):
        over_unit, over_span, half_width = over.unit, over.possible, over.accuracy.amount
    else:
        over_unit, over_span, half_width = over, Span(0.0, None), 0.0
        if units.unit(over).kind != "time":
            raise ValueError(
                f"{key}: a record is made over a time, or over a measurand; got {over!r}, which is neither."
            )
    possible, usual, over_possible = spans
    return Sampling(
        key=key,
        title=title,
        of=attrs.evolve(
            of,
            unit=own,
            possible=of.possible if possible is None else _span(possible, own),
            usual=of.usual if usual is None else _span(usual, own),
        ),
        over_unit=over_unit,
        over_kind=units.unit(over_unit).kind,
        over_title=over_title or (over.title if isinstance(over, Measurand) else "Time"),
        over_possible=over_span if over_possible is None else _span(over_possible, over_unit),
        over_half_width=half_width,
        settling=None if settled is None else _settling_of(*settled, own, over_unit),
    )


def _span(ends: tuple[float | None, float | None], unit: str) -> Span:
    return Span(*(None if end is None else units.to_coherent(end, unit) for end in ends))


def _settling_of(within: str, lasting: str, unit: str, over_unit: str) -> Settling:
    """Both are differences, also on a scale that does not begin at zero: ± 1 °C is ± 1 K."""
    found = []
    for text, declared in ((within, unit), (lasting, over_unit)):
        read = units.read_quantity(text, [declared])
        found.append(read.number - units.to_coherent(0.0, read.unit))
    if min(found) <= 0:
        raise ValueError(
            f"What settles does so within more than 0, for longer than 0; got {within}, {lasting}."
        )
    return Settling(found[0], found[1], f"within ± {within} for {lasting} and to its end")
