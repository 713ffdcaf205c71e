"""What was found and how we know: the sections of a paper that are made from an assessment."""

from __future__ import annotations

from collections.abc import Collection, Iterable

import attrs

from ..account.noted import is_noted, own_words
from ..assess.assessment import Assessment
from ..model.document import (
    Block,
    FindingRow,
    Findings,
    Heading,
    Pairs,
    Paragraph,
    Picture,
    Readings,
)
from ..model.finding import Finding, Gap, Reason, Urgency, Verdict
from ..model.job import Job
from ..model.limit import Limit, Scope
from ..model.personal import Personal
from ..plugin.limit_words import limit_with_basis, limit_words
from ..plugin.uncertainty import overdue
from .readings import how_read, reading_rows, stage_words
from .records import record_pictures
from .sheet import Sheet
from .statements import code_sentences

TRADES_WORDS = "What was found, in the trade's words"


def what_was_found(assessment: Assessment, sheet: Sheet) -> list[Block]:
    """Findings, figures, trouble codes and readings, then what was noted, not looked at, and not assessed."""
    codes = code_sentences(assessment.job, lambda stage: stage_words(stage, assessment))
    failed = _failed_names(assessment)
    noted = _free_words(assessment.job, sheet)
    records = record_pictures(assessment.job, sheet.records)
    read = any(assessment.readings) or records
    if not assessment.findings and not read and not codes and not failed and not noted:
        return []
    blocks: list[Block] = []
    sources = Sources()
    if assessment.findings:
        rows = tuple(finding_row(finding, assessment, sources) for finding in told_findings(assessment))
        blocks += [Heading(text=TRADES_WORDS), Findings(rows=rows)]
    blocks += _figures(assessment)
    if codes:
        blocks += [
            Heading(text="Trouble codes read", level=2),
            *(Paragraph(words=(sentence,)) for sentence in codes),
        ]
        blocks.append(Paragraph(words=(CODES_SAY,), tone="small"))
    blocks += readings(assessment, sources)
    if records:
        blocks += [Heading(text="Records"), *records]
    blocks += noted
    blocks += [
        Paragraph(words=(sentence,), tone="small")
        for sentence in (*_withdrawn(assessment.job, sheet), *not_looked_at(assessment))
    ]
    if failed:
        blocks.append(
            Paragraph(words=(f"Not assessed, because a plugin failed: {', '.join(failed)}.",), tone="small")
        )
    return blocks + sources.blocks


def what_asks_for(operations: Collection[str], assessment: Assessment) -> list[Block]:
    """The findings that these pieces of work rest on and what else is open, the readings, and what nobody
    looked at; nothing before anything was looked at.
    """
    if not assessment.findings and not any(assessment.readings):
        return []
    found = [
        finding
        for finding in assessment.current
        if finding.calls_for in operations
        or finding.verdict in (Verdict.FAIL, Verdict.UNDECIDED)
        or finding.urgency is not Urgency.NOTHING
    ]
    sources = Sources()
    rows = tuple(finding_row(finding, assessment, sources) for finding in found)
    blocks: list[Block] = [Heading(text=TRADES_WORDS), Findings(rows=rows)] if rows else []
    blocks += readings(assessment, sources)
    blocks += [Paragraph(words=(sentence,), tone="small") for sentence in not_looked_at(assessment)]
    return blocks + sources.blocks


def told_findings(assessment: Assessment) -> list[Finding]:
    """The findings worth a row on paper: of a part that was taken out since only what speaks for that work.

    That the old part was sound at one place, in doubt at another, or might be short of something, is no
    longer anybody's business.
    """
    return [
        finding
        for finding in story(assessment)
        if not assessment.is_dealt_with(finding)
        or finding.verdict is Verdict.FAIL
        or (finding.verdict is Verdict.ADVICE and finding.calls_for)
    ]


def readings(assessment: Assessment, sources: Sources) -> list[Block]:
    """Every reading before and after, each source by its number."""
    rows = tuple(
        attrs.evolve(row, source=sources.cited(row.source)) if row.source else row
        for row in reading_rows(assessment)
    )
    if not rows:
        return []
    return [
        Heading(text="Readings"),
        Readings(rows=rows),
        Paragraph(words=(how_read(assessment),), tone="small"),
    ]


def _figures(assessment: Assessment) -> list[Block]:
    """The figure of every finding that has one; what a check drew before and after stands together, whichever
    place it was that stood out before. What is not told any more is not drawn either.
    """
    told = {finding.code for finding in told_findings(assessment)}
    drawn = [
        finding for finding in assessment.findings if finding.figure is not None and finding.code in told
    ]
    order = list(dict.fromkeys((finding.code, finding.place) for finding in drawn))
    drawn.sort(key=lambda finding: (order.index((finding.code, finding.place)), finding.stage))
    return [
        Picture(
            figure=attrs.evolve(
                finding.figure,
                title=f"{finding.figure.title} ({stage_words(finding.stage, assessment)})"
                if assessment.job.stage
                else finding.figure.title,
            )
        )
        for finding in drawn
        if finding.figure is not None
    ]


@attrs.define
class Sources:
    """Where limits are from, each once under its number, in the order in which a paper names them."""

    names: list[str] = attrs.field(factory=list)

    def cited(self, name: str) -> str:
        """The number by which a source is named."""
        if name not in self.names:
            self.names.append(name)
        return f"[{self.names.index(name) + 1}]"

    @property
    def blocks(self) -> list[Block]:
        """The sources themselves; nothing where none was named."""
        if not self.names:
            return []
        rows = tuple((f"[{n}]", (name,)) for n, name in enumerate(self.names, 1))
        return [Heading(text="Sources"), Pairs(rows=rows)]


def _free_words(job: Job, sheet: Sheet) -> list[Block]:
    """What was noted in free words: nobody judges it, and it is not lost."""
    return [
        Paragraph(
            words=(
                f"Noted, {sheet.titles.get(one.of, one.of)}{f', {one.place}' if one.place else ''}: ",
                one.words,
                *([f" Followed up: {one.cleared}"] if one.cleared else []),
            ),
            tone="plain",
        )
        for one in own_words(job)
        if one.of and isinstance(one.words, Personal)
    ]


def _withdrawn(job: Job, sheet: Sheet) -> list[str]:
    """What an estimate rested on and was withdrawn since, with the reason: the customer holds the paper that
    claims it.
    """
    rested_on = dict.fromkeys(
        entry
        for noted in job.estimates
        for line in noted.record.lines
        for entry in line["ground"]["evidence"]
    )
    kinds = {entry.id: entry for entry in job.entries if entry.kind in ("measured", "recorded", "seen")}
    reasons: dict[str, list[str]] = {}
    for entry in rested_on:
        instead = job.instead_of(entry) if entry in kinds else None
        if instead is not None and instead.kind == "withdrawn":
            of = kinds[entry].body["of"]
            reasons.setdefault(instead.reason, []).append(sheet.titles.get(of, of).lower())
    return [
        "Withdrawn since it was used for an estimate, so nothing is claimed from it:"
        f" {', '.join(dict.fromkeys(of))} ({why})."
        for why, of in reasons.items()
    ]


def not_looked_at(assessment: Assessment) -> list[str]:
    """What nobody read or looked at in one sentence, then what could not be had, with the reason."""
    gaps = [
        gap
        for gap in assessment.open_gaps
        if gap.reason in (Reason.NOT_MEASURED, Reason.COULD_NOT_REACH) and not is_noted(gap, assessment.job)
    ]
    before = [gap for gap in gaps if assessment.was_looked_at_before(gap)]
    every = _about(gap for gap in gaps if gap not in before)
    again = _about(before)
    other_texts = " ".join(dict.fromkeys(gap.text for gap in gaps if not gap.about))
    return [
        sentence
        for sentence in (
            f"Not looked at: {every}." if every else "",
            f"Not looked at again since the work: {again}." if again else "",
            other_texts,
        )
        if sentence
    ]


def _about(gaps: Iterable[Gap]) -> str:
    """What gaps are about, each once; an abbreviation keeps its capitals."""
    return "; ".join(
        dict.fromkeys(
            gap.about if gap.about[:2].isupper() else gap.about[0].lower() + gap.about[1:]
            for gap in gaps
            if gap.about
        )
    )


def _failed_names(assessment: Assessment) -> list[str]:
    """What failed, by name; how it failed is for the mechanic and stands in `check`."""
    gaps = [gap for gap in assessment.gaps if gap.reason is Reason.PLUGIN_FAILED]
    return list(
        dict.fromkeys(
            f"{gap.system} ({gap.check[:1].lower()}{gap.check[1:]})" if gap.check != "Plugin" else gap.system
            for gap in gaps
        )
    )


CODES_SAY = (
    "A code says that a test which the vehicle makes by itself has failed; it does not name the part that"
    " failed. A permanent code stays until the vehicle has made that test again, however good the repair."
)


def story(assessment: Assessment) -> list[Finding]:
    """Findings as they stand now, most urgent first; among equals first what once failed or has changed, then
    what was plain all along.
    """

    def plainness(finding: Finding) -> int:
        first = _on_arrival(finding, assessment)
        if finding.verdict is Verdict.FAIL or (first is not None and first.verdict is Verdict.FAIL):
            return 0
        return 1 if first is not None and first.urgency is not finding.urgency else 2

    def when(finding: Finding) -> float:
        """Its urgency; what was dealt with comes after all that is still to do, and before what was in order
        all along.
        """
        return (
            list(Urgency).index(Urgency.NOTHING) - 0.5
            if _is_over(finding, assessment)
            else list(Urgency).index(finding.urgency)
        )

    return sorted(
        assessment.latest,
        key=lambda finding: (when(finding), not assessment.is_dealt_with(finding), plainness(finding)),
    )


def _on_arrival(finding: Finding, assessment: Assessment) -> Finding | None:
    """What the same check said first, where that was at an earlier stage."""
    earlier = [
        other
        for other in assessment.findings
        if (other.code, other.place) == (finding.code, finding.place) and other.stage < finding.stage
    ]
    return earlier[0] if earlier else None


def _is_over(finding: Finding, assessment: Assessment) -> bool:
    """True when its work was done, or when the same check now finds nothing to do where it once did."""
    first = _on_arrival(finding, assessment)
    return assessment.is_dealt_with(finding) or (
        finding.urgency is Urgency.NOTHING and first is not None and first.urgency is not Urgency.NOTHING
    )


def finding_row(finding: Finding, assessment: Assessment, sources: Sources | None = None) -> FindingRow:
    """A finding as it stands now; where the check spoke differently on arrival, both sentences.

    Args:
        sources: Where they are listed, each by its number; without it each is named in full.
    """
    first = _on_arrival(finding, assessment)
    text = str(finding.text)
    if first is not None and first.urgency is not finding.urgency:
        text = f"On arrival: {first.text} Now: {text}"
    return FindingRow(
        text=text,
        verdict=str(finding.verdict),
        urgency="dealt with" if _is_over(finding, assessment) else str(finding.urgency),
        basis=_basis(finding, sources) + _overdue(finding, assessment),
        stage=stage_words(finding.stage, assessment) if assessment.job.stage else "",
    )


def _basis(finding: Finding, sources: Sources | None) -> str:
    if not finding.limits:
        return ""
    limit = finding.limits[0]

    def named(one: Limit) -> str:
        return sources.cited(one.source.named) if sources is not None else one.source.named

    text = f"Limit: {limit_with_basis(limit, finding.unit)}. Source: {named(limit)}."
    if not limit.decides:
        text += " It only advises."
    for beaten in finding.limits[1:]:
        if limit.scope is Scope.THIS_VEHICLE:
            text += f" It replaces the general figure {limit_words(beaten, finding.unit)} ({named(beaten)})."
    return text


def _overdue(finding: Finding, assessment: Assessment) -> str:
    """A warning where what the finding rests on was read with an instrument whose calibration had run out."""
    late = overdue(finding.evidence, [reading for stage in assessment.readings for reading in stage])
    return f" Read with {' and '.join(late)}." if late else ""


def checks(findings: Iterable[Finding]) -> str:
    """The checks that said so, each once."""
    return ", ".join(dict.fromkeys(finding.check[0].lower() + finding.check[1:] for finding in findings))
