"""Assess a job: a pure function of its journal and the plugins."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from enum import StrEnum
from typing import Protocol

import attrs

from ..model.finding import Finding, Gap, Reason, Text, Urgency, Verdict
from ..model.job import Job
from ..model.limit import Limit
from ..model.measurand import Operation
from ..model.records import Repaired
from ..plugin.case import Case
from ..plugin.check import Check, run
from ..plugin.guard import guarded, in_words
from ..plugin.host import Failure, Plugins
from ..plugin.reading import Reading, readings_at
from ..plugin.system import System
from .bench import case_at, unknown_at
from .contradiction import Contradiction, all_alike, unfitting
from .outcome import counting, tried
from .suspect import Call, NextTest, Suspect, call_for_part, next_tests, suspects

CHECK_SECONDS = 5.0
_URGENCIES = list(Urgency)


class Change(StrEnum):
    """A later reading held against the arrival reading, with both uncertainties."""

    IMPROVED = "improved"
    WORSE = "worse"
    UNCHANGED = "unchanged"
    CHANGED = "changed"
    CANNOT_TELL = "cannot tell"


class Proof(StrEnum):
    """What the retest says of a repair."""

    SHOWN = "shown to work"
    NOT_SHOWN = "not shown"
    NOT_YET = "not repaired yet"


_WORST_FIRST = (Proof.NOT_YET, Proof.NOT_SHOWN, Proof.SHOWN)


@attrs.frozen(kw_only=True)
class Comparison:
    """One quantity before and after: the arrival reading and the latest later one."""

    before: Reading
    after: Reading
    change: Change


@attrs.frozen(kw_only=True)
class RepairProof:
    """One repair and what its retest shows; `finding` is the one that was held against it, if there is one.

    `retest` is the key of the measurand that would show it; empty where no reading can.
    """

    operation: str
    title: str
    stage: int
    proof: Proof
    why: str
    finding: Finding | None = None
    retest: str = ""


@attrs.frozen(kw_only=True)
class Assessment:
    """All that today's plugins make of a job.

    Attributes:
        findings: Of every stage, most urgent first within the latest stage they speak of.
        gaps: What could not be said, and why.
        suspects, next_tests, contradictions: For the mechanic, at the job's latest stage with evidence. The
            next tests of a system that is only in question (see `assess`) stand behind those of the systems
            that were read.
        too_long: Next tests that do not fit into the time left; none when no time was named.
        calls: For every operation that some finding speaks for: may it be offered?
        readings: stage → readings in the order of the declarations.
        replaces: Operation → the part it exchanges.
    """

    job: Job
    findings: tuple[Finding, ...]
    gaps: tuple[Gap, ...]
    suspects: tuple[Suspect, ...]
    next_tests: tuple[NextTest, ...]
    calls: tuple[Call, ...]
    comparisons: tuple[Comparison, ...]
    repairs: tuple[RepairProof, ...]
    readings: tuple[tuple[Reading, ...], ...]
    failures: tuple[Failure, ...]
    versions: dict[str, str]
    replaces: Mapping[str, str] = attrs.field(factory=dict)
    contradictions: tuple[Contradiction, ...] = ()
    too_long: tuple[NextTest, ...] = ()

    def is_dealt_with(self, finding: Finding) -> bool:
        """True when the work that it called for was done after it, or the part that it speaks of was
        exchanged.

        What the retest shows is then the word on it.
        """
        later = [noted.record for noted in self.job.repairs if noted.record.stage > finding.stage]
        gone = bool(finding.part) and any(
            self.replaces.get(repair.operation) == finding.part for repair in later
        )
        return gone or any(repair.operation == finding.calls_for for repair in later)

    @property
    def current(self) -> tuple[Finding, ...]:
        """How the vehicle stands now: of every code and place the latest finding, without what was dealt with
        since.
        """
        return tuple(finding for finding in self.latest if not self.is_dealt_with(finding))

    @property
    def latest(self) -> tuple[Finding, ...]:
        """Of every code and place the latest finding."""
        latest: dict[tuple[str, str], Finding] = {}
        for finding in self.findings:
            key = (finding.code, finding.place)
            if key not in latest or finding.stage > latest[key].stage:
                latest[key] = finding
        return tuple(finding for finding in self.findings if latest[finding.code, finding.place] is finding)

    @property
    def open_gaps(self) -> tuple[Gap, ...]:
        """The gaps that no other stage has closed, each once: what was read at arrival need not be read again
        to be known.
        """
        answered = {(finding.system, finding.check) for finding in self.findings}
        kept: dict[tuple[str, str, str], Gap] = {}
        for gap in self.gaps:
            if gap.reason is Reason.PLUGIN_FAILED or (gap.system, gap.check) not in answered:
                kept.setdefault((gap.system, gap.check, gap.wants or gap.text), gap)
        return tuple(kept.values())

    @property
    def not_repeated(self) -> tuple[Gap, ...]:
        """Gaps of the last stage whose check had its answer earlier: not read again since the last repair."""
        still_open = {(gap.system, gap.check) for gap in self.open_gaps}
        late = [
            gap for gap in self.gaps if gap.stage == self.job.stage > 0 and gap.reason is Reason.NOT_MEASURED
        ]
        return tuple(gap for gap in late if (gap.system, gap.check) not in still_open)

    def may_offer(self, operation: str, stage: int | None = None) -> bool:
        """May it be offered on what this stage shows (without one: on what any stage did)? What was called
        for earlier was answered then.
        """
        return any(
            call.operation == operation and call.met and stage in (None, call.stage) for call in self.calls
        )

    def calls_at(self, stage: int) -> tuple[Call, ...]:
        return tuple(call for call in self.calls if call.stage == stage)


class Assessor(Protocol):
    """Whatever assesses jobs: `assess` itself, or a worker that calls it elsewhere.

    Arguments and result are those of `assess`.
    """

    def __call__(
        self, job: Job, plugins: Plugins, minutes_left: float | None = None, about: Collection[str] = ()
    ) -> Assessment: ...


def assess(
    job: Job, plugins: Plugins, minutes_left: float | None = None, about: Collection[str] = ()
) -> Assessment:
    """Run every check of every system at every stage, and draw what follows from the findings.

    A system of which nothing was read yet makes no findings and no gaps. It is in question as soon as one of
    its traits was answered, or when `about` names it; then its next tests say where to begin.

    Args:
        minutes_left: Of this visit; a test that cannot be done and read in it is set apart.
        about: Keys of systems that are asked about; their tests come before those of a system in which
            nothing is wrong so far.

    Raises:
        none of a plugin's: each becomes a gap that names the plugin, and everything else is unchanged.
    """
    disputed = frozenset(entry for dispute in job.disputes for entry in dispute.entries)
    findings: list[Finding] = []
    gaps: list[Gap] = []
    calls: list[Call] = []
    seen_suspects: list[Suspect] = []
    tests: list[NextTest] = []
    odd: list[Contradiction] = []
    titles = {key: measurand.title for key, measurand in plugins.measurands.items()}
    touched: set[str] = set()
    for stage in job.stages:
        laid: Case | None = None  # a stage is laid out once; each system sees the same
        for system in plugins.systems.values():
            laid = case = (
                attrs.evolve(laid, system=system)
                if laid is not None
                else case_at(job, stage, system, plugins)
            )
            if not _touched(case, job, stage):
                continue
            touched.add(system.key)
            made, missed = _run_checks(system, case)
            made = [
                _unsettled(finding) if not disputed.isdisjoint(finding.evidence) else finding
                for finding in made
            ]
            ruled = _rule(system, case, made, disputed)
            findings += made
            gaps += missed
            calls += ruled.calls
            if ruled.speaks or system.key not in {test.system for test in tests}:
                # The latest stage that has evidence speaks; what arrival showed is evidence about arrival
                # only.
                seen_suspects = [*(old for old in seen_suspects if old.system != system.key), *ruled.suspects]
                tests = [*(old for old in tests if old.system != system.key), *ruled.tests]
                odd = [
                    *(old for old in odd if old.system != system.key),
                    *ruled.contradictions,
                    *all_alike(made, titles),
                ]
        for key, text in unknown_at(job, stage, plugins):
            gaps.append(
                Gap(
                    system="",
                    check="Readings",
                    reason=Reason.DOES_NOT_APPLY,
                    text=text,
                    stage=stage,
                    wants=key,
                )
            )
    gaps += [
        Gap(system=failure.plugin, check="Plugin", reason=Reason.PLUGIN_FAILED, text=str(failure))
        for failure in plugins.failures
    ]
    readings = tuple(_readings(job, stage, plugins) for stage in job.stages)
    ordered = tuple(sorted(findings, key=lambda finding: (_URGENCIES.index(finding.urgency), finding.stage)))
    for system in plugins.systems.values():
        if (
            system.key not in touched
            and system.faults is not None
            and (system.key in about or _fitted(system, job))
        ):
            tests += next_tests(system.key, system.faults, [], {})
    # A system that shows something wrong is tested on before one that was only read beside it; within a
    # system its own ranking holds.
    uneasy = {finding.system for finding in findings if finding.urgency is not Urgency.NOTHING}
    tests.sort(
        key=lambda test: (test.system not in uneasy, test.system not in about, test.system not in touched)
    )
    return Assessment(
        job=job,
        findings=ordered,
        gaps=tuple(gaps),
        suspects=tuple(seen_suspects),
        next_tests=tuple(test for test in tests if test.fits(minutes_left)),
        calls=tuple(calls),
        comparisons=tuple(_compare(readings, ordered)),
        repairs=tuple(_proofs(job, ordered, plugins)),
        readings=readings,
        failures=plugins.failures,
        versions=dict(plugins.versions),
        replaces={
            key: operation.replaces for key, operation in plugins.operations.items() if operation.replaces
        },
        contradictions=tuple(odd),
        too_long=tuple(test for test in tests if not test.fits(minutes_left)),
    )


def _touched(case: Case, job: Job, stage: int) -> bool:
    """True when this stage holds something of the system: a job about one system gets no list of another's
    readings not taken.
    """
    prefix = f"{case.system.key}."
    asks_for = case.system.faults.codes if case.system.faults else frozenset[str]()
    return any(key.startswith(prefix) for key in job.spoken_of(stage)) or not asks_for.isdisjoint(case.codes)


def _fitted(system: System, job: Job) -> bool:
    """True when it was asked what of this system is fitted, whatever the answer."""
    return not job.fitted(job.stage).keys().isdisjoint(system.traits)


def _run_checks(system: System, case: Case) -> tuple[list[Finding], list[Gap]]:
    findings: list[Finding] = []
    gaps: list[Gap] = []
    for check in system.checks.values():
        for result in _guarded(system, check, case):
            if isinstance(result, Finding):
                findings.append(result)
            else:
                gaps.append(result)
    return findings, gaps


def _guarded(system: System, check: Check, case: Case) -> Sequence[Finding | Gap]:
    try:
        with guarded(system.key, check.title, CHECK_SECONDS):
            return run(check, attrs.evolve(case, check=check.title))
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        text = (
            f"The check failed and said nothing that can be used ({in_words(error)}). Plugin {system.key}:"
            f" {system.title} is not assessed here."
        )
        return [
            Gap(
                system=system.key, check=check.title, reason=Reason.PLUGIN_FAILED, text=text, stage=case.stage
            )
        ]


def _unsettled(finding: Finding) -> Finding:
    """A finding that rests on a dispute: two stores say different things, so nothing is decided until
    somebody settles it.
    """
    text = Text(
        f"{finding.text.template} Two records disagree about what this rests on, and nothing settles which"
        " one counts.",
        finding.text.values,
    )
    if finding.verdict is Verdict.ADVICE:
        return attrs.evolve(finding, text=text)
    urgency = Urgency.THIS_VISIT if finding.urgency is Urgency.NOTHING else finding.urgency
    return attrs.evolve(finding, verdict=Verdict.UNDECIDED, urgency=urgency, text=text)


@attrs.frozen(kw_only=True)
class _Ruling:
    """What follows from one stage's findings; `speaks` when the stage has evidence of its own."""

    calls: list[Call]
    suspects: list[Suspect]
    tests: list[NextTest]
    contradictions: list[Contradiction]
    speaks: bool


def _rule(system: System, case: Case, findings: Sequence[Finding], disputed: Collection[str]) -> _Ruling:
    barred = {
        finding.code: finding.next_test
        for finding in findings
        if finding.verdict is Verdict.UNDECIDED and finding.next_test
    }
    ahead = [_named(system, finding) for finding in findings if finding.code in barred]
    table = system.faults
    all_tried = tried(table, case, findings, disputed) if table is not None else []
    shown = counting(all_tried)
    calls: dict[str, Call] = {}
    for finding in findings:
        if not finding.calls_for:
            continue
        if table is not None and system.operations[finding.calls_for].replaces:
            call = call_for_part(table, shown, finding.calls_for, case.stage)
        else:
            call = _plain_call(system, finding, case.stage)
        if finding.calls_for not in calls or call.met:
            calls[finding.calls_for] = call
    if table is None:
        return _Ruling(calls=list(calls.values()), suspects=[], tests=ahead, contradictions=[], speaks=True)
    return _Ruling(
        calls=list(calls.values()),
        suspects=suspects(system.key, table, shown) if shown else [],
        tests=[
            *ahead,
            *next_tests(system.key, table, shown, barred, [outcome.test.key for outcome in all_tried]),
        ],
        contradictions=unfitting(system.key, table, shown, case.stage),
        speaks=bool(all_tried or ahead),
    )


def _plain_call(system: System, finding: Finding, stage: int) -> Call:
    """Work that exchanges no part may be offered when the finding speaks for it plainly, as a verdict or as
    advice.
    """
    if system.operations[finding.calls_for].replaces:
        return Call(
            operation=finding.calls_for,
            met=False,
            stage=stage,
            why="The system has no fault table, so no part may be called for.",
        )
    met = finding.verdict is Verdict.FAIL or (
        finding.verdict is Verdict.ADVICE and (finding.probability is None or finding.probability <= 0.05)
    )
    why = str(finding.text) if met else "The finding that speaks for it is not decided."
    return Call(operation=finding.calls_for, met=met, stage=stage, why=why)


def _named(system: System, finding: Finding) -> NextTest:
    """The test that a barred check asks for first."""
    wanted = system.measurands.get(finding.next_test) or system.observations.get(finding.next_test)
    title = wanted.title if wanted is not None else finding.next_test
    check = finding.check[0].lower() + finding.check[1:]
    question = (
        f"Test again {check}."
        if finding.next_test == finding.of
        else f"{title}, before anything is said of {check}."
    )
    return NextTest(
        system=system.key,
        key=finding.next_test,
        question=question,
        minutes=0.0,
        bits=0.0,
        wants=finding.next_test,
        place=finding.place if finding.next_test == finding.of else "",
    )


def _readings(job: Job, stage: int, plugins: Plugins) -> tuple[Reading, ...]:
    found = readings_at(job, stage, plugins.measurands)
    order = {key: place for place, key in enumerate(plugins.measurands)}
    return tuple(sorted(found.values(), key=lambda reading: (order[reading.measurand.key], _place(reading))))


def _place(reading: Reading) -> int:
    places = reading.measurand.places
    return places.index(reading.place) if reading.place in places else len(places)


def _compare(readings: Sequence[Sequence[Reading]], findings: Sequence[Finding]) -> list[Comparison]:
    """Every quantity read at arrival and again later: the first against the last."""
    first: dict[tuple[str, str], Reading] = {}
    last: dict[tuple[str, str], Reading] = {}
    for stage in readings:
        for reading in stage:
            key = (reading.measurand.key, reading.place)
            first.setdefault(key, reading)
            last[key] = reading
    pairs = [(before, last[key]) for key, before in first.items() if last[key].stage > before.stage]
    return [
        Comparison(before=before, after=after, change=_change(before, after, findings))
        for before, after in pairs
    ]


def _change(before: Reading, after: Reading, findings: Sequence[Finding]) -> Change:
    """Did it move by more than both uncertainties explain (k = 2), and towards the limit's inside or
    away from it?
    """
    gap = after.value - before.value
    if abs(gap.number) <= 2 * gap.u:
        narrow = gap.u == 0 or gap.number == 0 or abs(before.number) > 20 * gap.u
        return Change.UNCHANGED if narrow else Change.CANNOT_TELL
    first, last = (_judging(reading, findings) for reading in (before, after))
    if first is None or last is None or first.probability is None or last.probability is None:
        return Change.CHANGED
    if abs(first.probability - last.probability) >= 0.01:
        return Change.IMPROVED if last.probability > first.probability else Change.WORSE
    (side, short), (other_side, still_short) = (
        _shortfall(before, first.limits[0]),
        _shortfall(after, last.limits[0]),
    )
    if not side or side != other_side:
        return Change.CHANGED  # inside both times, or out at one end and then at the other: neither is better
    return Change.IMPROVED if still_short < short else Change.WORSE


def _judging(reading: Reading, findings: Sequence[Finding]) -> Finding | None:
    """The finding by which some check held this very reading against a limit."""
    return next(
        (
            one
            for one in findings
            if one.value == reading.value and one.probability is not None and one.limits
        ),
        None,
    )


def _shortfall(reading: Reading, limit: Limit) -> tuple[str, float]:
    """Beyond which end of its limit a reading lies (`low`, `high`, or neither) and how far."""
    if limit.low is not None and reading.number < limit.low.number:
        return "low", limit.low.number - reading.number
    if limit.high is not None and reading.number > limit.high.number:
        return "high", reading.number - limit.high.number
    return "", 0.0


def _proofs(job: Job, findings: Sequence[Finding], plugins: Plugins) -> list[RepairProof]:
    proofs = []
    for noted in job.repairs:
        operation = plugins.operations.get(noted.record.operation)
        stage = noted.record.stage
        if operation is None:
            why = "No installed system knows this work, so no retest can be held against it."
            proofs.append(
                RepairProof(
                    operation=noted.record.operation,
                    title=noted.record.operation,
                    stage=stage,
                    proof=Proof.NOT_SHOWN,
                    why=why,
                )
            )
            continue
        called = [
            finding for finding in findings if finding.calls_for == operation.key and finding.stage < stage
        ]
        until = _next_of(job, operation, stage, plugins)
        proof, why, finding = _proof(operation.shown_by, called, stage, until, findings, plugins)
        proofs.append(
            RepairProof(
                operation=operation.key,
                title=operation.title,
                stage=stage,
                proof=proof,
                why=why,
                finding=finding,
                retest=operation.shown_by,
            )
        )
    return proofs


def _next_of(job: Job, operation: Operation, stage: int, plugins: Plugins) -> Repaired | None:
    """The next repair after this one that the same measurand would show: what is read after it speaks for
    that one.
    """
    for noted in job.repairs:
        later = plugins.operations.get(noted.record.operation)
        if (
            later is not None
            and operation.shown_by
            and later.shown_by == operation.shown_by
            and noted.record.stage > stage
        ):
            return noted.record
    return None


def _proof(
    shown_by: str,
    called: Sequence[Finding],
    stage: int,
    until: Repaired | None,
    findings: Sequence[Finding],
    plugins: Plugins,
) -> tuple[Proof, str, Finding | None]:
    """The last finding about the operation's measurand between this repair and the next of its kind speaks
    for or against it.

    Where nothing was read between the two, the retest after both speaks, and says so. Several checks may
    speak of one measurand (the voltage itself, what is lost on the way): those that called for the work
    count. Of several like things the worst speaks: one that still fails, then one that is left open; and
    every one that called for the work must have been read again.
    """
    if not shown_by:
        return Proof.NOT_SHOWN, "No reading can show it.", None
    measurand = plugins.measurands.get(shown_by)
    title = measurand.title if measurand is not None else shown_by
    since = [
        finding
        for finding in findings
        if finding.of == shown_by and finding.stage >= stage and finding.limits
    ]
    own = [finding for finding in since if until is None or finding.stage < until.stage]
    with_other = ""
    if until is not None and since and not own:
        other = plugins.operations[until.operation].title
        with_other = (
            f" It was read only after this was done as well: {other}. So it speaks for both together."
        )
    since = own or since
    if not since:
        return Proof.NOT_SHOWN, f"{title} was not read and judged again after the work.", None
    codes = {finding.code for finding in called}
    latest: dict[tuple[str, str], Finding] = {}
    for finding in sorted(
        [finding for finding in since if finding.code in codes] or since, key=lambda finding: finding.stage
    ):
        latest[finding.code, finding.place] = finding
    worst = min(latest.values(), key=lambda finding: _WORST_FIRST.index(_shown(finding)))
    proof = _shown(worst)
    left_out = [
        finding
        for finding in called
        if finding.of == shown_by and finding.place not in {place for _, place in latest}
    ]
    if proof is Proof.SHOWN and left_out:
        at = f" at {left_out[0].place}" if left_out[0].place else ""
        return Proof.NOT_SHOWN, f"{title}{at} was not read and judged again after the work.", worst
    said = f"The retest leaves it open: {worst.text}" if proof is Proof.NOT_SHOWN else f"Retest: {worst.text}"
    return proof, said + with_other, worst


def _shown(finding: Finding) -> Proof:
    """What one retest says by itself."""
    chance = finding.probability
    if finding.verdict is Verdict.UNDECIDED or chance is None or 0.05 < chance < 0.95:
        return Proof.NOT_SHOWN
    return Proof.SHOWN if chance >= 0.95 else Proof.NOT_YET
