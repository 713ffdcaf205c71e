"""Reads shared/channels.toml, which says what `channels.py` holds."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import attrs

from .channels import ChannelList, plain
from .datafile import read_toml, required_field, structured, table
from .fault import Faults
from .model.channel import Channel, LiveValue, Monitor

_NAME = "shared/channels.toml"


@table
class _PlacesRow:
    count: int
    word: str


@table
class _DataRow:
    pid: int
    bytes: int
    factor: str = "1"
    offset: str = "0"


@table
class _ChannelRow:
    key: str = required_field("a short lower-case name", default="")
    title: str = required_field("what people call it", default="")
    unit: str = required_field("its unit", default="")
    bare: str = ""
    possible: list[float] = attrs.field(factory=list)
    names: list[str] = attrs.field(factory=list)
    places: _PlacesRow | None = None
    data: _DataRow | None = None


@table
class _MonitorRow:
    key: str
    title: str
    byte: int
    supported: int
    incomplete: int
    only: str = ""


@table
class _ChannelFile:
    channel: list[_ChannelRow | None] = attrs.field(factory=list)
    monitor: list[_MonitorRow | None] = attrs.field(factory=list)


def read_channels(path: Path) -> ChannelList:
    """The channels of the file that comes with corekit.

    Raises:
        DataFileError: everything that is wrong with it, at once.
    """
    data, faults = read_toml(path, _NAME), Faults()
    form = structured(data, _ChannelFile, faults)
    found: dict[str, Channel] = {}
    named: dict[str, tuple[str, str]] = {}
    for n, row in enumerate(form.channel):
        if row is None:
            continue
        if row.key in found:
            faults.add(("channel", n, "key"), f"{row.key} is given twice", "each key once")
        if len(row.possible) != 2:
            faults.add(("channel", n, "possible"), f"has {len(row.possible)} ends", "two numbers")
            continue
        found[row.key] = _channel(row)
        for place, name in _names(row):
            if named.setdefault(plain(name), (row.key, place)) != (row.key, place):
                faults.add(
                    ("channel", n, "names"), f"{name} names {named[plain(name)][0]} already", "each name once"
                )
    monitors = {
        row.key: Monitor(
            key=row.key,
            title=row.title,
            byte=row.byte,
            supported=row.supported,
            incomplete=row.incomplete,
            only=row.only,
        )
        for row in form.monitor
        if row is not None
    }
    faults.refuse(data, _NAME)
    return ChannelList(channels=found, monitors=monitors, named=named)


def _channel(row: _ChannelRow) -> Channel:
    return Channel(
        key=row.key,
        title=row.title,
        unit=row.unit,
        bare=row.bare,
        possible=(row.possible[0], row.possible[1]),
        places=() if row.places is None else tuple(_places(row.places)),
        data=None
        if row.data is None
        else LiveValue(
            number=row.data.pid,
            count=row.data.bytes,
            factor=Fraction(row.data.factor),
            offset=Fraction(row.data.offset),
        ),
    )


def _places(row: _PlacesRow) -> list[str]:
    return [f"{row.word} {n}" for n in range(1, row.count + 1)]


def _names(row: _ChannelRow) -> list[tuple[str, str]]:
    """(place, name) of every way to write it; one with places has a number behind its name."""
    if row.places is None:
        return [("", name) for name in (row.key, row.title, *row.names)]
    return [
        (place, f"{name} {n}")
        for name in (row.key, *row.names)
        for n, place in enumerate(_places(row.places), 1)
    ]
