"""One warm worker process in which plugins' checks and calculations run, so that whatever one of them does,
the screens go on.

Each piece of a plugin's code runs there under the alarm. What the alarm cannot stop (code that catches
everything, that hangs inside a C call, that ends or breaks the process) costs the process: the server ends
it, sets the culprit's system aside and asks a fresh one again.

A process pool of a library (pebble's was tried) does not say which piece of code ran when a process was lost,
counts time for a whole task instead of from one piece to the next, stops for good when something else than an
answer comes through its pipe, and leaves a process that hangs in a C call alive when the server is killed.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Collection, Mapping
from importlib.metadata import EntryPoint
from types import TracebackType

import attrs

from ..assess.assessment import Assessment, assess
from ..desk.errors import DeskError
from ..model.job import Job
from ..model.value import Value
from ..plugin import set_aside
from ..plugin.host import LOADING, Failure, Plugins
from .fair_lock import FairLock
from .messages import (
    AssessReply,
    AssessRequest,
    CalculateReply,
    CalculateRequest,
    FailedReply,
    PluginCode,
    RefusedReply,
    Reply,
)
from .process import LostProcessError, Timeouts, WorkerProcess
from .worker_process import without_checks

log = logging.getLogger("corekit.isolation.worker")

_ANEW = "`corekit work` is started again"


class WorkerError(DeskError):
    """The worker cannot do this: a calculation that failed, or the worker is closed.

    Says what and what to do.
    """


class Worker:
    """Assesses and calculates in a process of its own; give it to a `Shop` as its assessor.

    Threads may ask at once: each gets its turn in the order in which they came. Use it as a context manager,
    or call `close`.

    Args:
        points: Entry points of the plugins; without, all that are installed.
        timeouts: How long to wait.
    """

    def __init__(
        self, points: Collection[EntryPoint] | None = None, *, timeouts: Timeouts | None = None
    ) -> None:
        self._points = None if points is None else [(point.name, point.value) for point in points]
        self._timeouts = timeouts or Timeouts()
        self._turns = FairLock()
        # Of _process and _is_closed, which `close` may touch while somebody else has the turn.
        self._guard = threading.Lock()
        self._is_closed = False
        self._process: WorkerProcess | None = None
        self._disabled: dict[str, Failure] = {}  # by system
        self._left_out: dict[str, str] = dict(
            set_aside.plugins
        )  # names of plugins that cost a process while they loaded, and how
        self._timed_out: frozenset[PluginCode] = frozenset()
        self._lost_calculations: dict[str, str] = {}  # keys of those that cost the process, and what is said

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
            self._running_process()

    def close(self) -> None:
        """End the process; whoever waits for an answer gets a WorkerError."""
        with self._guard:
            self._is_closed = True
            process, self._process = self._process, None
        if process is not None:
            process.end()

    @property
    def pid(self) -> int | None:
        """The process that runs now."""
        with self._guard:
            return self._process.pid if self._process is not None else None

    @property
    def disabled_systems(self) -> tuple[Failure, ...]:
        """The systems that are not assessed since they cost a process."""
        return tuple(self._disabled.values())

    def try_again(self) -> None:
        """Take back whatever was set aside, in a fresh process."""
        with self._turns:
            self._disabled, self._left_out, self._lost_calculations = {}, {}, {}
            self._timed_out = frozenset()
            self._drop()
            self._running_process()

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
            unexplained = 0
            while True:
                try:
                    reply = self._reply(self._assess_request(job, plugins, minutes_left, about))
                except LostProcessError as lost:
                    unexplained += not self._blame(lost, plugins)
                    if unexplained < 2:
                        continue
                    return self._readings_alone(job, plugins, minutes_left, about, lost.how)
                if isinstance(reply, AssessReply):
                    self._timed_out |= reply.timed_out
                    return attrs.evolve(reply.assessment, job=job)
                if not isinstance(reply, FailedReply):
                    raise TypeError(f"The worker answers an assessment with {type(reply).__name__}.")
                if reply.culprit is None or not self._disable(reply.culprit, reply.words, plugins):
                    return self._readings_alone(job, plugins, minutes_left, about, reply.words)

    def calculate(self, key: str, arguments: Mapping[str, Value]) -> Value:
        """The result of a declared calculation with its uncertainty; `arguments` by name.

        Raises:
            ValueError: there is no such calculation, or it does not hold for these values; the text says what
                must hold.
            WorkerError: it failed, or cost the process once already; the text names it.
        """
        with self._turns:
            reply = self._calculate_reply(key, dict(arguments))
        if isinstance(reply, CalculateReply):
            return reply.value
        if isinstance(reply, RefusedReply):
            raise ValueError(reply.words)
        if isinstance(reply, FailedReply):
            raise WorkerError(f"The calculation {key} {reply.words}.")
        raise TypeError(f"The worker answers a calculation with {type(reply).__name__}.")

    def _calculate_reply(self, key: str, arguments: dict[str, Value]) -> Reply:
        unexplained = 0
        while True:
            if key in self._lost_calculations:
                raise WorkerError(self._lost_calculations[key])
            try:
                return self._reply(CalculateRequest(key=key, arguments=arguments))
            except LostProcessError as lost:
                if lost.culprit is not None and lost.culprit.part == key:
                    self._drop()
                    self._lost_calculations[key] = (
                        f"The calculation {key} {lost.how}; it is not tried again until {_ANEW}."
                    )
                    log.warning("%s", self._lost_calculations[key])
                    continue
                unexplained += not self._blame(lost)
                if unexplained >= 2:
                    raise WorkerError(
                        f"Nothing can be calculated just now (the worker {lost.how}). Try again."
                    ) from None

    # ---- the process

    def _running_process(self) -> WorkerProcess:
        """The process that runs, started when there is none."""
        with self._guard:
            if self._is_closed:
                raise WorkerError(
                    "The worker is closed, since the screens are being ended. What was acknowledged is kept."
                )
            if self._process is None:
                self._process = WorkerProcess(self._points, dict(self._left_out), self._timeouts)
            return self._process

    def _drop(self) -> None:
        """End the process; the next request gets a fresh one."""
        with self._guard:
            process, self._process = self._process, None
        if process is not None:
            process.end()

    def _reply(self, request: AssessRequest | CalculateRequest) -> Reply:
        """The reply to one request.

        Raises:
            LostProcessError: there is none, and the process is of no more use. WorkerError: it is closed.
        """
        try:
            return self._running_process().reply(request)
        except LostProcessError:
            if self._is_closed:
                self._running_process()  # says so
            raise
        except BaseException:
            self._drop()  # ctrl-C here: its answer would be taken for that of the next request
            raise

    def _assess_request(
        self, job: Job, plugins: Plugins, minutes_left: float | None, about: Collection[str]
    ) -> AssessRequest:
        return AssessRequest(
            job=job,
            systems=tuple(plugins.systems),
            failures=(*plugins.failures, *self._disabled.values()),
            versions=dict(plugins.versions),
            distributions=dict(plugins.distributions),
            said=dict(plugins.said),
            learned=plugins.learned,
            disabled=frozenset(self._disabled),
            timed_out=self._timed_out,
            minutes_left=minutes_left,
            about=tuple(about),
        )

    def _readings_alone(
        self, job: Job, plugins: Plugins, minutes_left: float | None, about: Collection[str], how: str
    ) -> Assessment:
        """What is left when no worker answers and nobody knows why: readings without findings, and a failure
        for each system. Tried anew next time.
        """
        unassessed = [
            Failure(
                plugin=key,
                what=f"its checks could not be run, and none of them is to blame (the worker {how})",
                cost=f"{system.title} is not assessed now; every reading is kept.",
            )
            for key, system in plugins.systems.items()
            if key not in self._disabled
        ]
        failures = (*plugins.failures, *self._disabled.values(), *unassessed)
        bare = without_checks(attrs.evolve(plugins, failures=failures), frozenset(plugins.systems))
        return assess(job, bare, minutes_left, about)

    # ---- culprits

    def _blame(self, lost: LostProcessError, plugins: Plugins | None = None) -> bool:
        """After a process was lost: end it and set aside who cost it. False when nobody knows who did."""
        self._drop()
        if lost.culprit is None:
            log.warning("the worker %s, and no check ran", lost.how)
            return False
        if lost.culprit.part == LOADING:
            name = lost.culprit.plugin
            is_new = name not in self._left_out
            self._left_out[name] = lost.how
            log.warning("plugin %s, while it loaded, %s", name, lost.how)
            return is_new
        return plugins is not None and self._disable(lost.culprit, lost.how, plugins)

    def _disable(self, culprit: PluginCode, how: str, plugins: Plugins) -> bool:
        """From now on nothing of this system runs; False when nothing of it ran anyway."""
        key, check = culprit.plugin.partition(".")[0], culprit.part  # what is added to a system costs it
        system = plugins.systems.get(key)
        if system is None or key in self._disabled:
            return False
        cost = f"{system.title} is not assessed until {_ANEW}; every reading is kept."
        self._disabled[key] = Failure(
            plugin=key,
            what=f"its check {check!r} {how}",
            cost=cost,
            distribution=plugins.distributions.get(key, ""),
        )
        log.warning("%s", self._disabled[key])
        return True
