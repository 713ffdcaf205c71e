"""The exhaust gas recirculation system of corekit."""

from __future__ import annotations

import corekit as ck

from . import bus, leaks, looks, motor, observations, opening, orifice, rate, sensor, vacuum
from .declarations import egr

__all__ = [
    "bus",
    "corekit_system",
    "egr",
    "leaks",
    "looks",
    "motor",
    "observations",
    "opening",
    "orifice",
    "rate",
    "sensor",
    "vacuum",
]


@ck.hookimpl
def corekit_system() -> ck.System:
    """The one system that this plugin adds."""
    return egr
