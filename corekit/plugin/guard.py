"""Run a plugin's code so that its failure costs nobody else anything."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Protocol

_LONGEST = 2000  # characters of one failure: room for every fault of a data file, not for a dump


class Overrun(BaseException):
    """The time is up. A BaseException, so that a plugin's own `except Exception` does not swallow it."""


@contextmanager
def time_limit(seconds: float) -> Iterator[None]:
    """Stop what runs inside after so many seconds of wall time.

    Works in the main thread of Unix systems; elsewhere nothing is limited, which is why the screens' server
    runs checks in a worker of its own. It cannot stop code that catches BaseException or hangs inside one C
    call. A plugin is trusted code.
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


class Listener(Protocol):
    """Who hears of each piece of a plugin's code that is about to run, so that somebody knows the culprit
    when the process dies of it.
    """

    def begins(self, plugin: str, what: str) -> None: ...

    def overran(self, plugin: str, what: str) -> None:
        """The alarm stopped it."""


_listeners: list[Listener] = []


def listen(listener: Listener) -> None:
    """From now on this listener hears of every guarded piece of code in this process."""
    _listeners.append(listener)


@contextmanager
def guarded(plugin: str, what: str, seconds: float) -> Iterator[None]:
    """Run a plugin's code inside, under `time_limit`; listeners hear of it first.

    Raises:
        Overrun: the time was up.
    """
    for listener in _listeners:
        listener.begins(plugin, what)
    try:
        with time_limit(seconds):
            yield
    except Overrun:
        for listener in _listeners:
            listener.overran(plugin, what)
        raise


def in_words(error: BaseException) -> str:
    """One line about a failure, for people: no traceback; a list of faults stands in it one
    after the other.
    """
    text = " ".join(str(error).split())
    if len(text) > _LONGEST:
        text = f"{text[:_LONGEST]}…"
    return f"{type(error).__name__}: {text}" if text else type(error).__name__
