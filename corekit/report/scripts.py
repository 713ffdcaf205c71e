"""Writing that Fira Sans lacks: a face for each of these scripts, words shaped as their script asks, and
lines in which some words run from right to left in the order in which they are read.

Nothing here is loaded for a paper in Latin, Greek or Cyrillic letters. Shaping is HarfBuzz's, the order is
the Unicode Bidirectional Algorithm's (UAX #9, by python-bidi). Marks stand where the face puts them by
itself, since HarfBuzz's offsets are not carried over; so the face for Arabic is one whose letters have their
dots.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from functools import lru_cache
from importlib import import_module
from itertools import groupby
from pathlib import Path
from typing import Any

from .pdf_file import EmbeddedFont, private_sign

#: Style → (package, file) of the face of a script. Japanese, Chinese and Korean have none among the packages
#: that hold TrueType outlines; their letters are printed by their code.
FILES = {
    "arabic": ("fontpkg_ibm_plex_sans_arabic", "IBMPlexSansArabic-Regular.ttf"),
    "hebrew": ("fontpkg_heebo", "Heebo[wght].ttf"),
    "devanagari": ("fontpkg_noto_sans_devanagari", "NotoSansDevanagari[wdth,wght].ttf"),
    "thai": ("fontpkg_noto_sans_thai", "NotoSansThai[wdth,wght].ttf"),
}
#: First and last code points of what each is asked for; Unicode, Blocks.txt, from memory.
_BLOCKS = {
    "hebrew": ((0x0590, 0x05FF), (0xFB1D, 0xFB4F)),
    "arabic": ((0x0600, 0x06FF), (0x0750, 0x077F), (0x08A0, 0x08FF), (0xFB50, 0xFDFF), (0xFE70, 0xFEFF)),
    "devanagari": ((0x0900, 0x097F), (0xA8E0, 0xA8FF)),
    "thai": ((0x0E00, 0x0E7F),),
}
_RIGHT_TO_LEFT = ("R", "AL")
#: Two signs for a stretch of a line, by its direction, so that it shows whether it is turned: letters that
#: run to the right and to the left, figures, and what has no direction of its own.
_STAND_INS = {
    "L": range(0x4E00, 0x9F00),
    "R": range(0x05D0, 0x05EB),
    "AL": range(0x0620, 0x063F),
    "EN": range(0x1D7CE, 0x1D800),
    "AN": range(0x0660, 0x066A),
    "ON": range(0x2500, 0x2600),
}


def style_of(char: str) -> str:
    """The style whose face is asked for a character; empty where there is none."""
    code = ord(char)
    return next(
        (style for style, blocks in _BLOCKS.items() if any(first <= code <= last for first, last in blocks)),
        "",
    )


def path_of(style: str) -> Path:
    package, file = FILES[style]
    return Path(import_module(package).ROOT) / "files" / file


def runs_left(text: str) -> bool:
    """True where some of a text is written from right to left."""
    return not text.isascii() and any(unicodedata.bidirectional(char) in _RIGHT_TO_LEFT for char in text)


@lru_cache(maxsize=len(FILES))
def _shaper(style: str) -> Any:
    import uharfbuzz

    return uharfbuzz.Font(uharfbuzz.Face(uharfbuzz.Blob.from_file_path(str(path_of(style)))))


def shaped(text: str, style: str, font: EmbeddedFont) -> str:
    """The text as signs of the face's own, one for each glyph, in the order in which they are drawn. A reader
    program gets the letters that each stands for.
    """
    import uharfbuzz

    buffer = uharfbuzz.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    uharfbuzz.shape(_shaper(style), buffer)
    infos = buffer.glyph_infos
    starts = sorted({info.cluster for info in infos})
    ends = dict(zip(starts, [*starts[1:], len(text)], strict=True))
    told: set[int] = set()
    signs = []
    for info in infos:
        means = "" if info.cluster in told else text[info.cluster : ends[info.cluster]]
        told.add(info.cluster)
        signs.append(private_sign(font, info.codepoint, means))
    return "".join(signs)


def in_visual_order(texts: Sequence[str]) -> list[tuple[int, str]]:
    """Stretches of a line in the order in which they are drawn, from left to right: the place of each in
    `texts`, and its letters, still in the order in which they are read; brackets turned where they are read
    from the right.
    """
    from bidi import get_display

    stretches: list[tuple[int, str, str]] = []
    for place, text in enumerate(texts):
        for kind, chars in groupby(text, _direction):
            letters = "".join(chars)
            # Each bracket alone, so that it can be turned.
            parts = list(letters) if kind == "ON" and not _TURNED.keys().isdisjoint(letters) else [letters]
            stretches += [(place, kind, part) for part in parts]
    used: dict[str, int] = {}
    signs: list[str] = []
    for _, kind, _ in stretches:
        number = used[kind] = used.get(kind, -1) + 1
        if 2 * number + 1 >= len(_STAND_INS[kind]):
            return list(enumerate(texts))  # more changes of direction than any line has
        signs.append(chr(_STAND_INS[kind][2 * number]) + chr(_STAND_INS[kind][2 * number + 1]))
    seen = get_display("".join(signs))
    found = []
    for sign, (place, _, part) in sorted(
        zip(signs, stretches, strict=True), key=lambda one: min(map(seen.index, one[0]))
    ):
        is_turned = seen.index(sign[0]) > seen.index(sign[1])
        found.append((place, _TURNED.get(part, part) if is_turned else part))
    return found


#: Brackets, and as what each is drawn where it is read from the right; Unicode, BidiMirroring.txt, from
#: memory.
_PAIRS = (("(", ")"), ("[", "]"), ("{", "}"), ("<", ">"), ("«", "»"), ("‹", "›"), ("≤", "≥"))
_TURNED = {one: other for pair in _PAIRS for one, other in (pair, pair[::-1])}


def _direction(char: str) -> str:
    kind = unicodedata.bidirectional(char)
    if kind == "NSM":
        return _direction_of_mark(char)
    return kind if kind in _STAND_INS else "ON"


def _direction_of_mark(char: str) -> str:
    """A mark goes with the letters of its script."""
    return {"hebrew": "R", "arabic": "AL"}.get(style_of(char), "L")
