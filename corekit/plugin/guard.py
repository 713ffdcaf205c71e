"""Run a plugin's code so that its failure costs nobody else anything."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

_LONGEST = 2000  # characters of one failure: room for every fault of a data file, not for a dump


class Overrun(BaseException):
    """The time is up. A BaseException, so that a plugin's own `except Exception` does not swallow it."""


@contextmanager
def time_limit(seconds: float) -> Iterator[None]:
    """Stop what runs inside after so many seconds of wall time.

    Works in the main thread of Unix systems; elsewhere nothing is limited, which is why the screens' server runs checks in a
    worker of its own. It cannot stop code that catches BaseException or hangs inside one C call. A plugin is trusted code.
    """
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def ring(signum: int, frame: FrameType | None) -> None:
        raise Overrun(f"it took longer than {seconds:g} s")

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def in_words(problem: BaseException) -> str:
    """One line about a failure, for people: no traceback; a list of faults stands in it one after the other."""
    text = " ".join(str(problem).split())
    if len(text) > _LONGEST:
        text = f"{text[:_LONGEST]}…"
    return f"{type(problem).__name__}: {text}" if text else type(problem).__name__
