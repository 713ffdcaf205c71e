"""Engine cooling: warm-up, thermostat, fan, pressure cap, leaks, block test, boiling and frost."""

import corekit as ck

from . import checks as checks
from . import coolant as coolant
from .declarations import cooling

__all__ = ["checks", "coolant", "cooling", "corekit_system"]


@ck.hookimpl
def corekit_system() -> ck.System:
    return cooling
