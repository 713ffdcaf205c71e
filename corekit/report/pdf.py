"""A Document on paper: A4, Fira Sans, every font embedded, the same bytes for the same Document."""

from __future__ import annotations

import io
import threading
from collections.abc import Callable, Iterator, Sequence
from functools import cached_property
from itertools import takewhile
from typing import Any

import attrs
from reportlab import rl_config
from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFInfo, PDFName, PDFString
from reportlab.pdfgen.canvas import Canvas

from .._version import __version__
from ..model.document import (
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
from ..model.figure import Figure, Strip
from .code import MODULE_MM, QUIET, Symbol, symbol
from .fonts import Line, Piece, face, set_line, wrap
from .paper import A4, INK, MM, TEXT, Box, Cell, Pen, Placed, Text, Voice, paginate
from .paper import QUIET as GREY
from .strip import strip_figure
from .text import Say, amount_words, clean, refuse_numbered_draft
from .wording import theme, wording


@attrs.frozen(kw_only=True)
class _Measures:
    """The voices of a paper, and how far apart things stand, in points."""

    title: Voice = Voice("strong", 21.0, 25.0, INK)
    amount: Voice = Voice("strong", 15.0, 25.0, INK)
    headings: tuple[Voice, Voice] = (Voice("strong", 11.5, 14.0, INK), Voice("strong", 9.2, 12.0, INK))
    body: Voice = Voice("regular", 9.0, 12.0)
    row: Voice = Voice("regular", 8.6, 11.0)
    small: Voice = Voice("regular", 7.4, 9.2, GREY)
    total: Voice = Voice("strong", 9.6, 12.6)
    mark: Voice = Voice("strong", 11.0, 13.5)
    above_headings: tuple[float, float] = (11.0, 8.0)
    reading_pad: float = 1.9
    line_pad: float = 2.3
    finding_pad: float = 2.8
    between: float = 5.0  # paragraphs, frames, tables
    strip: float = 1.0  # of a strip's full height
    ground_beside: bool = False  # a line's ground beside it where there is room, else always below


_ROOMY = _Measures()
#: Taken when it saves a sheet.
_TIGHT = _Measures(
    title=Voice("strong", 19.0, 22.0, INK),
    amount=Voice("strong", 14.0, 22.0, INK),
    headings=(Voice("strong", 10.6, 12.6, INK), Voice("strong", 8.8, 10.6, INK)),
    body=Voice("regular", 8.6, 10.6),
    row=Voice("regular", 8.3, 9.9),
    small=Voice("regular", 7.0, 8.1, GREY),
    total=Voice("strong", 9.0, 11.2),
    above_headings=(6.0, 4.0),
    reading_pad=1.0,
    line_pad=1.3,
    finding_pad=1.7,
    between=3.5,
    strip=0.86,
    ground_beside=True,
)
_TIGHTEST = 0.78  # of the roomy height: what the tight setting could come down to at best
_HEAD = Voice("regular", 7.2, 9.0, GREY)
_RUNNING = {
    "shop": Voice("strong", 7.6, 9.5, INK),
    "rest": Voice("regular", 7.6, 9.5, GREY),
    "notice": Voice("strong", 8.6, 10.0),
}
_HAIR = 0.4

# A reportlab font keeps state while a paper is written: one paper at a time.
_one_at_a_time = threading.Lock()


def render_pdf(document: Document, say: Say, link: str | None) -> bytes:
    """The Document as a PDF file.

    Args:
        document: What to set. What somebody typed is in it nearly everywhere, so every text of it may fall
            back, see `faces.runs`: a paper that was promised is never refused for a letter. `check_glyphs` is
            for our own texts.
        say: What references to personal text become.
        link: What the code holds and the paper prints beside it; None when no page address is set. A draft
            carries no code.

    Raises:
        MissingGlyph: the wording holds a character that the face cannot draw.
        ValueError: a draft has a number, or the link is too long for a code.
    """
    refuse_numbered_draft(document)
    with _one_at_a_time:
        return _Setting(document, say, link).written()


def check_glyphs(document: Document) -> None:
    """Refuses a Document whose texts, those of persons apart, are not all in the papers' face: for tests of
    texts of our own.

    Raises:
        MissingGlyph: names the character and the text.
    """
    refuse_numbered_draft(document)
    with _one_at_a_time:
        _Setting(document, lambda reference: reference.kind, None, strict=True).boxes()


def _cut_line(piece: Piece, voice: Voice, room: float) -> Line:
    """The piece on one line; what does not fit is cut off, and three dots say so."""
    first, *more = wrap([piece], voice.style, voice.size, room)
    if not more:
        return first
    dots = set_line([("…", False)], voice.style, voice.size)
    short = wrap([piece], voice.style, voice.size, room - dots.width)[0]
    return Line((*short.runs, *dots.runs), short.width + dots.width)


class _Info(PDFInfo):  # type: ignore[misc]
    """Title, author, subject and maker: no dates, since the date that counts is printed and the same Document
    gives the same file.
    """

    def format(self, document: Any) -> bytes:
        entries = {
            "Title": self.title,
            "Author": self.author,
            "Subject": self.subject,
            "Creator": self.creator,
            "Producer": self.producer,
        }
        shown = {**{name: PDFString(text) for name, text in entries.items()}, "Trapped": PDFName("False")}
        return PDFDictionary(shown).format(document)  # type: ignore[no-any-return]


Column = tuple[float, float]  # where it starts, how wide it is; one that is not shown has no width


class _Setting:
    """One Document on its way to paper."""

    def __init__(self, document: Document, say: Say, link: str | None, *, strict: bool = False) -> None:
        self._document, self._say, self._link, self._strict = document, say, link, strict
        self._theme, self._words, self._m = theme(), wording(), _ROOMY
        self._left = self._theme.left * MM
        self._width = A4[0] - (self._theme.left + self._theme.right) * MM
        self._strips: dict[tuple[Strip, str], Figure] = {}
        self._notices = [
            self._words["running"][name]
            for name, on in (("draft", document.draft), ("demo", document.demo))
            if on
        ]

    @cached_property
    def _symbol(self) -> Symbol | None:
        return None if self._link is None or self._document.draft else symbol(self._link)

    # --- the sheets -----------------------------------------------------------------------------------------

    def written(self) -> bytes:
        top = A4[1] - self._theme.top * MM - 17.0 - (18.0 if self._notices else 0.0)
        pages = self._pages(top - self._theme.bottom * MM)
        out = io.BytesIO()
        as_text = rl_config.useA85
        rl_config.useA85 = (
            0  # streams as bytes: a fifth smaller than as text, and nobody reads them in an editor
        )
        try:
            canvas = self._canvas(out)
            for nth, page in enumerate(pages, 1):
                self._sheet(canvas, page, (nth, len(pages)), top)
            canvas.save()
        finally:
            rl_config.useA85 = as_text
        return out.getvalue()

    def _pages(self, room: float) -> list[list[Placed]]:
        """Set roomily, or tightly where that saves a sheet."""
        roomy = paginate(self.boxes(), room)
        last, down = roomy[-1][-1]
        if len(roomy) == 1 or (len(roomy) - 1 + (down + last.height) / room) * _TIGHTEST > len(roomy) - 1:
            return roomy
        self._m = _TIGHT
        tight = paginate(self.boxes(), room)
        return tight if len(tight) < len(roomy) else roomy

    def _canvas(self, out: io.BytesIO) -> Canvas:
        document = self._document
        # Without a first font of ours reportlab writes Helvetica into every file, and does not embed it.
        canvas = Canvas(
            out,
            pagesize=A4,
            pageCompression=1,
            invariant=1,
            initialFontName=face("regular").name,
            lang=document.language,
        )
        canvas._doc.info = _Info()
        canvas.setTitle(f"{clean(document.title)}, {clean(document.shop)}")
        canvas.setAuthor(clean(document.shop))
        canvas.setSubject(document.kind.value)
        canvas.setCreator(f"corekit {__version__}")
        canvas.setViewerPreference("DisplayDocTitle", "true")
        return canvas

    def _sheet(self, canvas: Canvas, page: Sequence[Placed], place: tuple[int, int], top: float) -> None:
        pen = Pen(canvas, self._theme.ink)
        self._running(pen, place)
        for box, down in page:
            if box.mark is not None:
                words, level = box.mark
                key = f"part-{place[0]}-{down:.1f}"
                canvas.bookmarkHorizontal(key, 0, top - down + 4)
                canvas.addOutlineEntry(words, key, level=level)
            box.onto(pen, self._left, top - down, self._width)
        pen.done()
        canvas.showPage()

    def _running(self, pen: Pen, place: tuple[int, int]) -> None:
        """The line at the top of every sheet, and below it what the paper is not."""
        shop_voice, rest, loud = _RUNNING["shop"], _RUNNING["rest"], _RUNNING["notice"]
        left, right, y = self._left, self._left + self._width, A4[1] - self._theme.top * MM - 7.0
        page = set_line(
            [(self._words["running"]["page"].format(page=place[0], pages=place[1]), False)],
            rest.style,
            rest.size,
        )
        room = self._width - page.width - 18
        shop = _cut_line((clean(self._document.shop), True), shop_voice, room * 0.6)
        title = _cut_line((clean(self._document.title), False), rest, room - shop.width - 8)
        pen.write(shop, left, y, shop_voice)
        pen.write(title, left + shop.width + 8, y, rest)
        pen.write(page, right - page.width, y, rest)
        pen.rule(left, y - 4.2, right, y - 4.2, weight=0.5, colour=INK)
        if self._notices:
            notice = set_line([("   ·   ".join(self._notices), False)], loud.style, loud.size)
            pen.write(notice, left + (self._width - notice.width) / 2, y - 15.6, loud)
            pen.rule(left, y - 21.2, right, y - 21.2, weight=0.5, colour=INK)

    # --- blocks → boxes -------------------------------------------------------------------------------------

    def boxes(self) -> list[Box]:
        made = [self._opening()]
        blocks = self._document.blocks
        level, key_said = -1, False
        for nth, block in enumerate(blocks):
            if isinstance(block, Heading):
                level = min(block.level - 1, level + 1)  # an outline cannot skip a level
                more = [self._heading(block, max(level, 0))]
            elif isinstance(block, Readings):
                more = self._readings(block, say_key=not key_said)
                key_said = key_said or any(row.strip is not None for row in block.rows)
            elif isinstance(block, Picture):
                if nth and isinstance(blocks[nth - 1], Picture):
                    continue  # set with the one before it
                more = self._pictures(list(takewhile(lambda one: isinstance(one, Picture), blocks[nth:])))
            elif isinstance(block, PricedLines):
                more = self._lines(
                    block, totals_follow=isinstance(next(iter(blocks[nth + 1 :]), None), Totals)
                )
            else:
                more = self._block(block)
            if more and nth and isinstance(blocks[nth - 1], Statement):
                more[0].gap = max(more[0].gap, self._m.between + 2)
            made += more
        return made

    def _block(self, block: Block) -> list[Box]:
        if isinstance(block, Paragraph):
            return self._paragraph(block)
        if isinstance(block, Pairs):
            return list(self._pairs(block))
        if isinstance(block, Findings):
            return [
                self._finding(row, before)
                for before, row in zip([None, *block.rows], block.rows, strict=False)
            ]
        if isinstance(block, Totals):
            return self._totals(block)
        if isinstance(block, Statement):
            return self._statement(block)
        if isinstance(block, Code):
            return self._code(block)
        raise TypeError(f"No way to set a {type(block).__name__} on paper.")

    def _opening(self) -> Box:
        document, words, m = self._document, self._words["opening"], self._m
        side = self._width * 0.3
        room = self._width - side - 12
        quiet = attrs.evolve(m.body, colour=GREY)
        left = self._own(document.title, m.title, room)
        if document.issued:
            left += self._own(words["issued"].format(date=clean(document.issued)), quiet, room)
        cells = [Cell(0, room, left)]
        if document.total:
            amount = self._own(document.total, m.amount, side, "right")
            amount += self._own(amount_words(document, self._words), quiet, side, "right")
            cells.append(Cell(self._width - side, side, amount))
        return Box(cells=tuple(cells), pad=4)

    def _heading(self, block: Heading, outline: int) -> Box:
        deep = min(max(block.level, 1), 2) - 1
        texts = self._own(block.text, self._m.headings[deep], self._width)
        return Box(
            cells=(Cell(0, self._width, texts),),
            gap=self._m.above_headings[deep],
            pad=2.0,
            keep=True,
            mark=(clean(block.text), outline),
        )

    def _paragraph(self, block: Paragraph) -> list[Box]:
        m = self._m
        voice = {"small": m.small, "strong": attrs.evolve(m.body, style="strong")}.get(block.tone, m.body)
        quoted = block.tone == "quote"
        indent = 9.0 if quoted else 0.0
        texts = self._set(self._pieces(block.words), voice, self._width - indent)
        # Two lines at least stand together at the foot and at the head of a page.
        parts = [texts] if len(texts) <= 3 else [texts[:2], *((text,) for text in texts[2:-2]), texts[-2:]]
        return [
            Box(
                cells=(Cell(indent, self._width - indent, part),),
                gap=0.0 if nth else m.between,
                side=1.6 if quoted else 0.0,
            )
            for nth, part in enumerate(parts)
        ]

    def _pairs(self, block: Pairs) -> Iterator[Box]:
        """Two pairs a row, read from left to right; what is too long for half the sheet has a
        row of its own.
        """
        label, gutter = 50.0, 16.0
        half = (self._width - gutter) / 2
        waiting: list[tuple[Cell, Cell]] = []
        for name, words in block.rows:
            pieces, names = self._pieces(words), self._own(name, self._m.small, label - 6)
            values = self._set(pieces, self._m.body, half - label)
            if len(values) > 2:
                yield from (Box(cells=pair, gap=1.2) for pair in waiting)
                waiting.clear()
                wide = self._width - label
                yield Box(
                    cells=(
                        Cell(0, label - 6, names),
                        Cell(label, wide, self._set(pieces, self._m.body, wide)),
                    ),
                    gap=1.2,
                )
                continue
            start = half + gutter if waiting else 0.0
            pair = Cell(start, label - 6, names), Cell(start + label, half - label, values)
            if waiting:
                yield Box(cells=(*waiting.pop(), *pair), gap=1.2)
            else:
                waiting.append(pair)
        yield from (Box(cells=pair, gap=1.2) for pair in waiting)

    def _finding(self, row: FindingRow, before: FindingRow | None) -> Box:
        """When, what was found, on what it rests.

        When is said once for a run of rows that share it, and again on a new page.
        """
        m, side = self._m, 92.0
        verdict = " · ".join(filter(None, (row.verdict, row.stage)))
        left = self._own(verdict, m.small, side - 10)
        when = self._own(row.urgency, attrs.evolve(m.row, style="strong", colour=INK), side - 10)
        right = self._own(row.text, m.body, self._width - side)
        if row.basis:
            right += self._own(row.basis, m.small, self._width - side)

        def box(texts: tuple[Text, ...], rule: float) -> Box:
            return Box(
                cells=(Cell(0, side, texts), Cell(side, self._width - side, right)),
                pad=m.finding_pad,
                rule=rule,
            )

        if before is None or before.urgency != row.urgency:
            return box(when + left, _HAIR if before is not None else 0.0)
        same = box(left, _HAIR)
        same.opens = box(when + left, 0.0)  # on a new page it is said again
        return same

    def _readings(self, block: Readings, *, say_key: bool) -> list[Box]:
        if not block.rows:
            return []
        words = self._words["readings"]
        strips, later = any(row.strip is not None for row in block.rows), any(row.after for row in block.rows)
        shares: Sequence[float] = {
            (True, True): (25, 12.5, 12.5, 20, 30),
            (True, False): (30, 13, 0, 24, 33),
            (False, True): (34, 14, 14, 0, 38),
            (False, False): (40, 16, 0, 0, 44),
        }[strips, later]
        columns = self._columns(shares)
        head = self._head(
            [words[name] for name in ("name", "before", "after", "scale", "limit")], columns, right=(1, 2)
        )
        made = (
            [
                Box(
                    cells=(Cell(0, self._width, self._own(words["key"], self._m.small, self._width)),),
                    keep=True,
                )
            ]
            if strips and say_key
            else []
        )
        return [*made, *self._table(head, [self._reading(row, columns) for row in block.rows])]

    def _reading(self, row: ReadingRow, columns: Sequence[Column]) -> Box:
        m, (name, before, after, scale, limit) = self._m, columns
        about = self._own(row.name, m.row, name[1])
        cells = [Cell(*name, about)]
        numbers = [(before, row.before, not row.after), (after, row.after, True)]
        cells += [
            Cell(*column, self._number(text, column[1], strong=strong))
            for column, text, strong in numbers
            if text
        ]
        if row.note:
            cells.append(self._conditions(row.note, cells, columns))
        if row.strip is not None:
            cells.append(Cell(*scale, (), self._strip(row.strip, clean(row.name))))
        basis = self._own(row.limit, attrs.evolve(m.small, colour=TEXT), limit[1]) if row.limit else ()
        if row.source:
            basis += self._own(row.source, m.small, limit[1])
        cells.append(Cell(*limit, basis))
        return Box(cells=tuple(cells), pad=m.reading_pad)

    def _conditions(self, note: str, cells: Sequence[Cell], columns: Sequence[Column]) -> Cell:
        """A reading's note, spoken after its numbers: below the name where it fits on one line, else below
        all of them and across.
        """
        (start, wide), before, after, *_ = columns
        above, texts = cells[0].texts, self._set([(clean(note), True)], self._m.small, wide)
        if len(texts) > 1:
            wide = sum(after if after[1] else before) - start
            above = max(
                (cell.texts for cell in cells), key=lambda lines: sum(text.voice.leading for text in lines)
            )
            texts = self._set([(clean(note), True)], self._m.small, wide)
        empty = tuple(attrs.evolve(text, line=Line((), 0.0)) for text in above)
        return Cell(start, wide, empty + texts)

    def _number(self, text: str, room: float, *, strong: bool) -> tuple[Text, ...]:
        """A reading as printed: the number, and its uncertainty below it."""
        number, mark, uncertainty = text.partition(" ± ")
        voice = attrs.evolve(self._m.row, style="strong") if strong else self._m.row
        below = self._own(f"± {uncertainty}", self._m.small, room, "right") if mark else ()
        return self._own(number, voice, room, "right") + below

    def _strip(self, strip: Strip, name: str) -> Figure:
        if (strip, name) not in self._strips:
            self._strips[strip, name] = strip_figure(strip, name)
        figure = self._strips[strip, name]
        return attrs.evolve(figure, height_mm=figure.height_mm * self._m.strip)

    def _pictures(self, blocks: Sequence[Block]) -> list[Box]:
        """Pictures that follow each other stand two beside each other; a single one has the whole width."""
        figures = [block.figure for block in blocks if isinstance(block, Picture)]
        made: list[Box] = []
        while figures:
            row, figures = figures[:2], figures[2:]
            columns = self._columns((50, 50) if len(row) > 1 else (100,))
            cells = []
            for figure, column in zip(row, columns, strict=True):
                title = self._own(figure.title, attrs.evolve(self._m.row, style="strong"), column[1])
                cells.append(
                    Cell(*column, title, figure, self._own(figure.description, self._m.small, column[1]))
                )
            made.append(Box(cells=tuple(cells), gap=self._m.between + 2))
        return made

    def _lines(self, block: PricedLines, *, totals_follow: bool) -> list[Box]:
        if not block.rows:
            return []
        words = self._words["lines"]
        columns = self._columns((56, 12, 11, 8, 13))
        titles = [
            *(words[name] for name in ("text", "quantity", "price", "tax")),
            words["net"].format(currency=clean(block.currency)),
        ]
        made = self._table(
            self._head(titles, columns, right=(1, 2, 3, 4)), [self._line(row, columns) for row in block.rows]
        )
        made[-1].keep = totals_follow  # a total never stands alone on the last page
        return made

    def _line(self, row: PricedRow, columns: Sequence[Column]) -> Box:
        m, (text, *numbers) = self._m, columns
        what = self._set([(clean(row.text), True)], m.row, text[1])
        about = [
            self._set([(clean(below), True)], m.small, text[1]) for below in (row.ground, row.note) if below
        ]
        cells = [Cell(*text, what)]
        beside = what[0].line.width + 7
        if (
            m.ground_beside
            and len(what) == len(about) == len(about[0]) == 1
            and beside + about[0][0].line.width <= text[1]
        ):
            cells.append(Cell(text[0] + beside, text[1] - beside, about[0]))
        else:
            cells = [Cell(*text, sum(about, what))]
        values = zip((row.quantity, row.price, row.tax, row.net), numbers, strict=True)
        cells += [
            Cell(*column, self._own(value, m.row, column[1], "right")) for value, column in values if value
        ]
        return Box(cells=tuple(cells), pad=m.line_pad)

    def _totals(self, block: Totals) -> list[Box]:
        start, amount = self._width * 0.5, self._width * 0.2
        wide = self._width - start - amount
        made: list[Box] = []
        for nth, (label, value, strong) in enumerate(block.rows):
            voice = self._m.total if strong else self._m.row
            cells = (
                Cell(start, wide, self._own(label, voice, wide)),
                Cell(self._width - amount, amount, self._own(value, voice, amount, "right")),
            )
            rule = self._rule_from(start) if strong else None
            last = nth == len(block.rows) - 1
            made.append(
                Box(
                    cells=cells,
                    pad=self._m.line_pad - 0.4,
                    keep=not last,
                    draw=rule,
                    rule=0.0 if nth else _HAIR,
                )
            )
        return made

    def _rule_from(self, start: float) -> Callable[[Pen, float, float], None]:
        """A rule across the right part of a box's top."""
        pad, end = self._m.line_pad - 0.4, self._width
        return lambda pen, x, top: pen.rule(x + start, top + pad, x + end, top + pad, weight=0.7, colour=INK)

    def _statement(self, block: Statement) -> list[Box]:
        m, wide = self._m, self._width - 20
        texts = self._own(block.title, attrs.evolve(m.body, style="strong"), wide) + self._set(
            self._pieces(block.words), m.body, wide
        )
        return [Box(cells=(Cell(10, wide, texts),), gap=m.between + 2, pad=m.between, frame="tb")]

    def _code(self, block: Code) -> list[Box]:
        words, m = self._words["code"], self._m
        if self._document.draft:
            return [
                Box(
                    cells=(Cell(0, self._width, self._own(words["draft"], m.small, self._width)),),
                    gap=m.between,
                )
            ]
        drawn = self._symbol
        module = MODULE_MM * MM
        # The first dark modules stand at the margin: left of them the sheet is empty, as it is to be.
        start = (drawn.side - QUIET) * module + 7 if drawn is not None else 0.0
        room = self._width - start
        texts: tuple[Text, ...] = ()
        if self._link is not None:
            texts += self._own(
                words["scan"], attrs.evolve(m.body, style="strong", colour=INK), room
            ) + self._own(words["link"], m.small, room)
            texts += self._set([(clean(self._link), True)], m.row, room)
        else:
            texts += self._own(words["no_link"], m.body, room)
        texts += self._own(words["mark"], attrs.evolve(m.small, leading=15.0), room)
        texts += self._own(block.record_mark, m.mark, room) + self._own(words["mark_what"], m.small, room)
        box = Box(
            cells=(Cell(start, room, texts),), gap=m.between, pad=QUIET * module if drawn is not None else 0.0
        )
        if drawn is not None:
            box.least = (drawn.side - 2 * QUIET) * module
            box.draw = lambda pen, x, top: pen.dark_squares(drawn.runs(), x, top, module)
        return [box]

    # --- small things ---------------------------------------------------------------------------------------

    def _columns(self, shares: Sequence[float]) -> list[Column]:
        """Columns with these shares of the width, white between those that are shown."""
        gap = 9.0
        each = (self._width - gap * (sum(1 for share in shares if share) - 1)) / sum(shares)
        made: list[Column] = []
        x = 0.0
        for share in shares:
            made.append((x, share * each))
            x += share * each + gap if share else 0.0
        return made

    def _head(self, titles: Sequence[str], columns: Sequence[Column], *, right: Sequence[int]) -> Box:
        shown = [
            (nth, title, column)
            for nth, (title, column) in enumerate(zip(titles, columns, strict=True))
            if column[1]
        ]
        cells = tuple(
            Cell(*column, self._own(title, _HEAD, column[1], "right" if nth in right else "left"))
            for nth, title, column in shown
        )
        foot = max(len(cell.texts) for cell in cells) * _HEAD.leading + 2.0
        end = self._width
        return Box(
            cells=cells,
            gap=3.0,
            pad=2.0,
            keep=True,
            draw=lambda pen, x, top: pen.rule(x, top - foot, x + end, top - foot, weight=0.7, colour=INK),
        )

    @staticmethod
    def _table(head: Box, rows: list[Box]) -> list[Box]:
        for nth, row in enumerate(rows):
            row.head = head
            row.rule = _HAIR if nth else 0.0
        if len(rows) > 1:
            rows[-2].keep = True  # no row alone on the last page
        return [head, *rows]

    def _pieces(self, words: Words) -> list[Piece]:
        return [
            (
                (clean(run, lines=True), not self._strict)
                if isinstance(run, str)
                else (clean(self._say(run), lines=True), True)
            )
            for run in words
        ]

    def _own(self, text: str, voice: Voice, room: float, align: str = "left") -> tuple[Text, ...]:
        """A text that is ours, though a typed word may stand in it: where strictness is asked for, every
        glyph must be in the face.
        """
        return self._set([(clean(text), not self._strict)], voice, room, align)

    def _set(
        self, pieces: Sequence[Piece], voice: Voice, room: float, align: str = "left"
    ) -> tuple[Text, ...]:
        return tuple(Text(line, voice, align) for line in wrap(pieces, voice.style, voice.size, room))
