"""Inside the worker process: load the plugins once, then assess and calculate what is asked over the pipe,
one request after the other.

`corekit.isolation.worker` starts it, waits for it and ends it. What it asks and what comes back is declared
here, so that both sides agree.
"""

from __future__ import annotations

import copy
import ctypes
import importlib.metadata
import logging
import multiprocessing
import multiprocessing.connection
import os
import pickle
import signal
import threading
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import lru_cache
from multiprocessing.connection import Connection
from typing import Any

import attrs

from ..assess.assessment import CHECK_SECONDS, Assessment, assess
from ..model.finding import Finding, Gap
from ..model.job import Job
from ..model.value import Value
from ..plugin.case import Case
from ..plugin.guard import Overrun, guarded, in_words, listen
from ..plugin.host import GROUP, Failure, Plugins, load
from ..plugin.system import System

log = logging.getLogger("corekit.isolation.worker")

#: A piece of a plugin's code: the plugin or system, and which check (or other part) of it.
Piece = tuple[str, str]


# ---- what both sides know


@attrs.frozen(kw_only=True)
class ToAssess:
    """Assess this job.

    Attributes:
        systems, failures, versions: The plugins as the server loaded them. quiet: Systems of which no check
            may run.
        tired: Checks that overran before; they say again that they did, without running.
    """

    job: Job
    systems: tuple[str, ...]
    failures: tuple[Failure, ...]
    versions: dict[str, str]
    quiet: frozenset[str]
    tired: frozenset[Piece]
    minutes_left: float | None
    about: tuple[str, ...]


@attrs.frozen(kw_only=True)
class ToCalculate:
    """Do this calculation."""

    key: str
    arguments: dict[str, Value]


@attrs.frozen(kw_only=True)
class Assessed:
    """An assessment, whose job is left out as the server has it, and the checks that overran in it."""

    assessment: Assessment
    overran: frozenset[Piece]


@attrs.frozen(kw_only=True)
class Calculated:
    value: Value


@attrs.frozen
class Refused:
    """What was asked cannot be calculated; it is the fault of what was given."""

    words: str


@attrs.frozen
class Failed:
    """A plugin's code failed in a way that spoils the whole answer; without a piece it was our own."""

    piece: Piece | None
    words: str


class Ready:
    """The plugins are loaded."""


class Note(ctypes.Structure):
    """What runs at the moment, in memory that the server sees too: it can be read when the process is gone.

    Attributes:
        request: Number of the request that it is about; 0 while the plugins load. count: Goes up whenever
            something begins.
    """

    _fields_ = [("request", ctypes.c_uint64), ("count", ctypes.c_uint64), ("words", ctypes.c_char * 600)]

    request: int
    count: int
    words: bytes


_BETWEEN = "\x1f"


def write(note: Note, plugin: str, what: str) -> None:
    note.words = f"{plugin[:80]}{_BETWEEN}{what[:200]}".encode()[:599]
    note.count += 1


def read(note: Note, request: int) -> Piece | None:
    """The piece of a plugin's code that was begun last in this request; None before the first.

    What went before is nobody's doing now.
    """
    if note.request != request:
        return None
    plugin, _, what = note.words.decode(errors="replace").partition(_BETWEEN)
    return (plugin, what) if plugin else None


def without_checks(plugins: Plugins, quiet: frozenset[str]) -> Plugins:
    """The same plugins, but these systems only declare: what was read of them is shown, and nothing is made
    of it.
    """
    return attrs.evolve(
        plugins,
        systems={key: _silent(system) if key in quiet else system for key, system in plugins.systems.items()},
    )


def _silent(system: System) -> System:
    silent = copy.copy(system)
    silent.checks = {}
    silent.__dict__["faults"] = None  # half the outcomes would make it suspect the wrong part
    return silent


# ---- the process


def run(
    pipe: Connection,
    note: Note,
    points: Sequence[Piece] | None,
    left_out: Mapping[str, str],
    last_resort: float,
) -> None:
    """The worker's whole life.

    Args:
        points: Name and module of each plugin; None for all that are installed.
        left_out: Names of plugins that are not to be loaded, and why not.
        last_resort: Seconds of processor time in one piece of a plugin's code after which the operating
            system ends the process. It is meant for the case in which nobody else can: the server is gone,
            and the code hangs inside one C call, where no Python runs any more.
    """
    signal.signal(
        signal.SIGINT, signal.SIG_IGN
    )  # ctrl-C in the terminal is meant for the server, which then closes the pipe
    threading.Thread(target=_end_with_server, daemon=True).start()
    ears = _Ears(note, last_resort)
    listen(ears)
    bench = _Bench(load(_found(points, left_out)), left_out, ears)
    ears.silence(0)
    pipe.send_bytes(pickle.dumps(Ready()))
    while True:
        try:
            asked = pipe.recv_bytes()
        except (EOFError, OSError):
            return
        number, request = pickle.loads(asked)
        ears.silence(number)
        pipe.send_bytes(bench.answer(request))


def _end_with_server() -> None:
    """A server that is killed closes nothing; a plugin that hangs would then hang for ever."""
    server = multiprocessing.parent_process()
    if server is not None:
        multiprocessing.connection.wait([server.sentinel])
        os._exit(0)


def _found(
    points: Sequence[Piece] | None, left_out: Collection[str]
) -> Iterator[importlib.metadata.EntryPoint]:
    if points is None:
        found = list(importlib.metadata.entry_points(group=GROUP))
    else:
        found = [importlib.metadata.EntryPoint(name=name, value=value, group=GROUP) for name, value in points]
    return (point for point in found if point.name not in left_out)


@attrs.define
class _Ears:
    """Writes down what begins, and remembers what overran."""

    note: Note
    last_resort: float
    overran_now: set[Piece] = attrs.field(factory=set)

    def begins(self, plugin: str, what: str) -> None:
        write(self.note, plugin, what)
        if hasattr(signal, "ITIMER_PROF"):
            signal.setitimer(
                signal.ITIMER_PROF, self.last_resort
            )  # SIGPROF, which nobody handles here, ends a process

    @property
    def now(self) -> Piece | None:
        return read(self.note, self.note.request)

    def overran(self, plugin: str, what: str) -> None:
        self.overran_now.add((plugin, what))

    def silence(self, request: int) -> None:
        """Nothing has begun yet of this request."""
        self.overran_now.clear()
        write(self.note, "", "")
        self.note.request = request
        if hasattr(signal, "ITIMER_PROF"):
            signal.setitimer(signal.ITIMER_PROF, 0)


class _Bench:
    """The loaded plugins and what is done with them."""

    def __init__(self, plugins: Plugins, left_out: Mapping[str, str], ears: _Ears) -> None:
        self._loaded = plugins
        self._left_out = left_out
        self._ears = ears
        self._laid = lru_cache(maxsize=8)(self._lay)

    def answer(self, asked: object) -> bytes:
        """The reply to one request, whatever happens, ready to be sent."""
        try:
            return self._answer(asked)
        except BaseException as error:
            # What a check raises is a gap by now. What is left is a check that cries ctrl-C or exits, or a
            # mistake of ours.
            mine = isinstance(error, Exception)
            if mine:
                log.exception("an assessment failed")
            return pickle.dumps(Failed(None if mine else self._ears.now, f"failed ({in_words(error)})"))

    def _answer(self, asked: object) -> bytes:
        if isinstance(asked, ToAssess):
            return self._assess(asked)
        if isinstance(asked, ToCalculate):
            return pickle.dumps(self._calculate(asked))
        raise TypeError(f"{type(asked).__name__} is nothing that the worker does")

    def _assess(self, asked: ToAssess) -> bytes:
        plugins = attrs.evolve(self._laid(asked.systems, asked.quiet, asked.tired), versions=asked.versions)
        failures = (*asked.failures, *plugins.failures)
        made = assess(asked.job, attrs.evolve(plugins, failures=failures), asked.minutes_left, asked.about)
        bare = attrs.evolve(made, job=Job(id=asked.job.id, entries=(), standing=(), disputes=()))
        try:
            return pickle.dumps(Assessed(assessment=bare, overran=frozenset(self._ears.overran_now)))
        except Exception as error:
            return pickle.dumps(
                Failed(
                    _stuck((*made.findings, *made.gaps)),
                    f"gave a result that cannot be passed on ({in_words(error)})",
                )
            )

    def _lay(self, systems: tuple[str, ...], quiet: frozenset[str], tired: frozenset[Piece]) -> Plugins:
        """The systems that the server knows; each one that it knows and this process does not
        is a failure.
        """
        here = {key: self._loaded.systems[key] for key in systems if key in self._loaded.systems}
        told = [f"{failure.plugin}: {failure.what}" for failure in self._loaded.failures] + [
            f"{name} {how}" for name, how in self._left_out.items()
        ]
        why = "; ".join(told)
        lost = [
            Failure(
                plugin=key,
                what=(
                    "it does not load in the process that runs the checks"
                    f" ({why or 'it is not installed there'})"
                ),
                cost="It is not assessed.",
            )
            for key in systems
            if key not in here
        ]
        rested = {
            key: _rested(system, {what for plugin, what in tired if plugin == key})
            for key, system in here.items()
        }
        return without_checks(Plugins(systems=rested, failures=tuple(lost)), quiet)

    def _calculate(self, asked: ToCalculate) -> Calculated | Refused | Failed:
        calculation = self._loaded.calculations.get(asked.key)
        if calculation is None:
            return Refused(f"There is no calculation {asked.key}.")
        piece = asked.key.split(".", 1)[0], asked.key
        try:
            with guarded(*piece, CHECK_SECONDS):
                return Calculated(value=calculation(**asked.arguments))
        except (ValueError, TypeError) as error:
            words = " ".join(str(error).split())
            return Refused(words if words.startswith(asked.key) else f"{asked.key}: {words}")
        except BaseException as error:
            return Failed(piece, f"failed ({in_words(error)})")


def _rested(system: System, tired: set[str]) -> System:
    """The system with these checks saying at once that they took too long."""
    if not tired:
        return system

    def overruns(case: Case, *args: Any, **named: Any) -> Iterator[Finding | Gap]:
        raise Overrun(f"it took longer than {CHECK_SECONDS:g} s")

    rested = copy.copy(system)
    rested.checks = {
        key: attrs.evolve(check, function=overruns) if check.title in tired else check
        for key, check in system.checks.items()
    }
    return rested


def _stuck(results: Sequence[Finding | Gap]) -> Piece | None:
    """Whose result it is that cannot be passed on."""
    for result in results:
        try:
            pickle.dumps(result)
        except Exception:
            return result.system, result.check
    return None


def packed(number: int, asked: ToAssess | ToCalculate) -> bytes:
    return pickle.dumps((number, asked))


def reply_of(data: bytes) -> object:
    """What the worker said.

    Raises:
        Exception: of any kind; it is no reply.
    """
    reply = pickle.loads(data)
    if not isinstance(reply, (Ready, Assessed, Calculated, Refused, Failed)):
        raise TypeError(f"{type(reply).__name__} is no reply")
    return reply
