"""The code on the paper: a link as a square of modules, as a QR Code symbol (ISO/IEC 18004),
error level M.
"""

from __future__ import annotations

from collections.abc import Iterator

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
        code.make()
    except (DataOverflowError, ValueError) as error:
        raise ValueError(
            f"A code holds at most 2331 bytes; this link has {len(data)}. Shorten the page address."
        ) from error
    return Symbol(tuple(tuple(bool(module) for module in row) for row in code.modules))
