"""What happened in a log, and what it can and cannot show at its sample rate.

Standing, cranking and running are told by the engine speed; where a log has none and samples the voltage
often enough, a start by its dip. A step in time much longer than the usual one is a break: nothing is said
across it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import median

import attrs

from ..model.channel import (
    CRANKING,
    ENGINE_OFF,
    IDLING,
    KEY_ON,
    LOAD_STEP,
    RUNNING,
    WARM_UP,
    Log,
    LogEvent,
    Track,
)

# All of these are estimates of ours; source: log-events. A starter turns an engine at 100 to 300 rpm, and
# none idles below 450.
STANDS, RUNS = 30 / 60, 400 / 60  # rev/s: below it stands, from there on it runs
SLOW = 1250 / 60  # rev/s: above it no engine idles, save just after a cold start
CREEPS = 1.0  # m/s: below it the vehicle stands
LONG_ENOUGH = 10.0  # s of idling that is worth a reading
BREAK = 5.0  # usual steps that make a break, and at least this many seconds
LEAST_BREAK = 3.0
COLD, WARM, RISE = 333.15, 338.15, 15.0  # K: begins below 60 °C, is warm from 65 °C on, rose by so much
CALM, WATCHED = 1.5, 60.0  # K within s: no longer warming up
STEP, WITHIN = 0.20, 2.0  # of full load within so many seconds
DIP, BACK = 1.0, 0.4  # V: a start's dip, and how far the voltage lies above the one before once it charges
FAST = 0.2  # s: samples of the voltage that show a start
CHARGES = 13.0  # V
LONGEST_START = 15.0  # s


#: Channels that events are told by.
EVENTS_REST_ON = frozenset(
    {"engine_speed", "vehicle_speed", "coolant_temperature", "calculated_load", "module_voltage"}
)


@attrs.frozen
class _Run:
    """Samples in a row at one level: 0 standing, 1 cranking, 2 running; `after_break`: nothing is known of
    what came before.
    """

    level: int
    start: float
    end: float
    count: int
    after_break: bool


def events_in(log: Log) -> tuple[LogEvent, ...]:
    """Everything that can be told, in order."""
    speed = log.track("engine_speed")
    found: list[LogEvent] = []
    if speed is not None:
        found += _by_speed(speed)
        found += _idle_stretches(log, speed, found)
    else:
        found += _by_voltage(log)
    running = [one for one in found if one.kind == RUNNING]
    found += _warm_up(log, running, is_known=speed is not None)
    found += _load_steps(log)
    return tuple(sorted(found, key=lambda one: (one.start, one.end)))


def break_after(track: Track) -> float:
    """A step longer than this is a break."""
    return max(BREAK * track.interval, LEAST_BREAK)


def _by_speed(speed: Track) -> Iterator[LogEvent]:
    runs = list(_runs(speed))
    for n, run in enumerate(runs):
        before = runs[n - 1] if n and not run.after_break else None
        after = runs[n + 1] if n + 1 < len(runs) and not runs[n + 1].after_break else None
        has_run = before is not None and any(
            one.level == 2 for one in runs[:n] if one.start >= _since(runs, n)
        )
        if run.level == 2:
            yield LogEvent(kind=RUNNING, start=run.start, end=run.end, words="by the engine speed")
        elif run.level == 1 and (before is None or before.level == 0):
            starts = after is not None and after.level == 2
            words = "and it started" if starts else "and it did not start" if after is not None else ""
            yield LogEvent(kind=CRANKING, start=run.start, end=after.start if after else run.end, words=words)
        elif run.level == 0 and has_run:
            yield LogEvent(kind=ENGINE_OFF, start=run.start, end=run.end, words="it had run before")
        elif run.level == 0:
            yield LogEvent(kind=KEY_ON, start=run.start, end=run.end, words="data come, the engine stands")


def _since(runs: Sequence[_Run], n: int) -> float:
    """Where the unbroken stretch begins that a run belongs to."""
    while n and not runs[n].after_break:
        n -= 1
    return runs[n].start


def _runs(speed: Track) -> Iterator[_Run]:
    level, start, count, broken = _level(speed.values[0]), speed.times[0], 0, True
    last = start
    for time, value in zip(speed.times, speed.values, strict=True):
        is_break = time - last > break_after(speed)
        if _level(value) != level or is_break:
            yield _Run(level, start, last, count, broken)
            level, start, count, broken = _level(value), time, 0, is_break
        count, last = count + 1, time
    yield _Run(level, start, last, count, broken)


def _level(speed: float) -> int:
    return 0 if speed < STANDS else 1 if speed < RUNS else 2


def _idle_stretches(log: Log, speed: Track, found: Sequence[LogEvent]) -> Iterator[LogEvent]:
    """Stretches of running, slow and standing still."""
    road = log.track("vehicle_speed")
    words = "standing" if road is not None else "by the engine speed alone"
    for run in found:
        if run.kind != RUNNING:
            continue
        samples = [
            (time, value <= SLOW and (road is None or _at(road, time) < CREEPS))
            for time, value in speed.between(run.start, run.end)
        ]
        for start, end in stretches(samples):
            if end - start >= LONG_ENOUGH:
                yield LogEvent(kind=IDLING, start=start, end=end, words=words)


def stretches(samples: Sequence[tuple[float, bool]]) -> Iterator[tuple[float, float]]:
    """First and last time of every row of samples that hold."""
    start = last = None
    for time, holds in samples:
        if holds:
            start = time if start is None else start
            last = time
        elif start is not None and last is not None:
            yield start, last
            start = None
    if start is not None and last is not None:
        yield start, last


def _at(track: Track, time: float) -> float:
    """The last sample up to a time; the first where there is none before."""
    from bisect import bisect_right

    return track.values[max(0, bisect_right(track.times, time) - 1)]


def _by_voltage(log: Log) -> Iterator[LogEvent]:
    """A start by its dip, and the engine running by the voltage behind it."""
    track = log.track("battery_voltage") or log.track("module_voltage")
    if track is None or not 0 < track.interval <= FAST:
        return
    samples = list(zip(track.times, track.values, strict=True))
    n = 0
    while n < len(samples):
        time, value = samples[n]
        before = [v for t, v in samples[max(0, n - 400) : n] if time - 2.0 <= t < time]
        if len(before) < 3 or value > median(before) - DIP:
            n += 1
            continue
        rest = median(before)
        end = next((k for k in range(n, len(samples)) if samples[k][1] > rest - DIP / 2), len(samples) - 1)
        stop = samples[end][0]
        if stop - time > LONGEST_START:
            n = end + 1
            continue
        behind = [v for t, v in samples[end:] if stop < t <= stop + 5.0]
        starts = bool(behind) and median(behind) >= max(CHARGES, rest + BACK)
        yield LogEvent(
            kind=CRANKING,
            start=time,
            end=stop,
            words="by the voltage alone" + (", and it charged afterwards" if starts else ""),
        )
        if starts:
            last = next((t for t, v in samples[end:] if t > stop + 5.0 and v < CHARGES), samples[-1][0])
            yield LogEvent(kind=RUNNING, start=stop, end=last, words="by the charging voltage alone")
        n = end + 1


def _warm_up(log: Log, running: Sequence[LogEvent], *, is_known: bool) -> Iterator[LogEvent]:
    """From a cold engine until its coolant no longer rises, or the log ends."""
    track = log.track("coolant_temperature")
    if track is None:
        return
    spans = [(one.start, one.end) for one in running] if is_known else [(track.times[0], track.times[-1])]
    for start, end in spans:
        samples = track.between(start, end)
        if len(samples) < 3 or samples[0][1] > COLD or max(v for _, v in samples) < samples[0][1] + RISE:
            continue
        stop = next(
            (
                time
                for time, value in samples
                if value >= WARM
                and time + WATCHED <= end
                and max(v for t, v in samples if time <= t <= time + WATCHED) - value < CALM
            ),
            None,
        )
        words = "until it no longer rose" if stop is not None else "the log ends before it no longer rose"
        yield LogEvent(kind=WARM_UP, start=samples[0][0], end=end if stop is None else stop, words=words)


def _load_steps(log: Log) -> Iterator[LogEvent]:
    """A fifth of full load more or less within two seconds."""
    track = log.track("calculated_load")
    if track is None or not 0 < track.interval <= WITHIN / 2:
        return
    samples = list(zip(track.times, track.values, strict=True))
    n = 0
    while n < len(samples):
        time, value = samples[n]
        ahead = [(t, v) for t, v in samples[n + 1 : n + 400] if t <= time + WITHIN]
        far = max(ahead, key=lambda one: abs(one[1] - value), default=None)
        if far is None or abs(far[1] - value) < STEP:
            n += 1
            continue
        yield LogEvent(
            kind=LOAD_STEP,
            start=time,
            end=far[0],
            words=f"calculated load from {100 * value:.0f} % to {100 * far[1]:.0f} %",
        )
        n = next((k for k in range(n, len(samples)) if samples[k][0] >= far[0]), len(samples))


# ---- what it can and cannot show


@attrs.frozen
class _Showing:
    """What a channel shows where it is sampled often enough."""

    channels: tuple[str, ...]
    within: float  # s between two samples at most
    shows: str
    without: str


#: Source: log-events. A start's first dip lasts some hundredths of a second, a start itself half a second and
#: more, a compression stroke at cranking speed an eighth of a second, a turn at idle a tenth.
_SHOWINGS = (
    _Showing(
        ("battery_voltage", "module_voltage"), 0.01, "the first dip of a start", "the first dip of a start"
    ),
    _Showing(
        ("battery_voltage", "module_voltage"),
        0.2,
        "the voltage during a start",
        "the lowest voltage of a start",
    ),
    _Showing(("engine_speed",), 0.5, "a start, and whether it took long", "a start shorter than two samples"),
    _Showing(("engine_speed",), 0.005, "a single misfire", "a single misfire"),
    _Showing(("calculated_load",), 1.0, "steps of the load", "how fast the load changes"),
    _Showing(("coolant_temperature",), 10.0, "a warm-up", "when the thermostat opens"),
)
_LACKS = (
    (("engine_speed",), "no engine speed: whether the engine stood, cranked or ran is not known from it"),
    (("battery_voltage", "module_voltage"), "no voltage: nothing about starting and charging"),
)


def shown_by(log: Log) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What a log can show at its sample rate, and what it cannot, one phrase each."""
    can, cannot = [], []
    for one in _SHOWINGS:
        tracks = [
            track for key in one.channels if (track := log.track(key)) is not None and track.interval > 0
        ]
        if not tracks:
            continue
        best = min(tracks, key=lambda track: track.interval)
        if best.interval <= one.within * 1.05:
            can.append(f"{one.shows} (a sample every {best.interval:.3g} s)")
        else:
            cannot.append(
                f"{one.without}: it takes a sample every {one.within:g} s, and this has one every"
                f" {best.interval:.3g} s"
            )
    cannot += [words for keys, words in _LACKS if not any(log.track(key) for key in keys)]
    return tuple(can), tuple(cannot)
