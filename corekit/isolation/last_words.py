"""What a process says at its end about where it was, and how that is read by whoever watches it."""

from __future__ import annotations

import faulthandler
import os
from collections.abc import Callable, Iterator
from typing import NoReturn

from ..plugin.guard import first_foreign


def tell_where_it_was(is_running: Callable[[], bool], told: int) -> None:
    """From now on this process says its lines first when it breaks, is ended or ends itself.

    Args:
        is_running: Whether a plugin's code runs just now. told: Descriptor that it says them to.
    """
    faulthandler.enable(file=told, all_threads=False)
    own, leave = os.getpid(), os._exit

    def leave_telling(status: int) -> NoReturn:
        if os.getpid() == own and is_running():
            faulthandler.dump_traceback(file=told, all_threads=False)
        leave(status)

    os._exit = leave_telling


def place_words(said: str, where: str) -> str:
    """Where the plugin was by what a process said, else where its code begins; it completes a sentence."""
    found = first_foreign(_lines(said)) or where
    return f", at {found}" if found else ""


def _lines(said: str) -> Iterator[tuple[str, int]]:
    for line in said.splitlines():
        head, mark, rest = line.strip().partition('", line ')
        number = rest.split()[0] if rest.split() else ""
        if mark and head.startswith('File "') and number.isdecimal():
            yield head[6:], int(number)
