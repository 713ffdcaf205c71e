"""A PDF file while it is written, and the fonts embedded in it: the one module that knows reportlab.

Papers need more of reportlab than its user guide promises. Its own drawing and its text objects take three
times as long, its document information carries the hour of writing, and its fonts draw digits of unequal
width and are cut anew for every paper. So operators, document information and fonts go through names that
the guide does not describe; those stand here and nowhere else. pyproject.toml bounds the version for them,
and tests/report/test_pdf_file.py names each one that a version has lost or changed.

reportlab also imports what few papers want: an evaluator of expressions, whose pattern of ninety words is
worked out anew at each start, the reader of pictures and the shaper of scripts. Together they take a fifth of
a cold draft, so each is loaded when something of it is used.
"""

from __future__ import annotations

import io
import threading
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import lru_cache
from hashlib import md5
from pathlib import Path
from typing import Any, BinaryIO

import attrs

from .when_used import load_when_used

load_when_used("PIL.Image")
load_when_used("uharfbuzz")
load_when_used(
    "reportlab.lib.rl_safe_eval",
    ("rl_safe_exec", "rl_safe_eval", "safer_globals", "rl_extended_literal_eval"),
)

# ruff: noqa: E402  # what follows imports them
from reportlab import rl_config
from reportlab.lib.rl_accel import fp_str
from reportlab.pdfbase import pdfmetrics, ttfonts
from reportlab.pdfbase.pdfdoc import (
    PDFArray,
    PDFDictionary,
    PDFInfo,
    PDFName,
    PDFObject,
    PDFObjectReference,
    PDFPage,
    PDFStream,
    PDFString,
    xObjectName,
)
from reportlab.pdfbase.ttfonts import TTFont, TTFontFace
from reportlab.pdfgen.canvas import Canvas

from ..kept import kept
from ..model.jpeg import Jpeg
from .font_file import without_hinting
from .pdf_objects import packed

_NONSYMBOLIC, _SYMBOLIC = 32, 4  # font flags; source: ISO 32000-1, table 123
_SUBSETS_KEPT = 32
_SIGNATURE_START = b"a reportlab document946684800.0"  # reportlab's own, where nothing else is set


@lru_cache(maxsize=4096)
def _number_text(number: float) -> str:
    """As reportlab writes a number: every paper lists the widths of the same characters."""
    return str(fp_str(number))


class EmbeddedFont:
    """A TrueType file under a name by which reportlab finds it; a paper carries the part that it uses.

    Attributes:
        subsets_of: (text, document) → the text as (subset, codes in it), what is new to the document added to
            it. reportlab's own method, since it is called for every word.
    """

    def __init__(self, name: str, file: Path | BinaryIO) -> None:
        self.name = name
        content = str(file) if isinstance(file, Path) else file
        self._font = TTFont(name, content, asciiReadable=False, shapable=False)
        self._face = self._font.face
        self.subsets_of: Callable[[str, Any], list[tuple[int, bytes]]] = self._font.splitString
        self._face.addSubsetObjects = _SubsetWriter(self._face)
        self._face.getCharWidth = self._width_text
        pdfmetrics.registerFont(self._font)

    def _width_text(self, code: int) -> str:
        """The advance of a character as a paper's list of widths says it."""
        return _number_text(self._face.charWidths.get(code, self._face.defaultWidth))

    def table(self, tag: str) -> bytes:
        """A table of the font file, e.g. `GSUB`."""
        return bytes(self._face.get_table(tag))

    def glyph(self, code: int) -> int:
        """The glyph that draws a character."""
        return int(self._face.charToGlyph[code])

    def draw_with(self, glyph: int, code: int) -> None:
        """Draw a character with this glyph from now on, and give it that glyph's advance.

        The text layer still says the character: reportlab maps back by character, not by glyph.
        """
        self._face.charToGlyph[code] = glyph
        self._face.charWidths[code] = self._face.hmetrics[glyph][0] * 1000 / self._face.unitsPerEm

    def advance_of(self, code: int) -> float:
        """Of one character that the font draws, in 1/1000 of the size."""
        return float(self._face.charWidths[code])

    def advances(self) -> dict[int, float]:
        """Character → its advance in 1/1000 of the size, for every character of the file."""
        widths, default = self._face.charWidths, self._face.defaultWidth
        return {code: float(widths.get(code, default)) for code in self._face.charToGlyph}

    def codes_in(self, document: Any) -> dict[int, int]:
        """Character → its code in a document, 256 for each subset, of those that stand in it."""
        return self._font.state[document].assignments  # type: ignore[no-any-return]

    def resource_name(self, subset: int, document: Any) -> str:
        """The name of a subset in the document, with its slash."""
        return str(self._font.getSubsetInternalName(subset, document))


#: Characters that stand for glyphs which no character has alone: joined and turned forms, ligatures. They are
#: drawn from the private planes of Unicode and never leave a file: what a reader program gets is what they
#: mean.
_PRIVATE = range(0xF0000, 0xFFFFE)
_private: dict[tuple[str, int, str], int] = {}
_meanings: dict[int, str] = {}
_private_lock = threading.Lock()
#: So many are kept for glyphs without a meaning of their own, which the rest falls back to.
_KEPT_BACK = 10_000


def private_sign(font: EmbeddedFont, glyph: int, means: str) -> str:
    """The character by which a font draws a glyph that means these letters."""
    with _private_lock:
        key = font.name, glyph, means
        if key not in _private and len(_private) >= len(_PRIVATE) - _KEPT_BACK:
            key, means = (font.name, glyph, ""), ""
        code = _private.setdefault(key, _PRIVATE[len(_private)])
        _meanings[code] = means
        font.draw_with(glyph, code)
    return chr(code)


def _to_unicode(font_name: str, subset: Sequence[int]) -> str:
    """What each code of a subset means to a reader program (ISO 32000-1, 9.10.3). reportlab's own writes
    characters beyond U+FFFF as no reader takes them, and knows no glyph of several letters.
    """
    rows = [
        f"<{place:02X}> <{_meanings.get(code, chr(code)).encode('utf-16-be', 'surrogatepass').hex().upper()}>"
        for place, code in enumerate(subset)
    ]
    return "\n".join(
        [
            "/CIDInit /ProcSet findresource begin",
            "12 dict begin",
            "begincmap",
            "/CIDSystemInfo",
            f"<< /Registry ({font_name})",
            f"/Ordering ({font_name})",
            "/Supplement 0",
            ">> def",
            f"/CMapName /{font_name} def",
            "/CMapType 2 def",
            "1 begincodespacerange",
            f"<00> <{len(subset) - 1:02X}>",
            "endcodespacerange",
            f"{len(subset)} beginbfchar",
            *rows,
            "endbfchar",
            "endcmap",
            "CMapName currentdict /CMap defineresource pop",
            "end",
            "end",
        ]
    )


ttfonts.makeToUnicodeCMap = _to_unicode


class _KeptFace(TTFontFace):  # type: ignore[misc]  # reportlab has no types
    """A face whose file is taken apart once, and at later starts put together from what was kept of it."""

    def extractInfo(self, charInfo: int = 1) -> None:  # reportlab's own names
        file = Path(str(self.filename))
        if not file.is_file():  # a stream
            super().extractInfo(charInfo)
            return
        apart = kept(
            f"face-{file.stem}",
            [file],
            lambda: self._taken_apart(charInfo),
            code=Path(ttfonts.__file__).parent,
            told=(charInfo, self._pos, sorted(vars(self))),
        )
        self.__dict__.update(apart)

    def _taken_apart(self, charInfo: int) -> dict[str, Any]:
        """What reportlab learns of the file, beside the file itself."""
        before = dict(vars(self))
        super().extractInfo(charInfo)
        return {
            name: value
            for name, value in vars(self).items()
            if before.get(name) is not value and not callable(value)
        }

    def _pdfScale(self, length: float) -> float:
        """What reportlab makes anew for each file: units of its design in 1/1000 of the size."""
        return length * (1000 / float(self.unitsPerEm))


ttfonts.TTFontFace = _KeptFace


class _SubsetWriter:
    """Writes the part of a font that a paper uses, and keeps what it has cut: most papers need the same part.

    Stands in for `TTFontFace.addSubsetObjects`, which cuts and packs anew for every paper.
    """

    def __init__(self, face: Any) -> None:
        self._face = face
        self._packed: dict[tuple[int, ...], tuple[int, bytes]] = {}

    def __call__(self, document: Any, font_name: str, subset: Sequence[int]) -> Any:
        key, face = tuple(subset), self._face
        if key not in self._packed:
            if len(self._packed) >= _SUBSETS_KEPT:
                self._packed.clear()
            content = without_hinting(face.makeSubset(subset))
            self._packed[key] = len(content), zlib.compress(content, 9)
        length, packed = self._packed[key]
        stream = PDFStream(content=packed)
        stream.dictionary["Length1"] = length
        stream.dictionary["Filter"] = PDFName("FlateDecode")
        descriptor = PDFDictionary(
            {
                "Type": "/FontDescriptor",
                "Ascent": face.ascent,
                "CapHeight": face.capHeight,
                "Descent": face.descent,
                # The codes are ours and not a standard encoding's (ISO 32000-1, 9.8.2).
                "Flags": (face.flags & ~_NONSYMBOLIC) | _SYMBOLIC,
                "FontBBox": PDFArray(face.bbox),
                "FontName": PDFName(font_name),
                "ItalicAngle": face.italicAngle,
                "StemV": face.stemV,
                "FontFile2": document.Reference(stream, f"fontFile:{font_name}"),
                "MissingWidth": face.defaultWidth,
            }
        )
        return document.Reference(descriptor, f"fontDescriptor:{font_name}")


def spoken_instead(text: str) -> str:
    """The operator after which everything up to `EMC` is read as this text, in whatever order it is drawn.
    Source: ISO 32000-1, 14.9.4.
    """
    return f"/Span <</ActualText <FEFF{text.encode('utf-16-be', 'surrogatepass').hex().upper()}>>> BDC"


@attrs.frozen(kw_only=True)
class Information:
    """What a file says of itself beside its pages."""

    title: str
    author: str
    subject: str
    creator: str
    language: str


class _DatelessInfo(PDFInfo):  # type: ignore[misc]
    """Title, author, subject and maker: no dates, since the date that counts is printed and the same Document
    gives the same file.
    """

    def format(self, document: Any) -> bytes:
        texts = {
            "Title": self.title,
            "Author": self.author,
            "Subject": self.subject,
            "Creator": self.creator,
            "Producer": self.producer,
        }
        entries = {**{name: PDFString(text) for name, text in texts.items()}, "Trapped": PDFName("False")}
        return PDFDictionary(entries).format(document)  # type: ignore[no-any-return]


class _Element(PDFObject):  # type: ignore[misc]
    """An element of a page, written at once: there are a hundred of them, and reportlab's dictionaries take
    longer.
    """

    __RefOnly__ = 1

    def __init__(self, kind: str, parent: Any, page: Any, place: int) -> None:
        self._kind, self._parent, self._page, self._place = kind, parent, page, place

    def format(self, document: Any) -> bytes:
        numbers = document.idToObjectNumberAndVersion
        (parent, _), (page, _) = numbers[self._parent.name], numbers[self._page.name]
        return (
            f"<< /Type /StructElem /S /{self._kind} /P {parent} 0 R /Pg {page} 0 R /K {self._place} >>"
        ).encode()


class _References(PDFObject):  # type: ignore[misc]
    """References to objects by their names, written at once as well."""

    def __init__(self, names: Sequence[str]) -> None:
        self._names = names

    def format(self, document: Any) -> bytes:
        numbers = document.idToObjectNumberAndVersion
        return f"[ {' '.join([f'{numbers[name][0]} 0 R' for name in self._names])} ]".encode()


class PdfFile:
    """One file while it is written, page after page; origin of a page at the lower left, points.

    Attributes:
        draw: Adds PDF operators to the page, as they are.
    """

    def __init__(self, size: tuple[float, float], first_font: EmbeddedFont, information: Information) -> None:
        self._out = io.BytesIO()
        # Without a first font of ours reportlab writes Helvetica into every file, and does not embed it.
        self._canvas = Canvas(
            self._out,
            pagesize=size,
            pageCompression=1,
            invariant=1,
            initialFontName=first_font.name,
            lang=information.language,
        )
        self._document = self._canvas._doc
        self._document.info = _DatelessInfo()
        # The file's ID is made of this and of the content. reportlab begins it with SOURCE_DATE_EPOCH where
        # the environment has one, and the same Document would give another file there.
        self._document.signature = md5(_SIGNATURE_START, usedforsecurity=False)
        self._canvas.setTitle(information.title)
        self._canvas.setAuthor(information.author)
        self._canvas.setSubject(information.subject)
        self._canvas.setCreator(information.creator)
        self._canvas.setViewerPreference("DisplayDocTitle", "true")
        self.draw: Callable[[str], None] = self._canvas.addLiteral
        self._codes: dict[str, dict[int, int]] = {}
        self._photos: set[str] = set()
        self._pages: list[Any] = []
        self._elements: list[list[str]] = [[]]  # of each page, in the order in which they are read

    def subsets_of(self, font: EmbeddedFont, text: str) -> list[tuple[int, bytes]]:
        """The text as (subset, codes): a font shows at most 256 characters by one resource."""
        codes = self._codes.get(font.name)
        if codes is not None:
            # What stood in this file before, in the first subset: nearly every word.
            with suppress(KeyError, ValueError):
                return [(0, bytes(map(codes.__getitem__, map(ord, text))))]
        found = font.subsets_of(text, self._document)
        self._codes[font.name] = font.codes_in(self._document)
        return found

    def resource_name(self, font: EmbeddedFont, subset: int) -> str:
        """By what name operators choose a subset of a font, with its slash."""
        return font.resource_name(subset, self._document)

    def photo_name(self, picture: Jpeg) -> str:
        """By what name operators on this page draw a photo, with its slash; its bytes stand in the file once,
        as they are (ISO 32000-1, 7.4.8 and 8.9.5).
        """
        name = f"photo-{md5(picture.data, usedforsecurity=False).hexdigest()}"
        if name not in self._photos:
            self._photos.add(name)
            stream = PDFStream(content=picture.data)
            stream.dictionary["Type"] = PDFName("XObject")
            stream.dictionary["Subtype"] = PDFName("Image")
            stream.dictionary["Width"], stream.dictionary["Height"] = picture.width, picture.height
            stream.dictionary["ColorSpace"] = PDFName("DeviceRGB" if picture.colours == 3 else "DeviceGray")
            stream.dictionary["BitsPerComponent"] = 8
            stream.dictionary["Filter"] = PDFName("DCTDecode")
            self._document.Reference(stream, xObjectName(name))
        self._canvas._formsinuse.append(name)
        return f"/{xObjectName(name)}"

    def bookmark(self, words: str, key: str, *, level: int, top: float) -> None:
        """An entry of the outline that leads to a height on this page; `key` stands once in the file."""
        self._canvas.bookmarkHorizontal(key, 0, top)
        self._canvas.addOutlineEntry(words, key, level=level)

    def attach(self, name: str, data: bytes, description: str) -> None:
        """A JSON file inside this one, as data that belongs to the whole document (ISO 32000-1, 7.11.4)."""
        stream = PDFStream(content=zlib.compress(data, 9))
        stream.dictionary["Type"] = PDFName("EmbeddedFile")
        stream.dictionary["Subtype"] = "/application#2Fjson"
        stream.dictionary["Params"] = PDFDictionary({"Size": len(data)})
        stream.dictionary["Filter"] = PDFName("FlateDecode")
        held = self._document.Reference(stream, f"attachment:{name}")
        specification = PDFDictionary(
            {
                "Type": PDFName("Filespec"),
                "F": PDFString(name),
                "UF": PDFString(name),
                "Desc": PDFString(description),
                "AFRelationship": PDFName("Data"),
                "EF": PDFDictionary({"F": held, "UF": held}),
            }
        )
        known = self._document.Reference(specification, f"specification:{name}")
        names = PDFDictionary({"Names": PDFArray([PDFString(name), known])})
        self._document.Catalog.Names = PDFDictionary({"EmbeddedFiles": names})

    def element(self, kind: str) -> str:
        """The operator that begins an element of this kind (`P`, `H1` …), read after those that were begun
        before it; `EMC` ends it. Source: ISO 32000-1, 14.6 to 14.8.
        """
        self._elements[-1].append(kind)
        return f"/{kind} <</MCID {len(self._elements[-1]) - 1}>> BDC"

    def end_page(self) -> None:
        self._pages.append(self._document.thisPageRef())
        self._canvas.showPage()
        page = self._document.Pages.pages[-1]
        page.StructParents, page.Tabs = len(self._elements) - 1, PDFName("S")
        page.__NoDefault__ = [*PDFPage.__NoDefault__, "StructParents", "Tabs"]
        self._elements.append([])

    def _tag(self) -> None:
        """The tree of elements: which stands on which page, and in which order they are read."""
        root, whole = PDFObjectReference("tags"), PDFObjectReference("tags:document")
        by_page: list[list[str]] = []
        for nth, (page, kinds) in enumerate(zip(self._pages, self._elements, strict=False)):
            by_page.append([f"tags:{nth}:{place}" for place in range(len(kinds))])
            for place, kind in enumerate(kinds):
                self._document.Reference(_Element(kind, whole, page, place), by_page[-1][place])
        parents = [part for nth, found in enumerate(by_page) for part in (nth, _References(found))]
        every = _References([name for found in by_page for name in found])
        top = {"Type": PDFName("StructElem"), "S": PDFName("Document"), "P": root, "K": every}
        tree = {
            "Type": PDFName("StructTreeRoot"),
            "K": whole,
            "ParentTree": PDFDictionary({"Nums": PDFArray(parents)}),
            "ParentTreeNextKey": len(self._pages),
        }
        self._document.Reference(PDFDictionary(top), "tags:document")
        self._document.Catalog.StructTreeRoot = self._document.Reference(PDFDictionary(tree), "tags")
        self._document.Catalog.MarkInfo = PDFDictionary({"Marked": "true"})

    def finished(self) -> bytes:
        """The whole file; nothing can be added to it then."""
        self._tag()
        self._canvas.save()
        return packed(self._out.getvalue())


@contextmanager
def pdf_file(
    size: tuple[float, float], first_font: EmbeddedFont, information: Information
) -> Iterator[PdfFile]:
    """A new file to write; one at a time in a process, since a setting of reportlab is changed for it."""
    as_text = rl_config.useA85
    # Streams as bytes: a fifth smaller than as text, and nobody reads them in an editor.
    rl_config.useA85 = 0
    try:
        yield PdfFile(size, first_font, information)
    finally:
        rl_config.useA85 = as_text
