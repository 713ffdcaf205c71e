"""Relations that hold between readings whatever is wrong with the vehicle; where one does not, one of the
readings is wrong.

Two sides of it add up, one cannot be more than another, or one quantity was recorded twice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations, product

import attrs

from .. import units
from ..model.finding import Finding, Text, Urgency, Verdict
from ..model.measurand import Measurand
from ..model.value import Value, exact
from .case import Case
from .claim import Claim
from .reading import Reading

#: Slips of unit, prefix, range or decimal point; which ones people make is an estimate of ours.
FACTORS = (10, 100, 1000)
#: Share of a reading that an ordinary instrument leaves open; an estimate of ours.
ORDINARY = 0.02
#: More slips than so many make none of them likelier.
MOST_NAMED = 3
#: Readings of a series are tried in every combination up to so many.
COMBINATIONS = 64

BY_SUM = (
    "{title}: {readings}. That leaves {left} unaccounted for, so one of them is wrong. {slip}Read them again"
    " before anything is built on either."
)
BY_ORDER = (
    "{title}: {readings}. The first cannot be less than the others together, and is by {left}, so one of them"
    " is wrong."
    " {slip}Read them again before anything is built on either."
)
BY_REPEAT = (
    "{title}: {readings} are both recorded, and both cannot hold. {slip}{otherwise}Read it again, its unit"
    " and range too, before anything is built on either."
)
PLAIN = "Readings that belong together do not fit together, so one of them is wrong; they are taken again."
HELD_OPEN = " It rests on readings that do not fit together ({contradicted}); read those again first."
HELD_OPEN_PLAIN = "This rests on readings that do not fit together; they are taken again first."


@attrs.frozen
class Term:
    """One reading of a relation: what, and where."""

    measurand: Measurand
    place: str = ""


@attrs.frozen(kw_only=True)
class Relation:
    """A relation of one system: a whole and its parts.

    Attributes:
        code: Of the finding where it is broken.
        at_least: The whole is no less than its parts together; else it equals them.
        within: By how much it may stay open (k = 2), in the coherent unit, where that is more than the
            readings' own uncertainty. times: Two records of one quantity may be so many times each other.
        why: The reason for either; of `times` it says what may come between.
    """

    key: str
    title: str
    code: str
    whole: Term
    parts: tuple[Term, ...]
    at_least: bool = False
    within: float = 0.0
    times: float = 1.0
    why: str = ""

    @property
    def is_repeat(self) -> bool:
        """Whether it holds a reading against its own repeats."""
        return self.parts == (self.whole,)

    def contradiction(self, case: Case) -> Finding | None:
        """What is wrong with the readings of a case; None while they fit, or say nothing of it."""
        for readings in self._together(case):
            values = [reading.value if reading is not None else None for reading in readings]
            rest = self._misfit(values)
            return self._finding(case, readings, rest) if rest is not None else None
        return None

    def _together(self, case: Case) -> Iterator[list[Reading | None]]:
        """The readings that can be held against each other: taken at one stage and, of series, under the same
        conditions, the latest first.
        """
        whole = case.reading(self.whole.measurand, self.whole.place)
        if whole is None:
            return
        if self.is_repeat:
            several = sorted((whole.value, *whole.others), key=lambda value: value.number)
            if whole.disagrees:
                yield [attrs.evolve(whole, value=value, others=()) for value in (several[-1], several[0])]
            return
        parts = [case.reading(term.measurand, term.place) for term in self.parts]
        members = [
            [None] if one is None or one.stage != whole.stage else [one, *one.apart[::-1]] for one in parts
        ]
        for tried, chosen in enumerate(product([whole, *whole.apart[::-1]], *members)):
            known = [one for one in chosen if one is not None]
            if tried == COMBINATIONS or len(known) < 2 or any(one.disagrees for one in known):
                return
            if all(one.is_alike(other) for one, other in combinations(known, 2)):
                yield list(chosen)
                return

    def _misfit(self, values: Sequence[Value | None]) -> Value | None:
        """What is left over between whole and parts where it is too much; None where they fit.

        A part that was not read can only take away from what is left, as long as it cannot be negative.
        """
        rest = _rest(values)
        if rest is None:
            return None
        open_by = max(self.within, 2 * rest.u)
        if self.times > 1.0:
            low, high = sorted(value.number for value in values if value is not None)
            return rest if abs(rest.number) > open_by and high > self.times * low else None
        missing = [term for term, part in zip(self.parts, values[1:], strict=True) if part is None]
        if any(term.measurand.possible.low is None or term.measurand.possible.low < 0 for term in missing):
            return None
        if rest.number < -open_by:
            return rest
        return rest if rest.number > open_by and not self.at_least and not missing else None

    def _finding(self, case: Case, readings: Sequence[Reading | None], rest: Value) -> Finding:
        known = [reading for reading in readings if reading is not None]
        unit = self.whole.measurand.unit
        slips = self._slips(readings, rest)
        by_order = self.at_least or len(known) < len(readings)
        template = BY_REPEAT if self.is_repeat else BY_ORDER if by_order else BY_SUM
        wrong = {slip.reading.measurand.key for slip in slips if slip.reading is not None}
        again = next((one.measurand for one in known if wrong == {one.measurand.key}), None)
        left = attrs.evolve(rest, number=abs(rest.number))
        finding = case.inconclusive(
            Claim(
                self.code,
                of=self.whole.measurand,
                unit=unit,
                evidence=known,
                next_test=again or self.parts[0].measurand,
                urgency=Urgency.THIS_VISIT,
            ),
            template,
            rest,
            tells=PLAIN,
            values={
                "title": self.title,
                "readings": _list_of([_reading_name(one) for one in known]),
                "left": units.show(left, unit, uncertainty=False),
                "slip": _likelier(slips),
                "otherwise": f"Or else: {self.why}. " if self.is_repeat and self.why else "",
            },
        )
        return attrs.evolve(finding, check=self.title, place="")

    def _slips(self, readings: Sequence[Reading | None], open_by: Value) -> list[_Slip]:
        """Every single slip that would explain it; of several those that lead to what is usual, and of these
        those that close it within the readings' own uncertainty, each reading's best.
        """
        found = [slip for slip in _slips(readings) if self._is_mended(slip, open_by)]
        found = [slip for slip in found if slip.is_usual] or found
        left = [(rest, slip) for slip in found if (rest := _rest(slip.values)) is not None]
        best: dict[str, tuple[float, _Slip]] = {}
        for rest, slip in left:
            if abs(rest.number) < best.get(slip.of, (math.inf, slip))[0]:
                best[slip.of] = abs(rest.number), slip
        close = [slip for rest, slip in left if abs(rest.number) <= 2 * rest.u]
        chosen = [slip for _, slip in best.values()]
        return [slip for slip in chosen if slip in close] or chosen

    def _is_mended(self, slip: _Slip, rest: Value) -> bool:
        """Whether it fits after all, and not merely because a reading that is known less well by it covers
        everything.
        """
        if not slip.is_possible or self._misfit(slip.values) is not None:
            return False
        left = _rest(slip.values)
        assert left is not None
        return self.at_least or (4 * left.u < abs(rest.number) and abs(left.number) < abs(rest.number) / 2)


@attrs.frozen(kw_only=True)
class _Slip:
    """One way in which the readings may have come about.

    Attributes:
        of: Which reading or readings it was made with. reading: The one that is wrong; None where two were
            swapped.
        values: What all of them are without the slip. words: What it is.
    """

    of: str
    reading: Reading | None
    values: tuple[Value | None, ...]
    words: str
    is_possible: bool
    is_usual: bool


def _rest(values: Sequence[Value | None]) -> Value | None:
    """The whole less its parts, as far as they were read."""
    rest, *parts = values
    for part in parts:
        rest = rest - part if rest is not None and part is not None else rest
    return rest


def _slips(readings: Sequence[Reading | None]) -> Iterator[_Slip]:
    values = [reading.value if reading is not None else None for reading in readings]
    for at, reading in enumerate(readings):
        if reading is None:
            continue
        for factor, words in _corrections():
            meant = _times(reading.value, factor)
            yield _Slip(
                of=str(at),
                reading=reading,
                values=(*values[:at], meant, *values[at + 1 :]),
                words=f"{_reading_name(reading)} {words}",
                is_possible=reading.measurand.possible.holds(meant.number),
                is_usual=reading.measurand.usual.holds(meant.number),
            )
    for (first, one), (second, other) in combinations(enumerate(readings), 2):
        if one is None or other is None or one.measurand.kind != other.measurand.kind:
            continue
        swapped = [*values]
        swapped[first], swapped[second] = values[second], values[first]
        pairs = ((one.measurand, other.number), (other.measurand, one.number))
        yield _Slip(
            of=f"{first}, {second}",
            reading=None,
            values=tuple(swapped),
            words=f"{_reading_name(one)} and {_reading_name(other)} were swapped",
            is_possible=all(measurand.possible.holds(number) for measurand, number in pairs),
            is_usual=all(measurand.usual.holds(number) for measurand, number in pairs),
        )


def _corrections() -> Iterator[tuple[float, str]]:
    for factor in FACTORS:
        yield factor, f"is {factor} times too small, a slip of unit or range"
        yield 1 / factor, f"is {factor} times too large, a slip of unit or range"
    yield -1, "has the wrong sign, a minus or the probes turned round"


def _times(value: Value, factor: float) -> Value:
    """What was meant. A larger one is known no worse than it was read, but for a share of itself."""
    if abs(factor) > 1:
        budget = {**value.budget, "a slip put right": ORDINARY * abs(factor * value.number) / math.sqrt(3)}
    else:
        budget = {source: factor * part for source, part in value.budget.items()}
    return Value(value.kind, factor * value.number, budget, value.rests_on)


def _reading_name(reading: Reading) -> str:
    place = f" ({reading.place})" if reading.place else ""
    shown = units.show(reading.value, reading.measurand.unit, uncertainty=False)
    return f"{reading.measurand.title[0].lower()}{reading.measurand.title[1:]}{place} {shown}"


def _list_of(names: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


def _likelier(slips: Sequence[_Slip]) -> str:
    """The slips that would explain it, in words; nothing where none does, or too many do."""
    if not slips or len(slips) > MOST_NAMED:
        return ""
    words = "; or ".join(slip.words for slip in slips)
    return f"Likelier slip{'s' if len(slips) > 1 else ''}: {words}. "


def declare_relation(
    system: str,
    key: str,
    title: str,
    terms: Sequence[Measurand | tuple[Measurand, str]],
    *,
    code: str,
    at_least: bool,
    within: str,
    times: float,
    why: str,
) -> Relation:
    """Read a declaration; what cannot be meant is refused here, at import.

    Raises:
        ValueError: it cannot hold between these, or an allowance has no reason.
    """
    whole, *parts = (Term(*term) if isinstance(term, tuple) else Term(term) for term in terms)
    kind = whole.measurand.kind
    if not parts:
        raise ValueError(f"{key}: a relation is between a whole and at least one part; got the whole alone.")
    for term in (whole, *parts):
        if term.measurand.kind != kind or (exact(kind, 0.0) - exact(kind, 0.0)).kind != kind:
            raise ValueError(
                f"{key}: readings that add up are of one kind, and of one that begins at zero; got"
                f" {term.measurand.key} in {term.measurand.unit} beside {whole.measurand.key} in"
                f" {whole.measurand.unit}."
            )
        if term.measurand.places and term.place not in term.measurand.places:
            raise ValueError(
                f"{key}: {term.measurand.key} is read at {', '.join(term.measurand.places)}; name one as"
                f" ({term.measurand.key}, place); got {term.place!r}."
            )
    if times != 1.0 and (times < 1.0 or parts != [whole]):
        raise ValueError(f"{key}: `times` is more than 1, and for one quantity recorded twice; got {times}.")
    if (bool(within) or times != 1.0) is not bool(why):
        raise ValueError(f"{key}: what may stay open and its reason go together; got {within!r} and {why!r}.")
    return Relation(
        key=key,
        title=title,
        code=f"{system}.{code}",
        whole=whole,
        parts=tuple(parts),
        at_least=at_least,
        within=units.read_quantity(within, [whole.measurand.unit]).number if within else 0.0,
        times=times,
        why=why,
    )


def contradictions(relations: Iterable[Relation], case: Case) -> list[Finding]:
    """What of a case's readings does not fit together, before any check is asked."""
    found = (relation.contradiction(case) for relation in relations)
    return [finding for finding in found if finding is not None]


def broken_relations(findings: Iterable[Finding]) -> dict[str, str]:
    """Id of an entry → title of the relation that it breaks."""
    return {entry: finding.check for finding in findings for entry in finding.evidence}


def held_open(finding: Finding, broken: Mapping[str, str]) -> Finding:
    """A finding as it may be said while what it rests on does not fit together: it decides nothing, calls for
    nothing, and is no evidence.
    """
    titles = dict.fromkeys(broken[entry] for entry in finding.evidence if entry in broken)
    if not titles:
        return finding
    values = {**finding.text.values, "contradicted": "; ".join(titles)}
    return attrs.evolve(
        finding,
        verdict=finding.verdict if finding.verdict is Verdict.ADVICE else Verdict.UNDECIDED,
        urgency=Urgency.THIS_VISIT if finding.urgency is Urgency.NOTHING else finding.urgency,
        text=Text(finding.text.template + HELD_OPEN, values),
        customer_text=Text(HELD_OPEN_PLAIN, {}),
        probability=None,
        calls_for="",
        grade="",
    )
