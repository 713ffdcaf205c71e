"""The ignition system of corekit."""

from __future__ import annotations

import corekit as ck

from . import current, gaps, leads, looks, misfire, observations, speed, supply, windings
from .declarations import ignition

__all__ = [
    "corekit_system",
    "current",
    "gaps",
    "ignition",
    "leads",
    "looks",
    "misfire",
    "observations",
    "speed",
    "supply",
    "windings",
]


@ck.hookimpl
def corekit_system() -> ck.System:
    """The one system that this plugin adds."""
    return ignition
