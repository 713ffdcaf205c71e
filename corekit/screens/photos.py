"""Photos of a job: taken in, shown on the mechanic's own screens, and chosen one by one for the evidence
sheet; on no page.
"""

from __future__ import annotations

import base64
from typing import Any
from urllib.parse import quote

import attrs
import flask

from ..desk import jobs
from ..desk.errors import DataFault, VisitError
from ..desk.photos import choose_photo, leave_photo_off
from ..errors import CorekitError
from ..model.job import Job, stage_name
from ..model.jpeg import LARGEST_ON_PAPER, MOST_ON_PAPER, SIDE_ON_PAPER
from ..model.personal import Personal
from ..web.address import own_path
from . import forms
from .context import Van
from .forms import form_with_faults, redirect
from .page import job_page
from .photo import PhotoError, read_photo

_LONGEST_WORDS = 300


@attrs.frozen(kw_only=True)
class Taken:
    """A photo on a screen.

    Attributes:
        path: Its address; empty once it was destroyed.
        text, stage: What it shows, and when in the visit.
        chosen: What it adds to the document, in kB; 0 while it is not chosen for it.
    """

    path: str
    text: str
    stage: str
    entry: str
    chosen: int = 0


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/job/<job>/photos")
    def photos(job: str) -> str:
        """All photos of a job, and one more; `?of=` names what it is to show."""
        record = van.job(job)
        of, place = (
            flask.request.values.get("of", ""),
            flask.request.values.get("place", ""),
        )  # of the form, when it came back
        return job_page(
            "photos.html",
            record,
            van,
            taken=photos_of(van, record),
            **choice_of(record),
            of=of,
            place=place,
            about=_title_of(van, of, place) if of else "",
        )

    @app.post("/job/<job>/photo")
    def photo(job: str) -> flask.Response:
        """Take a photo in: made anew, small, with nothing in it but the picture."""
        form = flask.request.form
        try:
            record = van.job(job)
            file = flask.request.files.get("photo")
            image = _upload_bytes(file.read() if file is not None else b"")
            what = form.get("what", "").strip()
            if len(what) > _LONGEST_WORDS:
                raise VisitError(
                    [
                        DataFault(
                            "what",
                            "",
                            f"That is longer than {_LONGEST_WORDS} characters; shorten it.",
                        )
                    ]
                )
            kept = base64.b64encode(image).decode("ascii")
            jobs.photograph(
                van.shop,
                record.id,
                kept,
                of=form.get("of", ""),
                place=form.get("place", ""),
                what=what,
                request_id=forms.request_id(),
            )
        except CorekitError as error:
            return form_with_faults(error)
        of, place = form.get("of", ""), form.get("place", "")
        return redirect(
            f"/job/{job}/photos"
            + (f"?of={quote(of)}" if of else "")
            + (f"&place={quote(place)}" if of and place else "")
        )

    @app.post("/job/<job>/photo/<entry>/choice")
    def choice(job: str, entry: str) -> flask.Response:
        """Put a photo on the evidence sheet, or take it off."""
        try:
            if flask.request.form.get("chosen") == "yes":
                choose_photo(van.shop, job, entry, _small(van, job, entry), request_id=forms.request_id())
            else:
                leave_photo_off(van.shop, job, entry, request_id=forms.request_id())
        except CorekitError as error:
            return form_with_faults(error)
        return redirect(own_path(flask.request.form.get("next", ""), f"/job/{job}/photos"))

    @app.get("/job/<job>/photo/<name>.jpg")
    def photo_file(job: str, name: str) -> flask.Response:
        """One photo, for the mechanic's screen; never kept by the browser."""
        record = van.job(job)
        if name not in {
            noted.record.image.hash for noted in record.photos if isinstance(noted.record.image, Personal)
        }:
            flask.abort(404)
        kept = jobs.pictures_of(van.shop, record, "photo").get(name)
        if kept is None:
            flask.abort(404)
        return flask.Response(
            base64.b64decode(kept), mimetype="image/jpeg", headers={"Cache-Control": "no-store"}
        )


def _small(van: Van, job: str, entry: str) -> str:
    """The small copy of a photo that a document carries, as base64 text; empty where the photo is gone."""
    record = van.job(job)
    image = next((noted.record.image for noted in record.photos if noted.id == entry), None)
    kept = (
        jobs.pictures_of(van.shop, record, "photo").get(image.hash) if isinstance(image, Personal) else None
    )
    if kept is None:
        return ""
    small = read_photo(base64.b64decode(kept), side=SIDE_ON_PAPER, largest=LARGEST_ON_PAPER)
    return base64.b64encode(small).decode("ascii")


def choice_of(job: Job) -> dict[str, Any]:
    """What the screens say of choosing: whether another document is to come, how many photos it takes and how
    large each may be.
    """
    return {
        "may_choose": not job.issued or job.goes_on,
        "most": MOST_ON_PAPER,
        "largest": LARGEST_ON_PAPER // 1000,
    }


def _upload_bytes(data: bytes) -> bytes:
    try:
        return read_photo(data)
    except PhotoError as error:
        raise VisitError([DataFault("photo", "", str(error))]) from error


def photos_of(van: Van, job: Job) -> list[Taken]:
    """The photos that stand, the latest first."""
    texts, there = van.texts(job), jobs.pictures_of(van.shop, job, "photo")
    chosen = {
        noted.id: one.image.hash for noted, one in job.photos_for_paper if isinstance(one.image, Personal)
    }
    found = []
    for noted in reversed(job.photos):
        record = noted.record
        image = record.image.hash if isinstance(record.image, Personal) else ""
        words = texts.get(record.what.hash, "removed") if isinstance(record.what, Personal) else ""
        about = _title_of(van, record.of, record.place) if record.of else ""
        found.append(
            Taken(
                path=f"/job/{job.id}/photo/{image}.jpg" if image in there else "",
                text=": ".join(filter(None, (about, words))) or "The vehicle",
                stage=stage_name(record.stage),
                entry=noted.id,
                chosen=_kilobytes(there.get(chosen.get(noted.id, ""), "")),
            )
        )
    return found


def _kilobytes(image: str) -> int:
    """Of a picture that is written down as base64 text, rounded up."""
    return -(-len(image) * 3 // 4000)


def _title_of(van: Van, of: str, place: str) -> str:
    return ", ".join(filter(None, (van.shop.plugins.title(of), place)))
