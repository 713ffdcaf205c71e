"""The one place where words reach the terminal: whatever a verb prints, nothing in it steers the terminal and
nothing in it stays unseen.
"""

from __future__ import annotations

import re
from typing import Any, TextIO

from .signs import is_visible, visible

#: Rows of a code drawn black on white (`web.pairing.terminal_code`): all that we ever say to a terminal
#: itself. Whatever else looks like this draws blocks and no more.
_DRAWN = re.compile("(\x1b\\[38;5;16;48;5;231m[ ▀▄█]*\x1b\\[0m)")


class Output:
    """A stream of text in front of another one, in everything else like it."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        self._stream.write(
            "".join(part if place % 2 else _plain(part) for place, part in enumerate(_DRAWN.split(text)))
            if "\x1b" in text
            else _plain(text)
        )
        return len(text)

    def writelines(self, lines: list[str]) -> None:
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def _plain(text: str) -> str:
    """Tabs and whole line ends stay; half a pair is what no encoding could write."""
    return visible(text.replace("\r\n", "\n"), keep="\n\t")


def as_json(data: Any) -> str:
    """Data as JSON in which every sign that is not seen stands by its code: the same data, and harmless on a
    terminal.
    """
    import json

    text = json.dumps(data, indent=2, ensure_ascii=False)
    if text.isascii() and text.replace("\n", "").isprintable():
        return text
    return "".join(sign if sign == "\n" or is_visible(sign, 0) else json.dumps(sign)[1:-1] for sign in text)
