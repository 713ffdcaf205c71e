"""Tables of invented jobs, drawn from fault tables that hold for their vehicles: what is wrong, what is told,
which tests are made and what they show, the work, the complaint looked at again, and who comes back.

A job goes as a careful mechanic's does: tests that bear on the faults of the systems that the complaint
concerns, then the work for one fault after the other, with the complaint looked at after each.
"""

from __future__ import annotations

import random
from bisect import bisect
from collections.abc import Iterator, Mapping
from itertools import accumulate
from pathlib import Path
from typing import Any

import attrs

from corekit.assess.hypotheses import Complaint, Hypothesis, Tables, joint
from corekit.complaints import CHECK_UP, SOMETHING_ELSE, symptoms
from corekit.fleet.rows import Row, known_names
from corekit.fleet.tables import TableWriter, Written
from corekit.plugin.faults import OUTSIDE, FaultTable, FaultTest
from corekit.plugin.host import Plugins

#: Tests that a job makes at most, and the share of jobs of a vehicle that was there before.
MOST_TESTS = 8
RETURNS = 0.1
LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"


@attrs.frozen(eq=False)
class Drawn:
    """What can be wrong and told, with its chances."""

    tables: Tables
    pairs: list[tuple[Hypothesis, str]]
    heights: list[float]

    @classmethod
    def of(cls, faults: Mapping[str, FaultTable]) -> Drawn:
        everything = joint(faults, None, {}, faults)
        pairs, chances = [], []
        for key, symptom in symptoms().symptoms.items():
            told = [
                table.symptoms.get(key, {})
                for table in faults.values()
                if key not in (CHECK_UP, SOMETHING_ELSE)
            ]
            if any(max(rows.values(), default=0) >= 3 * symptom.none for rows in told):
                one = attrs.evolve(everything, complaint=Complaint(symptoms=(key,)))
                pairs += [(state, key) for state in one.hypotheses]
                chances += [
                    prior * tells
                    for prior, tells in zip(everything.prior.values(), one.told_each, strict=True)
                ]
        return cls(everything, pairs, list(accumulate(chances)))

    def draw(self, draw: random.Random) -> tuple[Hypothesis, str]:
        return self.pairs[bisect(self.heights, draw.random() * self.heights[-1])]


def chance_told(faults: Mapping[str, FaultTable], fault: str, symptom: str) -> float:
    """The chance that a symptom is told under one fault."""
    if fault == OUTSIDE:
        return symptoms().symptoms[symptom].outside
    system, _, key = fault.partition(".")
    return faults[system].symptoms.get(symptom, {}).get(key, symptoms().symptoms[symptom].none)


def shown(row: tuple[float, ...], test: FaultTest, draw: random.Random) -> Iterator[tuple[str, float]]:
    """One outcome with its weight; now and then a reading lies between two, and is as likely to be of either
    as its weights say.
    """
    at = draw.choices(range(len(row)), row)[0]
    beside = at + draw.choice((-1, 1))
    if (test.measurand or test.code) and draw.random() < 0.1 and 0 <= beside < len(row):
        here = 0.75 if draw.random() < 0.75 else 0.25
        yield from ((test.outcomes[at], here), (test.outcomes[beside], 1 - here))
    else:
        yield test.outcomes[at], 1.0


@attrs.define
class Maker:
    """Makes the rows of one job after the other."""

    faults: Mapping[str, FaultTable]
    plugins: Plugins
    draw: random.Random
    drawn: Drawn
    store: str
    vehicles: list[str] = attrs.field(factory=list)

    def rows(self, job: str) -> Iterator[Row]:
        state, symptom = self.drawn.draw(self.draw)
        back = bool(self.vehicles) and self.draw.random() < RETURNS
        vehicle = self.draw.choice(self.vehicles) if back else job
        if vehicle == job:
            self.vehicles.append(job)
        both = {"job": job, "vehicle": vehicle}
        works, gone = self._works(state, symptom)
        ended = "" if works else "no fault found" if not state else "referred"
        month = f"2026-{self.draw.randint(1, 12):02d}"
        yield (
            "jobs",
            {
                **both,
                "store": self.store,
                "month": month,
                "ended": ended,
                "retested": ("gone" if gone else "stayed") if works else "",
                "invoiced": bool(works),
            },
        )
        yield "complaints", {**both, "symptom": symptom, "share": 1.0, "shows": 1.0}
        yield from self._tests(both, state, symptom)
        if works and gone:
            operation, fault = works[-1]
            yield (
                "causes",
                {
                    **both,
                    **self._work(operation),
                    "fault": fault if self.draw.random() < 0.8 else None,
                    "stage": len(works),
                    "share": 1.0,
                    "shown_by": "complaint",
                },
            )
        for n, (operation, _) in enumerate(works):
            holds = self.draw.expovariate(1 / 2000)
            watched = self.draw.uniform(0, 700)
            came = holds < watched
            yield (
                "repairs",
                {
                    **both,
                    **self._work(operation),
                    "month": month,
                    "retested": "gone" if gone and n == len(works) - 1 else "stayed",
                    "days": int(min(holds, watched)),
                    "came_back": self.draw.choice(("same work", "same complaint", "guarantee"))
                    if came
                    else "",
                },
            )
            estimated = self.draw.randint(4000, 40000)
            off = self.draw.choice((0, 0, 0, self.draw.randint(-2000, 4000)))
            yield (
                "prices",
                {
                    **both,
                    "operation": operation,
                    "currency": "EUR",
                    "estimated": estimated,
                    "invoiced": estimated + off,
                },
            )
        yield from self._readings(both, state, works, gone)

    def _work(self, operation: str) -> dict[str, Any]:
        declared = self.plugins.operations[operation]
        system = operation.partition(".")[0]
        return {"system": system, "operation": operation, "part": declared.replaces or None}

    def _works(self, state: Hypothesis, symptom: str) -> tuple[list[tuple[str, str]], bool]:
        """The work for one fault after the other until the complaint is gone, and whether it is in the end;
        none where something is not sold, or where the complaint has another reason.
        """
        telling = [
            fault for fault in sorted(state) if self.draw.random() < chance_told(self.faults, fault, symptom)
        ]
        if not telling and state:  # it was told, so one of them did
            faults = sorted(state)
            telling = self.draw.choices(
                faults, [chance_told(self.faults, fault, symptom) for fault in faults]
            )
        left, works = set(telling), []
        for fault in self.draw.sample(sorted(state), len(state)):
            system, _, key = fault.partition(".")
            operation = self.faults[system].faults[key].calls_for if fault != OUTSIDE else ""
            if operation and left:
                works.append((operation, fault))
                left.discard(fault)
        return (works, True) if works and not left else ([], False)

    def _tests(self, both: Mapping[str, str], state: Hypothesis, symptom: str) -> Iterator[Row]:
        concerned = [
            system
            for system, table in self.faults.items()
            if max(table.symptoms.get(symptom, {}).values(), default=0)
            >= 3 * symptoms().symptoms[symptom].none
        ]
        possible = [
            (system, test)
            for system in concerned
            for test in self.faults[system].tests.values()
            if not (test.since or test.after)
        ]
        for system, test in self.draw.sample(possible, min(MOST_TESTS, len(possible))):
            row = self.drawn.tables.row(system, test, state)
            for outcome, weight in shown(row, test, self.draw):
                yield (
                    "tests",
                    {
                        **both,
                        "system": system,
                        "test": f"{system}.{test.key}",
                        "stage": 0,
                        "outcome": outcome,
                        "weight": weight,
                        "minutes": float(test.minutes),
                    },
                )

    def _readings(
        self, both: Mapping[str, str], state: Hypothesis, works: list[tuple[str, str]], gone: bool
    ) -> Iterator[Row]:
        sound = not state or (gone and len(works) == len(state))
        for measurand in self.draw.sample(sorted(self.plugins.measurands), 2):
            usual = self.plugins.measurands[measurand].usual
            low, high = usual.low or 0.0, usual.high if usual.high is not None else 1.0
            yield (
                "readings",
                {
                    **both,
                    "measurand": measurand,
                    "place": None,
                    "stage": len(works),
                    "number": self.draw.triangular(low, high),
                    "uncertainty": (high - low) / 100,
                    "sound": sound,
                },
            )


def fault_tables(plugins: Plugins, *systems: str) -> dict[str, FaultTable]:
    """System → its fault table; of all where none is named."""
    return {
        key: system.faults
        for key, system in plugins.systems.items()
        if system.faults is not None and (not systems or key in systems)
    }


def job_id(number: int) -> str:
    """Letters as a store gives them, from a number."""
    letters = ""
    for _ in range(12):
        number, at = divmod(number, len(LETTERS))
        letters = LETTERS[at] + letters
    return letters


def generated(
    folder: Path, plugins: Plugins, faults: Mapping[str, FaultTable], count: int, seed: int
) -> Written:
    """Tables of so many jobs on vehicles for which these fault tables hold; the same for the same seed."""
    draw = random.Random(seed)
    store = "001-generated"
    ids = [job_id(draw.getrandbits(59)) for _ in range(count)]
    maker = Maker(faults, plugins, draw, Drawn.of(faults), store)
    with TableWriter(folder, known_names(plugins, frozenset((*ids, store)))) as writer:
        for job in ids:
            writer.add(maker.rows(job))
    return Written(folder=folder, rows=writer.rows, left_out=writer.left_out)
