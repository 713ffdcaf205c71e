"""Papers are small: fonts without what only screens use, small objects packed together, readable to all."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import fontpkg_fira_code
import fontpkg_fira_sans
import pypdf
import pypdfium2
import pytest

from corekit.report.font_file import uninstructed, without_hinting
from corekit.report.pdf_objects import packed

from .paper_parts import parts_of

PLAIN = b"""%PDF-1.3
1 0 obj
<< /Type /Catalog /Pages 2 0 R >>
endobj
2 0 obj
<< /Type /Pages /Kids [ 3 0 R ] /Count 1 >>
endobj
3 0 obj
<< /Type /Page /Parent 2 0 R /MediaBox [ 0 0 100 100 ] /Contents 4 0 R >>
endobj
4 0 obj
<< /Length 21 >>
stream
10 10 m 90 90 l S   \n
endstream
endobj
5 0 obj
<< /Title (a title with endobj and a stream in it) /Author (somebody) >>
endobj
"""


def plain_file() -> bytes:
    """A file as the standard's first edition knows it: objects one after the other, then a table of them."""
    starts = [PLAIN.index(b"%d 0 obj" % number) for number in range(1, 6)]
    rows = b"".join(b"%010d 00000 n \n" % start for start in starts)
    table = b"xref\n0 6\n0000000000 65535 f \n" + rows
    trailer = b"trailer\n<< /ID\n[<6162><6162>]\n/Info 5 0 R /Root 1 0 R /Size 6 >>\n"
    return PLAIN + table + trailer + b"startxref\n%d\n%%%%EOF\n" % len(PLAIN)


def test_a_packed_file_says_the_same_to_two_readers() -> None:
    file = packed(plain_file())
    read = pypdf.PdfReader(io.BytesIO(file), strict=True)
    assert read.metadata is not None
    assert read.metadata.title == "a title with endobj and a stream in it"
    assert read.metadata.author == "somebody"
    assert [float(side) for side in read.pages[0].mediabox] == [0, 0, 100, 100]
    assert read.trailer["/ID"] == ["ab", "ab"]
    contents = read.pages[0].get_contents()
    assert contents is not None
    assert contents.get_data().split() == b"10 10 m 90 90 l S".split()
    with pypdfium2.PdfDocument(file) as document:
        drawn = document[0].render().to_pil()
        assert drawn.getpixel((50, 50)) != drawn.getpixel((50, 10)), "the line from corner to corner"
        assert document.get_metadata_dict()["Author"] == "somebody"


def test_small_objects_stand_packed_and_streams_as_they_were() -> None:
    file = packed(plain_file())
    assert b"/MediaBox" not in file
    assert b"10 10 m 90 90 l S" in file
    assert file.count(b"/Type /ObjStm") == file.count(b"/Type /XRef") == 1


@pytest.mark.parametrize(
    "file", [b"", b"%PDF-1.3\n", plain_file()[:-30], plain_file().replace(b"3 0 obj", b"7 0 obj")]
)
def test_what_is_no_file_with_one_table_is_refused(file: bytes) -> None:
    with pytest.raises(ValueError, match="PDF file"):
        packed(file)


# ---- fonts


def test_a_glyph_keeps_its_outline_and_loses_its_instructions() -> None:
    """A triangle by hand, after OpenType, glyf: one contour, its last point 2, three bytes of instructions,
    then flags and coordinates.
    """
    head = struct.pack(">hhhhh", 1, 0, 0, 10, 10) + struct.pack(">H", 2)
    outline = bytes([0x37, 0x37, 0x37, 0, 5, 5, 0, 10, 0])
    assert uninstructed(head + struct.pack(">H", 3) + b"\x01\x02\x03" + outline) == (head + b"\0\0" + outline)


@pytest.mark.parametrize(
    ("flags", "more"),
    [(0x0001, 4), (0x0000, 2), (0x0001 | 0x0008, 6), (0x0001 | 0x0040, 8), (0x0001 | 0x0080, 12)],
    ids=["words", "bytes", "one scale", "two scales", "a matrix"],
)
def test_a_glyph_of_parts_keeps_each_part_and_loses_its_instructions(flags: int, more: int) -> None:
    head = struct.pack(">hhhhh", -1, 0, 0, 10, 10)

    def parts(last: int) -> bytes:
        first = struct.pack(">HH", flags | 0x0020, 7) + bytes(more)
        return first + struct.pack(">HH", flags | last, 8) + bytes(more)

    assert uninstructed(head + parts(0x0100) + struct.pack(">H", 2) + b"\xb0\x00") == head + parts(0)
    assert uninstructed(head + parts(0)) == head + parts(0)


def test_a_space_has_no_outline() -> None:
    assert uninstructed(b"") == b""


@pytest.mark.parametrize(
    "path",
    [
        Path(fontpkg_fira_sans.ROOT) / "files" / "FiraSans-Regular.ttf",
        Path(fontpkg_fira_code.ROOT) / "files" / "FiraCode[wght].ttf",
    ],
    ids=lambda path: path.stem,
)
def test_a_whole_font_file_draws_the_same_without_hinting(path: Path) -> None:
    from PIL import ImageFont

    whole = path.read_bytes()
    bare = without_hinting(whole)
    assert len(bare) < 0.8 * len(whole)
    for size in (1000, 2000):
        before, after = (
            ImageFont.truetype(io.BytesIO(data), size, layout_engine=ImageFont.Layout.BASIC)
            for data in (whole, bare)
        )
        for char in "aÄß€½&i":
            assert before.getlength(char) == after.getlength(char)
            assert bytes(before.getmask(char)) == bytes(after.getmask(char)), (char, size)


@pytest.mark.parametrize("data", [b"", b"\0\1\0\0", b"\0\1\0\0\0\1" + bytes(30)])
def test_what_is_no_font_file_is_refused(data: bytes) -> None:
    with pytest.raises(ValueError, match="TrueType"):
        without_hinting(data)


# ---- papers

#: Of an invoice in Latin letters, without what a shop attaches to it.
LARGEST = 30_000


def test_every_paper_of_the_demo_is_small(demo_out: Path) -> None:
    papers = sorted((demo_out / "papers").glob("*.pdf"))
    assert len(papers) > 10
    sizes = {}
    for path in papers:
        parts = parts_of(path.read_bytes())
        assert sum(parts.values()) == path.stat().st_size
        sizes[path.name] = path.stat().st_size - parts["attached files"] - parts["pictures"]
    assert {name: size for name, size in sizes.items() if size > LARGEST} == {}
