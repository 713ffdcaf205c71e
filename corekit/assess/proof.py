"""Whether a repair is shown to work: the retest held against what called for the work."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

import attrs

from ..model.finding import Finding, Gap, Reason, Verdict
from ..model.job import Job
from ..model.measurand import Operation
from ..model.records import Measured, Repaired
from ..plugin.host import Plugins


class Proof(StrEnum):
    """What the retest says of a repair."""

    SHOWN = "shown to work"
    NOT_SHOWN = "not shown"
    NOT_YET = "not repaired yet"


_WORST_FIRST = (Proof.NOT_YET, Proof.NOT_SHOWN, Proof.SHOWN)


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


def repair_proofs(
    job: Job, findings: Sequence[Finding], gaps: Sequence[Gap], plugins: Plugins
) -> list[RepairProof]:
    """Each repair of a job with what was read after it."""
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
        shown_by = next(
            (finding.of for finding in called if finding.of in operation.or_shown_by), operation.shown_by
        )
        proof, why, finding = _proof(shown_by, called, stage, until, findings, plugins)
        lacking = _lack_words(job, shown_by, stage, findings, gaps, plugins) if finding is None else ""
        proofs.append(
            RepairProof(
                operation=operation.key,
                title=operation.title,
                stage=stage,
                proof=proof,
                why=lacking or why,
                finding=finding,
                retest=shown_by,
            )
        )
    return proofs


def _lack_words(
    job: Job,
    shown_by: str,
    stage: int,
    findings: Sequence[Finding],
    gaps: Sequence[Gap],
    plugins: Plugins,
) -> str:
    """Of a retest that was read and not judged: what its check lacked; empty where it was not read."""
    read = [
        noted.record.stage
        for noted in job.all(Measured)
        if noted.record.of == shown_by and noted.record.stage >= stage
    ]
    system = plugins.systems.get(shown_by.partition(".")[0])
    if not read or system is None:
        return ""
    checks = {
        check.title
        for check in system.checks.values()
        if any(parameter.of.key == shown_by for parameter in check.parameters)
    }
    judged = {finding.check for finding in findings if finding.of == shown_by}
    lacked = dict.fromkeys(
        gap.text
        for gap in gaps
        if gap.stage == max(read)
        and gap.check in (judged & checks or checks)
        and gap.reason is Reason.NOT_MEASURED
        and gap.wants != shown_by
    )
    if not lacked:
        return ""
    return (
        f"{plugins.title(shown_by)} was read after the work, and could not be judged yet. {' '.join(lacked)}"
    )


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
    title = plugins.title(shown_by)
    since = [
        finding
        for finding in findings
        if finding.of == shown_by and finding.stage >= stage and finding.limits
    ]
    own = [finding for finding in since if until is None or finding.stage < until.stage]
    with_other = ""
    if until is not None and since and not own:
        other = plugins.title(until.operation)
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
    worst = min(latest.values(), key=lambda finding: _WORST_FIRST.index(_proof_of(finding)))
    proof = _proof_of(worst)
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


def _proof_of(finding: Finding) -> Proof:
    """What one retest says by itself."""
    chance = finding.probability
    if finding.verdict is Verdict.UNDECIDED or chance is None or 0.05 < chance < 0.95:
        return Proof.NOT_SHOWN
    return Proof.SHOWN if chance >= 0.95 else Proof.NOT_YET
