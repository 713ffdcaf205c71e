"""Exact inference over what can be wrong, through repairs and trials.

A branch is what was wrong at first and what is wrong now. A repair turns one state into another; everything
read is explained by the state of its time. Six functions without side effects: `start`, `step` with an act or
with what a test showed, `now`, `first`, and `chance_of` a fault.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

import attrs

from ..plugin.faults import FaultTest
from .hypotheses import SOUND, Hypothesis, Tables

#: The chance that work on a part brings in a fault of that very part.
BRINGS_IN = 0.01  # an estimate of ours
#: The complaint, read again: how surely it stays away on a vehicle without a fault, and how surely it is
#: still there where nothing that could have ended it was done.
GONE_BY_ITSELF = 0.03  # an estimate of ours
AGAIN = 0.96  # an estimate of ours


@attrs.frozen(kw_only=True)
class Act:
    """Something done to the vehicle.

    Attributes:
        removes: Full keys of the faults that it ends.
        fails: The chance that the work fails, or that the new part is bad.
        brings: Full keys of the faults that the work itself may bring in.
        undone: For what does not stay: whether the complaint was still there while it lasted. Then everything
            is as before.
    """

    removes: frozenset[str]
    fails: float = 0.1
    brings: frozenset[str] = frozenset()
    undone: bool | None = None


@attrs.frozen
class Retold:
    """The complaint, looked at again: still there or gone."""

    still: bool


@attrs.frozen(kw_only=True)
class Shown:
    """What a test showed: a weight for each outcome. `shows`: the share of the time in which it would."""

    system: str
    test: FaultTest
    weights: tuple[float, ...]
    shows: float = 1.0

    @property
    def key(self) -> str:
        return f"{self.system}.{self.test.key}"


@attrs.frozen(kw_only=True)
class Hint:
    """A direct hint at a part from something that only provokes or moves a fault: its chance where the fault
    is one of these, another, or none. `decides`: it may call for the part.
    """

    faults: frozenset[str]
    these: float
    other: float
    none: float
    decides: bool = False


@attrs.frozen
class Branch:
    """What was wrong at first, what is wrong now, and after which act that last changed (0: none)."""

    first: Hypothesis
    now: Hypothesis
    changed: int = 0


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
        Branch(hypothesis, hypothesis): chance * tables.told(hypothesis)
        for hypothesis, chance in tables.prior.items()
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


def first(beliefs: Beliefs) -> dict[Hypothesis, float]:
    """The chance of each state that the vehicle may have been in at first: the cause of the complaint."""
    found: dict[Hypothesis, float] = {}
    for branch, chance in beliefs.branches.items():
        found[branch.first] = found.get(branch.first, 0.0) + chance
    return found


def chance_of(states: Mapping[Hypothesis, float], faults: Collection[str]) -> float:
    """The chance that at least one of these faults is there."""
    return sum(chance for state, chance in states.items() if not state.isdisjoint(faults))


def row_for(beliefs: Beliefs, branch: Branch, system: str, test: FaultTest) -> Sequence[float]:
    """The chance of each outcome of a test made now, under a branch."""
    return _row(beliefs, branch, system, test, beliefs.tables.shows)


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
    row = beliefs.tables.row(system, test, branch.now)
    usual = row if shows == 1.0 else beliefs.tables.row(system, test, SOUND)
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


def fresh_row(tables: Tables, system: str, test: FaultTest, state: Hypothesis) -> Sequence[float]:
    """The chance of each outcome of a test that is made for the first time in a state."""
    return _mixed(tables.row(system, test, state), tables.row(system, test, SOUND), tables.shows)


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
        left = tables.shown(state) / tables.shown(branch.first) if state else 0.0
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
