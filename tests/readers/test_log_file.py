"""Loggers' files as logs: however the columns are parted, named and timed, and what is refused."""

from __future__ import annotations

import pytest

from corekit.channels import channels
from corekit.readers.errors import LogError
from corekit.readers.log_file import Log, Told, read_log
from corekit.units import unit

from .logs import TITLES, drive, table


def read(text: str | bytes, told: Told | None = None) -> Log:
    return read_log("log.csv", text if isinstance(text, bytes) else text.encode(), told)


def refusal(text: str | bytes, told: Told | None = None) -> str:
    with pytest.raises(LogError) as error:
        read(text, told)
    return str(error.value)


def speeds(log: Log) -> list[float]:
    """Engine speed in rpm, rounded."""
    track = log.track("engine_speed")
    assert track is not None
    return [round(value * 60, 3) for value in track.values]


def times(log: Log, channel: str = "engine_speed") -> list[float]:
    track = log.track(channel)
    assert track is not None
    return [round(time, 6) for time in track.times]


# 0 s at 0 rpm, 0.5 s at 212.5 rpm, 1 s at 850 rpm, in the ways that loggers write it.
@pytest.mark.parametrize(
    "text",
    [
        "Time [s],Engine RPM [rpm]\n0,0\n0.5,212.5\n1,850\n",
        "Time (s);RPM (rpm)\n0;0\n0,5;212,5\n1,0;850\n",
        "time/s\tengine speed / rpm\r\n0\t0\r\n0,5\t212,5\r\n1\t850",
        "Time (ms)|Engine_RPM\n0|0\n500|212.5\n1000|850\n",
        "sep=;\nTime;EngineRPM\n0;0\n0.5;212.5\n1;850\n",
        "# logger 3\nName: morning\n\nTime,Engine RPM\ns,rpm\n0,0\n0.5,212.5\n1,850\n",
        "Time [s];Engine RPM [rpm];\n0;0;\n0,5;212,5;\n1;850;\n",  # a delimiter ends every line
        "Time [s];Engine RPM [rpm]\n0;0;\n0,5;212,5;\n1;850;\n",  # the numbers' lines alone
        "Time [s];Engine RPM [rpm];\n0;0\n0,5;212,5\n1;850\n",  # the titles' line alone
        "Time [s];Engine RPM [rpm]\n;0;0\n;0,5;212,5\n;1;850\n",  # it begins every line
        'Time,Engine RPM\n"0","0 rpm"\n"0.5","212.5 rpm"\n"1","850 rpm"\n',
        "Time [s];Engine RPM\n0;0\n0,5;212,5\n0,7;\n0,8;-\n0,9;NaN\n1;850\n",  # cells without a value
        "Time [min];Motordrehzahl [U/min]\n0;0\n0,00833333333;212,5\n0,0166666667;850\n",
        "Uhrzeit;Drehzahl (1/min)\n23:59:59,5;0\n00:00:00,0;212,5\n00:00:00,5;850\n",  # over midnight
        "Time,RPM\n11:59:59.5 PM,0\n12:00:00.0 AM,212.5\n12:00:00.5 AM,850\n",
        "Timestamp,RPM\n2026-03-05T23:59:59.5Z,0\n2026-03-06T00:00:00.0Z,212.5\n2026-03-06T00:00:00.5Z,850\n",
        "Date;Time;RPM\n05.03.2026;23:59:59,5;0\n06.03.2026;00:00:00,0;212,5\n06.03.2026;00:00:00,5;850\n",
        "Seconds,Name,Value,Unit\n0,Engine RPM,0,rpm\n0.5,Engine RPM,212.5,rpm\n1,Engine RPM,850,rpm\n",
    ],
)
def test_the_same_log_is_read_however_it_is_written(text: str) -> None:
    log = read(text)
    assert speeds(log) == [0, 212.5, 850]
    assert times(log) == [0, 0.5, 1]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_units_with_strange_signs_are_read_in_every_usual_encoding(encoding: str) -> None:
    log = read("Time [s];Coolant temp [°C]\n0;20\n1;21\n2;22\n".encode(encoding))
    track = log.track("coolant_temperature")
    assert track is not None
    assert [round(value, 2) for value in track.values] == [293.15, 294.15, 295.15]
    assert any("Windows-1252" in one for one in log.remarks) == (encoding == "cp1252")


def test_units_of_other_countries_are_converted() -> None:
    log = read("Time [s];Coolant temp [°F];MAP [psi];Vehicle speed [mph]\n0;32;14,5;60\n1;212;7;0\n")
    temperature, pressure, speed = (
        log.track(key) for key in ("coolant_temperature", "manifold_pressure", "vehicle_speed")
    )
    assert temperature is not None and pressure is not None and speed is not None
    assert temperature.values == pytest.approx((273.15, 373.15))  # ice and steam
    assert pressure.values[0] == pytest.approx(99974, abs=1)  # 14.5 psi of 6894.757 Pa
    assert speed.values[0] == pytest.approx(26.8224)  # a mile is 1609.344 m


def test_a_temperature_without_a_unit_is_left_out_and_said() -> None:
    log = read("Time [s];RPM;Coolant temp\n0;800;190\n1;800;191\n2;801;192\n")
    assert log.track("coolant_temperature") is None
    assert any("does not say its unit" in one for one in log.remarks)
    told = read(
        "Time [s];RPM;Coolant temp\n0;800;190\n1;800;191\n2;801;192\n", Told(units={"Coolant temp": "°F"})
    )
    track = told.track("coolant_temperature")
    assert track is not None and track.values[0] == pytest.approx(360.93, abs=0.01)


def test_columns_that_do_not_come_at_the_same_time_keep_their_own_times() -> None:
    holes = read("Time [s];RPM;MAP [kPa]\n0;800;\n0,1;;33\n0,5;810;\n0,6;;34\n1;820;\n")
    assert times(holes) == [0, 0.5, 1]
    assert times(holes, "manifold_pressure") == [0.1, 0.6]
    pairs = read("Time;RPM;Time;MAP [kPa]\n0;800;0,2;33\n0,5;810;1,2;34\n1;820;2,2;35\n")
    assert times(pairs) == [0, 0.5, 1]
    assert len(times(pairs, "manifold_pressure")) == 3


def test_samples_that_a_logger_holds_are_new_only_where_the_next_one_comes() -> None:
    lines = [f"{n * 0.1:.1f};{800 + n};{20 + (n // 10) * 0.5}" for n in range(200)]
    log = read("Time [s];RPM;Coolant temp [°C]\n" + "\n".join(lines))
    fast, slow = log.track("engine_speed"), log.track("coolant_temperature")
    assert fast is not None and slow is not None
    assert (fast.is_held, round(fast.interval, 3)) == (False, 0.1)
    assert (slow.is_held, round(slow.interval, 3)) == (True, 1.0)
    assert len(slow.times) == 20


def test_a_value_that_changes_seldom_and_without_a_rhythm_is_not_called_held() -> None:
    changes = {0, 31, 45, 46, 90, 133, 150, 171, 190, 191, 230, 260, 290}
    value, lines = 0, []
    for n in range(300):
        value += n in changes
        lines.append(f"{n * 0.1:.1f};{14 + value / 10}")
    track = read("Time [s];Battery voltage [V]\n" + "\n".join(lines)).track("battery_voltage")
    assert track is not None and not track.is_held
    assert round(track.interval, 3) == 0.1


def test_lines_within_one_step_of_the_clock_are_spread_evenly() -> None:
    log = read("Time;RPM\n10:00:00;800\n10:00:00;810\n10:00:01;820\n10:00:01;830\n10:00:02;840\n")
    assert times(log) == [0, 0.5, 1, 1.5, 2]
    assert any("spread evenly" in one for one in log.remarks)


def test_what_cannot_be_is_left_out_and_named_with_its_line() -> None:
    log = read("Time [s];RPM\n0;800\n1;65535\n2;810\n3;820\n")
    assert speeds(log) == [800, 810, 820]
    assert any('"65535" in line 3' in one and "impossible" in one for one in log.remarks)


def test_a_line_that_was_cut_off_is_left_out_and_named() -> None:
    log = read("Time [s];RPM;MAP [kPa]\n" + "".join(f"{n};800;33\n" for n in range(60)) + "60;8")
    assert len(speeds(log)) == 60
    assert any("line 62" in one for one in log.remarks)


def test_a_column_that_nobody_knows_is_named_and_can_be_told() -> None:
    text = "Time [s];Sensor 3 [°C];RPM\n0;20;800\n1;21;810\n2;22;820\n"
    assert read(text).unknown == ("Sensor 3 [°C]",)
    told = read(text, Told(columns={"Sensor 3 [°C]": "coolant_temperature"}))
    assert told.track("coolant_temperature") is not None
    assert "no column" in refusal(text, Told(columns={"Sensor 4": "coolant_temperature"}))
    assert "no channel" in refusal(text, Told(columns={"Sensor 3 [°C]": "coolant"}))


def test_counters_of_cylinders_have_their_places() -> None:
    log = read("Time [s];RPM;Misfires cyl 1;Misfire cylinder 2\n0;800;0;0\n1;800;3;0\n2;800;9;1\n")
    assert [track.place for track in log.tracks if track.channel == "misfires"] == [
        "cylinder 1",
        "cylinder 2",
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"", "is empty"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0", "NUL"),
        ("just words\nand more words\n", "one column"),
        ("0;1\n1;2\n2;3\n", "no line above them"),
        (
            "Date;Payee;Amount\n2026-03-01;Rent;-650.00\n2026-03-02;Bread;-3.20\n",
            "none of them is a quantity",
        ),
        (
            "Time;Outdoor humidity [%];Wind [km/h]\n10:00:00;55;12\n10:01:00;56;11\n",
            "none of them is a quantity",
        ),
        ("Temperature;RPM;Height\n20;800;1\n21;810;2\n", "none of them is a time"),
        ("Time [s];RPM;MAP [kPa]\n0;800;33;9\n1;800;33;9\n2;800;33;9\n", "4 cells below 3 titles"),
        ("Time [s],RPM,MAP [kPa]\n0,5,800,0,33,0\n1,0,800,0,33,0\n", "decimal mark as well"),
        ("Time [s];RPM\n0;800\n2;810\n1;820\n3;830\n", "goes back"),
        ("Time;RPM\n10:00:00;800\n09:30:00;810\n09:30:01;820\n", "goes back"),
        ("Time;RPM\n0;800\n100;810\n200;820\n", "seconds or milliseconds"),
        ("Time;RPM\n10:01;800\n10:02;810\n10:03;820\n", "hours and minutes, or minutes and seconds"),
        ("Time [s];RPM;MAP [kPa]\n0;800.5;33\n1;800,5;33\n2;1;1\n", "has a comma"),
    ],
)
def test_what_is_no_vehicles_log_or_cannot_be_told_is_refused_with_the_reason(
    text: str | bytes, words: str
) -> None:
    assert words in refusal(text)


def test_what_the_file_leaves_open_can_be_said_beside_it() -> None:
    assert times(read("Time;RPM\n0;800\n100;810\n200;820\n", Told(time="ms"))) == [0, 0.1, 0.2]
    assert times(read("Time;RPM\n10:01;800\n10:02;810\n10:03;820\n", Told(time="h:min"))) == [0, 60, 120]


def test_a_long_drive_is_read_with_the_hash_of_its_file() -> None:
    import hashlib

    text = table(drive(), tail=";")
    log = read(text)
    assert {track.channel for track in log.tracks} == set(TITLES)
    assert log.sha256 == hashlib.sha256(text.encode()).hexdigest()
    assert len(times(log)) == 1801


def test_every_channel_has_a_unit_that_there_is_and_every_title_names_its_own() -> None:
    for key, channel in channels().channels.items():
        assert unit(channel.unit).kind and (
            not channel.bare or unit(channel.bare).kind == unit(channel.unit).kind
        )
        found = channels().channel_named(f"{channel.title} 1" if channel.places else channel.title)
        if not channel.places:
            assert found is not None and found[0].key == key
