"""A vehicle that was here before: what was found and left open then, what was declined, what is guaranteed,
what was read last.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs
import flask

from ..account.row import FaultRow
from ..account.state import OPEN
from ..desk.jobs import JobRow
from ..desk.vehicle_history import last_reading
from ..model.job import Job
from ..report.account_blocks import state_words
from ..report.dates import day_words
from .context import Van
from .job_rows import step_words, texts_for
from .page import job_page, personal_words
from .told import account_now


@attrs.frozen(kw_only=True)
class Earlier:
    """An earlier job of the same vehicle.

    Attributes:
        done: Work that was done. declined: Work that the customer did not want.
        again: Where a warranty repair of it begins; empty where it is on no invoice.
    """

    id: str
    day: str
    words: str
    odometer: str
    step: str
    done: Sequence[str]
    declined: Sequence[str]
    again: str


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/job/<job>/before")
    def before(job: str) -> str:
        """What is known of this vehicle from earlier jobs, what was left open last at the top."""
        record = van.job(job)
        earlier = van.earlier(record)
        told = [_earlier_visit(van, row, van.job(row.id)) for row in earlier]
        return job_page(
            "before.html",
            record,
            van,
            earlier=told,
            left_open=left_open(van, van.job(earlier[0].id)) if earlier else [],
            guarantee=van.shop.settings.issuer.guarantee,
        )


def left_open(van: Van, job: Job) -> list[tuple[str, str]]:
    """What of an earlier job was not put right or not shown, each with how it stood, as its paper says it."""
    rows = account_now(van, job, van.assessed(job)).rows
    return [
        (row.what if isinstance(row, FaultRow) else row.point, state_words(row))
        for row in rows
        if row.state in OPEN
    ]


def last_time(van: Van, job: Job, key: str, place: str) -> str:
    """What was read of a thing when this vehicle was here last; empty where nothing was."""
    earlier = van.earlier(job)
    read = last_reading(van.shop, earlier, key, place) if earlier else None
    return f"{read.typed}, {day_words(read.day)}" if read is not None else ""


def _earlier_visit(van: Van, row: JobRow, job: Job) -> Earlier:
    title = van.shop.plugins.title
    first = min(entry.recorded for entry in job.entries)
    return Earlier(
        id=row.id,
        day=day_words(van.shop.settings.day_of(first)),
        words=personal_words(job.opened.words, texts_for(van, [job])),
        odometer=job.vehicle.odometer_typed,
        step=step_words(van, row),
        done=[title(key) for key in job.works_done],
        declined=[title(key) for key in job.approval.declined],
        again=f"/new?again={row.id}" if job.issued else "",
    )
