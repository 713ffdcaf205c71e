"""What a logger's column or the vehicle's own data can be: channels, and the monitors a vehicle tells of.

They stand in shared/channels.toml, beside those that systems declare for themselves, and have no meaning of
their own: a system says which of its readings comes from which channel, and when.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from fractions import Fraction
from functools import lru_cache

import attrs

from .datafile import read_toml, required_field, structured, table
from .fault import Faults
from .kept import kept
from .model.channel import Channel, LiveValue, Monitor
from .reference import data_path

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


@attrs.frozen(kw_only=True)
class ChannelList:
    """Channels and monitors by key.

    Attributes:
        named: Every name of a column in plain letters → channel and place. shared_names: A name that several
            systems give to channels of their own → keys of these; it stands for none of them.
    """

    channels: Mapping[str, Channel]
    monitors: Mapping[str, Monitor]
    named: Mapping[str, tuple[str, str]]
    shared_names: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict)

    def channel_named(self, title: str) -> tuple[Channel, str] | None:
        """The channel that a column's title names, with its place where it has several; None for any
        other.
        """
        found = self.named.get(plain(title))
        return None if found is None else (self.channels[found[0]], found[1])

    def with_own(self, own: Iterable[Channel]) -> ChannelList:
        """The same and the channels of systems' own, whatever order these come in."""
        more = {one.key: one for one in own}
        claims: dict[str, list[Channel]] = {}
        for channel in more.values():
            for name in channel.names:
                claims.setdefault(name, []).append(channel)
        named = {name: (of[0].key, of[0].names[name]) for name, of in claims.items() if len(of) == 1}
        return attrs.evolve(
            self,
            channels={**self.channels, **more},
            named={**named, **self.named},
            shared_names={
                name: tuple(sorted(one.key for one in of)) for name, of in claims.items() if len(of) > 1
            },
        )


@lru_cache(maxsize=1)
def channels() -> ChannelList:
    """The channels that come with corekit.

    Raises:
        DataFileError: everything that is wrong with the file, at once.
    """
    return kept("channels", [data_path(_NAME)], _read_channels)


def plain(title: str) -> str:
    """A column's title as names are compared: small letters and digits, what stands in brackets left out.

    >>> plain("Engine_RPM (1/min)"), plain("Misfires cyl. 3 [count]")
    ('engine rpm', 'misfires cyl 3')
    """
    bare = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", re.sub(r"[\[(][^\[\]()]*[\])]", " ", title))
    return " ".join(re.sub(r"[^\w]|_", " ", bare.casefold()).split())


def _read_channels() -> ChannelList:
    data, faults = read_toml(data_path(_NAME), _NAME), Faults()
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
