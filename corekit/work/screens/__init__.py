"""One module for each step of a visit, and one for each other room: jobs, record, calculators."""

from __future__ import annotations

import flask

from ..van import Van
from . import agree, arrive, explain, hand_over, jobs, papers, photos, reckon, record, repair, test, wanted


def add_screens(app: flask.Flask, van: Van) -> None:
    """Every screen there is."""
    for screen in (
        jobs,
        arrive,
        agree,
        wanted,
        papers,
        photos,
        explain,
        test,
        repair,
        hand_over,
        record,
        reckon,
    ):
        screen.add(app, van)
