"""The faces that papers are set in: Fira Sans with tabular digits, every glyph looked up before it is drawn.

Fira Sans' own digits have different widths, so columns of numbers would not line up. Its font files hold
digits of one width beside them (feature `tnum`); the faces here draw those in place of the others,
everywhere.
"""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Iterable, Sequence
from functools import lru_cache
from importlib import import_module
from pathlib import Path

import attrs

from ..errors import CorekitError
from . import scripts
from .pdf_file import EmbeddedFont
from .text import stays_with

#: (what is set, whether a person typed it): typed text may fall back to another face, our own must not.
Piece = tuple[str, bool]

_JOINERS = ("\u200c", "\u200d")
_DIGITS = tuple(range(ord("0"), ord("9") + 1))
_FILES = {
    "regular": ("fontpkg_fira_sans", "FiraSans-Regular.ttf"),
    "strong": ("fontpkg_fira_sans", "FiraSans-SemiBold.ttf"),
    "typed": ("fontpkg_fira_code", "FiraCode[wght].ttf"),
}
_TABULAR = ("regular", "strong")


class MissingGlyphError(CorekitError, ValueError):
    """A text of our own holds a character that the papers' face cannot draw."""


@attrs.frozen(eq=False)
class Typeface:
    """One face of the papers, with the advance of every character in 1/1000 of the size; `script` names that
    whose words it shapes, if it is such a face.
    """

    name: str
    advances: dict[int, float]
    font: EmbeddedFont
    script: str = ""

    def knows(self, text: str) -> bool:
        return self.advances.keys() >= set(map(ord, text))

    def advance(self, text: str) -> float:
        """Of a text that the face knows, in 1/1000 of the size; KeyError for any other."""
        return math.fsum(map(self.advances.__getitem__, map(ord, text)))

    def shaped(self, text: str) -> tuple[Typeface, str]:
        """The text in glyphs as its script asks, in the order in which they are drawn."""
        signs = scripts.shaped(text, self.script, self.font)
        for sign in signs:
            self.advances.setdefault(ord(sign), self.font.advance_of(ord(sign)))
        return self, signs


@lru_cache(maxsize=len(_FILES) + len(scripts.FACES))
def typeface(style: str) -> Typeface:
    """The face of a style: `regular`, `strong`, or `typed` (the one that typed text falls back to).

    Raises:
        ValueError: the font package is not as declared.
    """
    script = scripts.FACES.get(style)
    if script:
        file = scripts.file_of(style)
    else:
        package, name = _FILES[style]
        file = Path(import_module(package).ROOT) / "files" / name
    if isinstance(file, Path) and not file.is_file():
        raise ValueError(f"The font file {file} is missing; install corekit again with its font packages.")
    font = EmbeddedFont(f"corekit-{style.replace(' ', '-')}", file)
    if style in _TABULAR:
        _set_tabular_digits(font, f"{style} face")
    return Typeface(font.name, font.advances(), font, style if script and script.is_shaped else "")


def _set_tabular_digits(font: EmbeddedFont, face: str) -> None:
    tabular = tabular_glyphs(font.table("GSUB"))
    for code in _DIGITS:
        glyph = tabular.get(font.glyph(code))
        if glyph is None:
            raise ValueError(
                f"The {face} has no tabular {chr(code)}; install fontpkg-fira-sans as corekit declares it."
            )
        font.draw_with(glyph, code)


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
            covered = _known_codes(table, start + u16(start + 2))
            if u16(start) == 1:
                swaps |= {glyph: (glyph + u16(start + 4)) & 0xFFFF for glyph in covered}
            else:
                swaps |= {glyph: u16(start + 6 + 2 * place) for place, glyph in enumerate(covered)}
    return swaps


def _known_codes(table: bytes, at: int) -> list[int]:
    kind, count = struct.unpack_from(">HH", table, at)
    if kind == 1:
        return list(struct.unpack_from(f">{count}H", table, at + 4))
    ranges = (struct.unpack_from(">HH", table, at + 4 + 6 * nth) for nth in range(count))
    return [glyph for first, last in ranges for glyph in range(first, last + 1)]


Run = tuple[Typeface, str]


@attrs.frozen(eq=False)
class TextLine:
    """What stands on one baseline: runs of one face each, and how wide they are at the size they were
    measured for.

    Attributes:
        text: What a reader program shall be given, where that is not what is drawn, sign by sign.
    """

    runs: tuple[Run, ...]
    width: float
    text: str = ""


def runs(text: str, style: str, *, typed: bool) -> list[Run]:
    """The text in runs of one face each.

    Typed text falls back glyph by glyph, to the face of its script at last, and what no face can draw becomes
    its code point in brackets.

    Raises:
        MissingGlyphError: the text is our own and a character of it is not in the face.
    """
    main = typeface(style)
    if main.knows(text):
        return [(main, text)]
    if not typed:
        raise _missing_glyph(main, text)
    spare = typeface("typed")

    def fallback(char: str) -> Run:
        code = ord(char)
        if code in main.advances:
            return main, char
        if code in spare.advances:
            return spare, char
        for script in scripts.styles_of(char):
            if scripts.is_installed(script) and code in typeface(script).advances:
                return typeface(script), char
        return main, "" if char in _JOINERS else f"[U+{code:04X}]"

    return _merge_runs(map(fallback, text))


def _merge_runs(parts: Iterable[Run]) -> list[Run]:
    """Neighbours of one face as one run."""
    merged: list[Run] = []
    for face, text in parts:
        if merged and merged[-1][0] is face:
            merged[-1] = face, merged[-1][1] + text
        else:
            merged.append((face, text))
    return merged


def _missing_glyph(main: Typeface, text: str) -> MissingGlyphError:
    char = next(char for char in text if ord(char) not in main.advances)
    return MissingGlyphError(
        f"The papers' face has no {char!r} (U+{ord(char):04X}), which stands in {text!r}; reword that text."
    )


def _advance(parts: Sequence[Run]) -> float:
    if len(parts) == 1:
        return parts[0][0].advance(parts[0][1])
    return math.fsum(face.advance(text) for face, text in parts)


def set_line(pieces: Sequence[Piece], style: str, size: float) -> TextLine:
    """The pieces on one line, however wide that is."""
    return _line([run for text, typed in pieces for run in runs(text, style, typed=typed)], size)


def wrap(pieces: Sequence[Piece], style: str, size: float, room: float) -> list[TextLine]:
    """The pieces in lines no wider than `room` points.

    Breaks at spaces and at line ends; a word wider than the room breaks where it must. A number stays with a
    short word after it (`12.6 V`). Never returns no line.
    """
    key = tuple(pieces), style, size, room
    known = _known_lines.get(key)
    if known is None:
        known = _known_lines[key] = _wrapped(pieces, style, size, room)
    return known.copy()


def _wrapped(pieces: Sequence[Piece], style: str, size: float, room: float) -> list[TextLine]:
    limit = room * 1000 / size
    if len(pieces) == 1:  # most cells hold a few characters that fit
        main, text = typeface(style), pieces[0][0]
        try:
            width = main.advance(text)
        except KeyError:  # a line end, or a character that is not in the face
            pass
        else:
            if width <= limit:
                return [TextLine(((main, text),), width * size / 1000)]
    for text, typed in pieces:
        if not typed and not typeface(style).knows(text.replace("\n", " ")):
            raise _missing_glyph(typeface(style), text.replace("\n", " "))
    lines: list[TextLine] = []
    space, blank = typeface(style).advances[32], (typeface(style), " ")
    for paragraph in _paragraphs(pieces):
        current: list[Run] = []
        width = 0.0
        for word, wide in _measured_runs(paragraph, style):
            if current and width + space + wide <= limit:
                current += [blank, *word]
                width += space + wide
                continue
            if current:
                lines.append(_line(current, size))
            current, width = list(word), wide
            while width > limit:
                head, current, hyphen = _parted(current, limit)
                lines.append(_line(head, size))
                # Not counted anew: a word may have thousands of characters.
                width -= _advance(head) - hyphen
        lines.append(_line(current, size))
    return lines


#: Words of the paper that is set with their widths in 1/1000 of the size, and its lines: it is tried in
#: several measures, and most of it is the same in all.
_known_words: dict[tuple[tuple[Piece, ...], str], list[tuple[list[Run], float]]] = {}
_known_lines: dict[tuple[tuple[Piece, ...], str, float, float], list[TextLine]] = {}


def _measured_runs(pieces: Sequence[Piece], style: str) -> list[tuple[list[Run], float]]:
    key = tuple(pieces), style
    known = _known_words.get(key)
    if known is None:
        known = _known_words[key] = [(word, _advance(word)) for word in _words(pieces, style)]
    return known


def forget_words() -> None:
    """Let the words of a paper go once it is set; they may be a person's."""
    _known_words.clear()
    _known_lines.clear()


def _line(parts: Sequence[Run], size: float) -> TextLine:
    face = parts[0][0] if parts else None
    if face is not None and not face.script and all(other is face for other, _ in parts):
        text = "".join([text for _, text in parts])
        return TextLine(((face, text),), face.advance(text) * size / 1000)
    merged = _merge_runs(parts)
    drawn = tuple(_drawn(merged))
    text = "".join(text for _, text in merged) if any(face.script for face, _ in merged) else ""
    return TextLine(drawn, _advance(drawn) * size / 1000, text)


def _drawn(merged: list[Run]) -> list[Run]:
    """The runs as they are drawn: words of a script that needs it shaped, and in the order of their
    directions.
    """
    if not any(face.script for face, _ in merged):
        return merged
    texts = [text for _, text in merged]
    ordered = (
        scripts.in_visual_order(texts)
        if any(map(scripts.has_places_to_change, texts))
        else list(enumerate(texts))
    )
    found: list[Run] = []
    for place, text in ordered:
        face = merged[place][0]
        found.append(face.shaped(text) if face.script else (face, text))
    return found


def _paragraphs(pieces: Sequence[Piece]) -> list[list[Piece]]:
    paragraphs: list[list[Piece]] = [[]]
    for text, typed in pieces:
        first, *more = text.split("\n")
        paragraphs[-1].append((first, typed))
        paragraphs += [[(part, typed)] for part in more]
    return paragraphs


def _words(pieces: Sequence[Piece], style: str) -> list[list[Run]]:
    """Words as runs; a piece that ends within a word goes on in the next piece."""
    words: list[list[Run]] = []
    plain: list[str] = []
    open_word = False
    main = typeface(style)
    for text, typed in pieces:
        is_known = main.knows(text)
        for nth, part in enumerate(text.split(" ")):
            if nth > 0:
                open_word = False
            if not part:
                continue
            part_runs = [(main, part)] if is_known else runs(part, style, typed=typed)
            glued = not open_word and nth > 0 and plain and stays_with(plain[-1], part)
            if open_word:
                words[-1] += part_runs
                plain[-1] += part
            elif glued:
                words[-1] += [(main, " "), *part_runs]
                plain[-1] = part
            else:
                words.append(part_runs)
                plain.append(part)
            open_word = True
    return words


#: Read back as what it is, a hyphen of the line and not of the word (ISO 32000-1, 14.8.2.2.3).
_HYPHEN = "\u00ad"
#: A word or a name: what holds anything else, a number or an address, means another thing with a hyphen.
_OF_LETTERS = re.compile(r"[^\W\d_]+(?:[-'’][^\W\d_]+)*[.,;:!?]*")
_LEAST_PART = 3  # letters on either side of a hyphen


def _parted(word: Sequence[Run], limit: float) -> tuple[list[Run], list[Run], float]:
    """As much of a word that is too wide as fits, the rest, and the width of the hyphen that it is parted
    with: only a word of letters alone is, behind a hyphen of its own where there is one.
    """
    face, text = word[0][0], "".join(part for _, part in word)
    is_one = not face.script and all(other is face for other, _ in word)
    if is_one and _OF_LETTERS.fullmatch(text):
        width = face.advance(_HYPHEN) if face.knows(_HYPHEN) else limit
        fits = len(_cut_at([(face, text)], limit - width)[0][0][1])
        own = text.rfind("-", 0, fits)
        if own >= fits // 2:
            return [(face, text[: own + 1])], [(face, text[own + 1 :])], 0.0
        at = min(fits, len(text.rstrip(".,;:!?")) - _LEAST_PART)
        if at >= _LEAST_PART and width < limit:
            return [(face, text[:at] + _HYPHEN)], [(face, text[at:])], width
    return *_cut_at(word, limit), 0.0


def _cut_at(word: Sequence[Run], limit: float) -> tuple[list[Run], list[Run]]:
    """As much of the word as fits, at least one character, and the rest."""
    head: list[Run] = []
    width = 0.0
    for nth, (face, text) in enumerate(word):
        for at, char in enumerate(text):
            wide = face.advance(char)
            if width + wide > limit and (head or at):
                return ([*head, (face, text[:at])] if at else head), [(face, text[at:]), *word[nth + 1 :]]
            width += wide
        head.append((face, text))
    return head, []
