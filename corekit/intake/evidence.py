"""What was measured and seen: instruments, this vehicle's own limits, readings, sights and codes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from ..fault import Place, any_of, path_text, quotation
from ..model.job import stage_name
from ..model.measurand import answers_of, words_of_answers
from ..model.records import CodesRead, Measured, Seen, Setup, Specified, body_of
from ..model.trouble import CodeError, read_code
from .datasheet import Datasheet
from .drafts import Unread, origin_words, personal, words_of
from .form import CodesRow, InstrumentRow, ReadingForm, SeenRow, SetupValue, SpecificationRow, StepRow
from .record_rows import RecordRows

CODE_STATES = ("stored", "pending", "permanent")


def _words_of_row(**parts: str | None) -> str:
    """What stands in a row beside the reading itself, in words."""
    return ", ".join(f"{name} {text}" for name, text in parts.items() if text)


class Evidence(RecordRows):
    """Rows about evidence.

    `setup_alone`: a setup may stand without a reading, as one that is corrected does.
    """

    setup_alone = False

    def _instrument(self, path: Place, name: str, row: InstrumentRow | None) -> None:
        if row is None:
            return
        record = row.record(name)
        reads = list(dict.fromkeys(measurand.unit for measurand in self.used.get(name, {}).values()))
        self._full((*path, "interval"), row.interval)
        self._is_given((*path, "accuracy"), row.accuracy, "the accuracy on its sheet", '"0.5 % + 2 digits"')
        for place, got, expected, write in Datasheet.of(record, reads).faults():
            self.faults.add((*path, *place), got, expected, write)
        for n, key in enumerate(row.for_ or []):
            if key is not None:
                self._declaration((*path, "for", n), key, "a reading", self.declared.measurands)
        self._say("instrument", f"instrument/{name}", body_of(record), path)

    def _specification(self, path: Place, row: SpecificationRow | None) -> None:
        if row is None:
            return
        measurand = self._declaration((*path, "of"), row.of, "a reading", self.declared.measurands)
        self._is_given((*path, "from"), row.from_, "what it was read off", '"label under the bonnet"')
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        if not (row.low or row.high) and not any(self.faults.at((*path, end)) for end in ("low", "high")):
            self.faults.add(path, "has neither low nor high", "low, high or both", 'low = "…"')
        if isinstance(measurand, Unread):
            words = _words_of_row(low=row.low, high=row.high)
            self._keep_unread(measurand, f"specification/{measurand.key}", path, words, withdrawn=reason)
            return
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
        for n, record in enumerate(step.records or []):
            if record is not None:
                self._record((*path, "records", n), record)
        for n, seen in enumerate(step.seen or []):
            if seen is not None:
                self._read_seen((*path, "seen", n), seen)
        if step.codes is not None:
            self._codes((*path, "codes"), step.codes)

    def _setup(self, path: Place, given: Mapping[str, SetupValue | None]) -> str:
        if not given:
            self.faults.add(
                path, "is empty", "what the readings were taken with", "the values, or omit setup"
            )
        values: dict[str, dict[str, Any]] = {}
        for key, value in given.items():
            place = (*path, key)
            measurand = self._declaration(place, key, "a reading", self.declared.measurands)
            if (
                value is None
                or not self._is_given((*place, "is"), value.is_, "the value", '"4 °C"')
                or measurand is None
            ):
                continue
            typed = value.is_ or ""
            if isinstance(measurand, Unread):
                self._keep_unread(measurand, f"{stage_name(self.stage)}/setup", place, typed)
                continue
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
        if given and not values and all(key.partition(".")[0] in self.declared.lost for key in given):
            return ""
        return self._say(
            "setup", f"{stage_name(self.stage)}/setup", body_of(Setup(stage=self.stage, values=values)), path
        )

    def _reading(self, path: Place, row: ReadingForm, setup: str) -> None:
        measurand = self._declaration((*path, "of"), row.of, "a reading", self.declared.measurands)
        given = self._is_given((*path, "is"), row.is_, "the reading as it was read", '"12.64 V"')
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        if isinstance(measurand, Unread) and given:
            group = f"{stage_name(self.stage)}/{measurand.key}/{row.place or ''}"
            words = f"{row.is_} {_words_of_row(range=row.range_)}"
            self._keep_unread(measurand, group, path, words, row.place, row.taken, reason)
        if measurand is None or isinstance(measurand, Unread):
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
            origin=origin_words(row.origin),
        )
        self._say(
            "measured",
            f"{stage_name(self.stage)}/{measurand.key}/{place}",
            body_of(record),
            path,
            taken=row.taken,
            withdrawn=reason,
        )

    def _read_seen(self, path: Place, row: SeenRow) -> None:
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
        cleared = self._full((*path, "cleared"), row.cleared)
        if cleared is not None and row.words is None and not self.faults.at((*path, "words")):
            self.faults.add(
                (*path, "cleared"),
                "answers own words, and there are none",
                "words beside it",
                "the row without cleared",
            )
        shelves: dict[str, Any] = (
            {**self.declared.observations}
            if row.is_ is not None
            else {**self.declared.observations, **self.declared.measurands, **self.declared.records}
        )
        what = self._declaration((*path, "of"), row.of, "an observation", shelves)
        if isinstance(what, Unread):
            group = f"{stage_name(self.stage)}/{what.key}/{row.place or ''}"
            said = f"{row.is_ or row.words or ''} {_words_of_row(cannot=row.cannot, cleared=row.cleared)}"
            self._keep_unread(what, group, path, said, row.place, row.taken, reason)
            return
        if what is None:
            return
        # What could not be reached may be the whole thing; an answer belongs to one place.
        place = self._place((*path, "place"), row.place, what.places, what.key, needed=row.cannot is None)
        answer = ""
        if row.is_ is not None:
            words = {words_of(word): one.value for word, one in words_of_answers(what).items()}
            answer = words.get(words_of(row.is_), "")
            if not answer and row.is_.strip():
                listed = any_of(map(quotation, answers_of(what.answers)))
                cure = f'one of {listed}, or words = "…"'
                self.faults.add((*path, "is"), f"{quotation(row.is_)} is not an answer", listed, cure)
        record = Seen(
            of=what.key,
            place=place,
            stage=self.stage,
            answer=answer,
            cannot=row.cannot or "",
            words=personal("words", row.words),
            cleared=cleared or "",
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
        wrong = self.faults.below(path)
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
                self.faults.add((*path, state), f"{code} is given twice", "each code once", "it once")
            if reason is None:
                self._read_again((*path, state), state, codes)
            record = CodesRead(stage=self.stage, state=state, codes=codes, origin=origin_words(row.origin))
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

    def _read_again(self, path: Place, state: str, codes: list[str]) -> None:
        """A list that no longer holds what it held is worth a word: both stand, and nobody knows which was
        misread.
        """
        before = self.codes.setdefault((self.stage, state), {})
        gone = [code for code in before if code not in codes]
        if gone:
            self.remarks.append(
                f"{path_text(path)}: the {state} list held {', '.join(gone)} when it was read before at this"
                " stage, and does not now. Both stand, so the code counts as set. If a list was misread, mark"
                ' its row withdrawn = "why".'
            )
        before.update(dict.fromkeys(codes))

    def _code(self, path: Place, text: str) -> str:
        try:
            code = read_code(text)
        except CodeError as error:
            self.faults.add(path, error.got, error.expected, error.write)
            return ""
        if code == "P0000":
            self.faults.add(
                path,
                f"{quotation(text)} fills up a message and is no code",
                "a code",
                "the list without it; [] when nothing is left",
            )
            return ""
        return code
