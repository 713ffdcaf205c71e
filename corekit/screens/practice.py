"""Practice: what a car shows is filled into the usual forms, and at the end it is said what was wrong."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import TypeVar

import flask
from werkzeug.datastructures import MultiDict
from werkzeug.exceptions import HTTPException

from ..desk.assessing import assessment_of
from ..errors import CorekitError
from ..model.job import Job
from ..practice import answers
from ..practice.car import NOT_TRIED, Car
from ..practice.declared import PracticeError, Trial
from ..practice.folder import NEAR, Guess, PracticeFolder, Wish, drawn_seed
from ..practice.guard import answered
from ..practice.outcome import outcome_of
from . import forms
from .context import Van
from .page import job_page

T = TypeVar("T")

log = logging.getLogger("corekit.screens")

READING, TRIED = "step[0].readings[0]", "step[0].tried"
_RESULTS = {
    "gone": "The complaint is gone.",
    "moved": "It moved with the part.",
    "stayed": "It stayed as it was.",
    "back": "Gone, and back with the old part.",
    NOT_TRIED: "This way says nothing on this car.",
}


def add(app: flask.Flask, cars: PracticeFolder, van: Van) -> None:
    plugins = van.shop.plugins

    def car_shows(what: dict[str, str]) -> str:
        """What was read just now of the thing that a form asks for."""
        return str(flask.g.get("car_shows", "")) if flask.request.args.to_dict() == what else ""

    def title(key: str) -> str:
        return plugins.title(key)

    app.jinja_env.globals.update(car_shows=car_shows)
    app.jinja_env.filters["work_title"] = title

    def record_and_car(job: str) -> tuple[Job, Car]:
        record = van.job(job)
        return record, _asked(lambda: cars.as_it_stands(record)) or flask.abort(404)

    @app.post("/practice/new")
    def another_car() -> flask.Response:
        """Another car, of the kind of the last one."""
        try:
            job = _asked(lambda: cars.begin(Wish(seed=drawn_seed(), **cars.kind_of_last)))
        except CorekitError as error:
            return forms.form_with_faults(error)
        return forms.redirect(f"/job/{job}")

    @app.get("/job/<job>/car")
    def loaded_again(job: str) -> flask.Response:
        """Whoever loads the page of an answer again is led back to where the visit stands."""
        return forms.redirect(f"/job/{job}")

    @app.post("/job/<job>/car")
    def on_the_car(job: str) -> flask.Response:
        """The same screen again, with what the car shows filled in."""
        record, car = record_and_car(job)
        asked, typed = flask.request.args, flask.request.form
        shown = _asked(lambda: _shown(record, car, asked))
        flask.g.given = MultiDict([*typed.items(multi=True)])
        for name, text in shown.fields.items():
            flask.g.given.setlist(name, [text])
        flask.g.car_shows = f"{_counted(record, asked, shown)}{shown.words}"
        return flask.make_response(forms.screen_again())

    def _shown(record: Job, car: Car, asked: MultiDict[str, str]) -> answers.Shown:
        form = flask.request.form
        if key := asked.get("reading", ""):
            measurand = plugins.measurands.get(key) or flask.abort(404)
            typed = {one: _with_unit(form, f'step[0].setup."{one}".is') for one in measurand.conditions}
            place = form.get(f"{READING}.place", "")
            draw = cars.draw(record, f"{key}/{place}")
            return answers.reading(car, measurand, plugins, place, typed, draw)
        if key := asked.get("look", ""):
            observation = plugins.observations.get(key) or flask.abort(404)
            return answers.look(car, observation, form.get("step[0].seen[0].place", ""))
        if key := asked.get("label", ""):
            return answers.labels(car, [key])
        if key := asked.get("labels", ""):
            system = plugins.systems.get(key) or flask.abort(404)
            return answers.labels(car, [one for one in system.traits if car.fitted(one) is not None])
        if "codes" in asked:
            return answers.codes(car)
        if key := asked.get("record", ""):
            recorded = plugins.systems.get(key.partition(".")[0])
            if recorded is None or key not in recorded.records:
                flask.abort(404)
            return answers.points(car, key, plugins, form.get("place", ""))
        if key := asked.get("trial", ""):
            trial = Trial(
                part=key,
                how=form.get(f"{TRIED}.how", ""),
                place=form.get(f"{TRIED}.place", ""),
                other=form.get(f"{TRIED}.with", ""),
            )
            result = car.tried(trial, plugins.operations)[1]
            return answers.Shown(fields={}, words=_RESULTS[result], read=result)
        if "complaint" in asked:
            told = record.complained.symptoms if record.complained is not None else []
            return answers.complaint(car, tuple(told))
        return flask.abort(404)

    def _counted(record: Job, asked: MultiDict[str, str], shown: answers.Shown) -> str:
        """What was guessed before, counted; a value that was read and stands in its field is no guess."""
        form = flask.request.form
        key = asked.get("reading", "") or asked.get("look", "")
        measurand = plugins.measurands.get(key)
        guess = _with_unit(form, f"{READING}.is") if measurand is not None else form.get("guess", "")
        if not key or not guess.strip() or not shown.read or guess == shown.read:
            return ""
        place = form.get(f"{READING}.place", "") or form.get("step[0].seen[0].place", "")
        near = answers.is_near(guess, shown.read, measurand, NEAR)
        cars.count(record.id, Guess(of=key, place=place, guess=guess.strip(), shown=shown.read, is_near=near))
        return f"You guessed {guess.strip()}. "

    @app.get("/job/<job>/practice")
    def practice_end(job: str) -> str:
        """What was wrong with the car, and what was made of it."""
        record = van.job(job)
        car, wish = _asked(lambda: cars.as_it_came(record)), cars.wish(record.id)
        if car is None or wish is None:
            flask.abort(404)
        outcome = outcome_of(car, record, plugins, lambda moment: assessment_of(van.shop, moment), _asked)
        return job_page(
            "practice.html",
            record,
            van,
            outcome=outcome,
            wish=wish,
            guesses=cars.guesses(record.id),
            elsewhere=any(not one.defect.mends for one in car.hidden),
            title=title,
        )


def _asked(ask: Callable[[], T]) -> T:
    """What a practice car answers; its plugins' code may fail or hang, and that costs this answer alone."""
    try:
        return answered(ask)
    except (CorekitError, HTTPException):
        raise
    except Exception as error:
        log.exception("practice car")
        raise PracticeError(f"The practice car could not answer: {type(error).__name__}.") from error


def _with_unit(form: MultiDict[str, str], name: str) -> str:
    """What was typed, with the unit key that was pressed where it names none."""
    text, unit = form.get(name, "").strip(), form.get(f"{name}|unit", "")
    return f"{text} {unit}".strip() if text and text[-1].isdigit() else text
