"""Build the papers: an estimate and an invoice as Documents, from what the steps before have made.

The order is that of a customer's questions: who and which vehicle; what you told us; what we found and how we know; what
you agreed to; what we did; whether it worked; what it costs; what to watch; the code.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

import attrs

from .. import units
from ..assess.assessment import Assessment, Change, Comparison, Proof
from ..billing.line import Line, LineKind
from ..billing.totals import Payable, Totals
from ..judge import RULE
from ..model.document import (
    Block,
    Code,
    Document,
    DocumentKind,
    FindingRow,
    Findings,
    Heading,
    Pairs,
    Paragraph,
    Picture,
    PricedLines,
    PricedRow,
    ReadingRow,
    Readings,
    Statement,
    Words,
)
from ..model.document import Totals as TotalsBlock
from ..model.figure import Strip
from ..model.finding import Finding, Reason, Urgency, Verdict
from ..model.job import Job, stage_name
from ..model.limit import Limit, Scope
from ..model.measurand import Measurand, Operation
from ..model.money import Money
from ..model.personal import Personal
from ..model.records import Agreed, Seen
from ..plugin.case import limit_words
from ..plugin.doubt import overdue
from ..plugin.reading import WORST, Reading
from ..reference import code_in_words


@attrs.frozen(kw_only=True)
class Issuer:
    """Who issues the paper, as printed."""

    name: str
    address: tuple[str, ...]
    contact: str = ""
    tax_id: str = ""
    guarantee: str = ""
    pays_by: str = ""


@attrs.frozen(kw_only=True)
class Yes:
    """One agreement, the day of it, and what was agreed to after what was declined in the same stroke."""

    agreement: Agreed
    day: str
    agreed: Money


@attrs.frozen(kw_only=True)
class Sheet:
    """What every paper of a job shares. `titles` is how paper calls what can be read or looked at, by key."""

    document_id: str
    issuer: Issuer
    issued: str
    currency: str
    operations: Mapping[str, Operation]
    titles: Mapping[str, str] = attrs.field(factory=dict)
    demo: bool = False
    draft: bool = False


def estimate(job: Job, assessment: Assessment, sheet: Sheet, *, name: str, stage: str, lines: Sequence[Line], totals: Totals) -> Document:
    """The paper a customer agrees to: what it is about, on what ground, at which price, and what a yes covers."""
    blocks: list[Block] = [*_who(job, sheet), *_told(job)]
    offered = {line.operation for line in lines if line.ground.finding_code}
    grounds = [finding for finding in assessment.current if finding.calls_for in offered]
    if grounds:
        blocks += [Heading(text="What we found"), Findings(rows=tuple(_finding_row(finding, assessment) for finding in grounds))]
    blocks += [Heading(text="What we offer"), _priced(lines, totals, sheet), *_sums(totals, None, sheet)]
    blocks += [Heading(text="What your yes covers"), Paragraph(words=(_COVERS[stage],))]
    hazards = _hazards({line.operation for line in lines}, sheet)
    if hazards:
        blocks.append(Statement(title="Cautions", words=(hazards,)))
    return Document(
        id=sheet.document_id,
        kind=DocumentKind.ESTIMATE,
        title=f"Estimate: {name}",
        shop=sheet.issuer.name,
        issued=sheet.issued,
        currency=sheet.currency,
        total=str(totals.gross),
        blocks=tuple(blocks),
        draft=sheet.draft,
        demo=sheet.demo,
    )


_COVERS = {
    "diagnosis": "The work above and nothing more. Taking readings changes nothing on your vehicle; any repair is offered by itself, with its own price. "
    "The invoice for this work does not exceed the total without a new yes from you.",
    "repair": "The work above and nothing more. You may decline any single piece of work. The invoice does not exceed the total without a new yes from you; "
    "local law may give you more rights than this paper names.",
}


def invoice(
    job: Job,
    assessment: Assessment,
    sheet: Sheet,
    *,
    number: str,
    lines: Sequence[Line],
    totals: Totals,
    payable: Payable,
    agreements: Sequence[Yes],
    payments: Sequence[tuple[str, Money]],
    link: int,
    record_mark: str,
) -> Document:
    """The paper the customer keeps.

    Args:
        number: The invoice's number; empty on a draft.
        agreements: Every yes that stands.
        payments: How and how much.
        link, record_mark: For the code; a draft carries neither code nor link.
    """
    blocks: list[Block] = [
        *_who(job, sheet),
        *_told(job),
        *_in_short(assessment),
        *_found(assessment, sheet),
        *_agreed(agreements, sheet),
        *_did(lines, totals, sheet),
        *_worked(assessment),
        Heading(text="What it costs"),
        *_sums(totals, payable, sheet, payments),
        *_watch(assessment, agreements, lines, sheet),
        Code(document_id=sheet.document_id, link=link, record_mark=record_mark),
    ]
    return Document(
        id=sheet.document_id,
        kind=DocumentKind.INVOICE,
        title=f"Invoice {number}" if number else "Invoice",
        shop=sheet.issuer.name,
        issued=sheet.issued,
        currency=sheet.currency,
        total=str(payable.gross + payable.rounding),
        blocks=tuple(blocks),
        number=number,
        draft=sheet.draft,
        demo=sheet.demo,
    )


# ---- who, what vehicle, what was told


def _who(job: Job, sheet: Sheet) -> list[Block]:
    rows: list[tuple[str, Words]] = []
    issuer = ", ".join(part for part in (sheet.issuer.name, *sheet.issuer.address, sheet.issuer.contact) if part)
    rows.append(("From", (issuer,)))
    if sheet.issuer.tax_id:
        rows.append(("Tax number", (sheet.issuer.tax_id,)))
    customer = job.customer
    rows.append(("For", _joined(customer.name, customer.address, customer.phone) or ("no name given",)))
    vehicle = job.vehicle
    rows.append(("Vehicle", _joined(vehicle.told) or ("not described",)))
    if isinstance(vehicle.plate, Personal):
        rows.append(("Plate", (vehicle.plate,)))
    if isinstance(vehicle.vin, Personal):
        rows.append(("VIN", (vehicle.vin, _vin_remark(vehicle.vin_check))))
    elif vehicle.why_no_vin:
        rows.append(("VIN", (f"none: {vehicle.why_no_vin}",)))
    if vehicle.odometer_typed:
        rows.append(("Odometer", (vehicle.odometer_typed,)))
    return [Pairs(rows=tuple(rows))]


def _vin_remark(check: str) -> str:
    return " (its check digit differs; that matters only where check digits are required)" if check == "differs" else ""


def _joined(*parts: object) -> Words:
    run: list[str | Personal] = []
    for part in parts:
        if isinstance(part, Personal):
            run += [", ", part] if run else [part]
    return tuple(run)


def _told(job: Job) -> list[Block]:
    words = job.opened.words
    if not isinstance(words, Personal):
        return []
    return [Heading(text="What you told us"), Paragraph(words=(words,), tone="quote")]


# ---- what was found


#: What the retest says of work that was done, for somebody who reads one line only.
_DONE = {
    Proof.SHOWN: "done, and shown to work",
    Proof.NOT_SHOWN: "done, but no retest shows yet that it works",
    Proof.NOT_YET: "done, but the retest shows that it is not repaired yet",
}


def _in_short(assessment: Assessment) -> list[Block]:
    """What a hurried reader takes away: what was done and whether it holds, what still fails or is open, and what was ruled out."""
    sentences = list(dict.fromkeys(f"{repair.title}: {_DONE[repair.proof]}." for repair in assessment.repairs))
    for verdict, words in ((Verdict.FAIL, "Still failing"), (Verdict.UNDECIDED, "Undecided")):
        found = [str(finding.text) for finding in assessment.current if finding.verdict is verdict]
        sentences += [f"{words}: {' '.join(found)}"] if found else []
    advised = [finding for finding in assessment.current if finding.verdict is Verdict.ADVICE and finding.urgency is not Urgency.NOTHING]
    sentences += [f"Advice on: {_checks(advised)}; see below."] if advised else []
    if not assessment.findings:
        sentences.append("No readings were judged in this visit.")
    elif not sentences:
        sentences.append("What was tested is in order; nothing that was tested calls for a repair.")
    else:
        ruled_out = [finding for finding in assessment.current if finding.urgency is Urgency.NOTHING and _on_arrival(finding, assessment) is None]
        sentences += [f"In order: {_checks(ruled_out)}."] if ruled_out else []
    return [Heading(text="In short"), Paragraph(words=(" ".join(sentences),), tone="strong")]


def _checks(findings: Iterable[Finding]) -> str:
    """The checks that said so, each once."""
    return ", ".join(dict.fromkeys(finding.check[0].lower() + finding.check[1:] for finding in findings))


def _found(assessment: Assessment, sheet: Sheet) -> list[Block]:
    codes = code_sentences(assessment.job)
    failed = _failed(assessment)
    if not assessment.findings and not any(assessment.readings) and not codes and not failed:
        return []
    blocks: list[Block] = [Heading(text="What we found, and how we know")]
    if assessment.findings:
        blocks.append(Findings(rows=tuple(_finding_row(finding, assessment) for finding in _story(assessment))))
    blocks += [Picture(figure=finding.figure) for finding in assessment.findings if finding.figure is not None]
    if codes:
        blocks += [Heading(text="Trouble codes read", level=2), *(Paragraph(words=(sentence,)) for sentence in codes)]
        blocks.append(Paragraph(words=(CODES_SAY,), tone="small"))
    rows = reading_rows(assessment)
    if rows:
        blocks += [Heading(text="Readings", level=2), Readings(rows=tuple(rows)), Paragraph(words=(_how_read(assessment),), tone="small")]
    blocks += _noted(assessment.job, sheet)
    blocks += [Paragraph(words=(sentence,), tone="small") for sentence in _not_looked_at(assessment)]
    if failed:
        blocks.append(Paragraph(words=(f"Not assessed, because a plugin failed: {', '.join(failed)}.",), tone="small"))
    return blocks


def _noted(job: Job, sheet: Sheet) -> list[Block]:
    """What was noted in free words: nobody judges it, and it is not lost."""
    noted = [(item.record.of, item.record.words) for item in job.all(Seen) if isinstance(item.record.words, Personal)]
    return [Paragraph(words=(f"Noted, {sheet.titles.get(of, of)}: ", words), tone="plain") for of, words in noted if isinstance(words, Personal)]


def _not_looked_at(assessment: Assessment) -> list[str]:
    """What nobody read or looked at in one sentence, then what could not be had, with the reason."""
    gaps = [gap for gap in assessment.open_gaps if gap.reason in (Reason.NOT_MEASURED, Reason.COULD_NOT_REACH)]
    names = dict.fromkeys(gap.about[0].lower() + gap.about[1:] for gap in gaps if gap.about)
    told = " ".join(dict.fromkeys(gap.text for gap in gaps if not gap.about))
    return [sentence for sentence in (f"Not looked at: {', '.join(names)}." if names else "", told) if sentence]


def _failed(assessment: Assessment) -> list[str]:
    """What failed, by name; how it failed is for the mechanic and stands in `check`."""
    gaps = [gap for gap in assessment.gaps if gap.reason is Reason.PLUGIN_FAILED]
    return list(dict.fromkeys(f"{gap.system} ({gap.check[:1].lower()}{gap.check[1:]})" if gap.check != "Plugin" else gap.system for gap in gaps))


CODES_SAY = (
    "A code says that a test which the vehicle makes by itself has failed; it does not name the part that failed. "
    "A permanent code stays until the vehicle has made that test again, however good the repair."
)


def code_sentences(job: Job) -> list[str]:
    """One sentence for every stage at which trouble codes were read, or could not be; an empty list that was read says so."""
    sentences = []
    for stage in job.stages:
        read = [noted.record for noted in job.codes_read(stage)]
        parts = [
            f"could not be read, {record.cannot}" if record.cannot else f"{record.state} {', '.join(map(code_in_words, record.codes)) or 'none'}"
            for record in read
        ]
        if parts:
            sentences.append(f"{stage_name(stage).capitalize()}: {'; '.join(parts)}.")
    return sentences


def _how_read(assessment: Assessment) -> str:
    """The rule, and where the doubt of the readings comes from: once, not at every reading."""
    readings = [reading for stage in assessment.readings for reading in stage]
    sheets = dict.fromkeys(re.sub(r" on the .* range$", "", reading.sheet) for reading in readings)
    named = [sheet for sheet in sheets if WORST not in sheet]
    sources = [f"from the sheet of {'; '.join(named)}"] if named else []
    sources += ["from the worst ordinary instrument where none is named"] if len(named) < len(sheets) else []
    doubt = f"± gives the doubt of a reading at k = 2 (about 95 %), {' and '.join(sources)}."
    notes = dict.fromkeys(note for reading in readings for one in (reading, *reading.setup.values()) for note in one.notes)
    doubt += f" Beside that: {'; '.join(notes)}." if notes else ""
    return f"{doubt} Rule: {RULE}. A limit from practice, memory or an estimate only advises."


def _story(assessment: Assessment) -> list[Finding]:
    """Findings as they stand now, most urgent first; among equals first what once failed or has changed, then what was plain all along."""

    def plainness(finding: Finding) -> int:
        first = _on_arrival(finding, assessment)
        if finding.verdict is Verdict.FAIL or (first is not None and first.verdict is Verdict.FAIL):
            return 0
        return 1 if first is not None and first.urgency is not finding.urgency else 2

    def when(finding: Finding) -> float:
        """Its urgency; what was dealt with comes after all that is still to do, and before what was in order all along."""
        return list(Urgency).index(Urgency.NOTHING) - 0.5 if _is_over(finding, assessment) else list(Urgency).index(finding.urgency)

    return sorted(assessment.latest, key=lambda finding: (when(finding), not assessment.is_dealt_with(finding), plainness(finding)))


def _on_arrival(finding: Finding, assessment: Assessment) -> Finding | None:
    """What the same check said first, where that was at an earlier stage."""
    earlier = [other for other in assessment.findings if (other.code, other.place) == (finding.code, finding.place) and other.stage < finding.stage]
    return earlier[0] if earlier else None


def _is_over(finding: Finding, assessment: Assessment) -> bool:
    """True when its work was done, or when the same check now finds nothing to do where it once did."""
    first = _on_arrival(finding, assessment)
    return assessment.is_dealt_with(finding) or (finding.urgency is Urgency.NOTHING and first is not None and first.urgency is not Urgency.NOTHING)


def _finding_row(finding: Finding, assessment: Assessment) -> FindingRow:
    """A finding as it stands now; where the check spoke differently on arrival, both sentences."""
    first = _on_arrival(finding, assessment)
    text = str(finding.text)
    if first is not None and first.urgency is not finding.urgency:
        text = f"On arrival: {first.text} Now: {text}"
    return FindingRow(
        text=text,
        verdict=str(finding.verdict),
        urgency="dealt with" if _is_over(finding, assessment) else str(finding.urgency),
        basis=_basis(finding) + _overdue(finding, assessment),
        stage=stage_name(finding.stage) if assessment.job.stage else "",
    )


def _basis(finding: Finding) -> str:
    if not finding.limits:
        return ""
    limit = finding.limits[0]
    text = f"Limit: {limit_words(limit, finding.unit)}. Source: {limit.source.named}."
    if not limit.decides:
        text += " It only advises."
    for beaten in finding.limits[1:]:
        if limit.scope is Scope.THIS_VEHICLE:
            text += f" It stands in place of the general figure {limit_words(beaten, finding.unit)} ({beaten.source.named})."
    return text


def _overdue(finding: Finding, assessment: Assessment) -> str:
    """A warning where what the finding rests on was read with an instrument whose calibration had run out."""
    late = overdue(finding.evidence, [reading for stage in assessment.readings for reading in stage])
    return f" Read with {' and '.join(late)}." if late else ""


def reading_rows(assessment: Assessment) -> list[ReadingRow]:
    """One row for every quantity and place: its first reading, its latest later one, limit, source and strip."""
    first: dict[tuple[str, str], Reading] = {}
    last: dict[tuple[str, str], Reading] = {}
    for stage in assessment.readings:
        for reading in stage:
            first.setdefault((reading.measurand.key, reading.place), reading)
            last[reading.measurand.key, reading.place] = reading
    compared = {(pair.before.measurand.key, pair.before.place): pair for pair in assessment.comparisons}
    rows, said = [], ""
    for key, before in first.items():
        pair = compared.get(key)
        conditions = _conditions(before, pair.after if pair else None)
        rows.append(_reading_row(before, pair, _judged(last[key], assessment), "as above" if conditions == said != "" else conditions))
        said = conditions
    return rows


def _reading_row(before: Reading, pair: Comparison | None, finding: Finding | None, conditions: str) -> ReadingRow:
    after = pair.after if pair else None
    measurand = before.measurand
    limit = finding.limits[0] if finding else None
    late = f"read {stage_name(before.stage)}" if before.stage else ""
    return ReadingRow(
        name=f"{measurand.title}, {before.place}" if before.place else measurand.title,
        before=before.shown,
        after=after.shown if after else "",
        limit=limit_words(limit, measurand.unit) if limit else "",
        source=limit.source.named if limit else "",
        note="; ".join(part for part in (late, conditions, _repeats(before, after), _change(pair)) if part),
        strip=strip_of(measurand, before, after, limit) if limit else None,
    )


def _judged(reading: Reading, assessment: Assessment) -> Finding | None:
    """The finding that held this very reading against a limit, not something computed from it."""
    return next((finding for finding in assessment.findings if finding.limits and finding.value == reading.value), None)


def _conditions(before: Reading, after: Reading | None) -> str:
    texts = [_setup(before)]
    if after is not None and _setup(after) != texts[0]:
        texts.append(f"after: {_setup(after)}")
    return "; ".join(text for text in texts if text)


def _setup(reading: Reading) -> str:
    return ", ".join(f"{beside.measurand.title.lower()} {units.show(beside.value, beside.measurand.unit, doubt=False)}" for beside in reading.setup.values())


def _repeats(before: Reading, after: Reading | None) -> str:
    counts = [reading.count for reading in (before, after) if reading is not None]
    return f"{' and '.join(str(count) for count in counts)} readings taken" if max(counts) > 1 else ""


def _change(pair: Comparison | None) -> str:
    """Towards the limit or away from it; that a reading is another one than before can be seen without a word."""
    return "" if pair is None or pair.change is Change.CHANGED else str(pair.change)


def strip_of(measurand: Measurand, before: Reading, after: Reading | None, limit: Limit) -> Strip:
    """The limit strip of a reading, in the unit it is printed in."""
    latest = after or before

    def in_unit(number: float) -> float:
        return units.from_coherent(number, measurand.unit)

    def half_width(reading: Reading) -> float:
        return abs(in_unit(reading.number + 2 * reading.value.u) - in_unit(reading.number))

    low = in_unit(limit.low.number) if limit.low else None
    high = in_unit(limit.high.number) if limit.high else None
    points = [in_unit(reading.number) + sign * half_width(reading) for reading in {id(latest): latest, id(before): before}.values() for sign in (-1, 1)]
    points += [end for end in (low, high) if end is not None]
    room = 0.25 * ((max(points) - min(points)) or abs(max(points)) or 1.0)
    floor = in_unit(measurand.possible.low) if measurand.possible.low is not None else None
    low_end = min(points) - room
    return Strip(
        unit=units.declared_text(measurand.unit),
        low_end=low_end if floor is None else max(floor, low_end),
        high_end=max(points) + room,
        allowed_low=low,
        allowed_high=high,
        reading=in_unit(latest.number),
        doubt=half_width(latest),
        before=in_unit(before.number) if after else None,
        before_doubt=half_width(before) if after else 0.0,
    )


# ---- what was agreed, done, shown


def _agreed(agreements: Sequence[Yes], sheet: Sheet) -> list[Block]:
    rows: list[tuple[str, Words]] = []
    for yes in agreements:
        agreement = yes.agreement
        offered = Money(agreement.total, agreement.currency)
        total = f"{yes.agreed} of {offered}" if yes.agreed != offered else str(offered)
        text = f"{total} {agreement.currency}, agreed by {_whom(agreement.by)}, {agreement.how}" + (f", {yes.day}" if yes.day else "")
        if agreement.declined:
            text += f". Declined: {', '.join(_title(key, sheet) for key in agreement.declined)}"
        rows.append((agreement.offer.capitalize(), (text,)))
    if not rows:
        rows.append(("Agreement", ("none on record",)))
    return [Heading(text="What you agreed to"), Pairs(rows=tuple(rows))]


#: Who may agree to an offer. It is printed on the page that everybody with the code can read, so it is never a name.
WHO_AGREES = ("customer", "owner", "driver", "keeper", "representative")


def _whom(by: str) -> str:
    return f"the {by}" if by in WHO_AGREES else "somebody for the customer"


def _title(operation: str, sheet: Sheet) -> str:
    declared = sheet.operations.get(operation)
    return declared.title if declared else operation


def _did(lines: Sequence[Line], totals: Totals, sheet: Sheet) -> list[Block]:
    return [Heading(text="What we did"), _priced(lines, totals, sheet)]


def _priced(lines: Sequence[Line], totals: Totals, sheet: Sheet) -> PricedLines:
    rates = {row.rate: f"{_plain(row.percent)} %" for row in totals.per_rate}
    rows = []
    for before, line in zip([None, *lines], lines, strict=False):
        row = _priced_row(line, rates)
        same = before is not None and before.operation and (before.operation, before.ground) == (line.operation, line.ground)
        rows.append(attrs.evolve(row, ground="Ground as above") if same else row)
    return PricedLines(rows=tuple(rows), currency=sheet.currency)


def _priced_row(line: Line, rates: Mapping[str, str]) -> PricedRow:
    notes = [f"condition: {line.condition}"] if line.condition else []
    if line.shown_by and line.kind is LineKind.LABOUR:
        notes.append(f"shown by: {line.shown_by}")
    return PricedRow(
        text=line.text,
        ground=line.ground.text if line.ground.finding_code else f"{_GROUNDS[line.ground.kind]}: {line.ground.text}",
        quantity=f"{_plain(line.quantity)} {line.unit}",
        price=_price(line.price, line.net),
        net=str(line.net),
        tax=rates.get(line.tax, "none"),
        note="; ".join(notes),
    )


_GROUNDS = {"customer": "Your request", "scheduled": "Scheduled", "judgement": "Mechanic's judgement", "finding": "Finding"}


def _plain(number: Decimal) -> str:
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _price(price: Decimal, like: Money) -> str:
    """A unit price with at least the currency's decimals, and more only where it has them."""
    rounded = Money.of(price, like.currency)
    return str(rounded) if rounded.amount == price else _plain(price)


def _worked(assessment: Assessment) -> list[Block]:
    if not assessment.repairs:
        return []
    rows = [
        FindingRow(text=f"{str(repair.proof).capitalize()}. {repair.why}", verdict=stage_name(repair.stage), urgency=repair.title)
        for repair in assessment.repairs
    ]
    return [Heading(text="Does it work now"), Findings(rows=tuple(rows))]


def _sums(totals: Totals, payable: Payable | None, sheet: Sheet, payments: Sequence[tuple[str, Money]] = ()) -> list[Block]:
    rows: list[tuple[str, str, bool]] = [("Net", str(totals.net), False)]
    rows += [(f"Tax {_plain(row.percent)} % on {row.base}", str(row.tax), False) for row in totals.per_rate]
    if payable is not None and payable.rounding.minor:
        rows.append(("Rounding, to the sum agreed", str(payable.rounding), False))
    gross = totals.gross + payable.rounding if payable is not None else totals.gross
    rows.append(("Total", str(gross), True))
    if payable is not None:
        rows += [(f"Paid, {how}", f"-{amount}", False) for how, amount in payments]
        rows.append(("Due", str(payable.due), True))
    blocks: list[Block] = [TotalsBlock(rows=tuple(rows), currency=sheet.currency)]
    if totals.outside_tax:
        blocks.append(Paragraph(words=(f"No tax is shown: {totals.outside_tax}",), tone="small"))
    if payable is not None and payable.due.minor > 0 and sheet.issuer.pays_by:
        blocks.append(Paragraph(words=(sheet.issuer.pays_by,), tone="small"))
    return blocks


#: On a paper that is read after the visit, what was for this visit is what it left open.
_LEFT = {Urgency.THIS_VISIT: "Left open"}


def _watch(assessment: Assessment, agreements: Sequence[Yes], lines: Sequence[Line], sheet: Sheet) -> list[Block]:
    sentences: list[str] = []
    for finding in assessment.current:
        if finding.urgency is not Urgency.NOTHING and finding.verdict is not Verdict.PASS:
            late = " (On arrival; not read again.)" if assessment.job.stage > finding.stage == 0 else ""
            sentences.append(f"{_LEFT.get(finding.urgency, str(finding.urgency).capitalize())}: {finding.text}{late}")
    for repair in assessment.repairs:
        if repair.proof is not Proof.SHOWN:
            why = "" if repair.finding in assessment.current else f" {repair.why}"  # then it stands above already
            sentences.insert(0, f"{repair.title}: {repair.proof}.{why}")
    for yes in agreements:
        sentences += [f"Declined by you: {_title(key, sheet)}." for key in yes.agreement.declined]
    if any(finding.verdict is Verdict.UNDECIDED for finding in assessment.current):
        tests = [_question(test.question) for test in assessment.next_tests[:2]]
        sentences += [f"The next test: {question}" for question in tests]
    paragraphs: list[Block] = [Paragraph(words=(sentence,)) for sentence in dict.fromkeys(sentences)]
    if not paragraphs:
        paragraphs = [Paragraph(words=("Nothing, of what was tested.",))]
    blocks: list[Block] = [Heading(text="What to watch"), *paragraphs]
    blocks.append(Paragraph(words=(_looked_at(assessment),), tone="small"))
    hazards = _hazards({line.operation for line in lines} | {finding.calls_for for finding in assessment.current}, sheet)
    if sentences and hazards:  # with nothing left to do, the work and its dangers are over
        blocks.append(Statement(title="Cautions", words=(hazards,)))
    guarantee = sheet.issuer.guarantee or "No terms of guarantee beyond the law are given."
    blocks.append(Paragraph(words=(f"Guarantee: {guarantee}",), tone="small"))
    return blocks


def _question(text: str) -> str:
    return text if text.endswith(("?", ".")) else f"{text}."


def _looked_at(assessment: Assessment) -> str:
    looked = _checks(assessment.findings) or "nothing"
    return f"This visit looked at: {looked}. About everything else on the vehicle it says nothing."


def _hazards(operations: Iterable[str], sheet: Sheet) -> str:
    """The cautions of all the work on the paper; what several kinds of work share is said once."""
    texts = [sheet.operations[key].hazard for key in sorted(operations) if key in sheet.operations]
    sentences = dict.fromkeys(sentence for text in texts for sentence in re.split(r"(?<=[.!?]) ", text) if sentence)
    return " ".join([*sentences, "Local codes and licensed practice come first."]) if sentences else ""
