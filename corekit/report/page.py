"""A Document as the page behind the code: an HTML fragment for a phone, and its one style sheet.

A Document of form 2 shows its account first and folds the evidence; one of form 1 is shown from top to
bottom.
"""

from __future__ import annotations

import colorsys
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

from ..model.document import (
    Account,
    Answer,
    ApprovalForm,
    Block,
    Code,
    Document,
    DocumentKind,
    Evidence,
    FindingRow,
    Findings,
    Heading,
    NextSteps,
    Pairs,
    Paragraph,
    PhotoRow,
    Photos,
    Picture,
    PricedLines,
    PricedRow,
    ReadingRow,
    Readings,
    Statement,
    Table,
    Totals,
)
from ..reference import data_path
from .account_page import account_data, evidence_strip, page_parts, readings_of, settle_front, who_rows
from .figure_svg import figure_svg
from .photos import data_address, shown_photo
from .strip import strip_figure
from .text import Resolve, amount_text, amount_words, clean, plain_text, refuse_numbered_draft
from .wording import contrast_with_white, theme, wording, words_in


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
    with words_in(document.language):
        return _page(document, resolve, link)


def _page(document: Document, resolve: Resolve, link: str | None) -> str:
    words = wording()
    common = {
        "document": _CleanTexts(document),
        "words": words,
        "issued": words["opening"]["issued"].format(date=clean(document.issued)),
        "total": amount_words(document, words),
        "notices": [
            (name, words["running"][name])
            for name, on in (("draft", document.draft), ("demo", document.demo))
            if on
        ],
        "link": None if link is None else clean(link),
    }
    if document.form == 1:
        return _template("page.html").render(**common, blocks=list(_blocks(document.blocks, resolve)))
    parts = page_parts(document.blocks)
    readings = readings_of(document.blocks)
    front = list(_blocks(parts.front, resolve, readings=readings))
    settle_front(parts.front, front)
    return _template("account.html").render(
        **common,
        front=front,
        bill=words["page"]["costs" if document.kind is DocumentKind.ESTIMATE else "bill"],
        who=who_rows(parts.who, resolve),
        with_prices=False,
        title=clean(parts.title),
        behind=list(_blocks(parts.behind, resolve, below=1, key="b", readings=readings)),
    )


def render_account(
    answer: Answer,
    account: Account,
    resolve: Resolve,
    *,
    steps: NextSteps | None = None,
    readings: Sequence[ReadingRow] = (),
    key: str = "a",
    with_prices: bool = False,
) -> str:
    """The answer and the rows of an account alone, as the page shows them, for a screen of one's own.

    Args:
        answer, account: What to show.
        resolve: What references to personal text become.
        steps: What next, shown below the rows.
        readings: Say how a proof was measured.
        key: Tells the ids of this fragment apart from those of others on the page; letters and digits.
        with_prices: Each row says its price while it is folded, where nothing else on the screen does.
    """
    blocks: tuple[Block, ...] = (answer, account, *filter(None, (steps,)))
    shown = list(_blocks(blocks, resolve, key=key, readings=readings))
    settle_front(blocks, shown)
    return _template("rows.html").render(words=wording(), blocks=shown, with_prices=with_prices)


def account_of_paper(
    document: Document, resolve: Resolve, *, key: str = "a", with_prices: bool = False
) -> str:
    """The answer and the rows of a paper's account, for a screen of one's own; empty for a paper without one.

    Args:
        document: Whose account to show.
        resolve, key, with_prices: As for `render_account`.
    """
    answer = next((block for block in document.blocks if isinstance(block, Answer)), None)
    account = next((block for block in document.blocks if isinstance(block, Account)), None)
    if answer is None or account is None:
        return ""
    readings = readings_of(document.blocks)
    return render_account(answer, account, resolve, readings=readings, key=key, with_prices=with_prices)


def page_css() -> str:
    """The page's style sheet, with the theme's ink; dark where the device wishes so."""
    css = data_path("templates/page/page.css").read_text("utf-8")
    ink = theme().ink_text
    colours = "; ".join(f"--{name}: {colour}" for name, colour in dark_colours(ink).items())
    return (
        f":root {{ --ink: {ink}; }}\n{css}"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {colours}; }} }}\n"
    )


def dark_colours(ink: str) -> dict[str, str]:
    """The page's colours on a dark ground, for the theme's ink: it is made lighter until it reads well.

    Contrast of 8 to 1, one more than the stricter criterion of WCAG 2.2 asks for (1.4.6); hue and saturation
    stay.
    """
    ground = contrast_with_white(_DARK["paper"])
    red, green, blue = (int(ink[at : at + 2], 16) / 255 for at in (1, 3, 5))
    hue, lightness, saturation = colorsys.rgb_to_hls(red, green, blue)
    lighter = ink
    for step in range(1, 101):
        raised = colorsys.hls_to_rgb(hue, lightness + (1 - lightness) * step / 100, saturation)
        lighter = "#" + "".join(f"{round(part * 255):02x}" for part in raised)
        if ground / contrast_with_white(lighter) >= 8:
            break
    return {"ink": lighter, **_DARK}


_DARK = {
    "paper": "#16181a",
    "text": "#f0eeea",
    "soft": "#b9b6b0",
    "line": "#3d4043",
    "rule": "#55585b",
    "ground": "#0d0e0f",
    "on-ink": "#16181a",
    "shade": "0.3",
}


@lru_cache(maxsize=3)
def _template(name: str) -> Template:
    loader = FileSystemLoader(data_path("templates/page"))
    return Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    ).get_template(name)


class _CleanTexts:
    """The Document's own texts as the template may show them."""

    def __init__(self, document: Document) -> None:
        self.shop, self.title, self.issued, self.total, self.currency = (
            clean(text)
            for text in (
                document.shop,
                document.title,
                document.issued,
                document.total,
                document.currency,
            )
        )
        self.language, self.draft = clean(document.language), document.draft


def _blocks(
    blocks: Sequence[Block],
    resolve: Resolve,
    *,
    below: int = 0,
    key: str = "",
    readings: Sequence[ReadingRow] = (),
) -> Iterator[dict[str, Any]]:
    """What the templates show of each block.

    Args:
        below: How many levels of headings stand above these blocks' own.
        key: Tells the ids of these blocks apart from those of others on the page.
        readings: The Document's, which say how a proof was measured.
    """
    level, key_is_said, reading_nth = 1, False, 0
    for nth, block in enumerate(blocks):
        if isinstance(block, Answer | Account | NextSteps | ApprovalForm):
            data = account_data(block, readings, resolve, f"{key}a{nth}")
        else:
            data = _block(block, resolve, f"{key}f{nth}")
        if isinstance(block, Heading):
            level = min(max(block.level, 1), 2)
            data["level"] = level + 1 + below
        if isinstance(block, Readings):
            strips = any(row.strip is not None for row in block.rows)
            rows = list(_readings(block, f"{key}s", reading_nth, behind_account=below > 0))
            reading_nth += len(rows)
            data |= {"rows": rows, "deep": level + 2 + below, "key": strips and not key_is_said}
            key_is_said = key_is_said or strips
        yield {"is": type(block).__name__, **data}


def _readings(block: Readings, key: str, start: int, *, behind_account: bool) -> Iterator[dict[str, Any]]:
    for nth, row in enumerate(block.rows, start):
        svg = None
        if row.strip is not None:
            name = clean(row.name)
            svg = Markup(
                evidence_strip(row, f"{key}{nth}")
                if behind_account
                else figure_svg(strip_figure(row.strip, name), f"{key}{nth}", class_name="strip")
            )
        texts = {
            name: clean(getattr(row, name)) for name in ("name", "note", "before", "after", "limit", "source")
        }
        yield {**texts, "svg": svg}


def _block(block: Block, resolve: Resolve, key: str) -> dict[str, Any]:
    if isinstance(block, Heading):
        return {"text": clean(block.text)}
    if isinstance(block, Paragraph):
        tone = block.tone if block.tone in ("plain", "small", "strong", "quote", "choice") else "plain"
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
    if isinstance(block, Photos):
        return {"rows": [_photo(row, resolve) for row in block.rows]}
    if isinstance(block, PricedLines):
        return {"rows": [_line(row) for row in block.rows]}
    if isinstance(block, Totals):
        return {"rows": [(clean(label), amount_text(value), strong) for label, value, strong in block.rows]}
    if isinstance(block, Table):
        first = len(block.titles) - block.numbers
        return {
            "rows": [
                {
                    "what": ", ".join(clean(text) for text in row[:first] if text),
                    "numbers": [
                        (clean(title), amount_text(text))
                        for title, text in zip(block.titles[first:], row[first:], strict=True)
                        if text
                    ],
                }
                for row in block.rows
            ]
        }
    if isinstance(block, Statement):
        return {"title": clean(block.title), "text": plain_text(block.words, resolve)}
    if isinstance(block, Code):
        return {"mark": clean(block.record_mark)}
    if isinstance(block, Evidence):  # a second one; the first is the fold
        return {"text": clean(block.title)}
    raise TypeError(f"No way to show a {type(block).__name__} on the page.")


def _photo(row: PhotoRow, resolve: Resolve) -> dict[str, str]:
    shown = shown_photo(row, resolve)
    return {
        "picture": data_address(shown.picture) if shown.picture is not None else "",
        "instead": shown.instead,
        "what": shown.what,
        "when": shown.when,
    }


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
        f"{amount_text(row.quantity)} × {clean(row.price)}"
        if row.quantity and row.price
        else clean(row.quantity or row.price)
    )
    taxed = f"{wording()['lines']['tax'].lower()} {clean(row.tax)}" if row.tax else ""
    texts = {name: clean(getattr(row, name)) for name in ("text", "ground", "note")}
    return {**texts, "net": amount_text(row.net), "counted": ", ".join(filter(None, (counted, taxed)))}
