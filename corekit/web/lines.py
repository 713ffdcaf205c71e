"""Lines to a server: how many there may be, of all and of one client, and how long each may take.

A request has its time as a whole, however it comes; so has the taking of its answer. Nothing here knows HTTP.
"""

from __future__ import annotations

import contextlib
import socket
import ssl
import threading
import time
from collections.abc import Callable
from typing import Any, Generic, Protocol, TypeVar

import attrs
from cheroot.makefile import StreamReader, StreamWriter

from .rate_limit import client_network

#: A client that is slower with a body than so many bytes a second is given up in the end.
LEAST_RATE = 16_384
#: A line that has had so long for its request may have to give way, [s].
PATIENCE = 2.0


@attrs.define(eq=False)
class Pace:
    """The time of one line: each request begins it anew, and so does the answer.

    Attributes:
        seconds: For a request, and for an answer, beside what their bytes add.
        silent: Until a line on which nothing moves is given up, [s].
        is_read: All of the request is here; who waits for its answer keeps nobody waiting.
    """

    seconds: float
    silent: float
    clock: Callable[[], float] = time.monotonic
    is_read: bool = False
    _began: float = attrs.field(init=False)
    _bytes: int = attrs.field(init=False, default=0)
    _is_writing: bool = attrs.field(init=False, default=False)

    def __attrs_post_init__(self) -> None:
        self._began = self.clock()

    def begin(self) -> None:
        """A request begins to come in."""
        self._began, self._bytes, self._is_writing, self.is_read = self.clock(), 0, False, False

    def rest(self) -> None:
        """Its answer is sent; the line waits for the next."""
        self.begin()

    def wait(self, *, writing: bool) -> float:
        """How long the next piece may take, [s].

        Raises:
            TimeoutError: the time of the whole is over.
        """
        if writing and not self._is_writing:
            self._began, self._bytes, self._is_writing = self.clock(), 0, True
        left = self.seconds + self._bytes / LEAST_RATE - (self.clock() - self._began)
        if left <= 0:
            raise TimeoutError("timed out")  # by these words cheroot knows it
        return min(self.silent, left)

    def count(self, size: int) -> None:
        """So many bytes have moved."""
        self._bytes += size

    @property
    def slow_for(self) -> float:
        """How long a request has been on its way, [s]; none while its answer is made."""
        return 0.0 if self.is_read else self.clock() - self._began


class _Raw(socket.SocketIO):
    """A line under its pace."""

    def __init__(self, line: socket.socket, mode: Any, pace: Pace) -> None:
        super().__init__(line, mode)
        self._line, self._pace = line, pace

    def readinto(self, buffer: Any) -> int | None:
        self._line.settimeout(self._pace.wait(writing=False))
        size = super().readinto(buffer)
        self._pace.count(size or 0)
        return size

    def write(self, data: Any) -> int | None:
        self._line.settimeout(self._pace.wait(writing=True))
        size = super().write(data)
        self._pace.count(size or 0)
        return size


class Reader(StreamReader):
    """What comes in on a line; under TLS it knows what was decrypted and not taken yet."""

    def __init__(self, line: socket.socket, pace: Pace) -> None:
        super(StreamReader, self).__init__(_Raw(line, "rb", pace))
        self.bytes_read, self._line = 0, line

    def has_data(self) -> bool:
        if super().has_data():  # type: ignore[no-untyped-call]
            return True
        return isinstance(self._line, ssl.SSLSocket) and self._line.pending() > 0


class Writer(StreamWriter):
    """What goes out on a line."""

    def __init__(self, line: socket.socket, pace: Pace) -> None:
        super(StreamWriter, self).__init__(_Raw(line, "wb", pace))
        self.bytes_written = 0


class Line(Protocol):
    """What is counted here."""

    pace: Pace


_Line = TypeVar("_Line", bound=Line)


class Lines(Generic[_Line]):
    """The open lines of a server. Safe to use from several threads."""

    def __init__(self, most: int, most_of_one: int) -> None:
        self._most, self._most_of_one = most, most_of_one
        self._open: dict[_Line, str | None] = {}
        self._lock = threading.Lock()

    def __len__(self) -> int:
        with self._lock:
            return len(self._open)

    def admit(self, line: _Line, address: str, proxy: str | None) -> list[_Line] | None:
        """Take a new line in; gives those that have to give way for it, or None where there is no room.

        A client that has its share already makes room among its own lines, never among others'.
        """
        whose = None if address == proxy else client_network(address)
        with self._lock:
            own = [one for one, client in self._open.items() if whose is not None and client == whose]
            if len(own) >= self._most_of_one:
                crowd = own
            elif len(self._open) >= self._most:
                crowd = list(self._open)
            else:
                self._open[line] = whose
                return []
            slowest = max(crowd, key=lambda one: one.pace.slow_for)
            if slowest.pace.slow_for < PATIENCE:
                return None
            del self._open[slowest]
            self._open[line] = whose
            return [slowest]

    def remove(self, line: _Line) -> None:
        with self._lock, contextlib.suppress(KeyError):
            del self._open[line]
