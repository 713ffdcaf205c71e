"""The first screen: the jobs that are open, a new one, and any that was."""

from __future__ import annotations

import flask

from ..desk import jobs as desk_jobs
from ..desk.finding import found_jobs
from ..desk.syncing import vans
from ..visit.progress import standing
from .context import Van
from .done import done_steps
from .job_rows import Reach, rows_of
from .page import job_page, personal_words

#: Jobs that are listed at a time: all that one day has open, and the closed ones that are asked about most.
OPEN_SHOWN = 50
CLOSED_SHOWN = 10


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/", endpoint="jobs")
    def jobs() -> str:
        """What is open and what was closed, the latest first; further back behind `?open` and `?closed`."""
        open_ones = desk_jobs.open_jobs(van.shop, OPEN_SHOWN + 1, _before("open"))
        closed = desk_jobs.closed_jobs(van.shop, CLOSED_SHOWN + 1, _before("closed"))
        return flask.render_template(
            "jobs.html",
            open_ones=rows_of(van, open_ones[:OPEN_SHOWN]),
            closed=rows_of(van, closed[:CLOSED_SHOWN]),
            open_before=open_ones[OPEN_SHOWN - 1].began if len(open_ones) > OPEN_SHOWN else None,
            closed_before=closed[CLOSED_SHOWN - 1].closed if len(closed) > CLOSED_SHOWN else None,
        )

    @app.get("/find")
    def find() -> str:
        """Jobs by what is known of one: a plate, a name, a number, a day."""
        asked = flask.request.args.get("q", "").strip()[:120]
        found = found_jobs(van.shop, asked, OPEN_SHOWN + 1)
        return flask.render_template(
            "find.html",
            asked=asked,
            found=rows_of(van, found[:OPEN_SHOWN]),
            more=len(found) > OPEN_SHOWN,
        )

    @app.get("/job/<job>/way")
    def way(job: str) -> str:
        """The steps of a visit: where it stands, and any other of them."""
        record = van.job(job)
        here = standing(record, van.assessed(record), van.to_find_out)
        texts = van.texts(record)
        customer = record.customer
        reach = Reach.of(
            personal_words(customer.phone, texts),
            personal_words(customer.email, texts),
            personal_words(customer.address, texts),
        )
        return job_page(
            "way.html",
            record,
            van,
            here=here,
            done=done_steps(record),
            reach=reach,
            earlier=bool(van.earlier(record)),
            other_vans=bool(vans(van.shop)),
        )


def _before(which: str) -> int | None:
    """Where a page of a list goes on; anything that is no place begins the list."""
    return flask.request.args.get(which, type=int)
