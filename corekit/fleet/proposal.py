"""What was learned as a proposal: the numbers before and after, in words and as the shop's learned.toml."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence

from ..complaints import symptoms
from ..plugin.faults import NONE, FaultTable
from ..plugin.host import Plugins
from ..plugin.learned import OTHERWISE, Learned, LearnedRow, fingerprint, row_of
from .expected import Expected
from .learning import MOST_TOLD, Learning, Tenth
from .questions import LEAST_VEHICLES

#: A prevalence never falls below this share of the table's, nor rises to all vehicles.
LEAST_LEFT, MOST_PER_1000 = 0.01, 900.0
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def learned_of(learning: Learning, faults: Mapping[str, FaultTable], day: str) -> tuple[Learned, ...]:
    """The learned numbers, system by system; of a system of which nothing was learned nothing."""
    expected, found = Expected(faults), []
    for system, table in faults.items():
        per_1000 = tuple(
            LearnedRow(
                under="",
                of=fault.partition(".")[2],
                p=(_per_1000(expected, fault, factor, learning),),
                visits=learning.changes.visits[fault],
            )
            for fault, factor in sorted(learning.changes.odds.items())
            if fault.partition(".")[0] == system and factor != 1.0
        )
        told = tuple(
            LearnedRow(
                under=symptom,
                of=fault.partition(".")[2],
                p=(_significant(min(MOST_TOLD, expected.chance_told(fault, symptom) * factor)),),
                visits=learning.changes.visits[symptom, fault],
            )
            for (symptom, fault), factor in sorted(learning.changes.cells.items())
            if fault.partition(".")[0] == system
        )
        tests = tuple(
            LearnedRow(under=test, of=key, p=_whole(row), visits=learning.changes.visits[of, test, key])
            for (of, test, key), row in sorted(learning.changes.rows.items())
            if of == system
        )
        if per_1000 or told or tests:
            found.append(
                Learned(
                    system=system,
                    table=fingerprint(table),
                    day=day,
                    visits=learning.visits,
                    per_1000=per_1000,
                    symptoms=told,
                    tests=tests,
                )
            )
    return tuple(found)


def _per_1000(expected: Expected, fault: str, factor: float, learning: Learning) -> float:
    """The prevalence that makes the fault the cause so many times as often. Where it is met together with
    another more often than by chance, that has a number of its own, which stays: the rest makes up for it.
    """
    system, _, key = fault.partition(".")
    told = [
        (shares[fault], expected.paired(fault, symptom))
        for symptom in symptoms().symptoms
        if (symptom, fault) in learning.changes.counted and fault in (shares := expected.shares(symptom, ()))
    ]
    weight = math.fsum(share for share, _ in told)
    paired = math.fsum(share * part for share, part in told) / weight if weight else 0.0
    own = max(LEAST_LEFT, (factor - paired) / (1 - paired))
    per_1000 = expected.faults[system].faults[key].per_1000
    odds = per_1000 / (1000 - per_1000) * own
    return _significant(min(MOST_PER_1000, 1000 * odds / (1 + odds)))


def _significant(number: float) -> float:
    return float(f"{number:.4g}")


def _whole(row: Sequence[float]) -> tuple[float, ...]:
    """The row to six places, 1 in all: the largest takes what rounding left."""
    rounded = [round(p, 6) for p in row]
    at = max(range(len(row)), key=row.__getitem__)
    rounded[at] = round(1 - math.fsum(p for n, p in enumerate(rounded) if n != at), 6)
    return tuple(rounded)


def as_toml(learned: Sequence[Learned], faults: Mapping[str, FaultTable]) -> str:
    """The shop's file: each number with the table's own, and the retested visits behind it."""
    lines = [
        "# What this shop's retested jobs say of the fault tables, written by `corekit learn`.",
        "# `was` is the table's own number, `visits` how many retested visits stand behind the other.",
        "# Delete this file to reason with the tables' own numbers again.",
    ]
    for one in learned:
        table = faults[one.system]
        lines += ["", f"[{_key(one.system)}]", f"table = {json.dumps(one.table)}"]
        lines += [f"day = {json.dumps(one.day)}", f"visits = {one.visits}"]
        for row in one.per_1000:
            was = table.faults[row.of].per_1000
            lines.append(f"per_1000.{_key(row.of)} = {_pair(row.p[0], was, row.visits)}")
        for row in one.symptoms:
            was = _told_before(table, row)
            lines.append(f"symptoms.{_key(row.under)}.{_key(row.of)} = {_pair(row.p[0], was, row.visits)}")
        for row in one.tests:
            before = list(row_of(table.tests[row.under], row.of))
            lines.append(
                f"test.{_key(row.under)}.{_key(row.of)} ="
                f" {{ now = {list(row.p)}, was = {before}, visits = {row.visits} }}"
            )
    return "\n".join(lines) + "\n"


def _key(text: str) -> str:
    return text if _BARE.fullmatch(text) else json.dumps(text)


def _pair(now: float, was: float, visits: int) -> str:
    return f"{{ now = {now!r}, was = {was!r}, visits = {visits} }}"


def _told_before(table: FaultTable, row: LearnedRow) -> float:
    return table.symptoms.get(row.under, {}).get(row.of, symptoms().symptoms[row.under].none)


def as_words(learning: Learning, learned: Sequence[Learned], plugins: Plugins) -> Iterator[str]:
    """The proposal, line by line: what changes, with the visits behind it, and how it was checked."""
    yield (
        f"{learning.visits} retested visits to {learning.vehicles} vehicles, held against the tables' own"
        f" numbers as {learning.strength:g} visits."
    )
    if learning.vehicles < LEAST_VEHICLES or not learned:
        yield "Nothing in them contradicts the tables: every number stays as it is."
        return
    for one in learned:
        system = plugins.systems[one.system]
        table = system.faults
        assert table is not None, "of a system without a table nothing is learned"
        yield ""
        yield system.title
        for row in one.per_1000:
            fault = table.faults[row.of]
            yield (
                f"  {fault.name}: on {fault.per_1000:g} of 1000 vehicles → {row.p[0]:g} ({row.visits} visits)"
            )
        for row in one.symptoms:
            words = symptoms().symptoms[row.under].words
            yield (
                f"  {table.faults[row.of].name}, told as “{words}”: {_told_before(table, row):.2g} →"
                f" {row.p[0]:.2g} ({row.visits} visits)"
            )
        for row in one.tests:
            test = table.tests[row.under]
            named = {NONE: "without a fault here", OTHERWISE: "under faults without a row of their own"}
            under = named.get(row.of) or table.faults[row.of].name
            yield f"  {test.question} {under} ({row.visits} visits):"
            for outcome, was, now in zip(test.outcomes, row_of(test, row.of), row.p, strict=True):
                yield f"    {outcome}: {was:.2g} → {now:.2g}"
    yield ""
    score = learning.score
    yield f"Checked on {score.visits} visits that had no part in it:"
    if learning.changes.odds:
        yield (
            f"  the work that ended them is foretold {score.after - score.before:+.3f} bits a visit better"
            f" (standard error {score.error:.3f})."
        )
    for (of, name, key), row_score in learning.row_scores.items():
        yield (
            f"  {of}.{name}, {key}: {row_score.after - row_score.before:+.3f} bits a visit"
            f" (standard error {row_score.error:.3f}, {row_score.visits} visits)."
        )
    yield "  Said chance of the likeliest work, and how often it was that one:"
    yield f"    before: {_tenths(learning.before)}"
    yield f"    after:  {_tenths(learning.after)}"


def _tenths(tenths: Sequence[Tenth]) -> str:
    told = [f"{one.said:.2f} {one.came:.2f} ({one.visits})" for one in tenths if one.visits >= LEAST_VEHICLES]
    return ", ".join(told) or "too few visits"
