"""Writing that Fira Sans lacks: a face for each of these scripts, words shaped as their script asks, and
lines in which some words run from right to left in the order in which they are read.

Nothing here is loaded for a paper in Latin, Greek or Cyrillic letters. Shaping is HarfBuzz's, the order is
the Unicode Bidirectional Algorithm's (UAX #9, by python-bidi). Marks stand where the face puts them by
itself, since HarfBuzz's offsets are not carried over; so the face for Arabic is one whose letters have their
dots.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterator, Sequence
from functools import lru_cache
from importlib import import_module
from itertools import groupby
from pathlib import Path
from typing import Any, BinaryIO

import attrs

from .pdf_file import EmbeddedFont, private_sign

_EAST_ASIAN = "justmytype_intl_cjk"  # the extra `cjk`: 50 MB, so not everybody's


@attrs.frozen
class ScriptFace:
    """The face of a script: its package, the file in it, and the characters it is asked for.

    Attributes:
        blocks: First and last code points; Unicode, Blocks.txt, from memory.
        is_shaped: Its letters join, turn or change places.
        is_light: The file's own weight is thin, so the regular one is asked of it.
    """

    package: str
    file: str
    blocks: tuple[tuple[int, int], ...]
    is_shaped: bool = True
    is_light: bool = False


_IDEOGRAPHS = (
    (0x2460, 0x24FF), (0x2E80, 0x312F), (0x3190, 0x4DBF), (0x4E00, 0x9FFF), (0xF900, 0xFAFF),
    (0xFE30, 0xFE4F), (0xFF00, 0xFFEF), (0x20000, 0x323AF),
)  # fmt: skip
_HANGUL = ((0x1100, 0x11FF), (0x3130, 0x318F), (0xA960, 0xA97F), (0xAC00, 0xD7FF), (0xFFA0, 0xFFDC))


def _east_asian(which: str, blocks: tuple[tuple[int, int], ...]) -> ScriptFace:
    file = f"fonts/ofl/notosans{which.lower()}/NotoSans{which}[wght].ttf"
    return ScriptFace(_EAST_ASIAN, file, blocks, is_shaped=False, is_light=True)


#: Style → face. Where two are asked for a character, the first that has it draws it.
FACES = {
    "arabic": ScriptFace(
        "fontpkg_ibm_plex_sans_arabic", "files/IBMPlexSansArabic-Regular.ttf",
        ((0x0600, 0x06FF), (0x0750, 0x077F), (0x08A0, 0x08FF), (0xFB50, 0xFDFF), (0xFE70, 0xFEFE)),
    ),
    "hebrew": ScriptFace("fontpkg_heebo", "files/Heebo[wght].ttf", ((0x0590, 0x05FF), (0xFB1D, 0xFB4F))),
    "devanagari": ScriptFace(
        "fontpkg_noto_sans_devanagari", "files/NotoSansDevanagari[wdth,wght].ttf",
        ((0x0900, 0x097F), (0xA8E0, 0xA8FF)),
    ),
    "bengali": ScriptFace("fontpkg_hind_siliguri", "files/HindSiliguri-Regular.ttf", ((0x0980, 0x09FF),)),
    "tamil": ScriptFace(
        "fontpkg_noto_sans_tamil", "files/NotoSansTamil[wdth,wght].ttf", ((0x0B80, 0x0BFF),)
    ),
    "telugu": ScriptFace(
        "fontpkg_noto_sans_telugu", "files/NotoSansTelugu[wdth,wght].ttf", ((0x0C00, 0x0C7F),)
    ),
    "thai": ScriptFace("fontpkg_noto_sans_thai", "files/NotoSansThai[wdth,wght].ttf", ((0x0E00, 0x0E7F),)),
    "khmer": ScriptFace(
        "fontpkg_noto_sans_khmer", "files/NotoSansKhmer[wdth,wght].ttf", ((0x1780, 0x17FF), (0x19E0, 0x19FF))
    ),
    "japanese": _east_asian("JP", _IDEOGRAPHS),
    "simplified chinese": _east_asian("SC", _IDEOGRAPHS),
    "traditional chinese": _east_asian("TC", _IDEOGRAPHS),
    "korean": _east_asian("KR", (*_HANGUL, *_IDEOGRAPHS)),
    # Letters and signs of Europe, Vietnam and the money of the world that Fira Sans is without.
    "further": ScriptFace(
        "fontpkg_noto_sans", "files/NotoSans[wdth,wght].ttf",
        ((0x00A0, 0x058F), (0x1AB0, 0x1AFF), (0x1C80, 0x1C8F), (0x1D00, 0x1FFF), (0x2000, 0x21FF),
         (0x2C60, 0x2C7F), (0x2DE0, 0x2E5F), (0xA640, 0xA69F), (0xA700, 0xA7FF), (0xAB30, 0xAB6F),
         (0xFB00, 0xFB06)),
        is_shaped=False,
    ),
}  # fmt: skip
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


def styles_of(char: str) -> Iterator[str]:
    """The styles whose faces are asked for a character, in that order."""
    code = ord(char)
    for style, face in FACES.items():
        if any(first <= code <= last for first, last in face.blocks):
            yield style


def is_installed(style: str) -> bool:
    """Whether the package of the face is there; those of `corekit[cjk]` may be absent."""
    package = FACES[style].package
    try:
        import_module(package)
    except ModuleNotFoundError as error:
        if error.name != package or package != _EAST_ASIAN:
            raise
        return False
    return True


def path_of(style: str) -> Path:
    module = import_module(FACES[style].package)
    return Path(str(module.__file__)).parent / FACES[style].file


def file_of(style: str) -> Path | BinaryIO:
    """The font file as papers embed it; in its regular weight."""
    path = path_of(style)
    if not FACES[style].is_light or not path.is_file():
        return path
    import uharfbuzz

    face = uharfbuzz.Face(uharfbuzz.Blob.from_file_path(str(path)))
    wanted = uharfbuzz.SubsetInput()
    wanted.keep_everything()
    wanted.pin_axis_location(face, "wght", 400)
    return io.BytesIO(uharfbuzz.subset(face, wanted).blob.data)


def runs_left(text: str) -> bool:
    """True where some of a text is written from right to left."""
    return not text.isascii() and any(unicodedata.bidirectional(char) in _RIGHT_TO_LEFT for char in text)


def has_places_to_change(text: str) -> bool:
    """True where the order in which a text is drawn is not plainly that of its letters: words from right to
    left, or Arabic figures, which stand among such words.
    """
    return not text.isascii() and any(
        unicodedata.bidirectional(char) in (*_RIGHT_TO_LEFT, "AN") for char in text
    )


@lru_cache(maxsize=len(FACES))
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
    if not runs_left(text):
        buffer.direction = "ltr"  # figures of Arabic are read from the left
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
    return {"hebrew": "R", "arabic": "AL"}.get(next(styles_of(char), ""), "L")
