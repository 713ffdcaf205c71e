"""The repair: one piece of approved work at a time, its cautions before it, and what the new part is."""

from __future__ import annotations

import attrs
import flask

from ..account.row import FaultRow
from ..desk.assessing import Assessment, NextTest
from ..desk.quote import prices_in
from ..model.job import Job
from ..model.measurand import DONT_KNOW, Operation
from ..model.own_work import is_own_work
from ..visit.progress import standing
from ..visit.questions import TraitQuestion, trait_question, trait_texts
from .context import Van
from .page import job_page
from .test_options import TestOptions, options_in_address
from .told import account_now

#: Where what it was stands in the rows.
CAUSE = "step[0].repaired.cause"


@attrs.frozen(kw_only=True)
class RepairWork:
    """A piece of work as the screen shows it.

    Attributes:
        cautions: Of the operation and of the shop's price book. parts: What the estimate said goes in.
        asked: What is asked of the new part (`renews`), or of how the work was done. shown_by: What will show
            that it worked; empty for work that nothing measures.
        cause: What was wrong in the customer's words, as far as the findings say it.
        is_own: It is work of the shop's own, which cures nothing and is shown by nothing.
    """

    key: str
    title: str
    cautions: tuple[str, ...]
    parts: tuple[str, ...]
    asked: tuple[TraitQuestion, ...]
    shown_by: str
    renews: bool = False
    cause: str = ""
    is_own: bool = False


def work_on(van: Van, key: str, job: Job, cause: str = "") -> RepairWork:
    """What there is to say of an operation before it is done."""
    plugins, priced = van.shop.plugins, prices_in(van.shop, job).operations.get(key)
    declared = plugins.operations.get(key, Operation(key=key, title=key))
    hazards = (declared.hazard, priced.hazard if priced else "")
    measured = plugins.measurands.get(declared.shown_by)
    old = trait_texts(job, plugins)
    asked = [
        trait for trait in plugins.traits.values() if declared.replaces and trait.part == declared.replaces
    ]
    asked += [plugins.traits[key] for key in declared.asks if key in plugins.traits]
    return RepairWork(
        key=key,
        title=declared.title,
        cautions=tuple(filter(None, hazards)),
        parts=tuple(part.name for part in priced.parts) if priced else (),
        asked=tuple(trait_question(trait, _known_cause(old.get(trait.key, ""))) for trait in asked),
        shown_by=measured.title if measured else "",
        renews=bool(declared.replaces),
        cause=cause,
        is_own=is_own_work(key),
    )


def causes_found(van: Van, job: Job, assessment: Assessment) -> dict[str, str]:
    """Key of each operation → what was wrong, in the customer's words; without what no fault was named for,
    because the name of the part or of the work says nothing of the cause.
    """
    plugins, found = van.shop.plugins, {}
    for row in account_now(van, job, assessment).rows:
        if isinstance(row, FaultRow) and row.operation in plugins.operations:
            part = plugins.parts.get(plugins.operations[row.operation].replaces)
            if row.what not in (plugins.title(row.operation), part.title if part else ""):
                found[row.operation] = row.what
    return found


def _act_named(van: Van, job: Job, key: str, wishes: TestOptions) -> NextTest | None:
    """The next step that begins with this work; None where it is none now."""
    assessment = van.assessed(job, wishes.minutes, wishes.about)
    return next((test for test in assessment.next_tests if test.operation == key), None)


def _known_cause(answer: str) -> str:
    return "" if answer == DONT_KNOW else answer


def repaired_place(trait: str) -> str:
    """Where a trait of the new part stands in the rows."""
    return f'step[0].repaired."{trait}"'


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/job/<job>/act/<key>")
    def act(job: str, key: str) -> str:
        """Harmless work that is done to find out, as a step of testing."""
        plugins = van.shop.plugins
        record, wishes = van.job(job), options_in_address(plugins)
        if key not in plugins.operations or plugins.operations[key].as_test is None:
            flask.abort(404)
        test = _act_named(van, record, key, wishes)
        return job_page(
            "act.html",
            record,
            van,
            work=work_on(van, key, record),
            test=test,
            wishes=wishes,
            next=wishes.path(record, f"test/{test.wants}", place=test.place) if test else f"/job/{job}/test",
            aside=(wishes.without(test.wants) if test else wishes).path(record, "test"),
        )

    @app.get("/job/<job>/repair")
    def repair(job: str) -> str:
        """The approved work that is not done yet; `?work=` takes another of it first."""
        record = van.job(job)
        assessment = van.assessed(record)
        to_do = standing(record, assessment, van.to_find_out).to_do
        chosen = flask.request.args.get("work", "")
        causes = causes_found(van, record, assessment)
        works = [
            work_on(van, key, record, causes.get(key, ""))
            for key in sorted(to_do, key=lambda key: key != chosen)
        ]
        return job_page(
            "repair.html",
            record,
            van,
            work=works[0] if works else None,
            others=works[1:],
            cause_at=CAUSE,
        )
