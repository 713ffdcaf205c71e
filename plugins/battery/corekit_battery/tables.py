"""Printed tables, and the degrees they are printed in. `ck.interpolate` and
`ck.interpolate_clamped` read them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import corekit as ck

from .declarations import (
    battery,
)

Rows = Sequence[tuple[float, float]]
AS_PRINTED = 0.6  # K: both degrees of a pair are rounded, °F to whole ones and °C to a tenth or a whole one


def kelvin(fahrenheit: float) -> float:
    """Tables printed in °F, exactly.

    >>> round(kelvin(32.0), 2)
    273.15
    """
    return (fahrenheit + 459.67) * 5 / 9


@battery.calculation(source="fahrenheit")
def disagreement(
    first: Annotated[float, ck.Input("K", "Temperature as printed in °F", above=0)],
    second: Annotated[float, ck.Input("K", "Temperature as printed in °C", above=0)],
) -> Annotated[float, ck.Output("K diff", "Difference between the two")]:
    """How far two temperatures lie apart that a table prints as one, in °F and in °C.

    >>> disagreement.si(258.15, 258.65)
    0.5
    """
    return abs(first - second)


def pair(fahrenheit: float, celsius: float) -> float:
    """One temperature that a table prints in both degrees, in kelvin by its °F.

    Manuals print pairs that cannot both be right (-15.0 °C beside +15 °F instead of +5 °F), so each is held
    against itself when a table is typed in.

    >>> round(pair(5.0, -15.0), 2)
    258.15

    Raises:
        ValueError: the two are not the same temperature; names both, and what the °C would be.
    """
    if disagreement.si(kelvin(fahrenheit), celsius + 273.15) > AS_PRINTED:
        right = (fahrenheit - 32) * 5 / 9
        raise ValueError(
            f"{fahrenheit:g} °F and {celsius:g} °C are not one temperature; {fahrenheit:g} °F is {right:.1f}"
            " °C. Look at the table again."
        )
    return kelvin(fahrenheit)
