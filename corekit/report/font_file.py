"""The part of a TrueType file that a paper carries: outlines and widths, and nothing that only screens use.

Hinting fits outlines to the pixels of a coarse screen. At the resolution of paper and of today's screens it
shows nowhere, and takes more room than the outlines themselves. Source: OpenType specification (ISO/IEC
14496-22), tables glyf, head, loca, maxp; which tables a PDF needs: ISO 32000-1, 9.9.
"""

from __future__ import annotations

import struct
from itertools import pairwise

#: Tables that a PDF reader needs of an embedded font whose codes are its own, and `post`, which is small.
_KEPT = (b"cmap", b"glyf", b"head", b"hhea", b"hmtx", b"loca", b"maxp", b"post")
_WORDS, _MORE, _SCALE, _SCALES, _MATRIX, _INSTRUCTED = 0x0001, 0x0020, 0x0008, 0x0040, 0x0080, 0x0100
_SUM_OF_FILE = 0xB1B0AFBA  # what the whole file sums up to; table head, checksumAdjustment


def without_hinting(data: bytes) -> bytes:
    """The same font file without instructions, and without the tables that a PDF has no use for.

    Raises:
        ValueError: this is no TrueType file.
    """
    try:
        tables = _tables(data)
        head = bytearray(tables[b"head"])
        long = struct.unpack_from(">h", head, 50)[0] == 1
        offsets = _offsets(tables[b"loca"], long=long)
        glyphs = [uninstructed(tables[b"glyf"][start:end]) for start, end in pairwise(offsets)]
        maxp = bytearray(tables[b"maxp"])
    except (KeyError, struct.error) as error:
        raise ValueError("This is no TrueType file whose outlines could be read.") from error
    if len(maxp) >= 32:
        # One zone, and of twilight points, storage, functions, instructions and stack none.
        struct.pack_into(">7H", maxp, 14, 1, 0, 0, 0, 0, 0, 0)
    parts, places = [], [0]
    for glyph in glyphs:
        parts.append(glyph + b"\0" * (-len(glyph) % 4))
        places.append(places[-1] + len(parts[-1]))
    struct.pack_into(">h", head, 50, 1 if places[-1] >= 0x20000 else 0)
    struct.pack_into(">I", head, 8, 0)
    loca = (
        struct.pack(f">{len(places)}I", *places)
        if places[-1] >= 0x20000
        else struct.pack(f">{len(places)}H", *(place // 2 for place in places))
    )
    return _file(
        {**tables, b"glyf": b"".join(parts), b"head": bytes(head), b"loca": loca, b"maxp": bytes(maxp)},
        data[:4],
    )


def uninstructed(glyph: bytes) -> bytes:
    """A glyph's outline without its instructions."""
    if len(glyph) < 10:
        return b""  # a space has no outline
    (contours,) = struct.unpack_from(">h", glyph)
    if contours >= 0:
        at = 10 + 2 * contours
        (length,) = struct.unpack_from(">H", glyph, at)
        return glyph[:at] + b"\0\0" + glyph[at + 2 + length :]
    kept, at, flags = bytearray(glyph), 10, _MORE
    while flags & _MORE:
        (flags,) = struct.unpack_from(">H", glyph, at)
        struct.pack_into(">H", kept, at, flags & ~_INSTRUCTED)
        at += 8 if flags & _WORDS else 6
        at += 2 if flags & _SCALE else 4 if flags & _SCALES else 8 if flags & _MATRIX else 0
    return bytes(kept[:at])


def _tables(data: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">H", data, 4)
    entries = (struct.unpack_from(">4sIII", data, 12 + 16 * nth) for nth in range(count))
    return {tag: data[start : start + length] for tag, _, start, length in entries if tag in _KEPT}


def _offsets(loca: bytes, *, long: bool) -> list[int]:
    if long:
        return list(struct.unpack(f">{len(loca) // 4}I", loca))
    return [2 * half for half in struct.unpack(f">{len(loca) // 2}H", loca)]


def _file(tables: dict[bytes, bytes], version: bytes) -> bytes:
    count = len(tables)
    power = count.bit_length() - 1
    start = 12 + 16 * count
    directory, body, head_at = [], b"", 0
    for tag in sorted(tables):
        table = tables[tag]
        if tag == b"head":
            head_at = start + len(body)
        directory.append(struct.pack(">4sIII", tag, _sum(table), start + len(body), len(table)))
        body += table + b"\0" * (-len(table) % 4)
    counts = struct.pack(">HHHH", count, 16 << power, power, 16 * count - (16 << power))
    file = bytearray(version + counts + b"".join(directory) + body)
    struct.pack_into(">I", file, head_at + 8, (_SUM_OF_FILE - _sum(bytes(file))) & 0xFFFFFFFF)
    return bytes(file)


def _sum(data: bytes) -> int:
    data += b"\0" * (-len(data) % 4)
    words: tuple[int, ...] = struct.unpack(f">{len(data) // 4}I", data)
    return sum(words) & 0xFFFFFFFF
