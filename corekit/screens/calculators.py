"""Calculators: every calculation that a plugin declares, usable without a job, with its range
and its source.
"""

from __future__ import annotations

from typing import Any

import flask

from ..desk.calculating import (
    Calculation,
    CalculationError,
    Result,
    calculation_named,
    fields_of,
    source_of,
    work_out,
)
from ..desk.errors import DeskError
from .context import Van
from .forms import Wrong

#: A calculator's fields are no rows of a visit file: their names begin with this.
INPUT, UNIT = "in.", "|unit"


def add(app: flask.Flask, van: Van) -> None:
    plugins = van.shop.plugins

    @app.get("/reckon")
    def reckon() -> str:
        return flask.render_template(
            "calculators.html", systems=[system for system in plugins.systems.values() if system.calculations]
        )

    @app.route("/reckon/<key>", methods=["GET", "POST"])
    def calculator(key: str) -> Any:
        """Ask for the inputs; posted, work it out. Nothing is kept."""
        try:
            calculation = calculation_named(plugins, key)
        except DeskError:
            flask.abort(404)
        if flask.request.method == "GET":
            return page(calculation, None)
        flask.g.given = flask.request.form
        try:
            result = work_out(
                plugins, key, typed_inputs(calculation), van.shop.settings.decimal, calculator=van.calculator
            )
        except CalculationError as error:
            flask.g.faults = [
                Wrong(place=f"{INPUT}{name}" if name else "", text=_sentence(fault))
                for name, fault in error.faults.items()
            ]
        except DeskError as error:
            flask.g.faults = [Wrong(place="", text=str(error))]
        else:
            return page(calculation, result)
        return page(calculation, None), 422

    def page(calculation: Calculation[Any], result: Result | None) -> str:
        system = plugins.systems[calculation.key.partition(".")[0]]
        fields, source = fields_of(calculation, plugins), source_of(plugins, calculation)
        return flask.render_template(
            "calculator.html",
            calculation=calculation,
            system=system,
            fields=fields,
            source=source,
            result=result,
        )


def typed_inputs(calculation: Calculation[Any]) -> dict[str, str]:
    """What was typed into each field, joined with the unit key that was pressed where the text ends in a
    digit.
    """
    form = flask.request.form
    texts = {}
    for name in calculation.inputs:
        field = f"{INPUT}{name}"
        text, unit = form.get(field, "").strip(), form.get(f"{field}{UNIT}", "")
        texts[name] = f"{text} {unit}" if unit and text[-1:].isdigit() else text
    return texts


def _sentence(fault: str) -> str:
    return f"{fault[:1].upper()}{fault[1:]}."
