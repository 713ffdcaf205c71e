"""A small vehicle on python-can's virtual bus: modules that answer by a table, some of them badly.

It speaks ISO 15765-2 by itself, without the library under test, and notes every question that it is asked.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from typing import Any

import attrs
import can
from can.interfaces.virtual import VirtualBus

from corekit.readers.bus_link import Link


@attrs.define
class Module:
    """One module: question → answer, both as hexadecimal; several answers are given one after the other.

    `late`: seconds before the last of its answers. `cut`: the last frame of several is never sent.
    """

    address: int
    replies: dict[str, str | list[str] | Callable[[], str]]
    late: Mapping[str, float] = attrs.field(factory=dict)
    cut: frozenset[str] = frozenset()


class Seconds:
    """A clock that goes on when the tests say so: how busy the computer is says nothing about a vehicle."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


class SmallVehicle:
    """Modules on a bus of their own; use it as a context manager.

    With a `clock` its modules answer while the tester waits, on that clock; without one they run beside it.
    """

    def __init__(
        self, channel: str, *modules: Module, is_long: bool = False, clock: Seconds | None = None
    ) -> None:
        self.channel, self.modules, self.is_long, self.clock = channel, modules, is_long, clock
        self.asked: list[str] = []
        self._bus = can.Bus(interface="virtual", channel=channel)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        #: (when, module, answer) of what comes later; module → what follows its first frame.
        self._late: list[tuple[float, Module, bytes]] = []
        self._following: dict[int, list[bytes]] = {}

    def __enter__(self) -> SmallVehicle:
        if self.clock is None:
            self._thread.start()
        return self

    def __exit__(self, *error: object) -> None:
        if self.clock is None:
            self._over.set()
            self._thread.join()
        self._bus.shutdown()

    def work(self, wait: float = 0.0) -> None:
        """Answer everything that has come in, and what was to come later and is due."""
        now = (self.clock or time.monotonic)()
        for one in [one for one in self._late if one[0] <= now]:
            self._late.remove(one)
            self._send(one[1], one[2], is_cut=False)
        while (message := self._bus.recv(timeout=wait)) is not None:
            wait = 0.0
            if message.is_extended_id != self.is_long:
                continue
            to_one = next((one for one in self.modules if message.arbitration_id == self._own(one)), None)
            if message.data[0] >> 4 == 3 and to_one is not None:  # the rest may come
                for frame in self._following.pop(to_one.address, ()):
                    self._frame(to_one, frame)
                continue
            question = bytes(message.data[1 : 1 + message.data[0]]).hex().upper()
            everybody = message.arbitration_id == (0x18DB33F1 if self.is_long else 0x7DF)
            self.asked.append(question)
            for module in self.modules:
                if everybody or module is to_one:
                    self._answer(module, question, now)

    def _run(self) -> None:
        while not self._over.is_set():
            self.work(wait=0.02)

    def _own(self, module: Module) -> int:
        return 0x18DA00F1 | (module.address & 0xFF) << 8 if self.is_long else module.address - 8

    def _answer(self, module: Module, question: str, now: float) -> None:
        reply = module.replies.get(question)
        if reply is None:
            return
        if callable(reply):
            reply = reply()
        replies = [reply] if isinstance(reply, str) else list(reply)
        if question in module.late:
            self._late.append((now + module.late[question], module, bytes.fromhex(replies.pop())))
        for one in replies:
            self._send(module, bytes.fromhex(one), is_cut=question in module.cut)

    def _send(self, module: Module, data: bytes, *, is_cut: bool) -> None:
        if len(data) <= 7:
            self._frame(module, bytes([len(data)]) + data)
            return
        rest = [data[n : n + 7] for n in range(6, len(data), 7)]
        frames = [bytes([0x20 | n % 16]) + part for n, part in enumerate(rest, 1)]
        self._following[module.address] = frames[:-1] if is_cut else frames
        self._frame(module, bytes([0x10 | len(data) >> 8, len(data) & 0xFF]) + data[:6])

    def _frame(self, module: Module, data: bytes) -> None:
        self._bus.send(
            can.Message(
                arbitration_id=module.address, is_extended_id=self.is_long, data=data.ljust(8, b"\xaa")
            )
        )


class AdapterBus(VirtualBus):
    """The tester's end of the vehicle's bus, on the vehicle's clock: an answer takes 10 ms, and
    waiting takes no time but the clock's. `stall`: how long its computer is busy elsewhere before it looks
    for answers to a question.
    """

    def __init__(self, vehicle: SmallVehicle, stall: float = 0.0) -> None:
        super().__init__(channel=vehicle.channel)
        assert vehicle.clock is not None
        self.vehicle, self.time, self.stall = vehicle, vehicle.clock, stall

    def link(self, within: float = 0.12) -> Link:
        return Link(self, within=within, clock=self.time)

    def send(self, msg: can.Message, timeout: float | None = None) -> None:
        super().send(msg, timeout)
        self.time.now += 0.01
        self.vehicle.work()
        self.time.now += self.stall

    def recv(self, timeout: float | None = None) -> can.Message | None:
        self.vehicle.work()
        message = super().recv(timeout=0)
        if message is None and timeout:
            self.time.now += timeout
            self.vehicle.work()
            message = super().recv(timeout=0)
        return message


def mask(*parameters: int) -> str:
    """The four bytes that say which of 32 parameters are there; 1 is the first."""
    return f"{sum(1 << (32 - one) for one in parameters):08X}"


def engine(**more: Any) -> dict[str, Any]:
    """An engine's module: what J1979 makes of the bytes stands in the tests."""
    return {
        "0100": f"4100{mask(0x01, 0x05, 0x0B, 0x0C, 0x20)}",
        "0120": f"4120{mask(0x2C - 0x20, 0x2D - 0x20, 0x33 - 0x20, 0x40 - 0x20)}",
        "0140": f"4140{mask(0x42 - 0x40)}",
        # lamp on, one code; spark; misfire, fuel, components there, all complete; catalyst and the valve of
        # the exhaust gas there, the valve not complete
        "0101": "410181078180",
        "0105": "410582",  # 130 − 40 = 90 °C
        "010B": "410B21",  # 33 kPa
        "010C": "410C0BB8",  # 3000 / 4 = 750 rpm
        "012C": "412C40",  # 64 × 100 / 255 = 25.1 %
        "012D": "412D00",  # −100 %
        "0133": "413365",  # 101 kPa
        "0142": "4142372A",  # 14122 mV
        "03": "430104 01".replace(" ", ""),
        "07": "4700",
        "0A": "4A00",
        "020200": "4202000401",
        "020000": f"420000{mask(0x02, 0x05, 0x0C)}",
        "020500": "42050082",
        "020C00": "420C001F40",  # 2000 rpm
        "0902": "490201" + b"1M8GDM9AXKP042788".hex().upper(),  # the worked example of the check digit
    } | more
