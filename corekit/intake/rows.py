"""An answer given on a screen: rows of a visit file by themselves, read by the visit file's own reader.

Every part of the form is optional here, and only what is new is said: the rows are read at the job's present
stage, beside what stands.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs

from ..datafile import LARGEST, structured
from ..fault import DataFault, Faults
from ..model.entry import Entry
from ..model.job import Job
from ..model.own_work import is_own_work
from ..model.personal import PersonalText
from ..model.records import Customer, Opened, Vehicle, body_of
from .declared import Declared
from .drafts import personal
from .fault import VisitError
from .file import looked_over
from .form import CustomerRow, VehicleRow, VisitForm
from .visit import Reader, VisitFile

__all__ = ["read_rows", "whole"]

WHERE = "This answer"
#: What a visit file says and an answer cannot: the job is known by where the answer is given.
_NOT_HERE = {"job": "the job has its name by itself", "demo": "whether it is a demo is known from the shop"}


def whole(rows: Any) -> dict[str, Any]:
    """The rows of an answer as plain data, looked over like a file.

    Raises:
        VisitError: it is no table, is too large, or holds what no visit file holds.
    """
    if not isinstance(rows, Mapping):
        raise VisitError([DataFault("file", "a table of rows", "is no table")], WHERE)
    data = dict(rows)
    size, keys_are_texts = _size_of(data)
    if not keys_are_texts:
        raise VisitError([DataFault("file", "keys of the form", "has a key that is no text")], WHERE)
    if size > LARGEST:
        raise VisitError([DataFault("file", "rows of at most 1 MiB", "is larger than 1 MiB")], WHERE)
    try:
        looked_over(data)
    except VisitError as error:
        raise VisitError(error.faults, WHERE) from error
    return data


def read_rows(
    rows: Mapping[str, Any],
    declared: Declared,
    *,
    name: str,
    demo: bool,
    job: Job | None,
    corrects: Entry | None = None,
) -> VisitFile:
    """Read the rows of one answer.

    Args:
        rows: The tables of a visit file, as few of them as there is to say.
        name: The job's name; for a new job the one it is given.
        demo: The job is a demonstration.
        job: The job as it stands; None for a new one, which begins with `reason` or `vehicle`.
        corrects: The entry whose place one of the rows takes. It is read at that entry's stage.

    Returns:
        As of a visit file, with only these rows: `vehicle` and `customer` are filled up with what stands, the
            traits and readings are those given.

    Raises:
        VisitError: every fault at once, each with its place in the rows.
    """
    data = whole(rows)
    faults = Faults()
    for key, why in _NOT_HERE.items():
        if data.pop(key, None) is not None:
            faults.add((key,), f"is not said here; {why}", "", "the rows without it")
    form = structured(data, VisitForm, faults)
    visit = _Rows(declared, form, faults, job=job, name=name, demo=demo, corrects=corrects).visit()
    if not visit.steps and not faults.found:
        faults.add((), "says nothing", "something that was read, seen, asked for or done")
    if faults.found:
        raise VisitError(faults.in_order_of(rows), WHERE)
    return attrs.evolve(visit, origin=name, demo=demo)


class _Rows(Reader):
    """The reader of a visit file for a few rows of it, beside what stands in the job."""

    def __init__(
        self,
        declared: Declared,
        form: VisitForm,
        faults: Faults,
        *,
        job: Job | None,
        name: str,
        demo: bool,
        corrects: Entry | None,
    ) -> None:
        super().__init__(declared, form, faults)
        self.job, self.name, self.demo, self.corrects = job, name, demo, corrects
        self.setup_alone = corrects is not None and corrects.kind == "setup"
        self.stage = _stage(job, corrects)
        if job is not None:
            self.named += filter(is_own_work, (noted.record.operation for noted in job.requested))

    def _read_opening(self, form: VisitForm) -> None:
        """A new job begins. Of one that has begun, the complaint may be said later, or corrected."""
        words = self._full(("reason",), form.reason)
        if self.job is None:
            if form.reason is None and form.vehicle is None and not self.faults.found:
                self.faults.add(
                    ("reason",),
                    "is missing; there is no such job yet, and a new one begins with it",
                    "the customer's words, or the vehicle",
                )
            self._say(
                "opened",
                "opened",
                body_of(
                    Opened(
                        origin=PersonalText("job_name", self.name),
                        words=personal("words", words),
                        demo=self.demo,
                    )
                ),
                (),
            )
            return
        if words is None:
            return
        if self.job.opened.words is not None and not self._is_corrected("opened"):
            self.faults.add(
                ("reason",), "was said already", "the complaint once", "it as a correction of what was said"
            )
        record = attrs.evolve(self.job.opened, words=personal("words", words))
        self._say("opened", "opened", body_of(record), ("reason",))

    def _vehicle(self, row: VehicleRow | None) -> None:
        if row is not None:
            super()._vehicle(row)

    def _customer(self, row: CustomerRow | None) -> None:
        if row is not None:
            super()._customer(row)

    def _must_be_named(self) -> bool:
        stands = self.job.vehicle if self.job is not None and not self._is_corrected("vehicle") else Vehicle()
        return not (stands.plate or stands.vin or stands.description)

    def _over(self, record: Any) -> Any:
        """What stands, with what is said anew in its place; a correction stands as it is given."""
        kind = "vehicle" if isinstance(record, Vehicle) else "customer"
        if self.job is None or self._is_corrected(kind):
            return record
        stands: Vehicle | Customer = self.job.vehicle if isinstance(record, Vehicle) else self.job.customer
        kept = {
            field.name: getattr(record, field.name) or getattr(stands, field.name)
            for field in attrs.fields(type(record))
        }
        if isinstance(record, Vehicle):
            if record.vin is not None:
                kept |= {"vin_check": record.vin_check, "model_years": record.model_years}
            if record.odometer_typed:
                kept["odometer"] = record.odometer
            if (record.vin is not None or record.plate is not None) and not record.why_no_vin:
                kept["why_no_vin"] = ""  # it was why the vehicle could not be named better
        return type(record)(**kept)

    def _is_corrected(self, kind: str) -> bool:
        return self.corrects is not None and self.corrects.kind == kind


def _stage(job: Job | None, corrects: Entry | None) -> int:
    """The stage that rows are read at: the present one; of a correction that of the entry, before the repair
    if it is one.
    """
    stage = corrects.body.get("stage") if corrects is not None else None
    if isinstance(stage, int):
        return stage - 1 if corrects is not None and corrects.kind == "repaired" else stage
    return job.stage if job is not None else 0


def _size_of(data: Any) -> tuple[int, bool]:
    """Characters of all texts and keys together, and whether every key is a text."""
    waiting, size, texts = [data], 0, True
    while waiting and size <= LARGEST:
        item = waiting.pop()
        if isinstance(item, Mapping):
            texts = texts and all(isinstance(key, str) for key in item)
            waiting += [*item, *item.values()]
        elif isinstance(item, list):
            waiting += item
        size += len(item) if isinstance(item, str) else 1
    return size, texts
