"""Reads papers, pages and terminal lines back, with programs that know nothing of corekit."""

from __future__ import annotations

import io
import re
from html.parser import HTMLParser
from typing import Any

import pypdf
import pypdfium2

NUMBER = re.compile(r"\d+(?:[.,]\d+)*")


def numbers(text: str) -> list[str]:
    return NUMBER.findall(text)


def pdf_pages(paper: bytes) -> list[str]:
    """The text layer of every page, in the order in which it is stored: what a reader program speaks."""
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(paper)).pages]


def pdf_numbers(paper: bytes, *, head: str) -> list[str]:
    """Every number on the paper but those of the running heads; `head` is a running head without `page x of
    y`.
    """
    pages = pdf_pages(paper)
    printed: list[str] = []
    for nth, text in enumerate(pages, 1):
        here, running = numbers(text), [*numbers(head), str(nth), str(len(pages))]
        assert here[: len(running)] == running, f"page {nth} opens with {here[:6]}"
        printed += here[len(running) :]
    return printed


def squeezed(text: str) -> str:
    """Without white: where a line was broken says nothing about what stands there."""
    return re.sub(r"\s+", "", text)


class _VisibleText(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.parts: list[str] = []
        self._hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._hidden += tag in ("title", "desc", "style", "script")

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("title", "desc", "style", "script")

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.parts.append(data)


def page_text(fragment: str) -> str:
    """What a person sees of a page; titles and descriptions of pictures are only heard."""
    parser = _VisibleText()
    parser.feed(fragment)
    parser.close()
    return " ".join(" ".join(parser.parts).split())


def grey(paper: bytes, dpi: int, page: int = -1) -> Any:
    """One page as a grey picture."""
    sheets = pypdfium2.PdfDocument(paper)
    return sheets[page if page >= 0 else len(sheets) + page].render(scale=dpi / 72).to_pil().convert("L")


def glyph_boxes(paper: bytes) -> list[tuple[int, str, tuple[float, float, float, float]]]:
    """(page, character, (left, bottom, right, top) in points) of every character that leaves ink, by its
    advance.
    """
    boxes = []
    for nth, sheet in enumerate(pypdfium2.PdfDocument(paper)):
        layer = sheet.get_textpage()
        text = layer.get_text_range()
        for at in range(layer.count_chars()):
            char = layer.get_text_range(at, 1) or "?"
            if char.strip():
                boxes.append((nth, char, layer.get_charbox(at, loose=True)))
        assert text is not None
    return boxes
