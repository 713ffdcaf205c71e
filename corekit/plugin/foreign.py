"""Another system's measurand, named by its key: a check may want it without its plugin being there."""

from __future__ import annotations

import re

from .. import units
from ..model.limit import Span
from ..model.measurand import Accuracy, Measurand

_KEY = re.compile(r"[a-z][a-z0-9_]{0,39}\.[a-z][a-z0-9_]{0,39}")


def foreign(key: str, unit: str, title: str) -> Measurand:
    """A stand-in for what another system measures (`brakes.pedal_force`), to be wanted by a check.

    Nothing is imported. Where the other system is installed and declares the key in the same kind of
    quantity, its readings arrive with their own uncertainty, place and setup; else the check gets None (or an
    empty list), as for any reading that was not taken.

    Args:
        key: The other system's full key. unit: Any unit of the kind it is expected in. title: How our
            sentences and gaps call it.

    Raises:
        ValueError: the key is not of the form `system.name`. UnitError: no such unit.

    >>> foreign("brakes.pedal_force", "N", "Force on the pedal").kind
    'force'
    """
    if not _KEY.fullmatch(key):
        raise ValueError(
            f"Another system's measurand is named by its full key, like brakes.pedal_force; got {key!r}."
        )
    return Measurand(
        key=key,
        unit=unit,
        kind=units.unit(unit).kind,
        title=title,
        possible=Span(),
        usual=Span(),
        accuracy=Accuracy(),
    )
