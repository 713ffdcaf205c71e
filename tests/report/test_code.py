"""The code's symbol: the mask that another program finds the easiest to read, and what that program draws."""

from __future__ import annotations

import random
import string
from typing import Any

import pytest
from qrcode import constants, util
from qrcode.main import QRCode

from corekit.report.code import penalty, symbol


def drawn_with(link: str, mask: int) -> list[list[bool]]:
    """As the library draws it with this mask."""
    code: Any = QRCode(error_correction=constants.ERROR_CORRECT_M, border=0)
    code.add_data(util.QRData(link.encode(), mode=util.MODE_8BIT_BYTE), optimize=0)
    code.best_fit()
    code.makeImpl(False, mask)
    return [[bool(module) for module in row] for row in code.modules]


# Bytes that fill a version at level M to the last and one more (ISO/IEC 18004, table 7), and long ones.
@pytest.mark.parametrize("length", [1, 14, 15, 26, 27, 62, 63, 84, 85, 122, 123, 414, 666])
def test_the_symbol_is_the_one_with_the_least_penalty_as_the_library_counts_it(length: int) -> None:
    letters = random.Random(length)
    link = "".join(letters.choice(string.ascii_letters + string.digits) for _ in range(length))
    every = [drawn_with(link, mask) for mask in range(8)]
    rows = [list(row) for row in symbol(link).rows]
    assert rows in every
    assert util.lost_point(rows) == min(map(util.lost_point, every))


def test_a_penalty_is_counted_as_the_library_counts_it() -> None:
    draw = random.Random(7)
    for side in (21, 25, 37):
        for share in (0.1, 0.3, 0.5, 0.8):
            rows = [[draw.random() < share for _ in range(side)] for _ in range(side)]
            numbers = [int("".join(str(int(module)) for module in row), 2) for row in rows]
            assert penalty(numbers, side) == util.lost_point(rows)
