"""Questions and answers over the vehicle's bus (ISO 15765-4), read-only.

A question goes to all modules at once or to one; each answers under its own address, in one frame or several.
Only the services that read may be asked: nothing here clears, sets or commands anything.

Times are those of ISO 15765-4 (from memory): a module answers within 50 ms, or says within that time that its
answer is pending and gives it within 5 s. An adapter adds to it.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import attrs

from ..errors import CorekitError
from ..fault import DataFault
from .errors import LogError

if TYPE_CHECKING:
    import can
    import isotp

#: Services that only read: live data, freeze frame, the three lists of codes, test results, the vehicle.
READING = frozenset({0x01, 0x02, 0x03, 0x06, 0x07, 0x09, 0x0A})
ANSWERS_WITHIN = 0.3  # s: 50 ms by the standard, and what adapters add; an estimate of ours
PENDING_WITHIN = 5.0  # s
_BUSY, _PENDING = 0x21, 0x78
_AGAIN = 3  # times a module that is busy is asked again
_NEGATIVE = 0x7F
_ALL_11, _FIRST_11, _LAST_11 = 0x7DF, 0x7E8, 0x7EF
_ALL_29, _MODULES_29 = 0x18DB33F1, 0x18DAF100


class NotReadingError(CorekitError):
    """A service was to be asked for that does more than read."""


@attrs.frozen
class Answer:
    """What one module said: its address in hexadecimal, and the bytes behind the service; `refusal` is the
    code of a negative answer, and then there are none.
    """

    address: str
    data: bytes = b""
    refusal: int | None = None


class Link:
    """A bus with modules on it, each of which answers `within` so many seconds of `clock`. `remarks` holds
    what went wrong with single answers, one sentence each.

    The adapter takes in what arrives while this process does not get its turn; so what is there when the time
    is over is still looked at, and a busy computer loses no answer that came in time.
    """

    def __init__(
        self,
        bus: can.BusABC,
        within: float = ANSWERS_WITHIN,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.bus, self.within, self.clock = bus, within, clock
        self.is_long = False
        self.remarks: dict[str, None] = {}
        self._layers: dict[int, isotp.TransportLayerLogic] = {}
        self._waiting: dict[int, deque[Any]] = {}
        self._broken: set[int] = set()

    def ask(self, *question: int, to: str = "") -> list[Answer]:
        """The answers to a question, each module's once, the lowest address first.

        Args:
            question: The service and what is asked of it. to: Address of one module; all where left out.

        Raises:
            NotReadingError: the service does more than read.
        """
        if question[0] not in READING:
            raise NotReadingError(f"Service {question[0]:02X} does more than read; it is not sent.")
        found: dict[int, Answer] = {}
        for _ in range(_AGAIN):
            self._forget_late_ones()
            self._send(bytes(question), to)
            for address, data in self._received(question, to, found):
                found[address] = Answer(f"{address:X}", data[1:])
            busy = [one for one in found.values() if one.refusal == _BUSY]
            if not busy or len(busy) < len(found):
                break
            found.clear()
            self._wait(self.within / 4)
        return [found[address] for address in sorted(found)]

    # ---- frames

    def _send(self, question: bytes, to: str) -> None:
        import can

        if to:
            address = int(to, 16)
            target = 0x18DA00F1 | (address & 0xFF) << 8 if self.is_long else address - 8
        else:
            target = _ALL_29 if self.is_long else _ALL_11
        data = bytes([len(question)]) + question
        self.bus.send(
            can.Message(arbitration_id=target, is_extended_id=self.is_long, data=data.ljust(8, b"\0"))
        )

    def _forget_late_ones(self) -> None:
        """An answer that came too late belongs to no question that is still to be asked."""
        while self.bus.recv(timeout=0) is not None:
            pass
        self._layers.clear()
        self._waiting.clear()
        self._broken.clear()

    def _wait(self, seconds: float) -> None:
        """Let the time pass; what comes in belongs to no question."""
        end = self.clock() + seconds
        while (left := end - self.clock()) > 0:
            self.bus.recv(timeout=left)

    def _received(
        self, question: tuple[int, ...], to: str, found: dict[int, Answer]
    ) -> Iterator[tuple[int, bytes]]:
        """(address, answer) as they come in, until the time is over; refusals are put down in `found`."""
        end = self.clock() + self.within
        pending: dict[int, float] = {}
        service = question[0]
        while True:
            left = max(end, *pending.values(), 0.0) - self.clock()
            message = self.bus.recv(timeout=min(max(left, 0.0), 0.05))
            if left < -self.within or (message is None and left <= 0):
                break
            if message is not None and self._is_from_module(message):
                self._layer(message.arbitration_id)
                self._waiting[message.arbitration_id].append(message)
                if message.data and message.data[0] >> 4 == 1:  # more frames follow
                    end = max(end, self.clock() + self.within)
            for address in list(self._layers):
                for data in self._whole(address):
                    if len(data) >= 3 and data[0] == _NEGATIVE and data[1] == service:
                        if data[2] == _PENDING:
                            pending[address] = self.clock() + PENDING_WITHIN
                            continue
                        found[address] = Answer(f"{address:X}", refusal=data[2])
                    elif data and data[0] == service + 0x40 and self._echoes(question, data):
                        yield address, data
                    else:
                        continue  # the late answer to another question
                    pending.pop(address, None)
                    if to and f"{address:X}" == to:
                        return
        for address in pending:
            self._remark(address, question, "said that its answer was pending and never gave it")
        self._broken |= {address for address, layer in self._layers.items() if layer.is_rx_active()}
        for address in self._broken - set(found):
            self._remark(address, question, "gave an answer that was cut off")

    @staticmethod
    def _echoes(question: tuple[int, ...], data: bytes) -> bool:
        """Whether an answer repeats what was asked for, where answers do: codes have nothing to repeat."""
        return question[0] not in (0x01, 0x02, 0x06, 0x09) or (len(data) > 1 and data[1] == question[1])

    def _is_from_module(self, message: can.Message) -> bool:
        if bool(message.is_extended_id) != self.is_long or message.is_error_frame or message.is_remote_frame:
            return False
        number = int(message.arbitration_id)
        return (number & ~0xFF) == _MODULES_29 if self.is_long else _FIRST_11 <= number <= _LAST_11

    def _layer(self, number: int) -> None:
        """The transport layer of a module, made when it is first heard."""
        if number in self._layers:
            return
        import can
        import isotp

        if self.is_long:
            address = isotp.Address(
                isotp.AddressingMode.NormalFixed_29bits, source_address=0xF1, target_address=number & 0xFF
            )
        else:
            address = isotp.Address(isotp.AddressingMode.Normal_11bits, txid=number - 8, rxid=number)
        waiting = self._waiting[number] = deque()

        def receive(timeout: float) -> isotp.CanMessage | None:
            if not waiting:
                return None
            message = waiting.popleft()
            return isotp.CanMessage(
                arbitration_id=message.arbitration_id,
                dlc=message.dlc,
                data=bytes(message.data),
                extended_id=bool(message.is_extended_id),
            )

        def send(message: isotp.CanMessage) -> None:
            self.bus.send(
                can.Message(
                    arbitration_id=message.arbitration_id,
                    is_extended_id=bool(message.is_extended_id),
                    data=message.data,
                )
            )

        def note(error: Exception) -> None:
            self._broken.add(number)

        self._layers[number] = isotp.TransportLayerLogic(
            rxfn=receive,
            txfn=send,
            address=address,
            error_handler=note,
            params={
                "tx_padding": 0,
                "blocksize": 0,
                "stmin": 0,
                # it counts while nobody reads, too; how long is waited is said above
                "rx_consecutive_frame_timeout": int(1000 * PENDING_WITHIN),
            },
        )

    def _whole(self, number: int) -> Iterator[bytes]:
        """Answers of a module of which every frame has come in."""
        layer = self._layers[number]
        layer.process()
        while layer.available():
            data = layer.recv()
            if data:
                yield bytes(data)

    def _remark(self, address: int, question: tuple[int, ...], words: str) -> None:
        asked = " ".join(f"{one:02X}" for one in question)
        self.remarks[f"Module {address:X}, asked for {asked}, {words}; nothing of it was taken."] = None


def open_bus(channel: str, interface: str, bitrate: int = 0) -> can.BusABC:
    """A bus by the names that python-can has for it.

    Raises:
        LogError: the packages for it are not installed, or there is no such bus.
    """
    try:
        import can
        import isotp  # noqa: F401  # needed as soon as an answer comes in
    except ImportError as error:
        raise LogError(
            [
                DataFault(
                    "bus",
                    "the packages for it",
                    f"{error.name} is not installed",
                    "pip install 'corekit[bus]'",
                )
            ]
        ) from error
    try:
        more: dict[str, Any] = {"bitrate": bitrate} if bitrate else {}
        return can.Bus(channel=channel, interface=interface, **more)
    except (can.CanError, OSError, ValueError, NotImplementedError, ImportError) as error:
        words = " ".join(str(error).split()) or type(error).__name__
        got = f"{interface} {channel} cannot be opened: {words}"
        raise LogError(
            [DataFault("bus", "an adapter that is there and switched on", got, "its channel and interface")]
        ) from error
