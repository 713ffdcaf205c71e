"""Figures that look like a test and are none: the tester's amperes, and the lowest value of a
logged start.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import (
    BatteryType,
)
from .charge_history import known_full_charge
from .charge_state import charge_of, judged_charge
from .converter import not_cranked
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    cranking_voltage,
    load_voltage,
    logged_minimum,
    open_circuit_voltage,
    rating,
    sample_interval,
    tester_figure,
)

# s: the first dip lasts some tens of milliseconds; a log that sees it takes a sample at least this often; an
# estimate of ours
DIP = 0.005
SURE = 0.95
MOST, LEAST = 0.8, 0.6  # shares of the rating; source: tester-share


@battery.check("Battery tester")
def tester(
    case: ck.Case,
    *,
    shown: Annotated[ck.Reading | None, tester_figure],
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    rated: Annotated[ck.Value | None, rating],
    kind: Annotated[BatteryType | None, battery_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """An estimate, never a verdict, and below 75 % charge not even that."""
    if shown is None:
        return
    if kind is BatteryType.LITHIUM:
        yield case.does_not_apply(
            "Such a tester is made for lead-acid batteries and says nothing of lithium."
        )
        return
    if stop := barred(case):
        yield case.does_not_apply(stop)
        return
    read = ck.show(shown.value, "A", uncertainty=False)
    if rest is None:
        yield case.inconclusive(
            ck.Claim("battery.tester", next_test=open_circuit_voltage),
            (
                "The tester shows {read}. Without the open-circuit voltage it is not known whether the"
                " battery was charged enough for that to mean anything."
            ),
            shown,
            tells="The battery tester's figure means nothing without the battery's voltage.",
            values={"read": read},
        )
        return
    found = charge_of(case, rest)
    charged = judged_charge(case, rest, found).probability or 0.0
    if charged < SURE or found.flattered or rest.disagrees:
        yield case.inconclusive(
            ck.Claim("battery.tester", evidence=[rest], next_test=load_voltage if charged >= 0.5 else None),
            (
                "The tester shows {read}, but the charge may be anywhere {band}, and below 75 % such a"
                " figure is low however good the battery is. {then}"
            ),
            shown,
            tells="The battery tester's figure means nothing while the battery is not charged.",
            values={
                "read": read,
                "then": "Charge it, then test it again."
                if known_full_charge(case) is None
                else "It was charged already: first find why its voltage is still low.",
                **found.words,
            },
        )
        return
    if rated is None:
        yield case.gap(
            rating,
            f"The tester shows {read}; that means something only beside the rating on the label, with the"
            " name of its test.",
        )
        return
    share = 100 * shown.number / rated.number
    yield case.advise(
        ck.Claim(
            "battery.tester",
            evidence=[rest],
            urgency=ck.Urgency.NOTHING,
            grade=_grade(case, ck.propagate(lambda amps, label: amps / label, (shown.value, rated), "ratio")),
        ),
        (
            "The tester estimates {read}, about {share} of the number on the label if it was set to the same"
            " test. It is an estimate: a load test decides."
        ),
        shown,
        tells="The battery tester gives an estimate only; a load test decides.",
        values={"read": read, "share": f"{share:.0f} %"},
    )


def _grade(case: ck.Case, share: ck.Value) -> str:
    """How much of its rating the tester sees; empty on the edge between two."""
    most, least = (
        case.side(share, case.computed_limit("battery.tester", "tester-share", low=ck.exact("ratio", edge)))
        for edge in (MOST, LEAST)
    )
    if most is ck.Side.INSIDE:
        return "as rated"
    if least is ck.Side.BELOW:
        return "far less"
    return "less" if most is ck.Side.BELOW and least is ck.Side.INSIDE else ""


@battery.check("Lowest voltage in a logged start")
def logged_start(
    case: ck.Case,
    lowest: Annotated[ck.Reading | None, logged_minimum],
    every: Annotated[ck.Reading | None, sample_interval],
) -> Iterator[ck.Finding | ck.Gap]:
    """A slow log catches the first dip by luck; neither a low nor a high value of it is a cranking test."""
    if lowest is None:
        return
    if stop := not_cranked(case):
        yield case.does_not_apply(stop)
        return
    interval = lowest.condition(sample_interval) or every
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
        yield case.inconclusive(
            ck.Claim(
                "battery.log_too_slow",
                of=logged_minimum,
                evidence=[interval],
                urgency=ck.Urgency.NOTHING,
                next_test=cranking_voltage,
            ),
            (
                "The log shows {read} at its lowest, one sample every {every}. The dip of a start"
                " lasts some hundredths of a second, so that is luck: it neither blames the battery"
                " nor rules it out."
            ),
            lowest,
            tells="The recording is too slow to show how far the voltage dips at a start.",
            values={"read": read, "every": f"{interval.number:.3g} s"},
        )
        return
    yield case.advise(
        ck.Claim("battery.first_dip", of=logged_minimum, evidence=[interval], urgency=ck.Urgency.NOTHING),
        (
            "The first dip of the start goes down to {read}. What is judged is the steady voltage"
            " while cranking."
        ),
        lowest,
        tells=(
            "The first dip of the voltage at a start was recorded; what counts is the steady voltage"
            " after it."
        ),
        values={"read": read},
    )
