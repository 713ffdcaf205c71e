"""Acid: from concentration, molality and gravity to open-circuit voltage and freezing point, and back."""

from __future__ import annotations

import math
from typing import Annotated

import corekit as ck

from .declarations import (
    battery,
)
from .tables import kelvin

CELLS = 6
EMF_SLOPE = 0.2e-3  # V/K and cell; source: emf-temperature
ACID_MASS = 0.098079  # kg/mol, sulfuric acid
#: Electrode potentials after Bode, x = log10 of molality: E = Σ a xⁿ. source: bode-emf
BODE = (1.922, 0.148, 0.063, 0.074, 0.034)
MOLALITY_LOW, MOLALITY_HIGH = 0.5, 7.5

#: (mass fraction of acid, kg/m³ at 20 °C, kg/m³ at 25 °C). source: acid-density
DENSITY = (
    (0.05, 1032.0, 1030.5),
    (0.10, 1066.9, 1065.0),
    (0.15, 1103.0, 1100.7),
    (0.20, 1140.4, 1137.7),
    (0.25, 1179.1, 1176.1),
    (0.30, 1219.2, 1215.9),
    (0.32, 1235.7, 1232.3),
    (0.34, 1252.5, 1248.9),
    (0.35, 1260.9, 1257.4),
    (0.36, 1269.5, 1265.8),
    (0.37, 1278.1, 1274.4),
    (0.38, 1286.8, 1283.0),
    (0.39, 1295.5, 1291.7),
    (0.40, 1304.3, 1300.5),
    (0.42, 1322.2, 1318.3),
)
WATER_25, WATER_60F = (
    997.047,
    999.016,
)  # kg/m³, density of water at 25 °C and 60 °F, from memory of handbook tables
# A hydrometer compares acid with water. Which temperatures it means moves a 12-V block by about 0.02 V, so
# both are kept apart: acid at 80 °F against water at 60 °F is what the workshop tables of charge are printed
# for.
_STEP = (26.667 - 25.0) / 5.0
GRAVITY_80F = tuple((w, (r25 + (r25 - r20) * _STEP) / WATER_60F) for w, r20, r25 in DENSITY)
GRAVITY_25C = tuple((w, r25 / WATER_25) for w, _, r25 in DENSITY)


@battery.calculation(source="bode-emf")
def cell_voltage(
    molality: Annotated[float, ck.Input("mol/kg", "Molality of the acid", MOLALITY_LOW, MOLALITY_HIGH)],
) -> Annotated[float, ck.Output("V", "Voltage of one cell at rest")]:
    """Voltage of one cell at rest, by the molality of its acid, near 25 °C.

    >>> round(cell_voltage.si(1.0), 3)
    1.922
    """
    x = math.log10(molality)
    return math.fsum(a * x**power for power, a in enumerate(BODE))


@battery.calculation(source="bode-emf")
def block_voltage(
    molality: Annotated[float, ck.Input("mol/kg", "Molality of the acid", MOLALITY_LOW, MOLALITY_HIGH)],
) -> Annotated[float, ck.Output("V", "Voltage of six cells at rest")]:
    """Voltage of six cells at rest, by the molality of their acid, near 25 °C.

    >>> round(block_voltage.si(1.0), 3)
    11.532
    """
    return CELLS * cell_voltage.si(molality)


@battery.calculation(source="acid-volumes")
def molality_of_concentration(
    concentration: Annotated[float, ck.Input("mol/m³", "Concentration of the acid", above=0, below=8000)],
) -> Annotated[float, ck.Output("mol/kg", "Molality of the acid")]:
    """Molality of acid from its concentration by partial molar volumes.

    >>> round(molality_of_concentration.si(1000.0), 4)
    1.0175
    """
    water, acid, water_mass = 1.75e-5, 4.5e-5, 0.01801  # m³/mol, m³/mol, kg/mol
    return concentration * water / ((1 - concentration * acid) * water_mass)


@battery.calculation(source="acid-density")
def molality_of_gravity(
    gravity: Annotated[float, ck.Input("1", "Specific gravity, acid at 80 °F", 1.05, 1.318)],
) -> Annotated[float, ck.Output("mol/kg", "Molality of the acid")]:
    """Molality of acid from its gravity, acid at 80 °F against water at 60 °F.

    >>> round(molality_of_gravity.si(1.265), 1)
    5.7
    """
    return _molality(ck.interpolate(gravity, [(sg, w) for w, sg in GRAVITY_80F]))


@battery.calculation(source="acid-density")
def molality_of_gravity_25(
    gravity: Annotated[float, ck.Input("1", "Specific gravity at 25 °C", 1.05, 1.32)],
) -> Annotated[float, ck.Output("mol/kg", "Molality of the acid")]:
    """Molality of acid from its gravity, acid and water both at 25 °C.

    >>> round(molality_of_gravity_25.si(1.265), 1)
    5.6
    """
    return _molality(ck.interpolate(gravity, [(sg, w) for w, sg in GRAVITY_25C]))


@battery.calculation(source="bode-emf")
def gravity_of_voltage(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 11.35, 12.98)],
) -> Annotated[float, ck.Output("1", "Specific gravity")]:
    """Gravity (80 °F against 60 °F) of the acid in a rested 12-V block, from its voltage at 25 °C.

    >>> round(gravity_of_voltage.si(12.456), 2)
    1.23
    """
    low, high = MOLALITY_LOW, MOLALITY_HIGH
    for _ in range(60):  # the voltage rises with molality throughout, so halving finds the one answer
        middle = (low + high) / 2
        low, high = (middle, high) if block_voltage.si(middle) < voltage else (low, middle)
    return ck.interpolate(_fraction(low), GRAVITY_80F)


@battery.calculation(source="gravity-rule")
def voltage_by_rule(
    gravity: Annotated[float, ck.Input("1", "Specific gravity", 1.0, 1.35)],
    constant: Annotated[float, ck.Input("V", "Constant of the rule, 0.84 V or 0.845 V", 0.84, 0.845)],
) -> Annotated[float, ck.Output("V", "Open-circuit voltage")]:
    """Open-circuit voltage of a 12-V block by the textbook rule: gravity plus a constant of 0.84 or 0.845
    V, six times.

    >>> round(voltage_by_rule.si(1.265, 0.84), 2)
    12.63
    """
    return CELLS * (gravity + constant)


@battery.calculation(source="tm-5-4210-hydrometer")
def gravity_at_80f(
    gravity: Annotated[float, ck.Input("1", "Hydrometer reading", 1.0, 1.35)],
    temperature: Annotated[float, ck.Input("K", "Temperature of the acid", 244.0, 328.0)],
) -> Annotated[float, ck.Output("1", "Specific gravity at 80 °F")]:
    """A hydrometer reading as it would be at 80 °F: 0.004 more for every 10 °F above, less below.

    >>> round(gravity_at_80f.si(1.250, 266.483), 3)
    1.226
    """
    return gravity + 0.004 * (temperature - kelvin(80)) * 9 / 5 / 10


#: Four printed freezing tables, (gravity, °F). source: freezing-tables
FREEZING = (
    ((1.000, 32.0), (1.100, 19.0), (1.150, 5.0), (1.200, -16.0), (1.250, -62.0), (1.280, -90.0)),
    ((1.100, 19.0), (1.150, 5.0), (1.200, -16.0), (1.250, -62.0), (1.280, -90.0)),
    ((1.120, 15.0), (1.155, 5.0), (1.190, -15.0), (1.225, -35.0), (1.265, -75.0)),
    ((1.160, 1.0), (1.220, -31.0), (1.250, -62.0), (1.280, -95.0)),
)


@battery.calculation(source="freezing-tables")
def freezing_point(
    gravity: Annotated[float, ck.Input("1", "Specific gravity", 1.0, 1.28)],
) -> Annotated[float, ck.Output("K", "Freezing point")]:
    """Where the acid begins to freeze: the warmest that any of the printed tables gives for this gravity.

    Above 1.280 the tables end, and stronger acid freezes warmer again: not extrapolated.

    >>> round(freezing_point.si(1.155) - 273.15, 1)
    -15.0
    """
    return max(
        kelvin(ck.interpolate(gravity, table)) for table in FREEZING if table[0][0] <= gravity <= table[-1][0]
    )


@battery.calculation(source="emf-temperature")
def open_circuit_voltage_at_25(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage", 0, 16)],
    temperature: Annotated[float, ck.Input("K", "Battery temperature", 223.0, 353.2)],
) -> Annotated[float, ck.Output("V", "Open-circuit voltage at 25 °C")]:
    """What a rested 12-V block would show at 25 °C. A cold one shows a little less for the same charge.

    >>> round(open_circuit_voltage_at_25.si(12.60, 263.15), 3)
    12.642
    """
    return voltage + CELLS * EMF_SLOPE * (298.15 - temperature)


def _molality(fraction: float) -> float:
    return fraction / ((1 - fraction) * ACID_MASS)


def _fraction(molality: float) -> float:
    return molality * ACID_MASS / (1 + molality * ACID_MASS)
