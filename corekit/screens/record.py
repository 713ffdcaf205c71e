"""What is on record: look, read again, take back with a reason; leave for now, come back, end the job."""

from __future__ import annotations

import flask

from ..desk.rows import withdraw_entry
from ..errors import CorekitError
from ..model.job import Job, Noted, stage_name
from ..model.records import LEFT_BECAUSE, CodesRead, Measured, Recorded, Seen
from ..report.dates import day_words
from ..visit import history
from . import forms
from .context import Van
from .forms import form_with_faults, redirect
from .page import job_page

#: Why a reading or an answer is taken back; own words are always possible.
REASONS = ("the probe slipped", "read at the wrong place", "typing error", "the diagnosis was wrong")

#: Why anything else is: an end, a wish, a payment, a part of the story.
UNSAID = ("noted wrongly", "it turned out otherwise")


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/job/<job>/record")
    def record(job: str) -> str:
        found = van.job(job)
        rows = history.record_of(found, van.shop.plugins, van.texts(found))
        groups = [
            (stage, [row for row in rows if row.stage == stage])
            for stage in ("", *map(stage_name, found.stages))
        ]
        return job_page("record.html", found, van, groups=[group for group in groups if group[1]])

    @app.get("/job/<job>/record/<entry>")
    def one(job: str, entry: str) -> str:
        found = van.job(job)
        noted = standing_entry(found, entry)
        row = history.entry_words(found, noted, van.shop.plugins, van.texts(found))
        if row is None or not row.withdrawable:
            flask.abort(404)
        measured = noted.record if isinstance(noted.record, Measured) else None
        return job_page(
            "entry.html",
            found,
            van,
            row=row,
            measured=measured,
            reasons=[(why, why.capitalize()) for why in _reasons(noted)],
        )

    @app.post("/job/<job>/record/<entry>/withdraw")
    def withdraw(job: str, entry: str) -> flask.Response:
        """Take an entry back, with a reason; it stays in the journal and counts no longer."""
        reason = flask.request.form.get("own", "").strip() or flask.request.form.get("reason", "")
        try:
            withdraw_entry(van.shop, job, entry, reason, request_id=forms.request_id())
        except CorekitError as error:
            return form_with_faults(error)
        return redirect(f"/job/{job}/record")

    @app.get("/job/<job>/leave")
    def leave(job: str) -> str:
        found = van.job(job)
        return job_page(
            "leave.html",
            found,
            van,
            reasons=[(reason, reason.capitalize()) for reason in LEFT_BECAUSE],
            may_pay=bool(found.approvals),
        )

    @app.get("/job/<job>/back")
    def back(job: str) -> str:
        """At the vehicle again, after a visit that ended with the job open."""
        found = van.job(job)
        left = found.left_open
        return job_page(
            "back.html",
            found,
            van,
            left=left.record if left is not None else None,
            day=day_words(van.shop.settings.day_of(left.entry.recorded)) if left is not None else "",
            back_on=day_words(left.record.back) if left is not None and left.record.back else "",
        )

    @app.get("/job/<job>/end")
    def end(job: str) -> str:
        return job_page("end.html", van.job(job), van)


def _reasons(noted: Noted[object]) -> tuple[str, ...]:
    return REASONS if isinstance(noted.record, (Measured, Recorded, Seen, CodesRead)) else UNSAID


def standing_entry(job: Job, entry: str) -> Noted[object]:
    """The standing entry of this id; 404 when there is none."""
    found = next((noted for noted in job.standing if noted.id == entry), None)
    return found if found is not None else flask.abort(404)
