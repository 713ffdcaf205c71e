"""What one step of inference costs over all systems, beside plain enumeration in the same run.

    .venv/bin/python tests/benchmarks/bench_inference.py [ROUNDS]

Every line is one piece of work with what it gains against the enumeration; all results are the same to 1e-12
(tests/assess/test_inference_by_enumeration.py). CPU time, medians of rounds that take turns.

Aim: the step after one answer with suspects, next tests and calls at most 5 ms in a visit, where a fault is
taken up once its complaint or a reading speaks for it: in a process that stays (the screens' worker), which
ranks by whole columns, and beside it as in a command that ends and never loads numpy. The other lines take up
every fault of every system, asked by name: the most that there can be.
"""

from __future__ import annotations

import math
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import attrs

from corekit.assess.branches import Branches
from corekit.assess.hypotheses import Complaint, Tables, joint
from corekit.assess.inference import Act, Beliefs, Shown, chance_of, start, step
from corekit.assess.outcome import Outcome
from corekit.assess.ranking import Ranking, information_of_each, use_columns
from corekit.assess.suspect import Evidence, call_for_part, next_tests, suspects
from corekit.assess.timeline import StageOutcome
from corekit.plugin.faults import FaultTable
from corekit.plugin.host import load
from tests.assess import enumeration as plain

VISITS = ("does_nothing", "misses_under_load", "dies_at_the_lights", "overheats", "engine_lamp")
COMPLAINT = Complaint(symptoms=("cranks_no_start",))


def shown_of(tables: Tables, count: int) -> list[Shown]:
    """The outcome of a sound vehicle, nine in ten, of so many tests spread over all."""
    found = []
    for one in list(tables.tests.values())[:: len(tables.tests) // count][:count]:
        others = len(one.test.outcomes) - 1
        weights = [0.9 if name == one.test.sound else 0.1 / others for name in one.test.outcomes]
        found.append(Shown(system=one.system, test=one.test, weights=tuple(weights)))
    return found


def all_worth(beliefs: Beliefs) -> list[float]:
    return information_of_each(Ranking(beliefs), list(beliefs.tables.tests.values()))


def all_worth_plainly(beliefs: plain.Beliefs) -> list[float]:
    ranking = plain.Ranking(beliefs)
    return [plain.information(ranking, one.system, one.test) for one in beliefs.tables.tests.values()]


def forgetting_rows(beliefs: Beliefs) -> Beliefs:
    """The same beliefs, of which no row of any test is known yet."""
    return attrs.evolve(beliefs, branches=Branches.of(beliefs.tables, dict(beliefs.branches)))


def visit(systems: dict[str, FaultTable], symptom: str, rounds: int) -> None:
    """What an answer costs in a visit with this complaint, beside a fixed piece of work."""
    tables = joint(systems, Complaint(symptoms=(symptom,)), {}, systems)
    shown = shown_of(tables, 6)
    before = start(tables)
    for event in shown[:-1]:
        before = step(before, event)
    latest = {
        one.key: StageOutcome(
            system=one.system, stage=0, outcome=Outcome(test=one.test, weights=one.weights, evidence=())
        )
        for one in shown
    }
    own = [one for one in load().operations.values() if one.key.partition(".")[0] in tables.systems]

    def answer() -> None:
        evidence = Evidence(
            beliefs=step(before, shown[-1]),
            events=(),
            latest=latest,
            current=frozenset(latest),
            made=frozenset(latest),
            barred=frozenset(),
            fitted={},
            acts=[one for one in own if one.as_test],
        )
        suspects(evidence)
        next_tests(evidence)
        for one in own:
            if one.replaces:
                call_for_part(evidence, one.key, 0)

    def fixed() -> float:
        return math.fsum([n * n for n in range(100_000)])

    times: dict[str, list[float]] = {"stays": [], "ends": [], "fixed": []}
    for _ in range(rounds):
        for key, work in (("stays", answer), ("ends", answer), ("fixed", fixed)):
            use_columns(wanted=key == "stays")
            begun = time.process_time()
            work()
            times[key].append(time.process_time() - begun)
    stays, ends, other = (statistics.median(each) * 1000 for each in times.values())
    print(
        f"{symptom}, {len(tables.systems)} systems, {len(tables.faults)} faults taken up,"
        f" {len(tables.tests)} tests: an answer in a process that stays {stays:.2f} ms, in one that ends"
        f" {ends:.2f} ms, 100,000 squares summed {other:.2f} ms, ratios {stays / other:.2f} and"
        f" {ends / other:.2f}"
    )


def main(rounds: int) -> None:
    systems = {key: one.faults for key, one in load().systems.items() if one.faults is not None}
    tables = joint(systems, COMPLAINT, {}, systems, asked=systems)
    shown = shown_of(tables, 6)
    beliefs, plainly = start(tables), plain.start(tables)
    for event in shown[:-1]:
        beliefs, plainly = step(beliefs, event), plain.step(plainly, event)
    last, after, plainly_after = shown[-1], step(beliefs, shown[-1]), plain.step(plainly, shown[-1])
    act = Act(removes=frozenset(list(tables.faults)[:2]))

    def begin_anew() -> None:
        fresh = attrs.evolve(tables)
        start(fresh)

    def answer() -> None:
        here = step(beliefs, last)
        for fault in tables.faults:
            chance_of(here, {fault})
        all_worth(here)

    def answer_plainly() -> None:
        here = plain.step(plainly, last)
        for fault in tables.faults:
            plain.chance_of(plain.now(here), {fault})
        all_worth_plainly(here)

    def answer_in_columns() -> None:
        use_columns()
        answer()
        use_columns(wanted=False)

    rows: list[tuple[str, Callable[[], object], Callable[[], object]]] = [
        ("start, of tables not met before", begin_anew, lambda: plain.start(tables)),
        ("start, of the same tables again", lambda: start(tables), lambda: plain.start(tables)),
        (
            "what one test showed, kind by kind",
            lambda: step(beliefs, last),
            lambda: plain.step(plainly, last),
        ),
        ("a repair", lambda: step(after, act), lambda: plain.step(plainly_after, act)),
        (
            "the chance of each fault",
            lambda: [chance_of(after, {fault}) for fault in tables.faults],
            lambda: [plain.chance_of(plain.now(plainly_after), {fault}) for fault in tables.faults],
        ),
        (
            "what every test would tell, works and rows taken together",
            lambda: all_worth(forgetting_rows(after)),
            lambda: all_worth_plainly(plainly_after),
        ),
        ("the same with rows kept", lambda: all_worth(after), lambda: all_worth_plainly(plainly_after)),
        ("an answer: step, each fault, every test", answer, answer_plainly),
        ("the same in a process that stays", answer_in_columns, answer_plainly),
    ]  # fmt: skip
    for symptom in VISITS:
        visit(systems, symptom, rounds)
    print(
        f"{len(tables.faults)} faults, {len(tables.tests)} tests, {len(beliefs.branches)} branches;"
        f" medians of {rounds}, CPU"
    )
    for label, ours, theirs in rows:
        times: dict[str, list[float]] = {"ours": [], "theirs": []}
        for _ in range(rounds):
            for key, work in (("ours", ours), ("theirs", theirs)):
                begun = time.process_time()
                work()
                times[key].append(time.process_time() - begun)
        mine, other = (statistics.median(times[key]) * 1000 for key in ("ours", "theirs"))
        print(
            f"  {label:<58} {mine:8.2f} ms  enumeration {other:7.1f} ms  gain {other / max(mine, 1e-3):7.1f}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
