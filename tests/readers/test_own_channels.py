"""Channels that a system declares for itself: columns and live values that the shared list lacks."""

from __future__ import annotations

from typing import Any

import pytest

import corekit as ck
from corekit.intake.declared import Declared
from corekit.intake.rows import read_rows
from corekit.plugin.explained import _adds
from corekit.plugin.host import Plugins
from corekit.readers.draft import LogDraft, draft_of, rows_of
from corekit.readers.errors import LogError
from corekit.readers.log_file import Told, read_log
from corekit.readers.vehicle import read_vehicle

from .small_vehicle import AdapterBus, Module, Seconds, SmallVehicle, engine, mask

WHEELS = {
    "front left": ("fl", "lf"),
    "front right": ("fr", "rf"),
    "rear left": ("rl", "lr"),
    "rear right": ("rr",),
}
ROLLING = (20.0, None)


def wheels(key: str = "wheels") -> ck.System:
    """Speeds of single wheels, taken while the vehicle rolls."""
    system = ck.System(key, "Wheel speeds")
    speed = system.measurand(
        "speed", "km/h", "Speed of a wheel", possible=(0, 300), usual=(0, 130), accuracy="1 km/h",
        places=tuple(WHEELS),
    )  # fmt: skip
    channel = system.channel(
        "wheel_speed", "km/h", "Wheel speed", possible=(0, 300), names=("wss",), places=WHEELS, bare="km/h"
    )
    system.from_channel(speed, channel, when={"vehicle_speed": ROLLING})
    return system


def engine_torque() -> ck.System:
    """The engine's torque at 100 %, 0x63 of SAE J1979: two bytes, 1 N·m for each step (from memory)."""
    system = ck.System("torque", "Torque")
    most = system.measurand(
        "most", "N·m", "Torque at 100 %", possible=(0, 65535), usual=(50, 900), accuracy="5 %"
    )
    sent = ck.LiveValue(number=0x63, count=2, factor="1/2", offset=10)  # altered, so that both are tried
    channel = system.channel("reference", "N·m", "Reference torque", possible=(0, 65535), data=sent)
    system.from_channel(most, channel)
    return system


def plugins(*systems: ck.System) -> Plugins:
    return Plugins(systems={one.key: one for one in systems})


def drafted(text: str, declared: Plugins, told: Told | None = None) -> LogDraft:
    return draft_of(read_log("log.csv", text.encode(), told, declared.channels), declared)


def rolling(titles: tuple[str, ...], *, vehicle: float = 50.0) -> str:
    """30 s of a vehicle that rolls, the rear left wheel 2 km/h too slow."""
    at = [
        50.0 if "rl" not in title.lower() and "rear left" not in title.lower() else 48.0 for title in titles
    ]
    lines = [",".join(["Time [s]", "Vehicle speed [km/h]", *titles])]
    lines += [",".join(map(str, (n, vehicle, *at))) for n in range(31)]
    return "\n".join(lines) + "\n"


def texts(draft: LogDraft) -> dict[str, str]:
    return {row.place: row.text for row in draft.rows if row.of == "wheels.speed"}


EACH = dict.fromkeys(WHEELS, "50 km/h") | {"rear left": "48 km/h"}


@pytest.mark.parametrize(
    "titles",
    [
        ("Wheel speed FL [km/h]", "Wheel speed FR [km/h]", "Wheel speed RL [km/h]", "Wheel speed RR [km/h]"),
        ("FL wheel speed", "FR wheel speed", "RL wheel speed", "RR wheel speed"),
        ("wss_fl (km/h)", "wss_rf (km/h)", "wss_rl (km/h)", "wss_rr (km/h)"),
        ("WheelSpeed front left", "WheelSpeed front right", "WheelSpeed rear left", "WheelSpeed rear right"),
    ],
)
def test_a_column_of_a_systems_own_becomes_its_readings_place_by_place(titles: tuple[str, ...]) -> None:
    assert texts(drafted(rolling(titles), plugins(wheels()))) == EACH


def test_its_readings_are_rows_of_a_visit_file_with_their_lines() -> None:
    declared = plugins(wheels())
    draft = drafted(rolling(("wss fl", "wss fr")), declared)
    rows = {"reason": "lamp", "vehicle": {"plate": "A 1"}, **rows_of(draft.rows)}
    visit = read_rows(rows, Declared.of(declared), name="j", demo=False, job=None)
    said = [one.body for one in visit.drafts if one.kind == "measured"]
    assert [(one["of"], one["place"]) for one in said] == [
        ("wheels.speed", "front left"),
        ("wheels.speed", "front right"),
    ]
    # the steadiest 20 s; all are alike, and of these the last
    assert "log.csv, lines 12-32" in said[0]["origin"].text


def test_a_span_of_another_channel_holds_for_it_as_for_any() -> None:
    slow = drafted(rolling(("wss fl",), vehicle=19.0), plugins(wheels()))
    assert not texts(slow)
    assert any(one.startswith("Speed of a wheel: the log has no stretch") for one in slow.left_out)


def test_a_span_of_a_systems_own_channel_holds_for_a_reading() -> None:
    system = wheels()
    (channel,) = system.channels.values()
    volts = system.measurand("volts", "V", "Voltage", possible=(0, 20), usual=(11, 15), accuracy="0.1 V")
    lift = system.channel("ride_height", "mm", "Ride height", possible=(0, 500))
    system.from_channel(volts, "module_voltage", when={lift: (100, None)})
    assert channel.key in plugins(system).channels.channels

    def at(height: int) -> list[str]:
        lines = [
            "Time [s],Control module voltage [V],Ride height [mm]",
            *(f"{n},14.1,{height}" for n in range(31)),
        ]
        return [
            row.text for row in drafted("\n".join(lines), plugins(system)).rows if row.of == "wheels.volts"
        ]

    assert at(101) == ["14.1 V"]
    assert at(99) == []


def test_without_the_system_its_columns_are_unknown() -> None:
    draft = drafted(rolling(("wss fl",)), plugins())
    assert any("Columns that are no known quantity: wss fl" in one for one in draft.left_out)


def test_a_column_can_be_told_to_be_a_systems_own() -> None:
    told = Told(columns={"Sensor 3": "wheels.wheel_speed rear left"})
    assert texts(drafted(rolling(("Sensor 3",)), plugins(wheels()), told)) == {"rear left": "50 km/h"}
    with pytest.raises(LogError, match="no such place"):
        drafted(
            rolling(("Sensor 3",)), plugins(wheels()), Told(columns={"Sensor 3": "wheels.wheel_speed middle"})
        )
    with pytest.raises(LogError, match=r"wheels\.wheel_speed"):
        drafted(rolling(("Sensor 3",)), plugins(wheels()), Told(columns={"Sensor 3": "wheels.wheel_sped"}))


def test_a_name_that_two_systems_claim_is_taken_for_neither_and_can_be_told() -> None:
    text, both = rolling(("wss fl",)), plugins(wheels(), wheels("brakes"))
    draft = drafted(text, both)
    assert not texts(draft)
    (said,) = [one for one in draft.left_out if "may be" in one]
    assert "brakes.wheel_speed" in said and "wheels.wheel_speed" in said
    told = Told(columns={"wss fl": "wheels.wheel_speed front left"})
    assert texts(drafted(text, both, told)) == {"front left": "50 km/h"}
    assert texts(drafted(text, plugins(wheels("brakes"), wheels()), told)) == {"front left": "50 km/h"}


def test_a_plugins_reader_gives_tracks_of_its_own_channel() -> None:
    times = tuple(float(n) for n in range(31))
    track = ck.Track(
        channel="wheels.wheel_speed", place="rear right", times=times, values=(10.0,) * 31, interval=1
    )
    rolls = ck.Track(channel="vehicle_speed", times=times, values=(10.0,) * 31, interval=1)
    draft = draft_of(ck.Log(tracks=(track, rolls), file="a.dat"), plugins(wheels()))
    assert texts(draft) == {"rear right": "36 km/h"}  # 10 m/s


def test_a_live_value_of_a_systems_own_is_asked_for_and_scaled() -> None:
    declared = plugins(engine_torque())
    groups = {"0140": f"4140{mask(0x42 - 0x40, 0x20)}", "0160": f"4160{mask(0x63 - 0x60)}"}
    has = engine(**groups, **{"0163": "41630190"})  # 400 / 2 + 10
    with SmallVehicle("own-channel", Module(0x7E8, has), clock=Seconds()) as vehicle:
        bus = AdapterBus(vehicle)
        try:
            log = read_vehicle(bus.link(), "virtual", known=declared.channels, seconds=0.5, clock=bus.time)
        finally:
            bus.shutdown()
    (row,) = [row for row in draft_of(log, declared).rows if row.of == "torque.most"]
    assert row.text == "210 N·m"


def test_what_an_addition_declares_belongs_to_the_system_it_is_added_to() -> None:
    base = ck.System("wheels", "Wheel speeds")
    speed = base.measurand("speed", "km/h", "Speed", possible=(0, 300), usual=(0, 130), accuracy="1 km/h")
    added = ck.Addition(base, "log", "From logs")
    own = added.measurand("hub", "km/h", "Hub", possible=(0, 300), usual=(0, 130), accuracy="1 km/h")
    added.from_channel(own, added.channel("hub_speed", "km/h", "Hub speed", possible=(0, 300), bare="km/h"))
    assert set(plugins(added.onto(base)).channels.channels) >= {"wheels.log_hub_speed", "engine_speed"}
    assert speed.key in base.measurands


def test_what_a_plugin_adds_names_its_channels() -> None:
    assert "  channels  1: wheel_speed" in list(_adds(wheels()))


SPAN: dict[str, Any] = {"possible": (0, 300)}


@pytest.mark.parametrize(
    ("words", "declare"),
    [
        (
            "is the channel vehicle_speed already",
            lambda s: s.channel("road", "km/h", "Vehicle speed", **SPAN),
        ),
        ("is the channel engine_speed already", lambda s: s.channel("n", "rpm", "N", names=["RPM"], **SPAN)),
        ("no unit of a speed", lambda s: s.channel("v", "km/h", "V wheel", bare="rpm", **SPAN)),
        ("the lower first", lambda s: s.channel("v", "km/h", "V wheel", possible=(3, 3))),
        ("is no name of a column", lambda s: s.channel("v", "km/h", "V wheel", names=["(–)"], **SPAN)),
        ("a list of texts", lambda s: s.channel("v", "km/h", "V wheel", names="wss", **SPAN)),
        (
            "may be of",
            lambda s: s.channel("v", "km/h", "V", places={"left": ("l",), "lower": ("l",)}, **SPAN),
        ),
        (
            "channel engine_speed already",
            lambda s: s.channel("n", "rpm", "Shaft", data=ck.LiveValue(number=0x0C, count=2), **SPAN),
        ),
        *(
            (
                "number from 01 to FF",
                lambda s, number=number, count=count: s.channel(
                    "n", "rpm", "Shaft", data=ck.LiveValue(number=number, count=count), **SPAN
                ),
            )
            for number, count in ((0x00, 2), (0x40, 2), (0x100, 2), (0x5D, 0), (0x5D, 9))
        ),
        (
            "one parameter gives one value",
            lambda s: s.channel(
                "n", "rpm", "Shaft", places=("a", "b"), data=ck.LiveValue(number=0x5D, count=2), **SPAN
            ),
        ),
        ("is declared twice", lambda s: [s.channel("n", "rpm", "Shaft", **SPAN) for _ in range(2)]),
        ("unit", lambda s: s.channel("n", "furlong", "Shaft", **SPAN)),
        (
            "from n.shaft comes a",
            lambda s: s.from_channel(
                s.measurand("m", "V", "M", possible=(0, 1), usual=(0, 1), accuracy="1 V"),
                s.channel("shaft", "rpm", "Shaft", **SPAN),
            ),
        ),
        (
            "system.channel",
            lambda s: s.from_channel(
                s.measurand("m", "V", "M", possible=(0, 1), usual=(0, 1), accuracy="1 V"), "shaft"
            ),
        ),
    ],
)
def test_a_channel_that_cannot_be_meant_is_refused_with_the_reason(words: str, declare: Any) -> None:
    with pytest.raises(ValueError, match=words):
        declare(ck.System("n", "N"))
