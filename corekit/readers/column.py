"""One column of a logger's file: its unit, its numbers, and which of its samples are new."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

import attrs

from .. import units
from ..model.channel import Channel
from ..units import TypedError
from .grid import is_blank

_IN_BRACKETS = re.compile(r"[\[(]\s*([^\[\]()]+?)\s*[\])]")
_BEHIND = re.compile(r".*(?:\s(?:/|in)\s+|,\s*)(\S+)\s*")
_CELL = re.compile(
    r"(?P<number>[+\-−]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*(?P<unit>\D.{0,11})?"
)
#: What loggers write for units that people write otherwise.
_SPELLED = {
    "c": "°C",
    "f": "°F",
    "deg c": "°C",
    "deg f": "°F",
    "degc": "°C",
    "degf": "°F",
    "deg": "°",
    "degrees": "°",
    "volt": "V",
    "volts": "V",
    "amp": "A",
    "amps": "A",
    "g/sec": "g/s",
    "percent": "%",
    "sec": "s",
    "seconds": "s",
    "second": "s",
    "msec": "ms",
    "milliseconds": "ms",
    "minutes": "min",
    "1/min": "rpm",
    "u/min": "rpm",
    "n/min": "rpm",
    "tr/min": "rpm",
    "in hg": "inHg",
    "inhg": "inHg",
    "kpa": "kPa",
    "hpa": "hPa",
    "counts": "count",
    "km/std": "km/h",
}
_ANY_UNIT = (
    "V", "A", "°C", "rpm", "s", "%", "kPa abs", "g/s", "km/h", "count", "°", "L", "m", "Ω", "Hz", "N·m",
    "kPa gauge",
)  # fmt: skip
#: A step this many times the usual one is a break: what lay in it is not known.
_RUNS = 5
_FEW = 0.05
_IN_STEP = 0.8  # of the spans are multiples of the shortest one where samples are held
_LONGEST_HELD = 5.0  # s: a bus asks for everything more often; estimates of ours, source: log-events


@attrs.frozen
class Numbers:
    """The numbers of a column, None where it has none; `odd` the cells that are neither."""

    values: tuple[float | None, ...]
    odd: tuple[tuple[int, str], ...] = ()


def unit_in(text: str, accepts: Sequence[str] = _ANY_UNIT) -> str:
    """The unit that a text is, as declared in `accepts`' kinds; empty where it is none."""
    bare = text.strip().strip("[]()")
    for spelling in dict.fromkeys((_SPELLED.get(" ".join(bare.casefold().split()), bare), bare)):
        for accepted in accepts:
            try:
                return units.read_quantity(f"1 {spelling}", [accepted]).unit
            except (TypedError, units.UnitError):
                continue
    return ""


def unit_of_title(title: str, below: str, channel: Channel) -> tuple[str, str]:
    """The unit that a column says it is in, and the text that says another kind; both may be empty."""
    told = [*reversed(_IN_BRACKETS.findall(title)), *_BEHIND.findall(title), *title.split()[1:][-1:], below]
    said = [text for text in told if text]
    for text in said:
        if found := unit_in(text, [channel.unit]):
            return found, ""
    strange = next((text for text in said if unit_in(text)), "")
    return "", strange


def numbers_of(cells: Sequence[str], unit: str, mark: str) -> Numbers:
    """The numbers of a column in the coherent unit; a cell may repeat the column's unit behind its number."""
    one = units.unit(unit)
    values: list[float | None] = []
    odd: list[tuple[int, str]] = []
    for n, cell in enumerate(cells):
        if is_blank(cell):
            values.append(None)
            continue
        match = _CELL.fullmatch(cell)
        behind = (match["unit"] or "").strip() if match else ""
        if (
            not match
            or (behind and unit_in(behind, [unit]) != unit)
            or _has_other_mark(match["number"], mark)
        ):
            values.append(None)
            odd.append((n, cell))
            continue
        values.append(float(match["number"].replace("−", "-").replace(mark, ".")) * one.factor + one.offset)
    return Numbers(tuple(values), tuple(odd))


def _has_other_mark(number: str, mark: str) -> bool:
    return ("," if mark == "." else ".") in number


def new_samples(times: Sequence[float], values: Sequence[float]) -> tuple[list[int], float, bool]:
    """Which samples are new, the time between two of them, and whether the file repeats samples.

    Values that change every k-th line or a multiple of it (k above 1) are renewed no more often: the repeats
    in between say nothing. A value that changes without such a rhythm, or hardly at all, is read in each
    line.
    """
    every = list(range(len(times)))
    if len(times) < 2:
        return every, 0.0, False
    changes = [n for n in every[1:] if values[n] != values[n - 1]]
    spans = sorted(after - before for before, after in pairwise(changes))
    rhythm = spans[0] if len(spans) >= 2 * _RUNS else 1
    in_step = sum(span % rhythm == 0 for span in spans)
    if in_step < _IN_STEP * len(spans):
        # Loggers lose step by a line now and then: the second shortest kind of span tells as well.
        rhythm = next((span for span in spans if span > rhythm), 1)
        in_step = sum(span % rhythm <= 1 for span in spans)
    if in_step < _IN_STEP * len(spans) or rhythm * usual_step(times) > _LONGEST_HELD:
        rhythm = 1
    if rhythm < 2:
        return every, usual_step(times), False
    kept, last = [0], 0
    for n in every[1:]:
        if values[n] != values[last] or n - last >= rhythm:
            kept.append(n)
            last = n
    new = [times[n] for n in kept]
    return kept, usual_step(new), True


def usual_step(times: Sequence[float]) -> float:
    """The usual time between two samples: the middle of all steps."""
    steps = sorted(after - before for before, after in pairwise(times))
    return steps[len(steps) // 2] if steps else 0.0


def is_broken(odd: int, values: int) -> bool:
    """More cells that are no number than a logger writes by mistake."""
    return odd > max(2, _FEW * (odd + values))
