"""Assess a job: a pure function of its journal and the plugins."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from functools import partial
from typing import Any, Protocol, TypeVar

import attrs

from .. import units
from ..model.finding import Finding, Gap, Reason, Text, Urgency, Verdict
from ..model.job import Job
from ..model.records import Measured, Seen
from ..plugin import intact
from ..plugin.barred import bars, under_bars
from ..plugin.case import Case
from ..plugin.check import Check, run
from ..plugin.derived import Derivation, derive, with_derived
from ..plugin.guard import failure_words, guarded
from ..plugin.host import Failure, Plugins
from ..plugin.reading import Reading, readings_at
from ..plugin.relation import broken_relations, contradictions, held_open
from ..plugin.system import System
from .comparison import Comparison, comparisons
from .contradiction import Contradiction, all_alike
from .proof import RepairProof, repair_proofs
from .ruling import StageEvidence, rule
from .stage import case_at, unknown_at, unknown_codes
from .standing import Standing, speaks_of_now, standing_at
from .suspect import Call, NextTest, Suspect

CHECK_SECONDS = 5.0
PROGRAM_FAILED = "Not checked, because part of our program failed there."
_URGENCIES = list(Urgency)


@attrs.frozen(kw_only=True)
class Assessment:
    """All that today's plugins make of a job.

    Attributes:
        findings: Of every stage, most urgent first within the latest stage they speak of.
        gaps: What could not be said, and why.
        suspects, next_tests, contradictions: For the mechanic, over all systems that the complaint concerns
            or that were read, after everything that was shown and done.
        too_long: Next tests that do not fit into the time left; none when no time was named.
        calls: For every operation that some finding speaks for: may it be proposed?
        readings: stage → readings in the order of the declarations.
        versions: Of the systems that had a say in it: an unrelated one leaves no trace.
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
        since, and without what was undecided and read again since.
        """
        return tuple(
            finding
            for finding in self.latest
            if not self.is_dealt_with(finding) and not self.is_read_again(finding)
        )

    def is_read_again(self, finding: Finding) -> bool:
        """True of an undecided finding when every reading that it rests on was taken again in a later stage:
        its check then spoke of it again, or there was nothing left to decide.
        """
        rests_on = {
            (noted.record.of, noted.record.place)
            for noted in self.job.all(Measured)
            if noted.id in finding.evidence
        }
        later = {
            (noted.record.of, noted.record.place)
            for noted in self.job.all(Measured)
            if noted.record.stage > finding.stage
        }
        return finding.verdict is Verdict.UNDECIDED and bool(rests_on) and rests_on <= later

    @property
    def latest(self) -> tuple[Finding, ...]:
        """Of every code and place the findings of the latest stage: two contradictions there are two."""
        latest: dict[tuple[str, str], int] = {}
        for finding in self.findings:
            key = (finding.code, finding.place)
            latest[key] = max(finding.stage, latest.get(key, 0))
        return tuple(
            finding for finding in self.findings if finding.stage == latest[finding.code, finding.place]
        )

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

    def was_looked_at_before(self, gap: Gap) -> bool:
        """Whether what a gap after a repair asks for was read or seen at an earlier stage: then it was not
        looked at again, and nobody may say that it was not looked at.
        """
        return any(
            reading.measurand.key == gap.wants for stage in self.readings[: gap.stage] for reading in stage
        ) or any(
            noted.record.of == gap.wants and noted.record.stage < gap.stage for noted in self.job.all(Seen)
        )

    @property
    def not_repeated(self) -> tuple[Gap, ...]:
        """Gaps of the last stage whose check had its answer earlier: not read again since the last repair."""
        still_open = {(gap.system, gap.check) for gap in self.open_gaps}
        late = [
            gap for gap in self.gaps if gap.stage == self.job.stage > 0 and gap.reason is Reason.NOT_MEASURED
        ]
        return tuple(gap for gap in late if (gap.system, gap.check) not in still_open)

    def may_propose(self, operation: str, stage: int | None = None) -> bool:
        """May it be proposed on what this stage shows (without one: on what any stage did)? What was called
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
        about: Keys of systems that are asked about.

    Raises:
        none of a plugin's: each becomes a gap that names the plugin, and everything else is unchanged.
    """
    with units.shown_in(plugins.units):
        return _assessed(job, plugins, minutes_left, about)


def _assessed(job: Job, plugins: Plugins, minutes_left: float | None, about: Collection[str]) -> Assessment:
    made = _evaluation(job, plugins)
    if intact.altered():  # a plugin's check changed what is not its own: find out which, and leave it out
        with intact.each_piece_held():
            made = _evaluation(job, plugins)
    readings = tuple(_readings(job, stage, plugins) for stage in job.stages)
    findings = tuple(sorted(made.findings, key=_before_others))
    in_question = made.about(about)
    ruling = rule(job, plugins, made.stages, in_question, about)
    tests = ruling.tests
    return Assessment(
        job=job,
        findings=findings,
        gaps=(*made.gaps, *_lost_plugins(plugins)),
        suspects=tuple(ruling.suspects),
        next_tests=tuple(test for test in tests if test.fits(minutes_left)),
        calls=tuple(ruling.calls),
        comparisons=tuple(comparisons(readings, findings)),
        repairs=tuple(repair_proofs(job, findings, made.gaps, plugins)),
        readings=readings,
        failures=plugins.failures,
        versions={
            key: version
            for key, version in plugins.versions.items()
            if key in in_question or key in ruling.systems
        },
        replaces={
            key: operation.replaces for key, operation in plugins.operations.items() if operation.replaces
        },
        contradictions=(*ruling.contradictions, *made.alike),
        too_long=tuple(test for test in tests if not test.fits(minutes_left)),
    )


def _before_others(finding: Finding) -> tuple[int, int, bool]:
    """What is more urgent first; of one stage what failed before what is open or only advised."""
    return _URGENCIES.index(finding.urgency), finding.stage, finding.verdict is not Verdict.FAIL


def _evaluation(job: Job, plugins: Plugins) -> _Evaluation:
    made = _Evaluation(job=job, plugins=plugins)
    for stage in job.stages:
        made.add_stage(stage)
    return made


@attrs.define(kw_only=True)
class _Evaluation:
    """What the systems make of a job, gathered stage by stage."""

    job: Job
    plugins: Plugins
    findings: list[Finding] = attrs.field(factory=list)
    gaps: list[Gap] = attrs.field(factory=list)
    alike: list[Contradiction] = attrs.field(factory=list)
    stages: list[StageEvidence] = attrs.field(factory=list)
    touched: set[str] = attrs.field(factory=set)

    def add_stage(self, stage: int) -> None:
        """Run the checks of every system that this stage holds something of."""
        cases: dict[str, Case] = {}
        case: Case | None = None  # a stage is laid out once; each system sees the same
        shown = StageEvidence(stage=stage)
        for system in self.plugins.systems.values():
            case = (
                attrs.evolve(case, system=system)
                if case is not None
                else case_at(self.job, stage, system, self.plugins)
            )
            if _is_touched(case, self.job, stage):
                cases[system.key] = case
            else:
                shown.add_codes(system, case)
        cases = self._with_derived(cases)
        broken = {
            key: contradictions(self.plugins.systems[key].relations.values(), one)
            for key, one in cases.items()
        }
        titles = broken_relations(finding for findings in broken.values() for finding in findings)
        cases = {key: attrs.evolve(one, contradicted=titles) for key, one in cases.items()}
        standing = standing_at(self.job, case, self.plugins) if case is not None and stage else Standing()
        for key, results in self._results(cases, broken, standing).items():
            self._add_system(self.plugins.systems[key], cases[key], shown, broken[key], results)
        if case is not None:
            shown.fitted, shown.done = case.fitted, frozenset(case.repairs)
        self.stages.append(shown)
        self.gaps += [
            Gap(system="", check="Readings", reason=Reason.DOES_NOT_APPLY, text=text, stage=stage, wants=key)
            for key, text in unknown_at(self.job, stage, self.plugins)
        ]
        self.gaps += [
            Gap(
                system="",
                check="Trouble codes",
                reason=Reason.DOES_NOT_APPLY,
                text=text,
                stage=stage,
                wants=code,
            )
            for code, text in unknown_codes(self.job, stage, self.plugins)
        ]

    def _add_system(
        self,
        system: System,
        case: Case,
        shown: StageEvidence,
        broken: Sequence[Finding],
        results: Iterable[Finding | Gap],
    ) -> None:
        self.touched.add(system.key)
        kept = list(results)
        findings = [
            *(self._with_disputes(one) for one in broken),
            *(one for one in kept if isinstance(one, Finding)),
        ]
        self.findings += findings
        self.gaps += [one for one in kept if isinstance(one, Gap)]
        disputed = self._disputed
        shown.add(system, case, findings, disputed)
        if findings:
            titles = {key: measurand.title for key, measurand in self.plugins.measurands.items()}
            self.alike = [*_of_others(self.alike, system), *all_alike(findings, titles)]

    @property
    def _disputed(self) -> frozenset[str]:
        return frozenset(entry for dispute in self.job.disputes for entry in dispute.entries)

    def _with_disputes(self, finding: Finding) -> Finding:
        return finding if self._disputed.isdisjoint(finding.evidence) else _as_disputed(finding)

    def _with_derived(self, cases: Mapping[str, Case]) -> dict[str, Case]:
        """The cases with every reading that follows from others, of whichever system it is."""
        found: dict[tuple[str, str], Reading] = {}
        for key, case in cases.items():
            for one in self.plugins.systems[key].derived.values():
                results = self._guarded_results(
                    case, one.measurand.title, one.where, partial(_derived_readings, one, found)
                )
                self.gaps += [result for result in results if isinstance(result, Gap)]
                found |= {
                    (result.measurand.key, result.place): result
                    for result in results
                    if isinstance(result, Reading)
                }
        return {key: with_derived(case, found) for key, case in cases.items()}

    def _results(
        self, cases: Mapping[str, Case], broken: Mapping[str, Sequence[Finding]], standing: Standing
    ) -> dict[str, list[Finding | Gap]]:
        """What every check says, in the order of the declarations; those that a finding can bar are run when
        the findings of all others are known.
        """
        said: dict[tuple[str, str], list[Finding | Gap]] = {}
        checks = [
            (key, name, check) for key in cases for name, check in self.plugins.systems[key].checks.items()
        ]
        for key, name, check in sorted(checks, key=lambda one: bool(one[2].not_while)):
            results = [
                self._with_disputes(held_open(result, cases[key].contradicted))
                if isinstance(result, Finding)
                else result
                for result in self._with_what_stands(check, cases[key], standing)
            ]
            if check.not_while:
                now = [
                    *(one for findings in broken.values() for one in findings),
                    *(one for results in said.values() for one in results if isinstance(one, Finding)),
                ]
                barring = bars(
                    check.not_while, self._standing_findings(check.not_while, now, cases[key].stage)
                )
                places = self.plugins.systems[key].places_of_all
                results = [*under_bars(results, barring, key, check.title, cases[key].stage, places)]
            said[key, name] = results
        return {
            key: [result for name in self.plugins.systems[key].checks for result in said[key, name]]
            for key in cases
        }

    def _with_what_stands(self, check: Check[Any], case: Case, standing: Standing) -> Sequence[Finding | Gap]:
        """What a check makes of a stage; where that alone leads to no finding, what stands from earlier
        helps.
        """
        results = self._guarded_results(case, check.title, check.where, partial(run, check), check.plugin)
        if any(isinstance(result, Finding) for result in results):
            return results
        more = standing.beside(check, case)
        if more is None:
            return results
        found = self._guarded_results(more, check.title, check.where, partial(run, check), check.plugin)
        return [result for result in found if speaks_of_now(result, case)] or results

    def _standing_findings(self, codes: Collection[str], now: Iterable[Finding], stage: int) -> list[Finding]:
        """The findings of these codes as they stand: of this stage, else the latest of an earlier one that no
        work has dealt with since.
        """
        latest: dict[tuple[str, str], list[Finding]] = {}
        for finding in (*sorted(self.findings, key=lambda one: one.stage), *now):
            if finding.code in codes:
                held = latest.setdefault((finding.code, finding.place), [])
                if held and held[0].stage < finding.stage:
                    held.clear()
                held.append(finding)
        done = [noted.record for noted in self.job.repairs if noted.record.stage <= stage]
        replaces = {key: one.replaces for key, one in self.plugins.operations.items()}
        return [
            finding
            for findings in latest.values()
            for finding in findings
            if not any(
                repair.stage > finding.stage
                and (
                    repair.operation == finding.calls_for
                    or (finding.part and replaces.get(repair.operation) == finding.part)
                )
                for repair in done
            )
        ]

    def _guarded_results(
        self, case: Case, title: str, where: str, work: Callable[[Case], Sequence[_R]], plugin: str = ""
    ) -> Sequence[_R | Gap]:
        system = case.system
        distribution = self.plugins.distributions.get(system.key, "")
        try:
            with guarded(plugin or system.key, title, CHECK_SECONDS, where):
                return work(attrs.evolve(case, check=title))
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            return [
                _failure_gap(self.plugins.systems[system.key], title, where, distribution, case.stage, error)
            ]

    def about(self, named: Collection[str]) -> frozenset[str]:
        """Systems of which something was read, or is asked."""
        answered = {key for key, system in self.plugins.systems.items() if _is_answered(system, self.job)}
        return frozenset({*self.touched, *answered, *named} & self.plugins.systems.keys())


class _OfSystem(Protocol):
    @property
    def system(self) -> str: ...


_S = TypeVar("_S", bound=_OfSystem)
_R = TypeVar("_R")


def _of_others(results: Iterable[_S], system: System) -> list[_S]:
    """What is said of other systems than this one."""
    return [result for result in results if result.system != system.key]


def _lost_plugins(plugins: Plugins) -> list[Gap]:
    return [
        Gap(
            system=failure.plugin,
            check="Plugin",
            reason=Reason.PLUGIN_FAILED,
            text=str(failure),
            tells=PROGRAM_FAILED,
        )
        for failure in plugins.failures
    ]


def _is_touched(case: Case, job: Job, stage: int) -> bool:
    """True when this stage holds something of the system: a job about one system gets no list of another's
    readings not taken.
    """
    prefix = f"{case.system.key}."
    asks_for = case.system.faults.codes if case.system.faults else frozenset[str]()
    return any(key.startswith(prefix) for key in job.spoken_of(stage)) or not asks_for.isdisjoint(case.codes)


def _is_answered(system: System, job: Job) -> bool:
    """True when it was asked what of this system is fitted, whatever the answer."""
    return not job.fitted(job.stage).keys().isdisjoint(system.traits)


def _derived_readings(
    one: Derivation, found: Mapping[tuple[str, str], Reading], case: Case
) -> Sequence[Reading | Gap]:
    return list(derive(one, with_derived(case, found)))


def _failure_gap(
    system: System, title: str, where: str, distribution: str, stage: int, error: BaseException
) -> Gap:
    origin = f" ({distribution})" if distribution else ""
    text = (
        f"The check failed and said nothing that can be used ({failure_words(error, where)})."
        f" Plugin {system.key}{origin}: {system.title} is not assessed here."
    )
    return Gap(
        system=system.key,
        check=title,
        reason=Reason.PLUGIN_FAILED,
        text=text,
        stage=stage,
        tells=PROGRAM_FAILED,
    )


def _as_disputed(finding: Finding) -> Finding:
    """A finding that rests on a dispute: two stores say different things, so nothing is decided until
    somebody settles it.
    """
    text = Text(
        f"{finding.text.template} Two records disagree about what this rests on, and nothing settles which"
        " one counts.",
        finding.text.values,
    )
    told = Text("Two of our records disagree about this, so nothing is decided yet.")
    if finding.verdict is Verdict.ADVICE:
        return attrs.evolve(finding, text=text, customer_text=told)
    urgency = Urgency.THIS_VISIT if finding.urgency is Urgency.NOTHING else finding.urgency
    return attrs.evolve(finding, verdict=Verdict.UNDECIDED, urgency=urgency, text=text, customer_text=told)


def _readings(job: Job, stage: int, plugins: Plugins) -> tuple[Reading, ...]:
    found = readings_at(job, stage, plugins.measurands)
    order = {key: place for place, key in enumerate(plugins.measurands)}
    return tuple(
        sorted(found.values(), key=lambda reading: (order[reading.measurand.key], _place_rank(reading)))
    )


def _place_rank(reading: Reading) -> int:
    places = reading.measurand.places
    return places.index(reading.place) if reading.place in places else len(places)
