"""From what each stage showed to what is believed at its end: suspects, next tests, calls."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import attrs

from ..model.finding import Finding, Verdict
from ..model.job import Job
from ..model.records import Retold
from ..plugin.case import Case
from ..plugin.host import Plugins
from ..plugin.system import System
from .contradiction import Contradiction, misfits
from .hypotheses import SOUND, Tables, joint
from .inference import Beliefs, now, start, step
from .outcome import Outcome, all_outcomes, countable
from .steps import with_what_findings_ask, with_what_is_fitted_first
from .suspect import (
    CALL_AT,
    WORK_AT,
    Call,
    Evidence,
    NextTest,
    Suspect,
    call_for_part,
    named_fault,
    next_tests,
    shown_directly,
    suspects,
    work_is_likely,
)
from .timeline import (
    GONE,
    Event,
    StageOutcome,
    answered_trials,
    complaint_of,
    events,
    let_in,
    let_in_by_trials,
    renewed_before,
    table_of,
    was_touched,
)


@attrs.define(kw_only=True)
class StageEvidence:
    """What one stage showed, of every system that was read at it.

    `made`: system → every outcome, also of what counts for nothing. `barred`: codes of checks that were held
    open for want of something, with what they ask for first.
    """

    stage: int
    fitted: Mapping[str, object] = attrs.field(factory=dict)
    done: frozenset[str] = frozenset()
    made: dict[str, list[Outcome]] = attrs.field(factory=dict)
    findings: list[Finding] = attrs.field(factory=list)
    ahead: list[NextTest] = attrs.field(factory=list)
    barred: set[str] = attrs.field(factory=set)

    def add(self, system: System, case: Case, findings: Sequence[Finding], disputed: Collection[str]) -> None:
        self.findings += findings
        decided = set()
        for finding in findings:
            if finding.verdict is Verdict.UNDECIDED and finding.next_test:
                self.barred.add(finding.code)
                self.ahead.append(_test_before(system, finding))
            else:
                decided.add(finding.code)
        self.barred -= decided  # one place that is held open bars nothing at the others
        if system.faults is not None:
            self.made[system.key] = all_outcomes(system.faults, case, findings, disputed)

    def add_codes(self, system: System, case: Case) -> None:
        """Of a system that nothing else was read of: a list of codes without its own speaks against it."""
        if system.faults is not None and "stored" in case.code_lists:
            self.made[system.key] = [
                outcome for outcome in all_outcomes(system.faults, case, ()) if outcome.test.codes
            ]


@attrs.frozen(kw_only=True)
class Ruling:
    """What follows from everything that was shown and done; `systems` are those that had a say in it."""

    systems: frozenset[str]
    calls: Sequence[Call]
    suspects: Sequence[Suspect]
    tests: Sequence[NextTest]
    contradictions: Sequence[Contradiction]


def rule(
    job: Job,
    plugins: Plugins,
    stages: Sequence[StageEvidence],
    about: Collection[str],
    asked: Collection[str] = (),
) -> Ruling:
    """Everything that counts, in order, through one inference over all systems that matter.

    Args:
        about: Keys of systems of which something was read or is asked. asked: Those that somebody asks about
            by name.
    """
    counted = _evidence_outcomes(job, plugins, stages)
    tables = joint(
        {key: system.faults for key, system in plugins.systems.items() if system.faults is not None},
        complaint_of(job),
        stages[-1].fitted,
        about,
        let_in(counted, plugins.systems) | let_in_by_trials(job, plugins.systems),
        renewed_before(job),
        asked,
    )
    counted = [shown for shown in counted if shown.system in tables.systems]
    order = events(job, plugins, tables, counted)
    known = _Followed.of(tables)
    beliefs, done, calls = start(tables), list[Event](), list[Call]()
    evidence: Evidence | None = None
    for stage in stages:
        here = [event for event in order if event.stage == stage.stage]
        for event in here:
            beliefs = known.after(beliefs, event)
        done += here
        evidence = _evidence(job, plugins, beliefs, done, counted, stage, asked)
        calls += _calls(plugins, stage, evidence)
    known.keep()
    assert evidence is not None, "a job has at least the stage of arrival"
    ahead = {(test.system, test.wants, test.place): test for test in reversed(stages[-1].ahead)}
    tests = [] if _is_put_right(job, beliefs) else next_tests(evidence)
    return Ruling(
        systems=frozenset(tables.systems),
        calls=calls,
        suspects=suspects(evidence) if order or _is_told(tables) else [],
        # several findings may ask for one reading
        tests=with_what_is_fitted_first(
            evidence,
            with_what_findings_ask(evidence, [*reversed(ahead.values())], tests),
            job.fitted(job.stage),
            plugins.traits,
        ),
        contradictions=misfits(evidence),
    )


class _Followed:
    """What was believed after each event, as far as it was followed for the job that was assessed last: a job
    is assessed again after every answer, mostly with the same events before it.
    """

    _last: tuple[Tables | None, Sequence[tuple[object, Beliefs]]] = (None, ())

    def __init__(self, tables: Tables, before: Sequence[tuple[object, Beliefs]]) -> None:
        self._tables, self._before = tables, before
        self._made: list[tuple[object, Beliefs]] = []
        self._is_same = True

    @classmethod
    def of(cls, tables: Tables) -> _Followed:
        last, before = cls._last  # at once: several threads may assess
        return cls(tables, before if last is tables else ())

    def after(self, beliefs: Beliefs, event: Event) -> Beliefs:
        """`step`, or what is known of it."""
        place = len(self._made)
        self._is_same &= place < len(self._before) and self._before[place][0] == event.step
        found = self._before[place][1] if self._is_same else step(beliefs, event.step)
        self._made.append((event.step, found))
        return found

    def keep(self) -> None:
        _Followed._last = (self._tables, self._made)


def _is_put_right(job: Job, beliefs: Beliefs) -> bool:
    """Whether the complaint is gone and nothing is left, most likely: nobody looks for a cause any more."""
    again = job.last(Retold)
    gone = again is not None and again.record.result in GONE
    return gone and now(beliefs).get(SOUND, 0.0) >= CALL_AT


def _is_told(tables: Tables) -> bool:
    """Whether the complaint says something of causes by itself."""
    return tables.complaint is not None and bool(tables.complaint.listed)


def _evidence_outcomes(job: Job, plugins: Plugins, stages: Sequence[StageEvidence]) -> list[StageOutcome]:
    """The outcomes that count as evidence, stage by stage; what an earlier stage showed and nothing has
    touched since allows later tests as well.
    """
    found: list[StageOutcome] = []
    for stage in stages:
        for system, made in stage.made.items():
            earlier = {
                shown.outcome.test.key: shown.outcome
                for shown in found
                if shown.system == system and not was_touched(job, plugins, shown, stage.stage)
            }
            found += [
                StageOutcome(system=system, stage=stage.stage, outcome=outcome)
                for outcome in countable(table_of(plugins, system), made, earlier, stage.done)
            ]
    return found


def _evidence(
    job: Job,
    plugins: Plugins,
    beliefs: Beliefs,
    done: Sequence[Event],
    counted: Sequence[StageOutcome],
    stage: StageEvidence,
    asked: Collection[str],
) -> Evidence:
    latest = {shown.key: shown for shown in counted if shown.stage <= stage.stage}
    current = frozenset(
        key for key, shown in latest.items() if not was_touched(job, plugins, shown, stage.stage)
    )
    made = frozenset(
        f"{system}.{outcome.test.key}" for system, outcomes in stage.made.items() for outcome in outcomes
    )
    return Evidence(
        beliefs=beliefs,
        events=tuple(done),
        latest=latest,
        current=current,
        made=made,
        barred=frozenset(stage.barred),
        fitted=stage.fitted,
        seen=_answers_standing(job, plugins, stage.stage),
        found=frozenset(one.code for one in stage.findings if one.verdict is not Verdict.PASS),
        asked=frozenset(asked),
        done=stage.done,
        acts=[
            operation
            for operation in plugins.operations.values()
            if operation.as_test and operation.key.partition(".")[0] in beliefs.tables.systems
        ],
        tried=answered_trials(job, plugins, stage.stage),
    )


def _answers_standing(job: Job, plugins: Plugins, until: int) -> dict[str, str]:
    """Observation → what was seen last, of what was not exchanged since."""
    found: dict[str, str] = {}
    for stage in range(until + 1):
        renewed = {
            plugins.operations[noted.record.operation].replaces
            for noted in job.repairs
            if noted.record.stage == stage and noted.record.operation in plugins.operations
        } - {""}
        gone = {of for of in found if of in plugins.observations and plugins.observations[of].part in renewed}
        found = {of: answer for of, answer in found.items() if of not in gone}
        found |= {noted.record.of: noted.record.answer for noted in job.seen(stage) if noted.record.answer}
    return found


def _calls(plugins: Plugins, stage: StageEvidence, evidence: Evidence) -> list[Call]:
    """Of every operation that some finding of the stage speaks for, or a trial: may it be proposed?"""
    calls: dict[str, Call] = {}
    for finding in stage.findings:
        if not finding.calls_for:
            continue
        system = plugins.systems[finding.system]
        operation = system.operations[finding.calls_for]
        if not operation.replaces:
            call = _plain_call(finding, stage.stage, evidence)
        elif system.faults is None:
            why = "The system has no fault table, so no part may be called for."
            call = Call(operation=operation.key, met=False, stage=stage.stage, why=why)
        else:
            call = call_for_part(evidence, operation.key, stage.stage)
        if operation.key not in calls or call.met:
            calls[operation.key] = call
    for operation in plugins.operations.values():
        cures = evidence.tables.of_work(operation.key)
        if operation.key in calls or not (why := shown_directly(evidence, cures)):
            continue
        if operation.replaces:
            calls[operation.key] = call_for_part(evidence, operation.key, stage.stage)
        elif work_is_likely(evidence, operation.key) >= WORK_AT:  # nothing is exchanged for it
            calls[operation.key] = Call(operation=operation.key, met=True, stage=stage.stage, why=why)
    return [
        attrs.evolve(
            call,
            fault=named_fault(evidence, call.operation),
            chance=work_is_likely(evidence, call.operation),
        )
        for call in calls.values()
    ]


def _plain_call(finding: Finding, stage: int, evidence: Evidence) -> Call:
    """Work that exchanges no part may be proposed when the finding speaks for it plainly, as a verdict or as
    advice, or when what it cures is likely.
    """
    plain = finding.verdict is Verdict.FAIL or (
        finding.verdict is Verdict.ADVICE and (finding.probability is None or finding.probability <= 0.05)
    )
    if plain:
        return Call(operation=finding.calls_for, met=True, stage=stage, why=str(finding.text))
    likely = work_is_likely(evidence, finding.calls_for)
    if likely >= WORK_AT:
        why = f"Likely, {likely * 10:.0f} in 10: {finding.text}"
        return Call(operation=finding.calls_for, met=True, stage=stage, why=why)
    why = "The finding that speaks for it is not decided."
    return Call(operation=finding.calls_for, met=False, stage=stage, why=why)


def _test_before(system: System, finding: Finding) -> NextTest:
    """The test that a barred check asks for first."""
    key = finding.next_test
    wanted = system.measurands.get(key) or system.observations.get(key) or system.traits.get(key)
    title = wanted.title if wanted is not None else finding.next_test
    check = finding.check[0].lower() + finding.check[1:]
    if finding.next_test == finding.of and finding.value is not None:
        question = f"Test again {check}."
    elif title.casefold() == check.casefold():
        question = f"{title}: not known yet."
    else:
        question = f"{title}, before anything is said of {check}."
    return NextTest(
        system=system.key,
        key=finding.next_test,
        question=question,
        minutes=0.0,
        bits=0.0,
        wants=finding.next_test,
        place=finding.place if finding.next_test == finding.of else "",
    )
