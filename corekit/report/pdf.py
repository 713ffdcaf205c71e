"""A Document on paper: A4, Fira Sans, every font embedded, the same bytes for the same Document."""

from __future__ import annotations

import threading
from collections.abc import Sequence

import attrs

from .._version import __version__
from ..model.document import Code, Document
from .blocks import document_boxes
from .code import symbol
from .fonts import Piece, TextLine, set_line, typeface, wrap
from .layout import Box, Placed, paginate
from .measures import ROOMY, TIGHT, TIGHTEST
from .pdf_file import Information, PdfFile, pdf_file
from .pen import A4, GREY, INK, MM, Pen, Voice
from .text import Resolve, clean, refuse_numbered_draft
from .typesetter import Typesetter
from .wording import theme, wording

_SHOP = Voice("strong", 7.6, 9.5, INK)
_TITLE = Voice("regular", 7.6, 9.5, GREY)
_NOTICE = Voice("strong", 8.6, 10.0)

# A reportlab font keeps state while a paper is written: one paper at a time.
_one_at_a_time = threading.Lock()


def render_pdf(document: Document, resolve: Resolve, link: str | None) -> bytes:
    """The Document as a PDF file.

    Args:
        document: What to set. What somebody typed is in it nearly everywhere, so every text of it may fall
            back, see `fonts.runs`: a paper that was promised is never refused for a letter. `check_glyphs` is
            for our own texts.
        resolve: What references to personal text become.
        link: What the code holds and the paper prints beside it; None when no page address is set. A draft
            carries no code.

    Raises:
        MissingGlyphError: the wording holds a character that the face cannot draw.
        ValueError: a draft has a number, or the link is too long for a code.
    """
    refuse_numbered_draft(document)
    with _one_at_a_time:
        return _Paper(document, resolve, link).content()


def check_glyphs(document: Document) -> None:
    """Refuses a Document whose texts, those of persons apart, are not all in the papers' face: for tests of
    texts of our own.

    Raises:
        MissingGlyphError: names the character and the text.
    """
    refuse_numbered_draft(document)
    with _one_at_a_time:
        _Paper(document, lambda reference: reference.kind, None, strict=True).boxes()


def _cut_line(piece: Piece, voice: Voice, room: float) -> TextLine:
    """The piece on one line; what does not fit is cut off, and three dots say so."""
    first, *more = wrap([piece], voice.style, voice.size, room)
    if not more:
        return first
    dots = set_line([("…", False)], voice.style, voice.size)
    short = wrap([piece], voice.style, voice.size, room - dots.width)[0]
    return TextLine((*short.runs, *dots.runs), short.width + dots.width)


class _Paper:
    """One Document on its sheets."""

    def __init__(
        self, document: Document, resolve: Resolve, link: str | None, *, strict: bool = False
    ) -> None:
        self._document, self._link = document, link
        self._theme, self._words = theme(), wording()["running"]
        self._left = self._theme.left * MM
        self._width = A4[0] - (self._theme.left + self._theme.right) * MM
        has_code = not document.draft and any(isinstance(block, Code) for block in document.blocks)
        self._symbol = symbol(link) if link is not None and has_code else None
        self._setter = Typesetter(
            document=document,
            resolve=resolve,
            wording=wording(),
            measures=ROOMY,
            width=self._width,
            strict=strict,
        )
        self._notices = [
            self._words[name] for name, on in (("draft", document.draft), ("demo", document.demo)) if on
        ]

    def content(self) -> bytes:
        """The bytes of the file."""
        top = A4[1] - self._theme.top * MM - 17.0 - (18.0 if self._notices else 0.0)
        pages = self._pages(top - self._theme.bottom * MM)
        with pdf_file(A4, typeface("regular").font, self._information()) as file:
            for nth, page in enumerate(pages, 1):
                self._draw_page(file, page, (nth, len(pages)), top)
            return file.finished()

    def boxes(self) -> list[Box]:
        """What stands on the paper, set roomily."""
        return document_boxes(self._setter, self._link, self._symbol)

    def _pages(self, room: float) -> list[list[Placed]]:
        """Set roomily, or tightly where that saves a sheet."""
        roomy = paginate(self.boxes(), room)
        last, down = roomy[-1][-1]
        if len(roomy) == 1 or (len(roomy) - 1 + (down + last.height) / room) * TIGHTEST > len(roomy) - 1:
            return roomy
        setter = attrs.evolve(self._setter, measures=TIGHT)
        tight = paginate(document_boxes(setter, self._link, self._symbol), room)
        return tight if len(tight) < len(roomy) else roomy

    def _information(self) -> Information:
        document = self._document
        return Information(
            title=f"{clean(document.title)}, {clean(document.shop)}",
            author=clean(document.shop),
            subject=document.kind.value,
            creator=f"corekit {__version__}",
            language=document.language,
        )

    def _draw_page(self, file: PdfFile, page: Sequence[Placed], place: tuple[int, int], top: float) -> None:
        """One page; `place` is its number and how many there are."""
        pen = Pen(file, self._theme.ink)
        self._draw_running_head(pen, place)
        for box, down in page:
            if box.bookmark is not None:
                words, level = box.bookmark
                file.bookmark(words, f"part-{place[0]}-{down:.1f}", level=level, top=top - down + 4)
            box.draw(pen, self._left, top - down, self._width)
        pen.set_words()
        file.end_page()

    def _draw_running_head(self, pen: Pen, place: tuple[int, int]) -> None:
        """The line at the top of every sheet, and below it what the paper is not."""
        left, right, y = self._left, self._left + self._width, A4[1] - self._theme.top * MM - 7.0
        number = self._words["page"].format(page=place[0], pages=place[1])
        page = set_line([(number, False)], _TITLE.style, _TITLE.size)
        room = self._width - page.width - 18
        shop = _cut_line((clean(self._document.shop), True), _SHOP, room * 0.6)
        title = _cut_line((clean(self._document.title), False), _TITLE, room - shop.width - 8)
        pen.write(shop, left, y, _SHOP)
        pen.write(title, left + shop.width + 8, y, _TITLE)
        pen.write(page, right - page.width, y, _TITLE)
        pen.rule(left, y - 4.2, right, y - 4.2, weight=0.5, colour=INK)
        if self._notices:
            notice = set_line([("   ·   ".join(self._notices), False)], _NOTICE.style, _NOTICE.size)
            pen.write(notice, left + (self._width - notice.width) / 2, y - 15.6, _NOTICE)
            pen.rule(left, y - 21.2, right, y - 21.2, weight=0.5, colour=INK)
