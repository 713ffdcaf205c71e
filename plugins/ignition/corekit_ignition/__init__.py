"""The ignition system of corekit."""

from __future__ import annotations

import corekit as ck

from . import (
    current,
    gaps,
    history,
    leads,
    looks,
    misfire,
    observations,
    pickup,
    reserve,
    spark_path,
    speed,
    supply,
    swaps,
    vehicle_data,
    windings,
)
from .declarations import ignition

__all__ = [
    "corekit_system",
    "current",
    "gaps",
    "history",
    "ignition",
    "leads",
    "looks",
    "misfire",
    "observations",
    "pickup",
    "reserve",
    "spark_path",
    "speed",
    "supply",
    "swaps",
    "vehicle_data",
    "windings",
]


@ck.hookimpl
def corekit_system() -> ck.System:
    """The one system that this plugin adds."""
    return ignition
