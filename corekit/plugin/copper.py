"""Copper grows warm and its resistance with it: one law for the cables, coils and windings of
every system.
"""

from __future__ import annotations

ALPHA_20 = 0.00393  # 1/K, annealed copper at 20 °C; source: IEC 60028 and NBS Handbook 100, from memory
T_20 = 293.15  # K


def copper_factor(temperature: float) -> float:
    """Resistance of copper at a temperature as a share of what it has at 20 °C.

    Args:
        temperature: Of the metal, [K].

    Returns:
        1 at 293.15 K, [1]. Linear, so good for the temperatures of a vehicle only.

    >>> round(copper_factor(333.15), 4)
    1.1572
    """
    return 1 + ALPHA_20 * (temperature - T_20)
