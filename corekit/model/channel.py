"""Channels: what a logger's column or the vehicle's own data can be, what was read of them, and which reading
of a system comes from which.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction

import attrs

#: What can be made out in a log; a reading may be taken from a stretch of one of these.
KEY_ON, CRANKING, RUNNING, IDLING, WARM_UP, LOAD_STEP, ENGINE_OFF = (
    "key on",
    "cranking",
    "running",
    "idling",
    "warm-up",
    "load step",
    "engine off",
)
#: Everything of a log in which the engine neither cranks nor runs, as far as it tells.
STANDING = "standing"
EVENTS = (STANDING, KEY_ON, CRANKING, RUNNING, IDLING, WARM_UP, LOAD_STEP, ENGINE_OFF)

#: How a reading is taken from a stretch: the middle of its steadiest part, an end of its span, its last
#: sample, by how much a counter rose, how many revolutions the engine made, the time between two samples.
MIDDLE, LOWEST, HIGHEST, LAST, RISE, TURNS, INTERVAL = (
    "middle",
    "lowest",
    "highest",
    "last",
    "rise",
    "turns",
    "interval",
)
TAKES = (MIDDLE, LOWEST, HIGHEST, LAST, RISE, TURNS, INTERVAL)


@attrs.frozen(kw_only=True)
class LiveValue:
    """How a vehicle sends a channel in service 01: number of the parameter, bytes, and value = raw × factor +
    offset in the channel's unit. Factor and offset are exact: `"1/20"`.
    """

    number: int
    count: int
    factor: Fraction = attrs.field(default=Fraction(1), converter=Fraction)
    offset: Fraction = attrs.field(default=Fraction(0), converter=Fraction)

    def value(self, raw: bytes) -> Fraction:
        """The value that so many bytes stand for, in the channel's unit.

        Raises:
            ValueError: there are more or fewer bytes.
        """
        if len(raw) != self.count:
            raise ValueError(f"Parameter {self.number:02X} has {self.count} bytes; got {len(raw)}.")
        return int.from_bytes(raw, "big") * self.factor + self.offset


@attrs.frozen(kw_only=True)
class Channel:
    """A quantity by its usual name: one for every system alike, or a system's own.

    Attributes:
        unit: That it is shown in. bare: That of a column which names none; empty where several are usual.
        possible: In `unit`; what lies outside is no reading of it.
        places: Where it is there for several like things.
        data: How a vehicle sends it. names: What a column calls it, in plain letters → place.
    """

    key: str
    title: str
    unit: str
    possible: tuple[float, float]
    bare: str = ""
    places: tuple[str, ...] = ()
    data: LiveValue | None = None
    names: Mapping[str, str] = attrs.field(factory=dict, hash=False)


@attrs.frozen(kw_only=True)
class Monitor:
    """One of the vehicle's own monitors, by its bits in service 01, parameter 01: `byte` counts from A = 0,
    and byte 2 has its `incomplete` bits in byte 3. `only`: with this kind of engine.
    """

    key: str
    title: str
    byte: int
    supported: int
    incomplete: int
    only: str = ""


@attrs.frozen(kw_only=True)
class Track:
    """What was read of one channel over time.

    Attributes:
        channel: Its key. place: Of a channel with places.
        title: What the file calls it; of the bus, the channel's title.
        times, values: The samples; times in seconds from the beginning, rising; values in the coherent unit.
        lines: Line of the file that each sample stands in; empty where it comes from a bus.
        interval: Time between two samples that are really new, in seconds.
        is_held: The file repeats samples until the next one comes; the repeats were left out.
        address: The control unit that sent it.
    """

    channel: str
    times: tuple[float, ...]
    values: tuple[float, ...]
    interval: float
    place: str = ""
    title: str = ""
    lines: tuple[int, ...] = ()
    is_held: bool = False
    address: str = ""

    def __attrs_post_init__(self) -> None:
        if len(self.times) != len(self.values):
            raise ValueError(f"{self.channel}: {len(self.times)} times and {len(self.values)} values.")
        if any(after <= before for before, after in zip(self.times, self.times[1:], strict=False)):
            raise ValueError(f"{self.channel}: the times of a track rise; these do not.")

    def between(self, start: float, end: float) -> tuple[tuple[float, float], ...]:
        """(time, value) of every sample of a stretch, its ends included."""
        return tuple(
            (time, value) for time, value in zip(self.times, self.values, strict=True) if start <= time <= end
        )


@attrs.frozen(kw_only=True)
class Log:
    """What a reader made of a file or a bus: nothing of it is in the record yet.

    Attributes:
        tracks: What was read over time.
        file, sha256: Name and hash of the file. bus: The bus that it was read from.
        codes: List (stored, pending, permanent) → control unit → its codes; a list that nobody gave is not
            there.
        vin: As the vehicle gave it.
        monitors: Key of a monitor → whether it is complete.
        notes: What else was told, one sentence each, that a reading cannot say: a freeze frame, the lamp.
        remarks: What is odd about it, or was left out, one sentence each.
        unknown: Titles of columns that are no known channel.
        lines: First and last line that holds samples.
    """

    tracks: tuple[Track, ...] = ()
    file: str = ""
    sha256: str = ""
    bus: str = ""
    codes: Mapping[str, Mapping[str, tuple[str, ...]]] = attrs.field(factory=dict)
    vin: str = ""
    monitors: Mapping[str, bool] = attrs.field(factory=dict)
    notes: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()

    def track(self, channel: str, place: str = "") -> Track | None:
        """What was read of a channel; of several control units the one with the most samples."""
        found = [one for one in self.tracks if (one.channel, one.place) == (channel, place)]
        return max(found, key=lambda one: len(one.times), default=None)


@attrs.frozen
class Reader:
    """What a plugin reads files with.

    Attributes:
        name: Of the kind of file, in words.
        read: Gives the log of a file by its name and content, or None where it is another kind of file.
    """

    name: str
    read: Callable[[str, bytes], Log | None]


@attrs.frozen(kw_only=True)
class LogEvent:
    """Something that happened in a log: `kind` of EVENTS, from `start` to `end` in seconds, and in words how
    it was told.
    """

    kind: str
    start: float
    end: float
    words: str = ""

    @property
    def length(self) -> float:
        return self.end - self.start


@attrs.frozen(kw_only=True)
class FromChannel:
    """A reading or record of a system, or an answer, as it comes from a channel.

    Attributes:
        of: Key of the measurand, record or observation.
        channel: Key of the channel, or of the monitor.
        during: Kind of event whose longest stretch counts; empty for all of the log.
        take: How one number is made of the stretch.
        when: Channel → the span, in its coherent unit, that it must lie in all the while.
        places: Place of the channel → place of the measurand; empty where neither has any.
        accuracy: Of such data for this measurand, where it is worth less than the worst ordinary instrument.
        answers: Of an observation: whether the monitor is complete → the answer's words.
        note: What whoever takes it should know.
    """

    of: str
    channel: str
    during: str = ""
    take: str = MIDDLE
    when: Mapping[str, tuple[float | None, float | None]] = attrs.field(factory=dict)
    places: Mapping[str, str] = attrs.field(factory=dict)
    accuracy: str = ""
    answers: Mapping[bool, str] = attrs.field(factory=dict)
    note: str = ""
