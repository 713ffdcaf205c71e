"""The head of a sheet: who issues the paper, what it is, which sheet this is, and what the paper is not."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..model.document import Code, Document
from .fonts import Piece, TextLine, set_line, wrap
from .pen import GREY, INK, Pen, Voice
from .text import clean
from .wording import Wording

_LINE_AFTER = 4.2  # from a head's baseline down to its rule
_NOTICE_ROOM = 18.0


@attrs.frozen(kw_only=True)
class Place:
    """Where a head stands: its left and right edge, its top, which sheet it is on and of how many."""

    left: float
    right: float
    top: float
    sheet: int
    sheets: int


@attrs.frozen(kw_only=True)
class RunningHead:
    """One line on a rule, the same on every sheet, and below it what the paper is not."""

    document: Document
    wording: Wording
    shop: Voice = Voice("strong", 7.6, 9.5, INK)
    title: Voice = Voice("regular", 7.6, 9.5, GREY)
    notice: Voice = Voice("strong", 8.6, 10.0)
    says_mark: bool = False

    @property
    def height(self) -> float:
        """From the top of the head to the first box below it."""
        return self.shop.leading + 7.5 + (_NOTICE_ROOM if notices(self.document, self.wording) else 0.0)

    def draw(self, pen: Pen, place: Place) -> None:
        left, right = place.left, place.right
        y = place.top - self.shop.lead - 0.2
        page = _line(_page(self.wording, place), self.title)
        room = right - left - page.width - 18
        # A mark is worth nothing cut: a long name gives way to it.
        most = (
            max(room - _line(self._title(), self.title).width - 8, room * 0.3)
            if self.says_mark
            else room * 0.6
        )
        shop = _cut_line((clean(self.document.shop), True), self.shop, most)
        title = _cut_line((self._title(), False), self.title, room - shop.width - 8)
        pen.write(shop, left, y, self.shop)
        pen.write(title, left + shop.width + 8, y, self.title)
        pen.write(page, right - page.width, y, self.title)
        pen.rule(left, y - _LINE_AFTER, right, y - _LINE_AFTER, weight=0.5, colour=INK)
        said = notices(self.document, self.wording)
        if said:
            notice = _line("   ·   ".join(said), self.notice)
            pen.write(notice, left + (right - left - notice.width) / 2, y - 15.6, self.notice)
            pen.rule(left, y - 21.2, right, y - 21.2, weight=0.5, colour=INK)

    def _title(self) -> str:
        title = clean(self.document.title)
        mark = next((block.record_mark for block in self.document.blocks if isinstance(block, Code)), "")
        if not (self.says_mark and mark) or self.document.draft:
            return title
        return f"{title} · {self.wording['code']['mark']} {clean(mark)}"


@attrs.frozen(kw_only=True)
class LetterHead:
    """The head of an account's first sheet: the shop's name, beside it what the paper is and from when."""

    document: Document
    wording: Wording
    width: float
    shop: Voice = Voice("strong", 14.0, 17.0, INK)
    title: Voice = Voice("strong", 10.0, 13.0)
    small: Voice = Voice("regular", 8.5, 11.0, GREY)
    notice: Voice = Voice("strong", 8.5, 11.0)

    @property
    def height(self) -> float:
        """From the top of the head to the first box below it."""
        return self._to_rule + (15.0 if notices(self.document, self.wording) else 0.0) + 8.0

    @property
    def _to_rule(self) -> float:
        right = (len(self._titles()) * self.title.leading) + self.small.leading
        return max(len(self._shops()) * self.shop.leading, right) + _LINE_AFTER

    def _shops(self) -> list[TextLine]:
        voice = self.shop
        lines = wrap([(clean(self.document.shop), True)], voice.style, voice.size, self.width * 0.62)
        if len(lines) <= 2:
            return lines
        rest = (" ".join(clean(self.document.shop).split()), True)
        return [lines[0], _cut_line((rest[0][_length(lines[0]) :].lstrip(), True), voice, self.width * 0.62)]

    def _titles(self) -> list[TextLine]:
        text = (clean(self.document.title), False)
        return wrap([text], self.title.style, self.title.size, self.width * 0.34)[:3]

    def draw(self, pen: Pen, place: Place) -> None:
        y = place.top - self.shop.lead
        for nth, line in enumerate(self._shops()):
            pen.write(line, place.left, y - nth * self.shop.leading, self.shop)
        for line in self._titles():
            pen.write(line, place.right - line.width, y, self.title)
            y -= self.title.leading
        about = " · ".join(filter(None, (clean(self.document.issued), _page(self.wording, place))))
        small = _line(about, self.small)
        pen.write(small, place.right - small.width, y, self.small)
        rule = place.top - self._to_rule
        pen.rule(place.left, rule, place.right, rule, weight=0.9, colour=INK)
        said = notices(self.document, self.wording)
        if said:
            notice = _line("   ·   ".join(said), self.notice)
            pen.write(notice, place.left, rule - 3.0 - self.notice.lead, self.notice)


def notices(document: Document, wording: Wording) -> list[str]:
    """What the paper is not, in words."""
    words = wording["running"]
    return [words[name] for name, on in (("draft", document.draft), ("demo", document.demo)) if on]


def _page(wording: Wording, place: Place) -> str:
    return wording["running"]["page"].format(page=place.sheet, pages=place.sheets)


def _line(text: str, voice: Voice) -> TextLine:
    return set_line([(text, False)], voice.style, voice.size)


def _length(line: TextLine) -> int:
    return sum(len(text) for _, text in line.runs)


def _cut_line(piece: Piece, voice: Voice, room: float) -> TextLine:
    """The piece on one line; what does not fit is cut off, and three dots say so."""
    first, *more = wrap([piece], voice.style, voice.size, room)
    if not more:
        return first
    dots = set_line([("…", False)], voice.style, voice.size)
    short = wrap([piece], voice.style, voice.size, room - dots.width)[0]
    text = f"{short.text}…" if short.text else ""
    return TextLine((*short.runs, *dots.runs), short.width + dots.width, text)


def heads(document: Document, wording: Wording, width: float) -> Sequence[RunningHead | LetterHead]:
    """The head of the first sheet, and of those behind it."""
    if document.form == 1:
        head = RunningHead(document=document, wording=wording)
        return head, head
    behind = RunningHead(
        document=document,
        wording=wording,
        shop=Voice("strong", 8.5, 11.0, INK),
        title=Voice("regular", 8.5, 11.0, GREY),
        notice=Voice("strong", 8.5, 10.0),
        says_mark=True,
    )
    return LetterHead(document=document, wording=wording, width=width), behind
