"""The exhaust gas recirculation system of corekit."""

from __future__ import annotations

import corekit as ck

from . import (
    bus,
    control,
    lamp,
    leaks,
    live,
    looks,
    motor,
    observations,
    opening,
    orifice,
    rate,
    sensor,
    signals,
    smoke,
    vacuum,
    vehicle_data,
)
from .declarations import egr

__all__ = [
    "bus",
    "control",
    "corekit_system",
    "egr",
    "lamp",
    "leaks",
    "live",
    "looks",
    "motor",
    "observations",
    "opening",
    "orifice",
    "rate",
    "sensor",
    "signals",
    "smoke",
    "vacuum",
    "vehicle_data",
]


@ck.hookimpl
def corekit_system() -> ck.System:
    """The one system that this plugin adds."""
    return egr
