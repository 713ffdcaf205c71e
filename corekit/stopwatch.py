"""How much of a time a thread had for itself.

A busy computer stretches whatever it runs: what computes for a second takes half a minute where thirty
others want the processor too. So what computes is limited by the processor's time, and what waits by a much
longer time, of which the time that it stood ready and did not get the processor is taken off. Linux alone
tells that part; elsewhere it counts as waiting.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

#: So many times what it may compute may pass altogether: what waits for a slow disk is not lost, and nobody
#: waits for ever. An estimate of ours.
PATIENCE = 6.0


class Stopwatch:
    """The time of one thread since this was made.

    Args:
        task: Its folder below /proc, `self/task/12`, or `12` for the main thread of a process.
        computed: Seconds that it has computed, where that folder does not tell.
        clock: What passes, in seconds.
    """

    def __init__(
        self,
        task: str,
        computed: Callable[[], float] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._file, self._computed, self._clock = f"/proc/{task}/schedstat", computed, clock
        self._begun, self._began = self._read(), clock()

    def _read(self) -> tuple[float | None, float]:
        """Seconds that it computed, None where nobody tells, and seconds that it stood ready."""
        try:
            with open(self._file, "rb") as file:  # noqa: PTH123  # a command starts sooner without pathlib
                computed, ready, turns = map(int, file.read(96).split())
        except (OSError, ValueError):
            turns = 0
        if turns:
            return computed / 1e9, ready / 1e9
        # A system that does not keep count says 0 of everything.
        return (self._computed() if self._computed is not None else None), 0.0

    def left(self, seconds: float, patience: float | None = None) -> tuple[float, float]:
        """How much longer it may compute, and may wait, of so many `seconds`; beyond them less than 0. What
        is left of both will not be over sooner on any clock.
        """
        computed, ready = self._read()
        begun, was_ready = self._begun
        passed = self._clock() - self._began - max(0.0, ready - was_ready)
        most = seconds * (PATIENCE if patience is None else patience)
        if computed is None or begun is None:
            return most - passed, most - passed
        return seconds - (computed - begun), most - passed


def of_this_thread() -> Stopwatch:
    """A stopwatch of the thread that calls."""
    return Stopwatch(f"self/task/{threading.get_native_id()}", _computed_here())


def _computed_here() -> Callable[[], float]:
    """Reads, from any thread, how long this one has computed; of the whole process where nobody tells."""
    if hasattr(time, "pthread_getcpuclockid"):
        clock = time.pthread_getcpuclockid(threading.get_ident())
        return lambda: time.clock_gettime(clock)
    return time.process_time
