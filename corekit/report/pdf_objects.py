"""A PDF file with its small objects packed together, as PDF 1.5 allows: a seventh of an invoice's size.

Source: ISO 32000-1, 7.5.7 (object streams) and 7.5.8 (cross-reference streams).
"""

from __future__ import annotations

import re
import struct
import zlib

_TABLE = re.compile(rb"startxref\s+(\d+)\s+%%EOF\s*\Z")
_SECTION = re.compile(rb"xref\s+0 (\d+)\s+")
_OBJECT = re.compile(rb"\s*(\d+) 0 obj\s+(.*?)\s+endobj\s*", re.DOTALL)
_ROW = 20  # bytes of a row of the table: offset, generation, n or f
_FREE, _PLAIN, _PACKED = 0, 1, 2
# Readers know by it that the file is not text.
_HEADER = b"%PDF-1.5\n%\xe2\xe3\xcf\xd3\n"


def packed(file: bytes) -> bytes:
    """The same objects under the same numbers, those without a stream in one packed stream.

    Args:
        file: A finished file with one table of cross-references, as reportlab writes it.

    Raises:
        ValueError: it is none.
    """
    found = _TABLE.search(file, max(0, len(file) - 100))
    section = _SECTION.match(file, int(found[1])) if found else None
    if found is None or section is None:
        raise ValueError("This is no PDF file with one table of cross-references.")
    table_at, count = int(found[1]), int(section[1])
    rows = [file[section.end() + _ROW * nth :][:_ROW] for nth in range(count)]
    starts = {number: int(row[:10]) for number, row in enumerate(rows) if row[17:18] == b"n"}
    after = dict(zip(sorted(starts.values()), [*sorted(starts.values())[1:], table_at], strict=True))
    bodies = {number: file[start : after[start]] for number, start in starts.items()}

    out, places = bytearray(_HEADER), [(_FREE, 0, 0)] * (count + 2)
    small: list[tuple[int, bytes]] = []
    for number, body in sorted(bodies.items()):
        inner = _OBJECT.fullmatch(body)
        if inner is None or inner[1] != b"%d" % number:
            raise ValueError(f"Object {number} of the PDF file does not stand where the table says.")
        if b"stream" in inner[2]:  # or a text that says so, which may stay as it is
            places[number] = (_PLAIN, len(out), 0)
            out += body.strip() + b"\n"
        else:
            small.append((number, inner[2]))
    holder = count
    directory, offset = [], 0
    for place, (number, inner_body) in enumerate(small):
        directory.append(b"%d %d" % (number, offset))
        offset += len(inner_body) + 1
        places[number] = (_PACKED, holder, place)
    first = b" ".join(directory) + b"\n"
    places[holder] = (_PLAIN, len(out), 0)
    out += _stream(
        holder,
        b"/Type /ObjStm /N %d /First %d" % (len(small), len(first)),
        first + b"\n".join(body for _, body in small),
    )
    places[count + 1] = (_PLAIN, len(out), 0)
    at = len(out)
    trailer = file[section.end() + _ROW * count : found.start()]
    kept = b" ".join(match[0] for match in re.finditer(rb"/(?:Root|Info) \d+ 0 R|/ID\s*\[[^\]]*\]", trailer))
    out += _stream(
        count + 1,
        b"/Type /XRef /Size %d /W [ 1 3 2 ] %s" % (len(places), kept),
        b"".join(
            bytes([kind]) + struct.pack(">I", one)[1:] + struct.pack(">H", two) for kind, one, two in places
        ),
    )
    return bytes(out) + b"startxref\n%d\n%%%%EOF\n" % at


def _stream(number: int, entries: bytes, data: bytes) -> bytes:
    content = zlib.compress(data, 9)
    head = b"%d 0 obj\n<< %s /Filter /FlateDecode /Length %d >>\nstream\n" % (number, entries, len(content))
    return head + content + b"\nendstream\nendobj\n"
