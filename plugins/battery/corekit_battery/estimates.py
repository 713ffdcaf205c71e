"""Figures that look like a test and are none: the tester's amperes, and the lowest value of a
logged start.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .charge_state import charge_of, judged_charge
from .declarations import (
    battery,
    cranking_voltage,
    load_voltage,
    logged_minimum,
    rating,
    rest_voltage,
    sample_interval,
    tester_figure,
)

# s: the first dip lasts some tens of milliseconds; a log that sees it takes a sample at least this often; an
# estimate of ours
DIP = 0.005
SURE = 0.95


@battery.check("The tester's amperes")
def tester(
    case: ck.Case,
    *,
    shown: Annotated[ck.Reading | None, tester_figure],
    rest: Annotated[ck.Reading | None, rest_voltage],
    rated: Annotated[ck.Value | None, rating],
) -> Iterator[ck.Finding | ck.Gap]:
    """An estimate, never a verdict, and below 75 % charge not even that."""
    if shown is None:
        return
    read = ck.show(shown.value, "A", uncertainty=False)
    if rest is None:
        yield case.open(
            code="battery.tester",
            value=shown,
            next_test=rest_voltage,
            read=read,
            says=(
                "The tester shows {read}. Without the voltage at rest nobody knows whether the battery was"
                " charged enough for that to mean anything."
            ),
        )
        return
    found = charge_of(case, rest)
    if (judged_charge(case, rest, found).probability or 0.0) < SURE or found.flattered or rest.disagrees:
        yield case.open(
            code="battery.tester",
            value=shown,
            evidence=[rest],
            next_test=load_voltage,
            read=read,
            **found.words,
            says=(
                "The tester shows {read}, but the charge may lie anywhere {band}, and below 75 % such a"
                " figure is low whatever the battery is worth. Charge it, then test it again."
            ),
        )
        return
    if rated is None:
        yield case.gap(
            rating,
            f"The tester shows {read}; that says something only beside the rating on the label, with the name"
            " of its test.",
        )
        return
    share = 100 * shown.number / rated.number
    yield case.advise(
        code="battery.tester",
        value=shown,
        evidence=[rest],
        urgency=ck.Urgency.NOTHING,
        read=read,
        share=f"{share:.0f} %",
        says=(
            "The tester estimates {read}, about {share} of the number on the label if it was set to the same"
            " test. It is an estimate: a load test decides."
        ),
    )


@battery.check("The lowest value of a logged start")
def logged_start(
    case: ck.Case,
    lowest: Annotated[ck.Reading | None, logged_minimum],
    every: Annotated[ck.Reading | None, sample_interval],
) -> Iterator[ck.Finding | ck.Gap]:
    """A slow log catches the first dip by luck; neither a low nor a high value of it is a cranking test."""
    if lowest is None:
        return
    interval = lowest.read_with(sample_interval) or every
    if interval is None:
        yield case.gap(
            sample_interval,
            "Whether a log can show the dip of a start depends on how often it takes a sample.",
        )
        return
    values = [lowest.value, *lowest.others]
    low, high = min(value.number for value in values), max(value.number for value in values)
    read = f"{low:.2f} V" if len(values) == 1 else f"{low:.2f} to {high:.2f} V"
    if interval.number > DIP:
        yield case.open(
            code="battery.log_too_slow",
            of=logged_minimum,
            value=lowest,
            evidence=[interval],
            next_test=cranking_voltage,
            urgency=ck.Urgency.NOTHING,
            read=read,
            every=f"{interval.number:.3g} s",
            says=(
                "The log shows {read} at its lowest, one sample every {every}. The dip of a start lasts some"
                " hundredths of a second, so that is luck: it neither blames nor clears the battery."
            ),
        )
        return
    yield case.advise(
        code="battery.first_dip",
        of=logged_minimum,
        value=lowest,
        evidence=[interval],
        urgency=ck.Urgency.NOTHING,
        read=read,
        says=(
            "The first dip of the start goes down to {read}. What is judged is the steady voltage while it"
            " turns."
        ),
    )
