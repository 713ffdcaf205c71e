"""Run a plugin's code so that its failure costs nobody else anything."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Protocol

from .. import stopwatch
from . import intact

_LONGEST = 2000  # characters of one failure: room for every fault of a data file, not for a dump
_CORE = str(Path(__file__).parents[1]) + os.sep
_STANDARD = str(Path(os.__file__).parent) + os.sep
#: What one piece of a plugin's code may take beyond what is there when it begins, [bytes]. The heaviest of
#: the systems here takes 4 MB; estimate of ours of what a small machine can spare.
MEMORY = 512 * 1024 * 1024


#: How long after an alarm that nobody heard it rings again, and the shortest time to set it to, [s].
_AGAIN, _SHORTEST = 1.0, 0.005


class Overrun(BaseException):
    """The time is up. A BaseException, so that a plugin's own `except Exception` does not swallow it.

    Attributes:
        place: File and line at which it was stopped, where that is known from an earlier time.
    """

    def __init__(self, text: str, place: str = "") -> None:
        super().__init__(text)
        self.place = place


@contextmanager
def time_limit(seconds: float) -> Iterator[None]:
    """Stop what runs inside once it has computed for so many seconds, or has waited `stopwatch.PATIENCE`
    times as long.

    By the alarm of Unix systems in their main thread; elsewhere by another thread, which reaches code of
    Python's own between two of its steps, and no call that waits in C. Neither can stop code that catches
    BaseException or hangs inside one C call; whoever watches the process ends it then. A plugin is trusted
    code.
    """
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        with _limited_by_thread(seconds):
            yield
        return

    runs, watch = [True], stopwatch.of_this_thread()

    def ring(signum: int, frame: FrameType | None) -> None:
        if not runs:
            return
        left = watch.left(seconds)
        if min(left) <= 0:
            raise Overrun(_too_long(seconds, left))
        signal.setitimer(signal.ITIMER_REAL, max(min(left), _SHORTEST), again)

    # Python drops what is raised while it collects garbage, and the alarm with it: so it rings again.
    again = max(seconds, _AGAIN)
    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds, again)
    try:
        yield
    finally:
        try:
            runs.clear()
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
            signal.signal(signal.SIGALRM, before)


def _too_long(seconds: float, left: tuple[float, float]) -> str:
    if left[0] <= 0:
        return f"it took longer than {seconds:g} s"
    return f"it took longer than {seconds * stopwatch.PATIENCE:g} s, and most of it was waiting"


@contextmanager
def _limited_by_thread(seconds: float) -> Iterator[None]:
    """The same where there is no alarm: another thread has this one raise."""
    import ctypes

    raising, thread, lock = (
        ctypes.pythonapi.PyThreadState_SetAsyncExc,
        threading.get_ident(),
        threading.Lock(),
    )
    watch, is_over = stopwatch.of_this_thread(), threading.Event()
    has_rung, words = False, ""

    class TimeIsUp(Overrun):  # made by the interpreter, without anything to say
        def __init__(self) -> None:
            super().__init__(words)

    def ring() -> None:
        nonlocal has_rung, words
        wait = seconds
        while not is_over.wait(wait):
            left = watch.left(seconds)
            wait = max(min(left), _SHORTEST)
            if min(left) > 0:
                continue
            with lock:
                if not is_over.is_set():
                    has_rung, words = True, _too_long(seconds, left)
                    raising(ctypes.c_ulong(thread), ctypes.py_object(TimeIsUp))
            return

    threading.Thread(target=ring, daemon=True).start()
    try:
        yield
    finally:
        with lock:
            is_over.set()
            if has_rung:  # and perhaps not raised yet: it must not come out of what follows
                raising(ctypes.c_ulong(thread), None)


class Listener(Protocol):
    """Who hears of each piece of a plugin's code that is about to run, so that somebody knows the culprit
    when the process dies of it.
    """

    def begins(self, plugin: str, what: str, seconds: float, where: str) -> None:
        """`where` is the file and line at which it begins, as far as they are known."""

    def ends(self) -> None:
        """It came back, with or without an error."""

    def overran(self, plugin: str, what: str, place: str) -> None:
        """The alarm stopped it, at this file and line."""


_listeners: list[Listener] = []
_memory_limit: Callable[[int | None], None] | None = None
_is_interrupted: Callable[[], bool] | None = None


class CriedError(Exception):
    """A plugin raised what only a person may say."""


def listen(listener: Listener) -> None:
    """From now on this listener hears of every guarded piece of code in this process."""
    _listeners.append(listener)


def tell_interrupts(is_interrupted: Callable[[], bool]) -> None:
    """From now on a ctrl-C that a plugin raises by itself is its failure like any other."""
    global _is_interrupted  # noqa: PLW0603  # of the process, like the handler that knows it
    _is_interrupted = is_interrupted


def limit_memory() -> None:
    """From now on each guarded piece of code in this process may take `MEMORY` and no more: beyond it Python
    raises MemoryError in that piece.

    Linux alone counts what a process takes and can refuse more; elsewhere nothing is limited.
    """
    global _memory_limit  # noqa: PLW0603  # of the process, like the limit itself
    if not sys.platform.startswith("linux"):
        return
    import resource

    taken = os.open("/proc/self/statm", os.O_RDONLY)
    soft, hard = resource.getrlimit(resource.RLIMIT_DATA)

    def set_limit(more: int | None) -> None:
        limit = soft
        if more is not None:
            limit = int(os.pread(taken, 128, 0).split()[5]) * resource.getpagesize() + more
            if hard != resource.RLIM_INFINITY:
                limit = min(limit, hard)
        resource.setrlimit(resource.RLIMIT_DATA, (limit, hard))

    _memory_limit = set_limit


@contextmanager
def guarded(plugin: str, what: str, seconds: float, where: str = "") -> Iterator[None]:
    """Run a plugin's code inside, under `time_limit`; listeners hear of it first. What it prints goes to the
    error stream, for the output is the command's own.

    Raises:
        Overrun: the time was up. AlteredError: it changed what is not its own; that is put back.
    """
    for listener in _listeners:
        listener.begins(plugin, what, seconds, where)
    if _memory_limit is not None:
        _memory_limit(MEMORY)
    out, sys.stdout = sys.stdout, sys.stderr
    try:
        with time_limit(seconds):
            yield
    except Overrun as error:
        for listener in _listeners:
            listener.overran(plugin, what, _line_of(error) or where)
        raise
    except KeyboardInterrupt as error:
        if _is_interrupted is None or _is_interrupted():
            raise
        raise CriedError("it raised KeyboardInterrupt, and nobody had stopped it") from error
    finally:
        sys.stdout = out
        if _memory_limit is not None:
            _memory_limit(None)
        for listener in _listeners:
            listener.ends()
    intact.hold_after_each_piece()


def in_words(error: BaseException) -> str:
    """One line about a failure, for people: no traceback; a list of faults stands in it one
    after the other.
    """
    text = " ".join(str(error).split())
    if len(text) > _LONGEST:
        text = f"{text[:_LONGEST]}…"
    return f"{type(error).__name__}: {text}" if text else type(error).__name__


def failure_words(error: BaseException, where: str = "") -> str:
    """`in_words`, with the file and line of the plugin that it came from; `where` stands in when no line of a
    plugin ran. With COREKIT_TRACE in the environment the traceback goes to the error stream.
    """
    if os.environ.get("COREKIT_TRACE"):
        from traceback import print_exception

        print_exception(error, file=sys.stderr)
    found = _line_of(error) or where
    words = in_words(error).removesuffix(".")
    return f"{words}, at {found}" if found else words


def _line_of(error: BaseException) -> str:
    """The innermost line that is neither of the core nor of Python's own library."""
    if isinstance(error, SyntaxError) and error.filename and error.lineno:
        return line_words(error.filename, error.lineno)
    if isinstance(error, Overrun) and error.place:
        return error.place
    from traceback import walk_tb

    raised = error.__cause__ if isinstance(error, CriedError) and error.__cause__ is not None else error
    lines = [(frame.f_code.co_filename, line) for frame, line in walk_tb(raised.__traceback__)]
    return first_foreign(reversed(lines))


def first_foreign(lines: Iterator[tuple[str, int]]) -> str:
    """The first of these files and lines, innermost first, that is a plugin's; empty when none is."""
    return next((line_words(file, line) for file, line in lines if is_foreign(file)), "")


def is_foreign(file: str) -> bool:
    """True for code that is neither of the core nor of Python's own library."""
    if file.startswith(("<", _CORE)):
        return False
    return not file.startswith(_STANDARD) or "site-packages" in file[len(_STANDARD) :]


def line_words(file: str, line: int) -> str:
    """A file as it is imported, `corekit_horn/pitch.py`, and its line."""
    roots = sorted((root for root in sys.path if root and file.startswith(root + os.sep)), key=len)
    return f"{file[len(roots[-1]) + 1 :] if roots else file} line {line}"
