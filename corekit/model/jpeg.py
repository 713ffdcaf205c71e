"""A JPEG file that holds a picture and nothing else: what may stand on a customer's paper.

Source: ISO/IEC 10918-1, annex B (segments and frame headers); from memory.
"""

from __future__ import annotations

import struct

import attrs

#: So large may a photo for a paper be: six of them are mailed in a few seconds.
LARGEST_ON_PAPER = 80_000  # bytes; estimate of ours
#: Pixels of the longer side: 300 dots an inch at the 85 mm that a photo has on paper are 1004.
SIDE_ON_PAPER = 1000
#: So many photos stand on a job's papers at most; estimate of ours.
MOST_ON_PAPER = 6

_START, _END_OF_HEADERS = b"\xff\xd8", 0xDA
_FRAMES = {0xC0, 0xC1, 0xC2}  # baseline, extended, progressive; Huffman coded
_WITHOUT_LENGTH = {0x01, *range(0xD0, 0xD8)}
#: JFIF, and what says how colours are coded. Position, time, camera and comments stand in the others.
_BARE = {0xE0, 0xEE}
_APPLICATION, _COMMENT = range(0xE0, 0xF0), 0xFE


class JpegError(ValueError):
    """Bytes that are no JPEG file, or one that holds more than a picture; one sentence."""


@attrs.frozen(kw_only=True)
class Jpeg:
    """A picture as it stands in its file: its bytes, how wide and high in pixels, colours (1 or 3)."""

    data: bytes = attrs.field(repr=False)
    width: int
    height: int
    colours: int


def read_jpeg(data: bytes) -> Jpeg:
    """The picture of a JPEG file, unpacked by nobody: its headers alone are read.

    Raises:
        JpegError: it is none, or holds more than the picture.
    """
    if data[:2] != _START:
        raise JpegError("This is no JPEG file.")
    at, frame = 2, None
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker in _WITHOUT_LENGTH:
            at += 2
            continue
        (length,) = struct.unpack_from(">H", data, at + 2)
        if marker == _COMMENT or (marker in _APPLICATION and marker not in _BARE):
            raise JpegError("This JPEG file holds more than a picture.")
        if marker in _FRAMES and length >= 8 and at + 10 <= len(data):
            frame = struct.unpack_from(">BHHB", data, at + 4)
        if marker == _END_OF_HEADERS:
            break
        at += 2 + length
    else:
        raise JpegError("This JPEG file is broken off.")
    if frame is None:
        raise JpegError("This JPEG file says nowhere how large its picture is.")
    bits, height, width, colours = frame
    if bits != 8 or colours not in (1, 3) or not width or not height:
        raise JpegError("This JPEG file is of a kind that a paper does not show.")
    return Jpeg(data=data, width=width, height=height, colours=colours)
