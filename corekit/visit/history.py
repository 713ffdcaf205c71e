"""What stands on record, one line for each entry, in the mechanic's words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import attrs

from ..account.answer import lower_first
from ..desk.brought import brought_document, origin_words
from ..desk.complaint import complaint_words, retold_words, tried_words
from ..model.job import Job, Noted, stage_name
from ..model.money import Money
from ..model.personal import Personal, shop_words
from ..model.records import (
    Announced,
    Approved,
    ApprovedMore,
    Arrived,
    Brought,
    Charged,
    CodesRead,
    Complained,
    Customer,
    Discounted,
    Ended,
    Estimated,
    Fitted,
    Handed,
    Issued,
    Left,
    Measured,
    OldParts,
    Opened,
    Paid,
    PhotoChosen,
    Photographed,
    Planned,
    Priced,
    Recalled,
    Recorded,
    Remarked,
    Repaired,
    Requested,
    Retold,
    Seen,
    Serviced,
    Specified,
    Started,
    Tried,
    Vehicle,
    Waived,
    WrittenOff,
)
from ..plugin.host import Plugins


@attrs.frozen(kw_only=True)
class HistoryRow:
    """One entry: its id, the stage it belongs to, what it is about, what it says.

    Attributes:
        withdrawable: It may be taken back with a reason; what was handed over or approved may not.
    """

    entry: str
    stage: str
    title: str
    text: str
    withdrawable: bool


def record_of(job: Job, plugins: Plugins, texts: Mapping[str, str]) -> list[HistoryRow]:
    """Everything that stands, in the journal's order; setups stand with their readings. Of what two vans say
    differently both are told.
    """
    asked = _Context(job=job, plugins=plugins, texts=texts)
    rows = []
    for noted in job.standing:
        others = job.disputed(noted.id)
        for one in (noted, *others):
            row = _row(asked, one)
            if row is not None:
                title = f"{row.title}, in dispute" if others else row.title
                rows.append(attrs.evolve(row, title=title, withdrawable=row.withdrawable and one is noted))
    return rows


def _row(asked: _Context, noted: Noted[object]) -> HistoryRow | None:
    tell = _TELL.get(type(noted.record))
    if tell is None:
        return None
    title, text, stage = tell(asked, noted.record)
    return HistoryRow(
        entry=noted.id,
        stage="" if stage is None else stage_name(stage),
        title=title,
        text=text,
        withdrawable=isinstance(noted.record, _MAY_BE_WITHDRAWN),
    )


def entry_words(
    job: Job, noted: Noted[object], plugins: Plugins, texts: Mapping[str, str]
) -> HistoryRow | None:
    """One entry in words; None for a kind that is nothing by itself."""
    return next((row for row in record_of(job, plugins, texts) if row.entry == noted.id), None)


@attrs.frozen(kw_only=True)
class _Context:
    job: Job
    plugins: Plugins
    texts: Mapping[str, str]

    def title(self, key: str, place: str = "") -> str:
        title = self.plugins.title(key)
        return f"{title}, {place}" if place else title

    def text(self, reference: object) -> str:
        return self.texts.get(reference.hash, "removed") if isinstance(reference, Personal) else ""

    def origin(self, reference: object) -> str:
        words = self.text(reference)
        return f". From {words}" if words else ""

    def own(self, words: str) -> str:
        return shop_words(words, self.texts)

    def beside(self, setup: str) -> str:
        found = self.job.setup(setup)
        values = found.record.values if found is not None else {}
        return ", ".join(f"{lower_first(self.title(key))} {value['typed']}" for key, value in values.items())


_Row = tuple[str, str, int | None]
#: So many points of a record are shown as they were typed.
_POINTS = 6


def _opened_row(asked: _Context, record: Opened) -> _Row:
    return "What the customer said", asked.text(record.words), None


def _handed(asked: _Context, record: Handed) -> _Row:
    return "Handed over", f"to van {record.to}", None


def _vehicle(asked: _Context, record: Vehicle) -> _Row:
    no_vin = f"no VIN: {asked.own(record.why_no_vin)}" if record.why_no_vin else ""
    known = [
        asked.text(record.description),
        asked.text(record.plate),
        asked.text(record.vin),
        record.odometer_typed,
        no_vin,
    ]
    return "Vehicle", ", ".join(filter(None, known)), None


def _customer(asked: _Context, record: Customer) -> _Row:
    return (
        "Customer",
        ", ".join(
            filter(None, (asked.text(record.name), asked.text(record.phone), asked.text(record.address)))
        ),
        None,
    )


def _fitted_row(asked: _Context, record: Fitted) -> _Row:
    return asked.title(record.of), record.typed, record.stage


def _specified_row(asked: _Context, record: Specified) -> _Row:
    ends = " to ".join(filter(None, (record.low_typed, record.high_typed)))
    return (
        f"{asked.title(record.of)}: this vehicle's own limit",
        f"{ends} ({asked.own(record.where_from)})",
        None,
    )


def _measured_row(asked: _Context, record: Measured) -> _Row:
    beside = asked.beside(record.setup)
    return (
        asked.title(record.of, record.place),
        record.typed + (f" ({beside})" if beside else "") + asked.origin(record.origin),
        record.stage,
    )


def _recorded_row(asked: _Context, record: Recorded) -> _Row:
    """Points as they were typed, or the file; how it went stands in the check and on paper."""
    came = ", ".join(f"{at}: {read}" for at, read in record.typed[:_POINTS])
    more = f", and {len(record.typed) - _POINTS} more" if len(record.typed) > _POINTS else ""
    text = came + more if came else f"{len(record.samples)} samples from {asked.text(record.file)}"
    return asked.title(record.of, record.place), text + asked.origin(record.origin), record.stage


def _seen_row(asked: _Context, record: Seen) -> _Row:
    return (
        asked.title(record.of, record.place),
        _with_answer(
            record.answer or asked.text(record.words) or f"not obtained: {asked.own(record.cannot)}",
            asked.own(record.cleared),
        ),
        record.stage,
    )


def _codes(asked: _Context, record: CodesRead) -> _Row:
    title = f"Trouble codes, {record.state}" if record.state else "Trouble codes"
    text = (
        f"could not be read: {asked.own(record.cannot)}"
        if record.cannot
        else (", ".join(record.codes) or "none") + asked.origin(record.origin)
    )
    return title, text, record.stage


def _requested_row(asked: _Context, record: Requested) -> _Row:
    return (
        f"{asked.title(record.operation)}: asked for",
        ", ".join(filter(None, (record.ground, record.because))),
        None,
    )


def _estimated_row(asked: _Context, record: Estimated) -> _Row:
    return f"Estimate: {record.name}", f"{Money(record.total, record.currency)} {record.currency}", None


def _approved_row(asked: _Context, record: Approved) -> _Row:
    declined = ", ".join(asked.title(key) for key in record.declined)
    return (
        f"Approval: {record.estimate}",
        f"{record.by}, {asked.own(record.how)}" + (f"; declined: {declined}" if declined else ""),
        None,
    )


def _repaired_row(asked: _Context, record: Repaired) -> _Row:
    return asked.title(record.operation), record.cause or "done", record.stage


def _serviced_row(asked: _Context, record: Serviced) -> _Row:
    return asked.title(record.operation), "done", record.stage


def _priced_row(asked: _Context, record: Priced) -> _Row:
    parts = [f"{part['name']} {part['price']}" for part in record.parts]
    hours = [f"{record.hours} h"] if record.hours else []
    return f"{asked.title(record.operation)}: price in this job", ", ".join((*hours, *parts)), None


def _issued_row(asked: _Context, record: Issued) -> _Row:
    said = f"; before it {record.date_said}, and the date was said to be right" if record.date_said else ""
    title = f"Credit note on {record.credits}" if record.credits else "Invoice"
    why = f": {asked.own(record.because)}" if record.because else ""
    return title, f"{record.number}{said}{why}", None


def _paid_row(asked: _Context, record: Paid) -> _Row:
    title = "Received" if record.amount > 0 else "Given back"
    amount = Money(abs(record.amount), record.currency)
    return title, f"{amount} {record.currency}, {asked.own(record.how)}", None


def _announced_row(asked: _Context, record: Announced) -> _Row:
    how = asked.own(record.how)
    return "Announced", f"{Money(record.amount, record.currency)} {record.currency}, {how}", None


def _written_off(asked: _Context, record: WrittenOff) -> _Row:
    because = asked.own(record.because)
    return "Written off", f"{Money(record.amount, record.currency)} {record.currency}: {because}", None


def _left_row(asked: _Context, record: Left) -> _Row:
    return "Left for now", record.because + (f", back on {record.back}" if record.back else ""), record.stage


def _planned_row(asked: _Context, record: Planned) -> _Row:
    told = (f"{record.on} {record.time}".strip(), asked.text(record.what), asked.text(record.place))
    return "Appointment", ", ".join(filter(None, told)), None


def _recalled_row(asked: _Context, record: Recalled) -> _Row:
    return "To be looked at again", f"from {record.on} on: {asked.text(record.what)}", None


def _arrived_row(asked: _Context, record: Arrived) -> _Row:
    return (
        "Arrived",
        record.odometer_typed or ("same call-out as another car" if record.same_trip_as else "again"),
        record.stage,
    )


def _started_row(asked: _Context, record: Started) -> _Row:
    return asked.title(record.of, record.place), f"started, {record.wait_typed}", record.stage


def _ended_row(asked: _Context, record: Ended) -> _Row:
    return "How the job ended", f"{record.how}: {record.because}", record.stage


def _waived_row(asked: _Context, record: Waived) -> _Row:
    told_of = f" (invoice {record.invoice})" if record.invoice else ""
    return (
        f"{asked.title(record.operation) if record.operation else record.charge.capitalize()}: not charged",
        record.because + told_of,
        None,
    )


def _charged_row(asked: _Context, record: Charged) -> _Row:
    took = f"{record.quantity} of {record.part}" if record.part else f"{record.hours} h"
    return f"{asked.title(record.operation)}: took", f"{took}: {asked.own(record.because)}", None


def _approved_more(asked: _Context, record: ApprovedMore) -> _Row:
    more = f"{Money(record.amount, record.currency)} {record.currency}"
    told = f"{more}, {record.by}, {asked.own(record.how)}: {asked.own(record.because)}"
    return f"{asked.title(record.operation)}: more approved", told, None


def _discounted_row(asked: _Context, record: Discounted) -> _Row:
    title = f"{asked.title(record.operation)}: discount" if record.operation else "Discount"
    return title, f"{record.percent} %: {asked.own(record.because)}", None


def _old_parts(asked: _Context, record: OldParts) -> _Row:
    return "Old parts", record.choice, None


def _photographed_row(asked: _Context, record: Photographed) -> _Row:
    about = asked.title(record.of, record.place) if record.of else "the vehicle"
    return "Photo", asked.text(record.what) or about, record.stage


def _photo_chosen(asked: _Context, record: PhotoChosen) -> _Row:
    photo = next((one.record for one in asked.job.photos if one.id == record.photo), None)
    return "Photo for the document", _photographed_row(asked, photo)[1] if photo else "withdrawn since", None


def _brought_row(asked: _Context, record: Brought) -> _Row:
    return "Earlier, elsewhere", origin_words(brought_document(record)), None


def _remarked_row(asked: _Context, record: Remarked) -> _Row:
    return "Noted", _with_answer(asked.text(record.words), asked.own(record.cleared)), record.stage


def _with_answer(words: str, cleared: str) -> str:
    return f"{words} (answered: {cleared})" if cleared else words


def _complained_row(asked: _Context, record: Complained) -> _Row:
    return "Complaint", complaint_words(record), None


def _retold_row(asked: _Context, record: Retold) -> _Row:
    return "Complaint, looked at again", retold_words(record), record.stage


def _tried_row(asked: _Context, record: Tried) -> _Row:
    told = attrs.evolve(record, swapped_with=asked.own(record.swapped_with))
    return asked.title(record.part, record.place), tried_words(told, asked.text(record.words)), record.stage


_TELL: dict[type, Callable[[_Context, Any], _Row]] = {
    Opened: _opened_row,
    Vehicle: _vehicle,
    Customer: _customer,
    Fitted: _fitted_row,
    Specified: _specified_row,
    Measured: _measured_row,
    Recorded: _recorded_row,
    Seen: _seen_row,
    CodesRead: _codes,
    Requested: _requested_row,
    Estimated: _estimated_row,
    Approved: _approved_row,
    Repaired: _repaired_row,
    Serviced: _serviced_row,
    Priced: _priced_row,
    Issued: _issued_row,
    Paid: _paid_row,
    Announced: _announced_row,
    WrittenOff: _written_off,
    Planned: _planned_row,
    Recalled: _recalled_row,
    Left: _left_row,
    Arrived: _arrived_row,
    Started: _started_row,
    Ended: _ended_row,
    Waived: _waived_row,
    Charged: _charged_row,
    ApprovedMore: _approved_more,
    OldParts: _old_parts,
    Handed: _handed,
    Discounted: _discounted_row,
    Photographed: _photographed_row,
    PhotoChosen: _photo_chosen,
    Brought: _brought_row,
    Remarked: _remarked_row,
    Complained: _complained_row,
    Retold: _retold_row,
    Tried: _tried_row,
}

# What was handed over, approved or done stays; it is answered by something new.
_MAY_BE_WITHDRAWN = (
    Measured,
    Recorded,
    Seen,
    CodesRead,
    Specified,
    Requested,
    Paid,
    Announced,
    WrittenOff,
    Planned,
    Recalled,
    Left,
    Arrived,
    Started,
    Ended,
    Waived,
    Serviced,
    Priced,
    Charged,
    ApprovedMore,
    Discounted,
    Photographed,
    PhotoChosen,
    Brought,
    Remarked,
    Retold,
    Tried,
)
