"""A visit file: one job, typed in the order it happened, becomes Drafts for the store.

The form stands in `form.py`; here its rows get their meaning. Everything that is wrong is reported at once,
each with its place, and nothing is skipped: what cannot be taken in is a fault, and one fault refuses the
whole file.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeVar

import attrs

from .. import units
from ..model.entry import Draft
from ..model.job import stage_name
from ..model.measurand import DONT_KNOW, Measurand, Trait, answers_of
from ..model.money import Money, minor_digits
from ..model.personal import PersonalText
from ..model.records import (
    ENDED_HOW,
    LEFT_BECAUSE,
    WAIVED_BECAUSE,
    WAIVED_CHARGES,
    WANTED_ON,
    Came,
    CodesRead,
    Customer,
    Ended,
    Fitted,
    Instrument,
    Left,
    Measured,
    Opened,
    Paid,
    Remarked,
    Repaired,
    Seen,
    Setup,
    Specified,
    Started,
    Vehicle,
    Waived,
    Wanted,
    body_of,
)
from ..model.trouble import CodeError, read_code
from ..model.vin import Check, VinError, read_vin
from ..units import TypedError
from .datasheet import Sheet
from .declared import Declared
from .examination import Examination
from .fault import Fault, Faults, Place, VisitError, any_of, near, path_text, quoted
from .file import read_data
from .form import (
    AgreedStep,
    CameStep,
    CodesRow,
    CustomerRow,
    EndedStep,
    InstrumentRow,
    LeftStep,
    PaidStep,
    ReadingRow,
    RemarkedStep,
    SeenRow,
    SetupValue,
    SpecificationRow,
    StartedStep,
    StepRow,
    VehicleRow,
    VisitForm,
    WaivedStep,
    WantedStep,
    structured,
)

__all__ = ["AgreedRow", "Fault", "VisitFile", "VisitError", "read_visit"]


@attrs.frozen(kw_only=True)
class AgreedRow:
    """An agreement as the file states it: to the offer of this printed name and total, without a currency.

    Whoever keeps the offers binds it to the offered Document's hash and refuses another total.
    """

    offer: str
    total: Decimal
    by: str
    how: str
    declined: tuple[str, ...] = ()
    taken: str = ""
    at: str = ""


@attrs.frozen(kw_only=True)
class VisitFile:
    """What a visit file says.

    Attributes:
        origin: The file's own name for its job; a re-import is compared under it.
        demo: Marked as a demonstration; a real store refuses it.
        steps: Everything in the order of the file, agreements among the drafts.
        remarks: What is odd but no fault, one sentence each.
        instruments_declared: Names of the instruments that the file describes. instruments_used: that its
            readings name.
    """

    origin: str
    demo: bool
    steps: tuple[Draft | AgreedRow, ...]
    remarks: tuple[str, ...] = ()
    instruments_declared: frozenset[str] = frozenset()
    instruments_used: frozenset[str] = frozenset()

    @property
    def drafts(self) -> tuple[Draft, ...]:
        return tuple(step for step in self.steps if isinstance(step, Draft))

    @property
    def agreements(self) -> tuple[AgreedRow, ...]:
        return tuple(step for step in self.steps if isinstance(step, AgreedRow))


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
    form = structured(data, faults)
    visit = Reader(declared, form, faults).visit()
    if faults.found:
        raise VisitError(faults.in_order_of(data), where)
    return visit


_JOB = re.compile(r"\w[\w .-]{0,63}")
_AMOUNT = re.compile(r"(?P<whole>[0-9]{1,9})(?:\.(?P<point>[0-9]{1,3})|,(?P<comma>[0-9]{1,2}))?")
CODE_STATES = ("stored", "pending", "permanent")
_LONGEST_WAIT = 14 * 86400.0  # s; a part left to rest, or a leak watched, over two weeks
_LONGEST_NUMBER = 40  # characters of an invoice's number
_FARTHEST = 5e9  # m; five million kilometres, more than any vehicle drove


_Single = TypeVar("_Single", Vehicle, Customer)


class Reader:
    """One pass over a form.

    Methods add to `steps` and `faults`. `setup_alone`: a setup may stand without a reading, as one that is
    corrected does.
    """

    setup_alone = False

    def __init__(self, declared: Declared, form: VisitForm, faults: Faults) -> None:
        self.declared = declared
        self.form, self.faults = form, faults
        self.examination = Examination(faults, declared.decimal)
        self.steps: list[Draft | AgreedRow] = []
        self.remarks: list[str] = []
        self.stage = 0
        self.counts: Counter[str] = Counter()
        self.instruments: dict[str, InstrumentRow] = {
            name: row for name, row in (form.instruments or {}).items() if row is not None
        }
        self.used: dict[str, dict[str, Measurand]] = {}
        self.usual = {
            key: name for name, row in self.instruments.items() for key in row.for_ or [] if key is not None
        }

    def visit(self) -> VisitFile:
        form = self.form
        self._opened(form)
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
        return VisitFile(
            origin=form.job or "",
            demo=bool(form.demo),
            steps=tuple(self.steps),
            remarks=tuple(self.remarks),
            instruments_declared=frozenset(form.instruments or {}),
            instruments_used=frozenset(self.used),
        )

    # ---- who and what

    def _opened(self, form: VisitForm) -> None:
        job = form.job or ""
        if self._given(
            ("job",), form.job, "this file's name for the job", '"first-visit", a name of your own'
        ) and not _JOB.fullmatch(job):
            self.faults.add(
                ("job",),
                f"{quoted(job)} cannot name a job",
                "up to 64 letters, digits, spaces, dots and hyphens, not beginning with a mark",
            )
        self._given(("reason",), form.reason, "the customer's words", '"Does not crank in the morning."')
        record = Opened(origin=form.job or "", words=personal("words", form.reason), demo=bool(form.demo))
        self._say("opened", "opened", body_of(record), ())

    def _customer(self, row: CustomerRow | None) -> None:
        if row is None:
            return
        given = {
            name: self._full(("customer", name), getattr(row, name)) for name in ("name", "phone", "address")
        }
        if not any(given.values()) and not any(self.faults.at(("customer", name)) for name in given):
            self.faults.add(
                ("customer",), "is empty", "name, phone or address", "what is known, or leave customer away"
            )
        record = Customer(**{name: personal(name, text) for name, text in given.items()})
        self._say("customer", "customer", body_of(self._over(record)), ("customer",))

    def _vehicle(self, row: VehicleRow | None) -> None:
        path: Place = ("vehicle",)
        if row is None:
            self._given(path, row, "which vehicle it is", '{ plate = "…", odometer = "98400 km" }')
            return
        given = {
            name: self._full((*path, name), getattr(row, name)) for name in ("plate", "vin", "told", "no_vin")
        }
        vin_wrong = self.faults.at((*path, "vin"))
        if self._must_be_named() and not any(
            given[name] or self.faults.at((*path, name)) for name in ("plate", "told", "vin")
        ):
            self.faults.add(
                path, "is not named", "plate, vin or told", 'plate, vin, or told = "make, model, year"'
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
            told=personal("told", given["told"]),
            why_no_vin=given["no_vin"] or "",
            **self._vin((*path, "vin"), given["vin"]),
            **self._odometer((*path, "odometer"), row.odometer),
        )
        self._say("vehicle", "vehicle", body_of(self._over(record)), path)

    def _must_be_named(self) -> bool:
        """True where the vehicle's row has to say which one it is."""
        return True

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
                f"{quoted(text)}: {error.got}",
                "17 capitals and digits without I, O and Q",
                error.write,
            )
            return {}
        if vin.check is Check.DIFFERS:
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

    def _odometer(self, path: Place, text: str | None) -> dict[str, Any]:
        if text is None:
            return {}
        typed = self.examination.quantity(path, text, ["km"])
        if typed is None:
            return {}
        if not 0 <= typed.number <= _FARTHEST:
            self.faults.add(path, f"{quoted(text)} is no distance that a vehicle drove", "0 to 5 000 000 km")
        return {"odometer": typed.number, "odometer_typed": text}

    def _trait(self, path: Place, key: str, typed: str | None) -> None:
        trait = self.declared.traits.get(key)
        if trait is None:
            self.faults.add(path, *self.declared.unknown(key, "a trait", self.declared.traits))
            return
        if typed is None:
            return
        record = self._answered(path, trait, typed)
        if record is not None:
            self._say("fitted", f"{stage_name(self.stage)}/{key}/", body_of(record), path)

    def _answered(self, path: Place, trait: Trait, typed: str) -> Fitted | None:
        if _words_of(typed) in (DONT_KNOW, "dont know"):
            return Fitted(of=trait.key, typed=typed, stage=self.stage)
        if trait.answers is not None:
            answers = {_words_of(word): word for word in answers_of(trait.answers)}
            word = answers.get(_words_of(typed))
            if word is None:
                choices = [*answers_of(trait.answers), DONT_KNOW]
                listed = any_of(map(quoted, choices))
                self.faults.add(
                    path,
                    f"{quoted(typed)} is not an answer",
                    listed,
                    near(typed, choices) or f"one of {listed}",
                )
                return None
            return Fitted(of=trait.key, typed=typed, stage=self.stage, answer=word)
        read = self.examination.quantity(path, typed, trait.units)
        if read is None:
            return None
        if not trait.possible.holds(read.number):
            self.examination.impossible(path, read, trait.possible, trait.possible, trait.units[0])
        return Fitted(of=trait.key, typed=typed, stage=self.stage, kind=read.kind, number=read.number)

    # ---- instruments and this vehicle's own limits

    def _instrument(self, path: Place, name: str, row: InstrumentRow | None) -> None:
        if row is None:
            return
        sheet = Sheet(
            accuracy=row.accuracy or "",
            ranges={label: step for label, step in (row.ranges or {}).items() if step is not None},
            step=row.step or "",
            interval=self._full((*path, "interval"), row.interval) or "",
            reads=list(dict.fromkeys(measurand.unit for measurand in self.used.get(name, {}).values())),
        )
        self._given((*path, "accuracy"), row.accuracy, "the accuracy on its sheet", '"0.5 % + 2 digits"')
        for place, got, expected, write in sheet.faults():
            self.faults.add((*path, *place), got, expected, write)
        for n, key in enumerate(row.for_ or []):
            if key is not None:
                self._known((*path, "for", n), key, "a reading", self.declared.measurands)
        record = Instrument(
            name=name,
            accuracy=sheet.accuracy,
            ranges=dict(sheet.ranges),
            calibrated=row.calibrated or "",
            kind=row.kind or "",
            step=sheet.step,
            interval=sheet.interval,
        )
        self._say("instrument", f"instrument/{name}", body_of(record), path)

    def _specification(self, path: Place, row: SpecificationRow | None) -> None:
        if row is None:
            return
        measurand = self._known((*path, "of"), row.of, "a reading", self.declared.measurands)
        self._given((*path, "from"), row.from_, "what it was read off", '"label under the bonnet"')
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        if not (row.low or row.high) and not any(self.faults.at((*path, end)) for end in ("low", "high")):
            self.faults.add(path, "has neither low nor high", "low, high or both", 'low = "…"')
        if measurand is None:
            return
        confirmed = bool(row.confirmed) or reason is not None
        low, high = (
            self.examination.end((*path, end), text, measurand, confirmed)
            for end, text in (("low", row.low), ("high", row.high))
        )
        if low is not None and high is not None:
            self.examination.apart(path, low, high, confirmed)
        record = Specified(
            of=measurand.key,
            where_from=row.from_ or "",
            kind=measurand.kind,
            low=low.number if low else None,
            high=high.number if high else None,
            low_typed=low.text if low else "",
            high_typed=high.text if high else "",
            confirmed=bool(row.confirmed),
        )
        self._say("specified", f"specification/{measurand.key}", body_of(record), path, withdrawn=reason)

    # ---- steps

    def _step(self, path: Place, step: StepRow) -> None:
        said = (
            "came",
            "remarked",
            "agreed",
            "wanted",
            "started",
            "repaired",
            "waived",
            "paid",
            "left",
            "ended",
        )
        groups = [name for name in said if getattr(step, name) is not None]
        if step.setup is not None or step.readings or step.seen or step.codes is not None:
            groups.append("readings")
        wrong = any(
            place[: len(path)] == path and len(place) == len(path) + 1 for place in self.faults.places
        )
        if not groups and not wrong:
            self.faults.add(
                path,
                "is empty",
                "came, remarked, agreed, setup, readings, seen, codes, wanted, started, repaired, waived,"
                " paid, left or ended",
            )
        if "repaired" in groups and len(groups) > 1:
            others = any_of(name for name in groups if name != "repaired")
            self.faults.add(
                path,
                f"does not say whether {others} came before or after the repair",
                "repaired alone in its step",
                "a [[step]] for each",
            )
        if step.came is not None:
            self._came((*path, "came"), step.came)
        if step.remarked is not None:
            self._remarked((*path, "remarked"), step.remarked)
        if step.agreed is not None:
            self._agreed((*path, "agreed"), step.agreed)
        if step.wanted is not None:
            self._wanted((*path, "wanted"), step.wanted)
        if "readings" in groups:
            self._readings(path, step)
        if step.started is not None:
            self._started((*path, "started"), step.started)
        if step.repaired is not None:
            self._repaired((*path, "repaired"), step.repaired)
        if step.waived is not None:
            self._waived((*path, "waived"), step.waived)
        if step.paid is not None:
            self._paid((*path, "paid"), step.paid)
        if step.left is not None:
            self._left((*path, "left"), step.left)
        if step.ended is not None:
            self._ended((*path, "ended"), step.ended)

    def _readings(self, path: Place, step: StepRow) -> None:
        setup = ""
        if step.setup is not None:
            if not step.readings and not self.setup_alone and not self.faults.at((*path, "readings")):
                self.faults.add(
                    (*path, "setup"),
                    "belongs to no reading",
                    "readings in the same step",
                    "the readings it was taken for beside it",
                )
            setup = self._setup((*path, "setup"), step.setup)
        for n, reading in enumerate(step.readings or []):
            if reading is not None:
                self._reading((*path, "readings", n), reading, setup)
        for n, seen in enumerate(step.seen or []):
            if seen is not None:
                self._seen((*path, "seen", n), seen)
        if step.codes is not None:
            self._codes((*path, "codes"), step.codes)

    def _setup(self, path: Place, given: Mapping[str, SetupValue | None]) -> str:
        if not given:
            self.faults.add(
                path, "is empty", "what the readings were taken with", "the values, or leave setup away"
            )
        values: dict[str, dict[str, Any]] = {}
        for key, value in given.items():
            place = (*path, key)
            measurand = self._known(place, key, "a reading", self.declared.measurands)
            if (
                value is None
                or not self._given((*place, "is"), value.is_, "the value", '"4 °C"')
                or measurand is None
            ):
                continue
            typed = value.is_ or ""
            instrument = self._instrument_named(place, measurand, value.with_, value.range_)
            read = self.examination.reading(place, measurand, typed, bool(value.confirmed), span=value.range_)
            if read is not None:
                record = Measured(
                    of=key,
                    typed=typed,
                    kind=read.kind,
                    number=read.number,
                    stage=self.stage,
                    instrument=instrument,
                    span=value.range_ or "",
                    confirmed=bool(value.confirmed),
                    half_width=read.half_width,
                    loosely=read.loosely,
                    usual=bool(instrument) and value.with_ is None,
                )
                values[key] = body_of(record)
        return self._say(
            "setup", f"{stage_name(self.stage)}/setup", body_of(Setup(stage=self.stage, values=values)), path
        )

    def _reading(self, path: Place, row: ReadingRow, setup: str) -> None:
        measurand = self._known((*path, "of"), row.of, "a reading", self.declared.measurands)
        given = self._given((*path, "is"), row.is_, "the reading as it was read", '"12.64 V"')
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        if measurand is None:
            return
        place = self._place((*path, "place"), row.place, measurand.places, measurand.key)
        instrument = self._instrument_named(path, measurand, row.with_, row.range_)
        if not given:
            return
        typed = row.is_ or ""
        # A withdrawn reading may be as odd as it likes: that is often why it was withdrawn.
        if reason:
            read = self.examination.unexamined((*path, "is"), measurand, typed, place)
        else:
            read = self.examination.reading(
                (*path, "is"), measurand, typed, bool(row.confirmed), place, row.range_
            )
        if read is None:
            return
        record = Measured(
            of=measurand.key,
            typed=typed,
            kind=read.kind,
            number=read.number,
            place=place,
            stage=self.stage,
            instrument=instrument,
            span=row.range_ or "",
            setup=setup,
            confirmed=bool(row.confirmed),
            half_width=read.half_width,
            loosely=read.loosely,
            usual=bool(instrument) and row.with_ is None,
        )
        self._say(
            "measured",
            f"{stage_name(self.stage)}/{measurand.key}/{place}",
            body_of(record),
            path,
            taken=row.taken,
            withdrawn=reason,
        )

    def _seen(self, path: Place, row: SeenRow) -> None:
        answers = {
            name: getattr(row, f"{name}_" if name == "is" else name) for name in ("is", "cannot", "words")
        }
        given = [name for name, text in answers.items() if text is not None]
        for name in given:
            self._full((*path, name), answers[name])
        if len(given) != 1 and not any(self.faults.at((*path, name)) for name in answers):
            self.faults.add(
                path,
                f"has {' and '.join(given) or 'nothing to say'}",
                "one of is, cannot or words",
                "one of is, cannot and words",
            )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        shelves: dict[str, Any] = (
            {**self.declared.observations}
            if row.is_ is not None
            else {**self.declared.observations, **self.declared.measurands}
        )
        what = self._known((*path, "of"), row.of, "an observation", shelves)
        if what is None:
            return
        # What could not be reached may be the whole thing; an answer belongs to one place.
        place = self._place((*path, "place"), row.place, what.places, what.key, needed=row.cannot is None)
        answer = ""
        if row.is_ is not None:
            words = {_words_of(word): word for word in answers_of(what.answers)}
            answer = words.get(_words_of(row.is_), "")
            if not answer and row.is_.strip():
                listed = any_of(map(quoted, words.values()))
                cure = near(row.is_, words.values()) or f'one of {listed}, or words = "…"'
                self.faults.add((*path, "is"), f"{quoted(row.is_)} is not an answer", listed, cure)
        record = Seen(
            of=what.key,
            place=place,
            stage=self.stage,
            answer=answer,
            cannot=row.cannot or "",
            words=personal("words", row.words),
        )
        self._say(
            "seen",
            f"{stage_name(self.stage)}/{what.key}/{place}",
            body_of(record),
            path,
            taken=row.taken,
            withdrawn=reason,
        )

    def _codes(self, path: Place, row: CodesRow) -> None:
        lists = {state: getattr(row, state) for state in CODE_STATES if getattr(row, state) is not None}
        cannot, reason = (
            self._full((*path, "cannot"), row.cannot),
            self._full((*path, "withdrawn"), row.withdrawn),
        )
        wrong = any(place[: len(path)] == path for place in self.faults.places)
        if not lists and cannot is None and not wrong:
            self.faults.add(
                path,
                "says nothing",
                "stored, pending or permanent, or cannot with the reason",
                "{ stored = [] } when it was read and holds none",
            )
        if lists and cannot is not None:
            self.faults.add(
                (*path, "cannot"),
                f"{any_of(lists)} was read beside it",
                "one of the two",
                "the lists that were read, or cannot alone",
            )
        for state, typed in lists.items():
            codes = [
                code
                for n, text in enumerate(typed)
                if text is not None and (code := self._code((*path, state, n), text))
            ]
            for code in [code for code, count in Counter(codes).items() if count > 1]:
                self.faults.add((*path, state), f"{code} stands there twice", "each code once", "it once")
            record = CodesRead(stage=self.stage, state=state, codes=codes)
            self._say(
                "codes",
                f"{stage_name(self.stage)}/codes/{state}",
                body_of(record),
                path,
                taken=row.taken,
                withdrawn=reason,
            )
        if cannot is not None and not lists:
            record = CodesRead(stage=self.stage, cannot=cannot)
            self._say(
                "codes",
                f"{stage_name(self.stage)}/codes/",
                body_of(record),
                path,
                taken=row.taken,
                withdrawn=reason,
            )

    def _code(self, path: Place, text: str) -> str:
        try:
            code = read_code(text)
        except CodeError as error:
            self.faults.add(path, error.got, error.expected, error.write)
            return ""
        if code == "P0000":
            self.faults.add(
                path,
                f"{quoted(text)} fills up a message and is no code",
                "a code",
                "the list without it; [] when nothing is left",
            )
            return ""
        return code

    def _wanted(self, path: Place, row: WantedStep) -> None:
        operation = self._known((*path, "operation"), row.operation, "an operation", self.declared.operations)
        ground = self._one_of((*path, "ground"), row.ground, "a ground", "why it is done", WANTED_ON)
        because = self._full((*path, "because"), row.because)
        if row.ground == "judgement" and not because and not self.faults.at((*path, "because")):
            self.faults.add(
                (*path, "because"),
                "is missing; the mechanic's own judgement needs a reason",
                "the reason",
                'because = "…"',
            )
        invoice = self._earlier(
            (*path, "of"), row.of, needed=ground == "rework", only_for=f"the ground {quoted('rework')}"
        )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        if operation is not None:
            record = Wanted(operation=operation.key, ground=ground, because=because or "", invoice=invoice)
            self._say("wanted", f"wanted/{operation.key}", body_of(record), path, withdrawn=reason)

    # ---- visits, waiting, what is not charged, the end

    def _came(self, path: Place, row: CameStep) -> None:
        same = self._full((*path, "same_drive_as"), row.same_drive_as) or ""
        if same and (self.form.job or "") == same:
            self.faults.add(
                (*path, "same_drive_as"),
                f"{quoted(same)} is this very job",
                "the name of the job whose customer pays for the coming",
            )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        record = Came(
            stage=self.stage, same_drive_as=same, **self._odometer((*path, "odometer"), row.odometer)
        )
        self._say("came", "came", body_of(record), path, taken=row.taken, withdrawn=reason)

    def _remarked(self, path: Place, row: RemarkedStep) -> None:
        self._given(
            (*path, "words"), row.words, "what is noted, in free words", '"a scratch along the left door"'
        )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        record = Remarked(words=personal("note", row.words), stage=self.stage)
        self._say(
            "remarked",
            f"{stage_name(self.stage)}/remarked",
            body_of(record),
            path,
            taken=row.taken,
            withdrawn=reason,
        )

    def _left(self, path: Place, row: LeftStep) -> None:
        because = self._one_of(
            (*path, "because"), row.because, "a reason to leave", "why the job stays open", LEFT_BECAUSE
        )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        self._say(
            "left",
            "left",
            body_of(Left(because=because, stage=self.stage, back=row.back or "")),
            path,
            taken=row.taken,
            withdrawn=reason,
        )

    def _started(self, path: Place, row: StartedStep) -> None:
        measurand = self._known((*path, "of"), row.of, "a reading", self.declared.measurands)
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        typed = row.wait or ""
        waits = self._given((*path, "wait"), row.wait, "how long it waits", '"30 min"')
        read = self.examination.quantity((*path, "wait"), typed, ["min"]) if waits else None
        if read is not None and not 0 < read.number <= _LONGEST_WAIT:
            self.faults.add(
                (*path, "wait"),
                f"{quoted(typed)} is no time that a test waits",
                "more than nothing, and at most 14 days",
                '"30 min"',
            )
        if measurand is None:
            return
        # What waits may be the whole thing: no place is asked for.
        place = self._place((*path, "place"), row.place, measurand.places, measurand.key, needed=False)
        if read is not None:
            record = Started(
                of=measurand.key, wait=read.number, wait_typed=typed, place=place, stage=self.stage
            )
            self._say(
                "started",
                f"{stage_name(self.stage)}/started/{measurand.key}/{place}",
                body_of(record),
                path,
                taken=row.taken,
                withdrawn=reason,
            )

    def _waived(self, path: Place, row: WaivedStep) -> None:
        because = self._one_of(
            (*path, "because"), row.because, "a reason not to charge", "why it is not charged", WAIVED_BECAUSE
        )
        invoice = self._earlier(
            (*path, "of"), row.of, needed=because == "guarantee", only_for=f"the reason {quoted('guarantee')}"
        )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        if row.charge is not None and row.operation is not None:
            self.faults.add(
                (*path, "charge"),
                "there is an operation beside it",
                "one of the two",
                "operation or charge, a step for each",
            )
        what = ""
        if row.charge is not None:
            what = self._one_of(
                (*path, "charge"),
                row.charge,
                "a part of coming and looking",
                "what is not charged",
                WAIVED_CHARGES,
            )
            if because == "did not fix":
                self.faults.add(
                    (*path, "because"),
                    f"only work can have done so, not {row.charge}",
                    any_of(WAIVED_BECAUSE[1:]),
                    quoted("goodwill"),
                )
        else:
            operation = self._known(
                (*path, "operation"), row.operation, "an operation", self.declared.operations
            )
            what = operation.key if operation is not None else ""
        record = Waived(
            because=because, invoice=invoice, **{"charge" if row.charge is not None else "operation": what}
        )
        self._say("waived", f"waived/{what}", body_of(record), path, withdrawn=reason)

    def _ended(self, path: Place, row: EndedStep) -> None:
        how = self._one_of((*path, "how"), row.how, "an end", "how the job ended", ENDED_HOW)
        self._given(
            (*path, "because"),
            row.because,
            "the reason, as the paper says it",
            '"no fault showed in an hour of looking"',
        )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        record = Ended(how=how, because=(row.because or "").strip(), stage=self.stage)
        self._say("ended", "ended", body_of(record), path, taken=row.taken, withdrawn=reason)

    def _one_of(
        self, path: Place, given: str | None, what: str, expected: str, choices: tuple[str, ...]
    ) -> str:
        """One word of a closed list; what else was said is a fault and comes back as it was."""
        if (
            self._given(path, given, f"{expected}: {any_of(choices)}", quoted(choices[0]))
            and given not in choices
        ):
            self.faults.add(
                path,
                f"{quoted(given or '')} is not {what}",
                any_of(choices),
                near(given or "", choices) or any_of(map(quoted, choices)),
            )
        return given or ""

    def _earlier(self, path: Place, number: str | None, *, needed: bool, only_for: str) -> str:
        """The number of an earlier invoice: given where it is needed and nowhere else."""
        if needed:
            self._given(path, number, "the number of the earlier invoice", '"2026-A0001"')
        elif number is not None:
            self.faults.add(
                path, f"an earlier invoice belongs to {only_for}", "no invoice", "the row without of"
            )
        if number is not None and len(number) > _LONGEST_NUMBER:
            self.faults.add(
                path,
                f"{quoted(number)} is no number of an invoice",
                f"at most {_LONGEST_NUMBER} characters",
                "it as it is printed",
            )
        return (number or "").strip()

    def _agreed(self, path: Place, row: AgreedStep) -> None:
        self._given((*path, "offer"), row.offer, "the printed name of the offer", '"repair 1"')
        self._given((*path, "by"), row.by, "who agreed", '"customer"')
        self._given((*path, "how"), row.how, "how", '"in person"')
        total = self._amount((*path, "total"), row.total)
        for n, key in enumerate(row.declined or []):
            if key is not None:
                self._known((*path, "declined", n), key, "an operation", self.declared.operations)
        declined = tuple(key for key in row.declined or [] if key is not None)
        said = {name: getattr(row, name) or "" for name in ("offer", "by", "how", "taken")}
        self.steps.append(AgreedRow(**said, total=total or Decimal(0), declined=declined, at=path_text(path)))

    def _repaired(self, path: Place, row: Mapping[str, str | None]) -> None:
        operation = self._known(
            (*path, "operation"), row.get("operation"), "an operation", self.declared.operations
        )
        self.stage += 1
        record = Repaired(operation=operation.key if operation else "", stage=self.stage)
        self._say("repaired", f"{stage_name(self.stage)}/repaired", body_of(record), path)
        for key, typed in row.items():
            if key == "operation":
                continue
            trait = self.declared.traits.get(key)
            if (
                trait is not None
                and operation is not None
                and trait.part
                and trait.part != operation.replaces
            ):
                got = (
                    f"{quoted(key)} belongs to the part {quoted(trait.part)}, which {quoted(operation.key)}"
                    " does not replace"
                )
                self.faults.add((*path, key), got, "traits of the new part")
                continue
            self._trait((*path, key), key, typed)

    def _paid(self, path: Place, row: PaidStep) -> None:
        self._given((*path, "how"), row.how, "how it was paid", '"cash"')
        amount = self._amount((*path, "amount"), row.amount)
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        currency = self.declared.currency
        if not currency:
            self.faults.add(
                path,
                "is in no currency; the shop's price book names none",
                "a shop with a currency",
                'currency = "…" in the price book',
            )
        if amount == 0:
            self.faults.add(
                (*path, "amount"),
                "is no money",
                "the amount received",
                "what was paid, or leave the step away",
            )
        record = Paid(
            amount=Money.of(amount or Decimal(0), currency).minor, currency=currency, how=row.how or ""
        )
        self._say("paid", "paid", body_of(record), path, taken=row.taken, withdrawn=reason)

    def _amount(self, path: Place, text: str | None) -> Decimal | None:
        """An amount of money as a plain decimal number, in no finer steps than the currency has."""
        if not self._given(path, text, "an amount of money", '"318.60"'):
            return None
        match = _AMOUNT.fullmatch((text or "").strip())
        cents = (match["point"] or match["comma"] or "") if match else ""
        if match is None or len(cents) > minor_digits(self.declared.currency):
            expected = "an amount such as 318.60, without currency and without marks between thousands"
            self.faults.add(
                path,
                f"{quoted(text or '')} is not an amount of money",
                expected,
                '"318.60", digits and a decimal point',
            )
            return None
        return Decimal(f"{match['whole']}.{cents or '0'}")

    # ---- what rows share

    def _say(
        self,
        kind: str,
        row: str,
        body: Mapping[str, Any],
        path: Place,
        *,
        taken: str | None = None,
        withdrawn: str | None = None,
    ) -> str:
        """Add a draft; gives its name among the rows of the file, `row#k` with k from 1."""
        self.counts[row] += 1
        self.steps.append(
            Draft(
                kind=kind,
                row=row,
                body=body,
                taken=taken or "",
                reason=withdrawn or "",
                at=path_text(path),
                withdrawn=bool(withdrawn),
            )
        )
        return f"{row}#{self.counts[row]}"

    def _given(self, path: Place, value: object, expected: str, example: str) -> bool:
        """True when a value that must be there is; else a fault, unless its own is known already."""
        if value is None:
            if not self.faults.at(path) and not self.faults.at(path[:-1]):
                self.faults.add(path, "is missing", expected, example)
            return False
        if isinstance(value, str) and not value.strip():
            self.faults.add(path, "is empty", expected, example)
            return False
        return True

    def _full(self, path: Place, text: str | None) -> str | None:
        """A text that may be absent, but not empty."""
        if text is not None and not text.strip():
            self.faults.add(path, "is empty", "text", "what is to be said, or leave it away")
        return text

    def _known(self, path: Place, key: str | None, what: str, shelf: Mapping[str, Any]) -> Any:
        """The declaration of a key, or None with a fault."""
        if not self._given(
            path, key, f"the key of {what}, system.name", f'"{next(iter(shelf), "system.name")}"'
        ):
            return None
        found = shelf.get(key or "")
        if found is None:
            self.faults.add(path, *self.declared.unknown(key or "", what, shelf))
        return found

    def _place(
        self, path: Place, place: str | None, places: tuple[str, ...], key: str, *, needed: bool = True
    ) -> str:
        listed = any_of(map(quoted, places))
        if place is None:
            if places and needed and not self.faults.at(path):
                self.faults.add(
                    path, f"is missing; {key} can be taken at several places", listed, f"place = {listed}"
                )
            return ""
        if not places:
            self.faults.add(
                path, f"{quoted(place)}: {key} has one place only", "no place", "the row without place"
            )
        elif place not in places:
            self.faults.add(
                path, f"{quoted(place)} is not a place of {key}", listed, near(place, places) or listed
            )
        return place

    def _instrument_named(self, path: Place, measurand: Measurand, name: str | None, span: str | None) -> str:
        """The instrument of a reading: as named, else the usual one for it; empty when there is none, or a
        fault.
        """
        named = (
            name
            if name is not None
            else self.usual.get(measurand.key) or self.declared.usual.get(measurand.key)
        )
        if named is None:
            if span is not None:
                self.faults.add(
                    (*path, "range"),
                    "is a range of no instrument",
                    "with beside it",
                    'with = "…", or leave range away',
                )
            return ""
        shop = self.declared.instruments
        own = self.instruments.get(named)
        if named not in (self.form.instruments or {}) and shop is not None and named not in shop:
            choices = [*(self.form.instruments or {}), *shop]
            cure = near(named, choices) or f"a table [instruments.{named}]"
            got = f"{quoted(named)} is neither among the file's instruments nor the shop's"
            self.faults.add((*path, "with"), got, any_of(choices) or "an instrument", cure)
            return ""
        if own is None and shop is not None and named in shop:
            try:
                units.parse_accuracy(shop[named].accuracy, measurand.unit)
            except TypedError as error:
                self.faults.add(
                    (*path, "with"),
                    f"the shop's accuracy of {quoted(named)} does not fit {measurand.key}: {error.got}",
                    error.expected,
                )
        self.used.setdefault(named, {})[measurand.key] = measurand
        ranges = (
            list(own.ranges or {})
            if own is not None
            else list(shop[named].ranges)
            if shop is not None and named in shop
            else None
        )
        if span is not None and ranges is not None and span not in ranges:
            cure = near(span, ranges)
            self.faults.add(
                (*path, "range"),
                f"{quoted(span)} is not a range of {quoted(named)}",
                any_of(map(quoted, ranges)) or "no range",
                cure,
            )
        return named


def personal(kind: str, text: str | None) -> PersonalText | None:
    return PersonalText(kind, text) if text else None


def _words_of(text: str) -> str:
    """A text as it is compared: small letters, single spaces, straight apostrophes."""
    return " ".join(text.replace("’", "'").casefold().split())
