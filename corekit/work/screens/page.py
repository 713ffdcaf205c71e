"""What every screen of a job is given, so that a screen says only what is its own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import attrs
import flask

from ...model.job import Job
from ..van import Van


@attrs.frozen(kw_only=True)
class Waiting:
    """A test that was started and waits: where it is read, what it is called, when to look again (RFC 3339, and as shown)."""

    path: str
    title: str
    at: str
    shown: str


def vehicle_words(job: Job, texts: dict[str, str]) -> str:
    """The vehicle as the mechanic knows it: what was told and the plate, or what there is of both."""
    vehicle = job.vehicle
    known = [texts.get(text.hash, "removed") for text in (vehicle.told, vehicle.plate) if text is not None]
    return " · ".join(known) or "vehicle not named"


def waiting_tests(job: Job, van: Van) -> Sequence[Waiting]:
    """The tests of a job that were started and are not read yet."""
    return ()


def job_page(template: str, job: Job, van: Van, **more: Any) -> str:
    """A screen of a job."""
    texts = van.texts(job)
    return flask.render_template(template, job=job, texts=texts, which=vehicle_words(job, texts), waiting=waiting_tests(job, van), **more)
