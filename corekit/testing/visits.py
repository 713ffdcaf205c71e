"""Whole visits for tests: a visit file's text, read and assessed with every installed plugin, without a shop
and without a store.
"""

from __future__ import annotations

from ..assess.assessment import Assessment, assess
from ..assess.suspect import NextTest
from ..desk import next_step
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


def begins_at(of: str, made: Assessment, plugins: Plugins | None = None) -> str:
    """The place of this vehicle at which a thing is looked at first, because a trouble code names it."""
    return next_step.begins_at(of, made.job, plugins or load())


def next_steps(made: Assessment, plugins: Plugins | None = None) -> list[NextTest]:
    """The steps that a mechanic is shown next, as far as this vehicle has them."""
    return list(next_step.tests_to_make(made.next_tests, made.job, plugins or load()))
