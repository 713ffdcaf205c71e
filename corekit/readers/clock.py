"""The time of a logger's lines: seconds from the beginning, whatever the file writes.

Seconds, milliseconds, minutes or hours; a time of day, over midnight; day and time, in one column or two. A
clock that goes back is named and refused: nobody knows how long the step really was.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from itertools import pairwise

import attrs

from ..channels import plain
from ..fault import DataFault, quotation
from .column import unit_in
from .errors import LogError

#: Names of columns in plain letters.
TIMES = frozenset(
    {
        "time", "t", "timestamp", "time stamp", "elapsed", "elapsed time", "seconds", "sec", "secs", "zeit",
        "uhrzeit", "zeitstempel", "relative time", "device time", "log time", "time of day", "date time",
        "datetime", "datum zeit", "datum uhrzeit", "clock", "temps", "heure", "millis", "time ms", "time s",
    }
)  # fmt: skip
DAYS = frozenset({"date", "day", "datum", "tag"})
#: What a time may be given in, for a file that does not say.
UNITS = ("s", "ms", "min", "h", "h:min", "min:s")
_SIZE = {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0}
_DAY = 86400.0
_HALF = 43200.0
_FASTEST = 20.0  # a step of 20 may be 20 ms or 20 s: nobody can tell

_CLOCK = re.compile(
    r"(?P<a>[0-9]{1,2}):(?P<b>[0-9]{2})(?::(?P<c>[0-9]{2}))?(?:[.,:](?P<part>[0-9]{1,9}))?"
    r"(?: ?(?P<half>[AaPp])[Mm])?(?:Z|[+-][0-9]{2}:?[0-9]{2})?"
)
_YEAR_FIRST = re.compile(r"([0-9]{4})[./-]([0-9]{1,2})[./-]([0-9]{1,2})")
_DAY_FIRST = re.compile(r"([0-9]{1,2})([./-])([0-9]{1,2})[./-]([0-9]{4}|[0-9]{2})")
_PLAIN = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]{1,3})?")


@attrs.frozen(kw_only=True)
class Clock:
    """Seconds of every line from the first that has a time, None where a line has none; `words` says how the
    time was read.
    """

    seconds: tuple[float | None, ...]
    words: str = ""


def is_time(title: str) -> bool:
    return plain(title) in TIMES


def is_day(title: str) -> bool:
    return plain(title) in DAYS


def read_clock(
    title: str,
    cells: Sequence[str],
    lines: Sequence[int],
    *,
    days: Sequence[str] | None = None,
    given: str = "",
    below: str = "",
) -> Clock:
    """The time of every line.

    Args:
        days: The cells of a column of days beside it. given: The unit, of UNITS, where the file does not say.
        below: The unit in a line of its own.

    Raises:
        LogError: it is no time, its unit is not known, or it goes back.
    """
    said = [(n, cell) for n, cell in enumerate(cells) if cell.strip()]
    if not said:
        _refuse("file", f"the column {quotation(title)} holds no time", "a time in every line")
    if all(_PLAIN.fullmatch(cell) for _, cell in said) and days is None:
        seconds, words = _counted_times(title, said, given, below)
    else:
        seconds, words = _of_day(title, said, lines, days, given)
    _rise(seconds, lines, cells)
    spread = _spread_evenly(seconds)
    if spread != seconds:
        words += (
            " The clock shows no more than that, so the lines between two of its steps are spread evenly."
        )
    first = next(iter(spread.values()))
    return Clock(
        seconds=tuple(spread[n] - first if n in spread else None for n in range(len(cells))), words=words
    )


def _refuse(where: str, got: str, expected: str, write: str = "") -> None:
    raise LogError([DataFault(where, expected, got, write)])


def _counted_times(
    title: str, said: Sequence[tuple[int, str]], given: str, below: str
) -> tuple[dict[int, float], str]:
    """Numbers that count from somewhere."""
    numbers = {n: float(cell.replace(",", ".")) for n, cell in said}
    unit = given if given in _SIZE else _told_unit(title, below)
    if not unit:
        values = list(numbers.values())
        steps = sorted(after - before for before, after in pairwise(values))
        if steps and steps[len(steps) // 2] >= _FASTEST:
            _refuse(
                "file",
                f"the column {quotation(title)} does not say its unit, and its steps of"
                f" {steps[len(steps) // 2]:g} may be seconds or milliseconds",
                "the unit in the title",
                "the unit of the time beside the file: s, ms, min or h",
            )
        unit, words = "s", "The time says no unit; it was taken as seconds."
    else:
        words = ""
    return {n: number * _SIZE[unit] for n, number in numbers.items()}, words


def _told_unit(title: str, below: str) -> str:
    brackets = re.findall(r"[\[(]\s*([^\[\]()]+?)\s*[\])]", title)
    for text in (*brackets, below, plain(title).split()[-1] if plain(title) else ""):
        found = unit_in(text, ["s"]) if text not in ("t", "time") else ""
        if found in _SIZE:
            return found
    return "ms" if plain(title) == "millis" else ""


def _of_day(
    title: str,
    said: Sequence[tuple[int, str]],
    lines: Sequence[int],
    days: Sequence[str] | None,
    given: str,
) -> tuple[dict[int, float], str]:
    """Times of day, with or without the day."""
    found: dict[int, float] = {}
    dated = False
    added, previous = 0.0, None
    for n, cell in said:
        day, clock = _day_and_time(cell if days is None else f"{days[n]} {cell}")
        match = _CLOCK.fullmatch(clock)
        if match is None:
            _refuse(
                f"line {lines[n]}", f"{quotation(cell)} is no time", "a time of day or a number of seconds"
            )
            raise AssertionError
        seconds = _seconds(match, title, cell, lines[n], given)
        if day:
            dated = True
            seconds += _ordinal(day, cell, lines[n]) * _DAY
        elif previous is not None and seconds + added < previous - _HALF:
            added += _DAY  # past midnight
        seconds += added
        previous = seconds
        found[n] = seconds
    words = "Day and time of day." if dated else "Time of day, without the day."
    if added:
        words += " It goes on past midnight."
    return found, words


def _day_and_time(cell: str) -> tuple[str, str]:
    """(day, time) of a cell that may hold both."""
    text = " ".join(cell.replace("T", " ").split())
    first, space, rest = text.partition(" ")
    if space and (_YEAR_FIRST.fullmatch(first) or _DAY_FIRST.fullmatch(first)):
        return first, rest
    return "", text


def _seconds(match: re.Match[str], title: str, cell: str, line: int, given: str) -> float:
    a, b = int(match["a"]), int(match["b"])
    part = float(f"0.{match['part']}") if match["part"] else 0.0
    if match["c"] is not None:
        hours = a % 12 + (12 if match["half"] in "pP" else 0) if match["half"] else a
        return hours * 3600 + b * 60 + int(match["c"]) + part
    if match["half"]:
        return (a % 12 + (12 if match["half"] in "pP" else 0)) * 3600 + b * 60
    if match["part"] or given == "min:s":
        return a * 60 + b + part
    if given == "h:min":
        return a * 3600 + b * 60
    _refuse(
        f"line {line}",
        f"{quotation(cell)} in the column {quotation(title)} may be hours and minutes, or minutes and"
        " seconds",
        "a time with seconds",
        "the unit of the time beside the file: h:min or min:s",
    )
    raise AssertionError


def _ordinal(day: str, cell: str, line: int) -> int:
    """The day as a running number; of 03/05/2026 nobody knows which is the month, and within one log it is
    the same one.
    """
    match = _YEAR_FIRST.fullmatch(day)
    try:
        if match:
            return date(int(match[1]), int(match[2]), int(match[3])).toordinal()
        match = _DAY_FIRST.fullmatch(day)
        assert match is not None
        year = int(match[4]) + (2000 if len(match[4]) == 2 else 0)
        first, second = int(match[1]), int(match[3])
        if match[2] == "/" and second > 12:
            return date(year, first, second).toordinal()
        return date(year, second, first).toordinal()
    except ValueError:
        _refuse(f"line {line}", f"{quotation(cell)} is no day of the calendar", "a day and a time")
        raise AssertionError from None


def _rise(seconds: dict[int, float], lines: Sequence[int], cells: Sequence[str]) -> None:
    before = None
    for n, number in seconds.items():
        if before is not None and number < seconds[before]:
            _refuse(
                f"line {lines[n]}",
                f"the time goes back, {quotation(cells[n])} after {quotation(cells[before])}: the clock was"
                " set, or two logs were put together",
                "one log with a clock that runs on",
                "the part before that line, or the part from it on",
            )
        before = n


def _spread_evenly(seconds: dict[int, float]) -> dict[int, float]:
    """The same where lines share a time: spread evenly up to the next one."""
    keys = list(seconds)
    found: dict[int, float] = {}
    begin = 0
    while begin < len(keys):
        end = begin
        while end + 1 < len(keys) and seconds[keys[end + 1]] == seconds[keys[begin]]:
            end += 1
        here = seconds[keys[begin]]
        count = end - begin + 1
        if count > 1:
            step = seconds[keys[end + 1]] - here if end + 1 < len(keys) else _last_step(seconds, keys, begin)
            for n in range(count):
                found[keys[begin + n]] = here + step * n / count
        else:
            found[keys[begin]] = here
        begin = end + 1
    return found


def _last_step(seconds: dict[int, float], keys: list[int], begin: int) -> float:
    return seconds[keys[begin]] - seconds[keys[begin - 1]] if begin else 1.0
