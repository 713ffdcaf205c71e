"""Ask a practice car so that its plugins' code holds up nobody: it may loop or sleep and never come back."""

from __future__ import annotations

import contextvars
import threading
from collections.abc import Callable
from typing import TypeVar

from ..plugin.guard import Overrun, in_words, time_limit
from .declared import PracticeError

T = TypeVar("T")

#: What one answer of a practice car may take, [s]: as long as a check.
SECONDS = 5.0
#: How much longer it is waited for, [s]: Python's own code is stopped at `SECONDS`, what waits in C never is.
GRACE = 1.0


def answered(ask: Callable[[], T], seconds: float = SECONDS) -> T:
    """What a practice car answers, asked in a thread of its own. One that sleeps in C keeps that thread, and
    nobody waits for it any longer.

    Raises:
        PracticeError: the time was up. Whatever else `ask` raises comes through.
    """
    found: list[T] = []
    raised: list[BaseException] = []

    def asked() -> None:
        try:
            with time_limit(seconds):
                found.append(ask())
        except BaseException as error:  # it is raised again where it was asked
            raised.append(error)

    thread = threading.Thread(target=contextvars.copy_context().run, args=(asked,), daemon=True)
    thread.start()
    thread.join(seconds + GRACE)
    if raised and not isinstance(raised[0], Overrun):
        raise raised[0]
    if not found:
        why = in_words(raised[0]) if raised else f"it took longer than {seconds:g} s"
        raise PracticeError(f"The practice car did not answer: {why.removeprefix('TimeIsUp: ')}.")
    return found[0]
