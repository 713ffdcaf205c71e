"""The vehicle's own data over a bus: what SAE J1979 makes of the bytes, and modules that answer badly."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import can
import pytest

from corekit.channels import channels
from corekit.model.channel import Log
from corekit.readers.bus_link import READING, Link, NotReadingError, open_bus
from corekit.readers.errors import LogError
from corekit.readers.vehicle import read_vehicle

from .small_vehicle import AdapterBus, Module, Seconds, SmallVehicle, engine, mask

_NAMES = (f"small-{n}" for n in itertools.count())


@pytest.fixture
def channel() -> str:
    return next(_NAMES)


class Van(SmallVehicle):
    """The small vehicle on a clock of its own."""

    def __init__(self, channel: str, *modules: Module, is_long: bool = False) -> None:
        super().__init__(channel, *modules, is_long=is_long, clock=Seconds())


def read(vehicle: SmallVehicle, seconds: float = 0.5, *, stall: float = 0.0) -> Log:
    clock = vehicle.clock
    assert clock is not None
    bus = AdapterBus(vehicle, stall)
    try:
        return read_vehicle(bus.link(), "virtual small", seconds=seconds, clock=clock)
    finally:
        bus.shutdown()


def value(log: Log, key: str, place: str = "") -> float:
    track = log.track(key, place)
    assert track is not None, log.remarks
    return track.values[-1]


# The scalings of SAE J1979, as a public protocol library gives them, and 0x10 by the formula of two bytes.
@pytest.mark.parametrize(
    ("key", "raw", "expected"),
    [
        ("commanded_egr", "40", 25.098),
        ("egr_error", "00", -100.0),
        ("egr_error", "40", -50.0),
        ("egr_error", "80", 0.0),
        ("egr_error", "FF", 99.219),
        ("barometric_pressure", "65", 101),
        ("manifold_pressure", "21", 33),
        ("engine_speed", "0BB8", 750.0),
        ("coolant_temperature", "82", 90),
        ("air_mass", "012C", 3.00),
        ("calculated_load", "FF", 100),
        ("module_voltage", "372A", 14.122),
        ("timing_advance", "80", 0),
    ],
)
def test_live_values_have_the_scaling_of_the_standard(key: str, raw: str, expected: float) -> None:
    parameter = channels().channels[key].data
    assert parameter is not None
    assert float(parameter.value(bytes.fromhex(raw))) == pytest.approx(expected, abs=0.001)
    with pytest.raises(ValueError, match="bytes; got"):
        parameter.value(bytes.fromhex(raw + "00"))


def test_a_vehicle_is_read_from_codes_to_vin(channel: str) -> None:
    with Van(channel, Module(0x7E8, engine())) as vehicle:
        log = read(vehicle)
    assert log.codes == {"stored": {"7E8": ("P0401",)}, "pending": {"7E8": ()}, "permanent": {"7E8": ()}}
    assert log.vin == "1M8GDM9AXKP042788"
    assert value(log, "engine_speed") == pytest.approx(12.5)
    assert value(log, "coolant_temperature") == pytest.approx(363.15)
    assert value(log, "egr_error") == pytest.approx(-1)
    assert value(log, "module_voltage") == pytest.approx(14.122)
    assert log.monitors["misfire_monitor"] is True
    assert log.monitors["egr_monitor"] is False
    assert log.monitors["catalyst_monitor"] is True
    assert "boost_monitor" not in log.monitors
    assert any("lamp on and counts 1" in note for note in log.notes)
    assert any("Freeze frame of P0401" in note and "engine speed 2000 rpm" in note for note in log.notes)
    assert not log.remarks


def test_only_what_reads_is_ever_sent(channel: str) -> None:
    with Van(channel, Module(0x7E8, engine())) as vehicle:
        read(vehicle)
    services = {int(question[:2], 16) for question in vehicle.asked}
    assert services <= READING
    assert 0x04 not in READING  # clears codes
    assert 0x08 not in READING  # commands


@pytest.mark.parametrize("service", [0x04, 0x08, 0x10, 0x14, 0x2F, 0x31])
def test_a_service_that_does_more_is_refused_before_it_is_sent(service: int, channel: str) -> None:
    bus, other = (can.Bus(interface="virtual", channel=channel) for _ in range(2))
    try:
        with pytest.raises(NotReadingError):
            Link(bus).ask(service)
        assert other.recv(timeout=0.05) is None
    finally:
        bus.shutdown()
        other.shutdown()


def test_many_modules_each_keep_their_address(channel: str) -> None:
    gearbox = {
        "0100": f"4100{mask(0x01)}",
        "0101": "410100070000",
        "03": "43020700C100",
        "07": "4700",
    }
    with Van(channel, Module(0x7E8, engine()), Module(0x7E9, gearbox)) as vehicle:
        log = read(vehicle)
    assert log.codes["stored"] == {"7E8": ("P0401",), "7E9": ("P0700", "U0100")}
    assert log.codes["permanent"] == {"7E8": ()}
    track = log.track("engine_speed")
    assert track is not None and track.address == "7E8"


def test_answers_that_came_in_time_are_read_by_a_computer_that_was_busy(channel: str) -> None:
    codes = "0300 0301 0302 0303 0304 0420".replace(" ", "")
    with Van(channel, Module(0x7E8, engine(**{"03": f"4306{codes}"}))) as vehicle:
        log = read(vehicle, 0, stall=0.2)  # longer than an answer is waited for
    assert log.codes["stored"]["7E8"] == ("P0300", "P0301", "P0302", "P0303", "P0304", "P0420")
    assert log.vin == "1M8GDM9AXKP042788"
    assert not log.remarks


def test_many_codes_come_in_several_frames(channel: str) -> None:
    codes = "0300 0301 0302 0303 0304 0420".replace(" ", "")
    with Van(channel, Module(0x7E8, engine(**{"03": f"4306{codes}"}))) as vehicle:
        log = read(vehicle, 0)
    assert log.codes["stored"]["7E8"] == ("P0300", "P0301", "P0302", "P0303", "P0304", "P0420")


def test_an_answer_that_is_cut_off_is_named_and_not_taken(channel: str) -> None:
    whole = engine(**{"03": "43060300030103020303030404 20".replace(" ", "")})
    with Van(channel, Module(0x7E8, whole, cut=frozenset({"03"}))) as vehicle:
        log = read(vehicle, 0)
    assert "stored" not in log.codes
    assert any("cut off" in one for one in log.remarks)
    assert any("No module gives a list of stored codes" in one for one in log.remarks)


def test_a_list_that_says_more_codes_than_it_sends_is_not_taken(channel: str) -> None:
    with Van(channel, Module(0x7E8, engine(**{"03": "43030401"}))) as vehicle:
        log = read(vehicle, 0)
    assert "stored" not in log.codes
    assert any("says 3 codes and sends 1" in one for one in log.remarks)


def test_zeros_that_fill_up_a_message_are_no_codes(channel: str) -> None:
    with Van(channel, Module(0x7E8, engine(**{"03": "430204010000"}))) as vehicle:
        assert read(vehicle, 0).codes["stored"]["7E8"] == ("P0401",)


def test_a_refusal_is_no_empty_list(channel: str) -> None:
    with Van(channel, Module(0x7E8, engine(**{"0A": "7F0A11"}))) as vehicle:
        log = read(vehicle, 0)
    assert "permanent" not in log.codes
    assert log.codes["pending"] == {"7E8": ()}


def test_an_answer_that_is_pending_is_waited_for(channel: str) -> None:
    slow = Module(0x7E8, engine(**{"03": ["7F0378", "43010401"]}), late={"03": 0.2})
    with Van(channel, slow) as vehicle:
        assert read(vehicle, 0).codes["stored"]["7E8"] == ("P0401",)


def test_a_busy_module_is_asked_again(channel: str) -> None:
    replies: Iterator[str] = iter(["7F0321", "7F0321", "43010401"])
    with Van(channel, Module(0x7E8, engine(**{"03": lambda: next(replies)}))) as vehicle:
        assert read(vehicle, 0).codes["stored"]["7E8"] == ("P0401",)


def test_a_late_answer_is_not_taken_for_the_next_question(channel: str) -> None:
    late = Module(0x7E8, engine(), late={"03": 0.2, "010C": 0.2})
    with Van(channel, late) as vehicle:
        log = read(vehicle, 1)
    assert "stored" not in log.codes
    assert log.codes["pending"] == {"7E8": ()}
    pressure = log.track("manifold_pressure")
    assert pressure is not None and set(pressure.values) == {33000.0}


def test_an_answer_of_the_wrong_length_is_named_and_not_taken(channel: str) -> None:
    with Van(channel, Module(0x7E8, engine(**{"010C": "410C0B"}))) as vehicle:
        log = read(vehicle)
    assert log.track("engine_speed") is None
    assert any("another number of bytes than 2" in one for one in log.remarks)


@pytest.mark.parametrize("vin", [b"1M8GDM9AXKP04278", b"1M8GDM9AXKPO42788"])
def test_a_vin_that_is_none_is_not_taken(vin: bytes, channel: str) -> None:
    with Van(channel, Module(0x7E8, engine(**{"0902": "490201" + vin.hex()}))) as vehicle:
        log = read(vehicle, 0)
    assert log.vin == ""
    assert any("VIN that is none" in one for one in log.remarks)


def test_two_different_vins_are_named_and_neither_is_taken(channel: str) -> None:
    other = {"0100": f"4100{mask(0x01)}", "0902": "490201" + b"11111111111111111".hex()}
    with Van(channel, Module(0x7E8, engine()), Module(0x7E9, other)) as vehicle:
        log = read(vehicle, 0)
    assert log.vin == ""
    assert any("different VINs" in one for one in log.remarks)


def test_misfires_of_a_cylinder_are_counted_over_the_time_that_was_read(channel: str) -> None:
    counts: Iterator[int] = itertools.count(5, 7)
    module = engine(
        **{
            "06A0": f"46A0{mask(0xA2 - 0xA0)}",
            "06A2": lambda: f"46A20B24000000000000A20C24{next(counts):04X}0000FFFF",
        }
    )
    with Van(channel, Module(0x7E8, module)) as vehicle:
        log = read(vehicle)
    track = log.track("misfires", "cylinder 1")
    assert track is not None and track.values == (5, 12)


def test_a_diesel_has_other_monitors(channel: str) -> None:
    with Van(channel, Module(0x7E8, engine(**{"0101": "41010008C880"}))) as vehicle:
        monitors = read(vehicle, 0).monitors
    assert monitors == {"egr_monitor": False, "boost_monitor": True, "particulate_filter_monitor": True}


def test_addresses_of_29_bits_are_tried_where_none_of_11_answers(channel: str) -> None:
    with Van(channel, Module(0x18DAF110, engine()), is_long=True) as vehicle:
        log = read(vehicle)
    assert log.codes["stored"] == {"18DAF110": ("P0401",)}
    assert log.vin == "1M8GDM9AXKP042788"
    assert value(log, "engine_speed") == pytest.approx(12.5)


def test_a_bus_on_which_nobody_answers_is_said_so(channel: str) -> None:
    bus = can.Bus(interface="virtual", channel=channel)
    try:
        with pytest.raises(LogError, match="no module"):
            read_vehicle(Link(bus, within=0.05), "virtual small")
    finally:
        bus.shutdown()


def test_an_adapter_that_is_not_there_is_said_in_one_sentence() -> None:
    with pytest.raises(LogError, match="cannot be opened"):
        open_bus("can7", "no-such-interface")
