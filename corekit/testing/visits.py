"""Whole visits for tests: a visit file's text, read and assessed with every installed plugin, without a shop
and without a store.
"""

from __future__ import annotations

from ..assess.assessment import Assessment, assess
from ..desk.in_memory import scratch_job
from ..intake.declared import Declared
from ..intake.visit import read_visit
from ..plugin.host import Plugins, load


def assessed(text: str, plugins: Plugins | None = None) -> Assessment:
    """What is made of a visit file's text.

    Raises:
        VisitError: the file has faults; all are named.
    """
    installed = plugins or load()
    job, _ = scratch_job(read_visit(text.encode(), Declared.of(installed, currency="EUR")))
    return assess(job, installed)
