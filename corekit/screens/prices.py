"""What a piece of work costs, written at the kerb for this job alone or into the price book; work of the
shop's own, an oil change say; and a changed book seen at once.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator, Sequence
from typing import Any

import attrs
import flask

from ..desk.errors import VisitError
from ..desk.offerable import requested_work
from ..desk.pricing import CONDITIONS, TypedPart, write_price
from ..desk.quote import prices_in
from ..desk.rows import add_rows, job_with
from ..model.job import Job
from ..model.own_work import is_own_work, own_work_name
from . import forms
from .context import Van
from .hand_over import run_action
from .page import job_page
from .requested import GROUNDS

_PART = re.compile(r"parts\[([0-9]{1,2})\]\.")
#: Where the rows that a form makes keep what stands in its fields.
_OF_ROWS = re.compile(r"step\[0\]\.(?:priced|requested)\.")
#: What a button says of where a price is to be kept.
JOB_ALONE = "job"


@attrs.frozen(kw_only=True)
class PriceRow:
    """One piece of work as it is priced, with room for one part more; `tax`: the rate of its labour."""

    key: str
    title: str
    hours: str
    parts: Sequence[TypedPart]
    tax: str = ""


def add(app: flask.Flask, van: Van) -> None:
    app.jinja_env.globals["conditions"] = CONDITIONS

    @app.before_request
    def refresh() -> None:
        """A book that was changed beside the screens holds from the next tap on."""
        if flask.request.path.startswith("/job/"):
            van.shop.price_book.refresh()

    @app.get("/job/<job>/price/<path:key>")
    def price(job: str, key: str) -> str:
        record = van.job(job)
        _known(record, key)
        return job_page(
            "price.html", record, van, row=price_row(van, key, record), rates=list(van.shop.prices.rates)
        )

    @app.post("/job/<job>/price/<path:key>")
    def set_price(job: str, key: str) -> flask.Response:
        record = van.job(job)
        _known(record, key)
        form = flask.request.form

        def write() -> None:
            if form.get("keep") == JOB_ALONE:
                rows = {"step": [{"priced": {"operation": key, **_typed_row(form)}}]}
                with _in_fields():
                    add_rows(van.shop, record.id, rows, request_id=forms.request_id())
                return
            with van.shop.lock:
                _into_book(key, form)

        return run_action(write, f"/job/{record.id}/estimate")

    @app.get("/job/<job>/own")
    def own(job: str) -> str:
        """Work that no system declares, named and priced in one go."""
        return job_page(
            "own.html",
            van.job(job),
            van,
            grounds=[ground for ground in GROUNDS if ground[0] != "rework"],
            row=PriceRow(key="", title="", hours="", parts=[TypedPart()]),
            rates=list(van.shop.prices.rates),
        )

    @app.post("/job/<job>/own")
    def add_own(job: str) -> flask.Response:
        form = flask.request.form

        def write() -> None:
            name = form.get("work", "").strip()
            wish = {key: text for key in ("ground", "because") if (text := form.get(key, "").strip())}
            step: dict[str, Any] = {"requested": {"work": name, **wish}}
            typed, to_book = _typed_row(form), form.get("keep") != JOB_ALONE
            if typed and name:
                step["priced"] = {"operation": name, **typed}
            with _in_fields(), van.shop.lock:
                job_with(van.shop, job, {"step": [step]})  # everything that is wrong, before anything is kept
                if typed and to_book:
                    _into_book(own_work_name(name), form)
                    del step["priced"]
                add_rows(van.shop, job, {"step": [step]}, request_id=forms.request_id())

        return run_action(write, f"/job/{van.job(job).id}/estimate")

    def _known(job: Job, key: str) -> None:
        """404 for what is no work that can be priced here."""
        wanted = {noted.record.operation for noted in job.requested}
        own = is_own_work(key) and (key in wanted or key in van.shop.prices.operations)
        if key not in van.shop.plugins.operations and not own:
            flask.abort(404)

    def _into_book(key: str, form: Any) -> None:
        write_price(
            van.shop.price_book, key, form.get("hours", ""), _typed_parts(form), tax=form.get("tax", "")
        )


def price_row(van: Van, key: str, job: Job) -> PriceRow:
    """What a piece of work costs in this job, as it would be typed."""
    priced = prices_in(van.shop, job).operations.get(key)
    parts = [
        TypedPart(
            name=part.name,
            price=str(part.price),
            quantity=str(part.quantity),
            condition=str(part.condition),
            unit=part.unit,
            number=part.number,
            tax=part.tax,
        )
        for part in (priced.parts if priced else ())
    ]
    return PriceRow(
        key=key,
        title=van.shop.plugins.title(key),
        hours=str(priced.hours) if priced and (priced.hours or not priced.parts) else "",
        parts=[*parts, TypedPart()],
        tax=priced.tax if priced else "",
    )


def unpriced_work(van: Van, job: Job) -> list[PriceRow]:
    """Work that may be proposed and has no price yet."""
    asked = requested_work(job, van.assessed(job), van.shop.plugins)
    keys = dict.fromkeys(work.operation for work in asked)
    book, taken = prices_in(van.shop, job).operations, job.approval.open
    return [price_row(van, key, job) for key in keys if key not in book and key not in taken]


def _typed_parts(form: Any) -> list[TypedPart]:
    count = max((int(found[1]) + 1 for name in form if (found := _PART.match(name))), default=0)
    return [
        TypedPart(
            name=form.get(f"parts[{n}].name", ""),
            price=form.get(f"parts[{n}].price", ""),
            quantity=form.get(f"parts[{n}].quantity", ""),
            condition=form.get(f"parts[{n}].condition", "new"),
            unit=form.get(f"parts[{n}].unit", ""),
            number=form.get(f"parts[{n}].number", ""),
            tax=form.get(f"parts[{n}].tax", ""),
        )
        for n in range(count)
    ]


def _typed_row(form: Any) -> dict[str, Any]:
    """Hours and parts as a step of a visit file says them; empty where nothing was typed."""
    row: dict[str, Any] = {name: text for name in ("hours", "tax") if (text := form.get(name, "").strip())}
    parts = [
        {name: text for name, text in attrs.asdict(part).items() if text.strip()}
        for part in _typed_parts(form)
        if part.is_filled
    ]
    if parts:
        row["parts"] = parts
    return row if parts or "hours" in row else {}


@contextlib.contextmanager
def _in_fields() -> Iterator[None]:
    """Faults of the rows that a form made come back beside its fields."""
    try:
        yield
    except VisitError as error:
        here = [attrs.evolve(fault, path=_OF_ROWS.sub("", fault.path)) for fault in error.faults]
        raise VisitError(here) from error
