"""How much a test would tell of the work, over the likely states of the vehicle."""

from __future__ import annotations

import math
from collections.abc import Sequence

import attrs

from ..plugin.faults import FaultTest
from .inference import Beliefs, Branch, row_for

#: What is left out of a ranking: states that together have less than this chance.
LEFT_OUT = 5e-4


@attrs.frozen
class _Seen:
    """The likely states as the tests of one system see them.

    `alike`: one branch of each kind that these tests can tell from the others. `works`: for each work that is
    called for, which kinds come with it and how likely.
    """

    alike: Sequence[Branch]
    works: Sequence[Sequence[tuple[int, float]]]


@attrs.frozen
class Ranking:
    """The likely states of the vehicle, as the tests of each system see them."""

    beliefs: Beliefs
    _seen: dict[str, _Seen] = attrs.field(factory=dict)

    def seen(self, system: str) -> _Seen:
        if system not in self._seen:
            self._seen[system] = self._as_seen(system)
        return self._seen[system]

    def _as_seen(self, system: str) -> _Seen:
        """Works under which the system is as on a sound vehicle are one: its tests tell nothing of them."""
        tables = self.beliefs.tables
        kinds: dict[tuple[frozenset[str], int], int] = {}
        alike: list[Branch] = []
        works: dict[frozenset[str], dict[int, float]] = {}
        for branch, chance in self._likely():
            key = tables.own(system, branch.now), branch.changed
            if key not in kinds:
                kinds[key] = len(alike)
                alike.append(branch)
            group = works.setdefault(tables.work(branch.now), {})
            group[kinds[key]] = group.get(kinds[key], 0.0) + chance
        unseen = {kind for (own, changed), kind in kinds.items() if not own and not changed}
        merged = [list(group.items()) for group in works.values() if group.keys() != unseen]
        rest = [item for group in works.values() if group.keys() == unseen for item in group.items()]
        return _Seen(alike, [*merged, rest] if rest else merged)

    def _likely(self) -> list[tuple[Branch, float]]:
        ranked = sorted(self.beliefs.branches.items(), key=lambda item: item[1])
        left, start = 0.0, 0
        while start < len(ranked) and left + ranked[start][1] < LEFT_OUT:
            left += ranked[start][1]
            start += 1
        return ranked[start:]


def information(ranking: Ranking, system: str, test: FaultTest) -> float:
    """Mutual information between the work called for and the test's outcome, in bits; never negative."""
    seen = ranking.seen(system)
    rows = [row_for(ranking.beliefs, branch, system, test) for branch in seen.alike]
    results = [0.0] * len(test.outcomes)
    bits = 0.0
    for group in seen.works:
        joint = [0.0] * len(test.outcomes)
        for kind, chance in group:
            for place, p in enumerate(rows[kind]):
                joint[place] += chance * p
        bits += _weighed_logs(joint)
        results = [result + p for result, p in zip(results, joint, strict=True)]
    return max(0.0, (bits - _weighed_logs(results)) / sum(results))


def _weighed_logs(joint: Sequence[float]) -> float:
    """Σ p log₂(p/Σp)."""
    held = sum(joint)
    return sum(p * math.log2(p / held) for p in joint if p > 0.0)
