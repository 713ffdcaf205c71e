"""Voltage drops judged with their current: volts alone say nothing of a connection while nobody knows whether
the starter turned at 150 A or stood still at 400 A.
"""

from __future__ import annotations

import attrs

import corekit as ck

from .answers import (
    Cranks,
)
from .declarations import (
    cranks,
)

#: A: where 0.20 V for every 100 A makes the printed 0.4 V of the positive side. source: cranking-drop-rule
PRINTED_AT = 200.0
#: A: what small engines crank at, the least that the printed drops are for. source: current-while-cranking
FROM = 100.0
#: A: while it turns, and whatever the reading was taken at, a stalled starter included. source:
#: current-while-cranking
TURNING, WHATEVER = (80.0, 250.0), (20.0, 400.0)
#: V: the most of one side, and of one connection, at any current. source: current-while-cranking
SIDE_AT_MOST, CONNECTION_AT_MOST = 0.5, 0.2
#: A: the most that the first is meant for; beyond it a sound cable loses more, in proportion. Our estimate.
MEANT_UP_TO = 600.0


def ends_of_current(
    case: ck.Case, current: ck.Reading | None, *, cranked: bool = False
) -> tuple[float, float]:
    """A: between which the current lay; both ends of its usual span where nobody read it.

    Args:
        cranked: The reading itself was taken while cranking, not perhaps with another load.
    """
    if current is not None:
        return current.number, current.number
    turns = case.seen(cranks)
    if turns in (Cranks.WELL, Cranks.SLOWLY) or (cranked and turns is None):
        return TURNING
    return WHATEVER


def allowed(limit: ck.Limit, amps: float, most: float) -> ck.Limit:
    """A printed drop at another current: in proportion above the current it is printed for, up to `most`, and
    along a whole side in proportion again beyond what any car's starter draws while it turns.
    """
    assert limit.high is not None
    high = limit.high
    factor = max(1.0, amps / PRINTED_AT)
    if high.number > 0:
        factor = min(factor, max(1.0, most / high.number))
    if most >= SIDE_AT_MOST:
        factor *= max(1.0, amps / MEANT_UP_TO)
    return attrs.evolve(limit, high=_at_current(high, factor))


def certainly_allowed(limit: ck.Limit, amps: float, most: float) -> ck.Limit:
    """What may be lost also at a current smaller than any engine cranks at: in proportion to it."""
    assert limit.high is not None
    factor = amps / FROM
    return (
        attrs.evolve(limit, high=_at_current(limit.high, factor))
        if factor < 1
        else allowed(limit, amps, most)
    )


def _at_current(value: ck.Value, factor: float) -> ck.Value:
    return ck.propagate(lambda volts: factor * volts, (value,), value.kind)


def is_left_open(
    case: ck.Case, lost: ck.Reading | ck.Value, limit: ck.Limit, amps: tuple[float, float], most: float
) -> bool:
    """True when the two ends of the current, or of what the printed drop is for, decide differently: it is
    neither plainly too much at the high end nor plainly allowed at the low one.
    """
    low, high = amps
    at_most, at_least = allowed(limit, high, most), certainly_allowed(limit, low, most)
    if low == high and at_most == at_least:
        return False
    return case.side(lost, at_most) is not ck.Side.ABOVE and case.side(lost, at_least) is not ck.Side.INSIDE
