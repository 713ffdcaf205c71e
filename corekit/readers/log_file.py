"""A logger's file as a log: columns of known channels over time."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence

import attrs

from .. import units
from ..channels import ChannelList, channels, plain
from ..fault import DataFault, any_of, near, quotation
from ..model.channel import Channel, Log, Track
from . import clock
from .column import is_broken, new_samples, numbers_of, unit_in, unit_of_title
from .errors import LogError
from .grid import Grid, read_grid, shown_titles

_NAMED = 3
_NAMES, _VALUES = (
    frozenset({"name", "pid", "parameter", "channel", "signal", "sensor"}),
    frozenset({"value", "wert", "reading"}),
)
_UNITS = frozenset({"unit", "units", "einheit"})


@attrs.frozen(kw_only=True)
class Told:
    """What whoever hands the file over says of it, where the file does not.

    Attributes:
        columns: Title of a column → key of its channel, with ` cylinder 3` behind it where it has places;
            a system's own channel is called `system.name`.
        units: Title of a column → its unit.
        time: What the time is in, of clock.UNITS. decimal: The decimal mark.
    """

    columns: Mapping[str, str] = attrs.field(factory=dict)
    units: Mapping[str, str] = attrs.field(factory=dict)
    time: str = ""
    decimal: str = ""


def read_log(name: str, content: bytes, told: Told | None = None, known: ChannelList | None = None) -> Log:
    """The log in a file; nothing of it is kept.

    Args:
        known: The channels that there are; those that come with corekit where left out.

    Raises:
        LogError: it is no table, has no time, or none of its columns is a quantity of a vehicle.
    """
    say, listed = told or Told(), known or channels()
    grid = read_grid(content)
    _refuse_strange(say, grid, listed)
    if _is_list(grid):
        grid = _pivot(grid)
    remarks = list(grid.remarks)
    times = [n for n, title in enumerate(grid.titles) if clock.is_time(title)]
    days = [n for n, title in enumerate(grid.titles) if clock.is_day(title)]
    columns = [
        (n, found)
        for n, title in enumerate(grid.titles)
        if n not in times and (found := _channel(title, say, listed))
    ]
    if not times and days:
        times, days = days[:1], []
    if not columns or not times:
        _refuse_as_none(grid, times, columns, listed)
    clocks = {
        n: clock.read_clock(
            grid.titles[n],
            grid.column(n),
            grid.lines,
            days=grid.column(days[0]) if days else None,
            given=say.time,
            below=grid.units[n],
        )
        for n in times
    }
    remarks += dict.fromkeys(one.words.strip() for one in clocks.values() if one.words)
    remarks += _claimed_by_several(grid, say, listed)
    mark = _decimal_mark(grid, [n for n, _ in columns], say.decimal)
    tracks = []
    for n, (channel, place) in columns:
        own = max((time for time in times if time < n), default=times[0]) if len(times) > 1 else times[0]
        track = _track(grid, n, channel, place, clocks[own].seconds, mark, say, remarks)
        if track is not None:
            tracks.append(track)
    if not tracks:
        raise LogError([DataFault("file", "a column of samples", "; ".join(remarks) or "holds none")], name)
    taken = {n for n, _ in columns} | set(times) | set(days)
    return Log(
        tracks=tuple(tracks),
        file=name,
        sha256=hashlib.sha256(content).hexdigest(),
        remarks=tuple(remarks),
        unknown=tuple(title for n, title in enumerate(grid.titles) if title and n not in taken),
    )


# ---- what the columns are


def _channel(title: str, say: Told, known: ChannelList) -> tuple[Channel, str] | None:
    told = say.columns.get(title)
    if told is None:
        name, _, last = title.strip().rpartition(" ")
        return known.channel_named(title) or (known.channel_named(name) if name and unit_in(last) else None)
    key, _, place = told.partition(" ")
    return known.channels[key], place


def _claimed_by_several(grid: Grid, say: Told, known: ChannelList) -> list[str]:
    """A sentence for each column whose title stands for channels of several systems."""
    return [
        f"Left out: column {quotation(title)}, which may be {any_of(keys)}; say which beside the file."
        for title in grid.titles
        if title not in say.columns and (keys := known.shared_names.get(plain(title)))
    ]


def _refuse_strange(say: Told, grid: Grid, known: ChannelList) -> None:
    """Names that fit nothing, before anything is made of the file."""
    faults = []
    for title in dict.fromkeys((*say.columns, *say.units)):
        if title not in grid.titles:
            meant = near(title, [one for one in grid.titles if one])
            faults.append(
                DataFault(
                    "columns",
                    shown_titles(grid.titles),
                    f"there is no column {quotation(title)}",
                    any_of(meant),
                )
            )
    for title, told in say.columns.items():
        key, _, place = told.partition(" ")
        channel = known.channels.get(key)
        if channel is None:
            expected = f"a channel: {', '.join(known.channels)}"
            faults.append(
                DataFault(
                    quotation(title),
                    expected,
                    f"there is no channel {quotation(key)}",
                    any_of(near(key, known.channels)),
                )
            )
        elif (place or channel.places) and place not in channel.places:
            faults.append(
                DataFault(
                    quotation(title),
                    any_of(channel.places) or "no place",
                    f"{quotation(told)} has no such place",
                )
            )
    if say.time and say.time not in clock.UNITS:
        faults.append(
            DataFault("time", any_of(clock.UNITS), f"{quotation(say.time)} is no unit of a time here")
        )
    if faults:
        raise LogError(faults)


def _refuse_as_none(grid: Grid, times: Sequence[int], columns: Sequence[object], known: ChannelList) -> None:
    """A table, and no log of a vehicle."""
    got = (
        f"has columns {shown_titles(grid.titles)}, and none of them is a quantity of a vehicle"
        if not columns
        else f"has columns {shown_titles(grid.titles)}, and none of them is a time"
    )
    if not columns and not times:
        got += " or a time; it is probably no log of a vehicle"
    titles = ", ".join(channel.title.lower() for channel in list(known.channels.values())[:6])
    raise LogError(
        [
            DataFault(
                "file",
                f"a time, and columns such as {titles}",
                got,
                "which column is which, beside the file (title = channel), if it is one all the same",
            )
        ]
    )


def _is_list(grid: Grid) -> bool:
    """One value a line: the name of the quantity stands in a column of its own."""
    plainly = [plain(title) for title in grid.titles]
    return any(one in _NAMES for one in plainly) and any(one in _VALUES for one in plainly)


def _pivot(grid: Grid) -> Grid:
    """The same with a column for each quantity."""
    plainly = [plain(title) for title in grid.titles]
    name = next(n for n, one in enumerate(plainly) if one in _NAMES)
    value = next(n for n, one in enumerate(plainly) if one in _VALUES)
    unit = next((n for n, one in enumerate(plainly) if one in _UNITS), None)
    others = [n for n in range(len(plainly)) if n not in (name, value, unit)]
    titles = list(dict.fromkeys(row[name] for row in grid.rows))
    own = {row[name]: row[unit] for row in grid.rows} if unit is not None else {}
    rows = [
        (*(row[n] for n in others), *(row[value] if row[name] == title else "" for title in titles))
        for row in grid.rows
    ]
    return attrs.evolve(
        grid,
        titles=(*(grid.titles[n] for n in others), *titles),
        units=(*(grid.units[n] for n in others), *(own.get(title, "") for title in titles)),
        rows=tuple(rows),
    )


# ---- numbers


def _decimal_mark(grid: Grid, columns: Sequence[int], given: str) -> str:
    """The decimal mark of the whole file.

    Raises:
        LogError: it uses both, or neither can be told from marks between thousands.
    """
    if given:
        return given
    cells = [(line, row[n]) for line, row in zip(grid.lines, grid.rows, strict=True) for n in columns]
    points = [(line, cell) for line, cell in cells if "." in cell]
    commas = [(line, cell) for line, cell in cells if "," in cell]
    if points and commas:
        (line, cell), (other, point) = commas[0], points[0]
        raise LogError(
            [
                DataFault(
                    f"line {line}",
                    "one decimal mark throughout",
                    f"{quotation(cell)} has a comma, and {quotation(point)} in line {other} a point",
                    "the file again without marks between thousands",
                )
            ]
        )
    return "," if commas else "."


def _track(
    grid: Grid,
    n: int,
    channel: Channel,
    place: str,
    seconds: Sequence[float | None],
    mark: str,
    say: Told,
    remarks: list[str],
) -> Track | None:
    """One column as samples over time; None with a remark where it cannot be read."""
    title = grid.titles[n]
    unit = _unit(title, grid.units[n], channel, grid.column(n), say, remarks)
    if not unit:
        return None
    numbers = numbers_of(grid.column(n), unit, mark)
    values = [value for value in numbers.values if value is not None]
    if is_broken(len(numbers.odd), len(values)):
        line, cell = grid.lines[numbers.odd[0][0]], numbers.odd[0][1]
        remarks.append(
            f"Left out: column {quotation(title)}, whose cells are no numbers ({quotation(cell)} in line"
            f" {line})."
        )
        return None
    _say_odd(title, [(grid.lines[row], cell) for row, cell in numbers.odd], "no number", remarks)
    low, high = (units.to_coherent(end, channel.unit) for end in channel.possible)
    odd: list[tuple[int, str]] = []
    samples: list[tuple[float, float, int]] = []
    for row, (time, value) in enumerate(zip(seconds, numbers.values, strict=True)):
        if time is None or value is None:
            continue
        if not low <= value <= high:
            odd.append((grid.lines[row], grid.rows[row][n]))
        elif not samples or time > samples[-1][0]:
            samples.append((time, value, grid.lines[row]))
    _say_odd(title, odd, f"impossible for {channel.title.lower()}", remarks)
    if len(samples) < 2:
        remarks.append(f"Left out: column {quotation(title)}, which holds fewer than two samples.")
        return None
    new, interval, is_held = new_samples([one[0] for one in samples], [one[1] for one in samples])
    if is_held:
        remarks.append(
            f"{title}: each sample is repeated until the next one comes, so it is new every"
            f" {interval:.3g} s and not in every line."
        )
    return Track(
        channel=channel.key,
        place=place,
        title=title,
        times=tuple(samples[k][0] for k in new),
        values=tuple(samples[k][1] for k in new),
        lines=tuple(samples[k][2] for k in new),
        interval=interval,
        is_held=is_held,
    )


def _unit(
    title: str, below: str, channel: Channel, cells: Sequence[str], say: Told, remarks: list[str]
) -> str:
    """The unit of a column; empty with a remark where it is not said and cannot be taken for granted."""
    given = say.units.get(title, "")
    if given:
        if found := unit_in(given, [channel.unit]):
            return found
        raise LogError(
            [
                DataFault(
                    quotation(title),
                    channel.unit,
                    f"{quotation(given)} is no unit of {channel.title.lower()}",
                )
            ]
        )
    found, strange = unit_of_title(title, below, channel)
    if found:
        return found
    if strange:
        remarks.append(
            f"Left out: column {quotation(title)}, in {strange}, which is no unit of {channel.title.lower()}."
        )
        return ""
    behind = next((cell for cell in cells if cell and not cell[-1].isdigit()), "")
    if behind and (own := unit_in(re.sub(r"^[+\-−0-9.,\s]+", "", behind), [channel.unit])):
        return own
    if not channel.bare:
        remarks.append(
            f"Left out: column {quotation(title)}, which does not say its unit; say it beside the file"
            f" ({quotation(title)} in {channel.unit})."
        )
        return ""
    return channel.bare


def _say_odd(title: str, odd: Sequence[tuple[int, str]], why: str, remarks: list[str]) -> None:
    if odd:
        shown = ", ".join(f"{quotation(cell)} in line {line}" for line, cell in odd[:_NAMED])
        more = f" and {len(odd) - _NAMED} more" if len(odd) > _NAMED else ""
        remarks.append(f"{title}: {shown}{more} left out, {why}.")
