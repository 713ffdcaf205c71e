"""What was wrong at first and what is wrong now, with its chance, for every such branch.

What is the same for many branches is worked out once for all of them: which of them one system's tests can
tell apart, which states they are, which work they call for. It is kept with the list of branches, which stays
the same from one piece of evidence to the next.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import Any, TypeAlias

import attrs

from .hypotheses import Hypothesis, Tables


@attrs.frozen
class Branch:
    """What was wrong at first, what is wrong now, and after which act that last changed (0: none)."""

    first: Hypothesis
    now: Hypothesis
    changed: int = 0


@attrs.frozen
class Kinds:
    """The kinds of branches that the tests of one system can tell apart.

    Attributes:
        of: The kind of each branch, by its place. own: For each kind, the system's own faults.
        changed: For each kind, after which act it last changed.
    """

    of: Sequence[int]
    own: Sequence[frozenset[str]]
    changed: Sequence[int]


#: What a test showed each time, with the number of acts before.
History: TypeAlias = tuple[tuple[tuple[float, ...], int], ...]

_NUMBERING = threading.Lock()


class Rows:
    """The chance of each outcome of one test for every kind, each worked out when it is first asked for.

    Many kinds share a row, for a test speaks of few of its system's faults; `ids` is the number of each
    kind's row in `each`.
    """

    def __init__(self, row: Callable[[int], Sequence[float]], kinds: int) -> None:
        self._row = row
        self._known: dict[tuple[float, ...], int] = {}
        self.ids = [-1] * kinds
        self.each: list[tuple[float, ...]] = []
        self.logs: list[float] = []  # Σ p log₂ p of each
        self._left = kinds  # whose number is not known yet
        self._alike: Sequence[Sequence[int]] | None = None

    def of(self, kind: int) -> tuple[float, ...]:
        """The row of a kind."""
        return self.each[self.id_of(kind)]

    def numbered(self, kinds: Iterable[int]) -> Sequence[int]:
        """The number of each kind's row; of these kinds at least."""
        ids = self.ids
        if self._left:
            for kind in kinds:
                if ids[kind] < 0:
                    self.id_of(kind)
        return ids

    def all_numbered(self) -> Sequence[int]:
        """The number of every kind's row."""
        return self.numbered(range(len(self.ids)))

    def alike(self) -> Sequence[Sequence[int]]:
        """The kinds that share each row."""
        if self._alike is None:
            numbers = self.all_numbered()
            alike: list[list[int]] = [[] for _ in self.each]
            for kind, number in enumerate(numbers):
                alike[number].append(kind)
            self._alike = alike
        return self._alike

    def id_of(self, kind: int) -> int:
        """The number of a kind's row."""
        found = self.ids[kind]
        if found < 0:
            row = tuple(self._row(kind))
            with _NUMBERING:  # two screens may ask at once: a number is told only when its row is there
                found = self._known.get(row, -1)
                if found < 0:
                    found = len(self.each)
                    self.each.append(row)
                    self.logs.append(math.fsum(p * math.log2(p) for p in row if p > 0.0))
                    self._known[row] = found
                if self.ids[kind] < 0:
                    self.ids[kind] = found
                    self._left -= 1
        return found


class Layout:
    """A list of branches, and what is the same for many of them."""

    def __init__(self, tables: Tables, branches: Sequence[Branch]) -> None:
        self.tables, self.branches = tables, branches
        self._kinds: dict[str, Kinds] = {}
        self._with_any: dict[frozenset[str], Sequence[int]] = {}
        self.columns: dict[object, Any] = {}  # what `ranking_columns` keeps of them
        #: By act and number of acts before: the branches that it would lead to, and which by which share.
        self.supposed: dict[object, tuple[Layout, Sequence[Sequence[tuple[int, float]]]]] = {}
        #: By system, test, share of the time and whether it was made: what it showed, and its rows.
        self.rows: dict[tuple[str, str, float, bool], tuple[History, Rows]] = {}

    def kinds(self, system: str) -> Kinds:
        """The branches as the tests of a system see them."""
        if system not in self._kinds:
            known: dict[tuple[frozenset[str], int], int] = {}
            own = self.tables.own
            of = [
                known.setdefault((own(system, branch.now), branch.changed), len(known))
                for branch in self.branches
            ]
            self._kinds[system] = Kinds(of, [one for one, _ in known], [changed for _, changed in known])
        return self._kinds[system]

    @cached_property
    def states(self) -> tuple[Sequence[int], Sequence[Hypothesis]]:
        """The place of each branch's present state, and these states."""
        known: dict[Hypothesis, int] = {}
        return [known.setdefault(branch.now, len(known)) for branch in self.branches], list(known)

    @cached_property
    def works(self) -> Sequence[frozenset[str]]:
        """What each branch calls for."""
        work = self.tables.work
        return [work(branch.now) for branch in self.branches]

    def with_any(self, faults: frozenset[str]) -> Sequence[int]:
        """The places of the branches in which at least one of these faults is there now."""
        found = self._with_any.get(faults)
        if found is None:
            found = self._with_any[faults] = [
                place for place, branch in enumerate(self.branches) if not faults.isdisjoint(branch.now)
            ]
        return found

    @cached_property
    def of_work(self) -> Mapping[str, Sequence[int]]:
        """Work → the places of the branches that call for it."""
        found: dict[str, list[int]] = {}
        for place, works in enumerate(self.works):
            for work in works:
                found.setdefault(work, []).append(place)
        return found

    @cached_property
    def places(self) -> dict[Branch, int]:
        """Where each branch stands."""
        return {branch: place for place, branch in enumerate(self.branches)}


class Branches(Mapping[Branch, float]):
    """The chance of each branch of a list, by its place."""

    def __init__(self, layout: Layout, chances: Sequence[float]) -> None:
        self.layout, self.chances = layout, chances
        self._of_kinds: dict[str, list[float]] = {}

    @classmethod
    def of(cls, tables: Tables, weights: Mapping[Branch, float]) -> Branches:
        """With chances in proportion to the weights; those without any are left out."""
        kept = {branch: weight for branch, weight in weights.items() if weight > 0.0}
        return cls(Layout(tables, list(kept)), _normal(list(kept.values())))

    @classmethod
    def weighed(cls, layout: Layout, weights: Sequence[float]) -> Branches:
        """The branches of a layout with chances in proportion to these weights, by their places."""
        if min(weights) > 0.0:
            return cls(layout, _normal(weights))
        return cls.of(layout.tables, dict(zip(layout.branches, weights, strict=True)))

    def of_kinds(self, system: str) -> Sequence[float]:
        """The chance of each kind that the tests of a system can tell apart."""
        found = self._of_kinds.get(system)
        if found is None:
            kinds = self.layout.kinds(system)
            found = self._of_kinds[system] = [0.0] * len(kinds.own)
            for kind, chance in zip(kinds.of, self.chances, strict=True):
                found[kind] += chance
        return found

    def __getitem__(self, branch: Branch) -> float:
        return self.chances[self.layout.places[branch]]

    def __iter__(self) -> Iterator[Branch]:
        return iter(self.layout.branches)

    def __len__(self) -> int:
        return len(self.chances)

    @cached_property
    def states(self) -> Mapping[Hypothesis, float]:
        """The chance of each state that the vehicle may be in now."""
        of, states = self.layout.states
        if len(states) == len(self.chances):
            return dict(zip(states, self.chances, strict=True))
        sums = [0.0] * len(states)
        for place, chance in zip(of, self.chances, strict=True):
            sums[place] += chance
        return dict(zip(states, sums, strict=True))


def _normal(weights: Sequence[float]) -> list[float]:
    whole = math.fsum(weights)
    return [weight / whole for weight in weights]
