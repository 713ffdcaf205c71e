"""The first screen: the jobs that are open, and a new one."""

from __future__ import annotations

import re

import attrs
import flask

from ..desk import jobs as desk_jobs
from ..desk.jobs import JobRow
from ..model.job_state import JobState
from ..visit.progress import TITLES, Step, standing
from .context import Van
from .done import done_steps
from .page import job_page, said, vehicle_words

#: Jobs that are listed at a time: all that one day has open, and the closed ones that are asked about most.
OPEN_SHOWN = 50
CLOSED_SHOWN = 10

#: What comes next in a job, as far as its journal alone tells; the job's own screen says it to the step.
NEXT = {
    JobState.DIAGNOSIS: TITLES[Step.DIAGNOSIS],
    JobState.ARRIVE: TITLES[Step.ARRIVE],
    JobState.TEST: "Find the cause",
    JobState.ESTIMATE: TITLES[Step.ESTIMATE],
    JobState.REPAIR: TITLES[Step.REPAIR],
    JobState.DONE: "Test again or hand over",
    JobState.HAND_OVER: TITLES[Step.HAND_OVER],
}


@attrs.frozen(kw_only=True)
class Row:
    """One job as it stands in the list."""

    id: str
    vehicle: str
    words: str
    step: str
    name: str


def add(app: flask.Flask, van: Van) -> None:
    def row(job: JobRow) -> Row:
        texts = desk_jobs.texts_of(van.shop, job)
        return Row(
            id=job.id,
            vehicle=vehicle_words(job, texts),
            words=texts.get(job.words, "removed" if job.words else ""),
            name=job.name,
            step=step(job),
        )

    def step(job: JobRow) -> str:
        state = JobState(job.state)
        if state is JobState.INVOICED:
            owed = desk_jobs.owed(van.shop, job)
            if owed.minor < 0:
                return f"Invoice {job.number}, refund due {-owed} {owed.currency}"
            return f"Invoice {job.number}" + (f", {owed} {owed.currency} to pay" if owed.minor else "")
        if state is JobState.OVER:
            return f"Ended: {job.because}"
        return f"Left: {job.because}" if state is JobState.LEFT else f"Next: {NEXT[state]}"

    @app.get("/", endpoint="jobs")
    def jobs() -> str:
        """What is open and what was closed, the latest first; further back behind `?open` and `?closed`."""
        open_ones = desk_jobs.open_jobs(van.shop, OPEN_SHOWN + 1, _before("open"))
        closed = desk_jobs.closed_jobs(van.shop, CLOSED_SHOWN + 1, _before("closed"))
        return flask.render_template(
            "jobs.html",
            open_ones=[*map(row, open_ones[:OPEN_SHOWN])],
            closed=[*map(row, closed[:CLOSED_SHOWN])],
            open_before=open_ones[OPEN_SHOWN - 1].began if len(open_ones) > OPEN_SHOWN else None,
            closed_before=closed[CLOSED_SHOWN - 1].closed if len(closed) > CLOSED_SHOWN else None,
        )

    @app.get("/job/<job>/way")
    def way(job: str) -> str:
        """The steps of a visit: where it stands, and any other of them."""
        record = van.job(job)
        here = standing(record, van.assessed(record), van.to_find_out)
        texts = van.texts(record)
        return job_page(
            "way.html",
            record,
            van,
            here=here,
            done=done_steps(record),
            phone=re.sub(r"[^0-9+]", "", said(record.customer.phone, texts)),
            address=said(record.customer.address, texts),
        )


def _before(which: str) -> int | None:
    """Where a page of a list goes on; anything that is no place begins the list."""
    return flask.request.args.get(which, type=int)
