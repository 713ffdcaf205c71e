"""What is asked, read and looked at to tell battery, cables, starter, alternator and drain apart."""

from __future__ import annotations

from enum import Enum

from .declarations import battery


class Drive(Enum):
    ENGINE = "combustion engine"
    MILD = "mild hybrid"
    HYBRID = "hybrid"
    ELECTRIC = "electric"


# ---- what the vehicle is fitted with

drive = battery.trait(
    "drive",
    "Drive",
    Drive,
    how="Hybrid and electric vehicles charge the 12-V battery by a converter when ready; most have no"
    " starter.",
)
