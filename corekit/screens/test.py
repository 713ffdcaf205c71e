"""Testing: the next best test, any other, what the vehicle is fitted with, trouble codes, this vehicle's own
limit, and the test after the repair.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import attrs
import flask

from ..account.noted import is_noted, unanswered_words
from ..desk.assessing import Assessment, NextTest, Plugins, Proof, did_not_fix
from ..desk.causes import likely_causes
from ..desk.complaint import complaint_now, not_covered, not_covered_words
from ..desk.next_step import again_words, begins_at, can_be_read, places_here
from ..model.job import Job
from ..model.measurand import DONT_KNOW, Measurand, Observation
from ..report.next_tests import asks_for_codes, named_tests
from ..report.statements import reasons_not_said
from ..visit import guidance, questions
from ..visit.instruments import Instruments
from ..visit.progress import tools_missing
from ..visit.questions import Question
from . import preview
from .context import Van
from .page import job_page
from .preview import finding_words
from .retest import again_path, arrival, shown_by, shown_repair
from .returning import last_time
from .samples import records_of
from .test_options import TestOptions, options_in_address

_AHEAD = 30  # of the next tests are kept ready for when the network goes: nobody keeps to the first few
_GAPS = 12
_FIRST = 7  # traits that are asked at once; the others are there for whoever knows them


@attrs.frozen(kw_only=True)
class Later:
    """A test further down the list; `time` says how long it takes, or why it is still open."""

    path: str
    question: str
    time: str


@attrs.frozen(kw_only=True)
class TestRow:
    """One line of the list of all tests."""

    path: str
    title: str
    recorded: str


def add(app: flask.Flask, van: Van) -> None:
    preview.add(app, van)
    plugins, kit = (
        van.shop.plugins,
        Instruments(instruments=van.shop.settings.instruments, usual=van.shop.settings.usual),
    )

    app.jinja_env.globals["time_words"] = time_words

    def asked(job: Job, key: str, place: str) -> Question:
        found = questions.question_of(key, job, plugins, kit, place=place, now=van.now, texts=van.texts(job))
        return found or flask.abort(404)

    def assessed(job: Job, wishes: TestOptions) -> Assessment:
        return van.assessed(job, wishes.minutes, wishes.about)

    def open_tests(assessment: Assessment, wishes: TestOptions) -> list[NextTest]:
        return [one for one in guidance.open_tests(assessment, plugins) if one.wants not in wishes.aside]

    def has_places(test: NextTest) -> bool:
        """False for what is asked of the whole vehicle: a list of codes, a trait, work that comes first."""
        return not (test.operation or asks_for_codes(test, plugins) or test.wants in plugins.traits)

    def path_of(job: Job, test: NextTest, wishes: TestOptions) -> str:
        """The address of a next test, at the first place that was not spoken of: each place has an address of
        its own.
        """
        below, place = guidance.test_path(job, test, plugins), test.place
        if not place and has_places(test):
            place = asked(job, test.wants, "").place
        return wishes.path(job, below, place=place)

    def ahead_of(job: Job, tests: Sequence[NextTest], wishes: TestOptions, following: str = "") -> list[str]:
        """What may be wanted next, for when the network goes: the next tests, each with the place after its
        first, and the list of all.
        """
        paths = [following] if following else []
        for test in tests[:_AHEAD]:
            paths.append(path_of(job, test, wishes))
            after = asked(job, test.wants, test.place).next_place if has_places(test) else ""
            paths += [wishes.path(job, f"test/{test.wants}", place=after)] if after else []
        return [*dict.fromkeys(paths), wishes.path(job, "tests")]

    def test_page(job: Job, ask: Question, wishes: TestOptions, assessment: Assessment, **more: Any) -> str:
        """The screen of one thing to read or to look at."""
        back = more.pop("back", wishes.back)
        own, wishes = wishes, wishes.on_its_own()
        others = [one for one in open_tests(assessment, wishes) if one.wants != ask.key]
        after_all = ask.place_after if back != "retested" else ""
        following = own.path(job, f"test/{ask.key}", place=after_all) if after_all else ""
        onward = following or wishes.path(job, back)
        if len(ask.together) > 1 and back != "retested":
            onward = own.path(job, f"after/{ask.key}", place=ask.place)
        return job_page(
            "test.html",
            job,
            van,
            ask=ask,
            wishes=wishes,
            next=onward,
            after=following or next((path_of(job, one, wishes) for one in others), ""),
            cannot=questions.CANNOT,
            last_time={place: last_time(van, job, ask.key, place) for place in ask.together}
            if ask.measured
            else {},
            missing=_missing_texts(ask.key, assessment, plugins) if ask.recorded else [],
            place_path=lambda place: own.path(job, f"test/{ask.key}", place=place),
            enough=wishes.without(ask.key).path(job, back),
            own_limit=_own_limit(job, ask.key),
            records=records_of(van, ask.key),
            ahead=ahead_of(job, others, wishes, following),
            trial=preview.trial_again(van, job.id),
            now=complaint_now(job),
            **{"test": None, "shows": None, "guided": None, "again": ""} | more,
        )

    def trait_page(job: Job, key: str, wishes: TestOptions, assessment: Assessment, **more: Any) -> str:
        """The screen of a trait that is asked as a step of testing."""
        others = [one for one in open_tests(assessment, wishes) if one.wants != key]
        return job_page(
            "trait.html",
            job,
            van,
            ask=questions.trait_question(
                plugins.traits[key], questions.trait_texts(job, plugins).get(key, "")
            ),
            system=plugins.systems[key.partition(".")[0]].title,
            wishes=wishes,
            next=wishes.path(job, "test"),
            ahead=ahead_of(job, others, wishes),
            dont_know=DONT_KNOW,
            **more,
        )

    @app.get("/job/<job>/test")
    def test(job: str) -> Any:
        """On to the next best test; at the beginning, which system is in question; at the end, what comes
        then.
        """
        record, wishes = van.job(job), options_in_address(plugins)
        assessment = assessed(record, wishes)
        if not guidance.systems_in_question(assessment, plugins) and not record.spoken_of(record.stage):
            return systems_page(record, wishes, assessment)
        tests = open_tests(assessment, wishes)
        if tests and not asks_for_codes(tests[0], plugins):
            return flask.redirect(path_of(record, tests[0], wishes), 303)
        guided = guided_page(record, wishes, assessment, tests)
        return job_page(
            "tested.html",
            record,
            van,
            wishes=wishes,
            guided=guided,
            test=tests[0] if tests else None,
            again=again_words(tests[0], record, plugins) if tests else "",
            ahead=ahead_of(record, tests, wishes),
        )

    @app.get("/job/<job>/test/<key>")
    def any_test(job: str, key: str) -> str:
        """A test; `?place=` names one of its places.

        The one that is best now stands there with all that speaks for it.
        """
        record, wishes = van.job(job), options_in_address(plugins)
        assessment = assessed(record, wishes)
        tests = open_tests(assessment, wishes)
        best = bool(tests) and tests[0].wants == key and not tests[0].operation
        guided = guided_page(record, wishes, assessment, tests) if best else None
        of_key = (one for one in assessment.next_tests if one.wants == key and not one.operation)
        named = tests[0] if best else next(of_key, None)
        again = again_words(named, record, plugins) if named is not None else ""
        if key in plugins.traits:
            return trait_page(record, key, wishes, assessment, test=named, guided=guided, again=again)
        ask = asked(record, key, wishes.place)
        return test_page(record, ask, wishes, assessment, test=named, guided=guided, again=again)

    @app.get("/job/<job>/after/<key>")
    def after(job: str, key: str) -> Any:
        """On from several places on one screen: to the first that was left empty, else as after any test."""
        record, wishes = van.job(job), options_in_address(plugins)
        ask, place = asked(record, key, wishes.place), ""
        if ask.recorded:
            place = ask.next_place
        if place or not ask.recorded:
            return flask.redirect(wishes.path(record, f"test/{key}", place=place), 303)
        return flask.redirect(wishes.on_its_own().path(record, wishes.back), 303)

    @app.get("/job/<job>/tests")
    def tests(job: str) -> str:
        """Everything that can be read or looked at, by system."""
        record, wishes = van.job(job), options_in_address(plugins).on_its_own()
        own = attrs.evolve(wishes, listed=True)
        recorded = questions.present_answers(record, plugins, van.texts(record))
        beside = {key for one in plugins.measurands.values() for key in one.conditions}

        def first_place(key: str, places: Sequence[str]) -> str:
            """The place of it that comes next, one that a code names first; empty when it has none."""
            named = begins_at(key, record, plugins)
            unread = [place for place in places if (key, place) not in recorded] or list(places[:1])
            return named if named in unread else next(iter(unread), "")

        groups = []
        for system in plugins.systems.values():
            declared: list[Measurand | Observation] = [
                *system.measurands.values(),
                *system.observations.values(),
            ]
            declared = [one for one in declared if can_be_read(one, record, plugins)]
            declared.sort(
                key=lambda one: one.key in beside
            )  # what is only read with something else comes last
            here = {one.key: places_here(one, record, plugins) for one in declared}
            rows = [
                TestRow(
                    path=own.path(record, f"test/{one.key}", place=first_place(one.key, here[one.key])),
                    title=one.title,
                    recorded=_history_of(recorded, one.key, one.places),
                )
                for one in declared
            ]
            groups.append((system, rows))
        assessment = assessed(record, wishes)
        following = open_tests(assessment, wishes)
        return job_page(
            "tests.html",
            record,
            van,
            wishes=wishes,
            groups=groups,
            guided=guided_page(record, wishes, assessment, following)
            if record.spoken_of(record.stage)
            else None,
            ahead=ahead_of(record, following, wishes),
        )

    @app.get("/job/<job>/systems")
    def systems(job: str) -> str:
        record, wishes = van.job(job), options_in_address(plugins)
        return systems_page(record, wishes, assessed(record, wishes))

    def systems_page(job: Job, wishes: TestOptions, assessment: Assessment) -> str:
        begun = {system.key for system in guidance.systems_in_question(assessment, plugins)}
        ahead = [wishes.path(job, f"fitted/{key}") for key in plugins.systems]
        failures = [str(failure) for failure in assessment.failures]
        return job_page(
            "systems.html",
            job,
            van,
            wishes=wishes,
            systems=plugins.systems.values(),
            not_covered=[not_covered_words(one) for one in not_covered(job, plugins)],
            begun=begun,
            failures=failures,
            ahead=ahead,
        )

    @app.get("/job/<job>/fitted/<key>")
    def fitted(job: str, key: str) -> str:
        """What a system asks of the vehicle, on one page."""
        record, wishes = van.job(job), options_in_address(plugins)
        system = plugins.systems.get(key) or flask.abort(404)
        onward = attrs.evolve(wishes, about=tuple(dict.fromkeys((*wishes.about, key)))).path(record, "test")
        asks = questions.trait_questions(system, record, plugins)
        return job_page(
            "fitted.html",
            record,
            van,
            wishes=wishes,
            system=system,
            asks=asks,
            first=_FIRST,
            onward=onward,
            choosing=wishes.path(record, "tests"),
            ahead=[onward],
        )

    @app.get("/job/<job>/codes")
    def codes(job: str) -> str:
        record, wishes = van.job(job), options_in_address(plugins)
        read = [noted.record for noted in record.codes_read(record.stage)]
        return job_page(
            "codes.html",
            record,
            van,
            wishes=wishes,
            read=read,
            next=wishes.path(record, "test"),
            cannot=_NO_CODES,
        )

    @app.get("/job/<job>/limit/<key>")
    def limit(job: str, key: str) -> str:
        """This vehicle's own limit of a measurand."""
        record, wishes = van.job(job), options_in_address(plugins)
        ask = asked(record, key, wishes.place)
        if not ask.measured:
            flask.abort(404)
        back = wishes.path(record, f"test/{key}", place=wishes.place)
        return job_page(
            "limit.html",
            record,
            van,
            ask=ask,
            back=back,
            recorded=_own_limit(record, key),
            read_off=_READ_OFF,
        )

    @app.get("/job/<job>/retest")
    def retest(job: str) -> str:
        """The reading that shows the last repair, taken as it was taken on arrival."""
        record, wishes = van.job(job), options_in_address(plugins)
        assessment = assessed(record, wishes)
        recorded = questions.present_answers(record, plugins)
        given_up, no_tool = did_not_fix(record), tools_missing(record)
        for repair in reversed(assessment.repairs):
            key = shown_by(repair, plugins)
            if not key or repair.operation in given_up or key in no_tool:
                continue
            before = arrival(assessment, key)
            unread = [reading for reading in before if (key, reading.place) not in recorded]
            if unread or not any(of == key for of, _ in recorded):
                ask = asked(record, key, wishes.place or (unread[0].place if unread else ""))
                if ask.place in (before_places := {reading.place for reading in before}):
                    # the same places as before show it; any other is read as a test of its own
                    kept = tuple(place for place in ask.places if place.name in before_places)
                    ask = attrs.evolve(ask, places=kept)
                return test_page(
                    record, ask, wishes, assessment, shows=shown_repair(repair, before), back="retested"
                )
        return job_page(
            "retested.html",
            record,
            van,
            now=complaint_now(record),
            given_up=[repair.title for repair in assessment.repairs if repair.operation in given_up],
            repairs=[
                (repair, again_path(record, repair, wishes))
                for repair in assessment.repairs
                if repair.operation not in given_up
            ],
            not_repeated=_not_repeated(record, assessment, wishes, plugins),
            meaning=meaning(assessment) if record.stage else {"meant": None},
        )

    @app.get("/job/<job>/retested")
    def retested(job: str) -> Any:
        """On from a reading after the repair: where everything was shown, to handing over, which tells it all
        and asks how the complaint is.
        """
        record, wishes = van.job(job), options_in_address(plugins)
        repairs = assessed(record, wishes).repairs
        shown = bool(repairs) and all(repair.proof is Proof.SHOWN for repair in repairs)
        return flask.redirect(wishes.path(record, "hand" if shown else "retest"), 303)

    def meaning(assessment: Assessment) -> dict[str, Any]:
        meant = guidance.last_meaning(assessment, plugins, van.texts(assessment.job))
        return {
            "meant": meant,
            "means": [finding_words(finding, assessment, van) for finding in meant.findings]
            if meant is not None
            else [],
        }

    def guided_page(
        job: Job, wishes: TestOptions, assessment: Assessment, tests: Sequence[NextTest]
    ) -> dict[str, Any]:
        """What stands beside the next test: what the last answer meant, what comes later, what it could be,
        what may be proposed.
        """
        left = guidance.repeatable_tests(assessment, plugins)
        aside = [one for one in guidance.open_tests(assessment, plugins) if one.wants in wishes.aside]
        return {
            **meaning(assessment),
            "noted": [
                (
                    plugins.title(one.of) if one.of else "Noted",
                    one.place,
                    one.text(van.texts(job)) or "removed",
                )
                for one in unanswered_words(assessment)
            ],
            "later": [
                Later(path=path_of(job, test, wishes), question=test.question, time=time_words(test))
                for test in tests[1:]
            ],
            "paths": [path_of(job, test, wishes) for test in tests],
            "too_long": [
                f"{test.question} {time_words(test)}".strip() for test in named_tests(assessment.too_long)
            ],
            "causes": likely_causes(assessment, plugins),
            "contradictions": [odd.text for odd in assessment.contradictions],
            "offerable": [
                plugins.operations[call.operation].title
                for call in assessment.calls_at(job.stage)
                if call.met
            ],
            "gaps": _gaps(assessment),
            "left_open": [
                *(
                    Later(
                        path=path_of(job, one, wishes),
                        question=one.question,
                        time=_why_open(one, assessment, plugins),
                    )
                    for one in left
                ),
                *(
                    Later(path=path_of(job, one, wishes), question=one.question, time="Set aside.")
                    for one in aside
                ),
            ],
        }


#: Why trouble codes could not be read. Own words are always possible.
_NO_CODES = (
    "no connector found",
    "the module (ECU) does not answer",
    "no scan tool here",
    "key cannot be turned on",
)
#: What a limit of this vehicle is read off.
_READ_OFF = (
    "label under the bonnet",
    "owner's handbook",
    "manufacturer's workshop data",
    "plate on the part",
)


def time_words(test: NextTest) -> str:
    """How long a test takes, in a few words; empty when nobody said."""
    if test.waits:
        return f"{test.minutes:g} min of work, {test.waits:g} min of waiting"
    return f"about {test.minutes:g} min" if test.minutes else ""


def _history_of(recorded: dict[tuple[str, str], str], key: str, places: Sequence[str]) -> str:
    """What was read of it: at every place that was spoken of."""
    if not places:
        return recorded.get((key, ""), "")
    return "; ".join(f"{place}: {recorded[key, place]}" for place in places if (key, place) in recorded)


def _own_limit(job: Job, key: str) -> str:
    """This vehicle's own limit as it was read off; empty when none was."""
    for noted in reversed(job.specified):
        if noted.record.of == key:
            record = noted.record
            low, high = record.low_typed.strip(), record.high_typed.strip()
            return (
                f"{low} to {high}" if low and high else f"at least {low}" if low else f"at most {high}"
            ) + f" ({record.where_from})"
    return ""


def _gaps(assessment: Assessment) -> list[str]:
    """What could not be said: first what has a reason, then what was not looked at, in one sentence."""
    texts = [text for text, _ in reasons_not_said(assessment.open_gaps)]
    bare = list(
        dict.fromkeys(
            gap.about for gap in assessment.open_gaps if gap.about and not is_noted(gap, assessment.job)
        )
    )
    return [
        *texts,
        *(
            [f"Not looked at: {', '.join(bare[:_GAPS])}{' and more' if len(bare) > _GAPS else ''}."]
            if bare
            else []
        ),
    ]


def _missing_texts(key: str, assessment: Assessment, plugins: Plugins) -> list[str]:
    return list(dict.fromkeys(gap.text for gap in guidance.missing_for(key, assessment, plugins)))


def _why_open(test: NextTest, assessment: Assessment, plugins: Plugins) -> str:
    """Why a test that was made is still open, in a few words."""
    if test.repeat:
        return again_words(test, assessment.job, plugins)
    if test.key == test.wants:  # a finding that was left open asks for its own reading again
        return "The first attempt was inconclusive."
    return " ".join(_missing_texts(test.wants, assessment, plugins)) or "The readings do not decide it."


def _not_repeated(job: Job, assessment: Assessment, wishes: TestOptions, plugins: Plugins) -> list[TestRow]:
    """What was read before the repair and not since."""
    rows, wishes = {}, attrs.evolve(wishes, again=True)
    for gap in assessment.not_repeated:
        declared = plugins.measurands.get(gap.wants) or plugins.observations.get(gap.wants)
        if declared is not None:
            rows[gap.wants] = TestRow(
                path=wishes.path(job, f"test/{gap.wants}"), title=declared.title, recorded=""
            )
    return list(rows.values())
