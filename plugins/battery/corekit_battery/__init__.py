"""The battery and charging system of corekit."""

from __future__ import annotations

import corekit as ck

from . import (
    acceptance,
    acid,
    after_charge,
    alternator,
    cables,
    capacity,
    capacity_test,
    cells,
    charge,
    charge_history,
    charge_scales,
    charge_state,
    charge_tail,
    charger,
    charging,
    charging_rise,
    complaint,
    converter,
    cranking,
    cranking_current,
    dangers,
    discharge,
    drain,
    drain_log,
    energy,
    estimates,
    fitting,
    frost,
    hydrometer,
    lithium,
    loading,
    looks,
    regulator,
    starting,
    starting_declarations,
    substitution,
    tables,
    vehicle_data,
)
from .declarations import (
    battery,
)

__all__ = [
    "acceptance",
    "acid",
    "after_charge",
    "alternator",
    "battery",
    "cables",
    "capacity",
    "capacity_test",
    "cells",
    "charge",
    "charge_history",
    "charge_scales",
    "charge_state",
    "charge_tail",
    "charger",
    "charging",
    "charging_rise",
    "complaint",
    "converter",
    "corekit_system",
    "cranking",
    "cranking_current",
    "dangers",
    "discharge",
    "drain",
    "drain_log",
    "energy",
    "estimates",
    "fitting",
    "frost",
    "hydrometer",
    "lithium",
    "loading",
    "looks",
    "regulator",
    "starting",
    "starting_declarations",
    "substitution",
    "tables",
    "vehicle_data",
]


@ck.hookimpl
def corekit_system() -> ck.System:
    """The one system that this plugin adds."""
    return battery
