"""What retested visits say of the fault tables.

Jobs show shares under a complaint: how often a fault is there times how often it makes somebody tell the
complaint. So a fault's prevalence and its complaint rows are learned together, from the counts under each
complaint, with the table's own shares as a Dirichlet prior of a stated strength; likewise each row of a test.
Only what the counts contradict is proposed, and only where it foretells visits better that had no part in it;
whatever is close to the table stays as the table says.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence

import attrs

from ..plugin.fault_file import LEAST
from ..plugin.faults import FaultTable, FaultTest
from ..plugin.learned import row_of
from .expected import Expected, Fitted
from .questions import LEAST_VEHICLES
from .tails import as_far, chi_square_above
from .visits import Visit

#: The table's own shares count as so many visits, where nobody says otherwise; an estimate of ours.
STRENGTH = 50.0
#: Counts that lie so far from the table by chance alone as seldom as this, over all that is looked at.
BY_CHANCE = 0.01
#: A proposal must besides foretell held-back visits better by so many of its own standard errors.
SURE = 1.0
#: Every so many-th visit is held back.
HELD_BACK = 4
#: Nobody always tells something.
MOST_TOLD = 0.98
#: A row of a test is looked at where so many visits stand behind it.
LEAST_SHOWN = 20.0
#: Within what is contradicted: a complaint by itself that lies so far off has its own row changed.
CHANCE_ALONE = 0.05
_ROUNDS, _STEPS = 3, 8

Cell = tuple[str, str]  # symptom, fault
RowName = tuple[str, str, str]  # system, test, row


@attrs.define
class Changes:
    """By what factor each fault's odds and complaint rows change, and the new rows of tests.

    `visits`: Behind each. `counted`: The cells that a changed fault was looked at under.
    """

    odds: dict[str, float] = attrs.field(factory=dict)
    cells: dict[Cell, float] = attrs.field(factory=dict)
    rows: dict[RowName, tuple[float, ...]] = attrs.field(factory=dict)
    visits: dict[object, int] = attrs.field(factory=dict)
    counted: set[Cell] = attrs.field(factory=set)

    def factor(self, symptom: str, fault: str) -> float:
        return self.odds.get(fault, 1.0) * self.cells.get((symptom, fault), 1.0)


@attrs.frozen
class Score:
    """How well held-back visits are foretold: bits a visit, before and after, and what of the difference is
    chance (one standard error).
    """

    visits: int
    before: float
    after: float
    error: float

    @property
    def is_better(self) -> bool:
        return self.visits > 0 and self.after - self.before > SURE * self.error

    @classmethod
    def of(cls, pairs: Sequence[tuple[float, float]]) -> Score:
        n = len(pairs)
        if not n:
            return cls(0, 0.0, 0.0, 0.0)
        before, after = (math.fsum(pair[at] for pair in pairs) / n for at in (0, 1))
        gains = [new - old for old, new in pairs]
        mean = after - before
        spread = math.fsum((gain - mean) ** 2 for gain in gains) / max(1, n - 1)
        return cls(n, before, after, math.sqrt(spread / n))


@attrs.frozen(kw_only=True)
class Tenth:
    """Held-back visits for which the likeliest work was said with about this chance, and how often it was
    that one.
    """

    visits: int
    said: float
    came: float


@attrs.frozen(kw_only=True)
class Learning:
    """What was learned, and how it was checked.

    `score`: Of the changes of prevalences and complaint rows. `row_scores`: Of each changed row of a test.
    """

    visits: int
    vehicles: int
    strength: float
    changes: Changes
    score: Score
    row_scores: Mapping[RowName, Score]
    before: Sequence[Tenth] = ()
    after: Sequence[Tenth] = ()


def is_held_back(visit: Visit) -> bool:
    """Whether a visit has no part in what is learned: by its id, so that it is the same one every time."""
    return hashlib.sha256(visit.job.encode()).digest()[0] % HELD_BACK == 0


def learn(visits: Sequence[Visit], faults: Mapping[str, FaultTable], strength: float = STRENGTH) -> Learning:
    """What to propose. It is found on three visits of four and checked on the fourth; what proves good there
    is then worked out of all.
    """
    expected = Expected(faults)
    known = [visit for visit in visits if all(operation in expected.cured_by for operation, _ in visit.works)]
    held = [visit for visit in known if is_held_back(visit)]
    found = Counted(expected, [one for one in known if not is_held_back(one)], strength).changes()
    score = Score.of([*_foretold(expected, held, Changes(), found)])
    row_scores = {name: _row_score(expected, held, found, name) for name in found.rows}
    kept = Counted(expected, known, strength).changes()
    if not score.is_better:
        kept.odds, kept.cells = {}, {}
    kept.rows = {
        name: row for name, row in kept.rows.items() if name in row_scores and row_scores[name].is_better
    }
    return Learning(
        visits=len(known),
        vehicles=len({visit.vehicle for visit in known}),
        strength=strength,
        changes=kept,
        score=score,
        row_scores={name: row_scores[name] for name in kept.rows},
        before=calibration(expected, held, Changes()),
        after=calibration(expected, held, kept),
    )


@attrs.define
class Counted:
    """Visits counted against what the tables expect of them."""

    expected: Expected
    visits: Sequence[Visit]
    strength: float

    def changes(self) -> Changes:
        """What the counts contradict, with the posterior in its place. A visit whose work ends several faults
        is shared out among them by what its tests showed, each time anew.
        """
        changes = Changes()
        for _ in range(_ROUNDS):
            counts = self._causes(changes)
            fresh = Changes()
            self._learn_causes(fresh, counts)
            if not fresh.odds and not changes.odds and not changes.rows:
                self._learn_rows(fresh)
                if not fresh.rows:
                    return fresh
            else:
                fresh.rows = changes.rows
                self._learn_rows(fresh)
            changes = fresh
        return changes

    def _causes(self, changes: Changes) -> dict[Cell, float]:
        counts: dict[Cell, float] = {}
        for visit in self.visits:
            for symptom, fault, share in causes_of(self.expected, visit, changes):
                counts[symptom, fault] = counts.get((symptom, fault), 0.0) + share
        return counts

    def _learn_causes(self, changes: Changes, counts: Mapping[Cell, float]) -> None:
        """One fault after the other, the one first that the counts contradict most: shares hang together, so
        what was wrong with one is not laid at the door of the others.
        """
        groups: dict[tuple[str, Fitted], float] = {}
        vehicles: dict[str, set[str]] = {}
        for visit in self.visits:
            fitted = self.expected.fitted(visit.fitted)
            for symptom, share in visit.told:
                groups[symptom, fitted] = groups.get((symptom, fitted), 0.0) + share
                vehicles.setdefault(symptom, set()).add(visit.vehicle)
        enough = {symptom for symptom, those in vehicles.items() if len(those) >= LEAST_VEHICLES}
        told = dict.fromkeys(enough, 0.0)
        for (symptom, _), count in groups.items():
            if symptom in enough:
                told[symptom] += count
        faults = list(self.expected.works)
        for _ in faults:
            cells = self._expected_cells(groups, enough, changes)
            far, fault = min(
                ((_contradiction(one, cells, counts), one) for one in faults if one not in changes.odds),
                default=(1.0, ""),
            )
            if far * len(faults) > BY_CHANCE:
                break
            self._take(fault, groups, enough, counts, told, changes)

    def _expected_cells(
        self, groups: Mapping[tuple[str, Fitted], float], enough: Iterable[str], changes: Changes
    ) -> dict[Cell, float]:
        cells: dict[Cell, float] = {}
        wanted = set(enough)
        for (symptom, fitted), count in groups.items():
            if symptom in wanted:
                for fault, share in changed_shares(self.expected, symptom, fitted, changes).items():
                    cells[symptom, fault] = cells.get((symptom, fault), 0.0) + count * share
        return cells

    def _take(
        self,
        fault: str,
        groups: Mapping[tuple[str, Fitted], float],
        enough: set[str],
        counts: Mapping[Cell, float],
        told: Mapping[str, float],
        changes: Changes,
    ) -> None:
        """Prevalence and complaint rows of one fault together: the prevalence from all complaints, then each
        row from its own, each drawn to what went before as if so many visits had shown it.
        """
        cells = self._expected_cells(groups, enough, changes)
        mine = sorted(symptom for symptom in enough if (symptom, fault) in cells)
        rest = {one: cells[one, fault] for one in mine if one != _oddest(fault, mine, cells, counts)}
        changes.odds[fault] = 1.0
        changes.counted |= {(one, fault) for one in mine}
        alone = as_far(math.fsum(counts.get((one, fault), 0.0) for one in rest), math.fsum(rest.values()))
        if alone <= CHANCE_ALONE:  # else one complaint's row is what is wrong, and no prevalence
            seen = math.fsum(counts.get((one, fault), 0.0) for one in mine)
            before = math.fsum(cells[one, fault] for one in mine)
            wanted = self._posterior(seen, before, math.fsum(told[one] for one in mine))
            for _ in range(_STEPS):
                cells = self._expected_cells(groups, mine, changes)
                changes.odds[fault] *= wanted / math.fsum(cells[one, fault] for one in mine)
        changes.visits[fault] = round(math.fsum(told[one] for one in mine))
        for symptom in mine:
            seen, here = counts.get((symptom, fault), 0.0), cells[symptom, fault]
            if as_far(seen, here) * len(mine) > CHANCE_ALONE:
                continue
            changes.cells[symptom, fault] = 1.0
            wanted = self._posterior(seen, here, told[symptom])
            for _ in range(_STEPS):
                here = self._expected_cells(groups, [symptom], changes)[symptom, fault]
                changes.cells[symptom, fault] *= wanted / here
            changes.visits[symptom, fault] = round(told[symptom])

    def _posterior(self, seen: float, expected: float, visits: float) -> float:
        """How many of the visits the fault is the cause of, by the mean of a Dirichlet distribution that
        begins with the expected share as if so many visits had shown it.
        """
        return (seen + self.strength * expected / visits) * visits / (visits + self.strength)

    def _learn_rows(self, changes: Changes) -> None:
        """Each row of a test by itself: what was shown under its faults against what they let one expect."""
        counts: dict[RowName, list[float]] = {}
        expects: dict[RowName, list[float]] = {}
        vehicles: dict[RowName, set[str]] = {}
        for visit in self.visits:
            for symptom, fault, share in causes_of(self.expected, visit, changes):
                for system, test, weights in visit.shown:
                    name = (system, test, self.expected.row_key(system, test, fault))
                    row = self.expected.row(system, test, fault, symptom)
                    fits = [weight * p for weight, p in zip(weights, row, strict=True)]
                    whole = math.fsum(fits)
                    here = counts.setdefault(name, [0.0] * len(row))
                    there = expects.setdefault(name, [0.0] * len(row))
                    for at, p in enumerate(row):
                        here[at] += share * fits[at] / whole
                        there[at] += share * p
                    vehicles.setdefault(name, set()).add(visit.vehicle)
        looked_at = [
            name
            for name, here in counts.items()
            if math.fsum(here) >= LEAST_SHOWN and len(vehicles[name]) >= LEAST_VEHICLES
        ]
        changes.rows = {}
        for name in looked_at:
            if _row_contradiction(counts[name], expects[name]) * len(looked_at) <= BY_CHANCE:
                declared = self.expected.faults[name[0]].tests[name[1]]
                changes.rows[name] = learned_row(
                    declared, name[2], counts[name], expects[name], self.strength
                )
                changes.visits[name] = round(math.fsum(counts[name]))


def causes_of(expected: Expected, visit: Visit, changes: Changes) -> Iterator[tuple[str, str, float]]:
    """Symptom, fault and share: what a visit counts for, 1 in all."""
    fitted = expected.fitted(visit.fitted)
    for symptom, told in visit.told:
        shares = changed_shares(expected, symptom, fitted, changes)
        for operation, part_of in visit.works:
            weights = {
                fault: shares[fault] * _fit(expected, visit, fault, symptom, changes, own=True)
                for fault in expected.cured_by[operation]
                if fault in shares
            }
            whole = math.fsum(weights.values())
            for fault, weight in weights.items():
                if whole > 0:
                    yield symptom, fault, told * part_of * weight / whole


def changed_shares(expected: Expected, symptom: str, fitted: Fitted, changes: Changes) -> Mapping[str, float]:
    """Fault → its share of the causes under a complaint, after what was learned."""
    shares = expected.shares(symptom, fitted)
    if not changes.odds:
        return shares
    new = {fault: share * changes.factor(symptom, fault) for fault, share in shares.items()}
    whole = math.fsum(new.values())
    return {fault: share / whole for fault, share in new.items()}


def _fit(
    expected: Expected, visit: Visit, fault: str, symptom: str, changes: Changes, *, own: bool = False
) -> float:
    """How well a fault fits what was shown before the work; by its own system's tests alone, where it is held
    against others of that system.
    """
    fit = 1.0
    for system, test, weights in visit.shown:
        if own and not fault.startswith(f"{system}."):
            continue
        row = _changed_row(expected, system, test, fault, symptom, changes)
        fit *= math.fsum(weight * p for weight, p in zip(weights, row, strict=True))
    return fit


def _changed_row(
    expected: Expected, system: str, test: str, fault: str, symptom: str, changes: Changes
) -> Sequence[float]:
    row = expected.row(system, test, fault, symptom)
    if not changes.rows:
        return row
    key = expected.row_key(system, test, fault)
    learned = changes.rows.get((system, test, key))
    if learned is None:
        return row
    declared = row_of(expected.faults[system].tests[test], key)
    scaled = [p * new / old for p, new, old in zip(row, learned, declared, strict=True)]
    whole = math.fsum(scaled)
    return [p / whole for p in scaled]


def _contradiction(fault: str, cells: Mapping[Cell, float], counts: Mapping[Cell, float]) -> float:
    """How likely such counts are by chance: over all complaints together, and complaint by complaint."""
    mine = [(counts.get(cell, 0.0), here) for cell, here in cells.items() if cell[1] == fault]
    together = as_far(math.fsum(seen for seen, _ in mine), math.fsum(here for _, here in mine))
    single = min((as_far(seen, here) for seen, here in mine), default=1.0)
    return min(1.0, 2 * min(together, len(mine) * single))


def _oddest(
    fault: str, symptoms: Sequence[str], cells: Mapping[Cell, float], counts: Mapping[Cell, float]
) -> str:
    """The complaint under which the counts of a fault are the least likely."""
    return min(symptoms, key=lambda one: as_far(counts.get((one, fault), 0.0), cells[one, fault]), default="")


def _row_contradiction(counts: Sequence[float], expects: Sequence[float]) -> float:
    likely = [(seen, here) for seen, here in zip(counts, expects, strict=True) if here > 0]
    ratio = 2 * math.fsum(seen * math.log(seen / here) for seen, here in likely if seen > 0)
    # Chi-square holds where enough is expected of each outcome; what is rarer is counted with the rarest.
    return chi_square_above(len(likely) - 1, max(0.0, ratio))


def learned_row(
    test: FaultTest, key: str, counts: Sequence[float], expects: Sequence[float], strength: float
) -> tuple[float, ...]:
    """The row after what was counted. No outcome falls below the least chance that a table may give; and
    where an outcome speaks directly against a part, its chance without that part's fault never falls below
    what the table says: a shop's few false alarms so far make no part easier to call for.
    """
    own = row_of(test, key)
    raw = [
        p * (seen + strength * p) / (here + strength * p)
        for p, seen, here in zip(own, counts, expects, strict=True)
    ]
    whole = math.fsum(raw)
    direct = {outcome for fault, row in test.given.items() if fault != key for outcome in row.direct}
    floors = [p if name in direct else LEAST for name, p in zip(test.outcomes, own, strict=True)]
    return _above(tuple(p / whole for p in raw), floors)


def _above(row: tuple[float, ...], floors: Sequence[float]) -> tuple[float, ...]:
    """The row with each chance at its floor or above, 1 in all; what is above gives way in proportion."""
    low = [p <= floor for p, floor in zip(row, floors, strict=True)]
    while True:
        kept = math.fsum(floor for floor, is_low in zip(floors, low, strict=True) if is_low)
        free = math.fsum(p for p, is_low in zip(row, low, strict=True) if not is_low)
        made = tuple(
            floor if is_low else p * (1 - kept) / free
            for p, floor, is_low in zip(row, floors, low, strict=True)
        )
        new = [is_low or p < floor for p, floor, is_low in zip(made, floors, low, strict=True)]
        if new == low:
            return made
        low = new


# ---- held-back visits


def _foretold(
    expected: Expected, held: Iterable[Visit], old: Changes, new: Changes
) -> Iterator[tuple[float, float]]:
    """Of each visit the bits of the work that ended it, with what its tests showed, given its complaint; by
    the tables before and after. Rows of tests stay as they were: each is checked by itself.
    """
    after = Changes(odds=new.odds, cells=new.cells)
    for visit in held:
        yield _bits(expected, visit, old), _bits(expected, visit, after)


def _bits(expected: Expected, visit: Visit, changes: Changes) -> float:
    fitted, total = expected.fitted(visit.fitted), 0.0
    for symptom, told in visit.told:
        shares = changed_shares(expected, symptom, fitted, changes)
        for operation, part_of in visit.works:
            fits = math.fsum(
                shares.get(fault, 0.0) * _fit(expected, visit, fault, symptom, changes)
                for fault in expected.cured_by[operation]
            )
            total += told * part_of * math.log2(max(fits, 1e-300))
    return total


def _row_score(expected: Expected, held: Sequence[Visit], found: Changes, name: RowName) -> Score:
    """Of each held-back visit that the row speaks of, the bits of what the test showed."""
    alone = Changes(rows={name: found.rows[name]})
    causes = Changes(odds=found.odds, cells=found.cells)
    pairs = []
    for visit in held:
        for system, test, weights in visit.shown:
            if (system, test) != name[:2]:
                continue
            old = new = 0.0
            for symptom, fault, share in causes_of(expected, visit, causes):
                if expected.row_key(system, test, fault) == name[2]:
                    rows = (
                        expected.row(system, test, fault, symptom),
                        _changed_row(expected, system, test, fault, symptom, alone),
                    )
                    fits = [
                        math.fsum(weight * p for weight, p in zip(weights, row, strict=True)) for row in rows
                    ]
                    old += share * math.log2(fits[0])
                    new += share * math.log2(fits[1])
            if old or new:
                pairs.append((old, new))
    return Score.of(pairs)


def calibration(
    expected: Expected, held: Sequence[Visit], changes: Changes, most: int = 1000
) -> tuple[Tenth, ...]:
    """How true the said chances of the likeliest work are, tenth by tenth; of so many visits at most."""
    found: dict[int, list[tuple[float, bool]]] = {}
    for visit in held[:most]:
        fitted = expected.fitted(visit.fitted)
        symptom = max(visit.told, key=lambda one: one[1])[0]
        shares = changed_shares(expected, symptom, fitted, changes)
        works: dict[str, float] = {}
        for fault, share in shares.items():
            weight = share * _fit(expected, visit, fault, symptom, changes)
            works[expected.works[fault]] = works.get(expected.works[fault], 0.0) + weight
        whole = math.fsum(works.values())
        best = max(works, key=works.__getitem__)
        said = works[best] / whole
        came = best in {operation for operation, _ in visit.works}
        found.setdefault(min(9, int(10 * said)), []).append((said, came))
    return tuple(
        Tenth(
            visits=len(here),
            said=math.fsum(said for said, _ in here) / len(here),
            came=sum(came for _, came in here) / len(here),
        )
        for _, here in sorted(found.items())
    )
