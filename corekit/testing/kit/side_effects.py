"""What code did besides giving its answer: printed, changed the process, or reached outside."""

from __future__ import annotations

import contextlib
import decimal
import io
import locale
import os
import random
import sys
import threading
import warnings
from collections.abc import Callable, Iterator
from typing import Any

_WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
#: Audit events that reach outside the process, each in words.
_OUTSIDE = {
    "socket.connect": "opens a connection to the network",
    "socket.getaddrinfo": "asks the network for an address",
    "socket.gethostbyname": "asks the network for an address",
    "socket.bind": "listens on the network",
    "subprocess.Popen": "starts a program",
    "os.system": "starts a program",
    "os.fork": "starts a process",
    "os.remove": "deletes a file",
    "os.rename": "renames a file",
    "os.mkdir": "makes a folder",
    "os.rmdir": "removes a folder",
}


class _Watch:
    """What the audit hook knows, which stays in the process for good: where it writes while somebody
    watches, and which thread is watched.
    """

    def __init__(self) -> None:
        self.found: list[str] | None = None
        self.thread = 0
        self.is_hooked = False


_watch = _Watch()


class ReachedOutsideError(PermissionError):
    """Code under watch tried to reach outside the process."""


def _audit(event: str, args: tuple[Any, ...]) -> None:
    if _watch.found is None or threading.get_ident() != _watch.thread:
        return
    words = _OUTSIDE.get(event, "")
    if event == "open" and _is_write(args) and "__pycache__" not in str(args[0]):
        words = f"writes the file {args[0]}"
    if words:
        _watch.found.append(words)
        raise ReachedOutsideError(f"a plugin's code {words}; corekit brings all that it needs")


def _is_write(args: tuple[Any, ...]) -> bool:
    _, mode, flags = (*args, None, None, None)[:3]
    return any(sign in (mode or "") for sign in "wax+") or bool((flags or 0) & _WRITES)


def _locale_now() -> str:
    return locale.setlocale(locale.LC_ALL)


def _set_locale(was: str) -> None:
    locale.setlocale(locale.LC_ALL, was)


def _decimal_context() -> str:
    """The context without what calculations have raised in it."""
    context = decimal.getcontext().copy()
    context.clear_flags()
    return repr(context)


def _restore_environment(was: dict[str, str]) -> None:
    os.environ.clear()
    os.environ.update(was)


#: What a process shares between all its code: how it is read, how it is put back, and what it is called.
_SHARED: tuple[tuple[str, Callable[[], Any], Callable[[Any], Any]], ...] = (
    ("the locale", _locale_now, _set_locale),
    ("the decimal context", _decimal_context, lambda was: None),
    ("the current folder", os.getcwd, os.chdir),
    ("the environment", lambda: dict(os.environ), _restore_environment),
    ("the seed of random numbers", random.getstate, random.setstate),
    ("the recursion limit", sys.getrecursionlimit, sys.setrecursionlimit),
    ("the filters of warnings", lambda: list(warnings.filters), lambda was: None),
    ("the threads that run", threading.active_count, lambda was: None),
)


@contextlib.contextmanager
def watched() -> Iterator[list[str]]:
    """What the code inside did besides answering, each in words; afterwards all of it is put back."""
    if not _watch.is_hooked:
        sys.addaudithook(_audit)
        _watch.is_hooked = True
    found: list[str] = []
    before = [read() for _, read, _ in _SHARED]
    context = decimal.getcontext().copy()
    out, error = io.StringIO(), io.StringIO()
    _watch.found, _watch.thread = found, threading.get_ident()
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(error):
            yield found
    finally:
        _watch.found = None
        if out.getvalue() or error.getvalue():
            found.append(f"prints {(out.getvalue() or error.getvalue()).strip()[:60]!r}")
        for (name, read, put_back), was in zip(_SHARED, before, strict=True):
            if read() != was:
                found.append(f"changes {name}")
                put_back(was)
        decimal.setcontext(context)
