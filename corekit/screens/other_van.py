"""Handing a job to another van, where it goes on."""

from __future__ import annotations

import flask

from ..desk.syncing import hand, vans
from ..errors import CorekitError
from . import forms
from .context import Van
from .forms import form_with_faults, redirect
from .page import job_page


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/job/<job>/other-van")
    def other_van(job: str) -> str:
        known = vans(van.shop)
        found = van.job(job)
        return job_page(
            "other_van.html",
            found,
            van,
            vans=[(letters, f"{name} ({letters})") for letters, name in known.items()],
            at_now=known.get(found.handed_to, ""),
        )

    @app.post("/job/<job>/other-van")
    def to_other_van(job: str) -> flask.Response:
        """Hand it over; it is on its way with the next sync, which comes by itself."""
        try:
            hand(van.shop, job, flask.request.form.get("van", ""), request_id=forms.request_id())
        except CorekitError as error:
            return form_with_faults(error)
        return redirect("/")
