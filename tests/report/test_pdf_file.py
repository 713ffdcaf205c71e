"""What papers need of reportlab beside its documented face: each inner name is there and does what it did.

A failure here names what a version of reportlab lost or changed, before a shop sees it on a paper.
"""

from __future__ import annotations

import ast
import inspect
import io
import re
import struct
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import fontpkg_fira_sans
import pypdf
import pytest
import reportlab
from PIL import ImageFont
from reportlab import rl_config
from reportlab.lib import rl_accel
from reportlab.pdfbase import pdfdoc, ttfonts
from reportlab.pdfbase.ttfonts import TTFont, TTFontFile
from reportlab.pdfgen.canvas import Canvas

from corekit.report.pdf_file import EmbeddedFont, Information, pdf_file
from corekit.report.pdf_objects import packed

ROOT = Path(__file__).parents[2]
REGULAR = Path(fontpkg_fira_sans.ROOT) / "files" / "FiraSans-Regular.ttf"
SIZE = (300.0, 200.0)
ABOUT = Information(
    title="Title of it", author="A Shop", subject="invoice", creator="corekit 0", language="en"
)
#: (owner, its inner name, what papers do with it)
INNER: tuple[tuple[str, str, str], ...] = (
    ("rl_config", "useA85", "write streams as bytes"),
    ("pdfdoc", "PDFArray", "describe a font"),
    ("pdfdoc", "PDFDictionary", "describe a font and the document"),
    ("pdfdoc", "PDFInfo", "leave the dates out of the document information"),
    ("pdfdoc", "PDFName", "describe a font and the document"),
    ("pdfdoc", "PDFObject", "tell the order of reading"),
    ("pdfdoc", "PDFObjectReference", "tell the order of reading"),
    ("pdfdoc", "PDFPage", "tell what stands on a page"),
    ("pdfdoc", "PDFStream", "embed a font file that is packed already"),
    ("pdfdoc", "xObjectName", "name a photo"),
    ("pdfdoc", "PDFString", "write the document information"),
    ("ttfonts", "TTFontFace", "take a font file apart once"),
    ("face", "extractInfo", "take a font file apart once"),
    ("face", "filename", "take a font file apart once"),
    ("ttfonts", "makeToUnicodeCMap", "say what glyphs mean to a reader program"),
    ("Canvas", "addLiteral", "draw by operators"),
    ("Canvas", "setViewerPreference", "show the title in the window's head"),
    ("canvas", "_doc", "choose the subsets of a font"),
    ("canvas", "_formsinuse", "show a photo on a page"),
    ("document", "info", "leave the dates out of the document information"),
    ("document", "Catalog", "tell the order of reading"),
    ("document", "Pages", "tell what stands on a page"),
    ("document", "thisPageRef", "tell what stands on a page"),
    ("document", "Reference", "embed a font"),
    ("document", "signature", "keep the environment out of a file's ID"),
    ("TTFont", "splitString", "choose the subsets of a font"),
    ("TTFont", "getSubsetInternalName", "choose the subsets of a font"),
    ("font", "face", "draw tabular digits"),
    ("face", "get_table", "find tabular digits"),
    ("face", "charToGlyph", "draw tabular digits"),
    ("face", "charWidths", "measure words"),
    ("face", "hmetrics", "measure tabular digits"),
    ("face", "unitsPerEm", "measure tabular digits"),
    ("face", "defaultWidth", "measure words"),
    ("face", "getCharWidth", "list widths"),
    ("font", "state", "know the codes of a file"),
    ("rl_accel", "fp_str", "list widths"),
    ("face", "addSubsetObjects", "keep a subset that was cut"),
    ("face", "makeSubset", "cut a subset"),
    *(
        ("face", name, "describe a font")
        for name in ("ascent", "capHeight", "descent", "flags", "bbox", "italicAngle", "stemV")
    ),
)


def holders() -> dict[str, Any]:
    """What the owners of INNER are called → the thing itself."""
    canvas, font = Canvas(io.BytesIO()), TTFont("inner-names", str(REGULAR))
    return {
        "rl_config": rl_config,
        "pdfdoc": pdfdoc,
        "ttfonts": ttfonts,
        "rl_accel": rl_accel,
        "Canvas": Canvas,
        "canvas": canvas,
        "document": getattr(canvas, "_doc", None),
        "TTFont": TTFont,
        "font": font,
        "face": getattr(font, "face", None),
    }


def complaint(name: str, change: str) -> str:
    return (
        f"In reportlab {reportlab.__version__} {name} {change}. Bound reportlab below this version in"
        " pyproject.toml, or change corekit/report/pdf_file.py, which alone may use it."
    )


def check_is_there(owner: str, name: str, purpose: str) -> None:
    assert hasattr(holders()[owner], name), complaint(
        f"{owner}.{name}", f"is gone, by which papers {purpose}"
    )


# --- every name is there ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("owner", "name", "purpose"), INNER, ids=lambda part: part.replace(" ", "-"))
def test_reportlab_still_has_the_inner_name(owner: str, name: str, purpose: str) -> None:
    check_is_there(owner, name, purpose)


def test_a_name_that_a_version_lost_is_said_with_its_purpose_and_what_to_do(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delattr(Canvas, "addLiteral")
    with pytest.raises(AssertionError, match=r"Canvas\.addLiteral is gone, by which papers draw.*Bound"):
        check_is_there("Canvas", "addLiteral", "draw by operators")


@pytest.mark.parametrize(
    ("function", "names"),
    [
        (Canvas.__init__, {"pagesize", "pageCompression", "invariant", "initialFontName", "lang"}),
        (TTFont.__init__, {"name", "filename", "asciiReadable", "shapable"}),
        (pdfdoc.PDFStream.__init__, {"content"}),
        (TTFont.splitString, {"text", "doc"}),
        (TTFont.getSubsetInternalName, {"subset", "doc"}),
    ],
    ids=["Canvas", "TTFont", "PDFStream", "splitString", "getSubsetInternalName"],
)
def test_reportlab_still_takes_what_it_is_handed(function: Any, names: set[str]) -> None:
    lacking = sorted(names - set(inspect.signature(function).parameters))
    assert not lacking, complaint(function.__qualname__, f"takes no {', '.join(lacking)} any more")


def test_the_version_of_reportlab_is_bounded_above() -> None:
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["dependencies"]
    assert [one for one in wanted if one.startswith("reportlab")] == ["reportlab>=5.0.3,<6"]


# --- and does what it did -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def font() -> EmbeddedFont:
    return EmbeddedFont("for-tests", REGULAR)


def written(font: EmbeddedFont, text: str = "Words 0123", operators: str = "") -> bytes:
    """A file of one page that shows `text`, after these operators."""
    with pdf_file(SIZE, font, ABOUT) as file:
        file.draw(operators)
        shown = [
            f"{file.resource_name(font, subset)} 12 Tf <{codes.hex()}> Tj"
            for subset, codes in file.subsets_of(font, text)
        ]
        file.draw(f"BT 1 0 0 1 20 20 Tm {' '.join(shown)} ET")
        file.bookmark("Part one", "p1", level=0, top=150)
        file.end_page()
        return file.finished()


def reader(file: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(file))


def fonts_in(file: bytes) -> dict[str, Any]:
    """Resource name → font of the first page."""
    page: Any = reader(file).pages[0]
    return {name: ref.get_object() for name, ref in page["/Resources"]["/Font"].items()}


def shows(font: EmbeddedFont, text: str) -> Any:
    """The one font of a file in which this text is set."""
    (only,) = [
        one
        for one in fonts_in(written(font, text)).values()
        if "/FontDescriptor" in one and "/ToUnicode" in one
    ]
    return only


def code_of(embedded: Any, char: str) -> int:
    """The code by which a font of a file draws a character, from what the file says that its codes mean."""
    meanings = re.findall(r"<(..)> <(....)>", embedded["/ToUnicode"].get_data().decode("ascii"))
    return next(int(code, 16) for code, means in meanings if int(means, 16) == ord(char))


def test_operators_reach_the_page_as_they_are(font: EmbeddedFont) -> None:
    operators = "0.32 g 10.00 20.00 m 30.50 40.00 l S"
    content = reader(written(font, operators=operators)).pages[0].get_contents()
    assert content is not None
    assert operators in content.get_data().decode("latin-1"), complaint(
        "Canvas.addLiteral", "changes what it is handed"
    )


def test_a_file_says_what_it_is_who_made_it_and_no_hour(font: EmbeddedFont) -> None:
    """ISO 32000-1, 14.3.3: all entries of the document information are optional."""
    information: Any = reader(written(font)).trailer["/Info"]
    said = {name: str(text) for name, text in information.items() if name != "/Producer"}
    assert said == {
        "/Title": "Title of it",
        "/Author": "A Shop",
        "/Subject": "invoice",
        "/Creator": "corekit 0",
        "/Trapped": "/False",
    }, complaint("PDFInfo.format", "no longer decides what the document information holds")
    assert information["/Producer"]
    assert "ReportLab" in information["/Producer"]


def test_a_file_says_its_language_and_shows_its_title_and_its_parts(font: EmbeddedFont) -> None:
    pdf = reader(written(font))
    catalog: Any = pdf.trailer["/Root"]
    assert catalog.get("/Lang") == "en", complaint("Canvas(lang=…)", "is not written")
    assert str(catalog.get("/ViewerPreferences", {}).get("/DisplayDocTitle")).lower() == "true", complaint(
        "Canvas.setViewerPreference", "is not written"
    )
    (part,) = pdf.outline
    assert part.title == "Part one"
    assert part.top == 150


def test_the_hour_the_zone_and_the_environment_change_no_byte(
    font: EmbeddedFont, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = written(font)
    monkeypatch.setattr("time.time", lambda: 2_000_000_000.0)
    monkeypatch.setenv("TZ", "Pacific/Chatham")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    assert written(font) == first, complaint(
        "Canvas(invariant=1) or PDFDocument.signature", "lets the hour of writing into the file"
    )


def test_streams_are_bytes_and_reportlabs_setting_is_put_back(font: EmbeddedFont) -> None:
    before = rl_config.useA85
    try:
        rl_config.useA85 = 1
        assert b"ASCII85" not in written(font), complaint("rl_config.useA85", "is not heeded")
        assert rl_config.useA85 == 1
        with pytest.raises(RuntimeError, match="halfway"), pdf_file(SIZE, font, ABOUT):
            raise RuntimeError("halfway")
        assert rl_config.useA85 == 1
    finally:
        rl_config.useA85 = before


def test_no_font_is_in_the_file_but_the_one_it_was_given(font: EmbeddedFont) -> None:
    file = written(font)
    assert b"Helvetica" not in file, complaint(
        "Canvas(initialFontName=…)", "does not keep Helvetica out of a file"
    )
    assert {str(one["/BaseFont"]).partition("+")[2] for one in fonts_in(file).values()} == {
        "FiraSans-Regular"
    }


def test_the_embedded_part_of_a_font_is_a_font_file_that_another_program_opens(font: EmbeddedFont) -> None:
    """Read by FreeType; each code of the subset has the advance of the character in the whole font file."""
    embedded = shows(font, "Wim")
    descriptor = embedded["/FontDescriptor"]
    data = descriptor["/FontFile2"].get_data()
    assert descriptor["/FontFile2"]["/Length1"] == len(data)
    assert data[:4] == b"\x00\x01\x00\x00", "a TrueType file opens with its version"
    assert ImageFont.truetype(io.BytesIO(data), 100).getbbox("W") is not None
    whole = ImageFont.truetype(REGULAR, 1000, layout_engine=ImageFont.Layout.BASIC)
    for char in "Wim":
        assert embedded["/Widths"][code_of(embedded, char) - embedded["/FirstChar"]] == pytest.approx(
            whole.getlength(char), abs=1
        ), complaint("TTFontFace.makeSubset", "gives characters another advance")


def test_a_font_with_codes_of_its_own_is_called_symbolic(font: EmbeddedFont) -> None:
    """ISO 32000-1, table 123: bit 3 symbolic, bit 6 nonsymbolic, and never both."""
    flags = shows(font, "abc")["/FontDescriptor"]["/Flags"]
    assert flags & 0b100
    assert not flags & 0b100000


def test_advances_are_those_that_another_program_reads_in_the_font_file(font: EmbeddedFont) -> None:
    whole = ImageFont.truetype(REGULAR, 1000, layout_engine=ImageFont.Layout.BASIC)
    advances = font.advances()
    for char in "ABCijlmW €Ω≤→−":
        assert advances[ord(char)] == pytest.approx(whole.getlength(char), abs=1), complaint(
            "TTFontFace.charWidths", f"holds another advance for {char!r} than the font file"
        )


def test_a_character_drawn_with_another_glyph_is_as_wide_as_that_glyph_and_still_says_itself() -> None:
    own = EmbeddedFont("for-tests-swapped", REGULAR)
    whole = ImageFont.truetype(REGULAR, 1000, layout_engine=ImageFont.Layout.BASIC)
    wide, narrow = whole.getlength("W"), whole.getlength("i")
    assert wide > 2 * narrow
    own.draw_with(own.glyph(ord("W")), ord("i"))
    assert own.advances()[ord("i")] == pytest.approx(wide, abs=1)
    embedded = shows(own, "i")
    assert embedded["/Widths"][code_of(embedded, "i") - embedded["/FirstChar"]] == pytest.approx(
        wide, abs=1
    ), complaint("TTFontFace.charWidths", "no longer decides how wide a character is in the file")
    assert reader(written(own, "iii")).pages[0].extract_text().strip() == "iii", complaint(
        "the text layer", "says the glyph that was drawn and not the character"
    )


def test_a_font_shows_at_most_256_characters_by_one_resource() -> None:
    own = EmbeddedFont("for-tests-large", REGULAR)
    text = "".join(chr(code) for code in sorted(own.advances()) if code > 0xA0)[:400]
    with pdf_file(SIZE, own, ABOUT) as file:
        parts = file.subsets_of(own, text)
        names = {file.resource_name(own, subset) for subset, _ in parts}
        file.end_page()
        file.finished()
    assert sum(len(codes) for _, codes in parts) == 400
    assert len({subset for subset, _ in parts}) == len(names) == 2, complaint(
        "TTFont.splitString", "no longer parts a text into subsets of 256 characters"
    )
    assert all(name.startswith("/") for name in names)


def test_a_subset_that_was_cut_is_kept_for_the_next_paper(monkeypatch: pytest.MonkeyPatch) -> None:
    own = EmbeddedFont("for-tests-kept", REGULAR)
    cuts: list[object] = []
    cut = type(own._face).makeSubset
    monkeypatch.setattr(
        type(own._face), "makeSubset", lambda face, subset: cuts.append(subset) or cut(face, subset)
    )
    first, again, other = written(own, "abcΩ"), written(own, "abcΩ"), written(own, "abcΩ≤")
    assert first == again != other
    assert len(cuts) == 2, complaint("TTFontFace.addSubsetObjects", "is not what writes a font into a file")


def test_the_embedded_part_of_a_font_draws_as_the_whole_file_does(font: EmbeddedFont) -> None:
    """By FreeType, as many pixels high as the outlines are fine, so that hinting has nothing to move."""
    embedded = shows(font, "aÄß€½&")
    data = embedded["/FontDescriptor"]["/FontFile2"].get_data()
    part = ImageFont.truetype(io.BytesIO(data), 1000, encoding="armn", layout_engine=ImageFont.Layout.BASIC)
    whole = ImageFont.truetype(REGULAR, 1000, layout_engine=ImageFont.Layout.BASIC)
    for char in "aÄß€½&":
        drawn = part.getmask(chr(code_of(embedded, char)))
        assert drawn.size[0] > 100
        assert bytes(drawn) == bytes(whole.getmask(char)), char


def test_the_embedded_part_of_a_font_holds_outlines_and_widths_alone(font: EmbeddedFont) -> None:
    """ISO 32000-1, 9.9: the tables that a TrueType font needs in a PDF; `cvt `, `fpgm` and `prep` only where
    there are instructions.
    """
    data = shows(font, "abc")["/FontDescriptor"]["/FontFile2"].get_data()
    (count,) = struct.unpack_from(">H", data, 4)
    tables = {data[12 + 16 * nth :][:4] for nth in range(count)}
    assert tables == {b"cmap", b"glyf", b"head", b"hhea", b"hmtx", b"loca", b"maxp", b"post"}
    words = struct.unpack(f">{len(data) // 4}I", data)
    assert sum(words) & 0xFFFFFFFF == 0xB1B0AFBA  # OpenType, head: what a whole file sums up to


# --- and nobody else knows of it ----------------------------------------------------------------------------

#: Inner names that mean reportlab wherever they stand; `flags` and `info` may be anybody's.
TELLING = {name for _, name, _ in INNER if name.startswith("_") or name != name.lower()}


def inner_names(path: Path) -> Iterator[str]:
    """Names of reportlab that a module uses: its import, or an inner name of a thing that came from it."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Attribute) and node.attr in TELLING:
            yield node.attr
        elif isinstance(node, ast.ImportFrom) and re.match(r"reportlab\b", node.module or ""):
            yield from (f"{node.module}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if re.match(r"reportlab\b", alias.name))


def test_a_face_that_was_kept_is_the_one_that_was_taken_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path))
    apart: list[str] = []
    plain = TTFontFile.extractInfo

    def counted(self: Any, charInfo: int = 1) -> None:
        apart.append(self.filename)
        plain(self, charInfo)

    def drawn(font: EmbeddedFont) -> bytes:
        subset = [0, *map(font.glyph, map(ord, "Ωä7 fi"))]
        return bytes(font._face.makeSubset([0, *map(ord, "Ωä7 fi")])) + repr(subset).encode()

    monkeypatch.setattr(TTFontFile, "extractInfo", counted)
    faces = [EmbeddedFont(f"kept-{turn}", REGULAR) for turn in range(3)]
    assert len(apart) == 1
    first, *others = faces
    for other in others:
        for name, value in vars(first._face).items():
            if not callable(value) and name != "_pos":  # where it reads next
                assert getattr(other._face, name) == value, name
        assert drawn(other) == drawn(first)
        assert other._face._pdfScale(250) == first._face._pdfScale(250)
    others[0].draw_with(5, ord("7"))
    assert EmbeddedFont("kept-again", REGULAR).glyph(ord("7")) == first.glyph(ord("7")) != 5


def test_a_font_file_that_changed_is_taken_apart_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path / "compiled"))
    file = tmp_path / "face.ttf"
    file.write_bytes(REGULAR.read_bytes())
    regular = EmbeddedFont("changing-1", file).advance_of(ord("m"))
    file.write_bytes((REGULAR.parent / "FiraSans-SemiBold.ttf").read_bytes())
    assert EmbeddedFont("changing-2", file).advance_of(ord("m")) != regular


def test_no_other_module_uses_reportlabs_inner_names() -> None:
    users = {
        path.relative_to(ROOT).as_posix(): names
        for folder in ("corekit", "plugins", "demo")
        for path in (ROOT / folder).rglob("*.py")
        if "tests" not in path.relative_to(ROOT).parts and (names := sorted(set(inner_names(path))))
    }
    assert list(users) == ["corekit/report/pdf_file.py"], users
    imported = {name.rpartition(".")[2] for name in users["corekit/report/pdf_file.py"] if "." in name}
    # What the guide describes, and what is named above: whoever uses more of it says so above.
    assert imported <= {"Canvas", "TTFont", "pdfmetrics", "rl_config", "ttfonts"} | {
        name for _, name, _ in INNER
    }


def test_a_file_whose_table_names_one_object_for_another_is_not_packed() -> None:
    out = io.BytesIO()
    canvas = Canvas(out, pageCompression=0, invariant=1)
    canvas.drawString(10, 10, "one")
    canvas.save()
    file = out.getvalue()
    assert packed(file).startswith(b"%PDF-1.5")
    first, second = re.findall(rb"\d{10} 00000 n", file)[:2]
    exchanged = file.replace(first, b"?").replace(second, first).replace(b"?", second)
    with pytest.raises(ValueError, match="Object 1 of the PDF file does not stand where the table says"):
        packed(exchanged)
