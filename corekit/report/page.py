"""A Document as the page behind the code: an HTML fragment for a phone, and its one style sheet."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

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
    Readings,
    Statement,
    Totals,
)
from ..reference import data_path
from .figure_svg import figure_svg
from .strip import strip_figure
from .text import Resolve, amount_words, clean, plain_text, refuse_numbered_draft
from .wording import theme, wording


def render_page(document: Document, resolve: Resolve, link: str | None) -> str:
    """The Document as an HTML fragment, one `<article>`; everything in it is escaped, nothing in it is
    loaded.

    Args:
        document: What to show.
        resolve: What references to personal text become: `mask` on a page that anybody with the code can
            read.
        link: The page's own address; None when none is set.

    Raises:
        ValueError: a draft has a number.
    """
    refuse_numbered_draft(document)
    words = wording()
    return _template().render(
        document=_CleanTexts(document),
        words=words,
        issued=words["opening"]["issued"].format(date=clean(document.issued)),
        total=amount_words(document, words),
        notices=[
            words["running"][name] for name, on in (("draft", document.draft), ("demo", document.demo)) if on
        ],
        blocks=list(_blocks(document, resolve)),
        link=None if link is None else clean(link),
    )


def page_css() -> str:
    """The page's style sheet, with the theme's ink."""
    return f":root {{ --ink: {theme().ink_text}; }}\n" + data_path("templates/page/page.css").read_text(
        "utf-8"
    )


@lru_cache(maxsize=1)
def _template() -> Template:
    loader = FileSystemLoader(data_path("templates/page"))
    return Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    ).get_template("page.html")


class _CleanTexts:
    """The Document's own texts as the template may show them."""

    def __init__(self, document: Document) -> None:
        self.shop, self.title, self.issued, self.total = (
            clean(text) for text in (document.shop, document.title, document.issued, document.total)
        )
        self.language, self.draft = clean(document.language), document.draft


def _blocks(document: Document, resolve: Resolve) -> Iterator[dict[str, Any]]:
    level, key_is_said, reading_nth = 1, False, 0
    for nth, block in enumerate(document.blocks):
        data = _block(block, resolve, f"f{nth}")
        if isinstance(block, Heading):
            level = min(max(block.level, 1), 2)
        if isinstance(block, Readings):
            strips = any(row.strip is not None for row in block.rows)
            rows = list(_readings(block, reading_nth))
            reading_nth += len(rows)
            data |= {"rows": rows, "deep": level + 2, "key": strips and not key_is_said}
            key_is_said = key_is_said or strips
        yield {"is": type(block).__name__, **data}


def _readings(block: Readings, start: int) -> Iterator[dict[str, Any]]:
    for nth, row in enumerate(block.rows, start):
        svg = (
            None
            if row.strip is None
            else Markup(figure_svg(strip_figure(row.strip, clean(row.name)), f"s{nth}", class_name="strip"))
        )
        texts = {
            name: clean(getattr(row, name)) for name in ("name", "note", "before", "after", "limit", "source")
        }
        yield {**texts, "svg": svg}


def _block(block: Block, resolve: Resolve, key: str) -> dict[str, Any]:
    if isinstance(block, Heading):
        return {"text": clean(block.text), "level": min(max(block.level, 1), 2) + 1}
    if isinstance(block, Paragraph):
        tone = block.tone if block.tone in ("plain", "small", "strong", "quote") else "plain"
        return {"text": plain_text(block.words, resolve), "tone": tone}
    if isinstance(block, Pairs):
        return {"rows": [(clean(name), plain_text(words, resolve)) for name, words in block.rows]}
    if isinstance(block, Findings):
        return {"rows": [_finding(row) for row in block.rows]}
    if isinstance(block, Readings):
        return {}
    if isinstance(block, Picture):
        figure = block.figure
        return {
            "title": clean(figure.title),
            "description": clean(figure.description),
            "svg": Markup(figure_svg(figure, key)),
        }
    if isinstance(block, PricedLines):
        return {"rows": [_line(row) for row in block.rows]}
    if isinstance(block, Totals):
        return {"rows": [(clean(label), clean(value), strong) for label, value, strong in block.rows]}
    if isinstance(block, Statement):
        return {"title": clean(block.title), "text": plain_text(block.words, resolve)}
    if isinstance(block, Code):
        return {"mark": clean(block.record_mark)}
    raise TypeError(f"No way to show a {type(block).__name__} on the page.")


def _finding(row: FindingRow) -> dict[str, str]:
    verdict = " · ".join(filter(None, (clean(row.verdict), clean(row.stage))))
    return {
        "text": clean(row.text),
        "urgency": clean(row.urgency),
        "basis": clean(row.basis),
        "verdict": verdict,
    }


def _line(row: PricedRow) -> dict[str, str]:
    counted = (
        f"{clean(row.quantity)} × {clean(row.price)}"
        if row.quantity and row.price
        else clean(row.quantity or row.price)
    )
    taxed = f"{wording()['lines']['tax'].lower()} {clean(row.tax)}" if row.tax else ""
    texts = {name: clean(getattr(row, name)) for name in ("text", "ground", "note", "net")}
    return {**texts, "counted": ", ".join(filter(None, (counted, taxed)))}
