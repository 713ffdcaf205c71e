"""The battery and charging system of corekit."""

from __future__ import annotations

import corekit as ck

from . import (
    acid,
    alternator,
    cables,
    capacity,
    cells,
    charge,
    charge_state,
    charger,
    charging,
    complaint,
    cranking,
    drain,
    energy,
    estimates,
    fitting,
    hydrometer,
    loading,
    looks,
    regulator,
    tables,
)
from .declarations import battery

__all__ = [
    "acid",
    "alternator",
    "battery",
    "cables",
    "capacity",
    "cells",
    "charge",
    "charge_state",
    "charger",
    "charging",
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
    "regulator",
    "tables",
]


@ck.hookimpl
def corekit_system() -> ck.System:
    """The one system that this plugin adds."""
    return battery
