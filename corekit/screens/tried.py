"""*I tried something*: which part, how, and what came of it; each step is an address of its own, so that it
works without a script.
"""

from __future__ import annotations

import attrs
import flask

from ..complaints import trials
from ..desk.assessing import Assessment, Plugins
from ..desk.complaint import tried_words
from ..desk.next_step import places_here
from ..model.job import Job
from ..model.measurand import Part
from ..visit import guidance
from .context import Van
from .page import job_page, personal_words
from .test_options import TestOptions, options_in_address

#: Where a trial stands in the rows.
ROW = "step[0].tried"


@attrs.frozen(kw_only=True)
class TriedBefore:
    """A trial of this job: what it was on, what was done and what came of it; `entry` is its id."""

    title: str
    text: str
    entry: str


def add(app: flask.Flask, van: Van) -> None:
    plugins = van.shop.plugins

    def fitted_part(key: str, job: Job) -> Part:
        """The part with the places that this vehicle has."""
        part = plugins.parts.get(key) or flask.abort(404)
        return attrs.evolve(part, places=places_here(part, job, plugins))

    @app.get("/job/<job>/tried")
    def tried(job: str) -> str:
        """Which part: those of the systems in question first."""
        record, wishes = van.job(job), options_in_address(plugins)
        texts = van.texts(record)
        done = [
            TriedBefore(
                title=_title(plugins, noted.record.part, noted.record.place),
                text=tried_words(noted.record, personal_words(noted.record.words, texts)),
                entry=noted.id,
            )
            for noted in record.in_words(texts).tried
        ]
        groups = _parts(van.assessed(record, wishes.minutes, wishes.about), plugins)
        return job_page("tried.html", record, van, wishes=wishes, groups=groups, done=done)

    @app.get("/job/<job>/tried/<part>")
    def tried_on(job: str, part: str) -> str:
        """How: every way of a trial."""
        record, wishes = van.job(job), options_in_address(plugins)
        declared = fitted_part(part, record)
        return job_page(
            "tried_on.html",
            record,
            van,
            wishes=wishes,
            part=declared,
            place=_place(declared, wishes),
            ways=trials().ways.values(),
        )

    @app.get("/job/<job>/tried/<part>/<how>")
    def tried_so(job: str, part: str, how: str) -> str:
        """What came of it."""
        record, wishes = van.job(job), options_in_address(plugins)
        declared = fitted_part(part, record)
        way = trials().ways.get(how) or flask.abort(404)
        place = _place(declared, wishes)
        return job_page(
            "tried_so.html",
            record,
            van,
            wishes=wishes,
            part=declared,
            place=place,
            others=[other for other in declared.places if other != place],
            way=way,
            results=[(key, trials().results[key]) for key in way.results if key != "other"],
            row=ROW,
        )


def _parts(assessment: Assessment, plugins: Plugins) -> list[tuple[str, list[Part]]]:
    """The parts of the systems in question under the title of their system; of all, where none is yet."""
    systems = guidance.systems_in_question(assessment, plugins) or tuple(plugins.systems.values())
    return [(system.title, list(system.parts.values())) for system in systems if system.parts]


def _place(part: Part, wishes: TestOptions) -> str:
    return wishes.place if wishes.place in part.places else ""


def _title(plugins: Plugins, part: str, place: str) -> str:
    return plugins.title(part) + (f", {place}" if place else "")
