"""Where testing goes from here: which test is next and can be made, what keeps one open, what the last answer
meant.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import attrs

from ..account.noted import is_noted
from ..assess.assessment import Assessment
from ..assess.suspect import NextTest
from ..desk.next_step import is_here, made_at
from ..model.finding import Finding, Gap, Urgency, Verdict
from ..model.job import Job
from ..model.measurand import Observation
from ..model.records import CodesRead, Measured, Seen
from ..plugin.host import Plugins
from ..plugin.system import System
from ..report.next_tests import asks_for_codes, named_tests
from .questions import places_of, present_answers, trait_texts

CODES = "codes"

# ---- which test comes next


def test_path(job: Job, test: NextTest, plugins: Plugins) -> str:
    """Where a next test is made, below the job: `codes`, `test/<key>`, or `act/<operation>` where harmless
    work comes before it; empty when it wants something that no installed system declares.
    """
    if test.operation:
        return f"act/{test.operation}" if test.operation in plugins.operations else ""
    if asks_for_codes(test, plugins):
        return CODES
    asked = (plugins.measurands, plugins.observations, plugins.traits)
    return f"test/{test.wants}" if any(test.wants in one for one in asked) else ""


def open_tests(assessment: Assessment, plugins: Plugins) -> tuple[NextTest, ...]:
    """The next tests that are still to be made: not those that wait beside, were said to be out of reach, or
    were made in this stage.
    """
    waiting = {noted.record.of for noted in assessment.job.waiting}
    return tuple(
        test
        for test in _possible_tests(assessment, plugins)
        if test.wants not in waiting and not is_made(assessment.job, test, plugins)
    )


def repeatable_tests(assessment: Assessment, plugins: Plugins) -> tuple[NextTest, ...]:
    """Tests that were made in this stage and would say more, if what they lack were known or if they were
    made once more.

    They are offered and never come by themselves: whoever has read a thing is not led back to it for ever.
    """
    return tuple(
        test for test in _possible_tests(assessment, plugins) if is_made(assessment.job, test, plugins)
    )


def _possible_tests(assessment: Assessment, plugins: Plugins) -> tuple[NextTest, ...]:
    job = assessment.job
    return tuple(
        test
        for test in named_tests(assessment.next_tests)
        if test_path(job, test, plugins)
        and is_here(test, job, plugins)
        and not _out_of_reach(job, test, plugins)
        and not (asks_for_codes(test, plugins) and is_made(job, test, plugins))
    )


def _out_of_reach(job: Job, test: NextTest, plugins: Plugins) -> bool:
    if asks_for_codes(test, plugins):
        return any(noted.record.cannot for noted in job.codes_read(job.stage))
    refused = {
        noted.record.place
        for noted in job.seen(job.stage)
        if noted.record.of == test.wants and noted.record.cannot
    }
    read = {noted.record.of for noted in job.measured(job.stage)} | {
        noted.record.of for noted in job.seen(job.stage) if not noted.record.cannot
    }
    places = (test.place,) if test.place else places_of(test.wants, job, plugins) or ("",)
    return test.wants not in read and ("" in refused or refused.issuperset(places))


def is_made(job: Job, test: NextTest, plugins: Plugins) -> bool:
    """True when the test has an outcome of this stage, or all that it asks for was spoken of in it: whatever
    keeps it open is something else. What rests on a part that was worked on since is to be made again.
    """
    if asks_for_codes(test, plugins):
        return "stored" in job.codes_by_list(job.stage)
    if test.operation:
        return False  # the work that comes before it is still to be done
    if test.wants in plugins.traits:
        return test.wants in trait_texts(job, plugins)
    recorded = present_answers(job, plugins)
    places = (test.place,) if test.place else places_of(test.wants, job, plugins) or ("",)
    if all((test.wants, place) in recorded for place in places):
        return True
    return test.repeat and made_at(test, job, plugins) == job.stage


def missing_for(key: str, assessment: Assessment, plugins: Plugins) -> tuple[Gap, ...]:
    """What the checks that read this key still lack."""
    checks = {
        check.title
        for system in plugins.systems.values()
        for check in system.checks.values()
        if any(one.of.key == key for one in check.parameters)
    }
    return tuple(
        gap
        for gap in assessment.gaps
        if gap.stage == assessment.job.stage
        and gap.check in checks
        and gap.wants
        and gap.wants != key
        and not is_noted(gap, assessment.job)
    )


def systems_in_question(assessment: Assessment, plugins: Plugins) -> tuple[System, ...]:
    """The systems that are in question: of which something was read, seen or answered."""
    job = assessment.job
    spoken = {key.partition(".")[0] for stage in job.stages for key in job.spoken_of(stage)}
    spoken |= {key.partition(".")[0] for key in job.fitted(job.stage)}
    spoken |= {test.system for test in assessment.next_tests}
    return tuple(system for key, system in plugins.systems.items() if key in spoken)


@attrs.frozen(kw_only=True)
class Unsettled:
    """What is to be settled after a repair and before the vehicle is left: a sentence, and what is to be
    looked at or done for it and was not spoken of yet.
    """

    text: str
    asks: tuple[Observation, ...]


def unsettled_after_repair(assessment: Assessment, plugins: Plugins) -> tuple[Unsettled, ...]:
    """What the checks of the last stage say is to be done this visit, where only an answer is missing."""
    job = assessment.job
    if not job.stage:
        return ()
    answered = present_answers(job, plugins)
    found = []
    for finding in assessment.findings:
        now = finding.stage == job.stage and finding.urgency in (Urgency.BEFORE_DRIVING, Urgency.THIS_VISIT)
        system = plugins.systems.get(finding.system)
        if not now or finding.verdict is not Verdict.ADVICE or finding.calls_for or system is None:
            continue
        asks = tuple(
            parameter.of
            for check in system.checks.values()
            if check.title == finding.check
            for parameter in check.parameters
            if isinstance(parameter.of, Observation) and (parameter.of.key, "") not in answered
        )
        if asks:
            found.append(Unsettled(text=str(finding.text), asks=asks))
    return tuple(found)


# ---- what it meant


@attrs.frozen(kw_only=True)
class Meaning:
    """The last thing that was read or seen in this stage, at every place, and what follows from it, most
    urgent first.
    """

    title: str
    recorded: str
    findings: tuple[Finding, ...] = ()


def last_meaning(
    assessment: Assessment, plugins: Plugins, texts: Mapping[str, str] | None = None
) -> Meaning | None:
    """What the last answer meant, with all that was read of the same thing in this stage: every place of it,
    every list of codes. None while nothing was read in this stage.

    Args:
        texts: As for `present_answers`.
    """
    job = assessment.job
    read = [
        noted
        for noted in job.standing
        if isinstance(noted.record, (Measured, Seen, CodesRead)) and noted.record.stage == job.stage
    ]
    if not read:
        return None
    last = read[-1].record
    if isinstance(last, CodesRead):
        lists = [
            f"{state} {', '.join(codes) or 'none'}" for state, codes in job.codes_by_list(job.stage).items()
        ]
        recorded = "; ".join(lists) or f"could not be read: {last.cannot}"
        entries = [noted.id for noted in job.codes_read(job.stage)]
        return Meaning(title="Trouble codes", recorded=recorded, findings=findings_on(entries, assessment))
    assert isinstance(last, (Measured, Seen))
    same = [
        (noted.id, noted.record.place)
        for noted in read
        if isinstance(noted.record, (Measured, Seen)) and noted.record.of == last.of
    ]
    answers = present_answers(job, plugins, texts)
    places = list(dict.fromkeys(place for _, place in same))
    title = plugins.title(last.of)
    recorded = "; ".join(answers[last.of, place] + (f" ({place})" if place else "") for place in places)
    if len(places) == 1 and last.place:
        title, recorded = f"{title}, {last.place}", answers[last.of, last.place]
    return Meaning(
        title=title, recorded=recorded, findings=findings_on([entry for entry, _ in same], assessment)
    )


def findings_on(entries: Iterable[str], assessment: Assessment) -> tuple[Finding, ...]:
    """Findings of the latest stage that rest on one of these entries, most urgent first."""
    wanted = set(entries)
    found = [finding for finding in assessment.findings if not wanted.isdisjoint(finding.evidence)]
    return tuple(sorted(found, key=lambda finding: list(Urgency).index(finding.urgency)))
