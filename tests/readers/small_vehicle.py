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

Replies = Mapping[str, Any]


@attrs.define
class Module:
    """One module: question → answer, both as hexadecimal; several answers are given one after the other.

    `late`: seconds before the last of its answers. `cut`: the last frame of several is never sent.
    """

    address: int
    replies: dict[str, str | list[str] | Callable[[], str]]
    late: Mapping[str, float] = attrs.field(factory=dict)
    cut: frozenset[str] = frozenset()


class SmallVehicle:
    """Modules on a bus of their own; use it as a context manager."""

    def __init__(self, channel: str, *modules: Module, is_long: bool = False) -> None:
        self.channel, self.modules, self.is_long = channel, modules, is_long
        self.asked: list[str] = []
        self._bus = can.Bus(interface="virtual", channel=channel)
        self._over = threading.Event()
        self._timers: list[threading.Timer] = []
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> SmallVehicle:
        self._thread.start()
        return self

    def __exit__(self, *error: object) -> None:
        self._over.set()
        self._thread.join()
        for timer in self._timers:
            timer.join()
        self._bus.shutdown()

    def _run(self) -> None:
        while not self._over.is_set():
            message = self._bus.recv(timeout=0.02)
            if message is None or message.is_extended_id != self.is_long:
                continue
            length = message.data[0]
            if length > 7:
                continue  # a flow control that nobody waits for
            question = bytes(message.data[1 : 1 + length]).hex().upper()
            everybody = message.arbitration_id == (0x18DB33F1 if self.is_long else 0x7DF)
            self.asked.append(question)
            for module in self.modules:
                if everybody or message.arbitration_id == self._own(module):
                    self._answer(module, question)

    def _own(self, module: Module) -> int:
        return 0x18DA00F1 | (module.address & 0xFF) << 8 if self.is_long else module.address - 8

    def _answer(self, module: Module, question: str) -> None:
        reply = module.replies.get(question)
        if reply is None:
            return
        if callable(reply):
            reply = reply()
        replies = [reply] if isinstance(reply, str) else list(reply)
        if question in module.late:
            last = bytes.fromhex(replies.pop())
            timer = threading.Timer(module.late[question], self._send, (module, last), {"is_cut": False})
            self._timers.append(timer)
            timer.start()
        for one in replies:
            self._send(module, bytes.fromhex(one), is_cut=question in module.cut)

    def _send(self, module: Module, data: bytes, *, is_cut: bool) -> None:
        if len(data) <= 7:
            self._frame(module, bytes([len(data)]) + data)
            return
        self._frame(module, bytes([0x10 | len(data) >> 8, len(data) & 0xFF]) + data[:6])
        end = time.monotonic() + 1
        while time.monotonic() < end:
            message = self._bus.recv(timeout=0.02)
            if (
                message is not None
                and message.arbitration_id == self._own(module)
                and message.data[0] >> 4 == 3
            ):
                break
        rest = [data[n : n + 7] for n in range(6, len(data), 7)]
        for n, part in enumerate(rest[:-1] if is_cut else rest, 1):
            self._frame(module, bytes([0x20 | n % 16]) + part)

    def _frame(self, module: Module, data: bytes) -> None:
        self._bus.send(
            can.Message(
                arbitration_id=module.address, is_extended_id=self.is_long, data=data.ljust(8, b"\xaa")
            )
        )


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
