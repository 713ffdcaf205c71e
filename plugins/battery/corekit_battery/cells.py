"""The six cells beside each other, by the gravity of their acid."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import (
    BatteryType,
    Caps,
)
from .charge_history import known_full_charge
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    caps,
    charge,
    gravity,
    replace,
)
from .looks import is_sealed

# average from which a low cell is blamed on the battery and not on a short charge: 0.015 below the weaker
# full acid; an estimate of ours
FULL = 1.250
CHARGED = 1.225  # average from which the spread means something; source: charge-for-load


@battery.check("Whether all cells are alike")
def cell_spread(
    case: ck.Case,
    cells: Annotated[list[ck.Reading] | None, gravity],
    kind: Annotated[BatteryType | None, battery_type],
    lid: Annotated[Caps | None, caps],
) -> Iterator[ck.Finding | ck.Gap]:
    """Highest less lowest cell.

    Two handbooks draw the line at 0.025 and at 0.050: the first warns here, the second decides.
    """
    if is_sealed(kind, lid):
        yield case.does_not_apply(
            "The battery is sealed; its acid cannot be drawn."
            if not cells
            else "The battery is sealed, so its acid cannot have been drawn: look at the type again."
        )
        return
    if stop := barred(case):
        yield case.does_not_apply(stop)
        return
    if not cells and kind is None and lid is None:
        yield case.gap(
            battery_type,
            "Whether the acid of its cells can be read depends on its type: only where it is flooded and its"
            " caps come off.",
        )
        return
    if not cells:
        yield case.gap(gravity, "The specific gravity of the cells was not read.")
        return
    missing = [place for place in gravity.places if place not in {cell.place for cell in cells}]
    if missing:
        yield case.gap(gravity, f"Specific gravity of {', '.join(missing)} is missing; all six are compared.")
        return
    high, low = max(cells, key=lambda cell: cell.number), min(cells, key=lambda cell: cell.number)
    spread = high.value - low.value
    average = math.fsum(cell.number for cell in cells) / len(cells)
    places = {
        "spread": f"{spread.number:.3f}",
        "high": high.place,
        "low": low.place,
        "average": f"{average:.3f}",
    }
    full = average >= FULL
    charged = known_full_charge(case)
    places["then"] = (
        "One cell no longer takes charge."
        if full
        else (
            "The battery is not full (average {average}): charge it slowly, let it stand, and read"
            " them again before any verdict on it; water just added and a partial charge look the same."
            if charged is None
            else "The battery is not full (average {average}) after {charged}: weak cells do not take their"
            " charge, or the charger stopped early, and the same charge again shows nothing new."
        ).format(average=places["average"], charged=charged.words if charged is not None else "")
    )
    judged = case.judge(
        spread,
        case.limit("battery.cell_spread"),
        ck.Claim(
            "battery.cell_spread",
            of=gravity,
            unit="1",
            evidence=cells,
            calls_for=replace if full else charge if charged is None else None,
            next_test=gravity,
        ),
        ck.Says(
            passes="The specific gravity of the six cells differs by {spread}; {limit} is allowed.",
            fails=(
                "The specific gravity of the six cells differs by {spread} ({low} lowest, {high}"
                " highest); {limit} is allowed. {then}"
            ),
            undecided=(
                "The specific gravity of the six cells differs by about {spread} ({low} lowest), too"
                " close to the {limit} allowed to call."
            ),
        ),
        ck.Tells(
            passes="The battery's six cells are as alike as they should be.",
            fails="The battery's six cells differ more than they should.",
            undecided="The battery's six cells differ by about as much as is allowed.",
        ),
        values=places,
    )
    if judged.verdict is not ck.Verdict.PASS and average < CHARGED:
        yield case.inconclusive(
            ck.Claim("battery.cell_spread", of=gravity, unit="1", evidence=cells, next_test=gravity),
            (
                "The specific gravity of the six cells differs by {spread} ({low} lowest), but the"
                " battery is not charged. Charge it, let it stand, and read them again."
                if charged is None
                else "The specific gravity of the six cells differs by {spread} ({low} lowest), and the"
                " battery is not full after {charged}: it does not take its charge, or the charger stopped"
                " early. Read voltage and current at the end of a charge."
            ),
            spread,
            tells=(
                "The battery's cells can be compared only once it is charged."
                if charged is None
                else "The battery was charged and its cells are still weak; why is tested next."
            ),
            values={
                "spread": places["spread"],
                "low": low.place,
                "charged": charged.words if charged is not None else "",
            },
        )
        return
    yield judged
    warned = case.judge(
        spread,
        case.limit("battery.cell_spread_warn"),
        ck.Claim("battery.cells_apart", of=None, unit="1", evidence=cells, urgency=ck.Urgency.PLAN_IT),
        ck.Says(passes="", fails="", undecided=""),
        ck.Tells(passes="", fails="", undecided=""),
        values=places,
    )
    if judged.verdict is ck.Verdict.PASS and warned.verdict is ck.Verdict.FAIL:
        yield case.advise(
            ck.Claim("battery.cells_apart", unit="1", evidence=cells),
            (
                "{low} reads {spread} below the best cell. One handbook would already call the battery"
                " unserviceable; monitor it."
            ),
            spread,
            tells="One of the battery's six cells is a little weaker than the others; it is worth watching.",
            limits=warned.limits,
            values={"low": low.place, "spread": places["spread"]},
        )
