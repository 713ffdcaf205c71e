"""The first screen: the jobs that are open, and a new one."""

from __future__ import annotations

import attrs
import flask

from ...model.job import Job
from ..place import TITLES, standing
from ..van import Van
from .page import job_page, said, vehicle_words


@attrs.frozen(kw_only=True)
class Row:
    """One job as it stands in the list."""

    id: str
    vehicle: str
    words: str
    step: str
    name: str


def add(app: flask.Flask, van: Van) -> None:
    def row(job: Job) -> Row:
        texts = van.texts(job)
        return Row(
            id=job.id, vehicle=vehicle_words(job, texts), words=said(job.opened.words, texts), name=job.name,
            step="Invoice issued" if job.issued else TITLES[standing(job, van.assessed(job)).step],
        )  # fmt: skip

    @app.get("/", endpoint="jobs")
    def jobs() -> str:
        found = [van.job(job) for job in reversed(van.shop.store.jobs())]
        open_ones = [row(job) for job in found if not job.issued]
        closed = [row(job) for job in found if job.issued][:20]
        return flask.render_template("jobs.html", open_ones=open_ones, closed=closed)

    @app.get("/job/<job>/way")
    def way(job: str) -> str:
        """The steps of a visit: where it stands, and any other of them."""
        record = van.job(job)
        return job_page("way.html", record, van, here=standing(record, van.assessed(record)))
