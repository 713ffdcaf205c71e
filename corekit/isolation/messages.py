"""What the server and its worker process say to each other, and the memory in which the worker notes what it
is at.
"""

from __future__ import annotations

import ctypes
import pickle
from typing import NamedTuple

import attrs

from ..assess.assessment import Assessment
from ..model.job import Job
from ..model.value import Value
from ..plugin.host import Failure
from ..plugin.learned import Learned


class PluginCode(NamedTuple):
    """A piece of a plugin's code: the plugin or system, which check or other part of it, and, of what the
    alarm stopped, at which file and line.
    """

    plugin: str
    part: str
    place: str = ""


# ---- requests


@attrs.frozen(kw_only=True)
class AssessRequest:
    """Assess this job.

    Attributes:
        systems, failures, versions, distributions: The plugins as the server loaded them. said: What the shop
            says of their settings.
        disabled: Systems of which no check may run.
        timed_out: Checks that overran before; they say again that they did, without running.
    """

    job: Job
    systems: tuple[str, ...]
    failures: tuple[Failure, ...]
    versions: dict[str, str]
    distributions: dict[str, str]
    said: dict[str, str]
    learned: tuple[Learned, ...]
    disabled: frozenset[str]
    timed_out: frozenset[PluginCode]
    minutes_left: float | None
    about: tuple[str, ...]


@attrs.frozen(kw_only=True)
class CalculateRequest:
    """Do this calculation."""

    key: str
    arguments: dict[str, Value]


def packed_request(number: int, request: AssessRequest | CalculateRequest) -> bytes:
    """The request as it is sent, with its number."""
    return pickle.dumps((number, request))


# ---- replies


class ReadyReply:
    """The plugins are loaded."""


@attrs.frozen(kw_only=True)
class AssessReply:
    """An assessment, whose job is left out as the server has it, and the checks that overran in it."""

    assessment: Assessment
    timed_out: frozenset[PluginCode]


@attrs.frozen(kw_only=True)
class CalculateReply:
    """The result of a calculation."""

    value: Value


@attrs.frozen
class RefusedReply:
    """There is no such calculation, or it does not hold for these values."""

    words: str


@attrs.frozen
class FailedReply:
    """A plugin's code failed in a way that spoils the whole reply; where none is named, it was our own."""

    culprit: PluginCode | None
    words: str


Reply = ReadyReply | AssessReply | CalculateReply | RefusedReply | FailedReply


def unpacked_reply(data: bytes) -> Reply:
    """What the worker said.

    Raises:
        Exception: of any kind; it is no reply.
    """
    reply = pickle.loads(data)
    if not isinstance(reply, Reply):
        raise TypeError(f"{type(reply).__name__} is no reply")
    return reply


# ---- what runs at the moment

_BETWEEN = "\x1f"


class Progress(ctypes.Structure):
    """What runs at the moment, in memory that the server sees too: it can be read when the process is gone.

    Attributes:
        request: Number of the request that it is about; 0 while the plugins load.
        count: Goes up whenever something begins.
    """

    _fields_ = [("request", ctypes.c_uint64), ("count", ctypes.c_uint64), ("words", ctypes.c_char * 800)]

    request: int
    count: int
    words: bytes


def note_progress(progress: Progress, plugin: str, part: str, where: str = "") -> None:
    """Write down what begins now, and at which file and line."""
    progress.words = _BETWEEN.join((plugin[:80], part[:200], where[:200])).encode()[:799]
    progress.count += 1


def code_in_progress(progress: Progress, request: int) -> PluginCode | None:
    """The piece of a plugin's code that was begun last in this request; None before the first.

    What went before is nobody's doing now.
    """
    if progress.request != request:
        return None
    plugin, part, _ = (*progress.words.decode(errors="replace").split(_BETWEEN), "", "")[:3]
    return PluginCode(plugin, part) if plugin else None


def beginning_of_code(progress: Progress) -> str:
    """File and line at which what was begun last begins, as far as they are known."""
    return (*progress.words.decode(errors="replace").split(_BETWEEN), "", "")[2]
