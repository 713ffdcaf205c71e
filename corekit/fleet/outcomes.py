"""What each test of a fault table showed in a job, at every stage."""

from __future__ import annotations

from collections.abc import Iterator

from ..assess.assessment import Assessment
from ..assess.outcome import countable
from ..assess.ruling import StageEvidence
from ..assess.stage import case_at
from ..assess.timeline import StageOutcome, was_touched
from ..model.job import Job
from ..plugin.case import Case
from ..plugin.derived import derive, with_derived
from ..plugin.host import Plugins
from ..plugin.reading import Reading
from ..plugin.system import System


def shown_outcomes(assessment: Assessment, plugins: Plugins) -> list[StageOutcome]:
    """The outcomes that counted as evidence, stage by stage, as the assessment read them."""
    job = assessment.job
    disputed = frozenset(entry for dispute in job.disputes for entry in dispute.entries)
    found: list[StageOutcome] = []
    for stage in job.stages:
        evidence = StageEvidence(stage=stage)
        for system in plugins.systems.values():
            if system.faults is None:
                continue
            case = _case(job, stage, system, plugins)
            said = [one for one in assessment.findings if (one.system, one.stage) == (system.key, stage)]
            evidence.add(system, case, said, disputed)
            earlier = {
                shown.outcome.test.key: shown.outcome
                for shown in found
                if shown.system == system.key and not was_touched(job, plugins, shown, stage)
            }
            counted = countable(system.faults, evidence.made[system.key], earlier, frozenset(case.repairs))
            found += [StageOutcome(system=system.key, stage=stage, outcome=one) for one in counted]
    return found


def _case(job: Job, stage: int, system: System, plugins: Plugins) -> Case:
    case = case_at(job, stage, system, plugins)
    found: dict[tuple[str, str], Reading] = {}
    for one in system.derived.values():
        found |= {
            (made.measurand.key, made.place): made
            for made in _readings(derive(one, with_derived(case, found)))
        }
    return with_derived(case, found)


def _readings(made: Iterator[object]) -> Iterator[Reading]:
    """What follows; a derivation that fails says so in the assessment, and nothing follows here."""
    try:
        yield from (one for one in made if isinstance(one, Reading))
    except Exception:  # a plugin's own code
        return
