"""Capacity: what a rating means at another current, another temperature, and by its other name."""

from __future__ import annotations

import math
from typing import Annotated

import corekit as ck

from .answers import (
    BatteryType,
)
from .declarations import (
    battery,
    starter_battery,
)
from .tables import Rows, kelvin

AH = 3600.0  # C
TWENTY_HOURS = 20 * 3600.0  # s
RESERVE_CURRENT = 25.0  # A; source: reserve-definition
LOWEST, HIGHEST = 0.8, 50.0  # of the 20-hour current, and A: where Peukert's law may be used; source: peukert

#: Factor and exponent of the power law by kind of battery. source: reserve-power-law
VENTED, CLOSED = (0.7732, 1.1828), (1.1339, 1.1201)
#: Ends of Peukert's exponent where no reserve capacity is known. source: peukert-span
VENTED_EXPONENTS, CLOSED_EXPONENTS, LITHIUM_EXPONENTS = (1.1, 1.3), (1.05, 1.2), (1.0, 1.05)
# half the spread of the relations on file for 120 min, 64 to 74 Ah, as a share; source: reserve-power-law
RELATIONS_APART = 0.08

reserve = battery.trait(
    "reserve",
    "Reserve capacity",
    units=("min",),
    possible=(20, 600),
    part=starter_battery,
    how="RC in minutes on its label, where no Ah stand on it.",
    tells="how many minutes the battery lasts by its label",
)


#: (K, cell size factor). source: capacity-ieee-485
IEEE_485: Rows = tuple(
    (kelvin(f), factor)
    for f, factor in (
        (25, 1.52),
        (30, 1.43),
        (35, 1.35),
        (40, 1.30),
        (45, 1.25),
        (50, 1.19),
        (55, 1.15),
        (60, 1.11),
        (65, 1.08),
        (66, 1.072),
        (67, 1.064),
        (68, 1.056),
        (69, 1.048),
        (70, 1.04),
        (71, 1.034),
        (72, 1.029),
        (73, 1.023),
        (74, 1.017),
        (75, 1.011),
        (76, 1.006),
        (77, 1.0),
        (78, 0.994),
        (79, 0.987),
        (80, 0.98),
        (85, 0.96),
        (90, 0.94),
        (95, 0.93),
        (100, 0.91),
        (105, 0.89),
        (110, 0.88),
        (115, 0.87),
        (120, 0.86),
        (125, 0.85),
    )
)
#: (K, share of the capacity at 25 °C) for the 20-hour rate. source: capacity-20-hour
TWENTY_HOUR_RATE: Rows = tuple(
    (celsius + 273.15, share)
    for celsius, share in (
        (-9.4, 0.735),
        (-6.7, 0.765),
        (-3.9, 0.79),
        (-1.1, 0.815),
        (1.7, 0.84),
        (4.4, 0.865),
        (7.2, 0.89),
        (10.0, 0.91),
        (12.8, 0.93),
        (15.8, 0.95),
        (18.3, 0.965),
        (21.1, 0.98),
        (25.0, 1.0),
        (26.7, 1.001),
        (29.4, 1.005),
        (32.2, 1.01),
        (35.0, 1.015),
    )
)


@battery.calculation(source="peukert")
def peukert_exponent(
    capacity: Annotated[float, ck.Input("C", "20-hour capacity", above=0)],
    reserve: Annotated[float, ck.Input("s", "Reserve capacity at 25 A", above=0)],
) -> Annotated[float, ck.Output("1", "Peukert exponent")]:
    """Peukert's exponent from a battery's own 20-hour capacity and its reserve capacity.

    >>> round(peukert_exponent.si(70 * 3600, 120 * 60), 2)
    1.17

    Raises:
        ValueError: the two ratings cannot be of one battery.
    """
    twenty_hour_current = capacity / TWENTY_HOURS
    if not 0 < twenty_hour_current < RESERVE_CURRENT:
        raise ValueError(
            "The 20-hour current lies above the 25 A of the reserve rating; the two say nothing about each"
            " other."
        )
    exponent = math.log(TWENTY_HOURS / reserve) / math.log(RESERVE_CURRENT / twenty_hour_current)
    if not 1 <= exponent <= 1.5:
        raise ValueError(
            f"Capacity and reserve give an exponent of {exponent:.2f}, which no lead-acid battery has (1 to"
            " 1.5). Read both off one label again."
        )
    return exponent


@battery.calculation(source="peukert")
def run_time(
    capacity: Annotated[float, ck.Input("C", "20-hour capacity", above=0)],
    current: Annotated[float, ck.Input("A", "Discharge current", above=0, high=HIGHEST)],
    exponent: Annotated[float, ck.Input("1", "Peukert exponent", 1, 1.5)],
) -> Annotated[float, ck.Output("s", "Run time")]:
    """How long a constant current can be drawn, from the 20-hour capacity: 20 h · (C / (I · 20 h)) to the
    power of the exponent.

    The short form C/Iᵏ is only right when C is the capacity at one ampere.

    >>> run_time.si(100 * 3600, 5, 1.2) / 3600
    20.0

    Raises:
        ValueError: the current is far below the 20-hour current (a parasitic draw) or above 50 A (cranking),
            where the law does not hold.
    """
    if not LOWEST * capacity / TWENTY_HOURS <= current <= HIGHEST:
        raise ValueError(
            f"Peukert's law holds from about the 20-hour current ({capacity / TWENTY_HOURS:.1f} A) to 50 A;"
            f" got {current:g} A."
        )
    return TWENTY_HOURS * float((capacity / (current * TWENTY_HOURS)) ** exponent)


@battery.calculation(source="reserve-definition")
def charge_at_25_amperes(
    reserve: Annotated[float, ck.Input("s", "Reserve capacity at 25 A", above=0)],
) -> Annotated[float, ck.Output("C", "Charge given at 25 A")]:
    """What a battery gives at 25 A within its reserve time. It is not the 20-hour capacity, which is larger.

    >>> charge_at_25_amperes.si(7200) / 3600
    50.0
    """
    return RESERVE_CURRENT * reserve


@battery.calculation(source="reserve-iec-old")
def capacity_of_reserve(
    reserve: Annotated[float, ck.Input("s", "Reserve capacity at 25 A", above=0)],
) -> Annotated[float, ck.Output("C", "20-hour capacity")]:
    """20-hour capacity of a flooded starter battery from its reserve capacity, by the older rule √(17778 +
    208.3 · minutes) - 133.3.

    >>> round(capacity_of_reserve.si(7200) / 3600, 1)
    73.5
    """
    return (math.sqrt(17778 + 208.3 * reserve / 60) - 133.3) * AH


@battery.calculation(source="reserve-power-law")
def capacity_by_power_law(
    reserve: Annotated[float, ck.Input("s", "Reserve capacity at 25 A", above=0)],
    factor: Annotated[float, ck.Input("1", "Factor of the power law", 0.5, 2)],
    exponent: Annotated[float, ck.Input("1", "Exponent of the power law", 1, 1.5)],
) -> Annotated[float, ck.Output("C", "20-hour capacity")]:
    """20-hour capacity from reserve = factor · capacity to the power of the exponent, in minutes and Ah.

    Pairs on file: 0.7732 and 1.1828 flooded, 1.1339 and 1.1201 valve-regulated, and 0.83 and 1.17 flooded
    from another page.

    >>> round(capacity_by_power_law.si(7200, 0.83, 1.17) / 3600, 1)
    70.2
    """
    return float((reserve / 60 / factor) ** (1 / exponent) * AH)


@battery.calculation(source="capacity-ieee-485")
def cold_capacity_short(
    capacity: Annotated[float, ck.Input("C", "Capacity at 25 °C", above=0)],
    temperature: Annotated[float, ck.Input("K", "Battery temperature", 269.26, 324.82)],
) -> Annotated[float, ck.Output("C", "Capacity at this temperature")]:
    """Capacity at a temperature, for currents that empty a battery within some hours.

    >>> round(cold_capacity_short.si(100 * 3600, 298.15) / 3600, 1)
    100.0
    """
    return capacity / ck.interpolate_clamped(temperature, IEEE_485)  # its ends are rounded above


@battery.calculation(source="capacity-20-hour")
def cold_capacity_20_hour(
    capacity: Annotated[float, ck.Input("C", "20-hour capacity at 25 °C", above=0)],
    temperature: Annotated[float, ck.Input("K", "Battery temperature", 263.75, 308.15)],
) -> Annotated[float, ck.Output("C", "20-hour capacity at this temperature")]:
    """Capacity at a temperature, at the 20-hour current.

    >>> round(cold_capacity_20_hour.si(100 * 3600, 298.15) / 3600, 1)
    100.0
    """
    return capacity * ck.interpolate(temperature, TWENTY_HOUR_RATE)


def capacity_known(
    holds: ck.Value | None, minutes: ck.Value | None, kind: BatteryType | None
) -> ck.Value | None:
    """The 20-hour capacity on the label, else one from its reserve capacity, with the uncertainty of a
    relation that is only roughly one.
    """
    if holds is not None or minutes is None:
        return holds
    factor, exponent = CLOSED if kind in (BatteryType.AGM, BatteryType.GEL) else VENTED
    found = capacity_by_power_law(minutes, ck.exact("ratio", factor), ck.exact("ratio", exponent))
    return ck.Value(
        found.kind,
        found.number,
        {"capacity from the reserve capacity": found.number * RELATIONS_APART / math.sqrt(3)},
        found.rests_on,
    )
