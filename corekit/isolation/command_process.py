"""Inside the process of a command: note what begins, keep the output clean, and end with the supervisor."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Callable
from typing import Any, NoReturn

from ..plugin import guard, intact
from .board import Board
from .last_words import tell_where_it_was

#: Objects between two looks for unreachable ones. To load all systems makes some 90,000, all of which stay;
#: at Python's own 700 a tenth of a cold command goes into looking them through.
ALLOCATED = 200_000

#: Verbs whose process lasts for hours: there what nobody reaches has to go as it comes.
LASTING = ("hub", "practise", "serve", "work")


def look_seldom(words: list[str]) -> None:
    """Let Python look for unreachable objects more seldom in a short command."""
    if not words or words[0] not in LASTING:
        gc.set_threshold(ALLOCATED)


def run_command(
    words: list[str],
    run: Callable[[list[str], str], int],
    request: str,
    board: Board,
    told: int,
    life: int | None,
) -> NoReturn:
    """The command's whole life in this process.

    Args:
        told: Where it says at its end where it was. life: A pipe that ends with the supervisor.
    """
    code = 1
    try:
        if life is not None:
            _end_with(life)
        tell_where_it_was(lambda: board.running is not None, told)
        _own_output()
        guard.listen(_Listener(board))
        guard.tell_interrupts(lambda: board.has_heard_interrupt)
        guard.limit_memory()
        look_seldom(words)
        intact.guard_process()
        if hasattr(signal, "SIGINT"):
            signal.signal(signal.SIGINT, _interrupted_by(board))
        code = run(words, request)
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 1
    except BaseException:
        sys.excepthook(*sys.exc_info())
    finally:
        _flush()
        board.finish(code)
        os._exit(code)  # a plugin's own last words would come too late to be held against it


def start() -> NoReturn:
    """The same in a Python that was started for it: everything is given in the environment."""
    import json
    import mmap
    from importlib import import_module
    from pathlib import Path

    from ..plugin import set_aside
    from .supervisor import GIVEN

    given = json.loads(os.environ.pop(GIVEN))
    set_aside.plugins.update(given["plugins"])
    set_aside.checks.update(given["checks"])
    file = os.open(Path(given["folder"], "board"), os.O_RDWR)
    told = os.open(Path(given["folder"], "told"), os.O_WRONLY | os.O_APPEND)
    board = Board(mmap.mmap(file, 0))
    run: Callable[[list[str], str], int] = import_module("corekit.cli").run_verb
    run_command(sys.argv[1:], run, given["request"], board, told, None)


class _Listener:
    """Notes on the board what `plugin.guard` tells it."""

    def __init__(self, board: Board) -> None:
        self.begins = board.begin
        self.ends = board.end

    def overran(self, plugin: str, what: str, place: str) -> None:
        """A command runs each check once, so nobody has to remember."""


def _interrupted_by(board: Board) -> Callable[[int, Any], None]:
    def interrupted(number: int, frame: Any) -> None:
        board.note_interrupt()
        raise KeyboardInterrupt

    return interrupted


def _end_with(life: int) -> None:
    """When the supervisor is killed it closes nothing but its end of this pipe; a plugin that hangs would
    then hang for ever.
    """
    if sys.platform.startswith("linux"):
        import fcntl

        # SIGIO, which nobody handles here, ends a process even inside a C call.
        fcntl.fcntl(life, fcntl.F_SETOWN, os.getpid())
        fcntl.fcntl(life, fcntl.F_SETFL, fcntl.fcntl(life, fcntl.F_GETFL) | os.O_ASYNC)
        return
    import threading

    def wait() -> None:
        os.read(life, 1)
        os._exit(1)

    threading.Thread(target=wait, daemon=True).start()


def _own_output() -> None:
    """What is written to the output past Python's own streams goes to the error stream; the command keeps the
    output for itself.
    """
    stream = sys.stdout
    try:
        out, is_usual = os.dup(stream.fileno()), stream.fileno() == 1
        os.dup2(sys.stderr.fileno(), 1)
    except (OSError, ValueError, AttributeError):
        return  # a caller has put something else in its place
    if is_usual:
        sys.stdout = open(  # noqa: SIM115, PTH123  # a descriptor, open to the end
            out,
            "w",
            encoding=stream.encoding,
            errors=stream.errors,
            newline=None,
            buffering=1 if stream.line_buffering else -1,
        )


def _flush() -> None:
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            continue  # whoever read it has gone
