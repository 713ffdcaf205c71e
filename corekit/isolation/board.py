"""The memory in which a command notes what it is at, so that its supervisor can read it when the command
hangs or its process is gone.
"""

from __future__ import annotations

import mmap

SIZE = 4096
_BETWEEN = "\x1f"
_TEXT = 32


class Board:
    """What runs at the moment, in memory that two processes see.

    Args:
        memory: `SIZE` bytes, all zero at the beginning.
    """

    def __init__(self, memory: mmap.mmap) -> None:
        self._memory = memory

    def begin(self, plugin: str, part: str, seconds: float, where: str) -> None:
        """Write down which piece of a plugin's code begins now, and how long it may take."""
        words = _BETWEEN.join((plugin[:80], part[:200], where[:400])).encode()[: SIZE - _TEXT - 2]
        self._memory[_TEXT : _TEXT + 2 + len(words)] = len(words).to_bytes(2, "little") + words
        self._memory[8:16] = int(seconds * 1000).to_bytes(8, "little")
        self._memory[16:24] = (self.count + 1).to_bytes(8, "little")
        self._memory[0] = 1

    def end(self) -> None:
        """It came back."""
        self._memory[0] = 0

    @property
    def count(self) -> int:
        """Goes up whenever something begins."""
        return int.from_bytes(self._memory[16:24], "little")

    @property
    def seconds(self) -> float | None:
        """How long what runs now may take; None between pieces of plugins' code."""
        return int.from_bytes(self._memory[8:16], "little") / 1000 if self._memory[0] else None

    @property
    def running(self) -> tuple[str, str, str] | None:
        """Plugin, part, and file and line at which it begins, of what runs now; None between pieces."""
        if not self._memory[0]:
            return None
        length = int.from_bytes(self._memory[_TEXT : _TEXT + 2], "little")
        words = self._memory[_TEXT + 2 : _TEXT + 2 + length].decode(errors="replace").split(_BETWEEN)
        plugin, part, where = (*words, "", "", "")[:3]
        return plugin, part, where

    def finish(self, code: int) -> None:
        """The command is done, with this exit code."""
        self._memory[2] = code & 0xFF
        self._memory[1] = 1

    @property
    def exit_code(self) -> int | None:
        """None while it is not done."""
        return self._memory[2] if self._memory[1] else None

    def note_interrupt(self) -> None:
        """The command has heard of ctrl-C."""
        self._memory[3] = 1

    @property
    def has_heard_interrupt(self) -> bool:
        return bool(self._memory[3])
