"""What paper, screen and terminal say alike of a whole job: codes that were read, and what was clear."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from ..assess.assessment import Assessment
from ..complaints import CHECK_UP
from ..model.finding import Gap, Reason, Urgency, Verdict
from ..model.job import Job, stage_name
from ..reference import code_in_words


def code_sentences(job: Job, when: Callable[[int], str] = stage_name) -> list[str]:
    """One sentence for every stage at which trouble codes were read, or could not be; an empty list that was
    read says so. `when`: how a stage is called.
    """
    sentences = []
    for stage in job.stages:
        parts = [
            f"{state} {', '.join(map(code_in_words, codes)) or 'none'}"
            for state, codes in job.codes_by_list(stage).items()
        ] or [f"could not be read, {noted.record.cannot}" for noted in job.codes_read(stage)]
        if parts:
            sentences.append(f"{_stage_heading(when(stage))}: {'; '.join(parts)}.")
    return sentences


def _stage_heading(when: str) -> str:
    """A stage at the head of a sentence: *On arrival*, *After 1*, *After “replace the part”*."""
    after, _, work = when.partition(": ")
    return f"{after.capitalize()} “{work}”" if work else f"{when[:1].upper()}{when[1:]}"


#: From this chance on a cause is possible, and nobody says that nothing was found.
POSSIBLE = 0.2


def nothing_found(assessment: Assessment) -> str:
    """That nothing looked at shows a fault, or explains what was told; empty where something does, where
    something is undecided or advised, and where nothing was looked at.

    It never says that all is in order: what was not looked at is not known.
    """
    open_or_bad = any(
        finding.verdict in (Verdict.FAIL, Verdict.UNDECIDED) or finding.urgency is not Urgency.NOTHING
        for finding in assessment.current
    )
    possible = any(one.probability >= POSSIBLE for one in assessment.suspects if one.system)
    put_right = any(
        finding.verdict is Verdict.FAIL and assessment.is_dealt_with(finding)
        for finding in assessment.findings
    )
    if not assessment.current or open_or_bad or possible or put_right:
        return ""
    told = assessment.job.complained
    complains = told is not None and any(key != CHECK_UP for key in told.symptoms)
    return "Nothing looked at explains the complaint." if complains else "Nothing looked at shows a fault."


def reasons_not_said(gaps: Iterable[Gap]) -> list[tuple[str, Reason]]:
    """What has a reason why nothing is said of it, each once and with the reason; the things that a vehicle
    does not have in one sentence for each thing that rules them out.
    """
    found: dict[tuple[str, Reason], list[str]] = {}
    for gap in gaps:
        if not gap.about:
            rest = gap.text.removeprefix(gap.not_here)
            names = found.setdefault((rest, gap.reason), [])
            names += [gap.not_here] if gap.not_here and gap.not_here not in names else []
    return [(f"{'; '.join(names)}{rest}", reason) for (rest, reason), names in found.items()]
