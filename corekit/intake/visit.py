"""A visit file: one job, typed in the order it happened, becomes Drafts for the store.

The form stands in `form.py`; here its rows get their meaning. Everything that is wrong is reported at once,
each with its place, and nothing is skipped: what cannot be taken in is a fault, and one fault refuses the
whole file.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, TypeVar

import attrs

from ..datafile import structured
from ..fault import DataFault, Faults, Place, any_of, path_text, quotation
from ..languages import languages
from ..model.entry import Draft
from ..model.personal import PersonalText
from ..model.records import OLD_PARTS, Customer, OldParts, Opened, Vehicle, body_of
from ..model.vin import VinCheck, VinError, read_vin
from .complaint import ComplaintRows
from .declared import Declared
from .drafts import ApprovedRow, personal
from .evidence import Evidence
from .fault import VisitError
from .file import folder_of, read_data
from .form import CustomerRow, StepRow, VehicleRow, VisitForm
from .work import WorkRows

__all__ = ["ApprovedRow", "VisitError", "VisitFile", "read_visit"]


@attrs.frozen(kw_only=True)
class VisitFile:
    """What a visit file says.

    Attributes:
        origin: The file's own name for its job; a re-import is compared under it.
        demo: Marked as a demonstration; a real store refuses it.
        steps: Everything in the order of the file, approvals among the drafts.
        remarks: What is odd but no fault, one sentence each.
        set_aside: What was wrong or odd with rows that were left out of it; only where a file is looked at
            and not taken in.
        instruments_declared: Names of the instruments that the file describes. instruments_used: that its
            readings name.
    """

    origin: str
    demo: bool
    steps: tuple[Draft | ApprovedRow, ...]
    remarks: tuple[str, ...] = ()
    instruments_declared: frozenset[str] = frozenset()
    instruments_used: frozenset[str] = frozenset()
    set_aside: tuple[DataFault, ...] = ()

    @property
    def drafts(self) -> tuple[Draft, ...]:
        return tuple(step for step in self.steps if isinstance(step, Draft))

    @property
    def approvals(self) -> tuple[ApprovedRow, ...]:
        return tuple(step for step in self.steps if isinstance(step, ApprovedRow))


def read_visit(source: Path | bytes, declared: Declared) -> VisitFile:
    """Read a visit file, TOML or the same structure as JSON.

    Args:
        source: The file, or its content.
        declared: What the installed systems and the shop know.

    Raises:
        VisitError: every fault at once, each with its key path, what was expected and what to write.
    """
    where = source.name if isinstance(source, Path) else ""
    try:
        data = read_data(source)
    except VisitError as error:
        raise VisitError(error.faults, where) from error
    faults = Faults()
    form = structured(data, VisitForm, faults)
    visit = Reader(declared, form, faults, folder_of(source)).visit()
    if faults.found:
        raise VisitError(faults.in_order_of(data), where)
    return visit


JOB = re.compile(r"\w[\w .-]{0,63}")


_Single = TypeVar("_Single", Vehicle, Customer)


class Reader(Evidence, WorkRows, ComplaintRows):
    """One pass over a form.

    `only_looked_at`: nothing is taken in, so it need not say what the customer said and which vehicle it is.
    """

    only_looked_at = False

    def visit(self) -> VisitFile:
        form = self.form
        self._read_opening(form)
        self._complaint(form.complaint)
        self._customer(form.customer)
        self._vehicle(form.vehicle)
        for key, typed in (form.traits or {}).items():
            self._trait(("traits", key), key, typed)
        place = len(self.steps)
        for n, specification in enumerate(form.specification or []):
            self._specification(("specification", n), specification)
        for n, step in enumerate(form.step or []):
            if step is not None:
                self._step(("step", n), step)
        # Instruments are judged by what was read with them, but stand before it.
        after, self.steps = self.steps[place:], self.steps[:place]
        for name, row in (form.instruments or {}).items():
            self._instrument(("instruments", name), name, row)
        self.steps += after
        self._remark_unread()
        return VisitFile(
            origin=form.job or "",
            demo=bool(form.demo),
            steps=tuple(self.steps),
            remarks=tuple(self.remarks),
            instruments_declared=frozenset(form.instruments or {}),
            instruments_used=frozenset(self.used),
        )

    def _read_opening(self, form: VisitForm) -> None:
        job = form.job or ""
        if self._is_given(
            ("job",), form.job, "this file's name for the job", '"first-visit", a name of your own'
        ) and not JOB.fullmatch(job):
            self.faults.add(
                ("job",),
                f"{quotation(job)} cannot name a job",
                "up to 64 letters, digits, spaces, dots and hyphens, not beginning with a mark",
            )
        if form.reason is not None or not self.only_looked_at:
            self._is_given(
                ("reason",), form.reason, "the customer's words", '"Does not crank in the morning."'
            )
        record = Opened(
            origin=PersonalText("job_name", form.job or ""),
            words=personal("words", form.reason),
            demo=bool(form.demo),
        )
        self._say("opened", "opened", body_of(record), ())

    def _customer(self, row: CustomerRow | None) -> None:
        if row is None:
            return
        given = {
            name: self._full(("customer", name), getattr(row, name))
            for name in ("name", "phone", "address", "email", "tax_number", "order_number")
        }
        if not any(given.values()) and not any(self.faults.at(("customer", name)) for name in given):
            self.faults.add(
                ("customer",), "is empty", "name, phone or address", "what is known, or omit customer"
            )
        language = (row.language or "").strip()
        if row.language is not None and language not in languages():
            got = f"{quotation(row.language)} is no language that papers can be in"
            self.faults.add(("customer", "language"), got, any_of(map(quotation, languages())), '"en"')
        said = {name: personal(name, text) for name, text in given.items()}
        record = Customer(**said, language=language)
        self._say("customer", "customer", body_of(self._over(record)), ("customer",))

    def _vehicle(self, row: VehicleRow | None) -> None:
        path: Place = ("vehicle",)
        if row is None:
            if self._must_be_named():
                self._is_given(path, row, "which vehicle it is", '{ plate = "…", odometer = "98400 km" }')
            return
        given = {
            name: self._full((*path, name), getattr(row, name))
            for name in ("plate", "vin", "description", "no_vin")
        }
        vin_wrong = self.faults.at((*path, "vin"))
        if self._must_be_named() and not any(
            given[name] or self.faults.at((*path, name)) for name in ("plate", "description", "vin")
        ):
            self.faults.add(
                path,
                "is not named",
                "plate, vin or description",
                'plate, vin, or description = "make, model, year"',
            )
        elif (
            self._must_be_named()
            and not (given["vin"] or vin_wrong or given["plate"] or given["no_vin"])
            and not self.faults.at((*path, "no_vin"))
        ):
            self.faults.add(
                (*path, "no_vin"),
                "there is neither VIN nor plate, and no reason",
                "the reason",
                'no_vin = "why it could not be read"',
            )
        if given["vin"] and given["no_vin"]:
            self.faults.add(
                (*path, "no_vin"), "there is a VIN beside it", "one of the two", "vin or no_vin, not both"
            )
        record = Vehicle(
            plate=personal("plate", given["plate"]),
            description=personal("description", given["description"]),
            why_no_vin=given["no_vin"] or "",
            **self._vin((*path, "vin"), given["vin"]),
            **self._odometer((*path, "odometer"), row.odometer),
        )
        self._say("vehicle", "vehicle", body_of(self._over(record)), path)

    def _must_be_named(self) -> bool:
        """True where the vehicle's row has to say which one it is: what is only looked at needs no name."""
        return not self.only_looked_at

    def _over(self, record: _Single) -> _Single:
        """What the one row about vehicle or customer comes to, where something of it was said before."""
        return record

    def _vin(self, path: Place, text: str | None) -> dict[str, Any]:
        if not text:
            return {}
        try:
            vin = read_vin(text)
        except VinError as error:
            self.faults.add(
                path,
                f"{quotation(text)}: {error.got}",
                "17 capitals and digits without I, O and Q",
                error.write,
            )
            return {}
        if vin.check is VinCheck.DIFFERS:
            weight = (
                "its region demands one, so a character is probably wrong"
                if vin.mandatory
                else "many regions use none, so this may be right"
            )
            self.remarks.append(
                f"{path_text(path)}: the check digit (position 9) would be {vin.expected}; {weight}. Compare"
                " it with the stamped number."
            )
        return {
            "vin": personal("vin", vin.text),
            "vin_check": str(vin.check),
            "model_years": list(vin.model_years),
        }

    def _step(self, path: Place, step: StepRow) -> None:
        said = (
            "arrived",
            "remarked",
            "approved",
            "tried",
            "complaint_again",
            "requested",
            "planned",
            "recalled",
            "started",
            "repaired",
            "serviced",
            "priced",
            "waived",
            "charged",
            "approved_more",
            "old_parts",
            "discounted",
            "paid",
            "refunded",
            "announced",
            "written_off",
            "left",
            "ended",
        )
        groups = [name for name in said if getattr(step, name) is not None]
        if step.setup is not None or step.readings or step.records or step.seen or step.codes is not None:
            groups.append("readings")
        wrong = any(
            place[: len(path)] == path and len(place) == len(path) + 1 for place in self.faults.places
        )
        if not groups and not wrong:
            self.faults.add(
                path,
                "is empty",
                "arrived, remarked, approved, setup, readings, records, seen, codes, tried, complaint_again,"
                " requested, planned, recalled, started, repaired, serviced, priced, waived, charged,"
                " approved_more, old_parts, discounted, paid, refunded, announced, written_off, left"
                " or ended",
            )
        if "repaired" in groups and len(groups) > 1:
            others = any_of(name for name in groups if name != "repaired")
            self.faults.add(
                path,
                f"does not say whether {others} came before or after the repair",
                "repaired alone in its step",
                "a [[step]] for each",
            )
        if step.arrived is not None:
            self._read_arrived((*path, "arrived"), step.arrived)
        if step.remarked is not None:
            self._read_remarked((*path, "remarked"), step.remarked)
        if step.approved is not None:
            self._read_approved((*path, "approved"), step.approved)
        if step.requested is not None:
            self._read_requested((*path, "requested"), step.requested)
        if "readings" in groups:
            self._readings(path, step)
        if step.tried is not None:
            self._read_tried((*path, "tried"), step.tried)
        if step.complaint_again is not None:
            self._complaint_again((*path, "complaint_again"), step.complaint_again)
        if step.planned is not None:
            self._planned((*path, "planned"), step.planned)
        if step.recalled is not None:
            self._recalled((*path, "recalled"), step.recalled)
        if step.started is not None:
            self._read_started((*path, "started"), step.started)
        if step.repaired is not None:
            self._read_repaired((*path, "repaired"), step.repaired)
        if step.serviced is not None:
            self._serviced((*path, "serviced"), step.serviced)
        if step.priced is not None:
            self._priced((*path, "priced"), step.priced)
        if step.waived is not None:
            self._read_waived((*path, "waived"), step.waived)
        if step.charged is not None:
            self._read_charged((*path, "charged"), step.charged)
        if step.approved_more is not None:
            self._approved_more((*path, "approved_more"), step.approved_more)
        if step.old_parts is not None:
            choice = self._one_of(
                (*path, "old_parts"), step.old_parts, "a choice", "what becomes of old parts", OLD_PARTS
            )
            self._say("old_parts", "old_parts", body_of(OldParts(choice=choice)), path)
        if step.discounted is not None:
            self._read_discounted((*path, "discounted"), step.discounted)
        if step.paid is not None:
            self._read_paid((*path, "paid"), step.paid)
        if step.refunded is not None:
            self._read_paid((*path, "refunded"), step.refunded, "refunded")
        if step.announced is not None:
            self._read_paid((*path, "announced"), step.announced, "announced")
        if step.written_off is not None:
            self._written_off((*path, "written_off"), step.written_off)
        if step.left is not None:
            self._read_left((*path, "left"), step.left)
        if step.ended is not None:
            self._read_ended((*path, "ended"), step.ended)
