"""What verdicts cost beside what one would write without them.

Run it: python tests/benchmarks/bench_verdicts.py

Three ratios, each of two ways to the same answer, measured side by side and in turn within one run; printed
is the median of the ratios, because seconds say more about the computer than about the program.

1. Columns of verdicts over 10⁶ readings ÷ guarded numpy comparisons (finite, uncertainty not negative, margin
  against 1.645 u, as one writes them by hand over whole arrays). Aim: at most 2.
2. The same ÷ one pint quantity for each reading, compared with a limit that is a quantity. Aim: at most
  1/500.
3. A visit of 40 readings and 30 verdicts, from typed texts' numbers to findings' verdicts, by Values ÷ by
  pint quantities of `uncertainties` throughout. Aim: at most 1/5.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
import pint
from uncertainties import ufloat

from corekit import units
from corekit.judge import Z, conform, normal
from corekit.judge_columns import BLOCK, Ends, leanings
from corekit.model.finding import Verdict
from corekit.model.limit import Limit
from corekit.model.source import Basis, Source, Status
from corekit.model.value import Value, exact

ROWS = 1_000_000
QUANTITIES = 4_000  # one pint quantity costs so much that a few thousand of them tell what a million would
SOURCE = Source(key="s", title="A handbook", basis=Basis.HANDBOOK, status=Status.READ)
ONE_SIDED, TWO_SIDED, NARROW = Ends(low=12.4), Ends(low=13.2, high=14.8), Ends(low=13.4, high=13.6)


def guarded(numbers: np.ndarray, u: np.ndarray, low: float, high: float) -> np.ndarray:
    """By hand: refuse what is no number, then compare the margins with the guard band."""
    if not (np.isfinite(numbers).all() and np.isfinite(u).all() and (u >= 0).all()):
        raise ValueError("not finite")
    guard = Z * u
    above, below = numbers - low, high - numbers
    passes = (above >= guard) & (below >= guard)
    fails = (above <= -guard) | (below <= -guard)
    return np.where(passes, 2, np.where(fails, 0, 1)).astype(np.int8)


def guarded_low(numbers: np.ndarray, u: np.ndarray, low: float) -> np.ndarray:
    if not (np.isfinite(numbers).all() and np.isfinite(u).all() and (u >= 0).all()):
        raise ValueError("not finite")
    guard = Z * u
    margin = numbers - low
    return np.where(margin >= guard, 2, np.where(margin <= -guard, 0, 1)).astype(np.int8)


def in_blocks(
    judge: Callable[[np.ndarray, np.ndarray], np.ndarray], numbers: np.ndarray, u: np.ndarray
) -> np.ndarray:
    starts = range(0, len(numbers), BLOCK)
    return np.concatenate(
        [judge(numbers[start : start + BLOCK], u[start : start + BLOCK]) for start in starts]
    )


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def ratio(
    rounds: int, ours: Callable[[], object], theirs: Callable[[], object]
) -> tuple[float, float, float]:
    """Median of ours ÷ theirs over rounds in turn, and the median seconds of each."""
    ours(), theirs()
    pairs = [(seconds(ours), seconds(theirs)) for _ in range(rounds)]
    return (
        statistics.median(a / b for a, b in pairs),
        statistics.median(a for a, _ in pairs),
        statistics.median(b for _, b in pairs),
    )


# ---- a visit

TYPED = [(f"{12 + place / 100:.2f}", "V") for place in range(20)] + [
    (f"{300 + 3 * place}", "mA") for place in range(10)
]
TYPED += [(f"{15 + place / 2:.1f}", "degC") for place in range(10)]


def our_visit() -> list[Verdict]:
    """40 readings with their budgets; 30 of them judged, ten of these as a difference of two."""
    kinds = {"V": "voltage", "mA": "current", "degC": "temperature"}
    spelled = {"V": "V", "mA": "mA", "degC": "°C"}
    values = []
    for place, (text, unit) in enumerate(TYPED):
        number = units.to_coherent(float(text), spelled[unit])
        values.append(
            Value(
                kinds[unit],
                number,
                {f"meter.{unit}": 0.003 * number, f"r{place}": 0.01},
                frozenset({f"r{place}"}),
            )
        )
    limits = {
        kind: Limit(key="k", source=SOURCE, why="exact", low=exact(kind, low))
        for kind, low in (("voltage", 12.1), ("current", 0.315), ("drop", 0.05))
    }
    drop = Limit(key="k", source=SOURCE, why="exact", high=exact("voltage", 0.05))
    found = [conform(value, limits[value.kind]).verdict for value in values[10:30]]
    found += [
        conform(one - other, drop).verdict for one, other in zip(values[:10], values[10:20], strict=True)
    ]
    return found


def their_visit(registry: pint.UnitRegistry) -> list[Verdict]:
    """The same with a pint quantity of an uncertain number for each reading."""
    gains = {unit: ufloat(0, 0.003) for unit in ("V", "mA", "degC")}
    values = []
    for text, unit in TYPED:
        if unit == "degC":
            kelvin = registry.Quantity(float(text), "degC").to("K").magnitude
            values.append(registry.Quantity(kelvin * (1 + gains[unit]) + ufloat(0, 0.01), "K"))
        else:
            coherent = "V" if unit == "V" else "A"
            values.append(
                registry.Quantity(float(text) * (1 + gains[unit]), unit).to(coherent)
                + registry.Quantity(ufloat(0, 0.01), coherent)
            )

    def verdict(margin: pint.Quantity) -> Verdict:
        chance = normal(margin.magnitude.nominal_value / margin.magnitude.std_dev)
        return Verdict.PASS if chance >= 0.95 else Verdict.FAIL if chance <= 0.05 else Verdict.UNDECIDED

    limits = {"V": registry.Quantity(12.1, "V"), "A": registry.Quantity(0.315, "A")}
    found = [verdict(value - limits[f"{value.units:~}"]) for value in values[10:30]]
    drop = registry.Quantity(0.05, "V")
    return found + [
        verdict(drop - (one - other)) for one, other in zip(values[:10], values[10:20], strict=True)
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--rounds", type=int, default=15)
    rounds = parser.parse_args().rounds
    draw = np.random.default_rng(20260701)
    numbers, u = draw.normal(13.5, 1.0, ROWS), draw.choice([0.0, 0.01, 0.05], ROWS)
    registry = pint.UnitRegistry()

    for name, ours, theirs in (
        ("one-sided", lambda: leanings(numbers, u, ONE_SIDED), lambda: guarded_low(numbers, u, 12.4)),
        ("two-sided", lambda: leanings(numbers, u, TWO_SIDED), lambda: guarded(numbers, u, 13.2, 14.8)),
        (
            "one-sided, by hand in blocks too",
            lambda: leanings(numbers, u, ONE_SIDED),
            lambda: in_blocks(lambda y, s: guarded_low(y, s, 12.4), numbers, u),
        ),
        (
            "two-sided, by hand in blocks too",
            lambda: leanings(numbers, u, TWO_SIDED),
            lambda: in_blocks(lambda y, s: guarded(y, s, 13.2, 14.8), numbers, u),
        ),
        (
            "two-sided, a limit as wide as 4 u",
            lambda: leanings(numbers, u, NARROW),
            lambda: guarded(numbers, u, 13.4, 13.6),
        ),
    ):
        times, mine, hand = ratio(rounds, ours, theirs)
        print(
            f"columns ÷ guarded numpy, {name}: {times:.2f} (aim ≤ 2)   {mine * 1e3:.1f} ms against"
            f" {hand * 1e3:.1f} ms for {ROWS:,} rows"
        )

    few = numbers[:QUANTITIES].tolist()
    limit = registry.Quantity(12.4, "V")

    def quantities() -> list[bool]:
        return [bool(registry.Quantity(number, "V") >= limit) for number in few]

    times, mine, one_by_one = ratio(rounds, lambda: leanings(numbers, u, ONE_SIDED), quantities)
    per_row = (mine / ROWS) / (one_by_one / QUANTITIES)
    said = f"{mine / ROWS * 1e9:.1f} ns against {one_by_one / QUANTITIES * 1e6:.1f} µs"
    print(f"columns ÷ one pint quantity per reading: 1/{1 / per_row:.0f} (aim ≤ 1/500)   {said}")

    assert our_visit() == their_visit(registry), "both ways must come to the same verdicts"
    times, mine, theirs_ = ratio(rounds * 4, our_visit, lambda: their_visit(registry))
    print(
        f"visit of 40 readings and 30 verdicts ÷ pint and uncertainties: 1/{1 / times:.1f} (aim ≤ 1/5)  "
        f" {mine * 1e6:.0f} µs against {theirs_ * 1e6:.0f} µs"
    )


if __name__ == "__main__":
    main()
