"""The faces that papers are set in: Fira Sans with tabular digits, every glyph looked up before it is drawn.

Fira Sans' own digits have different widths, so columns of numbers would not line up. Its font files hold
digits of one width beside them (feature `tnum`); the faces here draw those in place of the others,
everywhere. The text layer still says 0…9, because a PDF made by reportlab maps back by character, not by
glyph.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from typing import Any

import attrs
from reportlab.pdfbase import pdfdoc, pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from ..errors import CorekitError
from .text import stays_with

#: (what is drawn, whether a person typed it): typed text may fall back to another face, our own must not.
Piece = tuple[str, bool]

_DIGITS = tuple(range(ord("0"), ord("9") + 1))
_FILES = {
    "regular": ("fontpkg_fira_sans", "FiraSans-Regular.ttf"),
    "strong": ("fontpkg_fira_sans", "FiraSans-SemiBold.ttf"),
    "typed": ("fontpkg_fira_code", "FiraCode[wght].ttf"),
}


class MissingGlyph(CorekitError, ValueError):
    """A text of our own holds a character that the papers' face cannot draw."""


def _tabular(drawn: Any, path: Path) -> None:
    """Makes a reportlab face draw tabular digits for 0…9."""
    swaps = tabular_glyphs(drawn.get_table("GSUB"))
    for code in _DIGITS:
        glyph = swaps.get(drawn.charToGlyph[code])
        if glyph is None:
            raise ValueError(
                f"{path} has no tabular {chr(code)}; install fontpkg-fira-sans as corekit declares it."
            )
        drawn.charToGlyph[code] = glyph
        drawn.charWidths[code] = drawn.hmetrics[glyph][0] * 1000 / drawn.unitsPerEm


class _Cutter:
    """Writes the part of a face that a paper uses, and keeps what it has cut: most papers need the same part.

    Stands in for `TTFontFace.addSubsetObjects`, which cuts and packs anew for every paper.
    """

    def __init__(self, drawn: Any) -> None:
        self._drawn = drawn
        self._kept: dict[tuple[int, ...], tuple[int, bytes]] = {}

    def __call__(self, doc: Any, fontname: str, subset: Sequence[int]) -> Any:
        key, drawn = tuple(subset), self._drawn
        if key not in self._kept:
            if len(self._kept) >= 32:
                self._kept.clear()
            content = drawn.makeSubset(subset)
            self._kept[key] = len(content), zlib.compress(content, 9)
        length, packed = self._kept[key]
        stream = pdfdoc.PDFStream(content=packed)
        stream.dictionary["Length1"] = length
        stream.dictionary["Filter"] = pdfdoc.PDFName("FlateDecode")
        descriptor = pdfdoc.PDFDictionary(
            {
                "Type": "/FontDescriptor",
                "Ascent": drawn.ascent,
                "CapHeight": drawn.capHeight,
                "Descent": drawn.descent,
                "Flags": (
                    (drawn.flags & ~32) | 4
                ),  # symbolic: the codes are ours, not a standard encoding's (ISO 32000-1, 9.8.2)
                "FontBBox": pdfdoc.PDFArray(drawn.bbox),
                "FontName": pdfdoc.PDFName(fontname),
                "ItalicAngle": drawn.italicAngle,
                "StemV": drawn.stemV,
                "FontFile2": doc.Reference(stream, f"fontFile:{fontname}"),
                "MissingWidth": drawn.defaultWidth,
            }
        )
        return doc.Reference(descriptor, f"fontDescriptor:{fontname}")


def tabular_glyphs(table: bytes) -> dict[int, int]:
    """Glyph → its tabular form, from a font's GSUB table.

    Reads the single substitutions of feature `tnum`; source: OpenType specification, GSUB, lookup type 1.
    """

    def u16(at: int) -> int:
        return int(struct.unpack_from(">H", table, at)[0])

    features, lookups = u16(6), u16(8)
    wanted: set[int] = set()
    for at in range(u16(features)):
        record = features + 2 + 6 * at
        if table[record : record + 4] == b"tnum":
            feature = features + u16(record + 4)
            wanted |= {u16(feature + 4 + 2 * nth) for nth in range(u16(feature + 2))}
    swaps: dict[int, int] = {}
    for nth in sorted(wanted):
        lookup = lookups + u16(lookups + 2 + 2 * nth)
        if u16(lookup) != 1:
            continue
        for sub in range(u16(lookup + 4)):
            start = lookup + u16(lookup + 6 + 2 * sub)
            covered = _covered(table, start + u16(start + 2))
            if u16(start) == 1:
                swaps |= {glyph: (glyph + u16(start + 4)) & 0xFFFF for glyph in covered}
            else:
                swaps |= {glyph: u16(start + 6 + 2 * place) for place, glyph in enumerate(covered)}
    return swaps


def _covered(table: bytes, at: int) -> list[int]:
    kind, count = struct.unpack_from(">HH", table, at)
    if kind == 1:
        return list(struct.unpack_from(f">{count}H", table, at + 4))
    ranges = (struct.unpack_from(">HH", table, at + 4 + 6 * nth) for nth in range(count))
    return [glyph for first, last in ranges for glyph in range(first, last + 1)]


@attrs.frozen(eq=False)
class Face:
    """One face as reportlab knows it, with the advance of every character in 1/1000 of the size."""

    name: str
    advances: dict[int, float]
    font: Any

    def knows(self, text: str) -> bool:
        return self.advances.keys() >= set(map(ord, text))

    def advance(self, text: str) -> float:
        """Of a text that the face knows, in 1/1000 of the size; KeyError for any other."""
        return sum(map(self.advances.__getitem__, map(ord, text)))


@lru_cache(maxsize=4)
def face(style: str) -> Face:
    """The face of a style: `regular`, `strong`, or `typed` (the one that typed text falls back to).

    Raises:
        ValueError: the font package is not as declared.
    """
    package, file = _FILES[style]
    path = Path(import_module(package).ROOT) / "files" / file
    if not path.is_file():
        raise ValueError(f"The font file {path} is missing; install corekit again with its font packages.")
    name = f"corekit-{style}"
    font = TTFont(name, str(path), asciiReadable=True, shapable=False)
    if style != "typed":
        _tabular(font.face, path)
    font.face.addSubsetObjects = _Cutter(font.face)
    pdfmetrics.registerFont(font)
    return Face(
        name,
        {
            code: float(font.face.charWidths.get(code, font.face.defaultWidth))
            for code in font.face.charToGlyph
        },
        font,
    )


Run = tuple[Face, str]


@attrs.frozen(eq=False)
class Line:
    """What stands on one baseline: runs of one face each, and how wide they are at the size they were
    measured for.
    """

    runs: tuple[Run, ...]
    width: float


def runs(text: str, style: str, *, typed: bool) -> list[Run]:
    """The text in runs of one face each.

    Typed text falls back glyph by glyph, and what no face can draw becomes its code point in brackets.

    Raises:
        MissingGlyph: the text is our own and a character of it is not in the face.
    """
    main = face(style)
    if main.knows(text):
        return [(main, text)]
    if not typed:
        raise _missing(main, text)
    spare = face("typed")
    out: list[Run] = []
    for char in text:
        code = ord(char)
        chosen, shown = (
            (main, char)
            if code in main.advances
            else (spare, char)
            if code in spare.advances
            else (main, f"[U+{code:04X}]")
        )
        if out and out[-1][0] is chosen:
            out[-1] = chosen, out[-1][1] + shown
        else:
            out.append((chosen, shown))
    return out


def _missing(main: Face, text: str) -> MissingGlyph:
    char = next(char for char in text if ord(char) not in main.advances)
    return MissingGlyph(
        f"The papers' face has no {char!r} (U+{ord(char):04X}), which stands in {text!r}; reword that text."
    )


def set_line(pieces: Sequence[Piece], style: str, size: float) -> Line:
    """The pieces on one line, however wide that is."""
    made = [run for text, typed in pieces for run in runs(text, style, typed=typed)]
    return Line(tuple(made), sum(used.advance(text) for used, text in made) * size / 1000)


def wrap(pieces: Sequence[Piece], style: str, size: float, room: float) -> list[Line]:
    """The pieces in lines no wider than `room` points.

    Breaks at spaces and at line ends; a word wider than the room breaks where it must. A number stays with a
    short word after it (`12.6 V`). Never returns no line.
    """
    limit = room * 1000 / size
    if len(pieces) == 1:  # most cells hold a few characters that fit
        main, text = face(style), pieces[0][0]
        try:
            width = main.advance(text)
        except KeyError:  # a line end, or a character that is not in the face
            pass
        else:
            if width <= limit:
                return [Line(((main, text),), width * size / 1000)]
    for text, typed in pieces:
        if not typed and not face(style).knows(text.replace("\n", " ")):
            raise _missing(face(style), text.replace("\n", " "))
    lines: list[Line] = []
    for paragraph in _paragraphs(pieces):
        current: list[Run] = []
        width = 0.0
        space = face(style).advances[32]
        for word in _words(paragraph, style):
            wide = sum(used.advance(text) for used, text in word)
            if current and width + space + wide <= limit:
                current += [(face(style), " "), *word]
                width += space + wide
                continue
            if current:
                lines.append(_line(current, size))
            current, width = word, wide
            while width > limit:
                head, current = _cut_at(current, limit)
                lines.append(_line(head, size))
                width = sum(used.advance(text) for used, text in current)
        lines.append(_line(current, size))
    return lines


def _line(made: Sequence[Run], size: float) -> Line:
    merged: list[Run] = []
    for used, text in made:
        if merged and merged[-1][0] is used:
            merged[-1] = used, merged[-1][1] + text
        else:
            merged.append((used, text))
    return Line(tuple(merged), sum(used.advance(text) for used, text in merged) * size / 1000)


def _paragraphs(pieces: Sequence[Piece]) -> list[list[Piece]]:
    out: list[list[Piece]] = [[]]
    for text, typed in pieces:
        first, *more = text.split("\n")
        out[-1].append((first, typed))
        out += [[(part, typed)] for part in more]
    return out


def _words(pieces: Sequence[Piece], style: str) -> list[list[Run]]:
    """Words as runs; a piece that ends within a word goes on in the next piece."""
    words: list[list[Run]] = []
    plain: list[str] = []
    open_word = False
    for text, typed in pieces:
        for nth, part in enumerate(text.split(" ")):
            if nth > 0:
                open_word = False
            if not part:
                continue
            made = runs(part, style, typed=typed)
            glued = not open_word and nth > 0 and plain and stays_with(plain[-1], part)
            if open_word:
                words[-1] += made
                plain[-1] += part
            elif glued:
                words[-1] += [(face(style), " "), *made]
                plain[-1] = part
            else:
                words.append(made)
                plain.append(part)
            open_word = True
    return words


def _cut_at(word: Sequence[Run], limit: float) -> tuple[list[Run], list[Run]]:
    """As much of the word as fits, at least one character, and the rest."""
    head: list[Run] = []
    width = 0.0
    for nth, (used, text) in enumerate(word):
        for at, char in enumerate(text):
            wide = used.advance(char)
            if width + wide > limit and (head or at):
                return ([*head, (used, text[:at])] if at else head), [(used, text[at:]), *word[nth + 1 :]]
            width += wide
        head.append((used, text))
    return head, []
