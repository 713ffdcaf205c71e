"""What rows of a visit file have in common: how each becomes a draft, and how its faults are said."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import attrs

from .. import units
from ..fault import Faults, Place, any_of, path_text, quotation
from ..model.entry import AS_TYPED, Draft
from ..model.job import stage_name
from ..model.measurand import DONT_KNOW, Measurand, Trait, answers_of, words_of_answers
from ..model.personal import PersonalText
from ..model.records import Fitted, Seen, body_of
from ..units import TypedError
from .declared import Declared
from .examination import Examination
from .form import InstrumentRow, OriginRow, VisitForm

_FARTHEST = 5e9  # m; five million kilometres, more than any vehicle drove


@attrs.frozen(kw_only=True)
class ApprovedRow:
    """An approval as the file states it: to the estimate of this printed name and total, without a currency.

    Whoever keeps the estimates binds it to the estimate's Document's hash and refuses another total.
    """

    estimate: str
    total: Decimal
    by: str
    how: str
    declined: tuple[str, ...] = ()
    cancellation: str = ""
    taken: str = ""
    at: str = ""


@attrs.frozen
class Unread:
    """Stands in for what a system declares that did not load: its key alone is known."""

    key: str
    places: tuple[str, ...] = ()
    part: str = ""
    replaces: str = ""


class Drafts:
    """The drafts and the faults of a form, while it is read.

    `stage`: how many repairs came before. `used`: what was read with each instrument. `codes`: what each list
    of a stage held so far. `named`: own work that was asked for so far. `usual`: which instrument is meant
    where a reading names none. `folder`: where the files lie that the form names; None where it is no file
    itself.
    """

    def __init__(
        self, declared: Declared, form: VisitForm, faults: Faults, folder: Path | None = None
    ) -> None:
        self.declared = declared
        self.folder = folder
        self.form, self.faults = form, faults
        self.examination = Examination(faults, declared.decimal)
        self.steps: list[Draft | ApprovedRow] = []
        self.remarks: list[str] = []
        self.unread: dict[str, list[Place]] = {}
        self.stage = 0
        self.named: list[str] = []
        self.counts: Counter[str] = Counter()
        self.instruments: dict[str, InstrumentRow] = {
            name: row for name, row in (form.instruments or {}).items() if row is not None
        }
        self.used: dict[str, dict[str, Measurand]] = {}
        self.codes: dict[tuple[int, str], dict[str, None]] = {}
        self.usual = {
            key: name for name, row in self.instruments.items() for key in row.for_ or [] if key is not None
        }

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

    def _is_given(self, path: Place, value: object, expected: str, example: str) -> bool:
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
            self.faults.add(path, "is empty", "text", "what is to be said, or omit it")
        return text

    def _declaration(self, path: Place, key: str | None, what: str, shelf: Mapping[str, Any]) -> Any:
        """The declaration of a key, or None with a fault."""
        if not self._is_given(
            path, key, f"the key of {what}, system.name", f'"{next(iter(shelf), "system.name")}"'
        ):
            return None
        found = shelf.get(key or "")
        if found is None and (key or "").partition(".")[0] in self.declared.lost:
            return self._unread(path, key or "")
        if found is None:
            self.faults.add(path, *self.declared.unknown(key or "", what, shelf))
        return found

    def _unread(self, path: Place, key: str) -> Unread:
        self.unread.setdefault(key.partition(".")[0], []).append(path)
        return Unread(key)

    def _keep_unread(
        self,
        what: Unread,
        row: str,
        path: Place,
        words: str,
        place: str | None = None,
        taken: str | None = None,
        withdrawn: str | None = None,
    ) -> None:
        """Keep a row as it was typed, in words: what it means only its system knows, which did not load.

        Args:
            row: The group of rows that it belongs to when its system is there.
        """
        self._say(
            "seen",
            f"{AS_TYPED}{row}",
            body_of(
                Seen(of=what.key, place=place or "", stage=self.stage, words=personal("words", words.strip()))
            ),
            path,
            taken=taken,
            withdrawn=withdrawn,
        )

    def _remark_unread(self) -> None:
        """Name the rows that were kept as they were typed, and why."""
        for system, paths in self.unread.items():
            rows = ", ".join(dict.fromkeys(map(path_text, paths)))
            self.remarks.append(
                f"{rows}: kept as typed and not judged, because the system {system} did not load"
                f" ({self.declared.lost[system].removesuffix('.')}). Add the file again when it does."
            )

    def _one_of(
        self, path: Place, given: str | None, what: str, expected: str, choices: tuple[str, ...]
    ) -> str:
        """One word of a closed list; what else was said is a fault and comes back as it was."""
        if (
            self._is_given(path, given, f"{expected}: {any_of(choices)}", quotation(choices[0]))
            and given not in choices
        ):
            self.faults.add(
                path,
                f"{quotation(given or '')} is not {what}",
                any_of(choices),
                any_of(map(quotation, choices)),
            )
        return given or ""

    def _place(
        self, path: Place, place: str | None, places: tuple[str, ...], key: str, *, needed: bool = True
    ) -> str:
        listed = any_of(map(quotation, places))
        if place is None:
            if places and needed and not self.faults.at(path):
                self.faults.add(
                    path, f"is missing; {key} can be taken at several places", listed, f"place = {listed}"
                )
            return ""
        if key.partition(".")[0] in self.declared.lost:
            return place
        if not places:
            self.faults.add(
                path, f"{quotation(place)}: {key} has one place only", "no place", "the row without place"
            )
        elif place not in places:
            self.faults.add(path, f"{quotation(place)} is not a place of {key}", listed, listed)
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
                    'with = "…", or omit range',
                )
            return ""
        shop = self.declared.instruments
        own = self.instruments.get(named)
        if named not in (self.form.instruments or {}) and shop is not None and named not in shop:
            choices = [*(self.form.instruments or {}), *shop]
            got = f"{quotation(named)} is neither among the file's instruments nor the shop's"
            expected = any_of(map(quotation, choices))
            table = f"a table [instruments.{named}]"
            cure = f"{expected}, or add {table}" if choices else table
            self.faults.add((*path, "with"), got, expected or "an instrument", cure)
            return ""
        if own is None and shop is not None and named in shop:
            try:
                units.parse_accuracy(shop[named].accuracy, measurand.unit)
            except TypedError as error:
                self.faults.add(
                    (*path, "with"),
                    f"the shop's accuracy of {quotation(named)} does not fit {measurand.key}: {error.got}",
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
            self.faults.add(
                (*path, "range"),
                f"{quotation(span)} is not a range of {quotation(named)}",
                any_of(map(quotation, ranges)) or "no range",
            )
        return named

    def _trait(self, path: Place, key: str, typed: str | None) -> None:
        trait = self.declared.traits.get(key)
        if trait is None and key.partition(".")[0] in self.declared.lost:
            self._keep_unread(self._unread(path, key), f"{stage_name(self.stage)}/{key}/", path, typed or "")
            return
        if trait is None:
            self.faults.add(path, *self.declared.unknown(key, "a trait", self.declared.traits))
            return
        if typed is None:
            return
        record = self._trait_answer(path, trait, typed)
        if record is not None:
            self._say("fitted", f"{stage_name(self.stage)}/{key}/", body_of(record), path)

    def _trait_answer(self, path: Place, trait: Trait, typed: str) -> Fitted | None:
        if words_of(typed) in (DONT_KNOW, "dont know"):
            return Fitted(of=trait.key, typed=typed, stage=self.stage)
        if trait.answers is not None:
            answers = {words_of(word): one.value for word, one in words_of_answers(trait).items()}
            word = answers.get(words_of(typed))
            if word is None:
                choices = [*answers_of(trait.answers), DONT_KNOW]
                listed = any_of(map(quotation, choices))
                self.faults.add(
                    path,
                    f"{quotation(typed)} is not an answer",
                    listed,
                    f"one of {listed}",
                )
                return None
            return Fitted(of=trait.key, typed=typed, stage=self.stage, answer=word)
        read = self.examination.quantity(path, typed, trait.units)
        if read is None:
            return None
        if not trait.possible.holds(read.number):
            self.examination.impossible(path, read, trait.possible)
        return Fitted(of=trait.key, typed=typed, stage=self.stage, kind=read.kind, number=read.number)

    def _odometer(self, path: Place, text: str | None) -> dict[str, Any]:
        if text is None:
            return {}
        typed = self.examination.quantity(path, text, ["km"])
        if typed is None:
            return {}
        if not 0 <= typed.number <= _FARTHEST:
            self.faults.add(
                path, f"{quotation(text)} is no distance that a vehicle drove", "0 to 5 000 000 km"
            )
        return {"odometer": typed.number, "odometer_typed": text}


def personal(kind: str, text: str | None) -> PersonalText | None:
    return PersonalText(kind, text) if text else None


def origin_words(row: OriginRow | None) -> PersonalText | None:
    """Where a row comes from that nobody typed; a file's name may name a person."""
    return personal("words", row.words if row is not None else None)


def words_of(text: str) -> str:
    """A text as it is compared: small letters, single spaces, straight apostrophes."""
    return " ".join(text.replace("’", "'").casefold().split())
