"""Like places held against each other: a reading beside its neighbours, and what a companion clears."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

import attrs

from ..model.value import Value, propagate
from .reading import Reading

#: The median distance from the median, times this, is a normal distribution's standard deviation; of few it
#: comes out too small, by these factors. Croux and Rousseeuw, Time-efficient algorithms for two highly robust
#: estimators of scale (1992), from memory; of two the factor follows from the mean range, 1.128 sigma.
MEDIAN_DEVIATION = 1.4826
FEW = {2: 1.196, 3: 1.495, 4: 1.363, 5: 1.206, 6: 1.200, 7: 1.140, 8: 1.129, 9: 1.107}
#: A median needs two neighbours at least, and so does their spread.
LEAST = 2


@attrs.frozen(kw_only=True)
class Neighbours:
    """A reading beside what was read at the like places, its own left out.

    Attributes:
        reading: The one held against the others. others: Those, read under the same conditions.
        median: Of the others, with the uncertainty of the readings in its middle.
        spread: Standard deviation of one of them, by the median of their distances from the median, so that
            one that is off does not widen it.
    """

    reading: Reading
    others: tuple[Reading, ...]
    median: Value
    spread: float

    @property
    def difference(self) -> Value:
        """The reading less the median of its neighbours."""
        return self.reading.value - self.median

    @property
    def ratio(self) -> Value:
        """The reading over the median of its neighbours.

        Raises:
            ValueError: that median is 0.
        """
        return propagate(lambda own, middle: own / middle, (self.reading.value, self.median), "ratio")

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty with which it may differ from the median and still be like them: of the
        readings, of one of them, and of the median of so few (at most √(π / 2n) of one).
        """
        return math.hypot(self.difference.u, self.spread * math.sqrt(1 + math.pi / (2 * len(self.others))))

    @property
    def stands_out(self) -> bool:
        """Whether it differs by more than their spread and the uncertainty explain (k = 2)."""
        return abs(self.difference.number) > 2 * self.uncertainty


def neighbours(readings: Sequence[Reading]) -> list[Neighbours]:
    """Each reading beside the others, as they come; left out is one with fewer than two others that were read
    under its conditions.
    """
    found = []
    for reading in readings:
        others = [other for other in readings if other is not reading and other.is_alike(reading)]
        if len(others) >= LEAST:
            middle = _median([other.value for other in others])
            found.append(
                Neighbours(
                    reading=reading,
                    others=tuple(others),
                    median=middle,
                    spread=spread_of([other.number for other in others], middle.number),
                )
            )
    return found


def _median(values: Sequence[Value]) -> Value:
    """The middle one, or the mean of the middle two; it rests on all of them."""
    ordered = sorted(values, key=lambda value: value.number)
    half = len(ordered) // 2
    middle = ordered[half : half + 1] if len(ordered) % 2 else ordered[half - 1 : half + 1]
    found = propagate(lambda *each: math.fsum(each) / len(each), middle, middle[0].kind)
    return attrs.evolve(found, rests_on=frozenset[str]().union(*(value.rests_on for value in values)))


def spread_of(numbers: Sequence[float], middle: float) -> float:
    """Standard deviation of one of them, by the median of their distances from their median."""
    apart = sorted(abs(number - middle) for number in numbers)
    n = len(apart)
    half = n // 2
    deviation = apart[half] if n % 2 else (apart[half - 1] + apart[half]) / 2
    return MEDIAN_DEVIATION * FEW.get(n, n / (n - 0.8)) * deviation


@attrs.frozen(kw_only=True)
class SharedCauses:
    """What several places share (a coil, a bank, a supply), in the light of how each of them does.

    Attributes:
        in_question: What is shared → its places that do badly; none of its places plainly does well.
        excluded: What is shared → the places that plainly do well: they could not if it were at fault.
    """

    in_question: Mapping[str, tuple[str, ...]]
    excluded: Mapping[str, tuple[str, ...]]


def shared_causes(
    shared: Mapping[str, Collection[str]], *, bad: Collection[str], sound: Collection[str]
) -> SharedCauses:
    """Of what a bad place shares with others: what may be the cause, and what a companion excludes.

    Args:
        shared: What is shared → the places that share it, as a trait or a part tells it. bad, sound: Places
            that plainly do badly, and plainly well; a place of which neither is known says nothing.

    Raises:
        ValueError: a place is called both.
    """
    if both := sorted(set(bad) & set(sound)):
        raise ValueError(f"A place does badly or well, not both; got {', '.join(both)}.")
    in_question, excluded = {}, {}
    for name, places in shared.items():
        ill = tuple(place for place in places if place in bad)
        well = tuple(place for place in places if place in sound)
        if ill and well:
            excluded[name] = well
        elif ill:
            in_question[name] = ill
    return SharedCauses(in_question=in_question, excluded=excluded)
