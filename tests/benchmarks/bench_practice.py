"""What practice cars say of the program: visits driven by its own next steps, each statement held to the car.

Run it: python tests/benchmarks/bench_practice.py [--visits 100] [--seed 5000] [SYSTEM …]
With --fitted TRAIT=ANSWER (several times) the cars are of that kind alone, and so many of them.
With --hard the cars have two faults as a rule, and some show now and then alone; with --joint every car has
all systems, and the faults are of one of them. With --moved each estimate is moved by a third, up and down,
in visits and cars of its own (--visits of each; the whole takes half an hour at 4).

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
from collections.abc import Iterator, Mapping, Sequence
from itertools import count as numbers
from itertools import islice
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from corekit.plugin.host import load
from corekit.practice.car import Car, invented
from corekit.practice.declared import THIRD, Practice, practices
from corekit.practice.driving import Driven, counts, visited
from corekit.testing.kit.simulated import wilson

#: Kinds of untrue statements that are known and stay, by a word of theirs, each with the reason.
KNOWN = {
    "soot_valve": "a motor valve that moves a part of its way looks like soot until it is off; nine in ten"
    " such are, and nine in ten are said",
}


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
        for reason in (why for word, why in KNOWN.items() if word in words):
            print(f"    known: {reason}")
    missed = Counter(
        (one.how, " + ".join(hidden.defect.key for hidden in one.hidden))
        for one in made
        if one.how != "right"
    )
    for (how, faults), count in missed.most_common(8):
        of = sum(" + ".join(hidden.defect.key for hidden in one.hidden) == faults for one in made)
        print(f"  {how}: {faults} ({count} of {of})")
    print(flush=True)


def cars(
    parts: Mapping[str, Practice[Any]], system: str, seed: int, fitted: Mapping[str, str], *, hard: bool
) -> Iterator[Car]:
    """Cars of this kind without end, from this seed on."""
    made = (invented(parts, one, system=system, hard=hard) for one in numbers(seed))
    return (car for car in made if all(car.fitted(trait) == answer for trait, answer in fitted.items()))


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
    parser.add_argument("--fitted", action="append", default=[], metavar="TRAIT=ANSWER", help="of one kind")
    asked = parser.parse_args()
    plugins = load()
    fitted = dict(one.split("=", 1) for one in asked.fitted)
    kind = "".join(f", {trait} {answer}" for trait, answer in fitted.items())
    for system in asked.systems or practices(plugins):
        if asked.moved:
            moved(system, asked.visits, asked.seed, fitted)
            continue
        parts = practices(plugins, () if asked.joint else (system,))
        chosen = list(islice(cars(parts, system, asked.seed, fitted, hard=asked.hard), asked.visits))
        began = time.process_time()
        made = [visited(car, plugins, about=() if asked.joint else None) for car in chosen]
        report(f"{system}{kind}", made, time.process_time() - began)


def moved(system: str, visits: int, seed: int, fitted: Mapping[str, str]) -> None:
    """Visits with each estimate moved by a third: whether the aims are still met."""
    plugins = load()
    practice = practices(plugins, [system])[system]
    every: list[Driven] = []
    began = time.process_time()
    for nth, name in enumerate(practice.estimates):
        made: list[Driven] = []
        for factor in (THIRD, 1.0 / THIRD):
            parts = {system: practice.with_estimate_moved(name, factor)}
            chosen = islice(cars(parts, system, seed + nth * visits, fitted, hard=False), visits)
            made += [visited(car, plugins) for car in chosen]
        every += made
        found = counts(made)
        odd = {what: found[what] for what in ("wrong part", "said something untrue", "wrong") if found[what]}
        print(f"  {name:22s} right {found['right']} of {len(made)} {odd or ''}", flush=True)
    report(f"{system}, each estimate moved by a third", every, time.process_time() - began)


if __name__ == "__main__":
    main()
