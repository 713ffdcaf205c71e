"""Run a command in a process of its own, and run it once more without the plugin that cost it the first one.

The command's process loads the plugins and runs their checks under the alarm. What the alarm cannot stop
(code that catches everything, that hangs inside a C call, that ends or breaks the process) costs that
process; the supervisor, which runs no code of a plugin, reads from the board what ran, sets it aside, and
runs the same command again. What a command writes is one transaction, and where a repetition could do
something twice it carries the same request id both times, so nothing is doubled.

Measured on one machine in bare starts of Python, with and without fork: forking adds 0.3 to a command and a
process made anew 1.7, so a process is forked where the system can.

The process is not the supervisor's own on the terminal: ctrl-C reaches both, and the supervisor passes on
only what the command has not heard. When the supervisor is gone, the operating system ends the command.
"""

from __future__ import annotations

import mmap
import os
import select
import signal
import sys
import time
from collections.abc import Callable

from .. import stopwatch
from .board import SIZE, Board

TYPE_CHECKING = False
if TYPE_CHECKING:
    import subprocess

_TICK = 0.25  # seconds between two looks
#: Seconds that a piece of code gets beyond what the alarm in its process allows.
GRACE = 3.0
_TO_TELL = 1.0  # seconds in which a process that is ended may still say where it was
LOADING = "loading it"
_passed: set[int] = set()  # signals that were said to the supervisor and meant for the command
#: Name in the environment of what a process that is made anew is given.
GIVEN = "COREKIT_COMMAND"


class EndedError(Exception):
    """The process of a command came to an end before the command did.

    Attributes:
        how: Completes a sentence about the piece of code that ran.
        running: Plugin, part, and where it begins, of what ran; None where nothing of a plugin did.
        traces: What the process said at its end about where it was.
        signal: Number of the signal that ended it; 0 when none did.
    """

    def __init__(self, how: str, running: tuple[str, str, str] | None, traces: str, number: int) -> None:
        super().__init__(how)
        self.how, self.running, self.traces, self.signal = how, running, traces, number


def supervise(words: list[str], run: Callable[[list[str], str], int], *, forks: bool | None = None) -> int:
    """Run a command under supervision; gives its exit code.

    Args:
        run: Runs the words in the process that is made for it, with the request id of what it writes.
        forks: Whether the process is forked; without, where the system can.
    """
    from ..plugin import set_aside

    request = f"command-{os.urandom(16).hex()}"
    start = _run_forked if (hasattr(os, "fork") if forks is None else forks) else _made_anew
    while True:
        try:
            return start(words, run, request)
        except EndedError as end:
            if end.running is None or end.signal in _passed:
                return _code_of_signal(end)
            from .last_words import place_words

            plugin, part, where = end.running
            what = f"{_part_words(plugin, part)} {end.how}{place_words(end.traces, where)}"
            is_known = plugin in (set_aside.plugins if part == LOADING else set_aside.checks)
            if part.startswith(f"{plugin}.") or is_known:
                cure = _cure(what) if "--check" in words else ""
                sys.stderr.write(f"Plugin {plugin}: {what}. Nothing acknowledged before is lost.{cure}\n")
                return 1
            if part == LOADING:
                set_aside.plugins[plugin] = what
            else:
                set_aside.checks[plugin] = what
            sys.stderr.write(f"Plugin {plugin}: {what}. The command is run once more without it.\n")
            sys.stderr.flush()


def _cure(what: str) -> str:
    """For whoever looks after the plugin: what to do."""
    from ..plugin.cures import cure_of

    return f" {cure_of(what)}".rstrip()


def _part_words(plugin: str, part: str) -> str:
    if part == LOADING:
        return LOADING
    return f"its calculation {part!r}" if part.startswith(f"{plugin}.") else f"its check {part!r}"


def _code_of_signal(end: EndedError) -> int:
    """EndedError by a signal, the command's own end is passed on; else it is said."""
    if end.signal in (signal.SIGINT, signal.SIGTERM):
        signal.signal(end.signal, signal.SIG_DFL)
        os.kill(os.getpid(), end.signal)
    sys.stderr.write(
        f"The command's process {end.how}, and no plugin ran just then. Nothing acknowledged before is lost."
        " Try it again; --without NAME leaves out a plugin that you suspect.\n"
    )
    return 1


# ---- by fork


def _run_forked(words: list[str], run: Callable[[list[str], str], int], request: str) -> int:
    board = Board(mmap.mmap(-1, SIZE))
    life_read, life_write = os.pipe()  # its end is the end of the command
    told_read, told_write = os.pipe()
    sys.stdout.flush()
    sys.stderr.flush()
    pid = os.fork()
    if pid == 0:
        os.close(life_write)
        os.close(told_read)
        from .command_process import run_command

        run_command(words, run, request, board, told_write, life_read)
    os.close(life_read)
    os.close(told_write)
    try:
        return _result(pid, board, told_read)
    finally:
        os.close(life_write)
        os.close(told_read)


def _result(pid: int, board: Board, told: int) -> int:
    """Wait for the process; gives its exit code.

    Raises:
        EndedError: it ended before its command did, or had to be ended.
    """
    signals = _passed_on(pid, board)
    try:
        traces, how = _watch(pid, board, told)
    finally:
        for number, before in signals.items():
            signal.signal(number, before)
    _, status = os.waitpid(pid, 0)
    if board.exit_code is not None:
        return board.exit_code
    code = os.waitstatus_to_exitcode(status)
    how = how or (f"broke its process (signal {-code})" if code < 0 else f"ended its process (code {code})")
    raise EndedError(how, board.running, traces, max(0, -code))


def _passed_on(pid: int, board: Board) -> dict[int, signal.Handlers]:
    """What is said to the supervisor is meant for the command."""

    def interrupt(number: int, frame: object) -> None:
        time.sleep(0.1)  # a terminal says it to both; the command notes that it has heard
        if not board.has_heard_interrupt:
            _passed.add(signal.SIGINT)
            _kill(pid, signal.SIGINT)

    def terminate(number: int, frame: object) -> None:
        _passed.add(number)
        _kill(pid, number)

    return {
        signal.SIGINT: signal.signal(signal.SIGINT, interrupt),  # type: ignore[dict-item]
        signal.SIGTERM: signal.signal(signal.SIGTERM, terminate),  # type: ignore[dict-item]
    }


def _kill(pid: int, number: int) -> None:
    try:
        os.kill(pid, number)
    except ProcessLookupError:
        return


def _watch(pid: int, board: Board, told: int) -> tuple[str, str]:
    """Look on until the process has ended; gives what it said about where it was, and how it was ended if it
    had to be.
    """
    told_so_far, ended, looks, to_tell = b"", "", _Looks(pid, board), _TO_TELL / _TICK
    while True:
        if select.select([told], [], [], _TICK)[0]:
            more = os.read(told, 65536)
            told_so_far += more
            if not more:
                break  # every holder of the pipe has ended
            continue
        if os.waitid(os.P_PID, pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None:
            break
        if ended:
            to_tell -= 1
            if to_tell <= 0:
                _kill(pid, signal.SIGKILL)
        elif ended := looks.one_more():
            _kill(pid, signal.SIGABRT)  # says first where it is
    return told_so_far.decode(errors="replace"), ended


class _Looks:
    """Looks at the piece of code that runs. What passes is counted in looks, so that a command that was
    stopped from outside has as much left as before.
    """

    def __init__(self, pid: int, board: Board) -> None:
        self._pid, self._board = pid, board
        self._count, self._looks = -1, 0
        self._watch = self._new_watch()

    def _new_watch(self) -> stopwatch.Stopwatch:
        return stopwatch.Stopwatch(str(self._pid), clock=lambda: self._looks * _TICK)

    def one_more(self) -> str:
        """Why it is ended now; empty while it may go on."""
        allowed = self._board.seconds
        if allowed is None or self._board.count != self._count:
            self._count, self._watch = self._board.count, self._new_watch()
            return ""
        self._looks += 1
        computing, waiting = self._watch.left(allowed)
        if min(computing, waiting) + GRACE > 0:
            return ""
        passed = allowed if computing + GRACE <= 0 else allowed * stopwatch.PATIENCE
        return f"gave no answer within {passed + GRACE:g} s and was ended"


# ---- without fork


def _made_anew(words: list[str], run: Callable[[list[str], str], int], request: str) -> int:
    """The same in a Python started anew, for systems that cannot fork. `run` is the command line's own there.
    Nothing ends that process with a supervisor that is killed; the alarm in it does where there is one.
    """
    import json
    import subprocess
    import tempfile
    from pathlib import Path

    from ..plugin import set_aside

    with tempfile.TemporaryDirectory(prefix="corekit-") as folder, open(Path(folder, "board"), "w+b") as file:  # noqa: PTH123  # both names in one line
        file.write(bytes(SIZE))
        file.flush()
        told = Path(folder, "told")
        told.touch()
        with mmap.mmap(file.fileno(), SIZE) as memory:
            board = Board(memory)
            given = {
                "folder": folder,
                "request": request,
                "plugins": set_aside.plugins,
                "checks": set_aside.checks,
            }
            process = subprocess.Popen(
                [
                    sys.executable,
                    "-c",
                    "from corekit.isolation.command_process import start; start()",
                    *words,
                ],
                env={**os.environ, GIVEN: json.dumps(given)},
            )
            signals = _passed_on(process.pid, board)
            try:
                ended = _waited_for(process, board)
            finally:
                for number, before in signals.items():
                    signal.signal(number, before)
            if board.exit_code is not None:
                return board.exit_code
            code = process.returncode
            how = ended or (
                f"broke its process (signal {-code})" if code < 0 else f"ended its process (code {code})"
            )
            raise EndedError(how, board.running, told.read_text("utf-8", "replace"), max(0, -code))


def _waited_for(process: subprocess.Popen[bytes], board: Board) -> str:
    """How it was ended, if it had to be."""
    import subprocess

    ended, looks = "", _Looks(process.pid, board)
    while True:
        try:
            process.wait(_TICK)
        except subprocess.TimeoutExpired:
            pass
        else:
            return ended
        ended = ended or looks.one_more()
        if ended:
            process.kill()
