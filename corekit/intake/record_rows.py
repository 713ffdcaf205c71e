"""Rows about records: samples from a file beside the visit file, or a few points typed by hand."""

from __future__ import annotations

from pathlib import Path

import attrs

from .. import units
from ..datafile import LARGEST
from ..fault import Place, quotation
from ..model.job import stage_name
from ..model.records import Recorded, body_of
from ..model.sampling import LEAST_SAMPLES, MOST_SAMPLES, Sampling
from ..units import TypedError
from .drafts import Drafts, Unread, origin_words, personal
from .form import RecordRow
from .samples import Samples, SamplesError, points_rise, read_samples

_POINTS = '["0 s: 2.1 A", "60 s: 0.4 A"]'


@attrs.frozen(kw_only=True)
class _Taken:
    """The samples of a row, and how they came in."""

    samples: Samples
    typed: tuple[tuple[str, str], ...] = ()
    file: str = ""


class RecordRows(Drafts):
    """Rows about records."""

    def _record(self, path: Place, row: RecordRow) -> None:
        sampling = self._declaration((*path, "of"), row.of, "a record", self.declared.records)
        reason = self._full((*path, "withdrawn"), row.withdrawn)
        is_file = self._is_from_file(path, row)
        if isinstance(sampling, Unread) and is_file is not None:
            points = "; ".join(": ".join(words) for words in row.points or [] if words is not None)
            group = f"{stage_name(self.stage)}/{sampling.key}/{row.place or ''}"
            self._keep_unread(sampling, group, path, row.file or points, row.place, row.taken, reason)
        if sampling is None or isinstance(sampling, Unread) or is_file is None:
            return
        place = self._place((*path, "place"), row.place, sampling.places, sampling.key)
        instrument = self._instrument_named(path, sampling.of, row.with_, row.range_)
        taken = self._from_file(path, row, sampling) if is_file else self._points(path, row, sampling)
        if taken is None or not self._can_be(path, row, sampling, taken, unexamined=reason is not None):
            return
        found = taken.samples
        record = Recorded(
            of=sampling.key,
            kind=sampling.of.kind,
            over_kind=sampling.over_kind,
            over=list(found.over),
            samples=list(found.samples),
            unit=found.unit,
            over_unit=found.over_unit,
            place=place,
            stage=self.stage,
            instrument=instrument,
            span=row.range_ or "",
            usual=bool(instrument) and row.with_ is None,
            confirmed=bool(row.confirmed),
            typed=[list(point) for point in taken.typed],
            file=personal("words", taken.file),
            sha256=found.sha256,
            origin=origin_words(row.origin),
        )
        self._say(
            "recorded",
            f"{stage_name(self.stage)}/{sampling.key}/{place}",
            body_of(record),
            path,
            taken=row.taken,
            withdrawn=reason,
        )

    def _is_from_file(self, path: Place, row: RecordRow) -> bool | None:
        """Whether its samples stand in a file; None with a fault where there are none, or two sorts."""
        wrong = [self.faults.at((*path, name)) for name in ("file", "points")]
        if row.file is not None and row.points is not None:
            self.faults.add(
                (*path, "points"), "a file is named beside them", "one of the two", "file or points, not both"
            )
            return None
        if row.file is None and row.points is None:
            if not any(wrong):
                got, expected = "has no samples", "file or points"
                self.faults.add(path, got, expected, f'file = "drain.csv", or points = {_POINTS}')
            return None
        for name, value in (("units", row.units), ("decimal", row.decimal), ("content", row.content)):
            if row.file is None and value is not None:
                self.faults.add(
                    (*path, name), "belongs to a file", "points with their units", f"points = {_POINTS}"
                )
        return row.file is not None

    # ---- points typed by hand

    def _points(self, path: Place, row: RecordRow, sampling: Sampling) -> _Taken | None:
        path = (*path, "points")
        over: list[float] = []
        samples: list[float] = []
        typed: list[tuple[str, str]] = []
        given = row.points or []
        if not LEAST_SAMPLES <= len(given) <= MOST_SAMPLES:
            expected = f"{LEAST_SAMPLES} to {MOST_SAMPLES} points"
            self.faults.add(path, f"holds {len(given)}", expected, _POINTS)
            return None
        for n, words in enumerate(given):
            if words is None:
                continue
            first, colon, second = words[0].partition(":") if len(words) == 1 else (words[0], ":", words[1])
            if not colon or len(words) > 2:
                self.faults.add((*path, n), "is no point", "two quantities", '"60 s: 0.4 A"')
                continue
            at = self.examination.quantity((*path, n), first.strip(), [sampling.over_unit])
            read = self.examination.quantity((*path, n), second.strip(), [sampling.unit])
            if at is not None and read is not None:
                over.append(at.number)
                samples.append(read.number)
                typed.append((first.strip(), second.strip()))
        if len(typed) < len(given):
            return None
        for fault in points_rise(over, [first for first, _ in typed]):
            place = (*path, int(fault.path)) if fault.path.isdecimal() else path
            self.faults.add(place, fault.got, fault.expected, fault.write)
        if self.faults.below(path):
            return None
        return _Taken(
            samples=Samples(
                over=tuple(over),
                samples=tuple(samples),
                over_unit=sampling.over_unit,
                unit=sampling.unit,
                sha256="",
                lines=tuple(range(len(over))),
            ),
            typed=tuple(typed),
        )

    # ---- a file of two columns

    def _from_file(self, path: Place, row: RecordRow, sampling: Sampling) -> _Taken | None:
        name = row.file or ""
        at = (*path, "file")
        content = self._sent(at, row.content) if row.content is not None else self._content(at, name)
        given = self._units((*path, "units"), row.units, sampling)
        if row.decimal is not None:
            self._one_of((*path, "decimal"), row.decimal, "a decimal mark", "the decimal mark", (".", ","))
        if content is None or given is None or self.faults.at((*path, "decimal")):
            return None
        try:
            return _Taken(
                samples=read_samples(content, sampling, given, row.decimal or ""),
                file=name,
            )
        except SamplesError as error:
            for fault in error.faults:
                got = fault.got if fault.path == "file" else f"{fault.path}: {fault.got}"
                self.faults.add((*path, "file"), f"{quotation(name)}, {got}", fault.expected, fault.write)
            return None

    def _units(self, path: Place, given: list[str | None] | None, sampling: Sampling) -> list[str] | None:
        """The units of both columns as the row gives them, or none; None with a fault."""
        if given is None:
            return None if self.faults.at(path) else []
        declared = (sampling.over_unit, sampling.unit)
        if len(given) != 2 or None in given:
            if not self.faults.below(path):
                self.faults.add(path, f"holds {len(given)}", "the units of both columns", _list_of(declared))
            return None
        found = []
        for n, (text, unit) in enumerate(zip(given, declared, strict=True)):
            try:
                found.append(units.read_quantity(f"1 {text}", [unit]).unit)
            except TypedError:
                kind = units.unit(unit).kind
                self.faults.add(
                    (*path, n), f"{quotation(text or '')} is no unit of {kind}", unit, quotation(unit)
                )
        return found if len(found) == 2 else None

    def _sent(self, path: Place, text: str) -> bytes | None:
        """The content of a file that was sent along; None with a fault."""
        content = text.encode("utf-8", "surrogatepass")
        if len(content) > LARGEST:
            self.faults.add(path, "its content is larger than 1 MiB", "a file of at most 1 MiB")
            return None
        return content

    def _content(self, path: Place, name: str) -> bytes | None:
        """The content of a file beside the visit file; None with a fault."""
        if self.folder is None:
            self.faults.add(
                path,
                "a file can be named only in a visit file",
                "points",
                f"points = {_POINTS}, or a visit file",
            )
            return None
        expected = "a file in the visit file's folder"
        named = Path(name)
        try:
            root = self.folder.resolve(strict=True)
            found = (root / named).resolve()
            if named.is_absolute() or not name.strip() or not found.is_relative_to(root) or found == root:
                self.faults.add(path, f"{quotation(name)} lies outside the visit file's folder", expected)
                return None
            if not found.is_file():  # no folder, and nothing that never ends
                self.faults.add(path, f"there is no file {quotation(name)} beside the visit file", expected)
                return None
            with found.open("rb") as file:
                content = file.read(LARGEST + 1)
        except (OSError, ValueError, RuntimeError) as error:
            reason = (error.strerror if isinstance(error, OSError) else "") or "its name cannot be"
            self.faults.add(path, f"{quotation(name)} cannot be read ({reason})", expected)
            return None
        if len(content) > LARGEST:
            self.faults.add(path, f"{quotation(name)} is larger than 1 MiB", "a file of at most 1 MiB")
            return None
        return content

    # ---- what can be

    def _can_be(
        self, path: Place, row: RecordRow, sampling: Sampling, taken: _Taken, *, unexamined: bool
    ) -> bool:
        """False, with a fault, where a sample cannot be; the lowest and the highest are asked about where
        they are unusual.
        """
        found = taken.samples
        at = (*path, "file" if taken.file else "points")
        outside = [n for n, place in enumerate(found.over) if not sampling.over_possible.holds(place)]
        if outside:
            where = units.decimal_text(found.over[outside[0]], found.over_unit)
            self.faults.add(
                at,
                f"{where} {found.over_unit} ({self._row_name(taken, outside[0])})"
                " is outside what is possible",
                f"what {sampling.over_title.lower()} can be",
            )
            return False
        if unexamined:
            return True
        confirmed = bool(row.confirmed)
        for extreme in dict.fromkeys((min(found.samples), max(found.samples))):
            n = found.samples.index(extreme)
            number = units.decimal_text(extreme, found.unit)
            text = f"{number} {units.declared_text(found.unit)} ({self._row_name(taken, n)})"
            typed = units.Typed(sampling.of.kind, extreme, found.unit, text)
            if not self.examination.sample(at, typed, sampling.of, confirmed, path, row.range_):
                return False
        return True

    @staticmethod
    def _row_name(taken: _Taken, n: int) -> str:
        return f"line {taken.samples.lines[n]}" if taken.file else f"point {n}"


def _list_of(names: tuple[str, str]) -> str:
    return f"units = [{', '.join(map(quotation, names))}]"
