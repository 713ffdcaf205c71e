"""A lock for several threads that wait for one worker."""

from __future__ import annotations

import threading
from collections import deque
from typing import Any


class FairLock:
    """A lock that is given on in the order in which it was asked for; `threading.Lock` promises no order.

    Attributes:
        waiting: How many threads wait for it.
    """

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._is_taken = False
        self._gates: deque[threading.Lock] = deque()

    @property
    def waiting(self) -> int:
        with self._guard:
            return len(self._gates)

    def __enter__(self) -> None:
        with self._guard:
            if not self._is_taken:
                self._is_taken = True
                return
            gate = threading.Lock()
            gate.acquire()
            self._gates.append(gate)
        try:
            gate.acquire()
        except BaseException:  # ctrl-C while waiting: whoever comes next must not wait for us
            with self._guard:
                is_waiting = gate in self._gates
                if is_waiting:
                    self._gates.remove(gate)
            if not is_waiting:
                self.__exit__()
            raise

    def __exit__(self, *_: Any) -> None:
        with self._guard:
            if self._gates:
                self._gates.popleft().release()
            else:
                self._is_taken = False
