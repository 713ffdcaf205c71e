"""What the reasoning is worth: simulated visits, from the complaint to the work, beside plain policies.

Run it: python tests/benchmarks/bench_reasoning.py [--visits 1000] [--seed 20261128] [--joint] [SYSTEM …]
With --fitted TRAIT=ANSWER (several times) every vehicle is of that kind; else each is of a kind of its own.

How a visit goes stands in corekit/testing/kit/simulated.py.

Printed, with 95 % intervals (Wilson): right (the complaint ended by needed work alone, or rightly passed
on), wrong part, wrong work, undecided, minutes; the ceiling, where every test is made before anything is
decided; three plain policies with the same rule for calls: the table's order, the quickest test first,
the likeliest fault's most telling test first; and how true the said probabilities are in each tenth.

Aims: right at least 0.9 of the ceiling, the ceiling at least 0.85, a wrong part in at most 3 %, wrong
work in at most 5 %, said probabilities true within 0.05 in each tenth, minutes at most 0.85 of the best
plain policy at equal right. It judges tables as much as the reasoning: a ceiling below 0.85 asks their
author for tests.
"""

from __future__ import annotations

import argparse
import math
import statistics
import sys
import time
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from corekit.assess.hypotheses import JointTest
from corekit.assess.inference import chance_of
from corekit.assess.ranking import use_columns
from corekit.plugin.host import load
from corekit.testing.kit.simulated import (
    Ended,
    Policy,
    Truth,
    Visit,
    ended_visits,
    in_order,
    open_tests,
    ranked,
    wilson,
)


def quickest(visit: Visit) -> JointTest | None:
    return min(open_tests(visit), key=lambda one: one.test.minutes, default=None)


def likeliest(visit: Visit) -> JointTest | None:
    """The test that tells most about the likeliest fault, whatever it costs."""
    tables = visit.beliefs.tables
    best = max(tables.faults, key=lambda fault: chance_of(visit.beliefs, {fault}), default=None)
    if best is None:
        return next(iter(open_tests(visit)), None)

    def telling(one: JointTest) -> float:
        here, none = (tables.row(one.system, one.test, state) for state in (frozenset({best}), frozenset()))
        return sum(p * math.log(p / q) for p, q in zip(here, none, strict=True))

    return max(open_tests(visit), key=telling, default=None)


def share(hits: int, of: int) -> str:
    low, high = wilson(hits, of)
    return f"{100 * hits / of:5.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def report(name: str, ended: Sequence[Ended]) -> None:
    count = len(ended)
    print(
        f"  {name:22s} right {share(sum(one.how == 'right' for one in ended), count)}"
        f"  wrong part {share(sum(one.wrong_part for one in ended), count)}"
        f"  wrong work {share(sum(one.wrong_work for one in ended), count)}"
        f"  undecided {100 * sum(one.how == 'undecided' for one in ended) / count:.1f} %"
        f"  minutes {statistics.mean(one.minutes for one in ended):.0f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("systems", nargs="*", help="each by itself; none: every system, then all together")
    parser.add_argument("--visits", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=20261128)
    parser.add_argument("--plain", action="store_true", help="with the three plain policies")
    parser.add_argument("--joint", action="store_true", help="all systems together alone")
    parser.add_argument("--lost", action="store_true", help="which faults were not found")
    parser.add_argument("--fitted", action="append", default=[], metavar="TRAIT=ANSWER", help="of one kind")
    asked = parser.parse_args()
    use_columns()
    plugins = load()
    fitted = dict(one.split("=", 1) for one in asked.fitted)
    tables = {key: system.faults for key, system in plugins.systems.items() if system.faults is not None}
    groups = [[key] for key in asked.systems] or [*([key] for key in tables), list(tables)]
    groups = groups[-1:] if asked.joint else groups
    for group in groups:
        some = {key: tables[key] for key in group}
        kind = "".join(f", {trait} {answer}" for trait, answer in fitted.items())
        print(f"{' and '.join(group)}{kind}, {asked.visits} visits, seed {asked.seed}")
        policies: dict[str, tuple[Policy, bool]] = {
            "as the product ranks": (ranked, False),
            "ceiling (all tests)": (in_order, True),
        }
        if asked.plain:
            policies |= {
                "table's order": (in_order, False),
                "quickest first": (quickest, False),
                "likeliest fault first": (likeliest, False),
            }
        for name, (policy, first) in policies.items():
            began = time.perf_counter()
            made = list(
                ended_visits(some, plugins, policy, asked.visits, asked.seed, all_first=first, fitted=fitted)
            )
            truths, ended = [truth for truth, _ in made], [one for _, one in made]
            report(name, ended)
            if asked.lost:
                lost(truths, ended)
            if policy is ranked:
                calibration(ended)
            print(f"    {1000 * (time.perf_counter() - began) / asked.visits:.0f} ms a visit", flush=True)


def lost(truths: Sequence[Truth], ended: Sequence[Ended]) -> None:
    """Of each state, how its visits ended, the worst first."""
    found: dict[str, list[str]] = {}
    for truth, one in zip(truths, ended, strict=True):
        found.setdefault(" + ".join(sorted(truth.state)) or "no fault", []).append(one.how)
    for state, hows in sorted(found.items(), key=lambda item: -sum(how != "right" for how in item[1]))[:20]:
        counts = ", ".join(f"{how} {hows.count(how)}" for how in ("right", "wrong", "undecided"))
        print(f"      {state}: {counts}")


def calibration(ended: Sequence[Ended]) -> None:
    for tenth in range(10):
        here = [one.said for one in ended if tenth <= 10 * min(one.said[0], 0.9999) < tenth + 1]
        if len(here) >= 10:
            said = statistics.mean(chance for chance, _ in here)
            true = sum(there for _, there in here) / len(here)
            print(f"    said {said:.2f}, true {true:.2f} ({len(here)})")


if __name__ == "__main__":
    main()
