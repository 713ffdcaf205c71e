"""Inside the worker process: load the plugins once, then assess and calculate what is asked over the pipe,
one request after the other.

`corekit.isolation.worker` starts it, waits for it and ends it.
"""

from __future__ import annotations

import copy
import importlib.metadata
import logging
import multiprocessing
import multiprocessing.connection
import os
import pickle
import signal
import sys
import threading
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import lru_cache
from multiprocessing.connection import Connection
from typing import Any

import attrs

from ..assess.assessment import CHECK_SECONDS, assess
from ..assess.ranking import use_columns
from ..model.finding import Finding, Gap
from ..model.job import Job
from ..plugin import intact
from ..plugin.case import Case
from ..plugin.derived import Derived
from ..plugin.guard import Overrun, failure_words, guarded, in_words, limit_memory, listen
from ..plugin.host import GROUP, Failure, Plugins, load
from ..plugin.learned import Learned, plugins_with
from ..plugin.system import System
from ..readers.files import plugin_log
from .last_words import tell_where_it_was
from .messages import (
    AssessReply,
    AssessRequest,
    CalculateReply,
    CalculateRequest,
    FailedReply,
    PluginCode,
    Progress,
    ReadReply,
    ReadRequest,
    ReadyReply,
    RefusedReply,
    code_in_progress,
    note_progress,
)

log = logging.getLogger("corekit.isolation.worker")


def run(
    pipe: Connection,
    progress: Progress,
    points: Sequence[tuple[str, str]] | None,
    left_out: Mapping[str, str],
    last_resort: float,
    told: Connection,
) -> None:
    """The worker's whole life.

    Args:
        told: Where it says at its end where it was.
        progress: Where it notes what it is at, in memory that the server sees too.
        points: Name and module of each plugin; None for all that are installed.
        left_out: Names of plugins that are not to be loaded, and why not.
        last_resort: Seconds of processor time in one piece of a plugin's code after which the operating
            system ends the process. It is meant for the case in which nobody else can: the server is gone,
            and the code hangs inside one C call, where no Python runs any more.
    """
    # Ctrl-C in the terminal is meant for the server, which then closes the pipe.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_server, daemon=True).start()
    listener = ProgressListener(progress, last_resort)
    listen(listener)
    tell_where_it_was(lambda: listener.running is not None, told.fileno())
    os.dup2(2, 1)  # the output is the command's; what a plugin writes goes to the error stream
    sys.stdout = sys.stderr
    use_columns()  # it stays, so it may load numpy
    limit_memory()
    intact.guard_process()
    handler = _RequestHandler(load(_entry_points(points, left_out)), left_out, listener)
    listener.reset(0)
    pipe.send_bytes(pickle.dumps(ReadyReply()))
    while True:
        try:
            data = pipe.recv_bytes()
        except (EOFError, OSError):
            return
        number, request = pickle.loads(data)
        listener.reset(number)
        pipe.send_bytes(handler.packed_reply(request))


def _end_with_server() -> None:
    """A server that is killed closes nothing; a plugin that hangs would then hang for ever."""
    server = multiprocessing.parent_process()
    if server is not None:
        multiprocessing.connection.wait([server.sentinel])
        os._exit(0)


def _entry_points(
    points: Sequence[tuple[str, str]] | None, left_out: Collection[str]
) -> Iterator[importlib.metadata.EntryPoint]:
    if points is None:
        entry_points = list(importlib.metadata.entry_points(group=GROUP))
    else:
        entry_points = [
            importlib.metadata.EntryPoint(name=name, value=value, group=GROUP) for name, value in points
        ]
    return (point for point in entry_points if point.name not in left_out)


@attrs.define
class ProgressListener:
    """Notes what begins, and remembers what overran; `plugin.guard` tells it both."""

    progress: Progress
    last_resort: float
    timed_out: set[PluginCode] = attrs.field(factory=set)

    def begins(self, plugin: str, what: str, seconds: float, where: str) -> None:
        note_progress(self.progress, plugin, what, where)
        if hasattr(signal, "ITIMER_PROF"):
            # SIGPROF, which nobody handles here, ends a process.
            signal.setitimer(signal.ITIMER_PROF, self.last_resort)

    def ends(self) -> None:
        """What it gave may still cost the process while it is passed on."""

    def overran(self, plugin: str, what: str, place: str) -> None:
        self.timed_out.add(PluginCode(plugin, what, place))

    @property
    def running(self) -> PluginCode | None:
        """What runs now."""
        return code_in_progress(self.progress, self.progress.request)

    def reset(self, request: int) -> None:
        """Nothing has begun yet of this request."""
        self.timed_out.clear()
        note_progress(self.progress, "", "")
        self.progress.request = request
        if hasattr(signal, "ITIMER_PROF"):
            signal.setitimer(signal.ITIMER_PROF, 0)


class _RequestHandler:
    """The loaded plugins and what is done with them."""

    def __init__(self, plugins: Plugins, left_out: Mapping[str, str], listener: ProgressListener) -> None:
        self._loaded = plugins
        self._left_out = left_out
        self._listener = listener
        self._plugins_for = lru_cache(maxsize=8)(self._loaded_plugins)

    def packed_reply(self, request: object) -> bytes:
        """The reply to one request, whatever happens, ready to be sent."""
        try:
            if isinstance(request, AssessRequest):
                return self._assess(request)
            if isinstance(request, CalculateRequest):
                return pickle.dumps(self._calculate(request))
            if isinstance(request, ReadRequest):
                return self._read(request)
            raise TypeError(f"{type(request).__name__} is nothing that the worker does")
        except BaseException as error:
            # What a check raises is a gap by now. What is left is a check that cries ctrl-C or exits, or a
            # mistake of ours.
            is_ours = isinstance(error, Exception)
            if is_ours:
                log.exception("an assessment failed")
            culprit = None if is_ours else self._listener.running
            words = in_words(error) if is_ours else failure_words(error)
            return pickle.dumps(FailedReply(culprit, f"failed ({words})"))

    def _assess(self, request: AssessRequest) -> bytes:
        plugins = self._plugins_for(request.systems, request.disabled, request.timed_out, request.learned)
        plugins = attrs.evolve(
            plugins,
            versions=request.versions,
            distributions=request.distributions,
            said=request.said,
            failures=(*request.failures, *plugins.failures),
        )
        assessment = assess(request.job, plugins, request.minutes_left, request.about)
        without_job = attrs.evolve(
            assessment, job=Job(id=request.job.id, entries=(), standing=(), disputes=())
        )
        try:
            return pickle.dumps(
                AssessReply(assessment=without_job, timed_out=frozenset(self._listener.timed_out))
            )
        except Exception as error:
            culprit = _code_behind_unsendable((*assessment.findings, *assessment.gaps))
            return pickle.dumps(
                FailedReply(culprit, f"gave a result that cannot be passed on ({in_words(error)})")
            )

    def _loaded_plugins(
        self,
        systems: tuple[str, ...],
        disabled: frozenset[str],
        timed_out: frozenset[PluginCode],
        learned: tuple[Learned, ...],
    ) -> Plugins:
        """The systems that the server knows; each that this process does not know is a failure."""
        here = {key: self._loaded.systems[key] for key in systems if key in self._loaded.systems}
        reasons = [f"{failure.plugin}: {failure.what}" for failure in self._loaded.failures] + [
            f"{name} {how}" for name, how in self._left_out.items()
        ]
        why = "; ".join(reasons) or "it is not installed there"
        failures = tuple(
            Failure(
                plugin=key,
                what=f"it does not load in the process that runs the checks ({why})",
                cost="It is not assessed.",
            )
            for key in systems
            if key not in here
        )
        patched = {
            key: _with_timed_out(system, {code.part: code.place for code in timed_out if code.plugin == key})
            for key, system in here.items()
        }
        return without_checks(plugins_with(Plugins(systems=patched, failures=failures), learned), disabled)

    def _read(self, request: ReadRequest) -> bytes:
        log, failed = plugin_log(self._loaded, request.name, request.content, request.without)
        try:
            return pickle.dumps(ReadReply(log=log, failed=failed))
        except Exception as error:
            words = f"gave a log that cannot be passed on ({in_words(error)})"
            return pickle.dumps(FailedReply(self._listener.running, words))

    def _calculate(self, request: CalculateRequest) -> CalculateReply | RefusedReply | FailedReply:
        calculation = self._loaded.calculations.get(request.key)
        if calculation is None:
            return RefusedReply(f"There is no calculation {request.key}.")
        code = PluginCode(request.key.split(".", 1)[0], request.key)
        try:
            with guarded(code.plugin, code.part, CHECK_SECONDS):
                return CalculateReply(value=calculation(**request.arguments))
        except (ValueError, TypeError) as error:
            words = " ".join(str(error).split())
            return RefusedReply(words if words.startswith(request.key) else f"{request.key}: {words}")
        except BaseException as error:
            return FailedReply(code, f"failed ({failure_words(error)})")


def without_checks(plugins: Plugins, disabled: frozenset[str]) -> Plugins:
    """The same plugins, but these systems only declare: what was read of them is shown, and nothing is made
    of it.
    """
    return attrs.evolve(
        plugins,
        systems={
            key: system.without_checks() if key in disabled else system
            for key, system in plugins.systems.items()
        },
    )


def _with_timed_out(system: System, places: Mapping[str, str]) -> System:
    """The system with the checks of these titles saying at once that they took too long, and where they were
    stopped.
    """
    if not places:
        return system

    def overruns(case: Case, *args: Any, **named: Any) -> Iterator[Finding | Gap]:
        raise Overrun(f"it took longer than {CHECK_SECONDS:g} s", places[case.check])

    def never_derived(**given: object) -> Derived:
        raise Overrun(f"it took longer than {CHECK_SECONDS:g} s")

    patched = copy.copy(system)
    patched.derived = {
        key: attrs.evolve(one, function=never_derived) if one.measurand.title in places else one
        for key, one in system.derived.items()
    }
    patched.checks = {
        key: attrs.evolve(check, function=overruns) if check.title in places else check
        for key, check in system.checks.items()
    }
    return patched


def _code_behind_unsendable(results: Sequence[Finding | Gap]) -> PluginCode | None:
    """Whose result it is that cannot be passed on."""
    for result in results:
        try:
            pickle.dumps(result)
        except Exception:
            return PluginCode(result.system, result.check)
    return None
