"""Records on a screen: a few points typed by hand, or the file that a logger wrote."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

import attrs
import flask

from ..desk.errors import DataFault, VisitError
from ..desk.rows import add_rows
from ..errors import CorekitError
from ..model.measurand import Measurand
from ..model.sampling import Sampling
from . import forms
from .context import Van
from .forms import form_with_faults, redirect
from .page import job_page

_LONGEST_NAME = 80  # characters of a file's name that are kept
_BOM = "\ufeff"


def records_of(van: Van, measurand: str) -> list[Sampling]:
    """The records that are made of this measurand, for the links beside its field."""
    return [one for one in van.shop.plugins.records.values() if one.of.key == measurand]


def add(app: flask.Flask, van: Van) -> None:
    def known(key: str) -> Sampling:
        return van.shop.plugins.records.get(key) or flask.abort(404)

    @app.get("/job/<job>/samples/<key>")
    def samples(job: str, key: str) -> str:
        """One record: how it is taken, and where it comes in."""
        sampling = known(key)
        return job_page(
            "samples.html",
            van.job(job),
            van,
            record=sampling,
            point=_example(sampling),
            asked=any(fault.asked for fault in flask.g.get("faults", [])),
        )

    @app.post("/job/<job>/samples/<key>")
    def samples_sent(job: str, key: str) -> flask.Response:
        """Take it in, read by the reader of visit files."""
        sampling = known(key)
        try:
            row = _row(sampling)
            add_rows(
                van.shop,
                van.job(job).id,
                {"step": [{"records": [row]}]},
                request_id=forms.request_id(),
                waited=forms.waiting_time(),
            )
        except VisitError as error:
            return form_with_faults(VisitError([_beside_its_field(fault) for fault in error.faults]))
        except CorekitError as error:
            return form_with_faults(error)
        return redirect(f"/job/{job}/test/{sampling.of.key}")


def _example(sampling: Sampling) -> str:
    """A point as it is typed."""
    measurand: Measurand = sampling.of
    return f"30 {sampling.over_unit}: 1.5 {measurand.unit}"


def _row(sampling: Sampling) -> dict[str, Any]:
    """The row of a visit file that the form makes.

    Raises:
        VisitError: the file is no text, or there is neither a file nor a point.
    """
    form, row = flask.request.form, dict[str, Any](of=sampling.key)
    if place := form.get("place", "").strip():
        row["place"] = place
    if form.get("confirmed"):
        row["confirmed"] = True
    if typed := form.get("points", "").strip():
        row["points"] = [line.strip() for line in typed.splitlines() if line.strip()]
    file = flask.request.files.get("file")
    if file is not None and file.filename:
        try:
            row["content"] = file.read().decode("utf-8").removeprefix(_BOM)
        except UnicodeDecodeError as error:
            wrong = "It is no plain text (UTF-8). Export it as CSV: two columns, time and value."
            raise VisitError([DataFault("file", "", wrong)]) from error
        row["file"] = PurePath(file.filename.replace("\\", "/")).name[:_LONGEST_NAME]
    if not {"points", "file"} & row.keys():
        raise VisitError([DataFault("points", "", "Type two points or more, or choose the logger's file.")])
    return row


def _beside_its_field(fault: DataFault) -> DataFault:
    """A fault of the row, placed at the field that it came from; of points, with the line that it is in."""
    below = fault.path.removeprefix("step[0].records[0]").removeprefix(".")
    name, _, number = below.partition("[")
    if name == "points" and number:
        line = f"Line {int(number.rstrip(']')) + 1}: {fault.got}"
        return attrs.evolve(fault, path="points", got=line)
    return attrs.evolve(fault, path=name if name in ("points", "file", "place") else "")
