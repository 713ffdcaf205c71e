"""The ignition system of corekit."""

from __future__ import annotations

import corekit as ck

from . import (
    current,
    engine,
    gaps,
    history,
    iron,
    leads,
    levels,
    looks,
    misfire,
    named,
    observations,
    pickup,
    ramp,
    ramp_fit,
    reserve,
    scope,
    spark_path,
    speed,
    supply,
    swaps,
    vehicle_data,
    wear,
    windings,
)
from .declarations import ignition

__all__ = [
    "corekit_system",
    "current",
    "engine",
    "gaps",
    "history",
    "ignition",
    "iron",
    "leads",
    "levels",
    "looks",
    "misfire",
    "named",
    "observations",
    "pickup",
    "ramp",
    "ramp_fit",
    "reserve",
    "scope",
    "spark_path",
    "speed",
    "supply",
    "swaps",
    "vehicle_data",
    "wear",
    "windings",
]


@ck.hookimpl
def corekit_system() -> ck.System:
    """The one system that this plugin adds."""
    return ignition
