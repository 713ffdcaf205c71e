"""Where testing goes from here: which test is next and can be made, what keeps one open, what the last answer
meant.
"""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from ..assess.assessment import Assessment
from ..assess.suspect import NextTest
from ..model.finding import Finding, Gap, Urgency
from ..model.job import Job, Noted
from ..model.records import CodesRead, Measured, Seen
from ..plugin.host import Plugins
from ..plugin.system import System
from .questions import places_of, present_answers

CODES = "codes"

# ---- which test comes next


def is_codes(test: NextTest, plugins: Plugins) -> bool:
    """True for a test that asks for the list of trouble codes."""
    system = plugins.systems.get(test.system)
    row = system.faults.tests.get(test.key) if system is not None and system.faults is not None else None
    return row is not None and bool(row.codes) and not row.wants


def test_path(job: Job, test: NextTest, plugins: Plugins) -> str:
    """Where a next test is made, below the job: `codes`, or `test/<key>`; empty when it wants something that
    no installed system declares.
    """
    if is_codes(test, plugins):
        return CODES
    return (
        f"test/{test.wants}" if test.wants in plugins.measurands or test.wants in plugins.observations else ""
    )


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
        for test in assessment.next_tests
        if test_path(job, test, plugins) and not _out_of_reach(job, test, plugins)
    )


def _out_of_reach(job: Job, test: NextTest, plugins: Plugins) -> bool:
    if is_codes(test, plugins):
        return any(noted.record.cannot for noted in job.codes_read(job.stage))
    refused = {
        noted.record.place
        for noted in job.seen(job.stage)
        if noted.record.of == test.wants and noted.record.cannot
    }
    read = {noted.record.of for noted in job.measured(job.stage)} | {
        noted.record.of for noted in job.seen(job.stage) if not noted.record.cannot
    }
    places = (test.place,) if test.place else places_of(test.wants, plugins) or ("",)
    return test.wants not in read and ("" in refused or refused.issuperset(places))


def is_made(job: Job, test: NextTest, plugins: Plugins) -> bool:
    """True when the test has an outcome, or all that it asks for was spoken of in this stage: whatever keeps
    it open is something else.
    """
    if is_codes(test, plugins):
        return any(noted.record.state == "stored" for noted in job.codes_read(job.stage))
    recorded = present_answers(job, plugins)
    places = (test.place,) if test.place else places_of(test.wants, plugins) or ("",)
    return test.repeat or all((test.wants, place) in recorded for place in places)


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
        if gap.stage == assessment.job.stage and gap.check in checks and gap.wants and gap.wants != key
    )


def systems_in_question(assessment: Assessment, plugins: Plugins) -> tuple[System, ...]:
    """The systems that are in question: of which something was read, seen or answered."""
    job = assessment.job
    spoken = {key.partition(".")[0] for stage in job.stages for key in job.spoken_of(stage)}
    spoken |= {key.partition(".")[0] for key in job.fitted(job.stage)}
    spoken |= {test.system for test in assessment.next_tests}
    return tuple(system for key, system in plugins.systems.items() if key in spoken)


# ---- what it meant


@attrs.frozen(kw_only=True)
class Meaning:
    """The last thing that was read or seen in this stage, and what follows from it, most urgent first."""

    title: str
    recorded: str
    findings: tuple[Finding, ...] = ()


def last_meaning(assessment: Assessment, plugins: Plugins) -> Meaning | None:
    """What the last answer meant; None while nothing was read in this stage."""
    job = assessment.job
    last: Noted[object] | None = None
    for noted in job.standing:
        if isinstance(noted.record, (Measured, Seen, CodesRead)) and noted.record.stage == job.stage:
            last = noted
    if last is None:
        return None
    record = last.record
    if isinstance(record, CodesRead):
        title = "Trouble codes"
        recorded = (
            f"could not be read: {record.cannot}"
            if record.cannot
            else f"{record.state} {', '.join(record.codes) or 'none'}"
        )
    else:
        assert isinstance(record, (Measured, Seen))
        title = plugins.title(record.of) + (f", {record.place}" if record.place else "")
        recorded = present_answers(job, plugins).get((record.of, record.place), "")
    return Meaning(title=title, recorded=recorded, findings=findings_on([last.id], assessment))


def findings_on(entries: Iterable[str], assessment: Assessment) -> tuple[Finding, ...]:
    """Findings of the latest stage that rest on one of these entries, most urgent first."""
    wanted = set(entries)
    found = [finding for finding in assessment.findings if not wanted.isdisjoint(finding.evidence)]
    return tuple(sorted(found, key=lambda finding: list(Urgency).index(finding.urgency)))
