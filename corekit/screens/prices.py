"""What a piece of work costs, written into the price book at the kerb; and a changed book seen at once."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import attrs
import flask

from ..desk.offerable import requested_work
from ..desk.pricing import CONDITIONS, TypedPart, write_price
from ..model.job import Job
from .context import Van
from .hand_over import run_action
from .page import job_page

_PART = re.compile(r"parts\[([0-9]{1,2})\]\.")


@attrs.frozen(kw_only=True)
class PriceRow:
    """One piece of work as the price book has it, with room for one part more."""

    key: str
    title: str
    hours: str
    parts: Sequence[TypedPart]


def add(app: flask.Flask, van: Van) -> None:
    app.jinja_env.globals["conditions"] = CONDITIONS

    @app.before_request
    def refresh() -> None:
        """A book that was changed beside the screens holds from the next tap on."""
        if flask.request.path.startswith("/job/"):
            van.shop.price_book.refresh()

    @app.get("/job/<job>/price/<key>")
    def price(job: str, key: str) -> str:
        if key not in van.shop.plugins.operations:
            flask.abort(404)
        return job_page("price.html", van.job(job), van, row=price_row(van, key))

    @app.post("/job/<job>/price/<key>")
    def set_price(job: str, key: str) -> flask.Response:
        if key not in van.shop.plugins.operations:
            flask.abort(404)
        form = flask.request.form

        def write() -> None:
            with van.shop.lock:
                write_price(van.shop.price_book, key, form.get("hours", ""), _typed_parts(form))

        return run_action(write, f"/job/{van.job(job).id}/estimate")


def price_row(van: Van, key: str) -> PriceRow:
    """What the book says of a piece of work, as it would be typed."""
    priced = van.shop.prices.operations.get(key)
    parts = [
        TypedPart(
            name=part.name,
            price=str(part.price),
            quantity=str(part.quantity),
            condition=str(part.condition),
            unit=part.unit,
        )
        for part in (priced.parts if priced else ())
    ]
    return PriceRow(
        key=key,
        title=van.shop.plugins.title(key),
        hours=str(priced.hours) if priced else "",
        parts=[*parts, TypedPart()],
    )


def unpriced_work(van: Van, job: Job) -> list[PriceRow]:
    """Work that may be proposed and has no price yet."""
    asked = requested_work(job, van.assessed(job), van.shop.plugins)
    keys = dict.fromkeys(work.operation for work in asked)
    book, taken = van.shop.prices.operations, job.approval.open
    return [price_row(van, key) for key in keys if key not in book and key not in taken]


def _typed_parts(form: Any) -> list[TypedPart]:
    count = max((int(found[1]) + 1 for name in form if (found := _PART.match(name))), default=0)
    return [
        TypedPart(
            name=form.get(f"parts[{n}].name", ""),
            price=form.get(f"parts[{n}].price", ""),
            quantity=form.get(f"parts[{n}].quantity", ""),
            condition=form.get(f"parts[{n}].condition", "new"),
            unit=form.get(f"parts[{n}].unit", ""),
        )
        for n in range(count)
    ]
