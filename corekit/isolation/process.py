"""One worker process as the server sees it, from start to end: what it replies, and how it was lost."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from multiprocessing.connection import wait
from multiprocessing.context import SpawnProcess
from multiprocessing.sharedctypes import RawValue

import attrs

from ..assess.assessment import CHECK_SECONDS
from ..plugin.host import LOAD_SECONDS, LOADING
from ..readers.files import READING, SECONDS
from ..stopwatch import PATIENCE, Stopwatch
from .last_words import place_words
from .messages import (
    PluginCode,
    Progress,
    ReadyReply,
    Reply,
    Request,
    beginning_of_code,
    code_in_progress,
    packed_request,
    unpacked_reply,
)
from .worker_process import run

_LARGEST = 64 * 1024 * 1024  # bytes of one reply
_LOOK = 0.1  # seconds between two looks at what the worker is at
#: Never fork: the server has threads, and what they hold would stay held.
_CONTEXT = multiprocessing.get_context("spawn")


@attrs.frozen(kw_only=True)
class Timeouts:
    """Seconds that a piece of code may compute until the server ends it, each beyond what the alarm in the
    worker allows; a plugin's may wait `patience` times as long.

    Attributes:
        start: Until the process says anything, and between pieces of plugins' code.
        load: For one plugin to load.
        check: For one check. read: For one reader of files.
    """

    start: float = 60.0
    load: float = LOAD_SECONDS + 3.0
    check: float = CHECK_SECONDS + 3.0
    read: float = SECONDS + 3.0
    patience: float = PATIENCE

    @property
    def last_resort(self) -> float:
        """Seconds of processor time after which a piece of code ends its process by itself, be the server
        there or not.
        """
        return 3.0 * max(self.load, self.check, self.read)

    def of(self, code: PluginCode | None) -> float:
        """How long this piece of code may compute."""
        if code is None:
            return self.start
        if code.part.startswith(READING):
            return self.read
        return self.load if code.part == LOADING else self.check


class LostProcessError(Exception):
    """The process is gone, or as good as gone.

    Attributes:
        how: Completes a sentence about the piece of code that ran.
        culprit: What ran; None where nothing of a plugin did.
    """

    def __init__(self, how: str, culprit: PluginCode | None) -> None:
        super().__init__(how)
        self.how, self.culprit = how, culprit


class WorkerProcess:
    """One process, from its start to its end.

    Args:
        points: Name and module of each plugin; None for all that are installed.
        left_out: Names of plugins that are not to be loaded, and why not.
    """

    def __init__(
        self, points: Sequence[tuple[str, str]] | None, left_out: Mapping[str, str], timeouts: Timeouts
    ) -> None:
        self._timeouts = timeouts
        self._progress: Progress = RawValue(Progress)
        self._pipe, other = _CONTEXT.Pipe()
        self._told, told = _CONTEXT.Pipe(duplex=False)
        self._process: SpawnProcess = _CONTEXT.Process(
            target=run,
            args=(other, self._progress, points, left_out, timeouts.last_resort, told),
            name="corekit checks",
            daemon=True,
        )
        self._process.start()
        other.close()
        told.close()
        self._is_ready = False
        self._number = 0  # of the last request

    @property
    def pid(self) -> int | None:
        return self._process.pid

    def reply(self, request: Request) -> Reply:
        """What it replies to one request.

        Raises:
            LostProcessError: nothing that can be used, in a time without any progress.
        """
        try:
            if not self._is_ready:
                if not isinstance(self._next_reply(), ReadyReply):
                    raise self._lost_error("said something before it was asked")
                self._is_ready = True
            with self._killed_after(self._timeouts.start):
                self._number += 1
                self._pipe.send_bytes(packed_request(self._number, request))
            return self._next_reply()
        except OSError:
            raise self._lost_error(self._end_words()) from None

    def end(self) -> None:
        """End it at once and without asking: a plugin may hang in it."""
        self._process.kill()
        self._process.join(10.0)
        self._pipe.close()
        self._told.close()

    def _next_reply(self) -> Reply:
        self._wait_for_data()
        try:
            with self._killed_after(self._timeouts.check * self._timeouts.patience):
                data = self._pipe.recv_bytes(_LARGEST)
        except (EOFError, OSError):
            raise self._lost_error(self._end_words()) from None
        try:
            return unpacked_reply(data)
        except Exception:
            raise self._lost_error("sent something that is no answer") from None

    def _wait_for_data(self) -> None:
        """Return when something is in the pipe; time begins anew with each piece of code that begins."""
        count, watch = self._progress.count, Stopwatch(str(self.pid))
        while not (ready := wait([self._pipe, self._process.sentinel], _LOOK)):
            if self._progress.count != count:
                count, watch = self._progress.count, Stopwatch(str(self.pid))
                continue
            seconds = self._timeout
            patience = self._timeouts.patience if self._running_code is not None else 1.0
            computing, waiting = watch.left(seconds, patience)
            if min(computing, waiting) < 0:
                passed = seconds if computing < 0 else seconds * patience
                self._abort()
                raise self._lost_error(f"gave no answer within {passed:g} s and was ended")
        if self._pipe not in ready and not self._pipe.poll():
            raise self._lost_error(self._end_words())

    @property
    def _running_code(self) -> PluginCode | None:
        """What ran last of what was asked last."""
        return code_in_progress(self._progress, self._number)

    @property
    def _timeout(self) -> float:
        return self._timeouts.of(self._running_code)

    def _lost_error(self, how: str) -> LostProcessError:
        code = self._running_code
        place = place_words(self._last_words(), beginning_of_code(self._progress)) if code is not None else ""
        return LostProcessError(f"{how}{place}", code)

    def _abort(self) -> None:
        """End it in the way in which it says first where it is."""
        if self.pid is not None and hasattr(signal, "SIGABRT") and os.name == "posix":
            os.kill(self.pid, signal.SIGABRT)
            self._process.join(1.0)

    def _last_words(self) -> str:
        said = b""
        while wait([self._told], 0.0):
            more = os.read(self._told.fileno(), 65536)
            said += more
            if not more:
                break
        return said.decode(errors="replace")

    @contextmanager
    def _killed_after(self, seconds: float) -> Iterator[None]:
        """Sending and receiving can block in the middle of a message; ending the process ends that too."""
        timer = threading.Timer(seconds, self._process.kill)
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()

    def _end_words(self) -> str:
        """How the process came to its end; one that closed its pipe is ended."""
        self._process.join(1.0)
        code = self._process.exitcode
        if code is None:
            return "closed the pipe that it answers through"
        return f"broke its process (signal {-code})" if code < 0 else f"ended its process (code {code})"
