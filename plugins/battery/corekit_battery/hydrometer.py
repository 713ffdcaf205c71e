"""Charge by the acid itself: gravity of the cells, at its temperature and by the reference of the hydrometer.

A hydrometer's figure means nothing without two more: how warm the acid is, and between which temperatures the
instrument compares acid with water. The scales of charge are printed for acid at 80 °F against water at 60
°F, so everything is brought there first.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from enum import Enum
from typing import Annotated, Any

import attrs

import corekit as ck

from .acid import DENSITY, GRAVITY_25C, GRAVITY_80F, gravity_at_80f
from .answers import (
    BatteryType,
    Caps,
    FullAcid,
)
from .charge_history import known_full_charge
from .charge_scales import KNOWN, UNKNOWN, charge_1265, charge_1280
from .charge_state import Charge, charge_of
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    caps,
    charge,
    full_acid,
    gravity,
    open_circuit_voltage,
    temperature,
)
from .looks import is_sealed
from .tables import kelvin

WATER_20 = 998.204  # kg/m³, density of water at 20 °C, from memory of handbook tables
GRAVITY_20C = tuple((w, r20 / WATER_20) for w, r20, _ in DENSITY)
# K, −29 and 50 °C, where the printed correction ends; source: tm-5-4210-hydrometer
COLDEST, HOTTEST = 244.15, 323.2
# how far at most a figure moves between the three references; from the density table, source: acid-density
UNSAID = 0.0062
UNSEEN = 0.008  # 20 °F either way when nobody took the temperature of the acid; source: tm-5-4210-hydrometer


class Reference(Enum):
    F80 = "80 °F against water at 60 °F"
    C25 = "25 °C against water at 25 °C"
    C20 = "20 °C against water at 20 °C"


reference = battery.observation(
    "hydrometer",
    "Reference of the hydrometer",
    Reference,
    how="On its scale or in its leaflet; refractometers as a rule 20 °C.",
    tells="which scale the acid was read on",
    tells_each={
        Reference.F80: "The acid was read on a scale for 80 °F.",
        Reference.C25: "The acid was read on a scale for 25 °C.",
        Reference.C20: "The acid was read on a scale for 20 °C.",
    },
)


@battery.calculation(source="acid-density")
def gravity_80f_of_25c(
    gravity: Annotated[float, ck.Input("1", "Reading of a hydrometer made for 25 °C", 1.05, 1.32)],
) -> Annotated[float, ck.Output("1", "Specific gravity on the 80 °F scale")]:
    """The gravity that a hydrometer for acid at 80 °F and water at 60 °F shows where one for 25 °C shows
    this.

    >>> round(gravity_80f_of_25c.si(1.265), 3)
    1.261
    """
    return ck.interpolate(ck.interpolate(gravity, [(sg, w) for w, sg in GRAVITY_25C]), GRAVITY_80F)


@battery.calculation(source="acid-density")
def gravity_80f_of_20c(
    gravity: Annotated[float, ck.Input("1", "Reading of a hydrometer made for 20 °C", 1.05, 1.32)],
) -> Annotated[float, ck.Output("1", "Specific gravity on the 80 °F scale")]:
    """The gravity that a hydrometer for acid at 80 °F and water at 60 °F shows where one for 20 °C shows
    this.

    >>> round(gravity_80f_of_20c.si(1.265), 3)
    1.259
    """
    return ck.interpolate(ck.interpolate(gravity, [(sg, w) for w, sg in GRAVITY_20C]), GRAVITY_80F)


@battery.calculation(source="tm-5-4210-hydrometer")
def gravity_at(
    gravity: Annotated[float, ck.Input("1", "Hydrometer reading", 1.0, 1.35)],
    temperature: Annotated[float, ck.Input("K", "Temperature of the acid", 244.0, 328.0)],
    reference: Annotated[float, ck.Input("K", "Temperature the scale is made for", 288.0, 300.0)],
) -> Annotated[float, ck.Output("1", "Corrected specific gravity")]:
    """A hydrometer reading as it would be with the acid at the temperature that its scale is made for: 0.004
    for every 10 °F.

    >>> round(gravity_at.si(1.250, 266.483, 299.817), 3)
    1.226
    """
    return gravity_at_80f.si(gravity, temperature + kelvin(80) - reference)


def _at_80f(cell: ck.Reading, warmth: ck.Reading | None, by: Reference | None) -> ck.Value:
    """One cell as acid at 80 °F against water at 60 °F, with the uncertainty of what nobody noted."""
    made_for = {Reference.C25: 298.15, Reference.C20: 293.15}.get(by or Reference.F80, kelvin(80))
    found = cell.value
    if warmth is not None:
        found = gravity_at(found, warmth, ck.exact("temperature", made_for))
    else:
        found = ck.Value(
            found.kind,
            found.number,
            {**found.budget, "temperature of the acid not taken": UNSEEN / math.sqrt(3)},
            found.rests_on,
        )
    if by is None:
        return ck.Value(
            found.kind,
            found.number,
            {**found.budget, "reference of the hydrometer not recorded": UNSAID / math.sqrt(3)},
            found.rests_on,
        )
    if by is Reference.F80 or not 1.05 <= found.number <= 1.32:
        return found
    return gravity_80f_of_25c(found) if by is Reference.C25 else gravity_80f_of_20c(found)


@battery.check("State of charge by specific gravity")
def charge_by_gravity(
    case: ck.Case,
    cells: Annotated[list[ck.Reading] | None, gravity],
    *,
    warmth: Annotated[ck.Reading | None, temperature],
    by: Annotated[Reference | None, reference],
    kind: Annotated[BatteryType | None, battery_type],
    lid: Annotated[Caps | None, caps],
    acid: Annotated[FullAcid | None, full_acid],
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
) -> Iterator[ck.Finding | ck.Gap]:
    """The average of the cells read as a state of charge; and whether the open-circuit voltage agrees with
    it.
    """
    if not cells or is_sealed(kind, lid) or barred(case):
        return
    charged = known_full_charge(case)
    if acid is FullAcid.G1300:
        yield case.gap(
            full_acid,
            "No printed scale of charge is on file for acid of 1.300, so the specific gravity gives no"
            " state of charge.",
        )
        return
    taken = [reading for cell in cells if (reading := cell.condition(temperature) or warmth) is not None]
    if any(not COLDEST <= reading.number <= HOTTEST for reading in taken):
        yield case.gap(
            temperature,
            "The acid is colder or hotter than its correction is printed for (−29 to 50 °C). Let it warm or"
            " cool and read again.",
        )
        return
    warm = [_at_80f(cell, cell.condition(temperature) or warmth, by) for cell in cells]
    average = ck.propagate(lambda *each: math.fsum(each) / len(each), warm, "ratio")
    if not 1.0 <= average.number <= 1.35:
        yield case.gap(gravity, "Corrected to 80 °F, these values fit no battery acid. Read them again.")
        return
    share = _share(average, acid)
    limit = "battery.charge_for_load" if acid else "battery.charge_for_load_by_type"
    found = Charge(share=share, limit=limit, remarks=_remarks(cells, warmth, by, acid), flattered=False)
    places: dict[str, Any] = {**found.words, "average": f"{average.number:.3f}", "count": str(len(cells))}
    apart = (
        list(_against_voltage(case, cells, rest, found))
        if rest is not None and len(cells) == len(gravity.places)
        else []
    )
    if rest is not None and not apart and not rest.disagrees and not charge_of(case, rest).flattered:
        # the open-circuit voltage has said it already; twice the same verdict is one too many
        yield case.advise(
            ck.Claim(
                "battery.charge_by_gravity", of=gravity, unit="%", evidence=cells, urgency=ck.Urgency.NOTHING
            ),
            (
                "The specific gravity agrees: {average} on average at 80 °F means charged to about"
                " {share} ({band}).{remarks}"
            ),
            share,
            tells="The battery's acid tells the same charge as its voltage.",
            values=places,
        )
        return
    yield case.judge(
        share,
        case.limit(found.limit),
        ck.Claim(
            "battery.charge_by_gravity",
            of=gravity,
            unit="%",
            evidence=cells,
            calls_for=charge if charged is None else None,
            next_test=gravity,
        ),
        ck.Says(
            passes=(
                "By its specific gravity ({average} on average at 80 °F) it is charged to about"
                " {share} ({band}): enough for a load test.{remarks}"
            ),
            fails=(
                "By its specific gravity ({average} on average at 80 °F) it is charged to about"
                " {share} ({band}): {then}.{remarks}"
            ),
            undecided=(
                "By its specific gravity ({average} on average at 80 °F) it is charged to about"
                " {share} ({band}), perhaps too little for a load test.{remarks}"
            ),
        ),
        ck.Tells(
            passes="By its acid the battery is charged enough to be tested.",
            fails=(
                "By its acid the battery needs charging."
                if charged is None
                else "By its acid the battery is not full although it was charged."
            ),
            undecided="By its acid the battery may hold too little charge to be tested.",
        ),
        values={
            **places,
            "then": "it needs charging"
            if charged is None
            else (
                f"too little after {charged.words}, so it does not take its charge or the charger"
                f" stopped early"
            ),
        },
    )
    yield from apart


def _share(average: ck.Value, acid: FullAcid | None) -> ck.Value:
    by_acid = {FullAcid.G1265: charge_1265, FullAcid.G1280: charge_1280}
    if acid in by_acid:
        share, width = by_acid[acid](average), KNOWN
    else:
        share, width = (
            ck.propagate(lambda sg: (charge_1265.si(sg) + charge_1280.si(sg)) / 2, (average,), "ratio"),
            UNKNOWN,
        )
    return attrs.evolve(share, budget={**share.budget, "scale of the charge": width / math.sqrt(3)})


def _remarks(
    cells: list[ck.Reading], warmth: ck.Reading | None, by: Reference | None, acid: FullAcid | None
) -> tuple[str, ...]:
    remarks = []
    if len(cells) < len(gravity.places):
        remarks.append(f"Only {len(cells)} of {len(gravity.places)} cells were read.")
    if warmth is None and any(cell.condition(temperature) is None for cell in cells):
        remarks.append("The acid's temperature was not taken.")
    if by is None:
        remarks.append("The hydrometer's reference is not recorded; 80 °F was assumed.")
    if acid is None:
        remarks.append("The specific gravity when full is not known.")
    return tuple(remarks)


def _against_voltage(
    case: ck.Case, cells: list[ck.Reading], rest: ck.Reading, found: Charge
) -> Iterator[ck.Finding]:
    """Acid and voltage tell of one thing; where they differ by more than their uncertainty one of them is not
    what it seems.
    """
    by_voltage = charge_of(case, rest)
    apart = found.share - by_voltage.share
    if by_voltage.flattered or rest.disagrees or abs(apart.number) <= 2 * apart.u:
        return
    why = (
        "Acid that has not mixed, water just added, or too short a rest can do that"
        if apart.number < 0
        else "A cell without contact, acid added instead of water, or a wrong reading can do that"
    )
    yield case.inconclusive(
        ck.Claim(
            "battery.acid_against_voltage", of=gravity, unit="%", evidence=[*cells, rest], next_test=gravity
        ),
        (
            "By its specific gravity it is charged to about {acid}, by its open-circuit voltage to"
            " about {volts}: both cannot be. {why}; read both again after a charge and a rest."
        ),
        found.share,
        tells="Acid and voltage of the battery tell different charges; both are read again.",
        values={"why": why, "acid": found.words["share"], "volts": by_voltage.words["share"]},
    )
