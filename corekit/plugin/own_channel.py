"""A system's own channel: a logger's column or a live value that shared/channels.toml lacks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from .. import units
from ..channels import channels, plain
from ..fault import any_of, quotation
from ..model.channel import Channel, LiveValue

_GROUP = 0x20  # each such parameter says which others there are, and is no value
_LAST = 0xFF
_MOST_BYTES = 8


def declare_channel(
    key: str,
    unit: str,
    title: str,
    possible: tuple[float, float],
    names: Iterable[str],
    places: Mapping[str, Iterable[str]] | Iterable[str],
    bare: str,
    data: LiveValue | None,
) -> Channel:
    """A channel, checked against those that come with corekit.

    Raises:
        ValueError: its unit, span, names or parameter cannot be meant, or are another channel's.
    """
    one = units.unit(unit)
    if bare and units.unit(bare).kind != one.kind:
        raise ValueError(f"{key}: a column without a unit is in {bare!r}, which is no unit of a {one.kind}.")
    low, high = possible
    if not low < high:
        raise ValueError(
            f"{key}: what is possible is two numbers in {unit}, the lower first; got {possible}."
        )
    written = dict.fromkeys(places, ()) if not isinstance(places, Mapping) else places
    if isinstance(names, str) or any(isinstance(short, str) for short in written.values()):
        raise ValueError(f"{key}: names are a list of texts, also where there is one.")
    if data is not None:
        _refuse_parameter(key, data)
        if written:
            raise ValueError(f"{key}: one parameter gives one value; a channel with places has none.")
    return Channel(
        key=key,
        title=title,
        unit=unit,
        bare=bare,
        possible=(low, high),
        places=tuple(written),
        data=data,
        names=_names(key, (key.partition(".")[2], title, *names), written),
    )


def _refuse_parameter(key: str, data: LiveValue) -> None:
    if not 0 < data.number <= _LAST or data.number % _GROUP == 0 or not 0 < data.count <= _MOST_BYTES:
        raise ValueError(
            f"{key}: a parameter of service 01 has a number from 01 to FF, none of 20, 40 … E0, and 1 to"
            f" {_MOST_BYTES} bytes; got {data.number:02X} with {data.count}."
        )
    if data.factor == 0:
        raise ValueError(f"{key}: with a factor of 0 every value of parameter {data.number:02X} is one.")
    for known in channels().channels.values():
        if known.data is not None and known.data.number == data.number:
            raise ValueError(
                f"{key}: parameter {data.number:02X} is the channel {known.key} already; write"
                f" from_channel(…, {known.key!r})."
            )


def _names(key: str, names: Iterable[str], places: Mapping[str, Iterable[str]]) -> dict[str, str]:
    """Every way that a column may be called, in plain letters → place: with places, the place or its short
    form before the name or behind it.
    """
    found: dict[str, str] = {}
    for name in names:
        for place in places or ("",):
            spelled = (place, *places[place]) if place else ("",)
            for text in (text for one in spelled for text in (f"{name} {one}", f"{one} {name}")):
                title = plain(text)
                if not title:
                    raise ValueError(f"{key}: {quotation(name)} is no name of a column.")
                if taken := channels().named.get(title):
                    raise ValueError(
                        f"{key}: a column {quotation(text.strip())} is the channel {taken[0]} already; write"
                        f" from_channel(…, {taken[0]!r})."
                    )
                if found.setdefault(title, place) != place:
                    raise ValueError(
                        f"{key}: a column {quotation(text.strip())} may be of"
                        f" {any_of([found[title], place])}; give each place names of its own."
                    )
    return found
