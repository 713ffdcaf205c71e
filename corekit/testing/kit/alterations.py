"""What a plugin's code changed that is not its own: the core, Python's own functions, another system."""

from __future__ import annotations

import sys
from collections.abc import Callable

from ...plugin.cures import cure_of
from ...plugin.intact import Original, altered_words
from ...plugin.system import System
from .nonconformity import Nonconformity


def others_than(system: System) -> list[System]:
    """Every other system that is imported here, for one can change them."""
    found = {
        id(one): one
        for module in list(sys.modules.values())
        for one in list(getattr(module, "__dict__", {}).values())
        if isinstance(one, System) and one.key != system.key
    }
    return list(found.values())


def found_or_altered(
    original: Original, of: str, found: Callable[[], Nonconformity | None]
) -> Nonconformity | None:
    """What is found; and where that changed something that is not the system's own, this in its place: it is
    put back, and whatever else was found may come of it.
    """
    first: Nonconformity | None = None
    try:
        first = found()
    except Exception:
        if not (changed := original.put_back()):
            raise
    else:
        changed = original.put_back()
    if not changed:
        return first
    return Nonconformity(of=of, fault=altered_words(changed), cure=cure_of(altered_words(changed)))
