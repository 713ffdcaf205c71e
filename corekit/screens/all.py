"""One module for each step of a visit, and one for each other room: jobs, record, calculators."""

from __future__ import annotations

import flask

from . import (
    approve,
    arrive,
    calculators,
    day,
    explain,
    hand_over,
    jobs,
    log,
    other_van,
    papers,
    photos,
    practice,
    prices,
    record,
    repair,
    requested,
    returning,
    samples,
    scan,
    shop,
    test,
    tried,
)
from .context import Van


def add_screens(app: flask.Flask, van: Van) -> None:
    """Every screen there is."""
    for screen in (
        jobs,
        day,
        arrive,
        approve,
        requested,
        returning,
        scan,
        shop,
        prices,
        papers,
        photos,
        log,
        explain,
        test,
        samples,
        tried,
        repair,
        hand_over,
        other_van,
        record,
        calculators,
    ):
        screen.add(app, van)
    if van.practice is not None:
        practice.add(app, van.practice, van)
