"""From a log to a draft: which readings come of it is what systems declare; nothing else is made of it."""

from __future__ import annotations

from enum import Enum
from typing import Any

import attrs
import pytest

import corekit as ck
from corekit.intake.declared import Declared
from corekit.intake.rows import read_rows
from corekit.model.channel import Log, Track
from corekit.model.records import Measured
from corekit.plugin.host import Plugins
from corekit.readers.draft import DraftRow, LogDraft, draft_of, rows_of
from corekit.readers.log_file import read_log

from .logs import drive, table


class Ran(Enum):
    NOT_YET = "not yet"
    DONE = "done"


def van() -> ck.System:
    system = ck.System("van", "Van")
    revs = system.measurand(
        "revs", "rpm", "Engine speed", possible=(0, 8000), usual=(0, 5000), accuracy="10 rpm"
    )
    volts = system.measurand(
        "volts", "V", "Voltage", possible=(0, 20), usual=(11, 15), accuracy="0.1 V", conditions=(revs,)
    )
    lowest = system.measurand("lowest", "V", "Lowest", possible=(0, 20), usual=(5, 13), accuracy="0.1 V")
    vacuum = system.measurand(
        "vacuum",
        "kPa abs",
        "Manifold",
        possible=(0, 200),
        usual=(20, 110),
        accuracy="1 kPa",
        conditions=(revs,),
    )
    turns = system.measurand("turns", "count", "Turns", possible=(0, 1e6), usual=(1, 1e6), accuracy="1")
    missed = system.measurand(
        "missed",
        "count",
        "Missed",
        possible=(0, 1e5),
        usual=(0, 1e5),
        accuracy="1",
        places=("cylinder 1", "cylinder 2"),
        conditions=(turns,),
    )
    heat = system.measurand("heat", "°C", "Heat", possible=(-40, 130), usual=(-20, 115), accuracy="3 °C")
    warm_up = system.record("warm_up", "Warm-up", of=heat)
    ran = system.observation("ran", "Own test", Ran)
    system.from_channel(revs, "engine_speed")
    system.from_channel(volts, "module_voltage", during="running", accuracy="0.3 V")
    system.from_channel(lowest, "module_voltage", during="cranking", take="lowest")
    system.from_channel(
        vacuum, "manifold_pressure", during="idling", when={"coolant_temperature": (75, None)}
    )
    system.from_channel(turns, "engine_speed", take="turns")
    system.from_channel(missed, "misfires", during="running", take="rise")
    system.from_channel(warm_up, "coolant_temperature", during="warm-up")
    system.from_monitor(ran, "egr_monitor", {False: Ran.NOT_YET})
    return system


VAN = van()
PLUGINS = Plugins(systems={"van": VAN})


def drafted(log: Log | str) -> LogDraft:
    return draft_of(read_log("log.csv", log.encode()) if isinstance(log, str) else log, PLUGINS)


def row(draft: LogDraft, of: str, place: str = "") -> DraftRow:
    (found,) = [one for one in draft.rows if (one.of, one.place) == (of, place)]
    return found


def test_readings_come_from_the_stretch_that_the_system_declares() -> None:
    draft = drafted(table(drive()))
    assert row(draft, "van.volts").text == "14.1 V"
    assert row(draft, "van.lowest").text == "9.8 V"
    assert row(draft, "van.vacuum").text == "33 kPa"
    assert row(draft, "van.volts").beside == "engine speed 799.1 ± 8.6 rpm"  # 800 ± 8 rpm in the log
    assert "van.revs" not in {one.of for one in draft.rows}  # by itself it says nothing


def test_the_stretch_lies_where_the_other_channels_are_as_they_have_to_be() -> None:
    where = row(drafted(table(drive())), "van.vacuum").step["readings"][0]["origin"]["time"]
    assert float(where.split()[0]) >= 500  # cold before, at 75 °C from about 283 s on, but on the road
    cold = drafted(table(drive(until=190)))
    assert "van.vacuum" not in {one.of for one in cold.rows}
    assert any(one.startswith("Manifold: the log has no stretch") for one in cold.left_out)


def test_a_channel_that_has_to_lie_somewhere_and_is_not_there_lets_no_reading_through() -> None:
    titles = {"engine_speed": "RPM", "manifold_pressure": "MAP [kPa]"}
    assert "van.vacuum" not in {one.of for one in drafted(table(drive(), titles=titles)).rows}


def test_scatter_becomes_a_plus_minus_of_the_reading() -> None:
    revs = Track(channel="engine_speed", times=tuple(range(20)), values=(14.0,) * 20, interval=1.0)
    volts = attrs.evolve(revs, channel="module_voltage", values=(14.0, 14.2) * 10)
    text = row(drafted(Log(tracks=(revs, volts), file="a.csv")), "van.volts").text
    assert text == "14.20 ± 0.20 V"


def test_a_counter_counts_by_how_much_it_rose_with_the_turns_of_the_engine() -> None:
    times = tuple(float(n) for n in range(61))
    revs = Track(channel="engine_speed", times=times, values=(20.0,) * 61, interval=1.0)  # 20 rev/s for 60 s
    counts = Track(
        channel="misfires", place="cylinder 2", times=times, values=tuple(7 + n for n in times), interval=1
    )
    one = row(drafted(Log(tracks=(revs, counts), file="a.csv")), "van.missed", "cylinder 2")
    assert one.text == "60"
    assert one.step["setup"]["van.turns"] == {"is": "1200"}
    back = attrs.evolve(counts, values=tuple(100 - n for n in times))
    assert not [one for one in drafted(Log(tracks=(revs, back), file="a.csv")).rows if one.of == "van.missed"]


def test_a_record_holds_its_stretch_and_begins_at_zero() -> None:
    one = row(drafted(table(drive())), "van.warm_up")
    points = one.step["records"][0]["points"]
    assert points[0] == "0 s: 20 °C"
    assert len(points) > 500


def test_long_records_are_thinned_out_and_it_is_said() -> None:
    one = row(drafted(table(drive(step=0.1))), "van.warm_up")
    assert len(one.step["records"][0]["points"]) <= 2000
    assert "every 3. sample" in one.text


def test_only_what_a_monitor_shows_becomes_an_answer() -> None:
    asked = Log(bus="can0", monitors={"egr_monitor": False})
    assert row(drafted(asked), "van.ran").text == "not yet"
    assert not drafted(attrs.evolve(asked, monitors={"egr_monitor": True})).rows


def test_what_is_unusual_is_marked_and_goes_in_as_looked_at() -> None:
    revs = Track(channel="engine_speed", times=tuple(range(20)), values=(14.0,) * 20, interval=1.0)
    volts = attrs.evolve(revs, channel="module_voltage", values=(17.0,) * 20)
    one = row(drafted(Log(tracks=(revs, volts), file="a.csv")), "van.volts")
    assert one.is_odd
    assert one.step["readings"][0]["confirmed"] is True


def test_the_rows_are_those_of_a_visit_file_and_keep_where_they_come_from() -> None:
    draft = drafted(table(drive()))
    rows = {"reason": "rough", "vehicle": {"plate": "A 1"}, **rows_of(draft.rows)}
    visit = read_rows(rows, Declared.of(PLUGINS), name="j", demo=False, job=None)
    said = [one for one in visit.drafts if one.kind == "measured"]
    volts: Any = next(one.body for one in said if one.body["of"] == "van.volts")
    assert volts["origin"].text.startswith("log.csv, lines ")
    assert f"SHA-256 {draft.log.sha256}" in volts["origin"].text
    assert volts["instrument"] == "vehicle's own data, control module voltage"
    assert Measured(**{**volts, "origin": None}).typed == "14.1 V"


def test_nothing_of_a_log_that_no_system_asks_for_is_left_unsaid() -> None:
    said = " ".join(drafted(table(drive())).left_out)
    assert "Vehicle speed [km/h]" in said and "Commanded EGR [%]" in said


@pytest.mark.parametrize(
    ("declare", "words"),
    [
        (lambda s, m: s.from_channel(m, "engine_sped"), "the channels are"),
        (lambda s, m: s.from_channel(m, "engine_speed", during="lunch"), "made out in a log"),
        (lambda s, m: s.from_channel(m, "coolant_temperature"), "comes a temperature"),
        (lambda s, m: s.from_channel(m, "engine_speed", take="mean"), "is taken as"),
        (lambda s, m: s.from_channel(m, "engine_speed", when={"load": (1, 2)}), "the channels are"),
        (lambda s, m: s.from_channel(VAN.measurands["van.revs"], "engine_speed"), "and of no other"),
    ],
)
def test_a_declaration_that_cannot_be_meant_is_refused_with_the_reason(declare: Any, words: str) -> None:
    system = ck.System("car", "Car")
    revs = system.measurand("revs", "rpm", "Speed", possible=(0, 8000), usual=(0, 5000), accuracy="10 rpm")
    with pytest.raises(ValueError, match=words):
        declare(system, revs)
