"""Trouble codes that name a cylinder or a coil: where testing starts, and nothing more."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import Banks, CoilPairs, Kind
from .declarations import banks, coil_pairs, cylinders, ignition, kind
from .misfire import banks_of, coils_of

MISFIRE, COIL = 300, 350  # P0301 names cylinder 1, P0351 coil A; source: named-by-code
NAMED = range(1, 13)


@ignition.check("Cylinders that trouble codes name")
def named(
    case: ck.Case,
    *,
    how: Annotated[Kind | None, kind],
    pairs: Annotated[CoilPairs | None, coil_pairs],
    count: Annotated[ck.Value | None, cylinders],
    heads: Annotated[Banks | None, banks],
) -> Iterator[ck.Finding | ck.Gap]:
    """A code says where the control unit saw it. P0300 beside it, or alone, leaves open whether it is one,
    some or all. It stays stored for 40 warm-up cycles, so it may speak of what was mended since.

    source: code-kept
    """
    misses = {n: code for n in NAMED if (code := f"P{MISFIRE + n:04}") in case.codes}
    coils = {n: code for n in NAMED if (code := f"P{COIL + n:04}") in case.codes}
    several = f"P{MISFIRE:04}" in case.codes
    if not misses and not coils:
        if not several:
            yield case.does_not_apply("No trouble code names a cylinder.")
            return
        yield case.advise(
            ck.Claim("ignition.named", evidence=case.codes[f"P{MISFIRE:04}"].entries),
            (
                "P0300 names no cylinder: whether it is one, some or all comes first, by the misfire"
                " counters or by"
                " cutting one injector after another. Nothing is swapped before."
            ),
            tells="The car reports misfires without saying where; that is looked for first.",
        )
        return
    places = [f"cylinder {n}" for n in dict.fromkeys((*misses, *coils))]
    entries = [entry for code in (*misses.values(), *coils.values()) for entry in case.codes[code].entries]
    *most, last = (*misses.values(), *coils.values())
    listed = f"{', '.join(most)} and {last}" if most else last
    first = (
        f"cylinder {next(iter(misses))}"
        if misses
        else f"the coil of cylinder {next(iter(coils))}, most likely"
    )
    shared = how is Kind.WASTED and set(places) in [set(pair) for pair in coils_of(pairs).values()]
    if shared:
        first = "the coil that they share"
    if how is Kind.WASTED and pairs is None and len(misses) == 2:
        yield case.inconclusive(
            ck.Claim("ignition.named", evidence=list(dict.fromkeys(entries)), next_test=coil_pairs),
            (
                "{listed}: whether these two share a coil decides what comes first: that coil, or what each"
                " has for itself. Follow the two leads of each coil."
            ),
            tells="The car's own report names two cylinders; whether they share a part is looked up.",
            values={"listed": listed},
        )
        return
    yield case.advise(
        ck.Claim(
            "ignition.named",
            evidence=list(dict.fromkeys(entries)),
            urgency=ck.Urgency.THIS_VISIT,
            grade="" if several or not misses else _grade(set(misses), how, pairs, count, heads),
        ),
        ("{listed}: testing starts at {first}. A code says where it was noticed, not why.{letter}{several}"),
        tells="The car's own report names {where}; testing starts there.",
        values={
            "listed": listed,
            "first": first,
            "letter": (
                f" {next(iter(coils.values()))} is about the coil's circuit: supply, connector and wire to it"
                " before the coil itself."
                if coils
                else ""
            ),
            "several": (
                " P0300 beside it: whether others misfire too is counted before anything is swapped."
                if several
                else ""
            ),
            "where": "one cylinder" if len(places) == 1 else "several cylinders",
        },
    )


def _grade(
    misses: set[int],
    how: Kind | None,
    pairs: CoilPairs | None,
    count: ck.Value | None,
    heads: Banks | None,
) -> str:
    """As a count of all cylinders would lie, where the codes are the only ones set."""
    number = int(count.number) if count is not None else 0
    places = {f"cylinder {n}" for n in misses}
    if len(misses) == 1:
        return "one"
    if number and len(misses) == number:
        return "all"
    if how is Kind.WASTED and places in [set(pair) for pair in coils_of(pairs).values()]:
        return "two on one coil"
    return "one bank" if places in banks_of(heads, number) else "several"
