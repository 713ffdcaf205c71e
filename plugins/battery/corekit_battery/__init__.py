"""The battery and charging system of corekit."""

from __future__ import annotations

import corekit as ck

from . import acid, capacity, cells, charge, charge_state, charging, cranking, drain, loading, looks, tables
from .declarations import battery

__all__ = ["acid", "battery", "capacity", "cells", "charge", "charge_state", "charging", "corekit_system", "cranking", "drain", "loading", "looks", "tables"]


@ck.hookimpl
def corekit_system() -> ck.System:
    """The one system that this plugin adds."""
    return battery
