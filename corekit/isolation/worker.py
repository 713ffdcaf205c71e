"""One warm worker process in which plugins' checks and calculations run, so that whatever one of them does,
the screens go on.

Each piece of a plugin's code runs there under the alarm. What the alarm cannot stop (code that catches
everything, that hangs inside a C call, that ends or breaks the process) costs the process: the server ends
it, sets the culprit's system aside and asks a fresh one again.
"""

from __future__ import annotations

import logging
import multiprocessing
import threading
import time
from collections import deque
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from importlib.metadata import EntryPoint
from multiprocessing.connection import wait
from multiprocessing.context import SpawnProcess
from multiprocessing.sharedctypes import RawValue
from types import TracebackType
from typing import Any

import attrs

from ..assess.assessment import CHECK_SECONDS, Assessment, assess
from ..desk.errors import DeskError
from ..model.job import Job
from ..model.value import Value
from ..plugin.host import LOAD_SECONDS, LOADING, Failure, Plugins
from .worker_process import (
    Assessed,
    Calculated,
    Failed,
    Note,
    Piece,
    Ready,
    Refused,
    ToAssess,
    ToCalculate,
    packed,
    read,
    reply_of,
    run,
    without_checks,
)

log = logging.getLogger("corekit.isolation.worker")

_LARGEST = 64 * 1024 * 1024  # bytes of one reply
_ANEW = "`corekit work` is started again"
_LOOK = 0.1  # seconds between two looks at what the worker is at
_CONTEXT = multiprocessing.get_context(
    "spawn"
)  # never fork: the server has threads, and what they hold would stay held


@attrs.frozen(kw_only=True)
class Patience:
    """Seconds that the server waits without a sign of progress; each time beyond what the alarm in the worker
    allows.

    Attributes:
        start: Until the process says anything, and between pieces of plugins' code. load: For one plugin to
            load. check: For one check.
    """

    start: float = 60.0
    load: float = LOAD_SECONDS + 3.0
    check: float = CHECK_SECONDS + 3.0

    @property
    def last_resort(self) -> float:
        """Seconds of processor time after which a piece of code ends its process by itself, be the server
        there or not.
        """
        return 3.0 * max(self.load, self.check)

    def of(self, piece: Piece | None) -> float:
        return self.start if piece is None else self.load if piece[1] == LOADING else self.check


class WorkerError(DeskError):
    """The worker cannot do this: a calculation that failed, or the worker is closed.

    Says what and what to do.
    """


class _Lost(Exception):
    """The process is gone, or as good as gone.

    `how` completes a sentence about the piece of code that ran.
    """

    def __init__(self, how: str, piece: Piece | None) -> None:
        super().__init__(how)
        self.how, self.piece = how, piece


class Worker:
    """Assesses and calculates in a process of its own; give it to a `Shop` as its assessor.

    Threads may ask at once: each gets its turn in the order in which they came. Use it as a context manager,
    or call `close`.

    Args:
        found: Entry points of the plugins; without, all that are installed.
        patience: How long to wait.
    """

    def __init__(
        self, found: Collection[EntryPoint] | None = None, *, patience: Patience | None = None
    ) -> None:
        self._points = None if found is None else [(point.name, point.value) for point in found]
        self._patience = patience or Patience()
        self._turns = _Turns()
        self._guard = (
            threading.Lock()
        )  # of _process and _closed, which `close` may touch while somebody else has the turn
        self._closed = False
        self._process: _Process | None = None
        self._aside: dict[str, Failure] = {}  # by system
        self._unloaded: dict[str, str] = {}  # names of plugins that cost a process while they loaded, and how
        self._tired: frozenset[Piece] = frozenset()
        self._resting: dict[str, str] = {}  # calculations that cost the process, and how

    def __enter__(self) -> Worker:
        self.warm()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def warm(self) -> None:
        """Start the process, so that the first answer need not wait for it; does not wait itself."""
        with self._turns:
            self._running()

    def close(self) -> None:
        """End the process; whoever waits for an answer gets a WorkerError."""
        with self._guard:
            self._closed = True
            process, self._process = self._process, None
        if process is not None:
            process.end()

    @property
    def pid(self) -> int | None:
        """The process that runs now."""
        with self._guard:
            return self._process.pid if self._process is not None else None

    @property
    def set_aside(self) -> tuple[Failure, ...]:
        """The systems that are not assessed since they cost a process."""
        return tuple(self._aside.values())

    def try_again(self) -> None:
        """Take back whatever was set aside, in a fresh process."""
        with self._turns:
            self._aside, self._unloaded, self._tired, self._resting = {}, {}, frozenset(), {}
            self._drop()
            self._running()

    # ---- what it does

    def __call__(
        self, job: Job, plugins: Plugins, minutes_left: float | None = None, about: Collection[str] = ()
    ) -> Assessment:
        """As `assess`; a system that costs the process is set aside, and everything else is assessed as if it
        had no checks.

        Args:
            plugins: As this process loaded them; the worker loads the same ones.

        Raises:
            WorkerError: it is closed. Never a plugin's failure: that stands among the assessment's failures
                and gaps.
        """
        with self._turns:
            strange = 0
            while True:
                try:
                    reply = self._asked(self._to_assess(job, plugins, minutes_left, about))
                except _Lost as lost:
                    strange += not self._learn(lost, plugins)
                    if strange < 2:
                        continue
                    return self._unassessed(job, plugins, minutes_left, about, lost.how)
                if isinstance(reply, Assessed):
                    self._tired |= reply.overran
                    return attrs.evolve(reply.assessment, job=job)
                if not isinstance(reply, Failed):
                    raise TypeError(f"The worker answers an assessment with {type(reply).__name__}.")
                if reply.piece is None or not self._set_aside(reply.piece, reply.words, plugins):
                    return self._unassessed(job, plugins, minutes_left, about, reply.words)

    def calculate(self, key: str, arguments: Mapping[str, Value]) -> Value:
        """The result of a declared calculation with its uncertainty; `arguments` by name.

        Raises:
            ValueError: there is no such calculation, or it does not hold for these values; the text says what
                must hold.
            WorkerError: it failed, or cost the process once already; the text names it.
        """
        with self._turns:
            reply = self._calculated(key, dict(arguments))
        if isinstance(reply, Calculated):
            return reply.value
        if isinstance(reply, Refused):
            raise ValueError(reply.words)
        if isinstance(reply, Failed):
            raise WorkerError(f"The calculation {key} {reply.words}.")
        raise TypeError(f"The worker answers a calculation with {type(reply).__name__}.")

    def _calculated(self, key: str, arguments: dict[str, Value]) -> object:
        strange = 0
        while True:
            if key in self._resting:
                raise WorkerError(self._resting[key])
            try:
                return self._asked(ToCalculate(key=key, arguments=arguments))
            except _Lost as lost:
                if lost.piece is not None and lost.piece[1] == key:
                    self._drop()
                    self._resting[key] = (
                        f"The calculation {key} {lost.how}; it is not tried again until {_ANEW}."
                    )
                    log.warning("%s", self._resting[key])
                    continue
                strange += not self._learn(lost)
                if strange >= 2:
                    raise WorkerError(
                        f"Nothing can be calculated just now (the worker {lost.how}). Try again."
                    ) from None

    # ---- the process

    def _running(self) -> _Process:
        """The process that runs, started when there is none."""
        with self._guard:
            if self._closed:
                raise WorkerError(
                    "The worker is closed, since the screens are being ended. What was acknowledged is kept."
                )
            if self._process is None:
                self._process = _Process(self._points, dict(self._unloaded), self._patience)
            return self._process

    def _drop(self) -> None:
        """End the process; the next request gets a fresh one."""
        with self._guard:
            process, self._process = self._process, None
        if process is not None:
            process.end()

    def _asked(self, request: ToAssess | ToCalculate) -> object:
        """The reply to one request.

        Raises:
            _Lost: there is none, and the process is of no more use. WorkerError: it is closed.
        """
        try:
            return self._running().asked(request)
        except _Lost:
            if self._closed:
                self._running()  # says so
            raise
        except BaseException:
            self._drop()  # ctrl-C here: its answer would be taken for that of the next request
            raise

    def _to_assess(
        self, job: Job, plugins: Plugins, minutes_left: float | None, about: Collection[str]
    ) -> ToAssess:
        return ToAssess(
            job=job,
            systems=tuple(plugins.systems),
            failures=(*plugins.failures, *self._aside.values()),
            versions=dict(plugins.versions),
            quiet=frozenset(self._aside),
            tired=self._tired,
            minutes_left=minutes_left,
            about=tuple(about),
        )

    def _unassessed(
        self, job: Job, plugins: Plugins, minutes_left: float | None, about: Collection[str], how: str
    ) -> Assessment:
        """What is left when no worker answers and nobody knows why: readings without findings, and a failure
        for each system. Tried anew next time.
        """
        known = [*plugins.failures, *self._aside.values()]
        failures = [
            Failure(
                plugin=key,
                what=f"its checks could not be run, and none of them is to blame (the worker {how})",
                cost=f"{system.title} is not assessed now; every reading is kept.",
            )
            for key, system in plugins.systems.items()
            if key not in self._aside
        ]
        quiet = without_checks(
            attrs.evolve(plugins, failures=(*known, *failures)), frozenset(plugins.systems)
        )
        return assess(job, quiet, minutes_left, about)

    # ---- culprits

    def _learn(self, lost: _Lost, plugins: Plugins | None = None) -> bool:
        """After a process was lost: end it and set aside who cost it. False when nobody knows who did."""
        self._drop()
        if lost.piece is None:
            log.warning("the worker %s, and no check ran", lost.how)
            return False
        if lost.piece[1] == LOADING:
            name = lost.piece[0]
            new = name not in self._unloaded
            self._unloaded[name] = lost.how
            log.warning("plugin %s, while it loaded, %s", name, lost.how)
            return new
        return plugins is not None and self._set_aside(lost.piece, lost.how, plugins)

    def _set_aside(self, piece: Piece, how: str, plugins: Plugins) -> bool:
        """From now on nothing of this system runs; False when nothing of it ran anyway."""
        key, check = piece
        system = plugins.systems.get(key)
        if system is None or key in self._aside:
            return False
        cost = f"{system.title} is not assessed until {_ANEW}; every reading is kept."
        self._aside[key] = Failure(plugin=key, what=f"its check {check!r} {how}", cost=cost)
        log.warning("%s", self._aside[key])
        return True


class _Process:
    """One process, from its start to its end."""

    def __init__(self, points: list[Piece] | None, left_out: dict[str, str], patience: Patience) -> None:
        self._patience = patience
        self._note: Note = RawValue(Note)
        self._pipe, other = _CONTEXT.Pipe()
        self._process: SpawnProcess = _CONTEXT.Process(
            target=run,
            args=(other, self._note, points, left_out, patience.last_resort),
            name="corekit checks",
            daemon=True,
        )
        self._process.start()
        other.close()
        self._ready = False
        self._number = 0  # of the last request

    @property
    def _piece(self) -> Piece | None:
        """What ran last of what was asked last."""
        return read(self._note, self._number)

    @property
    def pid(self) -> int | None:
        return self._process.pid

    def asked(self, request: ToAssess | ToCalculate) -> object:
        """What it replies.

        Raises:
            _Lost: nothing that can be used, in a time without any progress.
        """
        try:
            if not self._ready:
                if not isinstance(self._received(), Ready):
                    raise _Lost("said something before it was asked", self._piece)
                self._ready = True
            with self._ended_after(self._patience.start):
                self._number += 1
                self._pipe.send_bytes(packed(self._number, request))
            return self._received()
        except OSError:
            raise _Lost(self._end_words(), self._piece) from None

    def _received(self) -> object:
        seen, until = self._note.count, time.monotonic() + self._patience.of(self._piece)
        while not (there := wait([self._pipe, self._process.sentinel], _LOOK)):
            if self._note.count != seen:
                seen, until = self._note.count, time.monotonic() + self._patience.of(self._piece)
            elif time.monotonic() > until:
                raise _Lost(
                    f"gave no answer within {self._patience.of(self._piece):g} s and was ended", self._piece
                )
        if self._pipe not in there and not self._pipe.poll():
            raise _Lost(self._end_words(), self._piece)
        try:
            with self._ended_after(self._patience.check):
                data = self._pipe.recv_bytes(_LARGEST)
        except (EOFError, OSError):
            raise _Lost(self._end_words(), self._piece) from None
        try:
            return reply_of(data)
        except Exception:
            raise _Lost("sent something that is no answer", self._piece) from None

    @contextmanager
    def _ended_after(self, seconds: float) -> Iterator[None]:
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

    def end(self) -> None:
        """At once and without asking: a plugin may hang in it."""
        self._process.kill()
        self._process.join(10.0)
        self._pipe.close()


class _Turns:
    """A lock that is given on in the order in which it was asked for."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._taken = False
        self._waiting: deque[threading.Lock] = deque()

    def __enter__(self) -> None:
        with self._guard:
            if not self._taken:
                self._taken = True
                return
            gate = threading.Lock()
            gate.acquire()
            self._waiting.append(gate)
        try:
            gate.acquire()
        except BaseException:  # ctrl-C while waiting: whoever comes next must not wait for us
            with self._guard:
                mine = gate in self._waiting
                if mine:
                    self._waiting.remove(gate)
            if not mine:
                self.__exit__()
            raise

    def __exit__(self, *_: Any) -> None:
        with self._guard:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._taken = False
