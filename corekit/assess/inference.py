"""Exact inference over what can be wrong, through repairs and trials.

A branch is what was wrong at first and what is wrong now. A repair turns one state into another; everything
read is explained by the state of its time. Six functions without side effects: `start`, `step` with an act or
with what a test showed, `now`, `first`, and `chance_of` a fault.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

import attrs

from ..plugin.faults import FaultTest
from .branches import Branch, Branches, History, Layout, Rows
from .hypotheses import SOUND, Hypothesis, Tables

#: The chance that work on a part brings in a fault of that very part.
BRINGS_IN = 0.01  # an estimate of ours
#: The complaint, read again: how surely it stays away on a vehicle without a fault, and how surely it is
#: still there where nothing that could have ended it was done.
GONE_BY_ITSELF = 0.03  # an estimate of ours
AGAIN = 0.96  # an estimate of ours
#: The same after work that leaves the fault and may take the complaint away for a while.
RELIEVED = 0.45  # an estimate of ours


@attrs.frozen(kw_only=True)
class Act:
    """Something done to the vehicle.

    Attributes:
        removes: Full keys of the faults that it ends.
        fails: The chance that the work fails, or that the new part is bad.
        brings: Full keys of the faults that the work itself may bring in.
        relieves: Full keys of the faults that it leaves, and whose complaint may go all the same.
        undone: For what does not stay: whether the complaint was still there while it lasted. Then everything
            is as before.
    """

    removes: frozenset[str]
    fails: float = 0.1
    brings: frozenset[str] = frozenset()
    relieves: frozenset[str] = frozenset()
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


@attrs.frozen(kw_only=True)
class Beliefs:
    """The chance of each branch, and what was shown so far.

    `shown`: Key of a test → its weights each time, with the number of acts before. `complaint`: whether it
    was there each time that it was looked at, with the number of acts before; first when it was told.
    `relieved`: Faults whose complaint may be away for a while, and the number of acts since which.
    """

    tables: Tables
    branches: Branches
    acts: int = 0
    shown: Mapping[str, History] = attrs.field(factory=dict)
    complaint: tuple[tuple[bool, int], ...] = ((True, 0),)
    relieved: tuple[frozenset[str], int] = (frozenset(), 0)


def start(tables: Tables) -> Beliefs:
    """The prevalences, and the complaint as the first evidence; the same tables are begun with once."""
    found = tables.kept.get("start")
    if found is None:
        weights = {
            Branch(hypothesis, hypothesis): chance * told
            for (hypothesis, chance), told in zip(tables.prior.items(), tables.told_each, strict=True)
        }
        found = tables.kept["start"] = Beliefs(tables=tables, branches=Branches.of(tables, weights))
    assert isinstance(found, Beliefs)
    return found


def step(beliefs: Beliefs, event: Act | Retold | Shown | Hint) -> Beliefs:
    """What is believed after something was done or shown."""
    if isinstance(event, Act):
        return _after_act(beliefs, event)
    branches = beliefs.branches
    after = attrs.evolve(
        beliefs,
        branches=Branches.weighed(
            branches.layout,
            [chance * p for chance, p in zip(branches.chances, _likelihoods(beliefs, event), strict=True)],
        ),
    )
    if isinstance(event, Retold):
        return attrs.evolve(after, complaint=(*beliefs.complaint, (event.still, beliefs.acts)))
    if isinstance(event, Shown):
        history = (*beliefs.shown.get(event.key, ()), (event.weights, beliefs.acts))
        return attrs.evolve(after, shown={**beliefs.shown, event.key: history})
    return after


def now(beliefs: Beliefs) -> Mapping[Hypothesis, float]:
    """The chance of each state that the vehicle may be in now."""
    return beliefs.branches.states


def first(beliefs: Beliefs) -> dict[Hypothesis, float]:
    """The chance of each state that the vehicle may have been in at first: the cause of the complaint."""
    found: dict[Hypothesis, float] = {}
    for branch, chance in beliefs.branches.items():
        found[branch.first] = found.get(branch.first, 0.0) + chance
    return found


def chance_of(beliefs: Beliefs, faults: Collection[str]) -> float:
    """The chance that at least one of these faults is there now."""
    branches = beliefs.branches
    chances = branches.chances
    return math.fsum([chances[place] for place in branches.layout.with_any(frozenset(faults))])


def rows_for(beliefs: Beliefs, system: str, test: FaultTest) -> Rows:
    """The chance of each outcome of a test made now, for every kind of branches."""
    return _rows_after_all(beliefs, system, test, 1.0 if test.lasting else beliefs.tables.shows)


def first_rows(beliefs: Beliefs, system: str, test: FaultTest) -> Rows:
    """The same of a test as if it were made for the first time, while the fault shows."""
    return _rows(beliefs.branches.layout, system, test, 1.0, ())


def _likelihoods(beliefs: Beliefs, event: Retold | Shown | Hint) -> Iterable[float]:
    """The chance of what was shown or told, for each branch."""
    layout = beliefs.branches.layout
    if isinstance(event, Retold):
        return [_still_chance(beliefs, branch, branch.now, event.still) for branch in layout.branches]
    if isinstance(event, Hint):
        return [_hint_factor(branch.now, event) for branch in layout.branches]
    rows, kinds = _rows_after_all(beliefs, event.system, event.test, event.shows), layout.kinds(event.system)
    ids = rows.all_numbered()
    fits = [math.fsum(weight * p for weight, p in zip(event.weights, row, strict=True)) for row in rows.each]
    each = [fits[number] for number in ids]
    return map(each.__getitem__, kinds.of)


def _rows_after_all(beliefs: Beliefs, system: str, test: FaultTest, shows: float) -> Rows:
    history = beliefs.shown.get(f"{system}.{test.key}", ())
    return _rows(beliefs.branches.layout, system, test, shows, history)


def _rows(layout: Layout, system: str, test: FaultTest, shows: float, history: History) -> Rows:
    """For each kind: a vehicle that was not touched since the last times shows the same again."""
    kept = layout.rows.get((system, test.key, shows, bool(history)))
    if kept is not None and kept[0] == history:
        return kept[1]
    kinds, table = layout.kinds(system), layout.tables.systems[system]
    usual = table.row(test, SOUND)
    known: dict[tuple[int, int], Sequence[float]] = {}

    def row(kind: int) -> Sequence[float]:
        own = table.row(test, kinds.own[kind])
        if not history and shows == 1.0:
            return own
        changed = kinds.changed[kind]
        found = known.get((id(own), changed))
        if found is None:
            since = [weights for weights, acts in history if changed <= acts]
            found = known[id(own), changed] = _row(own, own if shows == 1.0 else usual, since, test, shows)
        return found

    made = Rows(row, len(kinds.own))
    layout.rows[system, test.key, shows, bool(history)] = history, made
    return made


def _row(
    row: Sequence[float],
    usual: Sequence[float],
    since: Sequence[Sequence[float]],
    test: FaultTest,
    shows: float,
) -> Sequence[float]:
    """The chance of each outcome after what was shown since the vehicle was last changed.

    What comes and goes looks, while it hides, as without the fault, and that looks the same again as well.
    So both are followed, as far as they differ, through all that was shown.
    """
    if not since:
        return _mixture(row, usual, shows)
    both = _side_by_side(row, usual)
    slip = (1.0 - test.again) / (len(row) - 1)
    for weights in since:
        fits = [
            [share * (shows * weights[i] + (1.0 - shows) * weights[j]) for j, share in enumerate(shares)]
            for i, shares in enumerate(both)
        ]
        kept = (test.again - slip) / math.fsum(map(math.fsum, fits))
        both = [
            [kept * share + (slip if i == j else 0.0) for j, share in enumerate(shares)]
            for i, shares in enumerate(fits)
        ]
    return [
        shows * math.fsum(both[i]) + (1.0 - shows) * math.fsum(shares[i] for shares in both)
        for i in range(len(row))
    ]


def fresh_row(tables: Tables, system: str, test: FaultTest, state: Hypothesis) -> Sequence[float]:
    """The chance of each outcome of a test that is made for the first time in a state."""
    shows = 1.0 if test.lasting else tables.shows
    return _mixture(tables.row(system, test, state), tables.row(system, test, SOUND), shows)


def _mixture(row: Sequence[float], usual: Sequence[float], shows: float) -> Sequence[float]:
    if shows == 1.0:
        return row
    return [shows * p + (1.0 - shows) * q for p, q in zip(row, usual, strict=True)]


def _side_by_side(row: Sequence[float], usual: Sequence[float]) -> list[list[float]]:
    """The chance of each outcome with the fault seen, and beside it with the fault hidden: one and the same
    as far as the two rows agree.
    """
    alike = [min(p, q) for p, q in zip(row, usual, strict=True)]
    apart = 1.0 - math.fsum(alike)
    return [
        [
            (alike[i] if i == j else 0.0)
            + ((row[i] - alike[i]) * (usual[j] - alike[j]) / apart if apart > 1e-12 else 0.0)
            for j in range(len(row))
        ]
        for i in range(len(row))
    ]


def _hint_factor(state: Hypothesis, hint: Hint) -> float:
    if not state:
        return hint.none
    return hint.other if state.isdisjoint(hint.faults) else hint.these


def supposing(beliefs: Beliefs, act: Act) -> Beliefs:
    """What would be believed after an act that stays, if it were done now.

    Where each branch would lead to is kept with the branches: the question comes again with every answer.
    """
    branches, key = beliefs.branches, (act, beliefs.acts)
    kept = branches.layout.supposed.get(key)
    if kept is None:
        leads = [list(_led_to(beliefs, act, branch)) for branch in branches.layout.branches]
        targets = {target: None for each in leads for target, share in each if share > 0.0}
        layout = Layout(beliefs.tables, list(targets))
        kept = (
            layout,
            [[(layout.places[target], share) for target, share in each if share > 0.0] for each in leads],
        )
        branches.layout.supposed[key] = kept
    layout, shares = kept
    weights = [0.0] * len(layout.branches)
    for chance, each in zip(branches.chances, shares, strict=True):
        for place, share in each:
            weights[place] += chance * share
    after = attrs.evolve(beliefs, branches=Branches.weighed(layout, weights), acts=beliefs.acts + 1)
    return attrs.evolve(after, relieved=(act.relieves, after.acts)) if act.relieves else after


def _after_act(beliefs: Beliefs, act: Act) -> Beliefs:
    weights: dict[Branch, float] = {}
    for branch, chance in zip(beliefs.branches.layout.branches, beliefs.branches.chances, strict=True):
        for target, share in _led_to(beliefs, act, branch):
            weights[target] = weights.get(target, 0.0) + chance * share
    acts = beliefs.acts if act.undone is not None else beliefs.acts + 1
    relieved = (act.relieves, acts) if act.relieves else beliefs.relieved
    return attrs.evolve(beliefs, branches=Branches.of(beliefs.tables, weights), acts=acts, relieved=relieved)


def _led_to(beliefs: Beliefs, act: Act, branch: Branch) -> Iterator[tuple[Branch, float]]:
    """What becomes of a branch by an act, with its share; what is undone leaves it, less likely or more."""
    if act.undone is None and not act.brings and branch.now.isdisjoint(act.removes):
        yield branch, 1.0
        return
    for state, share in _states_after(branch.now, act, beliefs.tables):
        if act.undone is not None:
            yield branch, share * _still_chance(beliefs, branch, state, act.undone)
        elif state == branch.now:
            yield branch, share
        else:
            yield Branch(branch.first, state, beliefs.acts + 1), share


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


def _still_chance(beliefs: Beliefs, branch: Branch, state: Hypothesis, still: bool) -> float:
    """The chance that the complaint is found still there (or gone) in a state that the vehicle has been
    brought to.

    Where nothing changed since it was told, or looked at, it is as it was, seen or hidden. Else it is there
    by how much of the chance to tell it is left without what was ended.
    """
    tables = beliefs.tables
    since = [seen for seen, acts in beliefs.complaint if branch.changed <= acts]
    relieved, began = beliefs.relieved
    if state == branch.now and not state.isdisjoint(relieved):
        there = RELIEVED
        since = [seen for seen, acts in beliefs.complaint if max(branch.changed, began) <= acts]
    elif state == branch.now and branch.changed == 0:
        there = AGAIN
        since = since[1:]  # it was told, so it was there
    else:
        left = tables.told(state) / tables.told(branch.first) if state else 0.0
        there = min(AGAIN, max(GONE_BY_ITSELF, left))
        since = since if state == branch.now else []
    for seen in since:
        hidden = there * (1.0 - tables.shows)
        there = 1.0 if seen else hidden / (hidden + 1.0 - there)
        there = AGAIN * there + GONE_BY_ITSELF * (1.0 - there)
    chance = there * tables.shows
    return chance if still else 1.0 - chance
