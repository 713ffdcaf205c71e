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
    """The chance of each branch, and what was shown last by each test.

    `last`: Key of a test → its weights, and the number of acts before it. `complaint`: whether it was there
    when it was looked at last, and the number of acts before that.
    """

    tables: Tables
    branches: Mapping[Branch, float]
    acts: int = 0
    last: Mapping[str, tuple[tuple[float, ...], int]] = attrs.field(factory=dict)
    complaint: tuple[bool, int] = (True, 0)


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
    if isinstance(event, Retold):
        weights = {
            branch: chance * _retold(beliefs, branch, branch.now, event.still)
            for branch, chance in beliefs.branches.items()
        }
        return attrs.evolve(beliefs, branches=_normal(weights), complaint=(event.still, beliefs.acts))
    if isinstance(event, Hint):
        weights = {branch: chance * _hinted(branch.now, event) for branch, chance in beliefs.branches.items()}
        return attrs.evolve(beliefs, branches=_normal(weights))
    previous = beliefs.last.get(event.key)
    weights = {
        branch: chance * _likelihood(beliefs.tables, branch, event, previous)
        for branch, chance in beliefs.branches.items()
    }
    last = {**beliefs.last, event.key: (event.weights, beliefs.acts)}
    return attrs.evolve(beliefs, branches=_normal(weights), last=last)


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
    """The chance of each outcome of a test made now, under a branch: a vehicle that was not touched since
    the last time shows the same again.
    """
    complaint = beliefs.tables.complaint
    shows = complaint.shows if complaint is not None else 1.0
    return _row(beliefs.tables, branch, system, test, shows, beliefs.last.get(f"{system}.{test.key}"))


def _likelihood(
    tables: Tables, branch: Branch, shown: Shown, previous: tuple[tuple[float, ...], int] | None
) -> float:
    row = _row(tables, branch, shown.system, shown.test, shown.shows, previous)
    return sum(weight * p for weight, p in zip(shown.weights, row, strict=True))


def _row(
    tables: Tables,
    branch: Branch,
    system: str,
    test: FaultTest,
    shows: float,
    previous: tuple[tuple[float, ...], int] | None,
) -> Sequence[float]:
    """The chance of each outcome, fresh or as a repeat of what was shown before."""
    row = tables.row(system, test, branch.now)
    if shows < 1.0:
        sound = tables.row(system, test, SOUND)
        row = tuple(shows * p + (1.0 - shows) * usual for p, usual in zip(row, sound, strict=True))
    if previous is None or branch.changed > previous[1]:
        return row
    before = [weight * p for weight, p in zip(previous[0], row, strict=True)]
    whole = sum(before)
    places = range(len(row))
    return [sum(before[i] * _kernel(test, shows, i, j) for i in places) / whole for j in places]


def _kernel(test: FaultTest, shows: float, before: int, after: int) -> float:
    """How often an unchanged vehicle that showed one outcome shows another the next time; what comes and goes
    may also look sound then.
    """
    count, sound = len(test.outcomes), test.outcomes.index(test.sound)
    slip = (1.0 - test.again) / (count - 1)
    if before == sound:
        return test.again if after == before else slip
    hidden = 1.0 - shows
    steady = test.again if after == before else slip
    return shows * steady + (hidden if after == sound else 0.0)


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

    Where nothing changed since it was looked at last it is as it was, but for what comes and goes by itself.
    Else it is there by how much of the chance to tell it is left without what was ended.
    """
    tables = beliefs.tables
    shows = tables.complaint.shows if tables.complaint is not None else 1.0
    there, when = beliefs.complaint
    if state == branch.now and branch.changed <= when:
        chance = AGAIN * shows if there else GONE_BY_ITSELF
    else:
        left = tables.told(state) / tables.told(branch.first) if state else 0.0
        chance = min(AGAIN, max(GONE_BY_ITSELF, left)) * shows
    return chance if still else 1.0 - chance


def _normal(weights: Mapping[Branch, float]) -> dict[Branch, float]:
    whole = sum(weights.values())
    return {branch: weight / whole for branch, weight in weights.items() if weight > 0.0}
