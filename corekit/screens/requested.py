"""Work that no finding calls for, and what is not charged: on the customer's wish, scheduled, on judgement,
to make good earlier work; guarantee, goodwill.
"""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

import flask

from ..desk.offerable import requested_work
from ..model.job import Job
from ..model.own_work import is_own_work
from ..model.records import WAIVED_CHARGES
from .context import Van
from .page import job_page

#: Why work is done without a finding, as the mechanic reads it.
GROUNDS = (
    ("customer", "Customer's request"),
    ("scheduled", "Scheduled maintenance"),
    ("judgement", "My own judgement"),
    ("rework", "Warranty repair"),
)
#: Why it is not charged before it is done; that it did not fix is known afterwards.
REASONS = (("guarantee", "Guarantee on an earlier invoice"), ("goodwill", "Goodwill"))


def add(app: flask.Flask, van: Van) -> None:
    plugins = van.shop.plugins

    @app.get("/job/<job>/requested")
    def requested(job: str) -> str:
        """Any work, by system; what the price book does not price yet comes last.

        `?rework=` is the number of the invoice whose work is to be made good.
        """
        book = van.shop.prices
        screen = urlsplit(str(flask.g.get("screen") or flask.request.full_path))
        priced = {
            system.title: [
                operation for key, operation in system.operations.items() if key in book.operations
            ]
            for system in plugins.systems.values()
        }
        own = [key for key in book.operations if is_own_work(key)]
        without = [operation for key, operation in plugins.operations.items() if key not in book.operations]
        return job_page(
            "requested.html",
            van.job(job),
            van,
            priced={title: found for title, found in priced.items() if found},
            without=without,
            own=own,
            grounds=GROUNDS,
            rework=parse_qs(screen.query).get("rework", [""])[0],
        )

    @app.get("/job/<job>/waive")
    def waive(job: str) -> str:
        record = van.job(job)
        return job_page(
            "waive.html", record, van, works=works(record), charges=WAIVED_CHARGES, reasons=REASONS
        )

    def works(job: Job) -> dict[str, str]:
        """Work that is spoken of in the job, key → title."""
        estimated = [
            str(line["operation"])
            for noted in job.estimates
            for line in noted.record.lines
            if line.get("operation")
        ]
        asked = [one.operation for one in requested_work(job, van.assessed(job), plugins)]
        keys = dict.fromkeys([*asked, *estimated, *job.works_done])
        return {key: plugins.title(key) for key in keys}
