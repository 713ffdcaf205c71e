"""The first screen: the jobs that are open, and a new one."""

from __future__ import annotations

import attrs
import flask

from ..desk import jobs as desk_jobs
from ..model.job import Job
from ..visit.progress import TITLES, standing
from .context import Van
from .page import job_page, said, vehicle_words

#: Closed jobs that are listed at first.
CLOSED_SHOWN = 10


@attrs.frozen(kw_only=True)
class JobRow:
    """One job as it stands in the list."""

    id: str
    vehicle: str
    words: str
    step: str
    name: str


def is_over(job: Job) -> bool:
    """True when nothing is left to do and nothing to invoice."""
    return job.ended is not None and not job.approvals


def add(app: flask.Flask, van: Van) -> None:
    def row(job: Job, step: str) -> JobRow:
        texts = van.texts(job)
        return JobRow(
            id=job.id,
            vehicle=vehicle_words(job, texts),
            words=said(job.opened.words, texts),
            name=job.name,
            step=step,
        )

    def open_row(job: Job) -> JobRow:
        found = standing(job, van.assessed(job), van.to_find_out)
        left = job.left_open
        return row(job, f"Left: {left.record.because}" if left is not None else f"Next: {TITLES[found.step]}")

    def closed_row(job: Job) -> JobRow:
        return row(
            job,
            (
                f"Invoice {job.issued[-1].record.number}"
                if job.issued
                else f"Ended: {job.ended.record.how}"
                if job.ended
                else ""
            ),
        )

    @app.get("/", endpoint="jobs")
    def jobs() -> str:
        """What is open, the newest first; of what is closed the latest, and all of it behind `?all`."""
        issued = desk_jobs.issued_job_ids(van.shop)
        rest = desk_jobs.open_jobs(van.shop)
        closed = [job for job in rest if is_over(job)]
        shown = len(issued) if "all" in flask.request.args else CLOSED_SHOWN
        rows = [closed_row(van.job(job)) for job in issued[:shown]]
        return flask.render_template(
            "jobs.html",
            open_ones=[open_row(job) for job in rest if not is_over(job)],
            closed=[*map(closed_row, closed), *rows],
            older=max(0, len(issued) - shown),
        )

    @app.get("/job/<job>/way")
    def way(job: str) -> str:
        """The steps of a visit: where it stands, and any other of them."""
        record = van.job(job)
        return job_page("way.html", record, van, here=standing(record, van.assessed(record), van.to_find_out))
