"""Arriving: which vehicle, whose, what the customer says, and a reason where no number can be read."""

from __future__ import annotations

import flask

from ..van import Van


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/new")
    def new() -> str:
        """A new job; its id is drawn with the page, so that sending it twice begins one job only."""
        return flask.render_template("arrive.html", job=van.shop.store.new_job(), which="")
