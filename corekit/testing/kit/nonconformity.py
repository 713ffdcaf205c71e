"""What a plugin does not fulfil: the thing, the fault, and the cure."""

from __future__ import annotations

import traceback
from pathlib import Path

import attrs


@attrs.frozen(kw_only=True)
class Nonconformity:
    """One requirement that one thing does not fulfil.

    Attributes:
        of: What it is, as its author calls it: `check way`, `calculation voltage_lost`, `test lost`.
        fault: What is wrong, and with what it was seen.
        cure: What to do.
        at: File and line, where one is known.
    """

    of: str
    fault: str
    cure: str
    at: str = ""

    def __str__(self) -> str:
        where = f" ({self.at})" if self.at else ""
        return f"{self.of}{where}: {self.fault.removesuffix('.')}. {self.cure}"


def line_of(error: BaseException, folder: Path) -> str:
    """`file.py line 12`: the innermost line of the plugin that an error came through; empty when none did."""
    lines = [(frame.f_code.co_filename, line) for frame, line in traceback.walk_tb(error.__traceback__)]
    own = [(file, line) for file, line in lines if Path(file).is_relative_to(folder)]
    return f"{Path(own[-1][0]).relative_to(folder)} line {own[-1][1]}" if own else ""


def error_words(error: BaseException) -> str:
    """Kind and text of an error in one line."""
    text = " ".join(str(error).split())[:300]
    return f"{type(error).__name__}: {text}" if text else type(error).__name__
