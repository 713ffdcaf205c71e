"""An assessment in words for the mechanic, and as data for programs.

Both print each number exactly as paper does.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from .. import units
from ..account.noted import OwnWords, is_noted, own_words, unanswered_words
from ..assess.suspect import Call, NextTest
from ..billing.waiver import waivers
from ..judge import conform
from ..model.finding import Finding, Reason, Verdict
from ..model.job import stage_name
from ..model.measurand import Measurand, Observation, Trait
from ..model.records import WAIVED_CHARGES
from ..plugin.limit_words import limit_with_basis, uncertainty_at_most
from ..plugin.uncertainty import overdue, shares
from ..report.next_tests import asks_for_codes
from ..report.records import record_lines, records_of
from ..report.statements import code_sentences, nothing_found, reasons_not_said
from ..signs import visible
from .brought import brought_lines
from .causes import cause_lines, visits_behind, visits_behind_finding
from .check import CheckView
from .complaint import complaint_sentences
from .next_step import again_words, begins_at

WIDTH = 100
NEXT_SHOWN = 4  # tests shown with hazard and step; the others by their question
LATER_SHOWN = 6  # of the others: before these are made, the list has changed
MISSING_NAMED = 10  # of what a system did not look at; the others are only counted
LEAST_SHARE = 0.005  # of an uncertainty; smaller ones are only counted


def as_words(seen: CheckView, *, uncertainty: bool = False) -> str:
    """Findings most urgent first, then gaps, suspects and next tests with hazard before step; with
    `uncertainty` also where theirs comes from.
    """
    assessment = seen.assessment
    many = len(assessment.readings) > 1
    parts = [f"{assessment.job.name}: " + _tally(seen)]
    nothing = nothing_found(assessment)
    if nothing:
        parts.append(nothing)
    if seen.set_aside:
        parts.append(
            "Set aside, not judged: settle each before the file is added (correct it, confirm it, or leave"
            " the row out). Rows are counted from 0.\n"
            + "\n".join(_item(str(fault)) for fault in seen.set_aside)
        )
    complaint = complaint_sentences(assessment.job, seen.plugins, seen.texts)
    if complaint:
        parts.append("Complaint\n" + "\n".join(map(_item, complaint)))
    if seen.remarks:
        parts.append("Warnings\n" + "\n".join(_item(remark) for remark in seen.remarks))
    if assessment.findings:
        now = assessment.current
        before = [finding for finding in assessment.findings if finding not in now]
        parts += ["Findings\n" + "\n".join(_finding(finding, many, seen) for finding in now)] if now else []
        parts += (
            ["Findings of earlier stages\n" + "\n".join(_finding(finding, many, seen) for finding in before)]
            if before
            else []
        )
    if uncertainty:
        parts.append(
            "Where the uncertainty comes from, largest share first\n" + "\n".join(_uncertainties(seen))
        )
    codes = code_sentences(assessment.job)
    if codes:
        parts.append("Trouble codes read\n" + "\n".join(_item(sentence) for sentence in codes))
    records = record_lines(assessment.job, seen.plugins.records)
    if records:
        parts.append("Records\n" + "\n".join(_item(*line) for line in records))
    noted = own_words(assessment.job)
    if noted:
        parts.append("Noted in words\n" + "\n".join(_item(_own_words(one, seen)) for one in noted))
    brought = list(brought_lines(assessment.job))
    if brought:
        heading = "Earlier, elsewhere (nothing here is judged by it)"
        parts.append("\n".join([heading, *(_item(*lines) for lines in brought)]))
    stands = _where_it_stands(seen)
    if stands:
        parts.append("Where the job stands\n" + "\n".join(map(_item, stands)))
    if assessment.repairs:
        parts.append(
            "Repairs\n"
            + "\n".join(
                _item(f"{repair.title}: {repair.proof}.", repair.why) for repair in assessment.repairs
            )
        )
    if assessment.open_gaps:
        parts.append("Not evaluated\n" + "\n".join(_gaps(seen)))
    if assessment.not_repeated:
        names = ", ".join(gap.check for gap in assessment.not_repeated)
        parts.append("Not looked at again since the last repair\n" + _item(names))
    if assessment.contradictions:
        parts.append(
            "Conflicting readings\n" + "\n".join(_item(odd.text) for odd in assessment.contradictions)
        )
    if assessment.suspects:
        parts.append(
            "Likely causes, from the fault tables and all that was shown (estimates; for you, not for the"
            " customer's documents)\n"
            + "\n".join(_item(*lines) for lines in cause_lines(assessment, seen.plugins))
        )
    calls = seen.calls
    if calls:
        parts.append(
            "Work that findings and trials call for\n" + "\n".join(_call(seen, call) for call in calls)
        )
    parts += _what_next(seen)
    too_long = seen.to_make(assessment.too_long)
    if too_long:
        parts.append(
            "Too long for the time left\n"
            + "\n".join(_item(f"{test.question}{_time(test)}") for test in too_long)
        )
    return visible("\n\n".join(parts))


def _what_next(seen: CheckView) -> Iterator[str]:
    """What was noted in words and nobody has answered, then the tests."""
    open_words = unanswered_words(seen.assessment)
    if open_words:
        yield (
            "Noted in words and not answered yet (answer with a reading or an answer of its list, or write"
            ' cleared = "…" beside the words)\n'
            + "\n".join(_item(_own_words(one, seen)) for one in open_words)
        )
    tests = seen.to_make(seen.assessment.next_tests)
    if tests:
        shown = [_test(seen, n, test) for n, test in enumerate(tests[:NEXT_SHOWN], 1)]
        later = [_plain(test.question) for test in tests[NEXT_SHOWN:]]
        more = f"; and {len(later) - LATER_SHOWN} more" if len(later) > LATER_SHOWN else ""
        after = [_item(f"After these: {'; '.join(later[:LATER_SHOWN])}{more}.")] if later else []
        yield "Next test\n" + "\n".join([*shown, *after])


def _own_words(one: OwnWords, seen: CheckView) -> str:
    title = seen.plugins.title(one.of) if one.of else "Remark"
    when = f" ({stage_name(one.stage)})" if seen.assessment.job.stage else ""
    place = f", {one.place}" if one.place else ""
    answer = f" Answered: {one.cleared}" if one.cleared else ""
    return f"{title}{place}{when}: {one.text(seen.texts) or 'removed'}{answer}"


def _where_it_stands(seen: CheckView) -> list[str]:
    """What waits, why the job was left open, how it ended, what is not charged."""
    job = seen.assessment.job
    lines = []
    for noted in job.waiting:
        begun = noted.record
        title = seen.plugins.title(begun.of)
        since = f", begun {noted.entry.taken}" if noted.entry.taken else ""
        lines.append(
            f"Waiting: {title}{f', {begun.place}' if begun.place else ''}, {begun.wait_typed}{since}"
        )
    if job.left_open is not None and job.ended is None:
        left = job.left_open.record
        lines.append(f"Left open: {left.because}{f', back on {left.back}' if left.back else ''}")
    if job.ended is not None:
        lines.append(f"Ended: {job.ended.record.how}, {job.ended.record.because}")
    for what, note in waivers(job).items():
        lines.append(f"{what.capitalize() if what in WAIVED_CHARGES else seen.plugins.title(what)}: {note}")
    return lines


def _tally(seen: CheckView) -> str:
    counts: dict[str, int] = {}
    for finding in seen.assessment.current:
        counts[str(finding.verdict)] = counts.get(str(finding.verdict), 0) + 1
    tally = ", ".join(f"{counts[verdict]} {verdict}" for verdict in map(str, Verdict) if verdict in counts)
    return tally or "no findings yet"


def _finding(finding: Finding, many: bool, seen: CheckView) -> str:
    when = f" ({stage_name(finding.stage)})" if many else ""
    lines = [f"{finding.verdict}{when}, {finding.urgency}: {finding.text}"]
    beside = []
    for limit in finding.limits[:1]:
        weak = "" if limit.decides else "; it only advises"
        beside.append(f"limit {limit_with_basis(limit, finding.unit)} ({limit.source.named}{weak})")
    if finding.probability is not None and finding.limits:
        beside.append(f"{_likely(finding.probability)} likely to conform")
    needed = _needed_uncertainty(finding)
    if needed:
        beside.append(f"read to {needed} (k = 2) or better, the same value would be decided")
    visits = visits_behind_finding(finding, seen.plugins)
    beside += [f"how likely what it calls for is: {visits}"] if visits else []
    beside += [f"read with {instrument}" for instrument in overdue(finding.evidence, seen.readings)]
    return _item(*lines, "; ".join(beside))


def _likely(probability: float) -> str:
    """A probability that is never said to be nothing or everything."""
    ends = "less than 0.1 %" if probability < 0.001 else "more than 99.9 %" if probability > 0.999 else ""
    return ends or f"{100 * probability:.1f} %"


def _needed_uncertainty(finding: Finding) -> str:
    """The uncertainty with which an open finding's value would be decided; empty where it is decided, or
    where nothing could.
    """
    if (
        finding.verdict is not Verdict.UNDECIDED
        or finding.value is None
        or not finding.limits
        or finding.probability is None
    ):
        return ""
    judged = conform(finding.value, finding.limits[0])
    return uncertainty_at_most(judged.needed, finding.unit) if judged.needed and not judged.unfit else ""


def _uncertainties(seen: CheckView) -> Iterator[str]:
    """Of every judged value its budget in plain words, and at last what else bears on the readings."""
    many, readings = len(seen.assessment.readings) > 1, seen.readings
    records = records_of(seen.assessment.job, seen.plugins.records)
    for finding in seen.assessment.findings:
        rows = shares(finding.value, readings, records) if finding.value is not None else []
        if finding.value is None or not rows:
            continue
        when = f" ({stage_name(finding.stage)})" if many else ""
        rows_shown = [
            f"{row.part:>4.0%}  {units.show_uncertainty(row.u, finding.unit)}  {row.words}"
            for row in rows
            if row.part >= LEAST_SHARE
        ]
        rest = len(rows) - len(rows_shown)
        yield _item(
            f"{finding.check}{when}: {units.show(finding.value, finding.unit)}",
            *rows_shown,
            *([f"      and {rest} smaller"] if rest else []),
        )
    for one in dict.fromkeys(
        (one.measurand.title, one.typed.strip(), one.notes)
        for reading in readings
        for one in (reading, *reading.setup.values())
    ):
        if one[2]:
            yield _item(f"{one[0]}, {one[1]}: {'; '.join(one[2])}.")


def _gaps(seen: CheckView) -> list[str]:
    """Of each system what was not read or looked at, in one list; then whatever has more to say."""
    missing: dict[str, dict[str, None]] = {}
    for gap in seen.assessment.open_gaps:
        if gap.about and not is_noted(gap, seen.assessment.job):
            missing.setdefault(gap.system, {})[gap.about] = None
    rows = [
        _item(f"{seen.plugins.systems[system].title}, not looked at: {_first_named(list(names))}.")
        for system, names in missing.items()
    ]
    return rows + [
        _item(text if reason is Reason.NOT_MEASURED else f"{text} ({reason})")
        for text, reason in reasons_not_said(seen.assessment.open_gaps)
    ]


def _first_named(names: Sequence[str]) -> str:
    """The first names, and how many more; two more names are no longer than their number."""
    more = len(names) - MISSING_NAMED
    if more <= 2:
        return ", ".join(names)
    return f"{', '.join(names[:MISSING_NAMED])}, and {more} more, which --json names"


def _call(seen: CheckView, call: Call) -> str:
    return _item(
        f"{seen.plugins.operations[call.operation].title}: "
        + ("ready for an estimate." if call.met else "not yet."),
        call.why,
        *_worth(seen, call),
    )


def _worth(seen: CheckView, call: Call) -> Iterator[str]:
    """How likely it is what the work cures, beside what it costs; nothing without a price."""
    net = seen.net(call.operation)
    if call.met and net and seen.prices is not None and call.chance > 0:
        visits = visits_behind(call.operation, seen.plugins)
        yield (
            f"What it cures is there in {10 * call.chance:.0f} of 10{visits and f', {visits}'}; it usually"
            f" costs {net:.2f} {seen.prices.currency} {'with' if seen.prices.with_tax else 'without'} tax."
        )


def _test(seen: CheckView, number: int, test: NextTest) -> str:
    wanted = _missing_declaration(seen, test.wants)
    lines = [f"{number}. {test.question}{_time(test)}"]
    lines += [f"It opens: {test.opens} About {test.then:g} min."] if test.opens else []
    again = again_words(test, seen.assessment.job, seen.plugins)
    lines += [f"Again: {again}"] if again else []
    lines += (
        [f"It may read wrong now, because of an earlier test: {test.spoiled_by}"] if test.spoiled_by else []
    )
    if test.operation:
        first = seen.plugins.operations[test.operation]
        lines += [f"Caution: {first.hazard}"] if first.hazard else []
        lines.append(f'Write that down as repaired = {{ operation = "{first.key}" }}.')
    if wanted is not None:
        lines += [f"Caution: {wanted.hazard}"] if not isinstance(wanted, Trait) and wanted.hazard else []
        where = wanted.where if isinstance(wanted, Measurand) else ""
        lines += [" ".join(part for part in (where, wanted.how) if part)] if where or wanted.how else []
        begin = "" if isinstance(wanted, Trait) else begins_at(test.wants, seen.assessment.job, seen.plugins)
        lines += [f"Begin at {begin}, which the trouble code names."] if begin and not test.place else []
        at = f', place = "{test.place}"' if test.place else ""
        lines.append(
            f'Write it down under [traits] as "{wanted.key}".'
            if isinstance(wanted, Trait)
            else f'Write it down as of = "{wanted.key}"{at}.'
        )
    elif asks_for_codes(test, seen.plugins):
        read = seen.assessment.job.codes_by_list(seen.assessment.job.stage)
        lists = ", ".join(f"{state} = [ … ]" for state in ("stored", "pending") if state not in read)
        lines.append(f"Write it down as codes = {{ {lists} }}, an empty list as [].")
    return _item(*lines)


def _plain(question: str) -> str:
    words = question.rstrip("?.")
    return words[:1].lower() + words[1:] if words[1:2].islower() else words


def _time(test: NextTest) -> str:
    if test.waits:
        return (
            f" Start now, read later: about {test.minutes:g} min of work and {test.waits:g} min of waiting."
        )
    return f" About {test.minutes:g} min." if test.minutes else ""


def _missing_declaration(seen: CheckView, key: str) -> Measurand | Observation | Trait | None:
    plugins = seen.plugins
    return plugins.measurands.get(key) or plugins.observations.get(key) or plugins.traits.get(key)


def _item(first: str, *more: str) -> str:
    rows = textwrap.wrap(first, WIDTH, initial_indent="  ", subsequent_indent="    ")
    for line in more:
        rows += textwrap.wrap(line, WIDTH, initial_indent="      ", subsequent_indent="      ")
    return "\n".join(rows)
