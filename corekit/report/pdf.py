"""A Document on paper: A4 or Letter, Fira Sans, every font embedded, the same bytes for the same Document."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from functools import partial

import attrs

from .._version import __version__
from ..model.canonical import canonical
from ..model.document import Code, Document, to_data
from .account_paper import account_pages
from .blocks import document_boxes
from .code import Symbol, symbol
from .fonts import forget_words, typeface
from .layout import Box, Placed, paginate
from .measures import ROOMY, TIGHT, TIGHTEST
from .pdf_file import Information, PdfFile, pdf_file
from .pen import MM, PAPERS, Pen
from .running_head import Place, heads
from .text import Resolve, clean, refuse_numbered_draft
from .typesetter import Typesetter
from .wording import theme, wording, words_in

#: Under this name a paper carries its own content: the masked Document, from which the mark is computed.
ATTACHMENT = "corekit-document.json"
_ATTACHED = "What this document says, as data: readings, limits, work and amounts, without names"

# A reportlab font keeps state while a paper is written: one paper at a time.
_one_at_a_time = threading.Lock()


def render_pdf(
    document: Document, resolve: Resolve, link: str | None, *, carried: str | None = None
) -> bytes:
    """The Document as a PDF file.

    Args:
        document: What to set. What somebody typed is in it nearly everywhere, so every text of it may fall
            back, see `fonts.runs`: a paper that was promised is never refused for a letter. `check_glyphs` is
            for our own texts.
        resolve: What references to personal text become.
        link: What the code holds and the paper prints beside it; None when no page address is set. A draft
            carries no code.
        carried: What a second code holds that carries the readings themselves; a Document of form 1 has no
            room for it.

    Raises:
        MissingGlyphError: the wording holds a character that the face cannot draw.
        ValueError: a draft has a number, or the link is too long for a code.
    """
    refuse_numbered_draft(document)
    with _one_at_a_time, words_in(document.language):
        try:
            return _Paper(document, resolve, link, carried).content()
        finally:
            forget_words()


def check_glyphs(document: Document) -> None:
    """Refuses a Document whose texts, those of persons apart, are not all in the papers' face: for tests of
    texts of our own.

    Raises:
        MissingGlyphError: names the character and the text.
    """
    refuse_numbered_draft(document)
    with _one_at_a_time:
        _Paper(document, lambda reference: reference.kind, None, None, strict=True).pages()


class _Paper:
    """One Document on its sheets."""

    def __init__(
        self,
        document: Document,
        resolve: Resolve,
        link: str | None,
        carried: str | None,
        *,
        strict: bool = False,
    ) -> None:
        self._document, self._link = document, link
        self._theme = theme()
        self._size = PAPERS[self._theme.paper]
        self._left = self._theme.left * MM
        self._width = self._size[0] - (self._theme.left + self._theme.right) * MM
        has_code = not document.draft and any(isinstance(block, Code) for block in document.blocks)
        transfer = document.transfer or None
        texts = (link, carried, transfer) if has_code else (None, None, None)
        self._symbols: list[Symbol | None] = [None if text is None else symbol(text) for text in texts]
        self._setter = Typesetter(
            document=document,
            resolve=resolve,
            wording=wording(),
            measures=ROOMY,
            width=self._width,
            strict=strict,
        )
        self._heads = heads(document, wording(), self._width)

    def content(self) -> bytes:
        """The bytes of the file."""
        pages = self.pages()
        with pdf_file(self._size, typeface("regular").font, self._information()) as file:
            for nth, page in enumerate(pages, 1):
                self._draw_page(file, page, (nth, len(pages)))
            if self._document.rests_on:
                file.attach(ATTACHMENT, canonical(to_data(self._document)), _ATTACHED)
            return file.finished()

    def pages(self) -> list[list[Placed]]:
        """What stands on which sheet."""
        first, behind = (
            self._size[1] - (self._theme.top + self._theme.bottom) * MM - head.height for head in self._heads
        )
        if self._document.form == 1:
            return self._pages_of_log(first)
        return account_pages(self._setter, self._link, self._symbols, (first, behind))

    def _pages_of_log(self, room: float) -> list[list[Placed]]:
        """Set roomily, or tightly where that saves a sheet."""
        roomy = paginate(self._boxes_of_log(self._setter), room)
        last, down = roomy[-1][-1]
        if len(roomy) == 1 or (len(roomy) - 1 + (down + last.height) / room) * TIGHTEST > len(roomy) - 1:
            return roomy
        tight = paginate(self._boxes_of_log(attrs.evolve(self._setter, measures=TIGHT)), room)
        return tight if len(tight) < len(roomy) else roomy

    def _boxes_of_log(self, setter: Typesetter) -> list[Box]:
        return document_boxes(setter, self._link, self._symbols[0])

    def _information(self) -> Information:
        document = self._document
        return Information(
            title=f"{clean(document.title)}, {clean(document.shop)}",
            author=clean(document.shop),
            subject=document.kind.value,
            creator=f"corekit {__version__}",
            language=document.language,
        )

    def _draw_page(self, file: PdfFile, page: Sequence[Placed], place: tuple[int, int]) -> None:
        """One page; `place` is its number and how many there are."""
        nth, count = place
        pen = Pen(file, self._theme.ink)
        head = self._heads[min(nth, 2) - 1]
        edge = self._size[1] - self._theme.top * MM
        right = self._left + self._width
        with pen.element(lambda: "/Artifact <</Type /Pagination>> BDC"):
            head.draw(pen, Place(left=self._left, right=right, top=edge, sheet=nth, sheets=count))
        top = edge - head.height
        for box, down in page:
            if box.bookmark is not None:
                words, level = box.bookmark
                file.bookmark(words, f"part-{nth}-{down:.1f}", level=level, top=top - down + 4)
            kind = f"H{min(box.bookmark[1] + 1, 6)}" if box.bookmark is not None else "P"
            with pen.element(partial(file.element, kind)):
                box.draw(pen, self._left, top - down, self._width)
        pen.set_words()
        file.end_page()
