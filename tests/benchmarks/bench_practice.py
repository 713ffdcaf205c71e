"""What practice cars say of the program: visits driven by its own next steps, each statement held to the car.

Run it: python tests/benchmarks/bench_practice.py [--visits 100] [--seed 5000] [SYSTEM …]
With --hard the cars have two faults as a rule, and some show now and then alone; with --joint every car has
all systems, and the faults are of one of them. With --moved each estimate is moved by a third, up and down,
in visits of its own (--visits of each; the whole takes half an hour at 4).

Printed for each system: right (the work that was needed was done, or passed on to whom it belongs, and
nothing else), wrong part, work in vain, left over, undecided, visits with an untrue statement, with 95 %
intervals (Wilson), minutes, seconds of processor for a visit, and each kind of untrue statement with a seed.

Aims: right at least 80 %, a wrong part in at most 3 %, an untrue statement in at most 5 % of the visits, 100
visits in 60 s. Sizes and shares of practice cars are estimates: nothing here is a figure of the field.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from corekit.plugin.host import load
from corekit.practice.car import invented
from corekit.practice.declared import THIRD, practices
from corekit.practice.driving import Driven, counts, drive, visited
from corekit.testing.kit.simulated import wilson


def share(hits: int, of: int) -> str:
    low, high = wilson(hits, of)
    return f"{hits:4d} = {100 * hits / of:5.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def report(name: str, made: Sequence[Driven], seconds: float) -> None:
    found = counts(made)
    print(f"{name}: {len(made)} visits")
    for what in (
        "right",
        "wrong part",
        "said something untrue",
        "in vain",
        "left over",
        "wrong",
        "undecided",
    ):
        print(f"  {what:22s} {share(found[what], len(made))}")
    print(f"  minutes                {statistics.mean(one.minutes for one in made):.0f}")
    print(f"  seconds a visit        {seconds / len(made):.2f} (of the processor)")
    kinds = Counter(one.kind for each in made for one in each.untrue)
    for kind, count in kinds.most_common():
        each = next(each for each in made if any(one.kind == kind for one in each.untrue))
        words = next(str(one) for one in each.untrue if one.kind == kind)
        print(f"  untrue: {count} x {words[:150]} (seed {each.seed}: {'; '.join(map(str, each.hidden))})")
    missed = Counter(
        (one.how, " + ".join(hidden.defect.key for hidden in one.hidden))
        for one in made
        if one.how != "right"
    )
    for (how, faults), count in missed.most_common(8):
        of = sum(" + ".join(hidden.defect.key for hidden in one.hidden) == faults for one in made)
        print(f"  {how}: {faults} ({count} of {of})")
    print(flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("systems", nargs="*")
    parser.add_argument("--visits", type=int, default=100)
    parser.add_argument("--seed", type=int, default=5000)
    parser.add_argument("--hard", action="store_true")
    parser.add_argument("--joint", action="store_true")
    parser.add_argument("--moved", action="store_true")
    asked = parser.parse_args()
    plugins = load()
    for system in asked.systems or practices(plugins):
        if asked.moved:
            moved(system, asked.visits, asked.seed)
            continue
        began = time.process_time()
        made = drive(
            asked.visits,
            asked.seed,
            plugins,
            systems=() if asked.joint else (system,),
            system=system,
            hard=asked.hard,
        )
        report(system, made, time.process_time() - began)


def moved(system: str, visits: int, seed: int) -> None:
    """Visits with each estimate moved by a third: whether the aims are still met."""
    plugins = load()
    practice = practices(plugins, [system])[system]
    every: list[Driven] = []
    began = time.process_time()
    for name in practice.estimates:
        made: list[Driven] = []
        for factor in (THIRD, 1.0 / THIRD):
            parts = {system: practice.with_estimate_moved(name, factor)}
            cars = (invented(parts, one) for one in range(seed, seed + visits))
            made += [visited(car, plugins) for car in cars]
        every += made
        found = counts(made)
        odd = {what: found[what] for what in ("wrong part", "said something untrue", "wrong") if found[what]}
        print(f"  {name:22s} right {found['right']} of {len(made)} {odd or ''}", flush=True)
    report(f"{system}, each estimate moved by a third", every, time.process_time() - began)


if __name__ == "__main__":
    main()
