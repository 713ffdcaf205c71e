"""The declaration of where a reading comes from in a log or in the vehicle's own data."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum

from .. import units
from ..channels import channels
from ..fault import any_of
from ..model.channel import EVENTS, INTERVAL, TAKES, TURNS, Channel, FromChannel
from ..model.measurand import Measurand, Observation
from ..model.sampling import Sampling

Ends = tuple[float | None, float | None]
#: Channels, by key or as declared, and the ends that each must lie between.
Spans = Mapping[str, Ends] | Mapping[Channel, Ends] | Mapping[str | Channel, Ends]
#: What a stretch gives in place of a value of the channel, and its kind.
_OTHERWISE = {TURNS: "count", INTERVAL: "time"}


def declare_from_channel(
    of: Measurand | Sampling,
    channel: str | Channel,
    during: str,
    take: str,
    when: Spans | None,
    accuracy: str,
    note: str,
) -> FromChannel:
    """A reading, or a record, as it comes from a channel.

    Raises:
        ValueError: there is no such channel or event, or it is of another kind of quantity.
    """
    known = _channel(of.key, channel)
    if during and during not in EVENTS:
        raise ValueError(f"{of.key}: what is made out in a log is {any_of(EVENTS)}; got {during!r}.")
    if take not in TAKES:
        raise ValueError(f"{of.key}: a reading is taken as {any_of(TAKES)}; got {take!r}.")
    measurand = of.of if isinstance(of, Sampling) else of
    kind = _OTHERWISE.get(take) or units.unit(known.unit).kind
    if kind != measurand.kind:
        raise ValueError(f"{of.key}: it is a {measurand.kind}, and from {known.key} comes a {kind}.")
    if isinstance(of, Sampling) and of.over_kind != "time":
        raise ValueError(f"{of.key}: a log is sampled over time, and this record is not.")
    if set(known.places) - set(of.places) and known.places[: len(of.places)] != of.places:
        raise ValueError(f"{of.key}: its places are not those of {known.key}, {any_of(known.places)}.")
    if accuracy:
        units.parse_accuracy(accuracy, measurand.unit)
    return FromChannel(
        of=of.key,
        channel=known.key,
        during=during,
        take=take,
        when=dict(_span(of.key, one, ends) for one, ends in (when or {}).items()),
        places={place: place for place in known.places if place in of.places},
        accuracy=accuracy,
        note=note,
    )


def declare_from_monitor(
    of: Observation, monitor: str, answers: Mapping[bool, Enum], note: str
) -> FromChannel:
    """An answer, as it comes from what the vehicle tells of a monitor.

    Raises:
        ValueError: there is no such monitor, or an answer is none of the observation's.
    """
    if monitor not in channels().monitors:
        raise ValueError(
            f"{of.key}: a vehicle's monitors are {any_of(channels().monitors)}; got {monitor!r}."
        )
    if not answers or not all(isinstance(answer, of.answers) for answer in answers.values()):
        raise ValueError(f"{of.key}: a monitor leads to answers of it, for True, False or both.")
    return FromChannel(
        of=of.key,
        channel=monitor,
        answers={complete: str(answer.value) for complete, answer in answers.items()},
        note=note,
    )


def _channel(key: str, told: str | Channel) -> Channel:
    """One that comes with corekit, by its key, or one that a system has declared."""
    if isinstance(told, Channel):
        return told
    known = channels().channels.get(told)
    if known is None:
        raise ValueError(
            f"{key}: the channels are {any_of(channels().channels)}; got {told!r}. One that is not among them"
            " is declared: system.channel(…), and what that gives is named here."
        )
    return known


def _span(key: str, told: str | Channel, ends: Ends) -> tuple[str, Ends]:
    known = _channel(key, told)
    low, high = (None if end is None else units.to_coherent(end, known.unit) for end in ends)
    return known.key, (low, high)
