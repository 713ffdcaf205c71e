"""From a file, from the car: a draft is made, looked over, and what is ticked of it is saved."""

from __future__ import annotations

import re
import secrets
import threading
from collections import OrderedDict
from pathlib import PurePath

import attrs
import flask

from ..desk.errors import DataFault, VisitError
from ..desk.log_drafts import LogDraft, Told, draft_from_car, draft_from_file, rows_of
from ..desk.rows import add_rows
from ..errors import CorekitError
from ..model.job import Job
from . import forms
from .context import Van
from .forms import form_with_faults, redirect
from .page import job_page, personal_words

_KEPT = 12  # drafts: more than anybody looks over at once
_LONGEST_NAME = 80
_ADAPTER = re.compile(r"[A-Za-z0-9_./:-]{1,60}")
SECONDS = (10, 30, 60, 180)

GONE = "This draft is no longer here. Nothing of it was saved; read the file or the car again."


@attrs.define
class _Drafts:
    """Drafts that were made and not saved, the latest few. Safe to use from several threads."""

    _kept: OrderedDict[str, tuple[str, LogDraft]] = attrs.field(factory=OrderedDict)
    _lock: threading.Lock = attrs.field(factory=threading.Lock)

    def keep(self, job: str, draft: LogDraft) -> str:
        name = secrets.token_urlsafe(12)
        with self._lock:
            self._kept[name] = (job, draft)
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return name

    def of(self, job: str, name: str) -> LogDraft | None:
        with self._lock:
            owner, draft = self._kept.get(name, ("", None))
            return draft if owner == job else None


def add(app: flask.Flask, van: Van) -> None:
    drafts = _Drafts()

    def draft_page(job: Job, name: str, draft: LogDraft) -> str:
        recorded = personal_words(job.vehicle.vin, van.texts(job))
        return job_page(
            "log_draft.html",
            job,
            van,
            name=name,
            draft=draft,
            other_vin=recorded if recorded and draft.log.vin and recorded != draft.log.vin else "",
            minutes=_minutes,
        )

    @app.get("/job/<job>/log")
    def log(job: str) -> str:
        """Where a draft comes from: a file, or the car."""
        return job_page("log.html", van.job(job), van, seconds=SECONDS)

    @app.post("/job/<job>/log/file")
    def log_file(job: str) -> str | flask.Response:
        """The draft of an uploaded file; nothing of it is saved."""
        try:
            record = van.job(job)
            file = flask.request.files.get("log")
            content = file.read() if file is not None else b""
            if not content:
                raise VisitError([DataFault("log", "", "Choose the logger's file.")])
            named = PurePath((file.filename or "") if file is not None else "").name[-_LONGEST_NAME:]
            given = flask.request.form.get("time", "")
            draft = draft_from_file(
                van.shop.plugins, named or "log", content, Told(time=given), van.log_reader
            )
        except CorekitError as error:
            return form_with_faults(error)
        return draft_page(record, drafts.keep(record.id, draft), draft)

    @app.post("/job/<job>/log/car")
    def log_car(job: str) -> str | flask.Response:
        """The draft of the vehicle's own data; nothing of it is saved, and nothing in the vehicle changed."""
        form = flask.request.form
        try:
            record = van.job(job)
            channel, interface = form.get("channel", "").strip(), form.get("interface", "").strip()
            for field, text in (("channel", channel), ("interface", interface)):
                if not _ADAPTER.fullmatch(text):
                    raise VisitError(
                        [DataFault(field, "", "Write it as the adapter's maker does, like can0.")]
                    )
            chosen = form.get("seconds", "")
            seconds = int(chosen) if chosen in map(str, SECONDS) else SECONDS[0]
            draft = draft_from_car(van.shop.plugins, channel, interface, seconds=float(seconds))
        except CorekitError as error:
            return form_with_faults(error)
        return draft_page(record, drafts.keep(record.id, draft), draft)

    @app.post("/job/<job>/log/save")
    def log_save(job: str) -> flask.Response:
        """Save what is ticked of a draft that was looked over."""
        try:
            record = van.job(job)
            draft = drafts.of(record.id, flask.request.form.get("draft", ""))
            if draft is None:
                raise VisitError([DataFault("", "", GONE)])
            ticked = set(flask.request.form.getlist("row"))
            rows = [row for n, row in enumerate(draft.rows) if str(n) in ticked]
            if not rows:
                raise VisitError([DataFault("", "", "Nothing was ticked, so nothing was saved.")])
            add_rows(van.shop, record.id, rows_of(rows), request_id=forms.request_id())
        except CorekitError as error:
            return form_with_faults(error)
        return redirect(f"/job/{job}/record")


def _minutes(seconds: float) -> str:
    """A time within a log, as minutes and seconds."""
    return f"{seconds // 60:.0f}:{seconds % 60:04.1f}"
