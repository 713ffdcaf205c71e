"""From a log to a draft: rows of a visit file, to be looked at by a person before anything of them is kept.

Which reading comes from which channel is what the installed systems declare. A reading is the middle of the
steadiest part of its stretch, with how far it scatters there; its conditions come from the same part.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any, Protocol

import attrs

from .. import units
from ..channels import ChannelList, channels
from ..fault import quotation
from ..model.channel import (
    CRANKING,
    HIGHEST,
    INTERVAL,
    LAST,
    LOWEST,
    MIDDLE,
    RISE,
    RUNNING,
    STANDING,
    TURNS,
    FromChannel,
    Log,
    LogEvent,
    Track,
)
from ..model.measurand import Measurand, Observation
from ..model.sampling import LEAST_SAMPLES, Sampling
from .events import break_after, events_in, shown_by, stretches

STEADY = 20.0  # s of the steadiest part, where a stretch is longer; an estimate of ours
LEAST = 5  # samples that make a middle; an estimate of ours
MOST = 2000  # samples of a record: more show no more, and are thinned out


class Declares(Protocol):
    """What is asked of the installed systems."""

    @property
    def measurands(self) -> Mapping[str, Measurand]: ...

    @property
    def records(self) -> Mapping[str, Sampling]: ...

    @property
    def observations(self) -> Mapping[str, Observation]: ...

    @property
    def channels(self) -> ChannelList: ...

    @property
    def from_channels(self) -> tuple[FromChannel, ...]: ...


@attrs.frozen(kw_only=True)
class DraftRow:
    """One row of a draft, as a person looks at it.

    Attributes:
        of: Key of the reading, record or observation; `codes`, `vin` or `note` for what is none.
        title, place, text: What it is, where, and what was read. beside: What was read with it, in words.
        where: Where it comes from.
        is_odd: Outside what is usual.
        note: What whoever takes it should know.
        step: The step of a visit file that says it. columns: The samples of a record, times and values.
    """

    of: str
    title: str
    text: str
    where: str
    step: Mapping[str, Any]
    place: str = ""
    beside: str = ""
    is_odd: bool = False
    note: str = ""
    instruments: Mapping[str, Mapping[str, str]] = attrs.field(factory=dict)
    vin: str = ""


@attrs.frozen(kw_only=True)
class LogDraft:
    """What a log would say in a visit, and all that was left out.

    Attributes:
        rows: What can be taken, each by itself.
        events: What happened in it. can, cannot: What it shows at its sample rate.
        left_out: What nothing is made of, one sentence each.
    """

    log: Log
    rows: tuple[DraftRow, ...]
    events: tuple[LogEvent, ...]
    can: tuple[str, ...]
    cannot: tuple[str, ...]
    left_out: tuple[str, ...]


@attrs.frozen
class _Part:
    """A stretch of the log that a reading is taken from."""

    start: float
    end: float

    @property
    def length(self) -> float:
        return self.end - self.start


def draft_of(log: Log, declared: Declares) -> LogDraft:
    """The draft of a log by what the installed systems declare."""
    events = events_in(log)
    maker = _Maker(log, declared, events)
    rows = [
        *maker.vehicle(),
        *maker.codes(),
        *maker.answers(),
        *maker.readings(),
        *maker.records(),
        *maker.notes(),
    ]
    can, cannot = shown_by(log)
    return LogDraft(
        log=log,
        rows=tuple(rows),
        events=events,
        can=can,
        cannot=cannot,
        left_out=(*log.remarks, *maker.left_out()),
    )


def rows_of(rows: Sequence[DraftRow]) -> dict[str, Any]:
    """The tables of a visit file for the rows that a person keeps."""
    made: dict[str, Any] = {}
    vin = next((row.vin for row in rows if row.vin), "")
    if vin:
        made["vehicle"] = {"vin": vin}
    used = {name: dict(sheet) for row in rows for name, sheet in row.instruments.items()}
    if used:
        made["instruments"] = used
    steps = [dict(row.step) for row in rows if row.step]
    if steps:
        made["step"] = steps
    return made


class _Maker:
    """Makes the rows of a draft."""

    def __init__(self, log: Log, declared: Declares, events: Sequence[LogEvent]) -> None:
        self.log, self.declared, self.events = log, declared, events
        self.used: set[str] = set()
        self.gone: dict[str, None] = {}
        self.uses: dict[str, list[FromChannel]] = {}
        for one in declared.from_channels:
            self.uses.setdefault(one.of, []).append(one)

    # ---- what is no quantity

    def vehicle(self) -> Iterator[DraftRow]:
        if self.log.vin:
            yield DraftRow(
                of="vin", title="VIN", text=self.log.vin, where=self.log.bus, step={}, vin=self.log.vin
            )

    def codes(self) -> Iterator[DraftRow]:
        lists = {
            state: list(dict.fromkeys(code for codes in told.values() for code in codes))
            for state, told in self.log.codes.items()
        }
        if not lists:
            return
        text = "; ".join(f"{state}: {', '.join(codes) or 'none'}" for state, codes in lists.items())
        told = "; ".join(
            f"{state} from {address}: {', '.join(codes) or 'none'}"
            for state, by in self.log.codes.items()
            for address, codes in by.items()
        )
        origin = {"bus": self.log.bus, "said": told}
        yield DraftRow(
            of="codes",
            title="Trouble codes",
            text=text,
            where=told,
            step={"codes": {**lists, "origin": origin}},
        )

    def answers(self) -> Iterator[DraftRow]:
        for one in self.declared.from_channels:
            if not one.answers or one.channel not in self.log.monitors:
                continue
            observation = self.declared.observations[one.of]
            answer = one.answers.get(self.log.monitors[one.channel])
            if answer is None:
                continue
            yield DraftRow(
                of=one.of,
                title=observation.title,
                text=answer,
                where=self.log.bus,
                note=one.note,
                step={"seen": [{"of": one.of, "is": answer}]},
            )

    def notes(self) -> Iterator[DraftRow]:
        for note in self.log.notes:
            yield DraftRow(
                of="note", title="Noted", text=note, where=self.log.bus, step={"remarked": {"words": note}}
            )

    # ---- quantities

    def readings(self) -> Iterator[DraftRow]:
        """One row for every reading that a system declares and the log has a stretch for. What is a condition
        of others comes beside them, and by itself only where it names an event of its own.
        """
        conditions = {key for one in self.declared.measurands.values() for key in one.conditions}
        beside: set[str] = set()
        for of in sorted(self.uses, key=conditions.__contains__):
            measurand = self.declared.measurands.get(of)
            for use in self.uses[of] if measurand is not None else ():
                if measurand is None or of in beside or (of in conditions and not use.during):
                    continue
                for place in self._places(use):
                    row = self._reading(measurand, use, place)
                    if row is not None:
                        beside |= set(row.step.get("setup", {}))
                        yield row

    def _places(self, use: FromChannel) -> list[str]:
        """Places of the channel that the log has samples of."""
        return list(dict.fromkeys(track.place for track in self.log.tracks if track.channel == use.channel))

    def _reading(self, measurand: Measurand, use: FromChannel, place: str) -> DraftRow | None:
        track = self.log.track(use.channel, place)
        if track is None or (place and place not in use.places):
            return None
        part = self._part(use, track)
        if part is None:
            during = f" while {use.during}" if use.during else ""
            self._lose(f"{measurand.title}: the log has no stretch{during} for it.")
            return None
        part = self._steadiest(track, part) if use.take == MIDDLE else part
        taken = self._taken_reading(measurand, use, track, part)
        if taken is None:
            self._lose(f"{measurand.title}: too few samples in its stretch.")
            return None
        text, is_odd = taken
        self.used.add(use.channel)
        instruments, named = self._instrument_row(use, track)
        row: dict[str, Any] = {"of": measurand.key, "is": text, "origin": self._origin(track, part)}
        if place:
            row["place"] = use.places[place]
        if named:
            row["with"] = named
        if is_odd:
            row["confirmed"] = True
        setup = self._setup(measurand, part)
        step = {**({"setup": setup} if setup else {}), "readings": [row]}
        return DraftRow(
            of=measurand.key,
            title=measurand.title,
            place=use.places[place] if place else "",
            text=text,
            beside=", ".join(
                f"{_in_a_sentence(self.declared.measurands[key].title)} {value['is']}"
                for key, value in setup.items()
            ),
            where=self._where(track, part),
            is_odd=is_odd,
            note=use.note,
            step=step,
            instruments=instruments,
        )

    def _setup(self, measurand: Measurand, part: _Part) -> dict[str, Any]:
        """The conditions of a reading that the log knows, from the same part."""
        found: dict[str, Any] = {}
        for key in measurand.conditions:
            condition = self.declared.measurands.get(key)
            for use in self.uses.get(key, ()):
                track = self.log.track(use.channel)
                if condition is None or track is None or key in found:
                    continue
                taken = self._taken_reading(condition, use, track, part)
                if taken is not None:
                    self.used.add(use.channel)
                    found[key] = {"is": taken[0], **({"confirmed": True} if taken[1] else {})}
        return found

    def _taken_reading(
        self, measurand: Measurand, use: FromChannel, track: Track, part: _Part
    ) -> tuple[str, bool] | None:
        """What was read in a part, as it is typed, and whether it is unusual; None with too few samples."""
        values = [value for _, value in track.between(part.start, part.end)]
        number: float | None
        if use.take == INTERVAL:
            number, spread = track.interval, 0.0
        elif use.take == TURNS:
            number, spread = _turns(track, part), 0.0
        elif not values or (use.take == MIDDLE and part.length > 0 and len(values) < LEAST):
            return None
        elif use.take == RISE:
            number, spread = values[-1] - values[0], 0.0
            if number < 0:
                return None  # the counter was set back
        elif use.take == MIDDLE:
            number, spread = _middle(values)
        else:
            number = {LOWEST: min(values), HIGHEST: max(values), LAST: values[-1]}[use.take]
            spread = 0.0
        if number is None or not measurand.possible.holds(number):
            return None
        return _typed_number(number, spread, measurand.unit), not measurand.usual.holds(number)

    # ---- stretches

    def _part(self, use: FromChannel, track: Track) -> _Part | None:
        """The longest stretch of the event in which every other channel lies where it has to."""
        if not use.during:
            spans = [_Part(track.times[0], track.times[-1])]
        elif use.during == STANDING:
            spans = self._standing_parts(track)
        else:
            spans = [_Part(one.start, one.end) for one in self.events if one.kind == use.during]
        found = [part for span in spans for part in self._holding_parts(span, use, track)]
        return max(found, key=lambda part: part.length, default=None)

    def _standing_parts(self, track: Track) -> list[_Part]:
        """The stretches of a track in which the engine neither cranks nor runs."""
        moving = [one for one in self.events if one.kind in (CRANKING, RUNNING)]
        samples = [(time, not any(one.start <= time <= one.end for one in moving)) for time in track.times]
        return [_Part(start, end) for start, end in stretches(samples)]

    def _holding_parts(self, span: _Part, use: FromChannel, track: Track) -> Iterator[_Part]:
        others = []
        for key, ends in use.when.items():
            other = self.log.track(key)
            if other is None:
                return  # what is not known may have been otherwise
            others.append((other, ends))
        samples, last = [], None
        for time, _ in track.between(span.start, span.end):
            if last is not None and time - last > break_after(track):
                samples.append((time, False))
            samples.append((time, all(_lies(other, time, ends) for other, ends in others)))
            last = time
        yield from (_Part(start, end) for start, end in stretches(samples))

    def _steadiest(self, track: Track, part: _Part) -> _Part:
        """The part of a stretch in which the engine speed, or else the channel itself, moves least."""
        speed = self.log.track("engine_speed") or track
        samples = speed.between(part.start, part.end)
        if part.length <= STEADY or len(samples) < LEAST:
            return part
        best, least, first = part, float("inf"), 0
        for n, (time, _) in enumerate(samples):
            while time - samples[first][0] > STEADY:
                first += 1
            values = [value for _, value in samples[first : n + 1]]
            if time - samples[first][0] < 0.9 * STEADY or len(values) < LEAST:
                continue
            if max(values) - min(values) <= least:  # of equals the last: the engine is warmer
                best, least = _Part(samples[first][0], time), max(values) - min(values)
        return best

    # ---- records

    def records(self) -> Iterator[DraftRow]:
        for of, uses in self.uses.items():
            sampling = self.declared.records.get(of)
            for use in uses if sampling is not None else ():
                track = self.log.track(use.channel)
                if track is None or sampling is None:
                    continue
                part = self._part(use, track)
                samples = track.between(part.start, part.end) if part is not None else ()
                if part is None or len(samples) < LEAST_SAMPLES:
                    self._lose(f"{sampling.title}: the log has no {use.during or 'samples'} for it.")
                    continue
                if not all(sampling.of.possible.holds(value) for _, value in samples):
                    self._lose(f"{sampling.title}: it has samples outside what is possible for it.")
                    continue
                yield self._record(sampling, use, track, part, samples)

    def _record(
        self,
        sampling: Sampling,
        use: FromChannel,
        track: Track,
        part: _Part,
        samples: Sequence[tuple[float, float]],
    ) -> DraftRow:
        every = -(-len(samples) // MOST)
        kept = samples[::every]
        self.used.add(use.channel)
        instruments, named = self._instrument_row(use, track)
        points = [
            f"{_plain(time - part.start)} s: {_number_words(value, sampling.unit, 8)}" for time, value in kept
        ]
        row: dict[str, Any] = {"of": sampling.key, "points": points, "origin": self._origin(track, part)}
        if named:
            row["with"] = named
        is_odd = not all(sampling.of.usual.holds(value) for _, value in kept)
        if is_odd:
            row["confirmed"] = True
        low, high = min(value for _, value in kept), max(value for _, value in kept)
        text = (
            f"{len(kept)} samples over {_plain(part.length)} s, {_number_words(low, sampling.unit)} to"
            f" {_number_words(high, sampling.unit)}"
        )
        return DraftRow(
            of=sampling.key,
            title=sampling.title,
            text=text + (f", every {every}. sample" if every > 1 else ""),
            where=self._where(track, part),
            is_odd=is_odd,
            note=use.note,
            step={"records": [row]},
            instruments=instruments,
        )

    # ---- where it comes from

    def _instrument_row(self, use: FromChannel, track: Track) -> tuple[dict[str, dict[str, str]], str]:
        if not use.accuracy:
            return {}, ""
        title = self.declared.channels.channels[use.channel].title.lower()
        name = f"vehicle's own data, {title}"
        return {name: {"kind": "module (ECU)", "accuracy": use.accuracy}}, name

    def _origin(self, track: Track, part: _Part) -> dict[str, str]:
        if self.log.bus:
            return {"bus": f"{self.log.bus} {track.address}".strip(), "time": _span(part)}
        lines = self._lines(track, part)
        return {
            "file": self.log.file,
            "sha256": self.log.sha256,
            "lines": f"{lines[0]}-{lines[1]}",
            "time": _span(part),
        }

    def _where(self, track: Track, part: _Part) -> str:
        if self.log.bus:
            return f"{self.log.bus}, module (ECU) {track.address or '?'}, {_span(part)}"
        first, last = self._lines(track, part)
        return f"column {quotation(track.title)}, lines {first} to {last}, {_span(part)}"

    def _lines(self, track: Track, part: _Part) -> tuple[int, int]:
        lines = [
            line
            for time, line in zip(track.times, track.lines, strict=False)
            if part.start <= time <= part.end
        ]
        return (lines[0], lines[-1]) if lines else (0, 0)

    def _lose(self, words: str) -> None:
        self.gone[words] = None

    def left_out(self) -> Iterator[str]:
        """What nothing was made of."""
        yield from self.gone
        asked = {one.channel for one in self.declared.from_channels}
        unused = [track for track in self.log.tracks if track.channel not in asked]
        if unused:
            named = ", ".join(dict.fromkeys(track.title or track.channel for track in unused))
            yield f"No installed system takes a reading from: {named}."
        if self.log.unknown:
            yield f"Columns that are no known quantity: {', '.join(self.log.unknown)}."
        told = {one.channel for one in self.declared.from_channels if one.answers}
        monitors = [title for key, title in _monitor_titles() if key in self.log.monitors and key not in told]
        if monitors and told:
            yield f"No installed system asks for the monitors: {', '.join(monitors)}."


def _in_a_sentence(title: str) -> str:
    """A title as it stands within a sentence; what begins with capitals keeps them."""
    return title if title[:2].isupper() else f"{title[:1].lower()}{title[1:]}"


def _monitor_titles() -> list[tuple[str, str]]:
    return [(key, one.title) for key, one in channels().monitors.items()]


def _lies(track: Track, time: float, ends: tuple[float | None, float | None]) -> bool:
    """Whether a channel lies between two ends at a time, by the last sample up to then."""
    from bisect import bisect_right

    n = bisect_right(track.times, time) - 1
    if n < 0 or time - track.times[n] > break_after(track):
        return False
    low, high = ends
    return (low is None or track.values[n] >= low) and (high is None or track.values[n] <= high)


def _turns(speed: Track, part: _Part) -> float | None:
    """Revolutions in a part: the engine speed summed over time."""
    samples = speed.between(part.start, part.end)
    if len(samples) < LEAST_SAMPLES:
        return None
    return round(math.fsum((t1 - t0) * (v0 + v1) / 2 for (t0, v0), (t1, v1) in pairwise(samples)))


def _middle(values: Sequence[float]) -> tuple[float, float]:
    """The middle of all values, and how far nine of ten lie from it at most."""
    ordered = sorted(values)
    middle = ordered[len(ordered) // 2]
    apart = sorted(abs(value - middle) for value in values)
    return middle, apart[min(len(apart) - 1, int(0.95 * len(apart)))]


def _typed_number(number: float, spread: float, unit: str) -> str:
    """A number as it is typed, with its scatter as a ± of its own and no more digits than that leaves."""
    wide = units.to_coherent(1.0, unit) - units.to_coherent(0.0, unit)
    half = spread / wide
    if half <= 0:
        return _number_words(number, unit)
    places = max(0, 1 - math.floor(math.log10(half)))
    label = "" if unit in units.BARE else f" {units.declared_text(unit)}"
    return f"{units.from_coherent(number, unit):.{places}f} ± {half:.{places}f}{label}"


def _number_words(number: float, unit: str, digits: int = 6) -> str:
    label = units.declared_text(unit)
    text = units.decimal_text(number, unit, digits)
    return text if unit in units.BARE else f"{text} {label}"


def _plain(seconds: float) -> str:
    return f"{round(seconds, 3):g}" if seconds < 1e5 else f"{seconds:.0f}"


def _span(part: _Part) -> str:
    return f"{_plain(part.start)} s to {_plain(part.end)} s"
