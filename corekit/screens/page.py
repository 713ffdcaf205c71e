"""What every screen of a job is given, so that a screen says only what is its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import quote

import attrs
import flask

from ..desk.errors import StoreError
from ..desk.jobs import JobRow, job_named
from ..model.job import Job, Noted
from ..model.personal import Personal
from ..model.records import Started
from .context import Van


@attrs.frozen(kw_only=True)
class Waiting:
    """A test that was started and waits: where it is read, what it is called, when to look again (RFC 3339,
    and as shown).
    """

    path: str
    title: str
    at: str
    shown: str


def personal_words(reference: object, texts: Mapping[str, str]) -> str:
    """A personal text; empty where there is none, *removed* where it was destroyed."""
    return texts.get(reference.hash, "removed") if isinstance(reference, Personal) else ""


def vehicle_words(job: Job | JobRow, texts: Mapping[str, str]) -> str:
    """The vehicle as the mechanic knows it: what was told and the plate, or what there is of both."""
    known = (personal_words(job.vehicle.description, texts), personal_words(job.vehicle.plate, texts))
    return " · ".join(filter(None, known)) or "vehicle not named"


def vehicle_named(name: str, van: Van) -> str:
    """The vehicle of the job of this name, as the mechanic knows it; the name itself where no such job is
    here.
    """
    try:
        job = job_named(van.shop, name) if name else None
    except StoreError:
        return name
    return vehicle_words(job, van.texts(job)) if job is not None else ""


def waiting_tests(job: Job, van: Van) -> Sequence[Waiting]:
    """The tests of a job that were started and are not read yet, the one that is ready first at the top."""
    found = [_waiting_test(job, noted, van) for noted in job.waiting]
    return sorted(found, key=lambda test: test.at)


def _waiting_test(job: Job, noted: Noted[Started], van: Van) -> Waiting:
    record = noted.record
    began = datetime.fromisoformat(noted.entry.taken or noted.entry.recorded)
    ready = began + timedelta(seconds=record.wait)
    beside = f"?place={quote(record.place)}" if record.place else ""
    return Waiting(
        path=f"/job/{job.id}/test/{record.of}{beside}",
        title=van.shop.plugins.title(record.of),
        at=ready.isoformat(),
        shown=ready.astimezone().strftime("%H:%M"),
    )


def job_page(template: str, job: Job, van: Van, **more: Any) -> str:
    """A screen of a job."""
    texts = van.texts(job)
    return flask.render_template(
        template,
        job=job,
        texts=texts,
        which=vehicle_words(job, texts),
        waiting=waiting_tests(job, van),
        **more,
    )
