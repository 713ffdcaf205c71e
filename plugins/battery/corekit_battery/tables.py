"""Printed tables, and the degrees they are printed in. They are read with `ck.between` and `ck.held`."""

from __future__ import annotations

from collections.abc import Sequence

Rows = Sequence[tuple[float, float]]


def kelvin(fahrenheit: float) -> float:
    """Tables printed in °F, exactly.

    >>> round(kelvin(32.0), 2)
    273.15
    """
    return (fahrenheit + 459.67) * 5 / 9
