"""Logs that the tests make: a drive from key on to engine off, written as loggers write it."""

from __future__ import annotations

import math
from collections.abc import Iterator

Row = dict[str, float]

#: Channel → title with its unit.
TITLES = {
    "engine_speed": "Engine RPM [rpm]",
    "coolant_temperature": "Coolant temp [°C]",
    "module_voltage": "Control module voltage [V]",
    "commanded_egr": "Commanded EGR [%]",
    "egr_error": "EGR error [%]",
    "manifold_pressure": "MAP [kPa]",
    "vehicle_speed": "Vehicle speed [km/h]",
    "calculated_load": "Engine load [%]",
}


def drive(step: float = 0.5, until: float = 900.0) -> Iterator[tuple[float, Row]]:
    """Key on for 5 s, cranked for 1.5 s, idling until 200 s, on the road until 500 s with the valve asked to
    open from 250 to 450 s, idling warm until 880 s, off.
    """
    for n in range(round(until / step) + 1):
        time = n * step
        on_the_road = 200 <= time < 500
        runs = 6.5 <= time < 880
        speed = (
            0.0
            if time < 5 or time >= 880
            else 210.0
            if time < 6.5
            else 1800 + 400 * math.sin(time / 9)
            if on_the_road
            else 800 + 8 * math.sin(time)
        )
        opened = 250 <= time < 450
        yield (
            time,
            {
                "engine_speed": speed,
                "coolant_temperature": 20 + 70 * (1 - math.exp(-max(0.0, time - 6.5) / 180)),
                "module_voltage": 14.1 if runs else 9.8 if 5 <= time < 6.5 else 12.5,
                "commanded_egr": 30.0 if opened else 0.0,
                "egr_error": -100.0 if opened else 0.0,
                "manifold_pressure": 60.0 if on_the_road else 33.0 if runs else 101.0,
                "vehicle_speed": 50.0 if on_the_road else 0.0,
                "calculated_load": 60.0 if on_the_road else 25.0 if runs else 0.0,
            },
        )


def table(
    rows: Iterator[tuple[float, Row]],
    *,
    mark: str = ";",
    decimal: str = ",",
    tail: str = "",
    titles: dict[str, str] | None = None,
    time: str = "Time [s]",
) -> str:
    """The rows as a logger's file."""
    named = titles or TITLES
    lines = [mark.join([time, *named.values()])]
    for moment, row in rows:
        cells = [f"{moment:.3f}", *(f"{row[key]:.3f}" for key in named)]
        lines.append(mark.join(cells).replace(".", decimal) + tail)
    return "\n".join(lines) + "\n"
