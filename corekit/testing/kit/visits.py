"""Simulated visits over a system's fault table, held to what is wanted of it.

The aims are the project's own: right at least 0.9 of what all tests together allow, that ceiling at least
0.85, a wrong part in at most 3 %, other wrong work in at most 5 %, chances said true within 0.05 in each
tenth. So many visits as one waits for leave an interval; what is told here misses its aim with the whole of
it. Hands-on minutes are held to those of the tests in the order of the table and no more: a small table may
stand in the best order already. The benchmark asks for 0.85 of them over the large ones.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence

from ...plugin.faults import OUTSIDE
from ...plugin.host import Plugins
from ...plugin.system import System
from .nonconformity import Nonconformity
from .simulated import Ended, Truth, ended_visits, in_order, ranked, wilson

CEILING, OF_CEILING, WRONG_PART, WRONG_WORK = 0.85, 0.9, 0.03, 0.05
SAID_WITHIN = 0.05
SEED = 20261128
#: A tenth with fewer visits says nothing; ten of them are looked at, and 95 % are for all together.
_LEAST, _ONE_OF_TEN = 10, 2.81
#: So many of the states that were not found are named.
_NAMED = 3

_Visits = Sequence[tuple[Truth, Ended]]


def nonconforming_visits(system: System, count: int) -> Iterator[Nonconformity]:
    """What so many visits show to be plainly off its aim; nothing for a system without a fault table."""
    table = system.faults
    if table is None or not table.tests or not count:
        return
    of = f"fault table of {system.key}"
    if not table.symptoms:
        yield Nonconformity(
            of=of,
            fault="no symptom is told under any of its faults, so no complaint leads to them",
            cure="Give the chance of a symptom under the faults that make it, [symptoms.KEY]; what the shared"
            " list lacks a system declares, system.symptom(…).",
        )
        return
    plugins = Plugins(systems={system.key: system})
    tables = {system.key: table}
    best = list(ended_visits(tables, plugins, in_order, count, SEED, all_first=True))
    ceiling = _right(best)
    if wilson(ceiling, count)[1] < CEILING:
        yield Nonconformity(
            of=of,
            fault=f"with every test made {_share(ceiling, count)} of {count} simulated visits end right,"
            f" where {CEILING:.0%} are wanted; {_not_found(best, system)}",
            cure="Give the table tests that tell these faults apart, with rows that differ, or a direct row;"
            " what a test shows also while the complaint is away is lasting = true.",
        )
    made = list(ended_visits(tables, plugins, ranked, count, SEED))
    own, best_own = _with_own_fault(made), _with_own_fault(best)
    right, reachable, there = _right(own), _right(best_own), len(own)
    if there and wilson(right, there)[1] < OF_CEILING * reachable / there:
        yield Nonconformity(
            of=of,
            fault=f"as its tests are offered {_share(right, there)} of {there} simulated visits with a fault"
            f" of it end right, where every test made gives {_share(reachable, there)};"
            f" {_not_found(own, system)}",
            cure="Look at minutes and after of the tests that would find these: they come too late or never.",
        )
    for what, hits, most in (
        ("a part without need", sum(one.wrong_part for _, one in made), WRONG_PART),
        ("work without need", sum(one.wrong_work for _, one in made), WRONG_WORK),
    ):
        if wilson(hits, count)[0] > most:
            yield Nonconformity(
                of=of,
                fault=f"{_share(hits, count)} of {count} simulated visits end with {what}, where {most:.0%}"
                f" are borne; {_not_found(made, system)}",
                cure="A direct row has an outcome that other faults show as well: ask for more before it.",
            )
    yield from _false_chances(made, of)
    yield from _slow(made, list(ended_visits(tables, plugins, in_order, count, SEED)), of)


def _false_chances(visits: _Visits, of: str) -> Iterator[Nonconformity]:
    """The tenths of the said chance of the likeliest in which it was there plainly less or more often."""
    tenths: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for _, one in visits:
        tenths[min(9, int(10 * one.said[0]))].append(one.said)
    for tenth, said in sorted(tenths.items()):
        mean = math.fsum(chance for chance, _ in said) / len(said)
        there = sum(was for _, was in said)
        low, high = wilson(there, len(said), _ONE_OF_TEN)
        if len(said) >= _LEAST and (low > mean + SAID_WITHIN or high < mean - SAID_WITHIN):
            yield Nonconformity(
                of=of,
                fault=f"where the likeliest is said at {tenth / 10:.1f} to {(tenth + 1) / 10:.1f}, {mean:.2f}"
                f" in the mean, it was there in {_share(there, len(said))} of {len(said)} simulated visits",
                cure="Rows that are surer than what they rest on make it so: move the largest chances"
                " towards none, or give tests that ask the same one group.",
            )


def _slow(visits: _Visits, plain: _Visits, of: str) -> Iterator[Nonconformity]:
    """Hands-on minutes against the tests in the table's order, over the visits that both end right."""
    both = [
        (one.minutes, other.minutes)
        for (_, one), (_, other) in zip(visits, plain, strict=True)
        if one.how == other.how == "right"
    ]
    if len(both) < _LEAST:
        return
    over = [one - other for one, other in both]
    mean = math.fsum(over) / len(over)
    spread = math.sqrt(math.fsum((one - mean) ** 2 for one in over) / (len(over) - 1) / len(over))
    if mean - 1.96 * spread > 0:
        took, takes = (math.fsum(column) / len(both) for column in zip(*both, strict=True))
        yield Nonconformity(
            of=of,
            fault=f"as its tests are offered a visit takes {took:.0f} min hands-on, and {takes:.0f} min with"
            f" its tests in the order of the table ({len(both)} simulated visits that end right both ways)",
            cure="Look at the minutes of the tests, and give quick ones rows that tell more.",
        )


def _with_own_fault(visits: _Visits) -> _Visits:
    """Where nothing of the table is wrong its tests are rightly offered no further and nothing is decided."""
    return [(truth, one) for truth, one in visits if truth.state - {OUTSIDE}]


def _right(visits: _Visits) -> int:
    return sum(one.how == "right" for _, one in visits)


def _share(hits: int, of: int) -> str:
    low, high = wilson(hits, of)
    return f"{hits / of:.0%} ({low:.0%} to {high:.0%})"


def _not_found(visits: _Visits, system: System) -> str:
    missed = Counter(truth.state for truth, one in visits if one.how != "right")
    all_of = Counter(truth.state for truth, _ in visits)
    named = [
        f"{_words(state, system)} ({count} of {all_of[state]})" for state, count in missed.most_common(_NAMED)
    ]
    return f"oftenest missed: {', '.join(named)}"


def _words(state: frozenset[str], system: System) -> str:
    return " and ".join(sorted(key.removeprefix(f"{system.key}.") for key in state)) or "no fault"
