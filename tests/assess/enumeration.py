"""What is believed, by plain enumeration: every branch by itself, every row asked for anew.

Slow and close to the definition; the program's own way is held against it.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

import attrs

from corekit.assess.branches import Branch
from corekit.assess.hypotheses import SOUND, UNLISTED, UNLISTED_NONE, UNLISTED_OUTSIDE, Hypothesis, Tables
from corekit.assess.inference import (
    AGAIN,
    BRINGS_IN,
    GONE_BY_ITSELF,
    Act,
    Hint,
    Retold,
    Shown,
)
from corekit.complaints import symptoms
from corekit.plugin.faults import OUTSIDE, FaultTest

LEFT_OUT = 5e-4


@attrs.frozen(kw_only=True)
class Beliefs:
    """The chance of each branch, and what was shown so far.

    `shown`: Key of a test → its weights each time, with the number of acts before. `complaint`: whether it
    was there each time that it was looked at, with the number of acts before; first when it was told.
    """

    tables: Tables
    branches: Mapping[Branch, float]
    acts: int = 0
    shown: Mapping[str, tuple[tuple[tuple[float, ...], int], ...]] = attrs.field(factory=dict)
    complaint: tuple[tuple[bool, int], ...] = ((True, 0),)


def start(tables: Tables) -> Beliefs:
    """The prevalences, and the complaint as the first evidence."""
    weights = {
        Branch(hypothesis, hypothesis): chance * told(tables, hypothesis)
        for hypothesis, chance in prior(tables).items()
    }
    return Beliefs(tables=tables, branches=_normal(weights))


def step(beliefs: Beliefs, event: Act | Retold | Shown | Hint) -> Beliefs:
    """What is believed after something was done or shown."""
    if isinstance(event, Act):
        return _after_act(beliefs, event)
    weights = {
        branch: chance * _likelihood(beliefs, branch, event) for branch, chance in beliefs.branches.items()
    }
    after = attrs.evolve(beliefs, branches=_normal(weights))
    if isinstance(event, Retold):
        return attrs.evolve(after, complaint=(*beliefs.complaint, (event.still, beliefs.acts)))
    if isinstance(event, Shown):
        history = (*beliefs.shown.get(event.key, ()), (event.weights, beliefs.acts))
        return attrs.evolve(after, shown={**beliefs.shown, event.key: history})
    return after


def now(beliefs: Beliefs) -> dict[Hypothesis, float]:
    """The chance of each state that the vehicle may be in now."""
    found: dict[Hypothesis, float] = {}
    for branch, chance in beliefs.branches.items():
        found[branch.now] = found.get(branch.now, 0.0) + chance
    return found


def chance_of(states: Mapping[Hypothesis, float], faults: Collection[str]) -> float:
    """The chance that at least one of these faults is there."""
    return sum(chance for state, chance in states.items() if not state.isdisjoint(faults))


def row_for(beliefs: Beliefs, branch: Branch, system: str, test: FaultTest) -> Sequence[float]:
    """The chance of each outcome of a test made now, under a branch."""
    return _row(beliefs, branch, system, test, 1.0 if test.lasting else beliefs.tables.shows)


def _likelihood(beliefs: Beliefs, branch: Branch, event: Retold | Shown | Hint) -> float:
    if isinstance(event, Retold):
        return _retold(beliefs, branch, branch.now, event.still)
    if isinstance(event, Hint):
        return _hinted(branch.now, event)
    row = _row(beliefs, branch, event.system, event.test, event.shows)
    return sum(weight * p for weight, p in zip(event.weights, row, strict=True))


def _row(beliefs: Beliefs, branch: Branch, system: str, test: FaultTest, shows: float) -> Sequence[float]:
    """The chance of each outcome: a vehicle that was not touched since the last times shows the same again.

    What comes and goes looks, while it hides, as without the fault, and that looks the same again as well.
    So both are followed, as far as they differ, through all that was shown since the vehicle was changed.
    """
    row = row_of(beliefs.tables, system, test, branch.now)
    usual = row if shows == 1.0 else row_of(beliefs.tables, system, test, SOUND)
    history = beliefs.shown.get(f"{system}.{test.key}", ())
    since = [weights for weights, acts in history if branch.changed <= acts]
    if not since:
        return _mixed(row, usual, shows)
    both = _side_by_side(row, usual)
    slip = (1.0 - test.again) / (len(row) - 1)
    for weights in since:
        fits = [
            [share * (shows * weights[i] + (1.0 - shows) * weights[j]) for j, share in enumerate(shares)]
            for i, shares in enumerate(both)
        ]
        kept = (test.again - slip) / sum(map(sum, fits))
        both = [
            [kept * share + (slip if i == j else 0.0) for j, share in enumerate(shares)]
            for i, shares in enumerate(fits)
        ]
    return [shows * sum(both[i]) + (1.0 - shows) * sum(shares[i] for shares in both) for i in range(len(row))]


def _mixed(row: Sequence[float], usual: Sequence[float], shows: float) -> Sequence[float]:
    if shows == 1.0:
        return row
    return [shows * p + (1.0 - shows) * q for p, q in zip(row, usual, strict=True)]


def _side_by_side(row: Sequence[float], usual: Sequence[float]) -> list[list[float]]:
    """The chance of each outcome with the fault seen, and beside it with the fault hidden: one and the same
    as far as the two rows agree.
    """
    alike = [min(p, q) for p, q in zip(row, usual, strict=True)]
    apart = 1.0 - sum(alike)
    return [
        [
            (alike[i] if i == j else 0.0)
            + ((row[i] - alike[i]) * (usual[j] - alike[j]) / apart if apart > 1e-12 else 0.0)
            for j in range(len(row))
        ]
        for i in range(len(row))
    ]


def _hinted(state: Hypothesis, hint: Hint) -> float:
    if not state:
        return hint.none
    return hint.other if state.isdisjoint(hint.faults) else hint.these


def _after_act(beliefs: Beliefs, act: Act) -> Beliefs:
    number = beliefs.acts + 1
    weights: dict[Branch, float] = {}
    for branch, chance in beliefs.branches.items():
        for state, share in _states_after(branch.now, act, beliefs.tables):
            if act.undone is not None:
                target, weight = branch, chance * share * _retold(beliefs, branch, state, act.undone)
            else:
                target = branch if state == branch.now else Branch(branch.first, state, number)
                weight = chance * share
            weights[target] = weights.get(target, 0.0) + weight
    acts = beliefs.acts if act.undone is not None else number
    return attrs.evolve(beliefs, branches=_normal(weights), acts=acts)


def _states_after(state: Hypothesis, act: Act, tables: Tables) -> Iterator[tuple[Hypothesis, float]]:
    """Each state that the work may leave, with its chance."""
    cured = state - act.removes
    outcomes = [(cured, 1.0 - act.fails), (state, act.fails)] if cured != state else [(state, 1.0)]
    brought = sorted((act.brings & tables.faults.keys()) - state)
    for left, share in outcomes:
        # A third fault is not reckoned with: there are two at once at most.
        new = [fault for fault in brought if fault not in left] if len(left) < 2 else []
        yield left, share * (1.0 - BRINGS_IN if new else 1.0)
        for fault in new:
            yield left | {fault}, share * BRINGS_IN / len(new)


def _retold(beliefs: Beliefs, branch: Branch, state: Hypothesis, still: bool) -> float:
    """The chance that the complaint is found still there (or gone) in a state that the vehicle has been
    brought to.

    Where nothing changed since it was told, or looked at, it is as it was, seen or hidden. Else it is there
    by how much of the chance to tell it is left without what was ended.
    """
    tables = beliefs.tables
    since = [seen for seen, acts in beliefs.complaint if branch.changed <= acts]
    if state == branch.now and branch.changed == 0:
        there = AGAIN
        since = since[1:]  # it was told, so it was there
    else:
        left = told(tables, state) / told(tables, branch.first) if state else 0.0
        there = min(AGAIN, max(GONE_BY_ITSELF, left))
        since = since if state == branch.now else []
    for seen in since:
        hidden = there * (1.0 - tables.shows)
        there = 1.0 if seen else hidden / (hidden + 1.0 - there)
        there = AGAIN * there + GONE_BY_ITSELF * (1.0 - there)
    chance = there * tables.shows
    return chance if still else 1.0 - chance


def _normal(weights: Mapping[Branch, float]) -> dict[Branch, float]:
    whole = sum(weights.values())
    return {branch: weight / whole for branch, weight in weights.items() if weight > 0.0}


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
            key = _own(system, branch.now), branch.changed
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


def _own(system: str, hypothesis: Hypothesis) -> frozenset[str]:
    return frozenset(fault for fault in hypothesis if fault == OUTSIDE or fault.startswith(f"{system}."))


def row_of(tables: Tables, system: str, test: FaultTest, hypothesis: Hypothesis) -> Sequence[float]:
    table, mark = tables.systems[system], f"{system}."
    own = {fault.removeprefix(mark) for fault in hypothesis if fault == OUTSIDE or fault.startswith(mark)}
    for pair in table.pairs.values():
        if pair.key in test.given and set(pair.of) == own:
            return test.given[pair.key].p
    rows = [test.likelihood(fault) for fault in sorted(own)]
    return rows[0] if len(rows) == 1 else test.together(rows) if rows else test.none


def prior(tables: Tables) -> dict[Hypothesis, float]:
    odds = {fault: _odds(tables, fault) for fault in (*tables.faults, OUTSIDE)}
    named = {
        frozenset(full): pair.per_1000 / 1000 * math.prod(_when(tables, fault) for fault in full)
        for system, table in tables.systems.items()
        for pair in table.pairs.values()
        if (full := [f"{system}.{fault}" for fault in pair.of])
    }
    weights = {
        hypothesis: max(math.prod(odds[fault] for fault in hypothesis), named.get(hypothesis, 0.0))
        for hypothesis in tables.hypotheses
    }
    whole = sum(weights.values())
    return {hypothesis: weight / whole for hypothesis, weight in weights.items()}


def _odds(tables: Tables, fault: str) -> float:
    per_1000 = symptoms().outside_per_1000 if fault == OUTSIDE else tables.faults[fault].per_1000
    return per_1000 / (1000 - per_1000) * (1.0 if fault == OUTSIDE else _when(tables, fault))


def _when(tables: Tables, fault: str) -> float:
    system, _, key = fault.partition(".")
    return math.prod(
        tables.systems[system].when.get(circumstance, {}).get(key, 1.0)
        for circumstance in (tables.complaint.circumstances if tables.complaint else ())
    )


def told(tables: Tables, hypothesis: Hypothesis) -> float:
    if tables.complaint is None:
        return 1.0
    listed = tables.complaint.listed
    if not listed:
        return _any_of(
            [UNLISTED_OUTSIDE if fault == OUTSIDE else UNLISTED for fault in hypothesis], UNLISTED_NONE
        )
    chances = [
        _any_of([_tells(tables, fault, key) for fault in hypothesis], symptoms().symptoms[key].none)
        for key in listed
    ]
    return sum(chances) / len(chances)


def _tells(tables: Tables, fault: str, symptom: str) -> float:
    found = symptoms().symptoms[symptom]
    if fault == OUTSIDE:
        return found.outside
    system, _, key = fault.partition(".")
    return tables.systems[system].symptoms.get(symptom, {}).get(key, found.none)


def _any_of(chances: Iterable[float], none: float) -> float:
    silent, some = 1.0, False
    for chance in chances:
        silent, some = silent * (1.0 - chance), True
    return max(none, 1.0 - silent) if some else none
