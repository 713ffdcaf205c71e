"""What was done, approved and paid: the steps of a visit file that are no evidence."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal

from ..errors import InputError
from ..fault import Place, any_of, path_text, quotation
from ..model.cancellation import CancellationAnswer
from ..model.job import stage_name
from ..model.money import Money, minor_digits
from ..model.own_work import is_own_work, own_work_name
from ..model.records import (
    ENDED_HOW,
    LEFT_BECAUSE,
    REQUESTED_ON,
    WAIVED_BECAUSE,
    WAIVED_CHARGES,
    Announced,
    ApprovedMore,
    Arrived,
    Charged,
    Discounted,
    Ended,
    Left,
    Paid,
    Planned,
    Recalled,
    Remarked,
    Repaired,
    Requested,
    Serviced,
    Started,
    Waived,
    WrittenOff,
    body_of,
)
from .drafts import ApprovedRow, Drafts, personal
from .form import (
    ApprovedMoreStep,
    ApprovedStep,
    ArrivedStep,
    ChargedStep,
    DiscountedStep,
    EndedStep,
    LeftStep,
    PaidStep,
    PlannedStep,
    PricedStep,
    RecalledStep,
    RemarkedStep,
    RequestedStep,
    ServicedStep,
    StartedStep,
    WaivedStep,
    WrittenOffStep,
)
from .prices import PriceRows

_AMOUNT = re.compile(r"(?P<whole>[0-9]{1,9})(?:\.(?P<point>[0-9]{1,3})|,(?P<comma>[0-9]{1,2}))?")
_TIME = re.compile(r"(?:[01]?[0-9]|2[0-3]):[0-5][0-9]")
_LONGEST_WAIT = 14 * 86400.0  # s; a part left to rest, or a leak watched, over two weeks
_LONGEST_NUMBER = 40  # characters of an invoice's number
# It is printed and published, so it holds no words.
_NUMBER = re.compile(rf"(?=.*[0-9])[A-Za-z0-9./_-]{{1,{_LONGEST_NUMBER}}}")
LONGEST_CAUSE = 80  # characters that say what was wrong: a line on the first sheet


class WorkRows(Drafts):
    """Rows about work, money, waiting and the end."""

    def _read_requested(self, path: Place, row: RequestedStep) -> None:
        key = self._own_named(path, row) if row.work is not None else self._work(path, row.operation)
        ground = self._one_of((*path, "ground"), row.ground, "a ground", "why it is done", REQUESTED_ON)
        because = self._full((*path, "because"), row.because)
        if row.ground == "judgement" and not because and not self.faults.at((*path, "because")):
            self.faults.add(
                (*path, "because"),
                "is missing; the mechanic's own judgement needs a reason",
                "the reason",
                'because = "…"',
            )
        invoice = self._earlier(
            (*path, "of"), row.of, needed=ground == "rework", only_for=f"the ground {quotation('rework')}"
        )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        if key:
            record = Requested(operation=key, ground=ground, because=because or "", invoice=invoice)
            self._say("requested", f"requested/{key}", body_of(record), path, withdrawn=reason)

    def _own_named(self, path: Place, row: RequestedStep) -> str:
        """The name of work that no system declares; asked for, it is known from here on."""
        if row.operation is not None:
            self.faults.add((*path, "work"), "there is an operation beside it", "one of the two")
        try:
            name = own_work_name(row.work or "")
        except InputError as error:
            self.faults.add((*path, "work"), str(error), "", '"Oil change"')
            return ""
        # The name as it is known already, so that one work has one price whoever types it.
        name = next((own for own in self._own_work() if own.casefold() == name.casefold()), name)
        self.named.append(name)
        return name

    def _own_work(self) -> list[str]:
        """Names of all work of the shop's own that is known here."""
        return [*self.named, *self.declared.own_work]

    def _work(self, path: Place, key: str | None, field: str | int = "operation") -> str:
        """The key of an operation, or the name of own work; empty with a fault."""
        own = next((name for name in self._own_work() if name.casefold() == (key or "").casefold()), "")
        if own:
            return own
        if key and is_own_work(key):
            self.faults.add(
                (*path, field),
                f"{quotation(key)} is neither the key of an operation nor work that was asked for",
                "the key of an operation, system.name, or own work that was asked for",
                f"requested = {{ work = {quotation(key)}, … }} in an earlier step",
            )
            return ""
        operation = self._declaration((*path, field), key, "an operation", self.declared.operations)
        return operation.key if operation is not None else ""

    def _serviced(self, path: Place, row: ServicedStep) -> None:
        """Work of the shop's own was done; it opens no stage, because no reading rests on it."""
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        if not self._is_given((*path, "work"), row.work, "the name of the work", '"Oil change"'):
            return
        key = self._work(path, row.work, "work")
        if key and not is_own_work(key):
            got = f"{quotation(key)} is an operation of a system"
            self.faults.add(
                (*path, "work"), got, "own work", f"repaired = {{ operation = {quotation(key)} }}"
            )
        elif key:
            record = Serviced(operation=key, stage=self.stage)
            self._say(
                "serviced",
                f"serviced/{key}",
                body_of(record),
                path,
                taken=row.taken,
                withdrawn=reason,
            )

    def _priced(self, path: Place, row: PricedStep) -> None:
        key = self._work(path, row.operation)
        record = PriceRows(self.faults, self.declared.rates).read(path, row, key)
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        if key:
            self._say("priced", f"priced/{key}", body_of(record), path, withdrawn=reason)

    def _read_started(self, path: Place, row: StartedStep) -> None:
        measurand = self._declaration((*path, "of"), row.of, "a reading", self.declared.measurands)
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        typed = row.wait or ""
        waits = self._is_given((*path, "wait"), row.wait, "how long it waits", '"30 min"')
        read = self.examination.quantity((*path, "wait"), typed, ["min"]) if waits else None
        if read is not None and not 0 < read.number <= _LONGEST_WAIT:
            self.faults.add(
                (*path, "wait"),
                f"{quotation(typed)} is no time that a test waits",
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

    def _read_repaired(self, path: Place, row: Mapping[str, str | None]) -> None:
        operation = self._declaration(
            (*path, "operation"), row.get("operation"), "an operation", self.declared.operations
        )
        self.stage += 1
        cause = self._cause((*path, "cause"), row.get("cause"))
        record = Repaired(operation=operation.key if operation else "", stage=self.stage, cause=cause)
        self._say("repaired", f"{stage_name(self.stage)}/repaired", body_of(record), path)
        for key, typed in row.items():
            if key in ("operation", "cause"):
                continue
            trait = self.declared.traits.get(key)
            if (
                trait is not None
                and operation is not None
                and trait.part
                and trait.part != operation.replaces
            ):
                got = (
                    f"{quotation(key)} belongs to the part {quotation(trait.part)}, which"
                    f" {quotation(operation.key)} does not replace"
                )
                self.faults.add((*path, key), got, "traits of the new part")
                continue
            self._trait((*path, key), key, typed)

    def _cause(self, path: Place, text: str | None) -> str:
        """What it was, in a few plain words: it stands on paper and page, for everybody with the code."""
        cause = " ".join((self._full(path, text) or "").split()).rstrip(".")
        if len(cause) > LONGEST_CAUSE:
            self.faults.add(
                path,
                f"has {len(cause)} characters",
                f"at most {LONGEST_CAUSE}, as a name for what was wrong",
                '"a lamp in the glove box that stayed on"',
            )
        return cause

    def _read_waived(self, path: Place, row: WaivedStep) -> None:
        because = self._one_of(
            (*path, "because"), row.because, "a reason not to charge", "why it is not charged", WAIVED_BECAUSE
        )
        invoice = self._earlier(
            (*path, "of"),
            row.of,
            needed=because == "guarantee",
            only_for=f"the reason {quotation('guarantee')}",
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
                "a part of call-out and diagnosis",
                "what is not charged",
                WAIVED_CHARGES,
            )
            if because == "did not fix":
                self.faults.add(
                    (*path, "because"),
                    f"only work can have done so, not {row.charge}",
                    any_of(WAIVED_BECAUSE[1:]),
                    quotation("goodwill"),
                )
        else:
            what = self._work(path, row.operation)
        record = Waived(
            because=because, invoice=invoice, **{"charge" if row.charge is not None else "operation": what}
        )
        self._say("waived", f"waived/{what}", body_of(record), path, withdrawn=reason)

    def _read_approved(self, path: Place, row: ApprovedStep) -> None:
        self._is_given((*path, "estimate"), row.estimate, "the printed name of the estimate", '"repair 1"')
        self._is_given((*path, "by"), row.by, "who approved", '"customer"')
        self._is_given((*path, "how"), row.how, "how", '"in person"')
        total = self._amount((*path, "total"), row.total)
        for n, key in enumerate(row.declined or []):
            if key is not None:
                self._work((*path, "declined"), key, n)
        declined = tuple(key for key in row.declined or [] if key is not None)
        if row.cancellation is not None:
            self._one_of(
                (*path, "cancellation"),
                row.cancellation,
                "an answer",
                "what is said on cancellation",
                tuple(map(str, CancellationAnswer)),
            )
        said = {name: getattr(row, name) or "" for name in ("estimate", "by", "how", "cancellation", "taken")}
        self.steps.append(
            ApprovedRow(**said, total=total or Decimal(0), declined=declined, at=path_text(path))
        )

    def _read_charged(self, path: Place, row: ChargedStep) -> None:
        work = self._work(path, row.operation)
        self._is_given((*path, "because"), row.because, "the reason, as it is printed", '"a seized bolt"')
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        part = self._full((*path, "part"), row.part) or ""
        key, other = ("quantity", "hours") if part else ("hours", "quantity")
        if getattr(row, other) is not None:
            got = f"belongs to {'labour' if other == 'hours' else 'a part'}"
            self.faults.add((*path, other), got, "hours, or part and quantity", "a step for each")
        number = getattr(row, key)
        if self._is_given((*path, key), number, "what it really took", '"0.9"') and not 0 <= number < 100_000:
            self.faults.add((*path, key), f"is {number}", "from 0 to below 100000")
        if number is not None and -int(number.as_tuple().exponent) > 3:
            self.faults.add((*path, key), f"{number} has more than 3 decimals", "at most 3")
        if work:
            record = Charged(
                operation=work,
                because=" ".join((row.because or "").split()),
                part=part,
                **{key: f"{number:f}" if number is not None else ""},
            )
            what = f"charged/{work}/{part}" if part else f"charged/{work}"
            self._say("charged", what, body_of(record), path, withdrawn=reason)

    def _approved_more(self, path: Place, row: ApprovedMoreStep) -> None:
        work = self._work(path, row.operation)
        self._is_given((*path, "by"), row.by, "who approved", '"customer"')
        self._is_given((*path, "how"), row.how, "how", '"by phone, 14:10"')
        self._is_given((*path, "because"), row.because, "what for, as it is printed", '"a seized bolt"')
        amount = self._amount((*path, "amount"), row.amount)
        if amount == 0:
            self.faults.add((*path, "amount"), "is nothing", "how much more, tax included")
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        if work:
            record = ApprovedMore(
                operation=work,
                amount=Money.of(amount or Decimal(0), self.declared.currency).minor,
                currency=self.declared.currency,
                by=row.by or "",
                how=" ".join((row.how or "").split()),
                because=" ".join((row.because or "").split()),
            )
            what = f"approved_more/{work}"
            self._say("approved_more", what, body_of(record), path, taken=row.taken, withdrawn=reason)

    def _read_paid(self, path: Place, row: PaidStep, said: str = "paid") -> None:
        """Money that came, that was given back (`refunded`), or that is said to come (`announced`)."""
        self._is_given((*path, "how"), row.how, f"how it was {said}", '"cash"')
        amount = self._money(path, row.amount)
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        kind = "announced" if said == "announced" else "paid"
        record: Announced | Paid
        if kind == "announced":
            record = Announced(amount=amount.minor, currency=amount.currency, how=row.how or "")
        else:
            minor = -amount.minor if said == "refunded" else amount.minor
            record = Paid(amount=minor, currency=amount.currency, how=row.how or "")
        self._say(kind, said, body_of(record), path, taken=row.taken, withdrawn=reason)

    def _read_discounted(self, path: Place, row: DiscountedStep) -> None:
        key = self._work(path, row.operation) if row.operation is not None else ""
        self._is_given((*path, "because"), row.because, "why, as it is printed", '"a customer of many years"')
        if self._is_given((*path, "percent"), row.percent, "by how much", '"10"'):
            percent = row.percent or Decimal(0)
            if not 0 < percent <= 100 or -int(percent.as_tuple().exponent) > 2:
                self.faults.add(
                    (*path, "percent"), f"is {percent}", "from above 0 to 100, two decimals", '"10"'
                )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        record = Discounted(
            percent=f"{row.percent or 0:f}", because=" ".join((row.because or "").split()), operation=key
        )
        self._say("discounted", f"discounted/{key}", body_of(record), path, withdrawn=reason)

    def _written_off(self, path: Place, row: WrittenOffStep) -> None:
        self._is_given((*path, "because"), row.because, "why", '"cannot be collected"')
        amount = self._money(path, row.amount)
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        record = WrittenOff(amount=amount.minor, currency=amount.currency, because=row.because or "")
        self._say("written_off", "written_off", body_of(record), path, withdrawn=reason)

    def _money(self, path: Place, text: str | None) -> Money:
        """An amount above zero in the shop's currency."""
        amount = self._amount((*path, "amount"), text)
        currency = self.declared.currency
        if not currency:
            self.faults.add(
                path,
                "is in no currency; the shop's price book names none",
                "a shop with a currency",
                'currency = "…" in the price book',
            )
        if amount == 0:
            self.faults.add((*path, "amount"), "is no money", "the amount", "what it was, or omit the step")
        return Money.of(amount or Decimal(0), currency)

    def _read_arrived(self, path: Place, row: ArrivedStep) -> None:
        same = self._full((*path, "same_trip_as"), row.same_trip_as) or ""
        if same and (self.form.job or "") == same:
            self.faults.add(
                (*path, "same_trip_as"),
                f"{quotation(same)} is this very job",
                "the name of the job whose customer pays for the call-out",
            )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        record = Arrived(
            stage=self.stage, same_trip_as=same, **self._odometer((*path, "odometer"), row.odometer)
        )
        self._say("arrived", "arrived", body_of(record), path, taken=row.taken, withdrawn=reason)

    def _read_remarked(self, path: Place, row: RemarkedStep) -> None:
        self._is_given(
            (*path, "words"), row.words, "what is noted, in free words", '"a scratch along the left door"'
        )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        cleared = self._full((*path, "cleared"), row.cleared)
        record = Remarked(words=personal("note", row.words), stage=self.stage, cleared=cleared or "")
        self._say(
            "remarked",
            f"{stage_name(self.stage)}/remarked",
            body_of(record),
            path,
            taken=row.taken,
            withdrawn=reason,
        )

    def _planned(self, path: Place, row: PlannedStep) -> None:
        self._is_given((*path, "on"), row.on, "the day", '"2026-12-03"')
        if row.time is not None and _TIME.fullmatch(row.time.strip()) is None:
            got = f"{quotation(row.time)} is no time of day"
            self.faults.add((*path, "time"), got, "hours and minutes", '"09:30"')
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        record = Planned(
            on=row.on or "",
            time=(row.time or "").strip().zfill(5) if row.time else "",
            place=personal("address", row.place),
            what=personal("note", row.what),
        )
        self._say("planned", "planned", body_of(record), path, withdrawn=reason)

    def _recalled(self, path: Place, row: RecalledStep) -> None:
        self._is_given((*path, "on"), row.on, "the day from which on", '"2027-05-29"')
        self._is_given((*path, "what"), row.what, "what is to be looked at again", '"brake fluid again"')
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        record = Recalled(on=row.on or "", what=personal("note", row.what))
        self._say("recalled", "recalled", body_of(record), path, withdrawn=reason)

    def _read_left(self, path: Place, row: LeftStep) -> None:
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

    def _read_ended(self, path: Place, row: EndedStep) -> None:
        how = self._one_of((*path, "how"), row.how, "an end", "how the job ended", ENDED_HOW)
        self._is_given(
            (*path, "because"),
            row.because,
            "the reason, as the invoice says it",
            '"no fault showed in an hour of testing"',
        )
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        record = Ended(how=how, because=(row.because or "").strip(), stage=self.stage)
        self._say("ended", "ended", body_of(record), path, taken=row.taken, withdrawn=reason)

    def _earlier(self, path: Place, number: str | None, *, needed: bool, only_for: str) -> str:
        """The number of an earlier invoice: given where it is needed and nowhere else."""
        if needed:
            self._is_given(path, number, "the number of the earlier invoice", '"2026-A0001"')
        elif number is not None:
            self.faults.add(
                path, f"an earlier invoice belongs to {only_for}", "no invoice", "the row without of"
            )
        if number is not None and number.strip() and not _NUMBER.fullmatch(number.strip()):
            self.faults.add(
                path,
                f"{quotation(number)} is not the number of an invoice",
                f"at most {_LONGEST_NUMBER} letters and figures without spaces, one figure at least",
                "it as it is printed",
            )
        return (number or "").strip()

    def _amount(self, path: Place, text: str | None) -> Decimal | None:
        """An amount of money as a plain decimal number, in no finer steps than the currency has."""
        if not self._is_given(path, text, "an amount of money", '"318.60"'):
            return None
        match = _AMOUNT.fullmatch((text or "").strip())
        cents = (match["point"] or match["comma"] or "") if match else ""
        if match is None or len(cents) > minor_digits(self.declared.currency):
            expected = "an amount such as 318.60, without currency and without marks between thousands"
            self.faults.add(
                path,
                f"{quotation(text or '')} is not an amount of money",
                expected,
                '"318.60", digits and a decimal point',
            )
            return None
        return Decimal(f"{match['whole']}.{cents or '0'}")
