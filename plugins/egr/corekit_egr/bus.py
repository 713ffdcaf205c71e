"""What the ECU's numbers mean: raw counts of the emission-related data, as quantities."""

from __future__ import annotations

from typing import Annotated

import corekit as ck

from .declarations import egr


@egr.calculation(source="data-scaling")
def commanded(
    count: Annotated[float, ck.Input("1", "Byte read, 0 to 255", 0, 255)],
) -> Annotated[float, ck.Output("1", "Commanded EGR opening")]:
    """Opening that the ECU asks of the valve, data item 2C.

    >>> round(commanded.si(0x40), 5)
    0.25098
    """
    return count / 255


@egr.calculation(source="data-scaling")
def commanded_error(
    count: Annotated[float, ck.Input("1", "Byte read, 0 to 255", 0, 255)],
) -> Annotated[float, ck.Output("1", "EGR error")]:
    """Actual less commanded opening as a share of the commanded one, data item 2D; -100 % means that nothing
    flows.

    With nothing commanded it is 0 or full scale and must never be averaged.

    >>> commanded_error.si(0), commanded_error.si(0x80)
    (-1.0, 0.0)
    """
    return count / 128 - 1


@egr.calculation(source="data-scaling")
def pressure_of_byte(
    count: Annotated[float, ck.Input("1", "Byte read, 0 to 255", 0, 255)],
) -> Annotated[float, ck.Output("Pa abs", "Pressure")]:
    """Manifold pressure (data item 0B) and barometric pressure (33), in steps of 1 kPa.

    >>> pressure_of_byte.si(0x65)
    101000.0
    """
    return count * 1000.0


@egr.calculation(source="data-scaling")
def speed_of_word(
    count: Annotated[float, ck.Input("1", "Two bytes read, 0 to 65535", 0, 65535)],
) -> Annotated[float, ck.Output("rev/s", "Engine speed")]:
    """Engine speed, data item 0C, in steps of a quarter of a revolution per minute.

    >>> speed_of_word.si(0x0BB8) * 60
    750.0
    """
    return count / 4 / 60


@egr.calculation(source="data-scaling")
def temperature_of_byte(
    count: Annotated[float, ck.Input("1", "Byte read, 0 to 255", 0, 255)],
) -> Annotated[float, ck.Output("K", "Temperature")]:
    """Coolant (data item 05) and intake air (0F), in steps of 1 °C.

    >>> temperature_of_byte.si(0x82) - 273.15
    90.0
    """
    return count - 40 + 273.15


@egr.calculation(source="data-scaling")
def air_flow_of_word(
    count: Annotated[float, ck.Input("1", "Two bytes read, 0 to 65535", 0, 65535)],
) -> Annotated[float, ck.Output("kg/s", "Air mass flow")]:
    """Mass of air drawn in, data item 10: two bytes.

    >>> air_flow_of_word.si(0x012C) * 1000
    3.0
    """
    return count / 100 / 1000
