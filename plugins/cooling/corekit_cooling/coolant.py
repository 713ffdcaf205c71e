"""Coolant: when it boils under the cap's pressure, and when it freezes."""

from __future__ import annotations

import math
from typing import Annotated

import corekit as ck

from .declarations import cooling

# IAPWS-IF97, region 4: the ten coefficients of the saturation line; source: iapws-if97.
_N = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
    0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip
ZERO_CELSIUS = 273.15

#: Share of ethylene glycol by volume → freezing point, °C; source: glycol-freezing.
FREEZES = ((0.0, 0.0), (0.1, -3.6), (0.2, -9.0), (0.3, -15.7), (0.4, -24.8), (0.5, -37.1), (0.6, -52.0))
#: Share of ethylene glycol by volume → how much later it boils than water, K; source: glycol-boiling.
LATER = ((0.0, 0.0), (0.1, 1.1), (0.2, 2.2), (0.3, 4.4), (0.4, 5.6), (0.5, 7.2), (0.6, 11.1))


@cooling.calculation(source="iapws-if97")
def water_boils_at(
    pressure: Annotated[float, ck.Input("Pa abs", "Pressure over the water", 611.213, 5e6)],
) -> Annotated[float, ck.Output("K", "Boiling point of water")]:
    """Saturation temperature of water, by IAPWS-IF97 (equation 31).

    >>> round(water_boils_at.si(1e5), 6)
    372.755919
    """
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    beta = math.sqrt(math.sqrt(pressure / 1e6))
    e = beta**2 + n3 * beta + n6
    f = n1 * beta**2 + n4 * beta + n7
    g = n2 * beta**2 + n5 * beta + n8
    d = 2 * g / (-f - math.sqrt(f**2 - 4 * e * g))
    return (n10 + d - math.sqrt((n10 + d) ** 2 - 4 * (n9 + n10 * d))) / 2


@cooling.calculation(source="glycol-boiling")
def boils_at(
    cap: Annotated[float, ck.Input("Pa gauge", "Pressure that the cap holds", 0, 4e5)],
    air: Annotated[float, ck.Input("Pa abs", "Air pressure outside", 5e4, 1.1e5)],
    glycol: Annotated[float, ck.Input("1", "Share of antifreeze by volume", 0, 0.6)],
) -> Annotated[float, ck.Output("K", "The coolant boils at")]:
    """Boiling point of coolant: that of water under this pressure, and later by what antifreeze adds.

    >>> round(boils_at.si(1e5, 101325, 0.0) - 273.15, 1)
    120.4
    """
    return water_boils_at.si(cap + air) + ck.interpolate(glycol, LATER)


@cooling.calculation(source="glycol-freezing")
def glycol_by_frost(
    frost: Annotated[float, ck.Input("K", "Protected against frost down to", 221.15, 273.15)],
) -> Annotated[float, ck.Output("1", "Share of antifreeze by volume")]:
    """Share of ethylene glycol in the coolant, from its freezing point by a refractometer.

    >>> round(glycol_by_frost.si(273.15 - 37.1), 3)
    0.5
    """
    return ck.interpolate_clamped(
        frost - ZERO_CELSIUS, [(celsius, share) for share, celsius in FREEZES[::-1]]
    )


@cooling.calculation(source="glycol-boiling")
def margin_to_boiling(
    boils: Annotated[float, ck.Input("K", "The coolant boils at", 273.15, 500)],
    hottest: Annotated[float, ck.Input("K", "Hottest coolant", 223.15, 500)],
) -> Annotated[float, ck.Output("K diff", "Margin to boiling")]:
    """How far the coolant stays below boiling.

    >>> margin_to_boiling.si(393.15, 368.15)
    25.0
    """
    return boils - hottest


@cooling.calculation(source="thermostat-practice")
def below_marking(
    marked: Annotated[float, ck.Input("K", "Opening temperature on the thermostat", 323.15, 393.15)],
    settled: Annotated[float, ck.Input("K", "Coolant when warmed up", 223.15, 500)],
) -> Annotated[float, ck.Output("K diff", "Below the thermostat's marking")]:
    """How far the warmed-up coolant stays below the temperature at which the thermostat begins to open.

    >>> below_marking.si(361.15, 351.15)
    10.0
    """
    return marked - settled


@cooling.calculation(source="cap-practice")
def cap_share(
    opened: Annotated[float, ck.Input("Pa gauge", "Pressure at which the cap opened", 0, 4e5)],
    marked: Annotated[float, ck.Input("Pa gauge", "Pressure on the cap", 2e4, 3e5)],
) -> Annotated[float, ck.Output("1", "Opening pressure as a share of its marking")]:
    """The pressure at which a cap opened as a share of what is marked on it.

    >>> cap_share.si(9e4, 1e5)
    0.9
    """
    return opened / marked
