"""The battery and charging system of corekit."""

from __future__ import annotations

import corekit as ck

from . import (
    acceptance,
    acid,
    cables,
    capacity,
    cells,
    charge,
    charge_state,
    charger,
    charging,
    charging_rise,
    complaint,
    cranking,
    drain,
    energy,
    estimates,
    fitting,
    hydrometer,
    loading,
    looks,
    starting,
    tables,
)
from .declarations import battery

__all__ = [
    "acceptance",
    "acid",
    "battery",
    "cables",
    "capacity",
    "cells",
    "charge",
    "charge_state",
    "charger",
    "charging",
    "charging_rise",
    "complaint",
    "corekit_system",
    "cranking",
    "drain",
    "energy",
    "estimates",
    "fitting",
    "hydrometer",
    "loading",
    "looks",
    "starting",
    "tables",
]


@ck.hookimpl
def corekit_system() -> ck.System:
    """The one system that this plugin adds."""
    return battery
