"""Charging in numbers: its voltage by temperature, how long it takes, and what gas it makes."""

from __future__ import annotations

import math
from typing import Annotated

import corekit as ck

from .acid import CELLS
from .declarations import (
    battery,
)
from .tables import kelvin

HOUR = 3600.0
COMPENSATION = -3e-3  # V/K and cell; source: charging-compensation
FARADAY, GAS = 96485.33212, 8.314462618  # C/mol and J/(mol K), exact by definition; source: faraday
ATMOSPHERE = 101325.0  # Pa
ACID_PER_MOLE, WATER_PER_MOLE = 0.098079, 0.018015  # kg/mol
ALARMING = (
    0.01  # share of hydrogen in air: a quarter of the 4 % at which it begins to burn; source: ventilation
)


@battery.calculation(source="charging-compensation")
def charging_voltage_at(
    voltage: Annotated[float, ck.Input("V", "Charging voltage at 25 °C", 12.0, 16.5)],
    temperature: Annotated[float, ck.Input("K", "Battery temperature", 243.15, 333.15)],
) -> Annotated[float, ck.Output("V", "Charging voltage at this temperature")]:
    """Charging voltage of a 12-V block at its temperature, from the one given for 25 °C: -3 mV for each
    kelvin and cell.

    >>> round(charging_voltage_at.si(14.4, 308.15), 2)
    14.22
    """
    return voltage + CELLS * COMPENSATION * (temperature - kelvin(77))


@battery.calculation(source="charge-time-model")
def time_at_full_current(
    missing: Annotated[float, ck.Input("C", "Charge missing", 0)],
    current: Annotated[float, ck.Input("A", "Charging current", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
) -> Annotated[float, ck.Output("s", "Time at full current")]:
    """How long a charger can keep its full current, until the battery accepts less.

    `tau` is the battery's acceptance time.

    >>> time_at_full_current.si(35 * 3600, 10, 2 * 3600) / 3600
    1.5
    """
    return max(0.0, (missing - current * tau) / current)


@battery.calculation(source="charge-time-model")
def time_of_tail(
    missing: Annotated[float, ck.Input("C", "Charge missing", 0)],
    current: Annotated[float, ck.Input("A", "Charging current", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
    tail: Annotated[float, ck.Input("A", "Tail current at which charging ends", above=0)],
) -> Annotated[float, ck.Output("s", "Time of the falling current")]:
    """How long the falling current takes from where the charger's full current ends down to the tail current.

    >>> round(time_of_tail.si(35 * 3600, 10, 2 * 3600, 0.7) / 3600, 2)
    5.32
    """
    first = min(current, missing / tau)
    return max(0.0, tau * math.log(first / tail)) if first > 0 else 0.0


@battery.calculation(source="charge-time-model")
def charging_time(
    missing: Annotated[float, ck.Input("C", "Charge missing", 0)],
    current: Annotated[float, ck.Input("A", "Charging current", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
    tail: Annotated[float, ck.Input("A", "Tail current at which charging ends", above=0)],
) -> Annotated[float, ck.Output("s", "Charging time")]:
    """The whole charge: at full current, then down to the tail current.

    >>> round(charging_time.si(35 * 3600, 10, 2 * 3600, 0.7) / 3600, 1)
    6.8
    """
    return time_at_full_current.si(missing, current, tau) + time_of_tail.si(missing, current, tau, tail)


@battery.calculation(source="charge-time-model")
def charging_time_to(
    missing: Annotated[float, ck.Input("C", "Charge missing", 0)],
    current: Annotated[float, ck.Input("A", "Charging current", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
    left: Annotated[float, ck.Input("C", "Charge still missing at the end", above=0)],
) -> Annotated[float, ck.Output("s", "Charging time")]:
    """Time until no more is missing than may be at the end: the last part takes longest.

    >>> round(charging_time_to.si(35 * 3600, 10, 2 * 3600, 14 * 3600) / 3600, 2)
    2.21
    """
    if left >= missing:
        return 0.0
    full = time_at_full_current.si(missing, current, tau)
    after = missing - current * full
    return (missing - left) / current if left >= after else full + tau * math.log(after / left)


@battery.calculation(source="charge-time-model")
def charge_left(
    tail: Annotated[float, ck.Input("A", "Tail current", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
) -> Annotated[float, ck.Output("C", "Charge still missing")]:
    """What is still missing when the current has fallen to the tail.

    >>> round(charge_left.si(0.7, 7200) / 3600, 1)
    1.4
    """
    return tail * tau


@battery.calculation(source="ampere-hour-law")
def time_to_return(
    share: Annotated[float, ck.Input("1", "Share of the missing charge put back", 0, below=1)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
) -> Annotated[float, ck.Output("s", "Charging time")]:
    """Time to put back a share of what is missing when the current falls with the charge; by the ampere-hour
    law the acceptance time is one hour.

    >>> round(time_to_return.si(0.9, 3600) / 3600, 2)
    2.3
    """
    return -tau * math.log(1 - share)


@battery.calculation(source="charge-time-model")
def acceptance_time(
    first: Annotated[float, ck.Input("A", "First current read", above=0)],
    second: Annotated[float, ck.Input("A", "Second current read", above=0)],
    apart: Annotated[float, ck.Input("s", "Time between the two readings", above=0)],
) -> Annotated[float, ck.Output("s", "Acceptance time of the battery")]:
    """The battery's acceptance time from two readings of the falling current.

    >>> round(acceptance_time.si(8, 4, 3600) / 3600, 2)
    1.44

    Raises:
        ValueError: the second current is not below the first.
    """
    if second >= first:
        raise ValueError("The current must have fallen between the two readings; read again later.")
    return apart / math.log(first / second)


@battery.calculation(source="charge-time-model")
def time_left(
    current: Annotated[float, ck.Input("A", "Charging current now", above=0)],
    tail: Annotated[float, ck.Input("A", "Tail current at which charging ends", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
) -> Annotated[float, ck.Output("s", "Time left")]:
    """How long a falling current still takes down to the tail.

    >>> round(time_left.si(4, 0.7, 5193.7) / 3600, 2)
    2.51
    """
    return max(0.0, tau * math.log(current / tail))


@battery.calculation(source="faraday")
def hydrogen(
    charge: Annotated[float, ck.Input("C", "Charge given beyond full", 0)],
    cells: Annotated[float, ck.Input("1", "Number of cells", 1, 24)],
    temperature: Annotated[float, ck.Input("K", "Air temperature", 243.15, 333.15)],
) -> Annotated[float, ck.Output("m³", "Volume of hydrogen")]:
    """Hydrogen from overcharge when all of it makes gas.

    >>> round(hydrogen.si(36000, 6, 293.15) * 1000, 1)
    26.9
    """
    return cells * charge / (2 * FARADAY) * GAS * temperature / ATMOSPHERE


@battery.calculation(source="faraday")
def time_to_one_percent(
    room: Annotated[float, ck.Input("m³", "Volume of the room", above=0)],
    current: Annotated[float, ck.Input("A", "Gas current", above=0)],
    cells: Annotated[float, ck.Input("1", "Number of cells", 1, 24)],
    temperature: Annotated[float, ck.Input("K", "Air temperature", 243.15, 333.15)],
) -> Annotated[float, ck.Output("s", "Time until 1 % hydrogen")]:
    """Time until a closed, well mixed room holds 1 % of hydrogen, a quarter of what can burn.

    Under the roof it comes sooner.

    >>> round(time_to_one_percent.si(6.0, 10, 6, 293.15) / 3600, 1)
    2.2
    """
    return ALARMING * room / hydrogen.si(current, cells, temperature)


@battery.calculation(source="faraday")
def acid_used(
    charge: Annotated[float, ck.Input("C", "Charge given by the cell", 0)],
) -> Annotated[float, ck.Output("kg", "Sulphuric acid used up")]:
    """Acid that one cell takes up while it gives this charge.

    >>> round(acid_used.si(3600) * 1000, 2)
    3.66
    """
    return charge / FARADAY * ACID_PER_MOLE


@battery.calculation(source="faraday")
def water_formed(
    charge: Annotated[float, ck.Input("C", "Charge given by the cell", 0)],
) -> Annotated[float, ck.Output("kg", "Water formed")]:
    """Water that one cell forms while it gives this charge.

    >>> round(water_formed.si(3600) * 1000, 2)
    0.67
    """
    return charge / FARADAY * WATER_PER_MOLE


@battery.calculation(source="ventilation")
def air_flow(
    cells: Annotated[float, ck.Input("1", "Number of cells", 1, 24)],
    gas_current: Annotated[float, ck.Input("A", "Gas current", 0)],
) -> Annotated[float, ck.Output("m³/s", "Air flow needed")]:
    """Air that a battery on charge needs: 0.05 m³/h for each cell and ampere of gas current.

    The gas current is 20 mA for each Ah of a vented battery on a boost charge and 8 mA of a valve-regulated
    one, up to 40 °C; with an unregulated charger it is the whole charging current.

    >>> round(air_flow.si(6, 1.4) * 3600, 2)
    0.42
    """
    return 0.05 * cells * gas_current / HOUR


@battery.calculation(source="ventilation")
def air_opening(
    flow: Annotated[float, ck.Input("m³/s", "Air flow needed", 0)],
) -> Annotated[float, ck.Output("m²", "Area of each opening")]:
    """Opening, one for inlet and one for outlet, that lets this air through by itself: 28 cm² for each m³/h.

    >>> round(air_opening.si(0.42 / 3600) * 1e4, 1)
    11.8
    """
    return 28e-4 * flow * HOUR
