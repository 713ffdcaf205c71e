"""What the conformance kit finds, as `corekit plugins --check` prints it."""

from __future__ import annotations

from ...errors import InputError
from ...plugin import set_aside
from ...plugin.host import Plugins
from . import EXAMPLES, nonconformities


def checked_lines(key: str, plugins: Plugins) -> tuple[int, list[str]]:
    """How many things do not conform, and what is said of it.

    Raises:
        InputError: no plugin of that name is installed.
    """
    failed = [failure.for_author for failure in plugins.failures if failure.plugin == key]
    known = {**plugins.systems, **plugins.additions}
    if key not in known:
        if failed:
            return len(failed), failed
        raise InputError(
            f"There is no system {key!r}; installed are {', '.join(known) or 'none'}. A package is"
            " installed with pip install -e FOLDER, and its entry point has the system's key."
        )
    if key in set_aside.checks:
        return len(failed), [*failed, "Nothing else of it was looked at: its checks do not run any more."]
    found = list(nonconformities(known[key]))
    lines = [*failed, *(f"{requirement}: {one}" for requirement, one in found)]
    if not lines:
        lines = [f"{key} conforms: each check and calculation was attacked {EXAMPLES} times."]
    return len(failed) + len(found), lines
