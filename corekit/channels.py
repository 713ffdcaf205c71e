"""What a logger's column or the vehicle's own data can be: channels, and the monitors a vehicle tells of.

They stand in shared/channels.toml, beside those that systems declare for themselves, and have no meaning of
their own: a system says which of its readings comes from which channel, and when.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache

import attrs

from .kept import kept
from .model.channel import Channel, Monitor
from .reference import data_path


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
    path = data_path("shared/channels.toml")

    def read() -> ChannelList:
        from .channels_file import read_channels  # its forms are wanted when nothing is kept

        return read_channels(path)

    return kept("channels", [path], read)


def plain(title: str) -> str:
    """A column's title as names are compared: small letters and digits, what stands in brackets left out.

    >>> plain("Engine_RPM (1/min)"), plain("Misfires cyl. 3 [count]")
    ('engine rpm', 'misfires cyl 3')
    """
    bare = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", re.sub(r"[\[(][^\[\]()]*[\])]", " ", title))
    return " ".join(re.sub(r"[^\w]|_", " ", bare.casefold()).split())
