"""What happened in a log, just inside and just outside each threshold, and what its sample rate can show."""

from __future__ import annotations

import pytest

from corekit.model.channel import Log, LogEvent, Track
from corekit.readers.events import events_in, shown_by
from corekit.readers.log_file import read_log

from .logs import drive, table


def track(channel: str, samples: list[tuple[float, float]], interval: float = 1.0) -> Track:
    return Track(
        channel=channel,
        times=tuple(time for time, _ in samples),
        values=tuple(value for _, value in samples),
        interval=interval,
    )


def speed(*levels: tuple[float, float], step: float = 0.5) -> Track:
    """Engine speed: (seconds, rpm) one after the other."""
    samples, time = [], 0.0
    for seconds, rpm in levels:
        for _ in range(round(seconds / step)):
            samples.append((time, rpm / 60))
            time += step
    return track("engine_speed", samples, step)


def kinds(log: Log) -> list[str]:
    return [event.kind for event in events_in(log)]


def one(log: Log, kind: str) -> LogEvent:
    (found,) = [event for event in events_in(log) if event.kind == kind]
    return found


def test_a_drive_is_told_from_key_on_to_engine_off() -> None:
    log = read_log("log.csv", table(drive()).encode())
    found = {event.kind: event for event in events_in(log) if event.kind not in ("idling", "load step")}
    assert (found["key on"].start, found["cranking"].start, found["cranking"].end) == (0, 5, 6.5)
    assert (found["running"].start, found["running"].end) == (6.5, 879.5)
    assert found["engine off"].start == 880
    assert found["warm-up"].start == 6.5
    idling = [(event.start, event.end) for event in events_in(log) if event.kind == "idling"]
    assert idling == [(6.5, 199.5), (500, 879.5)]
    assert next(event.start for event in events_in(log) if event.kind == "load step") == pytest.approx(
        4.5, abs=2
    )


@pytest.mark.parametrize(
    ("rpm", "kind"), [(0, "key on"), (29, "key on"), (31, "cranking"), (399, "cranking"), (400, "running")]
)
def test_the_engine_speed_tells_standing_cranking_and_running_apart(rpm: float, kind: str) -> None:
    assert kinds(Log(tracks=(speed((5, rpm)),)))[0] == kind


def test_an_engine_that_stalls_is_not_cranked() -> None:
    assert "cranking" not in kinds(Log(tracks=(speed((20, 800), (1, 250), (5, 0)),)))


def test_a_start_that_failed_is_told_from_one_that_did_not() -> None:
    assert one(Log(tracks=(speed((2, 0), (4, 200), (3, 0)),)), "cranking").words == "and it did not start"
    assert one(Log(tracks=(speed((2, 0), (1, 200), (9, 900)),)), "cranking").words == "and it started"


def test_nothing_is_said_across_a_break() -> None:
    before, after = speed((20, 800)), speed((20, 0))
    shifted = track(
        "engine_speed", [(t + 80, v) for t, v in zip(after.times, after.values, strict=True)], 0.5
    )
    both = track(
        "engine_speed",
        [*zip(before.times, before.values, strict=True), *zip(shifted.times, shifted.values, strict=True)],
        0.5,
    )
    assert kinds(Log(tracks=(both,))) == ["running", "idling", "key on"]  # it stands, nobody saw it go off


def test_idling_needs_ten_seconds_standing_still() -> None:
    assert "idling" in kinds(Log(tracks=(speed((10.5, 800)),)))
    assert "idling" not in kinds(Log(tracks=(speed((9.5, 800)),)))
    road = track("vehicle_speed", [(n, 10.0) for n in range(60)])
    assert "idling" not in kinds(Log(tracks=(speed((60, 800)), road)))


def test_a_start_shows_in_the_voltage_alone_where_it_is_sampled_often() -> None:
    samples = [(n / 10, 12.5 if n < 50 else 9.6 if n < 60 else 14.2) for n in range(400)]
    log = Log(tracks=(track("battery_voltage", samples, 0.1),))
    start = one(log, "cranking")
    assert (start.start, start.end) == (5.0, 6.0)
    assert one(log, "running").words == "by the charging voltage alone"
    seldom = Log(tracks=(track("battery_voltage", samples[::5], 0.5),))
    assert kinds(seldom) == []


def test_a_dip_of_less_than_a_volt_is_no_start() -> None:
    def log(low: float) -> Log:
        samples = [(n / 10, 12.5 if n < 50 or n >= 60 else low) for n in range(200)]
        return Log(tracks=(track("battery_voltage", samples, 0.1),))

    assert kinds(log(11.45)) == ["cranking"]
    assert kinds(log(11.55)) == []


def test_a_warm_up_begins_cold_and_ends_where_it_no_longer_rises() -> None:
    def log(first: float) -> Log:
        warm = track("coolant_temperature", [(n, 273.15 + min(90, first + n / 4)) for n in range(900)])
        return Log(tracks=(speed((900, 900), step=1.0), warm))

    warmed = one(log(20), "warm-up")
    assert warmed.start == 0
    assert warmed.end == pytest.approx(275, abs=8)  # 90 °C are reached at 280 s
    assert "warm-up" not in kinds(log(61))


@pytest.mark.parametrize(("high", "is_step"), [(0.46, True), (0.44, False)])
def test_a_load_step_is_a_fifth_of_full_load(high: float, is_step: bool) -> None:
    load = track("calculated_load", [(n / 2, 0.25 if n < 20 else high) for n in range(60)], 0.5)
    assert ("load step" in kinds(Log(tracks=(load,)))) == is_step


def test_what_a_sample_rate_shows_and_what_not_is_said() -> None:
    can, cannot = shown_by(Log(tracks=(track("battery_voltage", [(0, 12.0), (1, 12.0)], 1.0),)))
    assert not can
    assert any("first dip of a start" in words for words in cannot)
    assert any("no engine speed" in words for words in cannot)
    can, cannot = shown_by(Log(tracks=(track("battery_voltage", [(0, 12.0), (0.01, 12.0)], 0.01),)))
    assert any("first dip" in words for words in can)
