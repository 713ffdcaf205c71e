"""How much a test would tell of the work, over the likely states of the vehicle."""

from __future__ import annotations

import importlib
import math
from collections.abc import Collection, Iterable, Sequence
from math import log2
from types import ModuleType
from typing import TYPE_CHECKING

import attrs

from ..plugin.faults import FaultTest
from .branches import Rows
from .hypotheses import JointTest
from .inference import Beliefs, first_rows, rows_for

if TYPE_CHECKING:
    from .ranking_columns import Numbers, Places, SeenColumns

#: What is left out of a ranking: states that together have less than this chance.
LEFT_OUT = 5e-4
#: Decimals of a bit that are kept: the order of a sum must show nowhere.
DECIMALS = 9

_columns: ModuleType | None = None


def use_columns(*, wanted: bool = True) -> bool:
    """Have tests ranked by whole columns from now on, in a process that stays: numpy takes longer to load
    than one ranking takes. What comes out is the same. True where numpy is there.
    """
    global _columns  # noqa: PLW0603  # of the process, as numpy is
    _columns = None
    if wanted:
        try:
            _columns = importlib.import_module("corekit.assess.ranking_columns")
        except ImportError:  # the extra `columns` is not installed
            return False
    return wanted


@attrs.frozen
class _Seen:
    """The likely states as the tests of one system see them.

    Attributes:
        whole: How likely each kind of branches is. alone: The same of works that come with one kind only: of
            them all the chance of each outcome is that of the kind. mixed: Of every other work, which kinds
            come with it, how likely each, and together.
    """

    whole: Sequence[tuple[int, float]]
    alone: Sequence[tuple[int, float]]
    mixed: Sequence[tuple[Sequence[int], Sequence[float], float]]


class Ranking:
    """The likely states of the vehicle, as the tests of each system see them."""

    def __init__(self, beliefs: Beliefs) -> None:
        self.beliefs = beliefs
        self._seen: dict[str, _Seen] = {}
        self._seen_columns: dict[str, SeenColumns] = {}
        self._picked: tuple[Places, Numbers] | None = None
        self._masses: dict[tuple[str, str], list[tuple[float, Sequence[float]]]] = {}

    def seen(self, system: str) -> _Seen:
        if system not in self._seen:
            self._seen[system] = self._as_seen(system)
        return self._seen[system]

    def bits(self, system: str, tests: Sequence[Rows]) -> Sequence[float]:
        """What each of these tests of a system would tell, by their rows."""
        if _columns is None:
            seen = self.seen(system)
            return [_bits(seen, rows) for rows in tests]
        if system not in self._seen_columns:
            branches = self.beliefs.branches
            if self._picked is None:
                self._picked = _columns.picked(branches.chances, LEFT_OUT)
            self._seen_columns[system] = _columns.SeenColumns(branches.layout, *self._picked, system)
        return self._seen_columns[system].bits(tests)

    def chance_of(self, system: str, test: FaultTest, names: Collection[str]) -> float:
        """The chance that one of these outcomes is seen where a test is made for the first time."""
        masses = self._masses.get((system, test.key))
        if masses is None:
            chances, rows = self.beliefs.branches.of_kinds(system), first_rows(self.beliefs, system, test)
            sums = [math.fsum([chances[kind] for kind in alike]) for alike in rows.alike()]
            masses = self._masses[system, test.key] = list(zip(sums, rows.each, strict=True))
        places = [place for place, name in enumerate(test.outcomes) if name in names]
        return math.fsum([mass * row[place] for mass, row in masses for place in places])

    def _as_seen(self, system: str) -> _Seen:
        """Works that come with one kind tell nothing apart: they are taken together, by kind."""
        layout, chances = self.beliefs.branches.layout, self.beliefs.branches.chances
        kinds, works = layout.kinds(system).of, layout.works
        groups: dict[frozenset[str], dict[int, float]] = {}
        for place in _likely(chances):
            group = groups.setdefault(works[place], {})
            kind = kinds[place]
            group[kind] = group.get(kind, 0.0) + chances[place]
        whole: dict[int, float] = {}
        alone: dict[int, float] = {}
        mixed = []
        for group in groups.values():
            for kind, chance in group.items():
                whole[kind] = whole.get(kind, 0.0) + chance
            if len(group) == 1:
                ((kind, chance),) = group.items()
                alone[kind] = alone.get(kind, 0.0) + chance
            else:
                mixed.append((tuple(group), tuple(group.values()), math.fsum(group.values())))
        return _Seen(list(whole.items()), list(alone.items()), mixed)


def _likely(chances: Sequence[float]) -> list[int]:
    """Places of the branches that count."""
    ranked = sorted(range(len(chances)), key=chances.__getitem__)
    left, start = 0.0, 0
    while start < len(ranked) and left + chances[ranked[start]] < LEFT_OUT:
        left += chances[ranked[start]]
        start += 1
    return ranked[start:]


def information(ranking: Ranking, system: str, test: FaultTest) -> float:
    """Mutual information between the work called for and the test's outcome, in bits; never negative."""
    (bits,) = information_of_each(ranking, [JointTest(system=system, test=test)])
    return bits


def information_of_each(ranking: Ranking, tests: Sequence[JointTest]) -> list[float]:
    """The same for many tests, in their order."""
    places: dict[str, list[int]] = {}
    for place, one in enumerate(tests):
        places.setdefault(one.system, []).append(place)
    found = [0.0] * len(tests)
    for system, own in places.items():
        rows = [rows_for(ranking.beliefs, system, tests[place].test) for place in own]
        for place, bits in zip(own, ranking.bits(system, rows), strict=True):
            found[place] = max(0.0, round(bits, DECIMALS))
    return found


def _bits(seen: _Seen, rows: Rows) -> float:
    """What each work adds is Σ p log₂(p/Σp) over the outcomes, and grows in step with its chance. So works
    under which the test's row is the same add what they would add as one: only those with several rows are
    summed outcome by outcome.
    """
    ids = rows.numbered(kind for kind, _ in seen.whole)
    # By number, in the order of the branches: rows are numbered as they were first asked for, whenever that
    # was, and no last digit may depend on that.
    masses: dict[int, float] = {}
    for kind, chance in seen.whole:
        masses[ids[kind]] = masses.get(ids[kind], 0.0) + chance
    linear: dict[int, float] = {}
    for kind, chance in seen.alone:
        linear[ids[kind]] = linear.get(ids[kind], 0.0) + chance
    parts = ((rows.each[number], mass) for number, mass in masses.items())
    results, bits = _mixture(parts, len(rows.each[0])), 0.0
    for kinds, chances, held in seen.mixed:
        numbers = [ids[kind] for kind in kinds]
        if numbers.count(numbers[0]) == len(numbers):
            linear[numbers[0]] = linear.get(numbers[0], 0.0) + held
        else:
            shown = zip([rows.each[number] for number in numbers], chances, strict=True)
            bits += _weighed_logs(_mixture(shown, len(results)))
    bits += math.fsum([held * rows.logs[number] for number, held in linear.items()])
    return (bits - _weighed_logs(results)) / math.fsum(results)


def _mixture(parts: Iterable[tuple[Sequence[float], float]], outcomes: int) -> list[float]:
    """The chance of each outcome, of rows with their chances."""
    found = [0.0] * outcomes
    for row, chance in parts:
        if chance:
            found = [p + chance * q for p, q in zip(found, row)]  # noqa: B905  # checked when the table is read
    return found


def _weighed_logs(joint: Sequence[float]) -> float:
    """Σ p log₂(p/Σp)."""
    held = math.fsum(joint)
    logs: float = math.fsum([p * log2(p) for p in joint if p > 0.0])
    return logs - held * log2(held)
