"""The code on the paper: a link as a square of modules, as a QR Code symbol (ISO/IEC 18004),
error level M.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Any

import attrs

#: Modules of white on all four sides; source: qr.quiet_zone, ISO/IEC 18004.
QUIET = 4
#: Side of one module in mm; source: common practice, 6 dots of a 300 dpi printer.
MODULE_MM = 0.5


@attrs.frozen
class Symbol:
    """The dark modules of a code, row by row from the top, without the quiet zone."""

    rows: tuple[tuple[bool, ...], ...]

    @property
    def version(self) -> int:
        """1…40; a symbol has 17 + 4 × version modules a side."""
        return (len(self.rows) - 17) // 4

    @property
    def side(self) -> int:
        """Modules a side with the quiet zone."""
        return len(self.rows) + 2 * QUIET

    def runs(self) -> Iterator[tuple[int, int, int]]:
        """(row from the top, first column, number of modules) of every unbroken run of dark modules, quiet
        zone not counted.
        """
        for at, row in enumerate(self.rows):
            start: int | None = None
            for column, dark in enumerate((*row, False)):
                if dark and start is None:
                    start = column
                elif not dark and start is not None:
                    yield at, start, column - start
                    start = None


def symbol(link: str) -> Symbol:
    """The symbol that holds the link as bytes, in the smallest version that takes it at level M.

    Raises:
        ValueError: the link is empty, or too long for any symbol (2331 bytes at level M).
    """
    from qrcode.constants import ERROR_CORRECT_M
    from qrcode.exceptions import DataOverflowError
    from qrcode.main import QRCode
    from qrcode.util import MODE_8BIT_BYTE, QRData

    data = link.encode()
    if not data:
        raise ValueError("A code needs a link to hold; got an empty text.")
    code: QRCode[object] = QRCode(error_correction=ERROR_CORRECT_M, border=0)
    # One byte segment, never a mixture: what a link needs is then a matter of its length alone.
    code.add_data(QRData(data, mode=MODE_8BIT_BYTE), optimize=0)
    try:
        code.best_fit()
        code.makeImpl(False, 0)
    except (DataOverflowError, ValueError) as error:
        raise ValueError(
            f"A code holds at most 2331 bytes; this link has {len(data)}. Shorten the page address."
        ) from error
    side = len(code.modules)
    first = [int("".join("1" if module else "0" for module in row), 2) for row in code.modules]
    masked = [
        [row & kept ^ changed for row, (kept, changed) in zip(first, rows, strict=True)]
        for rows in _masks(code.version)
    ]
    best = min(masked, key=lambda rows: penalty(rows, side))
    return Symbol(tuple(tuple(sign == "1" for sign in f"{row:0{side}b}") for row in best))


@lru_cache(maxsize=40)
def _masks(version: int) -> tuple[tuple[tuple[int, int], ...], ...]:
    """What makes the symbol of each mask out of that of mask 0: of every row the modules that count, and
    those that are turned over or, where the format stands, set.

    The library draws a symbol anew for each; here one is drawn, and the others follow.
    """
    from qrcode.constants import ERROR_CORRECT_M
    from qrcode.main import QRCode
    from qrcode.util import mask_func

    side = 17 + 4 * version

    def drawn(*steps: Callable[[Any], None]) -> list[list[bool | None]]:
        code: Any = QRCode(version, error_correction=ERROR_CORRECT_M, border=0)
        code.modules_count, code.modules = side, [[None] * side for _ in range(side)]
        for step in steps:
            step(code)
        return code.modules  # type: ignore[no-any-return]

    def patterns(code: Any) -> None:
        for at in ((0, 0), (side - 7, 0), (0, side - 7)):
            code.setup_position_probe_pattern(*at)
        code.setup_position_adjust_pattern()
        code.setup_timing_pattern()
        code.setup_type_info(False, 0)
        if version >= 7:
            code.setup_type_number(False)

    taken = drawn(patterns)
    turned = mask_func(0)
    found = []
    for mask in range(8):
        form = drawn(lambda code, mask=mask: code.setup_type_info(False, mask))  # type: ignore[misc]
        turns = mask_func(mask)
        rows = []
        for y in range(side):
            kept = changed = 0
            for x in range(side):
                is_form = form[y][x] is not None
                is_data = taken[y][x] is None
                kept = kept << 1 | (not is_form)
                changed = changed << 1 | bool(
                    form[y][x] if is_form else is_data and turns(y, x) != turned(y, x)
                )
            rows.append((kept, changed))
        found.append(tuple(rows))
    return tuple(found)


_RUNS = re.compile("0{5,}|1{5,}")
_LIKE_A_FINDER = re.compile("(?=10111010000|00001011101)")


def penalty(rows: Sequence[int], side: int) -> int:
    """How hard a symbol is to read, by ISO/IEC 18004, 7.8.3.1: runs of one colour, blocks of one colour, what
    looks like a finder, and how far its dark modules are from one half. The mask with the least is taken.
    """
    lines = [f"{row:0{side}b}" for row in rows]
    text = " ".join((*lines, *map("".join, zip(*lines, strict=True))))
    points = sum(len(run) - 2 for run in _RUNS.findall(text))
    inner = (1 << side - 1) - 1
    across = [row ^ row >> 1 for row in rows]
    for (upper, lower), (one, other) in zip(pairwise(rows), pairwise(across), strict=True):
        points += 3 * (inner & ~(one | other | upper ^ lower)).bit_count()
    points += 40 * len(_LIKE_A_FINDER.findall(text))
    dark = sum(row.bit_count() for row in rows) / side**2
    return points + int(abs(dark * 100 - 50) / 5) * 10
