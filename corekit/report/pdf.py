"""A Document on paper: A4, Fira Sans, every font embedded, the same bytes for the same Document."""

from __future__ import annotations

import io
import threading
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import attrs
from reportlab import rl_config
from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFInfo, PDFName, PDFString
from reportlab.pdfgen.canvas import Canvas

from corekit._version import __version__
from corekit.model.document import (
    Block,
    Code,
    Document,
    FindingRow,
    Findings,
    Heading,
    Pairs,
    Paragraph,
    Picture,
    PricedLines,
    PricedRow,
    ReadingRow,
    Readings,
    Statement,
    Totals,
    Words,
)

from .code import MODULE_MM, QUIET, symbol
from .faces import Line, Piece, face, set_line, wrap
from .paper import A4, INK, MM, QUIET as QUIET_GREY, TEXT, Box, Cell, Pen, Placed, Text, paginate
from .strip import strip_figure
from .text import Say, clean
from .wording import Theme, Wording, theme, wording

# (size, leading) in points.
_TITLE = (21.0, 25.0)
_AMOUNT = (15.0, 25.0)
_HEADINGS = ((11.5, 14.0), (9.2, 12.0))
_BODY = (9.0, 12.2)
_ROW = (8.6, 11.0)
_SMALL = (7.4, 9.4)
_HEAD = (7.2, 9.0)

# A reportlab font keeps state while a paper is written: one paper at a time.
_one_at_a_time = threading.Lock()


def render_pdf(document: Document, say: Say, link: str | None) -> bytes:
    """The Document as a PDF file.

    Args:
        document: What to set. Its own texts must have every glyph; what people typed falls back, see `faces.runs`.
        say: What references to personal text become.
        link: What the code holds and the paper prints beside it; None when no page address is set. A draft carries no code.

    Errors:
        MissingGlyph: a text of our own holds a character that the face cannot draw.
        ValueError: a draft has a number, or the link is too long for a code.
    """
    if document.draft and document.number:
        raise ValueError(f"A draft has no number; this one says {document.number!r}. Issue it, or take the number away.")
    with _one_at_a_time:
        return _Setting(document, say, link).written()


def check_glyphs(document: Document) -> None:
    """Refuses a Document of which a text of our own cannot be set, as `render_pdf` would: for whoever must know before a number is taken.

    Errors:
        MissingGlyph: names the character and the text.
    """
    with _one_at_a_time:
        _Setting(document, lambda reference: reference.kind, None).boxes()


class _Info(PDFInfo):  # type: ignore[misc]
    """Title, author, subject and maker: no dates, since the date that counts is printed and the same Document gives the same file."""

    def format(self, document: Any) -> bytes:
        entries = {"Title": self.title, "Author": self.author, "Subject": self.subject, "Creator": self.creator, "Producer": self.producer}
        return PDFDictionary({**{name: PDFString(text) for name, text in entries.items()}, "Trapped": PDFName("False")}).format(document)  # type: ignore[no-any-return]


class _Setting:
    """One Document on its way to paper."""

    def __init__(self, document: Document, say: Say, link: str | None) -> None:
        self._document, self._say, self._link = document, say, link
        self._theme: Theme = theme()
        self._words: Wording = wording()
        self._left = self._theme.left * MM
        self._width = A4[0] - (self._theme.left + self._theme.right) * MM
        self._said_key = False
        self._notices = [self._words["running"][name] for name, on in (("draft", document.draft), ("demo", document.demo)) if on]

    # --- the sheets -------------------------------------------------------------------------------------------------

    def written(self) -> bytes:
        top = A4[1] - self._theme.top * MM - 17.0 - (17.0 if self._notices else 0.0)
        pages = paginate(self.boxes(), top - self._theme.bottom * MM)
        out = io.BytesIO()
        packed = rl_config.useA85
        rl_config.useA85 = 0  # streams as bytes: a fifth smaller than as text, and nobody reads them in an editor
        try:
            canvas = self._canvas(out)
            for nth, page in enumerate(pages, 1):
                self._sheet(canvas, page, nth, len(pages), top)
            canvas.save()
        finally:
            rl_config.useA85 = packed
        return out.getvalue()

    def _canvas(self, out: io.BytesIO) -> Canvas:
        document = self._document
        # Without a first font of ours reportlab writes Helvetica into every file, and does not embed it.
        first = face("regular").name
        canvas = Canvas(out, pagesize=A4, pageCompression=1, invariant=1, initialFontName=first, lang=document.language)
        canvas._doc.info = _Info()
        canvas._doc.info.invariant = 1
        canvas.setTitle(f"{clean(document.title)}, {clean(document.shop)}")
        canvas.setAuthor(clean(document.shop))
        canvas.setSubject(document.kind.value)
        canvas.setCreator(f"corekit {__version__}")
        canvas.setViewerPreference("DisplayDocTitle", "true")
        return canvas

    def _sheet(self, canvas: Canvas, page: Sequence[Placed], nth: int, count: int, top: float) -> None:
        pen = Pen(canvas, self._theme.ink)
        self._running(pen, nth, count)
        for box, down in page:
            if box.mark is not None:
                words, level = box.mark
                key = f"part-{canvas.getPageNumber()}-{down:.1f}"
                canvas.bookmarkHorizontal(key, 0, top - down + 4)
                canvas.addOutlineEntry(words, key, level=level)
            box.onto(pen, self._left, top - down, self._width)
        pen.done()
        canvas.showPage()

    def _running(self, pen: Pen, nth: int, count: int) -> None:
        """The line at the top of every sheet, and below it what the paper is not."""
        y = A4[1] - self._theme.top * MM - 7.0
        right = self._left + self._width
        place = self._own(self._words["running"]["page"].format(page=nth, pages=count), "regular", 7.6)
        room = self._width - place.width - 20
        title = self._own(clean(self._document.title), "regular", 7.6)
        shop = wrap([(clean(self._document.shop), True)], "strong", 7.6, max(room - title.width - 10, 60))[0]
        pen.write(shop, self._left, y, 7.6, INK)
        pen.write(title, self._left + shop.width + 8, y, 7.6, QUIET_GREY)
        pen.write(place, right - place.width, y, 7.6, QUIET_GREY)
        pen.rule(self._left, y - 4.2, right, y - 4.2, 0.5, INK)
        if self._notices:
            notice = self._own("  ·  ".join(self._notices), "strong", 8.6)
            pen.write(notice, self._left + (self._width - notice.width) / 2, y - 16.5, 8.6, TEXT)
            pen.rule(self._left, y - 21.5, right, y - 21.5, 0.5, INK)

    # --- blocks → boxes ---------------------------------------------------------------------------------------------

    def boxes(self) -> list[Box]:
        made = [self._opening()]
        self._said_key = False
        level = -1
        for nth, block in enumerate(self._document.blocks):
            if isinstance(block, Heading):
                level = min(block.level - 1, level + 1)  # an outline cannot skip a level
                made += self._heading(block, max(level, 0))
            else:
                made += self._block(block, self._document.blocks[nth + 1 : nth + 2])
        return made

    def _block(self, block: Block, following: Sequence[Block]) -> list[Box]:
        if isinstance(block, Paragraph):
            return self._paragraph(block)
        if isinstance(block, Pairs):
            return list(self._pairs(block))
        if isinstance(block, Findings):
            return [self._finding(row, first=nth == 0) for nth, row in enumerate(block.rows)]
        if isinstance(block, Readings):
            return self._readings(block)
        if isinstance(block, Picture):
            return self._picture(block)
        if isinstance(block, PricedLines):
            return self._lines(block, totals_follow=bool(following) and isinstance(following[0], Totals))
        if isinstance(block, Totals):
            return self._totals(block)
        if isinstance(block, Statement):
            return self._statement(block)
        if isinstance(block, Code):
            return self._code(block)
        raise TypeError(f"No way to set a {type(block).__name__} on paper.")

    def _opening(self) -> Box:
        document, words = self._document, self._words["opening"]
        right = self._width * 0.3
        room = self._width - right - 12
        left = [*self._texts([(clean(document.title), False)], "strong", _TITLE, room, INK)]
        if document.issued:
            left += self._texts([(words["issued"].format(date=clean(document.issued)), False)], "regular", _BODY, room, QUIET_GREY)
        cells = [Cell(0, room, tuple(left))]
        if document.total:
            amount = [*self._texts([(clean(document.total), False)], "strong", _AMOUNT, right, INK, "right")]
            amount += self._texts([(words["total"].format(currency=clean(document.currency)), False)], "regular", _BODY, right, QUIET_GREY, "right")
            cells.append(Cell(self._width - right, right, tuple(amount)))
        return Box(cells=tuple(cells), pad=3)

    def _heading(self, block: Heading, outline: int) -> list[Box]:
        deep = min(max(block.level, 1), 2) - 1
        texts = self._texts([(clean(block.text), False)], "strong", _HEADINGS[deep], self._width, INK)
        return [
            Box(cells=(Cell(0, self._width, texts),), gap=(13.0, 8.0)[deep], pad=2.5, keep=True, mark=(clean(block.text), outline)),
        ]

    def _paragraph(self, block: Paragraph) -> list[Box]:
        style, size, colour = {
            "plain": ("regular", _BODY, TEXT),
            "small": ("regular", _SMALL, QUIET_GREY),
            "strong": ("strong", _BODY, TEXT),
            "quote": ("regular", _BODY, TEXT),
        }.get(block.tone, ("regular", _BODY, TEXT))
        quoted = block.tone == "quote"
        indent = 9.0 if quoted else 0.0
        texts = self._texts(self._pieces(block.words), style, size, self._width - indent, colour)
        # Two lines at least stand together at the foot and at the head of a page.
        parts = [texts] if len(texts) <= 3 else [texts[:2], *((text,) for text in texts[2:-2]), texts[-2:]]
        return [
            Box(cells=(Cell(indent, self._width - indent, tuple(part)),), gap=3.0 if nth == 0 else 0.0, side=1.6 if quoted else 0.0)
            for nth, part in enumerate(parts)
        ]

    def _pairs(self, block: Pairs) -> Iterator[Box]:
        label, half = 74.0, (self._width - 16) / 2
        waiting: list[tuple[tuple[Text, ...], tuple[Text, ...]]] = []

        def row(*sides: tuple[tuple[Text, ...], tuple[Text, ...]], wide: bool = False) -> Box:
            cells: list[Cell] = []
            for nth, (name, value) in enumerate(sides):
                start = nth * (half + 16)
                cells += [Cell(start, label - 6, name), Cell(start + label, (self._width if wide else half) - label, value)]
            return Box(cells=tuple(cells), gap=1.2)

        for name, words in block.rows:
            pieces = self._pieces(words)
            names = self._texts([(clean(name), False)], "regular", _SMALL, label - 6, QUIET_GREY)
            values = self._texts(pieces, "regular", _BODY, half - label, TEXT)
            if len(values) > 2:  # too long for half the sheet: a row of its own
                if waiting:
                    yield row(waiting.pop())
                yield row((names, self._texts(pieces, "regular", _BODY, self._width - label, TEXT)), wide=True)
            elif waiting:
                yield row(waiting.pop(), (names, values))
            else:
                waiting.append((names, values))
        if waiting:
            yield row(waiting.pop())

    def _finding(self, row: FindingRow, *, first: bool) -> Box:
        side = 92.0
        left = [*self._texts([(clean(row.urgency), False)], "strong", _ROW, side - 10, INK)]
        left += self._texts([(" · ".join(filter(None, (clean(row.verdict), clean(row.stage)))), False)], "regular", _SMALL, side - 10, QUIET_GREY)
        right = [*self._texts([(clean(row.text), False)], "regular", _BODY, self._width - side, TEXT)]
        if row.basis:
            right += self._texts([(clean(row.basis), False)], "regular", _SMALL, self._width - side, QUIET_GREY)
        return Box(cells=(Cell(0, side, tuple(left)), Cell(side, self._width - side, tuple(right))), pad=2.6, rule=0.0 if first else 0.4)

    def _readings(self, block: Readings) -> list[Box]:
        if not block.rows:
            return []
        words = self._words["readings"]
        strips = any(row.strip is not None for row in block.rows)
        later = any(row.after for row in block.rows)
        # Shares of the width: name, before, after, scale, limit.
        shares = {(True, True): (28, 13.5, 13.5, 24, 21), (True, False): (31, 16, 0, 26, 27), (False, True): (34, 15, 15, 0, 36), (False, False): (40, 18, 0, 0, 42)}
        columns = list(self._columns(shares[strips, later]))
        titles = (words["name"], words["before"], words["after"], words["scale"], words["limit"])
        used = [(title, x, wide, nth) for nth, (title, (x, wide)) in enumerate(zip(titles, columns, strict=True)) if wide > 0]
        head = self._head([(title, x, wide, "right" if nth in (1, 2) else "left") for title, x, wide, nth in used])
        made: list[Box] = []
        if strips and not self._said_key:
            made.append(Box(cells=(Cell(0, self._width, self._texts([(words["key"], False)], "regular", _SMALL, self._width, QUIET_GREY)),), keep=True))
            self._said_key = True
        made.append(head)
        for nth, row in enumerate(block.rows):
            made.append(attrs.evolve(self._reading(row, columns), head=head, rule=0.0 if nth == 0 else 0.4))
        if len(block.rows) > 1:
            made[-2].keep = True  # no row alone on the last page
        return made

    def _reading(self, row: ReadingRow, columns: Sequence[tuple[float, float]]) -> Box:
        (name_x, name_w), (before_x, before_w), (after_x, after_w), (strip_x, strip_w), (limit_x, limit_w) = columns
        name = [*self._texts([(clean(row.name), False)], "regular", _ROW, name_w, TEXT)]
        if row.note:
            name += self._texts([(clean(row.note), True)], "regular", _SMALL, name_w, QUIET_GREY)
        now, then = ("strong", "regular") if row.after else ("regular", "strong")
        cells = [Cell(name_x, name_w, tuple(name))]
        if row.before:
            cells.append(Cell(before_x, before_w, self._texts([(clean(row.before), False)], then, _ROW, before_w, TEXT, "right")))
        if row.after:
            cells.append(Cell(after_x, after_w, self._texts([(clean(row.after), False)], now, _ROW, after_w, TEXT, "right")))
        if row.strip is not None:
            cells.append(Cell(strip_x, strip_w, (), strip_figure(row.strip, clean(row.name))))
        limit = [*self._texts([(clean(row.limit), False)], "regular", _SMALL, limit_w, TEXT)] if row.limit else []
        if row.source:
            limit += self._texts([(clean(row.source), False)], "regular", _SMALL, limit_w, QUIET_GREY)
        cells.append(Cell(limit_x, limit_w, tuple(limit)))
        return Box(cells=tuple(cells), pad=1.7)

    def _picture(self, block: Picture) -> list[Box]:
        figure = block.figure
        return [
            Box(cells=(Cell(0, self._width, self._texts([(clean(figure.title), False)], "strong", _ROW, self._width, TEXT)),), gap=7, keep=True),
            Box(cells=(Cell(0, self._width, (), figure),), gap=3, keep=True),
            Box(cells=(Cell(0, self._width, self._texts([(clean(figure.description), False)], "regular", _SMALL, self._width, QUIET_GREY)),), gap=2),
        ]

    def _lines(self, block: PricedLines, *, totals_follow: bool) -> list[Box]:
        if not block.rows:
            return []
        words = self._words["lines"]
        columns = list(self._columns((50, 15, 13, 8, 14)))
        titles = (words["text"], words["quantity"], words["price"], words["tax"], words["net"].format(currency=clean(block.currency)))
        head = self._head([(title, x, wide, "right" if nth else "left") for nth, (title, (x, wide)) in enumerate(zip(titles, columns, strict=True))])
        made = [head]
        for nth, row in enumerate(block.rows):
            made.append(attrs.evolve(self._line(row, columns), head=head, rule=0.0 if nth == 0 else 0.4))
        if len(block.rows) > 1:
            made[-2].keep = True
        made[-1].keep = totals_follow  # a total never stands alone on the last page
        return made

    def _line(self, row: PricedRow, columns: Sequence[tuple[float, float]]) -> Box:
        (text_x, text_w), *numbers = columns
        texts = [*self._texts([(clean(row.text), True)], "regular", _ROW, text_w, TEXT)]
        for below in (row.ground, row.note):
            if below:
                texts += self._texts([(clean(below), True)], "regular", _SMALL, text_w, QUIET_GREY)
        cells = [Cell(text_x, text_w, tuple(texts))]
        for value, (x, wide) in zip((row.quantity, row.price, row.tax, row.net), numbers, strict=True):
            if value:
                cells.append(Cell(x, wide, self._texts([(clean(value), False)], "regular", _ROW, wide, TEXT, "right")))
        return Box(cells=tuple(cells), pad=2.2)

    def _totals(self, block: Totals) -> list[Box]:
        start, amount = self._width * 0.45, self._width * 0.2
        made: list[Box] = []
        for nth, (label, value, strong) in enumerate(block.rows):
            style, size = ("strong", (9.6, 12.6)) if strong else ("regular", _ROW)
            wide = self._width - start - amount
            cells = (
                Cell(start, wide, self._texts([(clean(label), False)], style, size, wide, TEXT)),
                Cell(self._width - amount, amount, self._texts([(clean(value), False)], style, size, amount, TEXT, "right")),
            )
            made.append(Box(cells=cells, gap=2.0 if nth == 0 else 0.0, pad=1.8, keep=nth < len(block.rows) - 1, draw=self._part_rule(start, heavy=strong or nth == 0)))
        return made

    def _part_rule(self, start: float, *, heavy: bool) -> Callable[[Pen, float, float], None] | None:
        if not heavy:
            return None
        return lambda pen, x, top: pen.rule(x + start, top + 1.8, x + self._width, top + 1.8, 0.6, INK)

    def _statement(self, block: Statement) -> list[Box]:
        inner = self._width - 20
        texts = [*self._texts([(clean(block.title), False)], "strong", _BODY, inner, TEXT), *self._texts(self._pieces(block.words), "regular", _BODY, inner, TEXT)]
        return [Box(cells=(Cell(10, inner, tuple(texts)),), gap=7, pad=5, frame="tb")]

    def _code(self, block: Code) -> list[Box]:
        words = self._words["code"]
        if self._document.draft:
            return [Box(cells=(Cell(0, self._width, self._texts([(words["draft"], False)], "regular", _SMALL, self._width, QUIET_GREY)),), gap=5)]
        drawn = symbol(self._link) if self._link is not None else None
        module = MODULE_MM * MM
        start = drawn.side * module + 6 if drawn is not None else 0.0
        room = self._width - start
        texts: list[Text] = []
        if self._link is not None:
            texts += self._texts([(words["scan"], False)], "strong", _BODY, room, INK)
            texts += self._texts([(words["link"], False)], "regular", _SMALL, room, QUIET_GREY)
            texts += self._texts([(clean(self._link), True)], "regular", _ROW, room, TEXT)
        else:
            texts += self._texts([(words["no_link"], False)], "regular", _BODY, room, TEXT)
        texts += self._texts([(words["mark"], False)], "regular", (_SMALL[0], 14.0), room, QUIET_GREY)
        texts += self._texts([(clean(block.record_mark), False)], "strong", (11.0, 13.5), room, TEXT)
        texts += self._texts([(words["mark_what"], False)], "regular", _SMALL, room, QUIET_GREY)
        box = Box(cells=(Cell(start, room, tuple(texts)),), gap=5, pad=QUIET * module)
        if drawn is not None:
            box.least = (drawn.side - 2 * QUIET) * module
            box.draw = lambda pen, x, top: pen.dark_squares(drawn.runs(), x, top, module)
        return [box]

    # --- small things -----------------------------------------------------------------------------------------------

    def _columns(self, shares: Sequence[float]) -> Iterator[tuple[float, float]]:
        """(start, width) of columns with these shares of the width; one without a share has no width."""
        gap = 9.0
        shown = sum(1 for share in shares if share)
        each = (self._width - gap * (shown - 1)) / sum(shares)
        x = 0.0
        for share in shares:
            yield x, share * each
            x += share * each + gap if share else 0.0

    def _head(self, titles: Sequence[tuple[str, float, float, str]]) -> Box:
        cells = tuple(Cell(x, wide, self._texts([(title, False)], "regular", _HEAD, wide, QUIET_GREY, align)) for title, x, wide, align in titles)
        lowest = max(len(cell.texts) for cell in cells) * _HEAD[1] + 4.0
        return Box(cells=cells, gap=3.0, pad=2.0, keep=True, draw=lambda pen, x, top: pen.rule(x, top - lowest + 2.0, x + self._width, top - lowest + 2.0, 0.7, INK))

    def _pieces(self, words: Words) -> list[Piece]:
        return [(clean(run, lines=True), False) if isinstance(run, str) else (clean(self._say(run), lines=True), True) for run in words]

    def _own(self, text: str, style: str, size: float) -> Line:
        return set_line([(text, False)], style, size)

    def _texts(
        self, pieces: Sequence[Piece], style: str, size: tuple[float, float], room: float, colour: float, align: str = "left"
    ) -> tuple[Text, ...]:
        return tuple(Text(line, size[0], size[1], colour, align) for line in wrap(pieces, style, size[0], room))
